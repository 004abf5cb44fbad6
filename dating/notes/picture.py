"""The picture of a note in the forms that its documents want."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import TYPE_CHECKING

from dating.estimates import Estimate
from dating.notes.formats import ENDINGS
from dating.notes.sentences import Wording, dated

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from dating.figures.notes import NoteWords


@dataclass(frozen=True)
class NotePicture:
    """One picture, in the forms that some formats want; the others are empty.

    Parameters
    ----------
    words : str
        What it shows.
    svg : bytes
        For print and beside Markdown: outlines alone.
    png : bytes
        For Word.
    wide, narrow : str
        For a page, and for a page on a telephone: data addresses of pictures whose colours follow a
        dark screen.
    """

    words: str
    svg: bytes
    png: bytes
    wide: str
    narrow: str


def picture_for(
    estimate: Estimate, wording: Wording, words: str, formats: Collection[str] = tuple(ENDINGS)
) -> NotePicture:
    """Draw the picture of a note, as some formats want it.

    Each form is drawn anew, so that it is the same whatever the other formats are.

    Raises InputError when matplotlib is not installed.
    """
    from dating.figures.notes import NARROW, WIDTH, draw_note, png_of, svg_of  # noqa: PLC0415
    from dating.figures.pages import picture_of  # noqa: PLC0415

    labels = picture_words(wording, words)
    claimed = [(part.first, part.last) for part in dated(estimate, wording).phrase.phrases]

    def drawn(width: float = WIDTH) -> Figure:
        return draw_note(estimate, claimed, labels, width)

    page = "html" in formats
    return NotePicture(
        words=words,
        svg=svg_of(drawn()) if {"markdown", "pdf"} & set(formats) else b"",
        png=png_of(drawn()) if "word" in formats else b"",
        wide=picture_of(drawn()).source if page else "",
        narrow=picture_of(drawn(NARROW)).source if page else "",
    )


def picture_words(wording: Wording, label: str) -> NoteWords:
    """Say what is written in the picture of a note."""
    from dating.figures.notes import NoteWords  # noqa: PLC0415

    language, texts = wording.language, wording.language.texts
    per_cent = texts["percent_american" if language.style == "american" else "percent"]
    return NoteWords(
        label=label,
        by_month=texts["picture_axis_month"],
        by_year=texts["picture_axis"],
        claimed=texts["picture_legend"],
        probable=language.say("picture_set", level=language.percent(wording.level)),
        percent=lambda chance, digits: per_cent.format(
            number=language.number(100 * chance, digits)
        ),
    )
