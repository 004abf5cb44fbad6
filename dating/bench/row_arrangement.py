"""In which order the page shows instruments: by date, name, owner, or by what was seen."""

from __future__ import annotations

import re

from dating.examination import Examination, Sight
from dating.maker import Maker
from dating.succession.comparison import Comparison
from dating.words.succession_rows import DifferenceLine, difference_lines

BY_DATE, BY_NAME, BY_OWNER = "date", "name", "owner"
_SEEN = "seen."

type _Key = tuple[int, float, list[tuple[int, str]]]


def choices(comparison: Comparison) -> list[tuple[str, str]]:
    """List the ways to arrange them, each with its words."""
    owned = any(examination.owner for examination in comparison.examinations)
    return [
        (BY_DATE, "date, oldest first"),
        (BY_NAME, "name"),
        *([(BY_OWNER, "owner")] if owned else []),
        *((f"{_SEEN}{name}", line.name) for name, line in _lines(comparison).items()),
    ]


def arranged(comparison: Comparison, by: str) -> list[tuple[str, str]]:
    """Give the instruments in the order asked for, each with what it is arranged by, in words.

    What is alike stays in the order of the dates; what was not looked at comes last.
    """
    examinations = dict(zip(comparison.names, comparison.examinations, strict=True))
    row, maker = comparison.row, comparison.maker
    if by == BY_NAME:
        return [(name, "") for name in sorted(row, key=natural_key)]
    if by == BY_OWNER:
        shown = {name: examinations[name].owner for name in row}
        order = sorted(row, key=lambda name: (not shown[name], natural_key(shown[name])))
        return [(name, shown[name]) for name in order]
    thing = by.removeprefix(_SEEN)
    line = _lines(comparison).get(thing)
    if line is None or by == thing:
        return [(name, "") for name in row]
    words = dict(zip(row, line.cells, strict=True))
    order = sorted(row, key=lambda name: _key(maker, examinations[name], thing))
    return [(name, words[name]) for name in order]


def natural_key(text: str) -> list[tuple[int, str]]:
    """Put numbers in a text by their size.

    Examples
    --------
    >>> sorted(["M-10", "m-9", "K"], key=natural_key)
    ['K', 'm-9', 'M-10']
    """
    parts = re.split(r"([0-9]+)", text.casefold())
    return [(int(part), "") if place % 2 else (-1, part) for place, part in enumerate(parts)]


def _lines(comparison: Comparison) -> dict[str, DifferenceLine]:
    """Give what was seen differently, by its name in the maker file."""
    rows = zip(comparison.differences, difference_lines(comparison), strict=True)
    return {row.name: line for row, line in rows if line.differs}


def _key(maker: Maker, examination: Examination, thing: str) -> _Key:
    """Give the place of what was seen: states as in the maker file, marks and numbers by size."""
    sight = examination.variant if thing == "variant" else examination.seen.get(thing)
    if sight is not None:
        return 0, _place(maker, thing, sight), []
    if (reading := examination.measured.get(thing)) is not None:
        return 0, reading.value, []
    if (mark := examination.marks.get(thing)) is not None:
        return 0, 0.0, natural_key(mark)
    return 1, 0.0, []


def _place(maker: Maker, thing: str, sight: Sight) -> float:
    """Give the place of the first state that it may be; what names none comes after all."""
    if thing == "variant" and maker.variants is not None:
        states = [*maker.variants.states]
    else:
        states = [*maker.features()[thing][1].states]
    return min(
        (states.index(name) for name in sight.named() if name in states), default=len(states)
    )
