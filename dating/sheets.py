"""CSV in: one instrument a row, with the place of every row and column.

A sheet is UTF-8 text (a byte order mark is tolerated). Its leading lines that start with ``#``
are comments; a comment ``# key: value`` says something about the sheet as a whole. Then comes the
line with the names of the columns, and one line for each instrument. Cells are separated by
commas and quoted where they hold one. Lines without any text are passed over.
"""

from __future__ import annotations

import csv
import io
import os
import re
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass

from dating.reading import InputError, KeyPath, Place, Problem, Source, read_text
from dating.standard_input import StandardInput

LARGEST_SHEET = 50_000_000
MOST_ROWS = 100_000
MOST_COLUMNS = 1_000
_KEY = re.compile(r"""---|[{%]|["']?[^\s#"',:][^"',:]*["']?:(?:\s|$)""")
"""What the first line of YAML begins with, and the names of columns do not."""


@dataclass(frozen=True)
class SheetRow:
    """One row of a sheet.

    Parameters
    ----------
    line : int
        Line of the file on which it starts, counted from 1.
    cells : tuple of str
        Without blanks at their ends.
    """

    line: int
    cells: tuple[str, ...]


@dataclass(frozen=True)
class Sheet:
    """A CSV file that has been read, but not yet understood.

    Parameters
    ----------
    file : str
        The file, as the user named it.
    fingerprint : str
        SHA-256 of the file's bytes, in hexadecimal.
    statements : mapping of str to (int, str)
        What comments of the form ``# key: value`` say, by key, with their lines.
    head : SheetRow
        The names of the columns.
    rows : tuple of SheetRow
        The rows below, at least one.
    """

    file: str
    fingerprint: str
    statements: Mapping[str, tuple[int, str]]
    head: SheetRow
    rows: tuple[SheetRow, ...]

    def source(self, line: int, data: object, paths: Iterable[KeyPath]) -> Source:
        """Give what one line says as if it were a file of its own."""
        places: dict[KeyPath, Place] = dict.fromkeys([(), *paths], (line, 1))
        return Source(self.file, data, places, self.fingerprint)

    def head_problems(
        self, required: Iterable[str], allowed: Collection[str], unknown: str
    ) -> Iterator[Problem]:
        """List what is wrong with the names of the columns."""
        origin = self.source(self.head.line, None, ())
        if len(self.head.cells) == 1 and (match := re.search(r"[;\t]", self.head.cells[0])):
            mark = "semicolons" if match[0] == ";" else "tabs"
            message = f"cells are separated by commas, not by {mark}; save the sheet so"
            yield origin.problem((), message)
            return
        for position, name in enumerate(self.head.cells):
            if not name:
                message = f"column {position + 1} has no name; name it or take it out"
                yield origin.problem((), message)
            elif name in self.head.cells[:position]:
                yield origin.problem((name,), "there are two columns of this name; keep one")
            elif name not in allowed:
                yield origin.problem((name,), unknown, found=name, allowed=allowed)
        for name in required:
            if name not in self.head.cells:
                yield origin.problem((name,), "this column is missing")

    def by_column(self, row: SheetRow, allowed: Collection[str]) -> dict[str, str]:
        """Give the cells of a row by the names of their columns."""
        pairs = zip(reversed(self.head.cells), reversed(row.cells), strict=True)
        return {name: cell for name, cell in pairs if cell and name in allowed}


def is_sheet(path: str | os.PathLike[str]) -> bool:
    """Say whether a file is meant as a sheet.

    Examples
    --------
    >>> is_sheet("demo_data/marrowby_corpus.csv"), is_sheet("priors/marrowby.yaml")
    (True, False)
    """
    if isinstance(path, StandardInput):
        lines = read_text(path, LARGEST_SHEET)[0].splitlines()
        opening = (line for line in lines if line.strip() and not line.startswith(("#", '"#')))
        return _KEY.match(next(opening, "")) is None
    return os.fspath(path).lower().endswith(".csv")


def read_sheet(path: str | os.PathLike[str], rows: str = "instruments") -> Sheet:
    """Read a CSV file into comments, names of columns and rows.

    Raises InputError when the file cannot be read, is too large, is not UTF-8 or not CSV, or has no
    rows.

    Examples
    --------
    >>> sheet = read_sheet("demo_data/marrowby_corpus.csv")
    >>> sheet.statements["maker"][1], sheet.head.cells[:2]
    ('marrowby', ('instrument', 'built'))
    """
    file = os.fspath(path)
    text, fingerprint = read_text(path, LARGEST_SHEET)
    lines, comments = _lines(text)
    statements = {key: (i + 1, value) for i in range(comments) for key, value in _says(lines[i])}
    head, *below = _headed(file, lines, comments)
    if not below:
        message = f"there are no {rows} below the names of the columns"
        raise InputError([Problem(file, head.line, "", message)])
    return Sheet(file, fingerprint, statements, head, tuple(below))


def column_names(path: str | os.PathLike[str]) -> tuple[str, ...]:
    """Read the names of a sheet's columns, whether or not there are rows below them.

    Raises InputError when the file cannot be read, is too large, is not UTF-8 or not CSV, or has no
    such line.

    Examples
    --------
    >>> column_names("demo_data/marrowby_corpus.csv")[:2]
    ('instrument', 'built')
    """
    text, _ = read_text(path, LARGEST_SHEET)
    head, *_ = _headed(os.fspath(path), *_lines(text))
    return head.cells


def _lines(text: str) -> tuple[list[str], int]:
    """Split into lines, and count the comments that lead."""
    lines = list(io.StringIO(text, newline=""))
    comments = 0
    while comments < len(lines) and lines[comments].startswith(("#", '"#')):
        comments += 1
    return lines, comments


def _headed(file: str, lines: list[str], comments: int) -> list[SheetRow]:
    """Read the line with the names of the columns, and the rows below it."""
    rows = list(_rows(file, lines, comments))
    if not rows:
        wrong = (
            "there is no line with the names of the columns" if comments else "the file is empty"
        )
        raise InputError([Problem(file, max(comments, 1), "", wrong)])
    return rows


def _says(comment: str) -> Iterator[tuple[str, str]]:
    """Read ``# key: value``, with the commas that spreadsheets put behind it."""
    key, colon, value = comment.strip(' \t\r\n,"').lstrip("#").partition(":")
    if colon:
        yield key.strip(), value.strip()


def _rows(file: str, lines: list[str], skipped: int) -> Iterator[SheetRow]:
    """Read the rows that hold any text, with the lines on which they start."""
    reader = csv.reader(lines[skipped:], strict=True)
    line, count = skipped + 1, 0
    try:
        for cells in reader:
            stripped = tuple(cell.strip() for cell in cells)
            if any(stripped):
                yield SheetRow(line, stripped)
                count += 1
            line = skipped + reader.line_num + 1
            if count > MOST_ROWS + 1 or len(cells) > MOST_COLUMNS:
                message = f"a sheet has at most {MOST_ROWS:,} rows and {MOST_COLUMNS:,} columns"
                raise InputError([Problem(file, line - 1, "", message)])
    except csv.Error as error:
        message = f"not valid CSV: {error}; a cell with a comma or a quotation mark is quoted"
        raise InputError([Problem(file, line, "", message)]) from None
