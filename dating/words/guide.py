"""The guide: one text for each of those it is for, and one on the model."""

from __future__ import annotations

from pathlib import Path

_FOLDER = Path(__file__).parent.parent / "guide"

TOPICS = {
    "specialist": "from an unlabelled body to a date",
    "author": "how probable a sentence of a book is",
    "house": "catalogue notes for a lot and for a sale",
    "model": "the model, and its limits",
}


def guide_text(topic: str) -> str:
    """Give the text on a topic, in Markdown.

    Examples
    --------
    >>> guide_text("model").splitlines()[0]
    '# The model, and its limits'
    """
    return (_FOLDER / f"{topic}.md").read_text(encoding="utf-8")
