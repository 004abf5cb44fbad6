"""The guide: texts to follow from nothing to a result, and texts to look things up in."""

from __future__ import annotations

import re
import textwrap
from pathlib import Path

_FOLDER = Path(__file__).parent.parent / "guide"
PICTURES = _FOLDER / "pictures"
"""Folder of the pictures; each was drawn by the command that its text names."""

TOPICS = {
    "specialist": "from an unlabelled body to a date",
    "author": "how probable a sentence of a book is",
    "house": "catalogue notes for a lot and for a sale",
    "commands": "every command, its options and its exit status",
    "files": "what each file says, with examples",
    "python": "the same work from Python",
    "model": "what a date rests on, and what it cannot say",
}
_WIDTH = 100
_PICTURE = re.compile(r"!\[([^\]]*)\]\([^)]*\)")
_LINK = re.compile(r"\[([^\]]*)\]\((?:([a-z]+)\.md)?(?:#[^)]*)?\)")


def guide_markdown(topic: str) -> str:
    """Give the text on a topic in Markdown, with links and pictures.

    Examples
    --------
    >>> guide_markdown("model").splitlines()[0]
    '# The model, and its limits'
    """
    return (_FOLDER / f"{topic}.md").read_text(encoding="utf-8")


def guide_text(topic: str) -> str:
    """Give the text on a topic for a terminal: pictures in words, links as commands.

    Examples
    --------
    >>> "](" in guide_text("specialist")
    False
    """
    return _LINK.sub(_as_command, _PICTURE.sub(_in_words, guide_markdown(topic)))


def _in_words(picture: re.Match[str]) -> str:
    return textwrap.fill(f"[Picture: {picture[1]}]", _WIDTH)


def _as_command(link: re.Match[str]) -> str:
    """Name the command that shows another text; a link within the same one is its words."""
    return f"{link[1]} (`dating guide {link[2]}`)" if link[2] else link[1]
