"""A first maker file from a table of dated instruments, every feature left to be learned."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from math import ceil
from typing import Any

import numpy as np
import yaml
from numpy.typing import NDArray

from dating.edtf import EdtfError, UncertainDate, parse_edtf
from dating.examination import NOT_EXAMINED
from dating.learning.corpus import read_corpus
from dating.learning.latent.mixture import kernel
from dating.learning.latent.rows import MOST_CELLS, Cells
from dating.maker import Maker
from dating.months import Period, month_label
from dating.reading import InputError, Problem, plain_number
from dating.references import KEPT_NAMES
from dating.sheets import Row, Sheet, read_sheet
from dating.statements import LONGEST_NAME

type Floats = NDArray[np.float64]
type Stretch = tuple[int, int]

MOST_STATES = 2_000
"""States of all columns together."""
_OWN = ("instrument", "built", "known_by", "trust")
_VARIANT = "variant"
_SURE = re.compile(r"(.*\S)\s*\(([^()]*)\)")
_NAME = f"1 to {LONGEST_NAME} printable characters"
_REACH = 1.0
"""Reach, in cells, of the kernel that smooths the number of dated instruments."""


def drafted(path: str | os.PathLike[str], name: str) -> str:
    """Draft a maker file for a table of dated instruments.

    Parameters
    ----------
    path : str or path
        A reference corpus (CSV); every column beside the corpus's own is taken for a feature, and
        every value in it for a state.
    name : str
        Name of the maker.

    Returns
    -------
    str
        The maker file as YAML, against which the corpus can be read: the period from the first to
        the last stated date, the output as the instruments are spread over it, one component, and
        free-form features; a column ``variant`` becomes variants in fixed shares.

    Raises
    ------
    InputError
        When it is no such table, when a column holds no state or too many, or when no row states
        a date with two ends.

    Examples
    --------
    >>> text = drafted("demo_data/marrowby_corpus.csv", "Example")
    >>> text.count("free_form: true")
    23
    """
    sheet = read_sheet(path)
    problems = [*_name_problems(sheet, name), *_head_problems(sheet), *_row_problems(sheet)]
    if problems:
        raise InputError(problems)
    table = _Table(sheet)
    states = table.states()
    period, known = table.dates()
    draft = {
        "maker": name,
        "product": "instruments",
        "note": "Drafted from a table. The output is how the dated instruments are spread; put the "
        "maker's own figures in its place where there are any.",
        "period": str(period),
        "sources": {"table": {"title": _title(sheet.file), "kind": "reference corpus"}},
        "output": list(_output(known, period)),
    }
    if counts := states.pop(_VARIANT, None):
        draft["variants"] = _variants(counts, period)
    features = {column: _feature(column, list(counts)) for column, counts in states.items()}
    draft["components"] = {"whole": {"features": features}}
    read_corpus(path, Maker.model_validate(draft))
    return yaml.dump(draft, Dumper=_Dumper, sort_keys=False, allow_unicode=True, width=100)


class _Dumper(yaml.SafeDumper):
    """Writes text that our reader would take for a number within quotation marks."""


def _text_node(dumper: yaml.SafeDumper, text: str) -> yaml.ScalarNode:
    style = None if plain_number(text) is None else "'"
    return dumper.represent_scalar("tag:yaml.org,2002:str", text, style=style)


_Dumper.add_representer(str, _text_node)


class _Table:
    """A sheet of which names and lengths are in order."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        self.cells = [sheet.by_column(row, sheet.head.cells) for row in sheet.rows]

    def states(self) -> dict[str, dict[str, float]]:
        """Count the states of each column; an instrument with several counts in parts."""
        made: dict[str, dict[str, float]] = {}
        problems = []
        for column in _columns(self.sheet):
            counts: dict[str, float] = {}
            for cells in self.cells:
                named = states_in(cells.get(column, NOT_EXAMINED))
                for state in named:
                    counts[state] = counts.get(state, 0.0) + 1 / len(named)
            made[column] = counts
            if not counts:
                message = "there is no state in this column; take it out"
                problems.append(_in_head(self.sheet, column, message))
        if not problems and sum(map(len, made.values())) > MOST_STATES:
            most = max(made, key=lambda column: len(made[column]))
            message = (
                f"there are more than {MOST_STATES:,} states, {len(made[most]):,} of them in this "
                "column; take it out, or cut its values into classes"
            )
            problems.append(_in_head(self.sheet, most, message))
        if problems:
            raise InputError(problems)
        return made

    def dates(self) -> tuple[Period, list[Stretch]]:
        """Give the period, and the first and last month of every date with two ends."""
        dated, unread = self._read_dates()
        known = [(first, last) for first, last in map(_ends, dated) if first and last]
        if not known:
            message = "no row states a date with two ends, so the period cannot be told"
            raise InputError(unread or [Problem(self.sheet.file, None, "built", message)])
        ends = [end for date in dated for both in date.month_stretches for end in both if end]
        try:
            return Period(min(ends), max(ends)), known
        except ValueError as error:
            raise InputError([Problem(self.sheet.file, None, "built", str(error))]) from None

    def _read_dates(self) -> tuple[list[UncertainDate], list[Problem]]:
        """Read the stated dates; an undated instrument has none."""
        dates, problems = [], []
        for row, cells in zip(self.sheet.rows, self.cells, strict=True):
            text = cells.get("built", "")
            if not text:
                continue
            try:
                dates.append(parse_edtf(text))
            except EdtfError as error:
                problems.append(_in_row(self.sheet, row, "built", str(error), text))
        return dates, problems


