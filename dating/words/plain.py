"""Plain text within a width: titles, sentences and tables."""

from __future__ import annotations

import io
import textwrap
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from dating.escapes import escaped
from dating.words.spacing import SPACE, keep_per_cent

WIDTH = 80
"""Columns, unless another width is given."""


def in_plain_text(parts: Sequence[Callable[[Console], None]], width: int = WIDTH) -> str:
    """Let each part write, and give all they wrote.

    Examples
    --------
    >>> in_plain_text([lambda console: say(console, "built in 1931")]).splitlines()
    ['  built in 1931']
    """
    stream = io.StringIO()
    console = Console(
        file=stream, width=width, color_system=None, highlight=False, emoji=False, markup=False
    )
    for part in parts:
        part(console)
    lines = stream.getvalue().replace(SPACE, " ").split("\n")[:-1]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def title(console: Console, words: str) -> None:
    """Write a title after an empty line."""
    console.print()
    console.print(Text(words.upper()))


def say(console: Console, words: str, start: int = 2) -> None:
    """Write a sentence, indented and wrapped; per cent keeps to its number."""
    lines = wrapped(words, console.width - start)
    console.print(Padding(Text(lines), (0, 0, 0, start)))


def command(console: Console, words: str) -> None:
    """Write a command on a line of its own, whole however long, so that it can be copied."""
    console.print(Text(f"    {escaped(words)}"), soft_wrap=True)


def wrapped(words: str, width: int = WIDTH, hang: str = "", *, whole: bool = False) -> str:
    """Wrap a sentence, and keep per cent with its number; unseen signs are escaped.

    Words that are longer than a line are broken, unless they shall stay whole.

    Examples
    --------
    >>> wrapped("held 84.3 % of them", 9).splitlines()
    ['held', '84.3 % of', 'them']
    """
    lines = textwrap.fill(
        keep_per_cent(escaped(words, "\n\t")),
        width,
        subsequent_indent=hang,
        break_long_words=not whole,
        break_on_hyphens=False,
    )
    return lines.replace(SPACE, " ")


def hanging(lines: Iterable[str], width: int = WIDTH) -> str:
    """Wrap lines of a list; what follows in one hangs four columns below its start.

    No word is broken, so that paths can be copied.

    Examples
    --------
    >>> print(hanging(["  not examined: label, bars"], 20), end="")
      not examined:
          label, bars
    """
    pairs = ((line, " " * (len(line) - len(line.lstrip()) + 4)) for line in lines)
    return "".join(f"{wrapped(line, width, hang, whole=True)}\n" for line, hang in pairs)


@dataclass
class TextTable:
    """A table without lines; where it would be too narrow to read, its rows as paragraphs.

    Parameters
    ----------
    columns : tuple of (str, str)
        The title of each column, which may be empty, and the side it keeps to.
    rows : list of tuple of str
        Cells.
    """

    columns: tuple[tuple[str, str], ...]
    rows: list[tuple[str, ...]] = field(default_factory=list)

    def add_row(self, *cells: str) -> None:
        """Add a row."""
        self.rows.append(tuple(escaped(" ".join(cell.split("\n"))) for cell in cells))


def table(*columns: tuple[str, str]) -> TextTable:
    """Make a table without lines."""
    return TextTable(columns)


def indent(console: Console, rows: TextTable) -> None:
    """Write a table, indented; per cent keeps to its number."""
    headed = any(head for head, _ in rows.columns)
    grid = Table(box=None, show_header=headed, pad_edge=False, padding=(0, 2, 0, 0))
    for head, side in rows.columns:
        justify = "right" if side == "right" else "left"
        grid.add_column(head, justify=justify, header_style="", overflow="fold")  # type: ignore[arg-type]
    for cells in rows.rows:
        grid.add_row(*map(keep_per_cent, cells))
    if headed and console.measure(grid).minimum > console.width - 2:
        _tell_rows(console, rows)
    else:
        console.print(Padding(grid, (0, 0, 0, 2)))


def _tell_rows(console: Console, rows: TextTable) -> None:
    """Write each row as a paragraph that opens with its first cell."""
    heads = [head for head, _ in rows.columns]
    for cells in rows.rows:
        say(console, f"{heads[0]} {cells[0]}" if cells[0].isdecimal() else cells[0])
        named = zip(heads[1:], (cell.strip() for cell in cells[1:]), strict=True)
        if paragraph := "; ".join(f"{h}: {c}" if h else c for h, c in named if c):
            say(console, paragraph, 4)
