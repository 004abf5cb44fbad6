"""Plain text of at most 80 columns: titles, sentences and tables."""

from __future__ import annotations

import io
import textwrap
from collections.abc import Callable, Sequence

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

WIDTH = 80


def in_plain_text(parts: Sequence[Callable[[Console], None]]) -> str:
    """Let each part write, and give all they wrote.

    Parameters
    ----------
    parts : sequence of callable
        Each writes to the console it is handed.

    Returns
    -------
    str
        Lines of at most 80 columns.

    Examples
    --------
    >>> in_plain_text([lambda console: say(console, "built in 1931")]).splitlines()
    ['  built in 1931']
    """
    stream = io.StringIO()
    console = Console(file=stream, width=WIDTH, color_system=None, highlight=False, emoji=False)
    for part in parts:
        part(console)
    return "\n".join(line.rstrip() for line in stream.getvalue().splitlines()) + "\n"


def title(console: Console, words: str) -> None:
    """Write a title after an empty line.

    Parameters
    ----------
    console : Console
        Where to.
    words : str
        The title.
    """
    console.print()
    console.print(Text(words.upper()))


def say(console: Console, words: str) -> None:
    """Write a sentence, indented and wrapped; per cent keeps to its number.

    Parameters
    ----------
    console : Console
        Where to.
    words : str
        The sentence.
    """
    indent(console, Text(wrapped(words, WIDTH - 2)))


def wrapped(words: str, width: int = WIDTH) -> str:
    """Wrap a sentence, and keep per cent with its number.

    Parameters
    ----------
    words : str
        The sentence.
    width : int
        Columns.

    Returns
    -------
    str
        Lines.

    Examples
    --------
    >>> wrapped("held 84.3 % of them", 9).splitlines()
    ['held', '84.3 % of', 'them']
    """
    kept = words.replace(" %", "\N{NO-BREAK SPACE}%")
    return textwrap.fill(kept, width, break_on_hyphens=False).replace("\N{NO-BREAK SPACE}", " ")


def indent(console: Console, what: Table | Text) -> None:
    """Write a table or a text, indented.

    Parameters
    ----------
    console : Console
        Where to.
    what : Table or Text
        What to write.
    """
    console.print(Padding(what, (0, 0, 0, 2)))


def table(*columns: tuple[str, str]) -> Table:
    """Make a table without lines.

    Parameters
    ----------
    *columns : tuple of str, str
        The title of each column, which may be empty, and the side it keeps to.

    Returns
    -------
    Table
        Without rows.
    """
    headed = any(head for head, _ in columns)
    made = Table(box=None, show_header=headed, pad_edge=False, padding=(0, 2, 0, 0))
    for head, side in columns:
        made.add_column(
            head, justify="right" if side == "right" else "left", header_style="", overflow="fold"
        )
    return made
