"""Notes and indexes as files, each written whole."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from dating.notes.house import House
from dating.notes.linked_art import Statement, linked_art
from dating.notes.markdown import as_markdown
from dating.notes.note import EstimateNote
from dating.notes.pdf import as_pdf
from dating.notes.picture import picture_for
from dating.notes.sentences import Wording
from dating.notes.web import as_html
from dating.notes.word import as_docx
from dating.reading import write_whole

ENDINGS = {
    "markdown": ".md",
    "html": ".html",
    "word": ".docx",
    "pdf": ".pdf",
    "linked-art": ".jsonld",
}
"""The ending of each format's file."""


def document_names(name: str, formats: Sequence[str]) -> list[str]:
    """Name the files of one note.

    Examples
    --------
    >>> document_names("lot-1", ["markdown", "pdf"])
    ['lot-1.md', 'lot-1.svg', 'lot-1.pdf']
    """
    endings = [ENDINGS[form] for form in dict.fromkeys(formats)]
    pictured = [
        each for ending in endings for each in ([ending, ".svg"] if ending == ".md" else [ending])
    ]
    return [f"{name}{ending}" for ending in pictured]


@dataclass(frozen=True)
class Documents:
    """One note in its formats.

    Parameters
    ----------
    files : mapping of str to bytes
        By name; a picture beside Markdown.
    missing : tuple of str
        Signs that the fonts of the PDF do not have; a mark of replacement stands for them.
    """

    files: Mapping[str, bytes]
    missing: tuple[str, ...]


def documents_of(
    dated: EstimateNote, wording: Wording, house: House, formats: Sequence[str], name: str
) -> Documents:
    """Set one note in several formats.

    Raises InputError when a template has a fault.
    """
    note, picture = dated.note, None
    files: dict[str, bytes] = {}
    missing: tuple[str, ...] = ()
    if set(formats) - {"linked-art"}:
        picture = picture_for(dated.estimate, wording, note.picture)
    for form in dict.fromkeys(formats):
        file = f"{name}{ENDINGS[form]}"
        if form == "markdown" and picture is not None:
            files[file] = as_markdown(note, house, f"{name}.svg").encode()
            files[f"{name}.svg"] = picture.svg
        elif form == "html":
            files[file] = as_html(note, house, picture).encode()
        elif form == "word":
            files[file] = as_docx(note, house, picture)
        elif form == "pdf":
            printed = as_pdf(note, house, picture)
            files[file], missing = printed.pdf, printed.missing
        else:
            files[file] = _linked(dated, wording)
    return Documents(files, missing)


def write_all(folder: Path, files: Mapping[str, bytes]) -> Iterator[Path]:
    """Write files, each whole.

    Raises InputError when one cannot be written.
    """
    for name, content in files.items():
        write_whole(folder / name, content)
        yield folder / name


def _linked(dated: EstimateNote, wording: Wording) -> bytes:
    """Write the record in JSON-LD, with what the note says of date, parts and opinion."""
    note = dated.note
    sentences = [note.statement, *note.date.sentences]
    sentences += [sentence for section in note.sections for sentence in section.sentences]
    statements = [Statement(words, note.language) for words in (*sentences, note.opinion)]
    record = linked_art(
        dated.estimate, level=wording.level, statements=statements, identifier=note.title
    )
    return (json.dumps(record, indent=2, ensure_ascii=False) + "\n").encode()
