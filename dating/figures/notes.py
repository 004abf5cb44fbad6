"""The picture of a note: how probable each month is, what is probable, and what the words claim."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from dating.estimates import Estimate
from dating.figures.style import CORE, INK, REST, SET, own_settings, plain, year_ticks
from dating.figures.wrapping import FONT, width_of, wrapped

if TYPE_CHECKING:
    from matplotlib.axes import Axes

type Months = tuple[int, int]

WIDTH = 16 / 2.54
"""Inches of a text column of 16 cm."""
NARROW = 8.6 / 2.54
"""Inches of the same on a telephone."""
HEIGHT = 5.2 / 2.54
DOTS = 200
"""Dots per inch of the picture as PNG."""
MONTHWISE = 144
"""Months up to which each month is drawn; a longer stretch is drawn by years."""
_SHOWN = 0.998
_LETTERS, _TICKS = 7.5, 8.0
"""Points of the letters above the strip, and beside it."""
_SIGN, _GAP, _BETWEEN = 1.4, 0.8, 1.8
"""Widths of a sign above the strip, of the gap behind it, and between two, in letters."""
_LINE = 1.35
"""Height of a line, in letters."""
_TICK_ROOM = 0.2
"""Share of the width that the words beside the strip take at most."""
_LEGEND = {
    "loc": "lower left",
    "bbox_to_anchor": (0, 1.0),
    "frameon": False,
    "fontsize": _LETTERS,
    "handlelength": _SIGN,
    "handletextpad": _GAP,
    "columnspacing": _BETWEEN,
    "borderaxespad": 0.2,
    "borderpad": 0,
}
_STEPS = (0.002, 0.005, 0.01, 0.02, 0.05, 0.1)
_PLAIN = {"font.family": "sans-serif", "font.sans-serif": [FONT]}
_REPRODUCIBLE = {"svg.hashsalt": "dating", "svg.fonttype": "path", **_PLAIN}


@dataclass(frozen=True)
class NoteWords:
    """What is written in the picture of a note.

    Parameters
    ----------
    label : str
        What the picture shows.
    by_month, by_year : str
        What a bar is, where bars are months and where they are years.
    claimed : str
        What the band is.
    percent : callable
        Writes a probability in per cent, with as many decimals as are asked for.
    probable : str
        What the dark bars are; empty to leave it unsaid.
    """

    label: str
    by_month: str
    by_year: str
    claimed: str
    percent: Callable[[float, int], str]
    probable: str = ""


@own_settings(_PLAIN)
def draw_note(
    estimate: Estimate, claimed: Sequence[Months], words: NoteWords, width: float = WIDTH
) -> Figure:
    """Draw a strip of bars: the probability of each month, or of each year where many may be."""
    figure = Figure(figsize=(width, HEIGHT), layout="constrained", label=words.label)
    axes = figure.add_subplot()
    first, last = _window(estimate, claimed)
    for start, stop in claimed:
        axes.axvspan(start / 12, (stop + 1) / 12, facecolor=REST, alpha=0.55, linewidth=0, zorder=0)
        for edge in (start, stop + 1):
            axes.axvline(edge / 12, color=CORE, linewidth=0.7, linestyle=(0, (4, 2)), zorder=1)
    monthwise = last - first < MONTHWISE
    (_month_bars if monthwise else _year_bars)(axes, estimate, first, last)
    _chance_ticks(axes, words, width)
    _years(axes, first // 12, last // 12 + 1, width)
    plain(axes)
    bars = words.by_month if monthwise else words.by_year
    _legend(axes, _shown(words, bars))
    return figure


def svg_of(figure: Figure) -> bytes:
    """Write a figure as SVG, its letters as outlines."""
    return _saved(figure, "svg", {"Format": None, "Type": None, "Creator": None, "Date": None})


def png_of(figure: Figure) -> bytes:
    """Write a figure as PNG with 200 dots per inch."""
    return _saved(figure, "png", {"Software": None})


def _saved(figure: Figure, kind: str, metadata: dict[str, Any]) -> bytes:
    stream = io.BytesIO()
    with own_settings(_REPRODUCIBLE):
        figure.savefig(stream, format=kind, dpi=DOTS, metadata=metadata)
    return stream.getvalue()


def _window(estimate: Estimate, claimed: Sequence[Months]) -> Months:
    """Show whole years that hold nearly all of the probability, and all that the words claim."""
    chances, period = estimate.probabilities, estimate.period
    inside = np.flatnonzero(np.cumsum(chances) >= (1 - _SHOWN) / 2)
    upto = np.flatnonzero(np.cumsum(chances[::-1]) >= (1 - _SHOWN) / 2)
    first = min(period.first + int(inside[0]), *(start for start, _ in claimed))
    last = max(period.last - int(upto[0]), *(stop for _, stop in claimed))
    return first // 12 * 12, last // 12 * 12 + 11


def _years(axes: Axes, first: int, stop: int, width: float) -> None:
    """Label as many years as there is room for."""
    year_ticks(axes, first, stop)
    room = int(2 * width)
    if stop - first > room:
        step = -(-(stop - first) // room)
        axes.set_xticks(np.arange(first, stop + 1, step))
        axes.set_xticks([], minor=True)


def _month_bars(axes: Axes, estimate: Estimate, first: int, last: int) -> None:
    period, dark_months = estimate.period, estimate.highest_density(estimate.level)
    months = np.arange(max(first, period.first), min(last, period.last) + 1)
    heights = estimate.probabilities[months - period.first]
    colours = [CORE if month in dark_months else SET for month in months.tolist()]
    axes.set_ylim(0, 1.06 * heights.max())
    axes.bar(months / 12, heights, width=0.86 / 12, align="edge", color=colours, zorder=2)


def _year_bars(axes: Axes, estimate: Estimate, first: int, last: int) -> None:
    """Draw years, each bar dark as far as its months are in the set."""
    period, dark_months = estimate.period, estimate.highest_density(estimate.level)
    months = np.arange(period.first, period.last + 1)
    dark = np.array([month in dark_months for month in months.tolist()])
    years = np.arange(first // 12, last // 12 + 1)
    whole = np.array([estimate.probabilities[months // 12 == year].sum() for year in years])
    core = np.array([estimate.probabilities[(months // 12 == year) & dark].sum() for year in years])
    axes.set_ylim(0, 1.06 * whole.max())
    axes.bar(years + 0.06, core, width=0.88, align="edge", color=CORE, zorder=2)
    axes.bar(years + 0.06, whole - core, width=0.88, align="edge", bottom=core, color=SET, zorder=2)


def _chance_ticks(axes: Axes, words: NoteWords, width: float) -> None:
    """Label a few round probabilities."""
    top, room = axes.get_ylim()[1], 72 * _TICK_ROOM * width
    step = next((s for s in _STEPS if top / s <= 4), 0.25)
    digits = int(step < 0.01)
    axes.set_yticks(np.arange(0, top, step))
    axes.yaxis.set_major_formatter(
        lambda chance, _: wrapped(words.percent(chance, digits), _TICKS, room)
    )


def _shown(words: NoteWords, bars: str) -> dict[str, Patch]:
    """Say what bars and band are."""
    shown: dict[str, Patch] = {bars: Patch(facecolor=SET)}
    if words.probable:
        shown[words.probable] = Patch(facecolor=CORE)
    band = Patch(facecolor=REST, edgecolor=CORE, linestyle=(0, (4, 2)), linewidth=0.7)
    return {**shown, words.claimed: band}


def _legend(axes: Axes, shown: dict[str, Patch]) -> None:
    """Put the words above the strip: on one line where they fit, else one below the other."""
    figure: Any = axes.figure
    room = _room(axes)
    sign = (_SIGN + _GAP) * _LETTERS
    together = sum(sign + width_of(words, _LETTERS) for words in shown)
    beside = together + (len(shown) - 1) * _BETWEEN * _LETTERS <= room
    lines = list(shown) if beside else [wrapped(words, _LETTERS, room - sign) for words in shown]
    style: Any = dict(_LEGEND, labelcolor=INK, ncols=len(shown) if beside else 1)
    axes.legend(list(shown.values()), lines, **style)
    if not beside:
        more = sum(1 + words.count("\n") for words in lines) - 1
        figure.set_figheight(HEIGHT + more * _LINE * _LETTERS / 72)


def _room(axes: Axes) -> float:
    """Measure the width of the strip in points, beside the words on its left."""
    figure: Any = axes.figure
    with own_settings(_PLAIN):
        figure.draw_without_rendering()
    return float(axes.get_position().width * figure.get_figwidth() * 72) - 1
