"""Warnings: problems that refuse nothing, and say what would be expected instead."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Any

from dating.maker import Maker, Regime
from dating.months import Period, month_words
from dating.reading import KeyPath, Problem, Source
from dating.statements import Judged

FAR = 24
"""Months outside the maker's period from which a date is far outside."""


def warning(
    origin: Source,
    path: KeyPath,
    message: str,
    *,
    found: object = None,
    expected: str = "",
    nearest: str = "",
) -> Problem:
    """Make a warning located at a key."""
    if isinstance(found, float) and found.is_integer():
        found = int(found)
    problem = origin.problem(path, message, found=found)
    return replace(problem, expected=expected, nearest=nearest)


def period_words(period: Period) -> str:
    """Write a period for people.

    Examples
    --------
    >>> period_words(Period.parse("1923-03/1941-11"))
    'March 1923 to November 1941'
    """
    first, last = month_words(period.first), month_words(period.last)
    return first if first == last else f"{first} to {last}"


def far_outside(value: float, period: Period) -> bool:
    """Say whether a point in time lies far outside a period."""
    return value < period.first - FAR or value >= period.last + 1 + FAR


def likely(judged: Judged[Any]) -> float:
    """Give the value that a judgement calls likely.

    Examples
    --------
    >>> from dating.statements import SpanJudgement
    >>> likely(SpanJudgement.model_validate([1, 4, 12]))
    4.0
    """
    weight = sum(opinion.weight for opinion in judged.opinions)
    values = ((opinion.triple()[1], opinion.weight) for opinion in judged.opinions)
    return float(sum(value * share / weight for value, share in values))


def likely_change(maker: Maker, regime: Regime) -> float | None:
    """Give the likely date of the changeover that leads to a regime."""
    if regime.first_use is not None:
        return likely(regime.first_use)
    if regime.event is None:
        return None
    lag = likely(regime.lag) if regime.lag is not None else 0.0
    return likely(maker.events[regime.event].when) + lag


def series(names: Iterable[str]) -> str:
    """Write names as a list in a sentence.

    Examples
    --------
    >>> series(["nut", "ring", "bars"])
    'nut, ring and bars'
    """
    *most, last = names
    return f"{', '.join(most)} and {last}" if most else last


def repeats[T](things: Sequence[T]) -> Iterator[tuple[int, int]]:
    """Find what stands in a sequence for a second time."""
    places: dict[T, int] = {}
    for position, thing in enumerate(things):
        first = places.setdefault(thing, position)
        if thing and first != position:
            yield position, first
