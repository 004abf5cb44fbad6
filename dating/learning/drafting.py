"""A first maker file from a table of dated instruments, every feature left to be learned."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Any

import yaml

from dating.edtf import EdtfError, UncertainDate, parse_edtf
from dating.examination import NOT_EXAMINED
from dating.learning.corpus import corpus_in, is_date
from dating.learning.spread import MonthRange, margin_of, output_of, wider
from dating.maker import Maker
from dating.months import Period, month_label
from dating.reading import InputError, Problem, plain_number
from dating.references import KEPT_NAMES
from dating.sheet_rows import SheetRow
from dating.sheets import Sheet, read_sheet
from dating.statements import LONGEST_NAME

MOST_STATES = 2_000
"""States of all columns together."""
_OWN = ("instrument", "built", "known_by", "trust")
_VARIANT = "variant"
_DATES = "a date; a blank cell; or any text, with --leave-out-undated"
_SURE = re.compile(r"(.*\S)\s*\(([^()]*)\)")
_NAME = f"1 to {LONGEST_NAME} printable characters"
MANY = 0.25
"""States by instrument above which a feature is said to be cut too fine."""


def draft(table: str | os.PathLike[str], name: str, *, leave_out_undated: bool = False) -> str:
    """Draft a maker file for a table of dated instruments.

    Every column beside those of the corpus itself becomes a feature, and every value in it a
    state; how their shares change over time is left to be learned. Until something is learned,
    every date from it says that it is a draft's.

    Parameters
    ----------
    table : str or path
        A CSV file, one dated instrument a row, with the columns ``instrument`` and ``built``.
    name : str
        Name of the maker.
    leave_out_undated : bool
        Leave out rows whose date is missing or cannot be read.

    Returns
    -------
    str
        The text of a maker file, in YAML; :func:`dating.read_maker` reads it from a file.

    Raises
    ------
    InputError
        With one problem for everything that needs attention: names, columns without a state or
        with too many, rows and dates that cannot be read; when no row states a date with two ends.

    Examples
    --------
    >>> text = draft("demo_data/marrowby_corpus.csv", "Example")
    >>> text.count("free_form: true")
    23
    """
    sheet = read_sheet(table)
    problems = [*_name_problems(sheet, name), *_head_problems(sheet), *_row_problems(sheet)]
    rows = _Table(sheet, problems, leave_out_undated)
    states, period, known = rows.states(), rows.period(), rows.known()
    if period is None or not known or not set(states) - {_VARIANT}:
        raise InputError(_each_once(problems))
    whole = wider(period, margin_of(known, period))
    features = {c: _feature(c, list(counts)) for c, counts in states.items() if c != _VARIANT}
    made = {
        "maker": name if _is_name(name) else "draft",
        "product": "instruments",
        "draft": True,
        "note": _note(known, period),
        "period": str(whole),
        "sources": {"table": {"title": _title(sheet.file), "kind": "reference corpus"}},
        "output": list(output_of(known, period)),
    }
    if counts := states.get(_VARIANT):
        made["variants"] = _variants(counts, whole)
    made["components"] = {"whole": {"features": features}}
    try:
        corpus_in(rows.sheet, Maker.model_validate(made), leave_out_undated=leave_out_undated)
    except InputError as error:
        problems += error.problems
    if problems:
        raise InputError(_each_once(problems))
    return yaml.dump(made, Dumper=_Dumper, sort_keys=False, allow_unicode=True, width=100)


def _note(known: list[MonthRange], period: Period) -> str:
    return (
        "Drafted from a table. The output is how the dated instruments are spread, and one "
        f"instrument more on either side: in the {margin_of(known, period)} months before the "
        f"first of them ({month_label(period.first)}) and after the last "
        f"({month_label(period.last)}). Put the maker's own figures in its place where there are "
        "any, and take out draft: true when somebody has judged what stands here."
    )


def _each_once(problems: Iterable[Problem]) -> list[Problem]:
    """Keep the first problem of each place."""
    return list({(p.line, p.key): p for p in reversed(list(problems))}.values())[::-1]


class _Dumper(yaml.SafeDumper):
    """Writes text that our reader would take for a number within quotation marks."""


def _text_node(dumper: yaml.SafeDumper, text: str) -> yaml.ScalarNode:
    style = None if plain_number(text) is None else "'"
    return dumper.represent_scalar("tag:yaml.org,2002:str", text, style=style)


_Dumper.add_representer(str, _text_node)


class _Table:
    """The columns and rows of a sheet that are in order; what is not is noted."""

    def __init__(self, sheet: Sheet, problems: list[Problem], leave_out_undated: bool) -> None:
        self.problems = problems
        self.leave_out_undated = leave_out_undated
        self.sheet = _in_order(sheet, problems)
        self.cells = [self.sheet.by_column(row, self.sheet.head.cells) for row in self.sheet.rows]
        if leave_out_undated:
            self.cells = [cells for cells in self.cells if is_date(cells.get("built", ""))]
        self.dates = self._dates()

    def states(self) -> dict[str, dict[str, float]]:
        """Count the states of each column; an instrument with several counts in parts."""
        columns: dict[str, dict[str, float]] = {}
        for column in _columns(self.sheet):
            counts: dict[str, float] = {}
            for cells in self.cells:
                named = states_in(cells.get(column, NOT_EXAMINED))
                for state in filter(_is_name, named):
                    counts[state] = counts.get(state, 0.0) + 1 / len(named)
            columns[column] = counts
            if not counts:
                message = "there is no state in this column; take it out"
                self.problems.append(_in_head(self.sheet, column, message))
        self._check_size(columns)
        return {column: counts for column, counts in columns.items() if counts}

    def _check_size(self, columns: dict[str, dict[str, float]]) -> None:
        """Name every column that is cut too fine where there are too many states."""
        if sum(map(len, columns.values())) <= MOST_STATES:
            return
        fine = {c: n for c, n in columns.items() if len(n) > MANY * len(self.cells)}
        for column in fine or [max(columns, key=lambda column: len(columns[column]))]:
            message = (
                f"there are more than {MOST_STATES:,} states, {len(columns[column]):,} of them in "
                "this column; take it out, or cut its values into classes"
            )
            self.problems.append(_in_head(self.sheet, column, message))

    def known(self) -> list[MonthRange]:
        """Give the first and last month of every date with two ends."""
        return [(first, last) for first, last in map(_ends, self.dates) if first and last]

    def period(self) -> Period | None:
        """Give the months from the first to the last stated date; None where there are none."""
        if not self.known():
            message = "no row states a date with two ends, so the period cannot be told"
            unread = any(problem.key == "built" for problem in self.problems)
            if "built" in self.sheet.head.cells and not unread:
                self.problems.append(Problem(self.sheet.file, None, "built", message))
            return None
        ends = [end for date in self.dates for both in date.month_stretches for end in both if end]
        try:
            return Period(min(ends), max(ends))
        except ValueError as error:
            self.problems.append(Problem(self.sheet.file, None, "built", str(error)))
            return None

    def _dates(self) -> list[UncertainDate]:
        """Read the stated dates; an undated instrument has none."""
        dates = []
        for row in self.sheet.rows:
            text = self.sheet.by_column(row, ("built",)).get("built", "")
            try:
                dates += [parse_edtf(text)] if text else []
            except EdtfError as error:
                if not self.leave_out_undated:
                    problem = _in_row(self.sheet, row, "built", str(error), text)
                    self.problems.append(replace(problem, allowed=_DATES))
        return dates


def _in_order(sheet: Sheet, problems: Iterable[Problem]) -> Sheet:
    """Keep the columns whose names are in order, and the rows that have all cells."""
    head = sheet.head
    wrong = {problem.key for problem in problems if problem.line == head.line}
    places = [
        place
        for place, name in enumerate(head.cells)
        if name and name not in wrong and name not in head.cells[:place]
    ]

    def chosen(row: SheetRow) -> SheetRow:
        return SheetRow(row.line, tuple(row.cells[place] for place in places))

    rows = tuple(chosen(row) for row in sheet.rows if len(row.cells) == len(head.cells))
    return replace(sheet, head=chosen(head), rows=rows)


def states_in(cell: str) -> list[str]:
    """Name the states in one cell of a feature.

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
        reserved = column in KEPT_NAMES or column.startswith("document ")
        if reserved and column != _VARIANT:
            yield _in_head(sheet, column, "this name is kept for another use")
        elif not _is_name(column):
            yield _in_head(sheet, column, f"the name of a column has {_NAME}")
    if not set(columns) - {_VARIANT}:
        message = "there is no column for a feature, beside those of the corpus itself"
        yield Problem(sheet.file, sheet.head.line, "", message)


def _row_problems(sheet: Sheet) -> Iterator[Problem]:
    width, columns = len(sheet.head.cells), _columns(sheet)
    for row in sheet.rows:
        if len(row.cells) != width:
            message = f"there are {width} columns, and this row has {len(row.cells)} cells"
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


def _in_row(sheet: Sheet, row: SheetRow, column: str, message: str, found: str | None) -> Problem:
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
