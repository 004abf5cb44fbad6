"""What a group file names must be there, and what it says can be so all at once.

What is certain and cannot be so is refused. What is valid and hardly meant gets a warning, and
that includes what cannot be so where a statement that is needed for that may be wrong.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from itertools import pairwise

from dating.bounds import Bound, contradiction
from dating.examination import Examination
from dating.maker import Maker
from dating.months import Period, month_words
from dating.plausibility.examination import examination_warnings
from dating.plausibility.warning import period_words, repeats, series, warning
from dating.reading import KeyPath, Problem, Source
from dating.succession.relations import (
    ApartAtMost,
    Consecutive,
    Group,
    OlderBy,
    Photographed,
    Relation,
    SameBatch,
    relation_words,
)

_START = 0
"""The node of the first month of the period; batches have the nodes below it."""
_PERIOD = -1
"""The number of what the maker file says, beside the statements of the group file."""
_MOST_SHOWN = 6
"""Statements that are written out where they contradict each other; others are named by lines."""


def group_problems(group: Group, names: Collection[str], maker: Maker) -> list[Problem]:
    """List what a group file says that cannot be so.

    Parameters
    ----------
    group : Group
        The group file.
    names : collection of str
        The instruments of which there is an examination.
    maker : Maker
        Its maker file.

    Returns
    -------
    list of Problem
        Instruments that are not examined or come twice, photographs from before the maker's
        period, and certain statements that no months of the period allow.
    """
    problems: list[Problem] = []
    for position, relation in enumerate(group.known):
        problems += _name_problems(group, position, relation, names)
        if relation.trust == 1 and _is_too_early(relation, maker.period):
            path, message, found = _early(group, position, maker.period)
            allowed = period_words(maker.period)
            problems.append(group.origin.problem(path, message, found=found, allowed=allowed))
    certain = {n: relation for n, relation in _orderly(group, maker) if relation.trust == 1}
    for numbers in _contradictions(certain, maker.period):
        path, message = _contradiction(group, numbers, maker.period)
        problems.append(group.origin.problem(path, message))
    return problems


def maker_problems(
    examinations: Sequence[Examination], group: Group | None = None
) -> list[Problem]:
    """List instruments, and the group file, that are of another maker than the first instrument."""
    first = examinations[0].maker
    message = "instruments of one maker are compared, and this one is of another"
    problems = [
        each.origin.problem(("maker",), message, found=each.maker, allowed=[first])
        for each in examinations
        if each.maker != first
    ]
    if group is not None and group.maker != first:
        message = "the instruments are of another maker"
        problem = group.origin.problem(("maker",), message, found=group.maker, allowed=[first])
        problems.append(problem)
    return problems


def group_warnings(
    group: Group, examinations: Mapping[str, Examination], maker: Maker
) -> tuple[Problem, ...]:
    """List what a group file, and the examinations it lists, say that is hardly meant.

    Examples
    --------
    >>> from dating.files import read_maker
    >>> from dating.succession.files import group_of, read_group
    >>> maker = read_maker("priors/marrowby.yaml")
    >>> group = read_group("demo_data/marrowby_group.yaml")
    >>> group_warnings(group, group_of(group, maker), maker)
    ()
    """
    found = [w for each in examinations.values() for w in examination_warnings(each, maker)]
    contents = [_said(relation) for relation in group.known]
    for position, first in repeats(contents):
        message = f"this says again what is said in {_place(group, first)}, and so counts twice"
        found.append(warning(group.origin, _path(group, position), message, expected="it once"))
    for position, relation in enumerate(group.known):
        found += _relation_warnings(group, position, relation, maker.period)
    for numbers in _contradictions(dict(_orderly(group, maker)), maker.period):
        path, message = _contradiction(group, numbers, maker.period)
        expected = "statements that can all be so; else at least one of these is taken for wrong"
        found.append(warning(group.origin, path, message, expected=expected))
    return tuple(found)


def _name_problems(
    group: Group, position: int, relation: Relation, names: Collection[str]
) -> Iterator[Problem]:
    path, named = (*_path(group, position), "instruments"), relation.content.instruments
    for place, name in enumerate(named):
        here = (*path, place)
        if name in named[:place]:
            message = "an instrument is named once here"
            yield group.origin.problem(here, message, found=name)
        elif name not in names:
            message = "no examination of this instrument is given"
            yield group.origin.problem(here, message, found=name, allowed=names)


def _relation_warnings(
    group: Group, position: int, relation: Relation, period: Period
) -> Iterator[Problem]:
    """Check one statement for what is hardly meant."""
    origin, path = group.origin, _path(group, position)
    if "trust" not in relation.model_fields_set:
        message = f"no trust in this is stated; {relation.trust:g} is assumed"
        yield warning(origin, path, message, expected="a trust, or 1 if it cannot be wrong")
    match relation.content:
        case OlderBy(at_most=int(most)) | ApartAtMost(at_most=most):
            yield from _idle_bound(origin, (*path, "at_most"), most, period)
        case SameBatch(instruments=names, within=0) | Consecutive(instruments=names, within=0):
            if len(names) > 2:
                message = "so many were hardly completed in one and the same month"
                expected = "a month or more"
                yield warning(origin, (*path, "within"), message, found=0, expected=expected)
        case SameBatch(within=within) | Consecutive(within=within):
            yield from _idle_bound(origin, (*path, "within"), within, period)
        case Photographed() as photographed:
            if relation.trust < 1 and photographed.last < period.first:
                place, message, found = _early(group, position, period)
                yield warning(origin, place, message, found=found, expected="a later date")
            if photographed.last >= period.last:
                message = f"this excludes no month: the maker ended in {month_words(period.last)}"
                found, expected = photographed.date.text, "an earlier date"
                yield warning(origin, (*path, "date"), message, found=found, expected=expected)


def _idle_bound(origin: Source, path: KeyPath, months: int, period: Period) -> Iterator[Problem]:
    """Find months so many that no two of the period lie further apart."""
    longest = len(period) - 1
    if months >= longest:
        message = f"no two months of the period lie more than {longest} apart: this bounds nothing"
        expected = f"less than {longest}"
        yield warning(origin, path, message, found=months, expected=expected)


def _said(relation: Relation) -> tuple[object, ...]:
    """Give what a statement says in a form in which the same from one source is equal."""
    content, source = relation.content, " ".join(relation.source.casefold().split())
    others = [key for key in type(content).model_fields if key != "instruments"]
    ordered = isinstance(content, OlderBy | Consecutive)
    names = content.instruments if ordered else frozenset(content.instruments)
    return relation.kind, names, tuple(getattr(content, key) for key in others), source


def _is_too_early(relation: Relation, period: Period) -> bool:
    content = relation.content
    return isinstance(content, Photographed) and content.last < period.first


def _early(group: Group, position: int, period: Period) -> tuple[KeyPath, str, object]:
    """Say where a photograph is too early, what is wrong with it, and its date."""
    path = (*_path(group, position), "date")
    message = f"this excludes every month: the maker began in {month_words(period.first)}"
    content = group.known[position].content
    return path, message, content.date.text if isinstance(content, Photographed) else None


def _orderly(group: Group, maker: Maker) -> Iterator[tuple[int, Relation]]:
    """Give the statements that are not at fault by themselves, with their positions."""
    for position, relation in enumerate(group.known):
        names = relation.content.instruments
        if len(set(names)) == len(names) and not _is_too_early(relation, maker.period):
            yield position, relation


def _contradictions(relations: Mapping[int, Relation], period: Period) -> list[tuple[int, ...]]:
    """List statements that cannot all be so; of each list one is left out of those after it."""
    left, found = dict(relations), []
    while numbers := contradiction([*_bounds(left, period)]):
        found.append(numbers)
        stated = [number for number in numbers if number != _PERIOD]
        del left[min(stated, key=lambda number: (left[number].trust, -number))]
    return sorted(found, key=max)


def _bounds(relations: Mapping[int, Relation], period: Period) -> Iterator[Bound]:
    """Give what statements and the maker's period say as bounds."""
    names = {name for relation in relations.values() for name in relation.content.instruments}
    for name in sorted(names):
        yield Bound(name, _START, len(period) - 1, _PERIOD)
        yield Bound(_START, name, 0, _PERIOD)
    for number, relation in relations.items():
        yield from _bounds_of(relation, number, period)


