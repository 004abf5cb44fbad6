"""The picture of how far stated probabilities may be trusted: coverage, ranks, dates and groups."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure

from dating.calibration.scores import medians_of
from dating.figures.calibration_groups import draw_coverage, draw_errors, rows_of
from dating.figures.style import CORE, DOUBT, INK, REST, SET, plain, year_ticks
from dating.words.calibration import on_ranks
from dating.words.calibration_groups import on_figures_beyond
from dating.words.phrases import percent
from dating.words.plain import wrapped
from dating.words.soundness import on_soundness
from dating.words.trust import verdict_on

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from numpy.typing import NDArray

    from dating.calibration.verdict import Calibration

    type Floats = NDArray[np.float64]


def draw_calibration(calibration: Calibration) -> Figure:
    """Draw how often sets held the date, the ranks, how far dates lay off, and the same by group.

    The colours differ in lightness, so the picture reads in grey and for the colour-blind.
    """
    verdict = verdict_on(calibration.groups.overall, calibration.uniformity).sentence
    sentence = " ".join((*on_soundness(calibration.learned), verdict))
    rows = rows_of(calibration.groups)
    figure = Figure(figsize=(9.0, 8.2 + 0.22 * len(rows)), layout="constrained")
    figure.set_label(f"{sentence} {on_ranks(calibration)} {on_figures_beyond(calibration.groups)}")
    axes = figure.subplot_mosaic(
        [["coverage", "ranks"], ["dates", "dates"], ["held", "error"]],
        height_ratios=[4, 3, 0.8 + 0.22 * len(rows)],
    )
    _coverage(axes["coverage"], calibration)
    _ranks(axes["ranks"], calibration)
    _dates(axes["dates"], calibration)
    draw_coverage(axes["held"], rows)
    draw_errors(axes["error"], rows)
    maker = calibration.corpus.maker
    about = f"{maker.maker}, {maker.product}{' (invented)' if maker.invented else ''}"
    words = f"{about}\n{wrapped(sentence, 110)}"
    figure.suptitle(words, x=0.01, ha="left", fontsize=10, color=INK)
    return figure


def _coverage(axes: Axes, calibration: Calibration) -> None:
    """Show the share of dates within their set of every level, with the band of chance."""
    axes.fill_between(
        calibration.ranks, calibration.low, calibration.high, color=REST, step="mid", linewidth=0
    )
    axes.plot([0, 1], [0, 1], color=INK, linewidth=0.8, linestyle=(0, (4, 2)))
    axes.plot(
        *_reached(calibration.scores.level), color=CORE, linewidth=1.6, drawstyle="steps-post"
    )
    for covered in calibration.groups.overall.coverage:
        axes.plot(
            covered.level,
            covered.share,
            "o" if covered.right else "D",
            color=CORE if covered.right else DOUBT,
            markeredgecolor="white",
            markersize=7,
        )
        axes.annotate(
            percent(covered.share),
            (covered.level, covered.share),
            xytext=(8, -11),
            textcoords="offset points",
            fontsize=8,
            color=INK,
        )
    axes.set(xlim=(0, 1), ylim=(0, 1), aspect="equal")
    axes.set_xlabel("stated level of the set", fontsize=8)
    axes.set_ylabel("share of dates inside", fontsize=8)
    axes.set_title(
        "how often sets held the date (grey: 95 % band of chance)", loc="left", fontsize=9
    )
    plain(axes)


def _reached(values: Floats) -> tuple[Floats, Floats]:
    """Give the empirical distribution function of values from 0 to 1."""
    ordered = np.concatenate([[0.0], np.sort(values), [1.0]])
    return ordered, np.append(np.linspace(0, 1, len(values) + 1), 1.0)


def _ranks(axes: Axes, calibration: Calibration) -> None:
    """Show the ranks' distribution function less the even one, with its simultaneous band."""
    even = calibration.ranks
    axes.fill_between(
        even, calibration.low - even, calibration.high - even, color=REST, step="mid", linewidth=0
    )
    axes.axhline(0, color=INK, linewidth=0.8, linestyle=(0, (4, 2)))
    difference = calibration.reached - even
    axes.plot(even, difference, color=CORE, linewidth=1.4)
    if any(getattr(calibration.uniformity, name).alarm for name in ("sides", "spread", "tails")):
        outside = (calibration.reached < calibration.low) | (calibration.reached > calibration.high)
        axes.plot(even, np.where(outside, difference, np.nan), color=DOUBT, linewidth=3)
    axes.set_xlim(0, 1)
    axes.set_xlabel("rank: probability given to earlier months", fontsize=8)
    axes.set_ylabel("share of ranks below, less even", fontsize=8)
    axes.set_title("on which side dates lie (grey: the same band)", loc="left", fontsize=9)
    plain(axes)


def _dates(axes: Axes, calibration: Calibration) -> None:
    """Show how far the posterior's median lies from each stated date."""
    first = calibration.corpus.maker.period.first
    stated = np.array([np.flatnonzero(r.window).mean() for r in calibration.dated.references])
    median = medians_of(calibration.dated.posterior)
    off, years = median - stated, (first + stated + 0.5) / 12
    wrong = calibration.scores.level > 0.9
    axes.axhline(0, color=INK, linewidth=0.8, linestyle=(0, (4, 2)))
    axes.plot(years[~wrong], off[~wrong], "o", color=SET, markersize=3.5, alpha=0.8)
    axes.plot(years[wrong], off[wrong], "D", color=DOUBT, markersize=4)
    axes.set_xlabel("stated date", fontsize=8)
    axes.set_ylabel("months too late", fontsize=8)
    axes.set_title(
        "median less stated date (diamonds: outside the 90 % set)", loc="left", fontsize=9
    )
    year_ticks(axes, np.floor(years.min()), np.ceil(years.max()))
    plain(axes)
