"""A note as Markdown, in which nothing from data can act as markup."""

from __future__ import annotations

import re
from typing import Any

from dating.notes.filling import fill
from dating.notes.house import House
from dating.notes.note import Note
from dating.notes.plain_text import each_text, one_line

_ALWAYS = re.compile(r"[\\`*_\[\]<>&|~#$^@{}]")
_FIRST = re.compile(r"^[-+=.:%?!]")
_NUMBERED = re.compile(r"^(\d+)([.)])(?=\s|$)")
_ADDRESS = re.compile(r"(?<!\\):(?=\S)|(?<=www)\.", re.IGNORECASE)

_EMPTY = re.compile(r"\n{3,}")


def markdown_escape(text: str) -> str:
    r"""Write text so that Markdown shows it as it is.

    Parameters
    ----------
    text : str
        Any text.

    Returns
    -------
    str
        One line, in which no sign makes markup, a table's cell, a link or the start of a list.

    References
    ----------
    CommonMark Spec 0.31.2 (2024), section 2.4; GitHub Flavored Markdown Spec 0.29 (2019), sections
    4.10 and 6.9.

    Examples
    --------
    >>> print(markdown_escape("1. <b>*new*</b> | www.x.org"))
    1\. \<b\>\*new\*\</b\> \| www\.x.org
    """
    line = _ALWAYS.sub(r"\\\g<0>", one_line(text))
    line = _NUMBERED.sub(r"\1\\\2", line)
    line = _FIRST.sub(r"\\\g<0>", line)
    return _ADDRESS.sub(r"\\\g<0>", line)


def as_markdown(note: Note, house: House, picture: str = "") -> str:
    """Set a note in Markdown.

    Raises InputError when the house's template has a fault.
    """
    content = {"note": each_text(note, one_line), "picture": picture}
    return closed_up(fill(house, "note.md.j2", content, markdown_value))


def closed_up(text: str) -> str:
    r"""Leave one empty line where there are several.

    Examples
    --------
    >>> closed_up("a\n\n\n\nb")
    'a\n\nb'
    """
    return _EMPTY.sub("\n\n", text)


def markdown_value(value: Any) -> Any:
    """Escape what a Markdown template prints."""
    from markupsafe import Markup  # noqa: PLC0415

    return value if hasattr(value, "__html__") else Markup(markdown_escape(str(value)))  # noqa: S704
