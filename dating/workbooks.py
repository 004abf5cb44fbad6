"""A sheet in a workbook (.xlsx, Office Open XML, ISO/IEC 29500): its first sheet that is shown.

Only what stands in the cells is read: a formula is never worked out, its stored result counts. What
cannot be meant as a cell of a table, such as merged cells, is refused with the cell's name.
"""

from __future__ import annotations

import datetime
import io
import re
import zipfile
from collections.abc import Iterator
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from dating.libraries import missing_of
from dating.reading import InputError, Problem
from dating.sheet_rows import MOST_COLUMNS, MOST_ROWS, SheetContent, SheetRow, statement_in

if TYPE_CHECKING:
    from openpyxl.cell.cell import Cell
    from openpyxl.workbook import Workbook
    from openpyxl.worksheet.worksheet import Worksheet

LARGEST_UNPACKED = 100_000_000
"""Bytes of a workbook as they are unpacked, which a small file may have very many of."""
_MOST_PARTS = 2_000
_MOST_TOLD = 20


@lru_cache(maxsize=1)  # a command reads the kind, the columns and the rows of one file
def content_of_workbook(file: str, content: bytes) -> SheetContent:
    """Read comments, names of columns and rows of the first sheet that is shown.

    Raises InputError when it is no workbook, is too large, holds macros, or a cell cannot be read,
    or when openpyxl is not installed.
    """
    if missing_of(["openpyxl"]):
        message = "a workbook needs openpyxl; install instrument-dating[note], or save it as CSV"
        raise InputError([Problem(file, None, "", message)])
    _check_parts(file, content)
    values, formulas = (_loaded(file, content, data_only=only) for only in (True, False))
    shown = [sheet for sheet in values.worksheets if sheet.sheet_state == "visible"]
    if not shown:
        raise InputError([Problem(file, None, "", "no sheet of this workbook is shown")])
    sheet = shown[0]
    _check_size(file, sheet)
    _check_cells(file, sheet, formulas[sheet.title])
    lines = [(k, tuple(map(_text, row))) for k, row in enumerate(sheet.iter_rows(), start=1)]
    filled = [(line, cells) for line, cells in lines if any(cells)]
    comments = 0
    while comments < len(filled) and _first(filled[comments][1]).startswith("#"):
        comments += 1
    said = ((line, statement_in(_first(cells))) for line, cells in filled[:comments])
    statements = {says[0]: (line, says[1]) for line, says in said if says is not None}
    others = len(values.sheetnames) - 1
    rest = f"; its {others} other {'sheet is' if others == 1 else 'sheets are'} not read"
    form = f"sheet {sheet.title} of a workbook{rest if others else ''}"
    last = filled[comments - 1][0] if comments else 0
    return SheetContent(statements, tuple(_rows(filled[comments:])), last, form)


def _check_parts(file: str, content: bytes) -> None:
    """Refuse what is no workbook, unpacks into too much, or holds macros."""
    try:
        parts = zipfile.ZipFile(io.BytesIO(content)).infolist()
    except (zipfile.BadZipFile, ValueError, OSError):
        raise InputError([Problem(file, None, "", "not a workbook (.xlsx)")]) from None
    if len(parts) > _MOST_PARTS or sum(part.file_size for part in parts) > LARGEST_UNPACKED:
        message = f"the workbook is larger than {LARGEST_UNPACKED:,} bytes; save the sheet as CSV"
        raise InputError([Problem(file, None, "", message)])
    if any(part.filename.lower().endswith("vbaproject.bin") for part in parts):
        message = "the workbook holds macros; save it without them, as .xlsx"
        raise InputError([Problem(file, None, "", message)])


def _loaded(file: str, content: bytes, *, data_only: bool) -> Workbook:
    from openpyxl import load_workbook  # noqa: PLC0415

    try:
        return load_workbook(io.BytesIO(content), data_only=data_only, keep_links=False)
    except Exception as error:
        message = f"not a workbook that can be read ({type(error).__name__}); save it anew"
        raise InputError([Problem(file, None, "", message)]) from None


def _check_size(file: str, sheet: Worksheet) -> None:
    if sheet.max_row > MOST_ROWS + 100 or sheet.max_column > MOST_COLUMNS:
        message = f"a sheet has at most {MOST_ROWS:,} rows and {MOST_COLUMNS:,} columns"
        raise InputError([Problem(file, None, sheet.title, message)])


def _check_cells(file: str, sheet: Worksheet, formulas: Worksheet) -> None:
    """Refuse cells that say nothing that can be read, each by its name."""
    problems = [
        Problem(file, merged.min_row, merged.coord, "merged cells; split them")
        for merged in sheet.merged_cells.ranges
    ]
    for row in sheet.iter_rows():
        for cell in row:
            if message := _fault(cell, formulas[cell.coordinate].data_type):
                found = "" if cell.value is None else str(cell.value)
                problems.append(Problem(file, cell.row, cell.coordinate, message, found))
        if len(problems) > _MOST_TOLD:
            break
    if problems:
        raise InputError(problems[:_MOST_TOLD])


def _fault(cell: Cell, kind: str) -> str:
    """Say what is wrong with a cell; nothing where it can be read."""
    if cell.data_type == "e":
        return "this cell holds an error"
    if kind == "f" and cell.value is None:
        return "a formula of which no result is stored; open the workbook, save it, or type it in"
    if isinstance(cell.value, datetime.time | datetime.timedelta):
        return "a time of day; a date is expected here"
    return ""


def _rows(filled: list[tuple[int, tuple[str, ...]]]) -> Iterator[SheetRow]:
    """Give the rows as wide as the names of the columns, and wider where there is more."""
    width = 0
    for line, cells in filled:
        last = max(place for place, cell in enumerate(cells, start=1) if cell)
        width = width or last
        yield SheetRow(line, cells[: max(width, last)])


def _first(cells: tuple[str, ...]) -> str:
    return next(cell for cell in cells if cell)


def _text(cell: Cell) -> str:
    """Write what a cell holds as a sheet of text would have it."""
    value: Any = cell.value
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    if isinstance(value, datetime.date):
        return _date_text(value, cell.number_format)
    return str(value).strip()


def _date_text(value: datetime.date, shown_as: str) -> str:
    """Write a date to the day, month or year that the cell shows.

    Examples
    --------
    >>> day = datetime.date(1931, 2, 1)
    >>> _date_text(day, "mmm yyyy"), _date_text(day, "D/M/YY")
    ('1931-02', '1931-02-01')
    """
    signs = re.sub(r'"[^"]*"|\[[^\]]*\]|\\.', "", shown_as).lower()
    whole = f"{value:%Y-%m-%d}"
    if "d" in signs or "y" not in signs:
        return whole
    return whole[:7] if "m" in signs else whole[:4]
