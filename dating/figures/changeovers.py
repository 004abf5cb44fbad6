"""Pictures of learning: each changeover as judged, as the data alone say, and as learned."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from dating.arrays import Floats
from dating.figures.densities import JUDGED, LEGEND, draw_density
from dating.figures.style import CORE, DOUBT, INK, REST, SET, plain, year_ticks
from dating.months import month_words
from dating.ramps import Shape, month_shares
from dating.words.changeovers import changeovers_of, counted

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from dating.learning.outcome import Outcome
    from dating.learning.thresholds import Observed


_ALONE = (0, (1, 1))
_ROOM = 0.3
"""Height above and below the ramp for the dated instruments."""


@dataclass(frozen=True, eq=False)
class _Ramps:
    """Draws of one changeover: dates in years, lengths in months, shares by month."""

    starts: Floats
    ends: Floats
    shares: Floats


def draw_overview(outcome: Outcome) -> Figure:
    """Draw the first use of every changeover, judged and learned, in the order of time."""
    first = outcome.plan.maker.period.first
    shifts = sorted(outcome.shifts, key=lambda shift: shift.learned[1])
    figure = Figure(figsize=(7.6, 0.9 + 0.2 * len(shifts)), layout="constrained")
    figure.set_label(
        f"First uses of {len(shifts)} changeovers, each judged and learned, 5 to 95 per cent; "
        "the same numbers stand in the table of changeovers."
    )
    axes = figure.subplots()
    for row, shift in enumerate(shifts):
        low, middle, high = ((first + month) / 12 for month in shift.judged)
        axes.barh(row, high - low, 0.72, low, fc="none", ec=DOUBT, hatch="/////", lw=0.9)
        axes.plot([middle] * 2, [row - 0.36, row + 0.36], color=DOUBT, lw=1.6)
        low, middle, high = ((first + month) / 12 for month in shift.learned)
        axes.barh(row, high - low, 0.34, low, color=CORE)
        axes.plot(middle, row, "o", color=CORE, ms=4.5, mec="white", mew=0.7)
    axes.set_yticks(range(len(shifts)), [shift.name for shift in shifts])
    axes.set_ylim(len(shifts) - 0.4, -0.6)
    dates = np.array([[shift.judged, shift.learned] for shift in shifts])
    year_ticks(axes, floor((first + dates.min()) / 12), ceil((first + dates.max()) / 12))
    axes.grid(axis="x", color=REST, lw=0.6)
    axes.set_axisbelow(True)
    figure.legend(handles=_handles()[:2], loc="outside upper right", ncols=2, **LEGEND)
    plain(axes)
    return figure


def draw_changeover(outcome: Outcome, place: int) -> Figure:
    """Draw one changeover: judgement, data and posterior on one axis of time.

    Above stand the densities of the first use, each to the same height. Below stands the share of
    the new form by month, with 90 % bands, what the dated instruments alone say, and these
    instruments themselves: bars upwards for the new form and downwards for the old, as many as are
    expected in each month.
    """
    judged, learned = (
        _ramps(outcome, place, outcome.judged),
        _ramps(outcome, place, outcome.learned.values),
    )
    words = changeovers_of(outcome.plan.maker, outcome.plan.layout)[place]
    figure = Figure(figsize=(7.6, 4.3), layout="constrained")
    figure.set_label(_in_words(outcome, place))
    above, below = figure.subplots(2, 1, sharex=True, gridspec_kw={"height_ratios": [1.0, 1.7]})
    window = _window(judged, learned)
    _densities(above, judged.starts, learned.starts)
    _shares(below, outcome, judged, learned, window)
    seen = outcome.observed[place]
    if seen is not None:
        _instruments(below, outcome, seen, window)
    year_ticks(below, *window)
    above.set_title(f"{words.before} → {words.after}", loc="left", fontsize=10, color=INK)
    handles = _handles()[: 2 if seen is None else 4]
    figure.legend(handles=handles, loc="outside lower center", ncols=4, **LEGEND)
    return figure


def _in_words(outcome: Outcome, place: int) -> str:
    words = changeovers_of(outcome.plan.maker, outcome.plan.layout)[place]
    shift, seen = outcome.shifts[place], outcome.observed[place]
    first = outcome.plan.maker.period.first
    judged, learned = (
        "{} to {}, median {}".format(*(month_words(floor(first + p[i])) for i in (0, 2, 1)))
        for p in (shift.judged, shift.learned)
    )
    return (
        f"{shift.name}, from {words.before} to {words.after}. First use judged {judged}; learned "
        f"{learned}. Overlap judged {shift.judged_overlap[1]:.1f} months, learned "
        f"{shift.learned_overlap[1]:.1f}. {counted(seen)}"
    )


def _ramps(outcome: Outcome, place: int, values: Floats) -> _Ramps:
    layout, first = outcome.plan.layout, outcome.plan.maker.period.first
    starts, overlaps = layout.starts(values)[:, place], layout.overlaps(values)[:, place]
    shape: Shape = "logistic" if layout.ramps[place].logistic else "linear"
    shares = month_shares(starts, overlaps, layout.months, shape)
    return _Ramps((first + starts) / 12, (first + starts + overlaps) / 12, shares)


def _window(judged: _Ramps, learned: _Ramps) -> tuple[float, float]:
    """Show the months in which the form may change, with some room, on whole quarters."""
    starts = [np.quantile(ramps.starts, 0.02) for ramps in (judged, learned)]
    ends = [np.quantile(ramps.ends, 0.98) for ramps in (judged, learned)]
    start, stop = min(starts), max(ends)
    room = max(0.15 * (stop - start), 0.5 * (2.0 - (stop - start)))
    return floor((start - room) * 4) / 4, ceil((stop + room) * 4) / 4


def _densities(axes: Axes, judged: Floats, learned: Floats) -> None:
    """Draw each density to the same height, and its 5, 50 and 95 % points below."""
    draw_density(axes, learned, -0.24, judged=False)
    draw_density(axes, judged, -0.10, judged=True)
    axes.set_ylim(-0.34, 1.06)
    axes.set_yticks([])
    axes.set_ylabel("first use", fontsize=9, color=INK)
    plain(axes)
    axes.spines[["left", "bottom"]].set_visible(False)
    axes.tick_params(which="both", bottom=False, labelbottom=False)


def _shares(
    axes: Axes, outcome: Outcome, judged: _Ramps, learned: _Ramps, window: tuple[float, float]
) -> None:
    period = outcome.plan.maker.period
    middles = (np.arange(period.first, period.last + 1) + 0.5) / 12
    shown = (middles > window[0] - 0.1) & (middles < window[1] + 0.1)
    for ramps, style, colour, line in (
        (learned, {"color": SET, "alpha": 0.55, "lw": 0}, CORE, "-"),
        (judged, _BAND, DOUBT, JUDGED),
    ):
        shares = ramps.shares[:, shown]
        low, high = np.quantile(shares, [0.05, 0.95], axis=0)
        axes.fill_between(middles[shown], low, high, **style)
        axes.plot(middles[shown], shares.mean(axis=0), color=colour, ls=line, lw=2.0)
    axes.set_ylim(-_ROOM - 0.05, 1.05 + _ROOM)
    axes.set_yticks([0, 0.5, 1], ["0 %", "50 %", "100 %"])
    axes.set_ylabel("share of the new form", fontsize=9, color=INK)
    plain(axes)


def _instruments(axes: Axes, outcome: Outcome, seen: Observed, window: tuple[float, float]) -> None:
    """Draw what the dated instruments alone say, and how many there are of each form."""
    period = outcome.plan.maker.period
    edges = np.arange(period.first, period.last + 2) / 12
    axes.stairs(seen.curve, edges, baseline=None, color=INK, ls=_ALONE, lw=1.5)
    shown = (edges[1:] > window[0]) & (edges[:-1] < window[1])
    most = max(seen.old[shown].max(), seen.new[shown].max(), 1.0)
    for counts, level, way, colour in ((seen.new, 1.05, 1, INK), (seen.old, -0.05, -1, REST)):
        heights = level + way * _ROOM * counts / most
        axes.stairs(heights, edges, baseline=level, fill=True, fc=colour, ec=INK, lw=0.5)


_BAND: dict[str, Any] = {"fc": "none", "ec": DOUBT, "hatch": "////", "lw": 0, "alpha": 0.35}


def _handles() -> list[Patch | Line2D]:
    return [
        Patch(fc="none", ec=DOUBT, hatch="////", ls=JUDGED, label="judged"),
        Patch(fc=CORE, ec=CORE, label="learned"),
        Line2D([], [], color=INK, ls=_ALONE, lw=1.5, label="data alone"),
        Patch(fc=INK, ec=INK, label="dated instruments: new form up, old form down"),
    ]
