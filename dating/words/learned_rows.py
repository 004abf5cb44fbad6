"""The tables of what was learned, as rows of words."""

from __future__ import annotations

from collections.abc import Iterator
from math import floor

import numpy as np

from dating.learning.comparison import points_of
from dating.learning.layout import Track
from dating.learning.outcome import Outcome
from dating.months import month_label
from dating.words.changeovers import Place, changeovers_of, counted, place_of
from dating.words.learned import DOUBTED, chance
from dating.words.phrases import percent
from dating.words.ranges import NORMAL, Range, Row, range_of

type Points = tuple[float, float, float]


def changeover_rows(outcome: Outcome) -> Iterator[Row]:
    """Give a row for each changeover."""
    first = outcome.plan.maker.period.first
    described = changeovers_of(outcome.plan.maker, outcome.plan.layout)
    for shift, words, seen in zip(outcome.shifts, described, outcome.observed, strict=True):
        yield {
            "name": shift.name,
            "judged": _dates(shift.judged, first),
            "learned": _dates(shift.learned, first),
            "judged_overlap": range_of(shift.judged_overlap, ".1f"),
            "learned_overlap": range_of(shift.learned_overlap, ".1f"),
            "shared_area": f"{shift.shared_area:.2f}",
            "doubted": shift.shared_area < DOUBTED,
            "date_rests_on": outcome.rests_on(shift.name, "first use") or "certain",
            "width_rests_on": outcome.rests_on(shift.name, "overlap") or "certain",
            "judged_by": ", ".join(words.judged_by) or "nobody named",
            "event": words.event,
            "sources": words.sources,
            "line": words.line,
            "caption": f"From {words.before} to {words.after}. {counted(seen)}",
        }


def event_rows(outcome: Outcome) -> Iterator[Row]:
    """Give a row for each event that moves a changeover."""
    maker = outcome.plan.maker
    moved = [words.event for words in changeovers_of(maker, outcome.plan.layout)]
    for place, number in enumerate(outcome.plan.layout.numbers):
        name = number.removeprefix("event ")
        if number in {f"event {event}" for event in maker.events}:
            event = maker.events[name]
            yield {
                "name": name,
                "what": event.what,
                "judged": _dates(points_of(outcome.judged[:, place]), maker.period.first),
                "learned": _dates(points_of(outcome.learned.values[:, place]), maker.period.first),
                "moves": f"{moved.count(name)} of {len(moved)} changeovers",
                "sources": tuple(dict.fromkeys((*event.when.sources(), *event.source))),
            }


def share_rows(outcome: Outcome) -> Iterator[Row]:
    """Give a row for each share of a mixed regime."""
    maker, layout = outcome.plan.maker, outcome.plan.layout
    for number, track in enumerate(layout.tracks):
        place = place_of(maker, track)
        for regime, stated in enumerate(track.shares):
            mixed = np.flatnonzero(stated)
            for position in mixed if len(mixed) > 1 else ():
                draws = outcome.learned.shares[:, number, regime, position]
                yield {
                    "of": _regime(track, place, regime),
                    "what": track.states[position],
                    "stated": Range("", percent(float(stated[position])), ""),
                    "learned": Range(*(percent(value) for value in points_of(draws))),
                    "sources": _regime_sources(place, regime),
                }


def chance_rows(outcome: Outcome, doubt: float) -> Iterator[Row]:
    """Give a row for each slip and each chance of replacement that is learned."""
    for place, (name, (_, feature)) in enumerate(outcome.plan.maker.features().items()):
        for what, stated, draws in (
            ("slip", feature.slip, outcome.learned.slip[:, place]),
            ("replaced", feature.replaced, outcome.learned.replaced[:, place]),
        ):
            if 0 < stated.value < 1:
                centre = np.log(stated.value) - np.log1p(-stated.value)
                around = 1 / (1 + np.exp(-(centre + doubt * NORMAL)))
                yield {
                    "of": name,
                    "what": what,
                    "stated": Range(*(chance(float(value)) for value in around)),
                    "learned": Range(*(chance(value) for value in points_of(draws))),
                    "sources": tuple(dict.fromkeys((*stated.source, *feature.source))),
                }


def mean_rows(outcome: Outcome, doubt: float) -> Iterator[Row]:
    """Give a row for each anchor of each measurement."""
    measurements = outcome.plan.maker.measurements()
    columns = iter(outcome.learned.means.T)
    for gauge in outcome.plan.layout.gauges:
        measured = measurements[gauge.name][1]
        for anchor, stated in zip(gauge.anchors, gauge.stated, strict=True):
            low, middle, high = (stated + doubt * gauge.spread * NORMAL).tolist()
            yield {
                "of": f"{gauge.name} ({measured.unit})",
                "what": anchor,
                "stated": range_of((low, middle, high), ".4g"),
                "learned": range_of(points_of(next(columns)), ".4g"),
                "sources": measured.source,
            }


def assessor_rows(outcome: Outcome) -> Iterator[Row]:
    """Give a row for each assessor."""
    for assessor in outcome.assessors:
        weights = "–"
        if assessor.weight_before is not None and assessor.weight_after is not None:
            weights = f"{assessor.weight_before:.2f} → {assessor.weight_after:.2f}"
        score = "–" if assessor.calibration is None else f"{assessor.calibration:.2g}"
        yield {**vars(assessor), "calibration": score, "weights": weights}


def contradiction_rows(outcome: Outcome) -> Iterator[Row]:
    """Give a row for each recorded state that contradicts a judgement."""
    for contradiction in outcome.contradictions:
        yield {
            **vars(contradiction),
            "side": "before it" if contradiction.early else "after it",
            "judged": chance(contradiction.judged),
            "learned": chance(contradiction.learned),
        }


def summary_rows(outcome: Outcome) -> Iterator[tuple[str, list[str]]]:
    """Give a row for each number that was sampled."""
    forms = (".3f", ".3f", ".3f", ".3f", ".0f", ".0f", ".3f")
    for name, values in outcome.summary.iterrows():
        yield str(name), [format(value, form) for value, form in zip(values, forms, strict=True)]


def _dates(points: Points, first: int) -> Range:
    return Range(*(month_label(floor(first + point)) for point in points))


def _regime(track: Track, place: Place, regime: int) -> str:
    if place.course.shares_at is None:
        return f"{track.label}, regime {regime + 1}"
    return f"{track.label}, {month_label(floor(sorted(place.course.shares_at)[regime]))}"


def _regime_sources(place: Place, regime: int) -> tuple[str, ...]:
    return (place.course.history[regime].source if place.course.history else ()) or place.sources
