"""A table of examinations as codes: each different cell is read once, and rows count into them.

A cell of a table is the cell of :mod:`dating.cells`. Each column that bears on the date becomes an
array of codes, where 0 is "says nothing", and the examinations of one thing each that the other
codes stand for. The columns of a document count as one.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from dating.arrays import Integers
from dating.batch.distinct import (
    CellReader,
    Located,
    combined_cells,
    distinct_cells,
    single_of,
    value_at,
)
from dating.cells import DOCUMENT_COLUMNS, Unlisted, cell_columns, columns_of
from dating.examination import Belonging, Examination
from dating.files import check_against
from dating.maker import Maker
from dating.reading import InputError, Problem
from dating.sheet_rows import SheetRow
from dating.sheets import Sheet, read_sheet

if TYPE_CHECKING:
    import pandas as pd


WHOLE = None
"""The component of what is seen on the instrument as a whole."""


@dataclass(frozen=True, eq=False)
class Column:
    """One column of a table.

    Parameters
    ----------
    component : str or None
        The component it tells of; None for the instrument as a whole.
    raw : ndarray of int, shape (row,)
        Which of its distinct cells stands in each row; -1 for a missing one.
    codes : ndarray of int, shape (distinct cell + 1,)
        The code of each distinct cell, the last for missing ones; 0 says nothing.
    levels : tuple of Examination
        What codes from 1 stand for: examinations of this one thing.
    feature : str or None
        The feature, where it is of one.
    """

    component: str | None
    raw: Integers
    codes: Integers
    levels: tuple[Examination, ...]
    feature: str | None = None

    @property
    def known(self) -> tuple[Belonging, ...]:
        """What is known of the component, by code from 1; empty for other columns."""
        return tuple(known for level in self.levels for known in level.parts.values())

    def at(self, rows: slice | Integers) -> Integers:
        """Give the codes of some rows.

        Shape: (row,).
        """
        return np.asarray(self.codes[self.raw[rows]])


@dataclass(frozen=True, eq=False)
class CodedTable:
    """A table of examinations as codes.

    Parameters
    ----------
    names : Series or list of str
        The instruments, in the order of the table.
    index : Index or None
        Index of the table, where it had one.
    columns : tuple of Column
        Those in which anything was seen.
    unlisted : dict of str to Counter
        How often cells with states that the maker file does not list stand in each column, where
        such cells were to be taken for ones that say nothing.
    """

    names: pd.Series | list[str]
    index: pd.Index | None
    columns: tuple[Column, ...]
    unlisted: Unlisted = field(default_factory=dict)

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self.names)

    def examination(self, row: int) -> Examination:
        """Put together again what one row says."""
        merged: dict[str, Any] = {"seen": {}, "marks": {}, "measured": {}, "parts": {}}
        whole = None
        for column in self.columns:
            code = int(column.at(slice(row, row + 1))[0])
            if code == 0:
                continue
            whole = column.levels[code - 1]
            for group in ("seen", "marks", "measured", "parts"):
                merged[group] |= getattr(whole, group)
            merged |= {"variant": whole.variant} if whole.variant is not None else {}
            merged |= {"documents": whole.documents} if whole.documents else {}
            merged |= {"examined": whole.examined} if whole.examined is not None else {}
        if whole is None:
            raise ValueError(f"row {row} says nothing that bears on the date")
        return whole.model_copy(update=merged)


def coded_examinations(examinations: Sequence[Examination], maker: Maker) -> CodedTable:
    """Turn examinations into codes.

    Raises InputError when an examination names what the maker file does not know.
    """
    problems: list[Problem] = []
    for examination in examinations:
        try:
            check_against(examination, maker)
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    columns: list[Column] = []
    paths = {
        **columns_of(maker),
        "document": ("documents",),
        **{f"{name}, known": ("parts", name) for name in maker.components},
    }
    for name, path in paths.items():
        values = [value_at(examination, path) for examination in examinations]
        known: dict[str, int] = {}
        levels: list[Examination] = []
        raw = np.full(len(values), -1, dtype=np.int32)
        for row, value in enumerate(values):
            if value is None or value == ():
                continue
            single = single_of(examinations[row], path, value)
            key = single.model_dump_json()
            if key not in known:
                known[key] = len(levels)
                levels.append(single)
            raw[row] = known[key]
        columns += _column(_component(name, path, maker), raw, levels)
    return CodedTable([each.instrument for each in examinations], None, tuple(columns))


def coded_sheet(
    path: str | os.PathLike[str], maker: Maker, *, allow_unlisted: bool = False
) -> CodedTable:
    """Read a CSV file into codes.

    Raises InputError with one problem for each distinct thing wrong, located at the line where it
    first stands.
    """
    import pandas as pd  # noqa: PLC0415

    sheet = read_sheet(path)
    allowed = {"instrument", *DOCUMENT_COLUMNS, *cell_columns(maker)}
    problems = list(sheet.head_problems(("instrument",), allowed, _unknown(maker)))
    width = len(sheet.head.cells)
    for row in sheet.rows:
        if len(row.cells) != width:
            message = f"there are {width} columns, and this row has {len(row.cells)} cells"
            problems.append(sheet.source(row.line, None, ()).problem((), message))
    if problems:
        raise InputError(problems)
    lines = [row.line for row in sheet.rows]
    frame = pd.DataFrame([row.cells for row in sheet.rows], columns=list(sheet.head.cells))
    unlisted: Unlisted | None = {} if allow_unlisted else None
    frame = frame.replace("", None)
    coded = _coded(frame, maker, lambda row: (sheet.file, lines[row]), unlisted)
    return replace(coded, index=None)


def coded_frame(
    frame: pd.DataFrame, maker: Maker, file: str = "the table", *, allow_unlisted: bool = False
) -> CodedTable:
    """Turn a table into codes.

    Raises InputError with one problem for each distinct thing wrong, located at the row where it
    first stands, by the label of the index.
    """
    check_columns(list(frame.columns), maker, file)
    unlisted: Unlisted | None = {} if allow_unlisted else None
    return _coded(frame, maker, lambda row: (f"{file}, row {frame.index[row]}", None), unlisted)


def check_columns(names: Sequence[object], maker: Maker, file: str = "the table") -> None:
    """Refuse columns that the maker file does not know.

    Raises InputError with one problem for each column.
    """
    cells = tuple(str(name) for name in names)
    sheet = Sheet(file, "", {}, SheetRow(1, cells), ())
    allowed = {"instrument", *DOCUMENT_COLUMNS, *cell_columns(maker)}
    problems = list(sheet.head_problems((), allowed, _unknown(maker)))
    if problems:
        raise InputError([replace(problem, line=None) for problem in problems])


def _unknown(maker: Maker) -> str:
    return f"{maker.maker} has no feature, mark or measurement of this name"


def _coded(
    frame: pd.DataFrame, maker: Maker, located: Located, unlisted: Unlisted | None
) -> CodedTable:
    reader = CellReader(maker, located, unlisted)
    columns: list[Column] = []
    paths = cell_columns(maker)
    distinct = {name: distinct_cells(frame[name]) for name in paths if name in frame.columns}
    for name, levels in reader.all_levels(distinct).items():
        columns += _column(_component(name, paths[name], maker), distinct[name][0], levels)
    papers = [name for name in DOCUMENT_COLUMNS if name in frame.columns and name not in paths]
    if papers:
        raw, cells = combined_cells(frame, papers)
        columns += _column(WHOLE, raw, reader.levels(raw, cells))
    names = frame["instrument"] if "instrument" in frame.columns else frame.index.to_series()
    for row in np.flatnonzero(names.isna().to_numpy())[:1]:
        message = "an instrument needs a name or number of its own"
        reader.note(int(row), Problem("", None, "instrument", message))
    if reader.problems:
        raise InputError(reader.problems)
    return CodedTable(names.reset_index(drop=True), frame.index, tuple(columns), unlisted or {})


def _column(
    component: str | None, raw: Integers, levels: Sequence[Examination | None]
) -> Iterator[Column]:
    """Leave out cells that say nothing, and the column where all do."""
    telling = [level for level in levels if level is not None and _tells(level)]
    if not telling:
        return
    kind = np.min_scalar_type(len(telling))
    codes, code = np.zeros(len(levels) + 1, dtype=kind), 0
    for place, level in enumerate(levels):
        if level is not None and _tells(level):
            code += 1
            codes[place] = code
    (feature,) = telling[0].seen or (None,)
    yield Column(component, raw, codes, tuple(telling), feature)


def _tells(level: Examination) -> bool:
    """Whether an examination of one thing bears on the date; what is neutral does not.

    What is known of a component bears on what the rest of it says.
    """
    sights = [*level.seen.values(), level.variant]
    if any(sight is not None and not sight.is_neutral for sight in sights):
        return True
    known = level.parts.values()
    records = [*level.marks.values(), *level.measured.values(), *level.documents, *known]
    return any(each is not None for each in records)


def _component(name: str, path: tuple[str, ...], maker: Maker) -> str | None:
    if path[0] == "parts":
        return path[1]
    if path[0] == "seen":
        return maker.features()[name][0]
    if path[0] == "marks":
        return maker.marks()[name][0]
    return maker.measurements()[name][0] if path[0] == "measured" else WHOLE
