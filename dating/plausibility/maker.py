"""What a maker file says that is valid and hardly meant."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from itertools import pairwise
from typing import Any

from dating.distributions import Metalog
from dating.maker import Course, Feature, Maker, Regime
from dating.months import Period, month_words
from dating.plausibility.chances import chance_warnings, unstated_chances
from dating.plausibility.warning import (
    far_outside,
    likely,
    likely_change,
    period_words,
    repeats,
    series,
    warning,
)
from dating.reading import KeyPath, Problem
from dating.statements import Judged, Opinion

LOPSIDED = 25
"""How many times as long as the other the longer side of a judgement is hardly meant to be."""

type PlacedCourse = tuple[KeyPath, Course]


def maker_warnings(maker: Maker) -> tuple[Problem, ...]:
    """List what a maker file says that is valid and hardly meant.

    Examples
    --------
    >>> from dating.files import read_maker
    >>> [warning.key for warning in maker_warnings(read_maker("priors/marrowby.yaml"))]
    ['components']
    """
    return (*mistakes(maker), *unstated_chances(maker))


@lru_cache(maxsize=16)
def mistakes(maker: Maker) -> tuple[Problem, ...]:
    """List what looks like a mistake in a maker file, chances that nobody states left out."""
    return (
        *_outputs(maker),
        *_events(maker),
        *_courses(maker),
        *_means(maker),
        *_assessors(maker),
        *_lengths(maker),
        *_lopsided(maker),
        *chance_warnings(maker),
    )


def _outputs(maker: Maker) -> Iterator[Problem]:
    """Find outputs that overlap, leave months out, or come to less than one instrument."""
    origin, period = maker.origin, maker.period
    places = sorted(range(len(maker.output)), key=lambda i: maker.output[i].during.first)
    covered = period.first
    for place in places:
        during = maker.output[place].during
        if during.first < covered:
            twice = Period(during.first, min(covered - 1, during.last))
            message = f"this output overlaps another: {period_words(twice)} counts in both"
            path: KeyPath = ("output", place, "during")
            expected = f"a stretch from {month_words(covered)} on, or outputs that do not overlap"
            yield warning(origin, path, message, found=str(during), expected=expected)
        elif during.first > covered:
            yield _gap(maker, Period(covered, during.first - 1))
        covered = max(covered, during.last + 1)
    if maker.output and covered <= period.last:
        yield _gap(maker, Period(covered, period.last))
    total = sum(likely(output.made) for output in maker.output)
    if maker.output and total < 1:
        message = f"all outputs together come to likely {total:.3g} instruments, less than one"
        yield warning(origin, ("output",), message, expected="numbers of instruments")


def _gap(maker: Maker, stretch: Period) -> Problem:
    message = f"no output is stated for {period_words(stretch)}: no instrument is dated there"
    expected = "an output for these months too, with made: 0 where nothing was made"
    return warning(maker.origin, ("output",), message, expected=expected)


def _events(maker: Maker) -> Iterator[Problem]:
    for name, event in maker.events.items():
        date = likely(event.when)
        if far_outside(date, maker.period):
            yield _outside(maker, ("events", name, "when"), f"the event {name}", date)


def _outside(maker: Maker, path: KeyPath, what: str, date: float) -> Problem:
    return warning(
        maker.origin,
        path,
        f"{what} is dated far outside the period",
        found=month_words(date),
        expected=period_words(maker.period),
    )


def placed_courses(maker: Maker) -> Iterator[PlacedCourse]:
    """Give every course of a maker file with the place where it is stated."""
    if maker.variants is not None:
        yield ("variants",), maker.variants
    for part, component in maker.components.items():
        for name, feature in component.features.items():
            path = ("components", part, "features", name)
            yield path, feature
            for variant, course in feature.by_variant.items():
                yield (*path, "by_variant", variant), course
        for variant, courses in component.by_variant.items():
            for name, course in courses.items():
                yield ("components", part, "by_variant", variant, name), course


def _courses(maker: Maker) -> Iterator[Problem]:
    for path, course in placed_courses(maker):
        for anchor in course.shares_at or {}:
            if far_outside(anchor, maker.period):
                yield _outside(maker, (*path, "shares_at"), "a row of shares", anchor)
        regimes = course.history or ()
        for place, (before, after) in enumerate(pairwise(regimes), start=1):
            yield from _changeover(maker, (*path, "history", place), before, after)
        yield from _returns(maker, (*path, "history"), regimes)
    for part, component in maker.components.items():
        for name, feature in component.features.items():
            yield from _never(maker, part, name, feature)


def _changeover(maker: Maker, path: KeyPath, before: Regime, after: Regime) -> Iterator[Problem]:
    """Check one changeover beside the one that it follows."""
    origin, to = maker.origin, _name(after)
    if _alike(before, after):
        message = f"{to} follows itself, so nothing changes here"
        yield warning(origin, path, message, expected="another state, other shares, or one regime")
    date, last = likely_change(maker, after), likely_change(maker, before)
    if date is None:
        return
    key = "first_use" if after.first_use is not None else "with"
    if last is not None and date < last:
        message = (
            f"the changeover to {to} (likely {month_words(date)}) is dated before the one it "
            f"follows, to {_name(before)} (likely {month_words(last)})"
        )
        yield warning(origin, (*path, key), message, expected=f"after {month_words(last)}")
    event = maker.events.get(after.event or "")
    moved = event is not None and far_outside(likely(event.when), maker.period)
    if far_outside(date, maker.period) and not moved:
        yield _outside(maker, (*path, key), f"the first use of {to}", date)


def _name(regime: Regime) -> str:
    """Name what is made in a regime."""
    if regime.state is not None:
        return regime.state
    return series(regime.shares) if regime.shares else "the shares by variant"


def _alike(before: Regime, after: Regime) -> bool:
    forms = [(r.shares_of(None), r.by_variant) for r in (before, after)]
    return forms[0] == forms[1]


def _returns(maker: Maker, path: KeyPath, regimes: tuple[Regime, ...]) -> Iterator[Problem]:
    """Find a state that is made again later, and no event that says why."""
    states = [regime.state for regime in regimes]
    for place, first in repeats(states):
        if states[place - 1] != states[place] and regimes[place].event is None:
            message = f"{states[place]} is in this history twice, and no event brings it back"
            expected = (
                f"a state that was not made before (regime {first + 1}), or with: EVENT where it "
                "did come back"
            )
            yield warning(maker.origin, (*path, place, "state"), message, expected=expected)


def _never(maker: Maker, part: str, name: str, feature: Feature) -> Iterator[Problem]:
    """Find states that are listed and belong to no regime, table or replacement."""
    if feature.free_form:
        return
    component = maker.components[part]
    courses: list[Course] = [feature, *feature.by_variant.values()]
    courses += [each[name] for each in component.by_variant.values() if name in each]
    used = set(feature.replacement or {})
    for course in courses:
        rows: list[dict[str, float]] = list((course.shares_at or {}).values())
        for regime in course.history or ():
            rows += [regime.shares_of(None), *(regime.by_variant or {}).values()]
        used |= {state for row in rows for state, share in row.items() if share > 0}
    for state in feature.states:
        if state not in used:
            path: KeyPath = ("components", part, "features", name, "states", state)
            message = f"{state} is listed and never made: no regime or replacement names it"
            yield warning(maker.origin, path, message, expected="a regime with it, or not listed")


def _means(maker: Maker) -> Iterator[Problem]:
    for name, (part, measurement) in maker.measurements().items():
        path: KeyPath = ("components", part, "measurements", name, "mean")
        for anchor in measurement.mean:
            if far_outside(anchor, maker.period):
                yield _outside(maker, path, f"a mean of {name}", anchor)


def judgements(maker: Maker) -> Iterator[tuple[KeyPath, Judged[Any]]]:
    """Give every judgement of a maker file with its place."""
    for place, output in enumerate(maker.output):
        yield ("output", place, "made"), output.made
    for name, event in maker.events.items():
        yield ("events", name, "when"), event.when
    for path, course in placed_courses(maker):
        for place, regime in enumerate(course.history or ()):
            for key in ("first_use", "lag", "overlap"):
                if (judged := getattr(regime, key)) is not None:
                    yield (*path, "history", place, key), judged
    for name, (part, mark) in maker.marks().items():
        yield ("components", part, "marks", name, "lag"), mark.lag


def _assessors(maker: Maker) -> Iterator[Problem]:
    for path, judged in judgements(maker):
        names = [" ".join(opinion.by.casefold().split()) for opinion in judged.opinions]
        for place, first in repeats(names):
            by = judged.opinions[place].by
            message = f"{by} is pooled twice here, and so counts twice"
            expected = f"one opinion an assessor; the other is number {first + 1}"
            yield warning(maker.origin, (*path, place, "by"), message, found=by, expected=expected)


def _lengths(maker: Maker) -> Iterator[Problem]:
    """Find lengths of time that are longer than the whole period."""
    for path, judged in judgements(maker):
        if path[-1] in {"lag", "overlap"}:
            months = likely(judged)
            if abs(months) > len(maker.period):
                message = f"this is longer than the whole period of {len(maker.period)} months"
                yield warning(maker.origin, path, message, found=months, expected="months")


def _lopsided(maker: Maker) -> Iterator[Problem]:
    """Find likely values that all but coincide with an outer one."""
    for path, judged in judgements(maker):
        for place, opinion in enumerate(judged.opinions):
            if (edge := _edge(opinion)) is not None:
                message = f"the likely value all but coincides with the {edge} one"
                at = (*path, place) if (*path, place) in maker.origin.places else path
                expected = "a likely value as far from both as is believed, or an outer one further"
                yield warning(maker.origin, at, message, expected=expected)


def _edge(opinion: Opinion) -> str | None:
    """Name the outer value beside which the likely one lies, if it does."""
    judged = opinion.distribution()
    if not isinstance(judged, Metalog) or not judged.halves:
        return None
    if judged.scale + abs(judged.skew) / 2 < LOPSIDED * judged.narrowest:
        return None
    return opinion.keys[0 if judged.skew > 0 else 2]
