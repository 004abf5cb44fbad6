"""Words broken into lines that are no wider than the picture they stand in."""

from __future__ import annotations

from functools import lru_cache

from matplotlib.font_manager import FontProperties
from matplotlib.textpath import text_to_path

FONT = "DejaVu Sans"
"""The font of pictures, which comes with matplotlib."""


def wrapped(words: str, size: float, room: float) -> str:
    r"""Break words into lines that fit.

    Examples
    --------
    >>> wrapped("the most probable months", 7.5, 1000)
    'the most probable months'
    >>> "\n" in wrapped("the most probable months", 7.5, 70)
    True
    """
    lines: list[str] = []
    for word in words.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and width_of(longer, size) <= room:
            lines[-1] = longer
        else:
            lines += _pieces(word, size, room)
    return "\n".join(lines)


@lru_cache(maxsize=4096)
def width_of(line: str, size: float) -> float:
    """Measure a line."""
    font = FontProperties(family=FONT, size=size)
    return float(text_to_path.get_text_width_height_descent(line, font, ismath=False)[0])


def _pieces(word: str, size: float, room: float) -> list[str]:
    """Break one word where a line is full."""
    pieces = [""]
    for sign in word:
        if pieces[-1] and width_of(pieces[-1] + sign, size) > room:
            pieces.append("")
        pieces[-1] += sign
    return pieces
