"""What a sheet holds, whatever file it comes from: statements, the names of columns, rows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

MOST_ROWS = 100_000
MOST_COLUMNS = 1_000


@dataclass(frozen=True)
class SheetRow:
    """One row of a sheet.

    Parameters
    ----------
    line : int
        Line of the file, or row of the workbook, on which it starts, counted from 1.
    cells : tuple of str
        Without blanks at their ends.
    """

    line: int
    cells: tuple[str, ...]


@dataclass(frozen=True)
class SheetContent:
    """What was read from one file.

    Parameters
    ----------
    statements : mapping of str to (int, str)
        What comments of the form ``# key: value`` say, by key, with their lines.
    rows : tuple of SheetRow
        The names of the columns, and the rows below; empty where there is nothing.
    last_comment : int
        Line of the last comment; 0 where there is none.
    form : str
        In which form it was written, in words; empty where it is CSV in UTF-8.
    """

    statements: Mapping[str, tuple[int, str]]
    rows: tuple[SheetRow, ...]
    last_comment: int
    form: str = ""


def statement_in(comment: str) -> tuple[str, str] | None:
    """Read ``# key: value``, with the commas that spreadsheets put behind it.

    Examples
    --------
    >>> statement_in('# maker: marrowby,,,'), statement_in("# a remark")
    (('maker', 'marrowby'), None)
    """
    key, colon, value = comment.strip(' \t\r\n,;"').lstrip("#").partition(":")
    return (key.strip(), value.strip()) if colon else None
