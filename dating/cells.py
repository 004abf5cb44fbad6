"""The cells of a row that say what was seen, read as an examination and written from one.

A blank cell, or one that says ``not examined``, was not examined. Of a feature or the variant a
cell holds a state, ``plain | lined`` for one of several, ``dowelled (0.8)`` for a state of which
the examiner is 0.8 sure, ``other: green celluloid``, ``not: lined``, or ``known: replaced``; of a
mark ``absent`` where its place bears none; of a measurement ``21.4`` or ``21.4
within 0.3``, and ``confirmed`` after it if it is no slip of the pen; of a mark its date or code. A
cell that is the name of a state is that state. Numbers may have a decimal comma.

Where that is asked for, a state that the maker file does not list is taken for ``other``, which
says nothing about the date, and is counted.

One document has columns too: ``document`` says what it is, ``not_before`` and ``not_after`` what it
bounds, ``document_trust`` how far it is trusted. What the examiner knows of a component stands in a
column of its name: ``original``, ``not original``, or ``original (0.9)`` of which 0.9 is sure.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from dating.amounts import AmountError, decimal_of
from dating.examination import NOT_EXAMINED, Belonging, Examination, Reading, Sight
from dating.maker import Maker
from dating.reading import InputError, KeyPath, Problem
from dating.references import examination_problems
from dating.sheets import Sheet
from dating.validation import validate

type Unlisted = dict[str, Counter[str]]
"""How often each cell with a state that the maker file does not list stands in each column."""

_GROUPS = ("seen", "marks", "measured", "parts")
_SURE = re.compile(r"(.*\S)\s*\(([^()]*)\)")
_READING = re.compile(r"(\S+)(?:\s+within\s+(\S+))?(\s+confirmed)?")
_BELONGING = {"original": True, "not original": False}
_FORMS = {
    "measured": (
        "a number is expected here",
        "a number such as 21.4, 21.4 within 0.3, or 21.4 confirmed",
    ),
    "parts": (
        "what is known of the component is expected here",
        "original or not original, and how sure that is where there is doubt: original (0.9)",
    ),
}
"""What is expected in a cell that cannot be read, and what may stand there."""

DOCUMENT_COLUMNS = {
    "document": "what",
    "not_before": "not_before",
    "not_after": "not_after",
    "document_trust": "trust",
}
"""Columns of one document, with the key of each in an examination."""
OTHER_COLUMNS = (
    "instrument",
    "built",
    "known_by",
    "trust",
    "lot",
    "title",
    "examined",
    "by",
    "owner",
)
"""Columns that say which instrument a row is, and when and by whom it was dated or seen."""


def columns_of(maker: Maker) -> dict[str, tuple[str, ...]]:
    """Name the columns that say what was seen, with the place of each in an examination.

    Examples
    --------
    >>> from dating.files import read_maker
    >>> columns_of(read_maker("priors/marrowby.yaml"))["heel-joint"]
    ('seen', 'heel-joint')
    """
    return {
        **({"variant": ("variant",)} if maker.variants else {}),
        **{name: ("seen", name) for name in maker.features()},
        **{name: ("marks", name) for name in maker.marks()},
        **{name: ("measured", name) for name in maker.measurements()},
    }


def part_columns(maker: Maker) -> dict[str, tuple[str, ...]]:
    """Name the columns that say what is known of components, with their places.

    A component has none where something that is seen has its name.

    Examples
    --------
    >>> from dating.files import read_maker
    >>> part_columns(read_maker("priors/marrowby.yaml"))["neck"]
    ('parts', 'neck')
    """
    taken = {*columns_of(maker), *DOCUMENT_COLUMNS, *OTHER_COLUMNS}
    return {name: ("parts", name) for name in maker.components if name not in taken}


def cell_columns(maker: Maker) -> dict[str, tuple[str, ...]]:
    """Name the columns that say what was seen, or is known of components, with their places."""
    return {**columns_of(maker), **part_columns(maker)}


def examination_in(
    sheet: Sheet,
    line: int,
    cells: Mapping[str, str],
    maker: Maker,
    unlisted: Unlisted | None = None,
) -> tuple[Examination | None, list[Problem]]:
    """Read what the cells of one row say was seen."""
    data: dict[str, Any] = {"instrument": cells.get("instrument", "")}
    data |= {"maker": _stem(maker), "invented": maker.invented}
    data |= {group: {} for group in _GROUPS}
    paths: list[KeyPath] = [("instrument",), *((group,) for group in _GROUPS)]
    problems: list[Problem] = []
    origin = sheet.source(line, None, ())
    columns = cell_columns(maker)
    for name, path in columns.items():
        text = cells.get(name, NOT_EXAMINED)
        if text == NOT_EXAMINED:
            continue
        try:
            value = _value(text, path, maker)
        except AmountError as error:
            problems.append(origin.problem((name,), str(error), found=text))
            continue
        if unlisted is not None and _is_unlisted(value, path, maker):
            unlisted.setdefault(name, Counter())[text] += 1
            value = {"other": text}
        if value is None:
            message, allowed = _FORMS[path[0]]
            problems.append(origin.problem((name,), message, found=text, allowed=allowed))
            continue
        into = data if len(path) == 1 else data[path[0]]
        into[path[-1]] = value
        paths.append(path)
    paper = {
        key: cells[name]
        for name, key in DOCUMENT_COLUMNS.items()
        if name not in columns and cells.get(name, NOT_EXAMINED) != NOT_EXAMINED
    }
    if paper:
        try:
            trust = _trust(paper)
        except AmountError as error:
            trust = {}
            problems.append(origin.problem(("document_trust",), str(error), found=paper["trust"]))
        data["documents"] = [{"what": "document", **paper, **trust}]
        paths += [("documents",), ("documents", 0), *(("documents", 0, key) for key in paper)]
    source = sheet.source(line, data, paths)
    try:
        examination = validate(source, Examination).placed(source)
        problems += map(in_column, examination_problems(examination, maker))
    except InputError as error:
        problems += map(in_column, error.problems)
    return (None if problems else examination), problems


def cells_of(examination: Examination) -> dict[str, str]:
    """Write what was seen as the cells of a row; notes and documents are left out.

    Examples
    --------
    >>> from dating.files import read_examination
    >>> cells = cells_of(read_examination("demo_data/examinations/M-001.yaml"))
    >>> cells["heel-joint"], cells["neck-depth"]
    ('dowelled', '22.9 within 0.2')
    """
    sights = {"variant": examination.variant, **examination.seen}
    return {
        "instrument": examination.instrument,
        **{name: _sight_cell(sight) for name, sight in sights.items() if sight is not None},
        **{name: text for name, text in examination.marks.items() if text is not None},
        **{
            name: _reading_cell(reading)
            for name, reading in examination.measured.items()
            if reading is not None
        },
        **{name: _belonging_cell(known) for name, known in examination.parts.items()},
    }


def _trust(paper: Mapping[str, str]) -> dict[str, Any]:
    """Read the trust in a document as a number where it is one."""
    number = decimal_of(paper["trust"]) if "trust" in paper else None
    return {} if number is None else {"trust": number}


def _value(text: str, path: tuple[str, ...], maker: Maker) -> Any:
    """Read one cell as plain data; None where it does not have the form that is wanted."""
    if path[0] == "marks":
        return text
    if path[0] == "measured":
        return _reading(text)
    if path[0] == "parts":
        return _belonging(text)
    if path[0] == "seen":
        return _sight(text, maker.features()[path[1]][1].states)
    return _sight(text, maker.variants.states if maker.variants else ())


def _is_unlisted(value: Any, path: tuple[str, ...], maker: Maker) -> bool:
    """Whether a cell names a state of a feature, or a variant, that is not listed."""
    if path[0] not in {"seen", "variant"}:
        return False
    listed = maker.features()[path[1]][1].states if path[0] == "seen" else maker.variant_names()
    if isinstance(value, dict):
        named = value.get("one_of", [value["state"]] if "state" in value else [])
    else:
        named = [value]
    return any(name not in listed for name in named)


def _sight(text: str, states: Iterable[str]) -> Any:
    if text in states:
        return text
    key, colon, words = text.partition(":")
    if colon and key in {"other", "known", "not"}:
        return {key: [w.strip() for w in words.split("|")] if key == "not" else words.strip()}
    if "|" in text:
        return {"one_of": [part.strip() for part in text.split("|")]}
    if (match := _SURE.fullmatch(text)) and (sure := decimal_of(match[2].strip())) is not None:
        return {"state": match[1], "sure": sure}
    return text


def _reading(text: str) -> dict[str, float] | None:
    match = _READING.fullmatch(text)
    numbers = [decimal_of(part) for part in match.groups()[:2] if part] if match else []
    present = [number for number in numbers if number is not None]
    if not match or not present or len(present) < len(numbers):
        return None
    reading = dict(zip(("value", "within"), present, strict=False))
    return reading | {"confirmed": True} if match[3] else reading


def _belonging(text: str) -> dict[str, Any] | None:
    """Read what is known of a component; None where that cannot be read."""
    match = _SURE.fullmatch(text)
    sure = decimal_of(match[2].strip()) if match else 1.0
    original = _BELONGING.get(match[1] if match else text)
    return None if original is None or sure is None else {"original": original, "sure": sure}


def _belonging_cell(known: Belonging) -> str:
    words = "original" if known.original else "not original"
    return words if known.sure == 1 else f"{words} ({known.sure!r})"


def _sight_cell(sight: Sight) -> str:
    if sight.other is not None:
        return f"other: {sight.other}"
    if sight.known is not None:
        return f"known: {sight.known}"
    if sight.excluded is not None:
        return f"not: {' | '.join(sight.excluded)}"
    names = " | ".join(sight.named())
    return names if sight.sure is None else f"{names} ({sight.sure!r})"


def _reading_cell(reading: Reading) -> str:
    within = f" within {reading.within!r}" if reading.within else ""
    return f"{reading.value!r}{within}{' confirmed' if reading.confirmed else ''}"


def in_column(problem: Problem) -> Problem:
    """Give the column as the key of a problem, rather than the place in an examination."""
    group, _, name = problem.key.partition(".")
    if group.startswith("documents"):
        columns = {key: column for column, key in DOCUMENT_COLUMNS.items()}
        return replace(problem, key=columns.get(name, "document"))
    return replace(problem, key=name) if group in _GROUPS else problem


def _stem(maker: Maker) -> str:
    """Name the maker as an examination does: by its file, or by its name where there is none."""
    return maker.maker[:60] if maker.origin.data is None else Path(maker.origin.file).stem[:60]
