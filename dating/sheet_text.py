"""A sheet as text: CSV as spreadsheets write it, whatever their encoding and separator.

Text is UTF-8, UTF-16 with a byte order mark, or Windows-1252. Cells are separated by commas,
semicolons or tabs, whichever makes most columns of the line with their names, or as a first line
``sep=;`` says. RFC 4180 describes the rest.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections.abc import Iterator

from dating.reading import InputError, Problem
from dating.sheet_rows import MOST_COLUMNS, MOST_ROWS, SheetContent, SheetRow, statement_in

_SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs"}
_STATED = re.compile(r"sep=([,;\t])\s*", re.IGNORECASE)
_NO_TEXT = re.compile(r"[\x00-\x08\x0e-\x1f]")


def text_of(file: str, content: bytes) -> tuple[str, str]:
    """Decode a text, and name its encoding.

    Raises InputError when it is no text.

    Examples
    --------
    >>> text_of("a.csv", "Überzug".encode("cp1252"))
    ('Überzug', 'Windows-1252')
    """
    if content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        try:
            return content.decode("utf-16"), "UTF-16"
        except UnicodeDecodeError:
            raise InputError([Problem(file, None, "", "the file is not UTF-16 text")]) from None
    try:
        return content.decode("utf-8-sig"), "UTF-8"
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
    try:
        text = content.decode("cp1252")
    except UnicodeDecodeError:
        text = "\0"
    if _NO_TEXT.search(text):
        message = "the file is not text in UTF-8, UTF-16 or Windows-1252"
        raise InputError([Problem(file, line, "", message)])
    return text, "Windows-1252"


def content_of_text(file: str, content: bytes) -> SheetContent:
    """Read comments, names of columns and rows.

    Raises InputError when it is no text, is not CSV, or has too many rows.
    """
    text, encoding = text_of(file, content)
    lines = list(io.StringIO(text, newline=""))
    stated = _STATED.fullmatch(lines[0]) if lines else None
    first = 1 if stated else 0
    skipped = first
    while skipped < len(lines) and lines[skipped].startswith(("#", '"#')):
        skipped += 1
    said = ((line, statement_in(lines[line - 1])) for line in range(first + 1, skipped + 1))
    statements = {says[0]: (line, says[1]) for line, says in said if says is not None}
    separator = stated[1] if stated else _separator(lines[skipped:])
    rows = tuple(_rows(file, lines, skipped, separator))
    words = [] if separator == "," else [f"cells separated by {_SEPARATORS[separator]}"]
    words = [*words, *([] if encoding == "UTF-8" else [f"text in {encoding}"])]
    return SheetContent(statements, rows, skipped, ", ".join(words))


def _separator(lines: list[str]) -> str:
    """Choose what makes most columns of the first line with any text; a comma among equals."""
    start = next((place for place, line in enumerate(lines) if line.strip(" ,;\t\r\n")), 0)

    def columns(mark: str) -> int:
        try:
            return len(next(csv.reader(lines[start:], delimiter=mark, strict=True), []))
        except csv.Error:
            return 0

    return max(_SEPARATORS, key=columns)


def _rows(file: str, lines: list[str], skipped: int, separator: str) -> Iterator[SheetRow]:
    """Read the rows that hold any text, with the lines on which they start."""
    reader = csv.reader(lines[skipped:], delimiter=separator, strict=True)
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
