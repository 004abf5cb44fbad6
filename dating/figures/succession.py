"""Several instruments drawn side by side: the row with its months, and every pair."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure

from dating.figures.style import DOUBT, INK, REST, plain, year_ticks
from dating.figures.wrapping import wrapped
from dating.summaries import months_of_weight
from dating.words.phrases import claim_words, percent
from dating.words.soundness import on_grounds
from dating.words.succession import trust_words
from dating.words.succession_rows import changes_between, head_words, tie_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from dating.succession.comparison import Comparison

MOST_EXPLAINED = 20
"""Instruments up to which what changes from one to the next stands between the rows."""
MOST_NUMBERED = 15
"""Instruments up to which the chances of pairs are written as numbers."""
_MOST_CHANGES = 3
_WIDE = 9.0
_ROOM = 470.0
"""Points of print that a line between the rows may take."""
_HALF = 0.3
"""Half the height of a row; what is left stands between the rows."""
_SHADES = "Blues"
_ON_DARK, _ON_LIGHT = "#fdfdfd", "#111111"
"""Colours of numbers on shades, which a dark screen leaves as they are."""


def draw_comparison(comparison: Comparison) -> Figure:
    """Draw the row of instruments, and below it the chances of every pair."""
    heights = [_row_height(comparison), _pairs_height(comparison)]
    figure = Figure(figsize=(_WIDE, sum(heights)), layout="constrained")
    figure.set_label(_row_words(comparison))
    above, below = figure.subplots(2, 1, gridspec_kw={"height_ratios": heights})
    _row(above, comparison)
    _pairs(below, comparison)
    return figure


def draw_row(comparison: Comparison) -> Figure:
    """Draw the row: its instruments oldest first, their months shaded, what changes between."""
    figure = Figure(figsize=(_WIDE, _row_height(comparison)), layout="constrained")
    figure.set_label(_row_words(comparison))
    _row(figure.subplots(), comparison)
    return figure


def draw_pairs(comparison: Comparison) -> Figure:
    """Draw the chance of every pair that the one is older than the other, as shades."""
    figure = Figure(figsize=(_WIDE, _pairs_height(comparison)), layout="constrained")
    figure.set_label(_pairs_words(comparison))
    _pairs(figure.subplots(), comparison)
    return figure


def _row_height(comparison: Comparison) -> float:
    count = len(comparison.names)
    each = 0.46 if count <= MOST_EXPLAINED else 0.17 if count <= 60 else 0.06
    return each * count + 1.5


def _pairs_height(comparison: Comparison) -> float:
    return min(0.36 * len(comparison.names) + 1.4, 7.2)


def _row(axes: Axes, comparison: Comparison) -> None:
    count, period = len(comparison.row), comparison.period
    months = np.array([comparison.months_of(name) for name in comparison.row])
    edges = np.arange(period.first, period.last + 2) / 12.0
    half = _HALF if count <= MOST_EXPLAINED else 0.42
    for row, chances in enumerate(months):
        axes.pcolormesh(
            edges,
            [row - half, row + half],
            (chances / chances.max())[None, :],
            cmap=_SHADES,
            vmin=0,
            vmax=1.15,
            rasterized=True,
        )
        median = (comparison.median(comparison.row[row]) + 0.5) / 12
        axes.plot(
            [median] * 2, [row - half, row + half], color=DOUBT, lw=2.2, solid_capstyle="butt"
        )
    shown = months_of_weight(list(months), period)
    year_ticks(axes, shown.first / 12, (shown.last + 1) / 12)
    _brackets(axes, comparison)
    if count <= MOST_EXPLAINED:
        _changes(axes, comparison)
    _names(axes.set_yticks, comparison, 80)
    axes.set_ylim(count - 1 + 0.6, -0.6)
    axes.set_title(wrapped(_title(comparison), 10, 600), loc="left", fontsize=10, color=INK)
    grounds = on_grounds(comparison.maker, comparison.learned)
    words = " ".join(
        (next(iter(trust_words(comparison))), "An opinion, not a certificate.", *grounds)
    )
    lines = wrapped(words, 8, 560)
    axes.set_xlabel(lines, fontsize=8, color=INK, loc="left", multialignment="left")
    plain(axes)


def _title(comparison: Comparison) -> str:
    ties = "; bracket: cannot be told apart" if comparison.ties else ""
    return (
        f"{head_words(comparison)}, oldest first (darker: more probable; tick: median month{ties})"
    )


def _brackets(axes: Axes, comparison: Comparison) -> None:
    """Bracket those that cannot be told apart, beside the rows."""
    across = axes.get_yaxis_transform()
    for tie in comparison.ties:
        top = comparison.row.index(tie[0]) - _HALF
        bottom = comparison.row.index(tie[-1]) + _HALF
        x, y = [1.006, 1.014, 1.014, 1.006], [top, top, bottom, bottom]
        axes.plot(x, y, color=INK, lw=1.0, transform=across, clip_on=False)


def _changes(axes: Axes, comparison: Comparison) -> None:
    """Write between two rows what changes from the one to the other."""
    for row, (first, second) in enumerate(pairwise(comparison.row)):
        changes = changes_between(comparison, first, second)
        words = "; ".join(changes[:_MOST_CHANGES])
        if len(changes) > _MOST_CHANGES:
            words += f"; {len(changes) - _MOST_CHANGES} more"
        lines = wrapped(words, 6.5, _ROOM).split("\n")
        axes.annotate(
            lines[0] + ("…" if len(lines) > 1 else ""),
            (0, row + 0.5),
            xycoords=("axes fraction", "data"),
            xytext=(3, 0),
            textcoords="offset points",
            va="center",
            fontsize=6.5,
            color=INK,
        )


def _names(ticks: Callable[..., object], comparison: Comparison, most: int, **more: object) -> None:
    """Name the instruments along an axis, or some of them where there are many."""
    step = -(-len(comparison.row) // most)
    places = range(0, len(comparison.row), step)
    size = 8 if len(comparison.row) <= MOST_EXPLAINED else 6
    ticks(places, [comparison.row[place] for place in places], fontsize=size, **more)


def _pairs(axes: Axes, comparison: Comparison) -> None:
    places, count = list(comparison.arrangement.places), len(comparison.row)
    older = comparison.pairs.older[np.ix_(places, places)]
    shown = np.ma.masked_array(older, np.eye(count, dtype=bool))
    axes.imshow(shown, cmap=_SHADES, vmin=0, vmax=1.15, interpolation="nearest")
    axes.set_facecolor(REST)
    if count <= MOST_NUMBERED:
        for row, column in zip(*np.nonzero(~np.eye(count, dtype=bool)), strict=True):
            chance = float(older[row, column])
            axes.text(
                int(column),
                int(row),
                percent(chance).removesuffix(" %"),
                ha="center",
                va="center",
                fontsize=7,
                color=_ON_DARK if chance > 0.8 else _ON_LIGHT,
            )
    _names(axes.set_yticks, comparison, 40)
    _names(axes.set_xticks, comparison, 40, rotation=90)
    axes.set_title(
        "probability (%) that the instrument on the left is of an earlier month than the one below",
        loc="left",
        fontsize=9,
        color=INK,
    )
    axes.tick_params(colors=INK, length=2)
    axes.spines[:].set_visible(False)


def _row_words(comparison: Comparison) -> str:
    row = comparison.row
    told = row if len(row) <= MOST_EXPLAINED else (row[0], row[-1])
    built = "; ".join(
        f"{name}, {claim_words(comparison.highest_density(name), comparison.period)}"
        for name in told
    )
    which = "Oldest first" if len(told) == len(row) else "The oldest and the youngest"
    ties = tie_words(comparison) if len(told) == len(row) else ""
    grounds = on_grounds(comparison.maker, comparison.learned)
    sentences = (f"{head_words(comparison)}.", f"{which}: {built}.", ties, *grounds)
    return " ".join((*filter(None, sentences), "An opinion, not a certificate."))


def _pairs_words(comparison: Comparison) -> str:
    row = comparison.row
    words = (
        f"{head_words(comparison)}: a square of shades for every pair, in the order of the row "
        f"from {row[0]} to {row[-1]}; the darker, the more probable that the instrument on the "
        "left is of an earlier month."
    )
    return f"{words} {next(iter(trust_words(comparison)))} An opinion, not a certificate."
