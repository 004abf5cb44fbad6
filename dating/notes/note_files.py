"""Notes and indexes as files, each written whole."""

from __future__ import annotations

import json
import os
import warnings
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import overload

from dating.estimates import Estimate
from dating.libraries import check_libraries
from dating.notes.formats import ENDINGS, LIBRARIES, format_of
from dating.notes.house import House, house
from dating.notes.languages import Style
from dating.notes.linked_art import Statement, linked_art
from dating.notes.markdown import as_markdown
from dating.notes.note import EstimateNote, note_of
from dating.notes.pdf import as_pdf
from dating.notes.picture import picture_for
from dating.notes.sentences import Wording
from dating.notes.web import as_html
from dating.notes.word import as_docx
from dating.notes.wording import wording_of
from dating.reading import InputError, Problem, write_whole


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
        picture = picture_for(dated.estimate, wording, note.picture, formats)
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


@overload
def write_note(
    estimate: Estimate,
    path: None = None,
    *,
    language: str | os.PathLike[str] = "en",
    dates: Style = "british",
    circa: int = 5,
    templates: str | os.PathLike[str] | None = None,
    replace: bool = False,
) -> str: ...


@overload
def write_note(
    estimate: Estimate,
    path: str | os.PathLike[str],
    *,
    language: str | os.PathLike[str] = "en",
    dates: Style = "british",
    circa: int = 5,
    templates: str | os.PathLike[str] | None = None,
    replace: bool = False,
) -> tuple[Path, ...]: ...


def write_note(
    estimate: Estimate,
    path: str | os.PathLike[str] | None = None,
    *,
    language: str | os.PathLike[str] = "en",
    dates: Style = "british",
    circa: int = 5,
    templates: str | os.PathLike[str] | None = None,
    replace: bool = False,
) -> str | tuple[Path, ...]:
    """Write the catalogue note of one instrument, as text or to a file.

    The note is as sure as the estimate and no surer; its words hold at least the estimate's level.

    Parameters
    ----------
    estimate : Estimate
        The estimate.
    path : str or path, optional
        Where to; its ending says the format: ``.md`` (a picture is written beside it), ``.html``,
        ``.docx``, ``.pdf`` or ``.jsonld``. Without it the note is given as text, in Markdown.
    language : str or path
        ``en``, ``de``, or a language file (.yaml).
    dates : {"british", "american"}
        Style of days and of per cent.
    circa : {5, 10}
        Years on either side that "circa" means; the note states the choice.
    templates : str or path, optional
        Folder of a house's own templates; a file of the same name replaces ours.
    replace : bool
        Replace files that exist already.

    Returns
    -------
    str or tuple of Path
        The note in Markdown; or, where a path is given, the files that were written.

    Raises
    ------
    InputError
        When the name of the file says no format, a file of this name exists, the file cannot be
        written, there is no such language, or a template has a fault.
    ValueError
        When there is no such style of days, or no such meaning of "circa".
    ModuleNotFoundError
        When a library for the format is missing.

    Examples
    --------
    >>> from dating import estimate, read_examination, read_maker
    >>> maker = read_maker("priors/marrowby.yaml")
    >>> made = estimate(maker, read_examination("demo_data/examinations/M-001.yaml"))
    >>> write_note(made).splitlines()[0]
    '# M-001'
    """
    file = None if path is None else Path(path)
    form = "markdown" if file is None else format_of(file)
    check_libraries("writing notes", LIBRARIES[form], "note")
    wording, templated = wording_of(language, dates, circa, estimate.level), house(templates)
    noted = EstimateNote(estimate, note_of(estimate, wording))
    if file is None:
        return as_markdown(noted.note, templated)
    names = document_names(file.stem, [form])
    if not replace:
        _check_none_exists(file.parent / name for name in names)
    documents = documents_of(noted, wording, templated, [form], file.stem)
    if documents.missing:
        signs = " ".join(documents.missing)
        warnings.warn(f"{file}: the PDF's fonts have no sign for {signs}", stacklevel=2)
    return tuple(write_all(file.parent, documents.files))


def _check_none_exists(files: Iterable[Path]) -> None:
    """Refuse to write over a file that a person may value."""
    message = "there is a file of this name already; give another name, or replace=True"
    if problems := [Problem(str(f), None, "", message) for f in files if os.path.lexists(f)]:
        raise InputError(problems)


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
