"""A note as a Word file, in real styles, the same bytes each time."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dating.notes.house import WORD, House
from dating.notes.note import Note, NoteSection, Table
from dating.notes.picture import NotePicture
from dating.notes.plain_text import each_text, one_line
from dating.notes.word_look import (
    base_document,
    has_style,
    picture_width,
    put_style,
    repeat_header,
    widths,
)
from dating.reading import InputError, Problem
from dating.words.spacing import keep_per_cent

if TYPE_CHECKING:
    from docx.document import Document

LARGEST = 50_000_000
"""Bytes of a house's Word file at most, unpacked."""
_EPOCH = (1980, 1, 1, 0, 0, 0)
_EVIDENCE, _RECORD = (0.13, 0.27, 0.22, 0.22, 0.16), (0.3, 0.7)


def as_docx(note: Note, house: House, picture: NotePicture | None = None) -> bytes:
    """Set a note as a Word file.

    Raises InputError when the house's file is not a Word file.
    """
    content = each_text(note, lambda text: keep_per_cent(one_line(text)))
    document = _opened(house.file(WORD))
    _properties(document, content)
    _opening(document, content)
    if picture is not None:
        _picture(document, picture)
    for section in (content.date, *content.sections):
        _section(document, section)
    if content.evidence.rows:
        _paragraph(document, content.evidence.heading, "Heading 1")
        _table(document, content.evidence, _EVIDENCE)
    for section in content.closing:
        _section(document, section)
    _paragraph(document, content.opinion, "Quote")
    if content.record.rows:
        _paragraph(document, content.record.heading, "Heading 1")
        _table(document, content.record, _RECORD)
    stream = io.BytesIO()
    document.save(stream)
    return _packed(stream.getvalue())


def _opened(path: Path | None) -> Document:
    import docx  # noqa: PLC0415

    if path is None:
        return base_document(docx.Document())
    try:
        with zipfile.ZipFile(path) as packed:
            if sum(part.file_size for part in packed.infolist()) > LARGEST:
                message = f"the file is larger than {LARGEST:,} bytes, unpacked"
                raise InputError([Problem(str(path), None, "", message)])
        document = docx.Document(str(path))
        body = document.element.body
        for part in list(body):
            if not part.tag.endswith("}sectPr"):
                body.remove(part)
    except InputError:
        raise
    except Exception as error:
        # What is wrong with a file may show anywhere in zip, XML or the parts' relations.
        message = f"not a Word file that can be used: {error}"
        raise InputError([Problem(str(path), None, "", message, allowed=".docx")]) from None
    return document


def _properties(document: Document, note: Note) -> None:
    """Say what it is, in which language; neither who nor when."""
    known = document.core_properties
    known.title, known.subject, known.language = note.title[:255], note.kind[:255], note.language
    known.author = known.comments = known.keywords = known.last_modified_by = ""
    known.revision = 1
    for stamp in known._element.xpath("./dcterms:created | ./dcterms:modified | ./cp:lastPrinted"):
        known._element.remove(stamp)
    style_language(document, note.language)


def style_language(document: Document, code: str) -> None:
    """Set the language of all text."""
    from docx.oxml import OxmlElement  # noqa: PLC0415
    from docx.oxml.ns import qn  # noqa: PLC0415

    for properties in document.styles.element.xpath("./w:docDefaults/w:rPrDefault/w:rPr"):
        for known in properties.findall(qn("w:lang")):
            properties.remove(known)
        language = OxmlElement("w:lang")
        language.set(qn("w:val"), code)
        properties.append(language)


def _opening(document: Document, note: Note) -> None:
    _paragraph(document, note.kind, "Table Text")
    _paragraph(document, note.title, "Title")
    _paragraph(document, note.subtitle, "Subtitle")
    _paragraph(document, note.invented, "Intense Quote")
    _paragraph(document, note.statement, "Body Text")


def _section(document: Document, section: NoteSection) -> None:
    if section.sentences:
        _paragraph(document, section.heading, "Heading 1")
    style = "List Bullet" if len(section.sentences) > 1 else "Normal"
    for sentence in section.sentences:
        _paragraph(document, sentence, style)


def _paragraph(document: Document, text: str, style: str) -> None:
    if text:
        put_style(document, document.add_paragraph(text), style)


def _picture(document: Document, picture: NotePicture) -> None:
    shape = document.add_picture(io.BytesIO(picture.png), width=picture_width(document))
    properties: Any = shape._inline.docPr
    properties.set("descr", keep_per_cent(one_line(picture.words)))
    document.paragraphs[-1].paragraph_format.keep_together = True


def _table(document: Document, table: Table, shares: Sequence[float]) -> None:
    """Set a table; its header row, where it has one, is repeated on every page."""
    head = [table.head] if any(table.head) else []
    rows = [*head, *table.rows]
    grid = document.add_table(rows=0, cols=len(table.head))
    if has_style(document, "Table Grid"):
        grid.style = "Table Grid"
    grid.autofit = False
    for texts in rows:
        cells = grid.add_row().cells
        for cell, text in zip(cells, texts, strict=True):
            (paragraph,) = cell.paragraphs
            paragraph.text = text
            put_style(document, paragraph, "Table Text")
    widths(grid, [share * picture_width(document) for share in shares])
    repeat_header(grid, table.heading, bool(head))
    put_style(document, document.add_paragraph(), "Table Text")


def _packed(content: bytes) -> bytes:
    """Pack a Word file again, in a fixed order and without a clock."""
    stream = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(stream, "w") as new:
        names = sorted(old.namelist(), key=lambda name: (name != "[Content_Types].xml", name))
        for name in names:
            about = zipfile.ZipInfo(name, _EPOCH)
            about.compress_type, about.create_system = zipfile.ZIP_DEFLATED, 3
            new.writestr(about, old.read(name))
    return stream.getvalue()
