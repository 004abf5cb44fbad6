"""A claim about production drawn: the number it is about, what is claimed, dated instruments."""

from __future__ import annotations

from collections.abc import Iterator
from math import floor
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from dating.arrays import Floats
from dating.claims.evidence import Evidence
from dating.claims.examples import dated_with
from dating.claims.statements import Assertion, Claim, Overlap, Use
from dating.claims.truth import quantity
from dating.figures.densities import LEGEND, draw_density
from dating.figures.style import CORE, DOUBT, INK, REST, plain, year_ticks
from dating.learning.corpus import Corpus
from dating.months import month_words
from dating.words.claim_clauses import clause


def drawings_of(
    claims: tuple[Claim, ...], evidence: Evidence, corpus: Corpus | None
) -> Iterator[tuple[str, Figure]]:
    """Draw every claim that is about a changeover alone."""
    for claim in claims:
        saying = claim.says
        if saying is not None and isinstance(saying.content, Use | Overlap):
            yield claim.claim, draw_claim(saying, evidence, corpus)


def draw_claim(saying: Assertion, evidence: Evidence, corpus: Corpus | None) -> Figure:
    """Draw one claim about a first use, a last use or an overlap."""
    dates = isinstance(saying.content, Use)
    judged, known = (
        _shown(quantity(saying, production), evidence, dates)
        for production in (evidence.judged, evidence.known)
    )
    figure = Figure(figsize=(7.6, 2.9), layout="constrained")
    axes = figure.subplots()
    low, high = _window(judged, known)
    draw_density(axes, judged, -0.06, judged=True)
    if evidence.learned is not None:
        draw_density(axes, known, -0.13, judged=False)
    bounds = _claimed(saying, low, high)
    axes.axvspan(*bounds, color=REST, alpha=0.45, lw=0, zorder=0)
    dotted = corpus is not None and isinstance(saying.content, Use)
    if corpus is not None and isinstance(saying.content, Use):
        _instruments(axes, saying.content, corpus)
    axes.set_xlim(low if dates else max(low, 0.0), high)
    axes.set_ylim(-0.42 if dotted else -0.2, 1.06)
    axes.set_yticks([])
    plain(axes)
    if dates:
        year_ticks(axes, low, high)
    else:
        axes.set_xlabel("months", fontsize=9, color=INK)
    figure.legend(handles=_handles(evidence, dotted), loc="outside lower center", ncols=4, **LEGEND)
    figure.set_label(_in_words(saying, known, dates))
    return figure


def _shown(values: Floats, evidence: Evidence, dates: bool) -> Floats:
    finite = values[np.isfinite(values)]
    return (evidence.maker.period.first + finite) / 12 if dates else finite


def _window(judged: Floats, known: Floats) -> tuple[float, float]:
    ends = [np.quantile(values, [0.01, 0.99]) for values in (judged, known)]
    low, high = min(e[0] for e in ends), max(e[1] for e in ends)
    room = max(0.25 * (high - low), 0.5)
    return float(low - room), float(high + room)


def _claimed(saying: Assertion, low: float, high: float) -> tuple[float, float]:
    """Give the ends of what is claimed, on the axis that is drawn."""
    match saying.content:
        case Use(not_before=bound) if bound is not None:
            return bound.first / 12, max(high, bound.first / 12)
        case Use(not_after=bound) if bound is not None:
            return min(low, (bound.last + 1) / 12), (bound.last + 1) / 12
        case Use(within=bound) if bound is not None:
            return bound.first / 12, (bound.last + 1) / 12
        case Overlap(shorter_than=most):
            return min(0.0, low), most
        case _:
            raise TypeError("only first uses, last uses and overlaps are drawn")


def _instruments(axes: Axes, use: Use, corpus: Corpus) -> None:
    """Draw the dated instruments: with the state above, with another below."""
    for has, level, fill in ((True, -0.24, INK), (False, -0.34, "white")):
        for first, last in dated_with(use, corpus, has):
            axes.plot([first / 12, (last + 1) / 12], [level] * 2, color=INK, lw=0.7)
            axes.plot((first + last + 1) / 24, level, "o", ms=3.6, color=fill, mec=INK, mew=0.7)


def _in_words(saying: Assertion, values: Floats, dates: bool) -> str:
    low, middle, high = (
        month_words(floor(12 * point)) if dates else f"{point:.1f} months"
        for point in np.quantile(values, [0.05, 0.5, 0.95])
    )
    return (
        f"Claimed: {clause(saying)}. All evidence together: median {middle}, 5 to 95 per cent "
        f"{low} to {high}."
    )


def _handles(evidence: Evidence, dotted: bool) -> list[Patch | Line2D]:
    handles: list[Patch | Line2D] = [Patch(fc="none", ec=DOUBT, hatch="////", label="judged")]
    if evidence.learned is not None:
        handles.append(Patch(fc=CORE, ec=CORE, label="learned"))
    handles.append(Patch(fc=REST, alpha=0.45, label="claimed"))
    if dotted:
        dots: dict[str, Any] = {"color": INK, "marker": "o", "ms": 4, "lw": 0.7}
        handles.append(Line2D([], [], label="dated, this form (filled) or another", **dots))
    return handles
