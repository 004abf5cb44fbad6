"""Sheets in: one instrument a row, with the place of every row and column.

A sheet is text or a workbook. Its leading lines that start with ``#`` are comments; a comment
``# key: value`` says something about the sheet as a whole. Then comes the line with the names of
the columns, and one line for each instrument. Lines without any text are passed over.
"""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass

from dating.reading import InputError, KeyPath, Place, Problem, Source, read_bytes
from dating.sheet_rows import SheetContent, SheetRow
from dating.sheet_text import content_of_text, text_of
from dating.standard_input import StandardInput
from dating.workbooks import content_of_workbook

LARGEST_SHEET = 50_000_000
WORKBOOK = ".xlsx"
ENDINGS = (".csv", ".tsv", WORKBOOK)
"""Endings of the files that are read as sheets."""
_KEY = re.compile(r"""---|[{%]|["']?[^\s#"',:][^"',:]*["']?:(?:\s|$)""")
"""What the first line of YAML begins with, and the names of columns do not."""


@dataclass(frozen=True)
class Sheet:
    """A sheet that has been read, but not yet understood.

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
    form : str
        In which form it was written, in words; empty where it is CSV in UTF-8.
    """

    file: str
    fingerprint: str
    statements: Mapping[str, tuple[int, str]]
    head: SheetRow
    rows: tuple[SheetRow, ...]
    form: str = ""

    def source(self, line: int, data: object, paths: Iterable[KeyPath]) -> Source:
        """Give what one line says as if it were a file of its own."""
        places: dict[KeyPath, Place] = dict.fromkeys([(), *paths], (line, 1))
        return Source(self.file, data, places, self.fingerprint)

    def head_problems(
        self, required: Iterable[str], allowed: Collection[str], unknown: str
    ) -> Iterator[Problem]:
        """List what is wrong with the names of the columns."""
        origin = self.source(self.head.line, None, ())
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
        lines = text_of(os.fspath(path), path.content)[0].splitlines()
        opening = (line for line in lines if line.strip() and not line.startswith(("#", '"#')))
        return _KEY.match(next(opening, "")) is None
    return os.fspath(path).lower().endswith(ENDINGS)


def read_sheet(path: str | os.PathLike[str], rows: str = "instruments") -> Sheet:
    """Read a sheet into comments, names of columns and rows.

    Raises InputError when the file cannot be read, is too large, is neither text nor a workbook, is
    not CSV, or has no rows.

    Examples
    --------
    >>> sheet = read_sheet("demo_data/marrowby_corpus.csv")
    >>> sheet.statements["maker"][1], sheet.head.cells[:2]
    ('marrowby', ('instrument', 'built'))
    """
    content, fingerprint = _content(path)
    head, *below = content.rows
    file = os.fspath(path)
    if not below:
        message = f"there are no {rows} below the names of the columns"
        raise InputError([Problem(file, head.line, "", message)])
    return Sheet(file, fingerprint, content.statements, head, tuple(below), content.form)


def column_names(path: str | os.PathLike[str]) -> tuple[str, ...]:
    """Read the names of a sheet's columns, whether or not there are rows below them.

    Raises InputError when the file cannot be read, is too large, is neither text nor a workbook, or
    has no such line.

    Examples
    --------
    >>> column_names("demo_data/marrowby_corpus.csv")[:2]
    ('instrument', 'built')
    """
    return _content(path)[0].rows[0].cells


def _content(path: str | os.PathLike[str]) -> tuple[SheetContent, str]:
    """Read what a file holds, with the names of the columns at least, and its fingerprint."""
    file = os.fspath(path)
    read = read_bytes(path, LARGEST_SHEET + 1)
    if len(read) > LARGEST_SHEET:
        message = f"the file is larger than {LARGEST_SHEET:,} bytes"
        raise InputError([Problem(file, None, "", message)])
    content_of = content_of_workbook if file.lower().endswith(WORKBOOK) else content_of_text
    content = content_of(file, read)
    if not content.rows:
        comments = content.last_comment
        wrong = (
            "there is no line with the names of the columns" if comments else "the file is empty"
        )
        raise InputError([Problem(file, max(comments, 1), "", wrong)])
    return content, hashlib.sha256(read).hexdigest()
