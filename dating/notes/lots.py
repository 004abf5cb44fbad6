"""The lots of a sale: a CSV file of examinations, of which a bad one does not stop the others."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass, field

from dating.cells import DOCUMENT_COLUMNS, Unlisted, cell_columns, examination_in
from dating.edtf import EdtfError, parse_edtf
from dating.examination import Examination
from dating.files import maker_of_sheet, read_maker
from dating.kinds import of_kind
from dating.maker import Maker
from dating.reading import InputError, Problem
from dating.sheet_rows import SheetRow
from dating.sheets import Sheet, read_sheet

_REQUIRED = ("lot",)
_OWN = (*_REQUIRED, "title", "instrument", "examined", "by")
_LONGEST = 40


@dataclass(frozen=True, eq=False)
class Lot:
    """One lot of a sale.

    Parameters
    ----------
    line : int
        Line of the file on which its row starts, counted from 1.
    number : str
        The lot's number, as written; the line where none is given.
    title : str
        What the house calls it; may be empty.
    examination : Examination or None
        What was seen on it; None where the row could not be read.
    problems : tuple of Problem
        What is wrong with the row.
    """

    line: int
    number: str
    title: str
    examination: Examination | None
    problems: tuple[Problem, ...]


@dataclass(frozen=True, eq=False)
class Lots:
    """The lots of a sale, in the order of the file.

    Parameters
    ----------
    maker : Maker
        The maker file they were read against.
    lots : tuple of Lot
        At least one.
    unlisted : dict of str to Counter
        How often cells with states that the maker file does not list stand in each column, where
        such cells were to be taken for ones that say nothing.
    """

    maker: Maker
    lots: tuple[Lot, ...]
    unlisted: Unlisted = field(default_factory=dict)


def read_lots(
    path: str | os.PathLike[str], maker: Maker | None = None, *, allow_unlisted: bool = False
) -> Lots:
    """Read the lots of a sale.

    Raises InputError when the file as a whole cannot be read, or when its columns are not those of
    the maker.

    Examples
    --------
    >>> sale = read_lots("demo_data/marrowby_sale.csv")
    >>> len(sale.lots), sale.lots[0].number
    (40, '1')
    """
    with of_kind(path, "sale"):
        sheet = read_sheet(path)
        if maker is None:
            maker = read_maker(maker_of_sheet(sheet))
        columns = [*_OWN, *cell_columns(maker), *DOCUMENT_COLUMNS]
        unknown = f"{maker.maker} has no feature, mark or measurement of this name"
        if problems := list(sheet.head_problems(_REQUIRED, columns, unknown)):
            raise InputError(problems)
    line_of: dict[str, int] = {}
    unlisted: Unlisted | None = {} if allow_unlisted else None
    lots = tuple(_lot(sheet, row, columns, maker, line_of, unlisted) for row in sheet.rows)
    return Lots(maker, lots, unlisted or {})


def _lot(  # noqa: PLR0917 (one row, and all that it needs)
    sheet: Sheet,
    row: SheetRow,
    columns: list[str],
    maker: Maker,
    line_of: dict[str, int],
    unlisted: Unlisted | None,
) -> Lot:
    origin = sheet.source(row.line, None, ())
    count, width = len(row.cells), len(sheet.head.cells)
    if count != width:
        message = f"there are {width} columns, and this row has {count} cells"
        return Lot(row.line, f"line {row.line}", "", None, (origin.problem((), message),))
    cells = sheet.by_column(row, columns)
    number = cells.get("lot", "")
    problems = list(_number_problems(sheet, row.line, number, line_of))
    cells.setdefault("instrument", f"lot {number}" if number else f"line {row.line}")
    examination, further = examination_in(sheet, row.line, cells, maker, unlisted)
    problems += further
    if examination is not None:
        examination, further = _examined(sheet, row.line, cells, examination)
        problems += further
    known = number[:_LONGEST] or f"line {row.line}"
    seen = None if problems else examination
    return Lot(row.line, known, cells.get("title", ""), seen, tuple(problems))


def _number_problems(
    sheet: Sheet, line: int, number: str, line_of: dict[str, int]
) -> Iterator[Problem]:
    """Hold that a lot has a number of its own."""
    origin = sheet.source(line, None, ())
    first = line_of.setdefault(number, line)
    if not number:
        yield origin.problem(("lot",), "a lot needs a number of its own")
    elif len(number) > _LONGEST:
        message = f"a lot's number has at most {_LONGEST} characters"
        yield origin.problem(("lot",), message, found=number)
    elif first != line:
        message = f"this lot is given twice, first in line {first}"
        yield origin.problem(("lot",), message, found=number)


def _examined(
    sheet: Sheet, line: int, cells: dict[str, str], examination: Examination
) -> tuple[Examination, list[Problem]]:
    """Add the day of the examination and the examiner."""
    origin = sheet.source(line, None, ())
    update: dict[str, object] = {"by": cells.get("by", "")}
    text = cells.get("examined", "")
    try:
        date = parse_edtf(text) if text else None
        if date is not None and (date.kind != "date" or date.qualifier or date.lower is None):
            raise EdtfError("the day of the examination is one date, without ?, ~ or %")
    except EdtfError as error:
        problem = origin.problem(("examined",), str(error), found=text, allowed="2026-05-04")
        return examination, [problem]
    update["examined"] = None if date is None else date.lower
    return examination.model_copy(update=update), []
