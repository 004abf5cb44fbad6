"""The picture of one estimate: the posterior, what each observation says, and the parts."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure

from dating.figures.style import CORE, DOUBT, INK, REST, SET, plain, year_ticks
from dating.months import month_words
from dating.statements import plain_name
from dating.summaries import months_of_weight
from dating.words.phrases import claim_words, held_set, percent, seen_words
from dating.words.plain import wrapped
from dating.words.set_forms import FEW
from dating.words.soundness import on_grounds
from dating.words.stories import clash_words, stories_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from dating.estimates import Estimate

_STRIP = 0.30


def draw_estimate(estimate: Estimate) -> Figure:
    """Draw the posterior by month, a strip for each observation, and the parts' originality.

    The colours differ in lightness, so the picture reads in grey and for the colour-blind.
    """
    pieces = len(estimate.findings)
    parts = len(estimate.originality)
    heights = [2.6, max(_STRIP * pieces, 0.3), _STRIP * parts]
    figure = Figure(figsize=(9.0, sum(heights) + 2.3), layout="constrained")
    figure.set_label(_in_words(estimate))
    above, middle, below = figure.subplots(3, 1, gridspec_kw={"height_ratios": heights})
    shown = months_of_weight([estimate.probabilities], estimate.period)
    _posterior(above, estimate)
    _strips(middle, estimate)
    middle.sharex(above)
    year_ticks(above, shown.first / 12, (shown.last + 1) / 12)
    above.tick_params(labelbottom=not pieces)
    _originality(below, estimate)
    return figure


def _in_words(estimate: Estimate) -> str:
    wide, narrow = estimate.highest_density(estimate.level), estimate.highest_density(0.5)
    grounds = on_grounds(estimate.maker, estimate.learned)
    built = ", ".join(claim_words(each, estimate.period) for each in (wide, narrow))
    sentences = [
        f"{estimate.examination.instrument}: built {built}; median {month_words(estimate.median)}."
    ]
    if stories := _stories(estimate):
        sentences.append(f"{clash_words(estimate)} {'; '.join(stories)}.")
    return " ".join((*sentences, *grounds, "An opinion, not a certificate."))


def _stories(estimate: Estimate) -> list[str]:
    """Tell each story in a line."""
    rows = stories_text(estimate)
    return [
        " ".join(filter(None, (f"{chance}:", months, f"({words})")))
        for chance, months, words in rows
    ]


def _years(estimate: Estimate) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return np.arange(estimate.period.first, estimate.period.last + 1) / 12.0


def _posterior(axes: Axes, estimate: Estimate) -> None:
    wide, narrow = estimate.highest_density(estimate.level), estimate.highest_density(0.5)
    months = range(estimate.period.first, estimate.period.last + 1)
    colours = [CORE if m in narrow else SET if m in wide else REST for m in months]
    axes.bar(
        _years(estimate),
        estimate.probabilities,
        width=1 / 12,
        align="edge",
        color=colours,
        edgecolor="white",
        linewidth=0.3,
    )
    median = (estimate.median + 0.5) / 12
    axes.axvline(median, color=DOUBT, linewidth=1.4, linestyle=(0, (4, 2)))
    axes.annotate(
        f"median {month_words(estimate.median)}",
        (median, 1.0),
        xycoords=("data", "axes fraction"),
        xytext=(4, -10),
        textcoords="offset points",
        color=INK,
        fontsize=9,
    )
    axes.set_ylabel("probability per month")
    axes.set_ylim(0, float(estimate.probabilities.max()) * 1.16)
    invented = ", invented" if estimate.maker.invented else ""
    told = [wrapped(each, 85) for each in _stories(estimate)]
    clash = "".join(f"{line}\n" for line in ["What was seen contradicts itself:", *told] if told)
    axes.set_title(
        f"{estimate.examination.instrument} ({estimate.maker.maker}{invented})\n"
        f"{clash}"
        f"{percent(wide.level)}: {held_set(wide, estimate.period, FEW)}\n"
        f"50 %: {held_set(narrow, estimate.period, FEW)}",
        loc="left",
        fontsize=10,
        color=INK,
        wrap=True,
    )
    plain(axes)


def _strips(axes: Axes, estimate: Estimate) -> None:
    """Shade for each observation how probable it makes the months by itself."""
    edges = np.append(_years(estimate), (estimate.period.last + 1) / 12.0)
    names = []
    for row, finding in enumerate(estimate.findings):
        piece = finding.piece
        likelihood = estimate.likelihood_alone(piece.name)
        axes.pcolormesh(
            edges,
            [row - 0.42, row + 0.42],
            (likelihood / likelihood.max())[None, :],
            cmap="Greys",
            vmin=0,
            vmax=1.25,
            rasterized=True,
        )
        seen = seen_words(piece, estimate)
        words = seen if len(seen) <= 30 else seen[:29] + "…"
        names.append(f"{plain_name(piece.name)}: {words}")
    axes.set_yticks(range(len(names)), names, fontsize=8)
    axes.set_ylim(len(names) - 0.4, -0.6)
    axes.set_title(
        "what each observation says alone (darker: more probable)", loc="left", fontsize=9
    )
    plain(axes)
    if not names:
        axes.text(0.5, 0.5, "nothing was examined", transform=axes.transAxes, ha="center")


def _originality(axes: Axes, estimate: Estimate) -> None:
    names, chances = list(estimate.originality), list(estimate.originality.values())
    rows = np.arange(len(names))
    axes.barh(rows, chances, color=[CORE if p >= 0.5 else DOUBT for p in chances], height=0.62)
    axes.barh(rows, [1 - p for p in chances], left=chances, color=REST, height=0.62)
    for row, chance in enumerate(chances):
        axes.text(1.01, row, percent(chance), va="center", fontsize=8, color=INK)
    axes.set_yticks(rows, names, fontsize=8)
    axes.set_ylim(len(names) - 0.4, -0.6)
    axes.set_xlim(0, 1)
    axes.set_title("probability that the component is original", loc="left", fontsize=9)
    grounds = on_grounds(estimate.maker, estimate.learned)
    words = " ".join(("An opinion with a probability, not a certificate.", *grounds))
    axes.set_xlabel(wrapped(words, 120), fontsize=8, loc="left", multialignment="left")
    plain(axes)