def states_in(cell: str) -> list[str]:
    """Name the states in one cell of a feature.

    Parameters
    ----------
    cell : str
        As in a reference corpus.

    Returns
    -------
    list of str
        Each once; none where it was not examined or is like no other.

    Examples
    --------
    >>> states_in("plain | lined"), states_in("dowelled (0.8)"), states_in("other: green")
    (['plain', 'lined'], ['dowelled'], [])
    """
    if cell in {"", NOT_EXAMINED} or cell.startswith("other:"):
        return []
    if "|" in cell:
        return list(dict.fromkeys(part.strip() for part in cell.split("|")))
    if (match := _SURE.fullmatch(cell)) and (sure := plain_number(match[2].strip())) is not None:
        return [match[1] if 0 <= sure <= 1 else cell]
    return [cell]


def _name_problems(sheet: Sheet, name: str) -> Iterator[Problem]:
    if not _is_name(name):
        message = "this cannot be the name of a maker"
        yield Problem(sheet.file, None, "name", message, found=repr(name)[:60], allowed=_NAME)


def _head_problems(sheet: Sheet) -> Iterator[Problem]:
    yield from sheet.head_problems(_OWN[:2], sheet.head.cells, "")
    columns = _columns(sheet)
    for column in columns:
        kept = column in KEPT_NAMES or column.startswith("document ")
        if kept and column != _VARIANT:
            yield _in_head(sheet, column, "this name is kept for another use")
        elif not _is_name(column):
            yield _in_head(sheet, column, f"the name of a column has {_NAME}")
    if not set(columns) - {_VARIANT}:
        message = "there is no column for a feature, beside those of the corpus itself"
        yield Problem(sheet.file, sheet.head.line, "", message)


def _row_problems(sheet: Sheet) -> Iterator[Problem]:
    wanted, columns = len(sheet.head.cells), _columns(sheet)
    for row in sheet.rows:
        if len(row.cells) != wanted:
            message = f"there are {wanted} columns, and this row has {len(row.cells)} cells"
            yield _in_row(sheet, row, "", message, None)
            continue
        cells = sheet.by_column(row, columns)
        for column, cell in cells.items():
            for state in states_in(cell):
                if not _is_name(state):
                    yield _in_row(sheet, row, column, f"the name of a state has {_NAME}", state)


def _columns(sheet: Sheet) -> list[str]:
    """Name the columns beside those that every corpus has."""
    return [column for column in sheet.head.cells if column and column not in _OWN]


def _in_head(sheet: Sheet, column: str, message: str) -> Problem:
    return sheet.source(sheet.head.line, None, ()).problem((column,), message)


def _in_row(sheet: Sheet, row: Row, column: str, message: str, found: str | None) -> Problem:
    path = (column,) if column else ()
    return sheet.source(row.line, None, ()).problem(path, message, found=found)


def _is_name(text: str) -> bool:
    return bool(text.strip()) and len(text) <= LONGEST_NAME and text.isprintable()


def _title(file: str) -> str:
    """Name the table; what cannot be written as UTF-8 is left out."""
    return os.path.basename(file).encode("utf-8", "ignore").decode()


def _ends(date: UncertainDate) -> tuple[int | None, int | None]:
    """Give the first and the last month; None where that end is open or unknown."""
    firsts = [first for first, _ in date.month_stretches if first is not None]
    lasts = [last for _, last in date.month_stretches if last is not None]
    return (
        min(firsts) if len(firsts) == len(date.stretches) else None,
        max(lasts) if len(lasts) == len(date.stretches) else None,
    )


def _feature(column: str, states: list[str]) -> dict[str, Any]:
    ask = f"What is the {column}?"
    return {"ask": ask, "states": states, "free_form": True, "source": "table"}


def _variants(counts: dict[str, float], period: Period) -> dict[str, Any]:
    total = sum(counts.values())
    shares = {state: round(count / total, 6) for state, count in counts.items()}
    states = list(counts)
    return {"states": states, "shares_at": {month_label(period.first): shares}, "source": "table"}


def _output(known: list[Stretch], period: Period) -> Iterator[dict[str, str | float]]:
    """Spread each instrument evenly over its date, and smooth a little."""
    first, months = period.first, len(period)
    widths = [stop - start + 1 for start, stop in known]
    finest = min(int(np.quantile(widths, 0.25)), 12)
    cells = Cells(months, max(finest, ceil(months / MOST_CELLS)))
    spread = np.zeros(cells.months)
    for start, stop in known:
        spread[start - first : stop - first + 1] += 1 / (stop - start + 1)
    near = kernel(len(cells), _REACH)
    counts = (near / near.sum(axis=0)) @ cells.gathered(spread)
    for place, count in enumerate(counts):
        start = first + place * cells.width
        stop = min(start + cells.width - 1, period.last)
        during = f"{month_label(start)}/{month_label(stop)}"
        yield {"during": during, "made": max(round(float(count), 2), 0.01), "source": "table"}
