"""The judgements behind one observation, assessor by assessor."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from math import floor
from typing import Any

from dating.evidence import Piece
from dating.maker import Course, Maker, Regime
from dating.months import month_words
from dating.statements import DateOpinion, Judged, Opinion
from dating.words.phrases import percent


@dataclass(frozen=True)
class Judgement:
    """One assessor's judgement of one number behind an observation.

    Parameters
    ----------
    of : str
        The changeover or what else it belongs to.
    what : str
        First use, an event, a lag, an overlap, a mean.
    low, likely, high : str
        Earliest, likely, latest, or shortest, likely, longest.
    by : str
        The assessor, with weight and coverage where they are not the usual ones.
    sources : str
        Titles.
    """

    of: str
    what: str
    low: str
    likely: str
    high: str
    by: str
    sources: str


def judgements_behind(maker: Maker, piece: Piece) -> Iterator[Judgement]:
    """List the judgements behind one piece of evidence."""
    if piece.kind == "variant" and maker.variants is not None:
        yield from _on_course(maker, maker.variants, None, maker.variants.source)
    elif piece.kind == "feature":
        part, feature = maker.features()[piece.name]
        fallback = feature.source or maker.components[part].source
        variants: tuple[str | None, ...] = (None,)
        if maker.depends_on_variant(piece.name):
            variants = maker.variant_names()
        for variant in variants:
            yield from _on_course(maker, maker.course_of(piece.name, variant), variant, fallback)
    elif piece.kind == "mark":
        mark = maker.marks()[piece.name][1]
        lag = "lag from the mark to the build"
        yield from _opinions(maker, piece.name, lag, mark.lag, mark.source)
    elif piece.kind == "measurement":
        measurement = maker.measurements()[piece.name][1]
        for point, mean in sorted(measurement.mean.items()):
            words = f"{mean:g} {measurement.unit}"
            titles = _titles(maker, measurement.source)
            of = f"about {month_words(floor(point))}"
            yield Judgement(of, f"mean (spread {measurement.spread:g})", "", words, "", "", titles)


def _on_course(
    maker: Maker, course: Course, variant: str | None, fallback: tuple[str, ...]
) -> Iterator[Judgement]:
    head = f"{variant}: " if variant else ""
    if course.shares_at is not None:
        for point, shares in sorted(course.shares_at.items()):
            words = _forms(dict(shares))
            of = f"{head}about {month_words(floor(point))}"
            yield Judgement(of, "shares", "", words, "", "", _titles(maker, fallback))
        return
    history = course.history or ()
    if len(history) == 1:
        words = _forms(history[0].shares_of(variant))
        of = f"{head}throughout"
        titles = _titles(maker, history[0].source or fallback)
        yield Judgement(of, "shares", "", words, "", "", titles)
    for old, new in pairwise(history):
        of = f"{head}{_forms(old.shares_of(variant))} to {_forms(new.shares_of(variant))}"
        yield from _on_changeover(maker, of, new, new.source or fallback)


def _on_changeover(
    maker: Maker, of: str, regime: Regime, fallback: tuple[str, ...]
) -> Iterator[Judgement]:
    if regime.event is not None:
        event = maker.events[regime.event]
        yield from _opinions(maker, of, event.what, event.when, event.source)
    named: dict[str, Judged[Any] | None] = {
        "first use": regime.first_use,
        "lag after that": regime.lag,
        "overlap": regime.overlap,
    }
    for what, judged in named.items():
        if judged is not None:
            yield from _opinions(maker, of, what, judged, fallback)


def _opinions(
    maker: Maker, of: str, what: str, judged: Judged[Any], fallback: tuple[str, ...]
) -> Iterator[Judgement]:
    for opinion in judged.opinions:
        low, likely, high = (_value_text(opinion, value) for value in opinion.triple())
        if low == likely == high:
            low = high = ""
        by = ", ".join(
            word
            for word in (
                opinion.by,
                f"weight {opinion.weight:g}" if opinion.weight != 1 else "",
                f"coverage {percent(opinion.coverage)}" if opinion.coverage != 0.9 else "",
            )
            if word
        )
        yield Judgement(of, what, low, likely, high, by, _titles(maker, opinion.source or fallback))


def _value_text(opinion: Opinion, value: float) -> str:
    if isinstance(opinion, DateOpinion):
        return month_words(floor(value))
    return f"{value:g} month" if abs(value) == 1 else f"{value:g} months"


def _titles(maker: Maker, names: tuple[str, ...]) -> str:
    sources = maker.sources
    return "; ".join(sources[name].title if name in sources else name for name in names)


def _forms(shares: Mapping[str, float]) -> str:
    if len(shares) == 1:
        return next(iter(shares))
    return ", ".join(f"{name} {percent(share)}" for name, share in shares.items())
