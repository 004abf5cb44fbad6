"""The formats of notes: the ending of each one's file, and the libraries that make it."""

from __future__ import annotations

from pathlib import Path

from dating.reading import InputError, Problem, nearest_name

ENDINGS = {
    "markdown": ".md",
    "html": ".html",
    "word": ".docx",
    "pdf": ".pdf",
    "linked-art": ".jsonld",
}
"""The ending of each format's file."""
LIBRARIES = {
    "markdown": ("jinja2", "matplotlib"),
    "html": ("jinja2", "matplotlib"),
    "word": ("docx", "matplotlib"),
    "pdf": ("typst", "matplotlib"),
    "linked-art": ("cromulent",),
}
"""What each format needs."""


def format_of(path: Path) -> str:
    """Tell the format of a note by the name of its file.

    Raises InputError when the name ends otherwise.

    Examples
    --------
    >>> format_of(Path("lot-1.docx"))
    'word'
    """
    by_ending = {ending: name for name, ending in ENDINGS.items()}
    if path.suffix not in by_ending:
        message = "the name of a note's file says its format"
        near = nearest_name(path.suffix, list(by_ending))
        allowed = ", ".join(by_ending)
        raise InputError([Problem(str(path), None, "", message, path.suffix, allowed, near)])
    return by_ending[path.suffix]
