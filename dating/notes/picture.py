"""The picture of a note in the forms that its documents want."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from dating.estimates import Estimate
from dating.notes.sentences import Wording, dated

if TYPE_CHECKING:
    from dating.figures.notes import NoteWords


@dataclass(frozen=True)
class NotePicture:
    """One picture, in three forms.

    Parameters
    ----------
    words : str
        What it shows.
    svg : bytes
        For print: outlines alone.
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


def picture_for(estimate: Estimate, wording: Wording, words: str) -> NotePicture:
    """Draw the picture of a note.

    Raises InputError when matplotlib is not installed.
    """
    from dating.figures.notes import NARROW, draw_note, png_of, svg_of  # noqa: PLC0415
    from dating.figures.pages import picture_of  # noqa: PLC0415

    labels = picture_words(wording, words)
    claimed = [(part.first, part.last) for part in dated(estimate, wording).phrase.phrases]
    figure = draw_note(estimate, claimed, labels)
    narrow = draw_note(estimate, claimed, labels, NARROW)
    return NotePicture(
        words=words,
        svg=svg_of(figure),
        png=png_of(figure),
        wide=picture_of(figure).source,
        narrow=picture_of(narrow).source,
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