def _bounds_of(relation: Relation, number: int, period: Period) -> Iterator[Bound]:
    """Give what one statement says as bounds."""
    match relation.content:
        case OlderBy(instruments=(first, second), at_least=least, at_most=most):
            yield Bound(first, second, -least, number, before=True)
            if most is not None:
                yield Bound(second, first, most, number)
        case ApartAtMost(instruments=(first, second), at_most=most):
            yield Bound(first, second, most, number)
            yield Bound(second, first, most, number)
        case SameBatch(instruments=names, within=within):
            begun = -1 - number
            for name in names:
                yield Bound(name, begun, within, number)
                yield Bound(begun, name, 0, number)
        case Photographed(instruments=names, last=last):
            for name in names:
                yield Bound(name, _START, last - period.first, number)
        case Consecutive(instruments=names, within=within):
            for first, second in pairwise(names):
                yield Bound(first, second, 0, number, before=True)
                yield Bound(second, first, within, number)


def _contradiction(group: Group, numbers: Sequence[int], period: Period) -> tuple[KeyPath, str]:
    """Say where statements contradict each other, and which they are."""
    stated = [number for number in numbers if number != _PERIOD]
    shown, others = stated[:_MOST_SHOWN], stated[_MOST_SHOWN:]
    parts = [f"{relation_words(group.known[n])} ({_place(group, n)})" for n in shown]
    if others:
        parts.append(f"what is said in {series(_place(group, n) for n in others)}")
    if _PERIOD in numbers:
        parts.append(f"all were completed from {period_words(period)}")
    how = "both" if len(parts) == 2 else "all"
    return _path(group, stated[-1]), f"{series(parts)}: these cannot {how} be so"


def _path(group: Group, position: int) -> KeyPath:
    return "known", position, group.known[position].kind


def _place(group: Group, position: int) -> str:
    """Name a statement by its line, or by its number where it was not read from a file."""
    line, _ = group.origin.places.get(_path(group, position), (0, 0))
    return f"line {line}" if line else f"statement {position + 1}"
