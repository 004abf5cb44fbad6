"""The catalogue note of one examination: previewed with its picture, and given as a file."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from importlib.util import find_spec
from typing import get_args

from starlette.responses import Response

from dating.amounts import AmountError, chance_of
from dating.bench.answers import examination_in, fields_of
from dating.bench.examination_text import trimmed
from dating.bench.examination_yaml import plain_data
from dating.bench.forms import Fields, nested, text_at
from dating.bench.requests import BadRequestError, PageRequest, filled
from dating.bench.workspace import NotThereError
from dating.estimates import Estimate, estimate
from dating.examination import Examination
from dating.maker import Maker
from dating.notes.file_names import file_name
from dating.notes.house import House
from dating.notes.languages import Style, language, languages
from dating.notes.note import EstimateNote, note_of
from dating.notes.phrasing import CIRCA
from dating.notes.picture import NotePicture, picture_for
from dating.notes.sentences import Wording
from dating.reading import InputError, Problem
from dating.tabulation import LEVEL

_OPTIONS = ("language", "dates", "circa", "level")
"""How the note is worded: ``wording.language``, ``wording.dates`` and so on."""
STYLES = get_args(Style.__value__)


@dataclass(frozen=True)
class Format:
    """A form in which a note is given.

    Parameters
    ----------
    key : str
        Its key in ``note_files.ENDINGS``.
    called : str
        Its name on the page.
    media : str
        Its media type.
    needs : tuple of str
        Libraries that make it.
    """

    key: str
    called: str
    media: str
    needs: tuple[str, ...]


_WORD = "application/vnd.openxmlformats-officedocument.wordprocessingml.document"
FORMATS: Mapping[str, Format] = {
    "pdf": Format("pdf", "PDF", "application/pdf", ("typst", "matplotlib")),
    "docx": Format("word", "Word", _WORD, ("docx", "matplotlib")),
    "html": Format("html", "HTML", "text/html; charset=utf-8", ("jinja2", "matplotlib")),
    "md": Format("markdown", "Markdown", "text/markdown; charset=utf-8", ("jinja2",)),
    "jsonld": Format("linked-art", "Linked Art", "application/ld+json", ("cromulent",)),
}
"""By the ending of the file."""


@dataclass(frozen=True, eq=False)
class Subject:
    """What a note is written of, and how.

    Parameters
    ----------
    maker_file, file, learned : str
        Names of the files; empty where there is none.
    estimate_note : EstimateNote
        The estimate with its note.
    wording : Wording
        How it is worded.
    """

    maker_file: str
    file: str
    learned: str
    estimate_note: EstimateNote
    wording: Wording


def note(request: PageRequest) -> Response:
    """Show the note of an examination that lies in the folder."""
    file = request.require("file")
    seen = request.shelf.examination(file)
    maker_file = request.query.get("maker", "") or request.shelf.maker_named(seen.maker)
    maker, learned = request.shelf.maker(maker_file), request.query.get("learned", "")
    subject = _subject(request, (maker_file, file, learned), maker, seen, wording_in({}))
    return _shown(request, subject)


def preview(request: PageRequest) -> Response:
    """Show the note of what a form says."""
    return _shown(request, _subject_sent(request))


def file(request: PageRequest) -> Response:
    """Give the note as a file."""
    ending = request.require("as")
    if ending not in FORMATS:
        raise BadRequestError(f"a note is given as one of {', '.join(FORMATS)}")
    form, subject = FORMATS[ending], _subject_sent(request)
    _check_installed(f"a note as {form.called}", form.needs)
    with request.shelf.drawing:
        content = _content(subject, form)
    name = file_name(subject.estimate_note.estimate.examination.instrument)
    headers = {"content-disposition": f'attachment; filename="{name}.{ending}"'}
    return Response(content, media_type=form.media, headers=headers)


def _content(subject: Subject, form: Format) -> bytes:
    """Set the note; Markdown stands alone here, without a picture beside it."""
    if form.key == "markdown":
        from dating.notes.markdown import as_markdown  # noqa: PLC0415

        return as_markdown(subject.estimate_note.note, House()).encode("utf-8")
    from dating.notes.note_files import documents_of  # noqa: PLC0415

    documents = documents_of(subject.estimate_note, subject.wording, House(), (form.key,), "note")
    (content,) = documents.files.values()
    return content


def _shown(request: PageRequest, subject: Subject) -> Response:
    result, wording = subject.estimate_note.estimate, subject.wording
    beside = {"file": subject.file, "maker_file": subject.maker_file}
    return filled(
        "note.html.j2",
        subject=subject,
        note=subject.estimate_note.note,
        picture=_picture(request, result, subject),
        answers=fields_of(result.examination) | beside,
        languages=languages(),
        styles=STYLES,
        circa=CIRCA,
        wording=wording,
        level=f"{wording.level:g}",
        learned=[each.name for each in request.shelf.workspace.files("learned")],
        formats=FORMATS,
    )


def _picture(request: PageRequest, result: Estimate, subject: Subject) -> NotePicture | None:
    if find_spec("matplotlib") is None:
        return None
    with request.shelf.drawing:
        words = subject.estimate_note.note.picture
        return picture_for(result, subject.wording, words, ("html",))


def _subject_sent(request: PageRequest) -> Subject:
    """Date what the form says, and write the note; one that says what the file says names it."""
    maker_file, name, learned = map(request.field, ("maker_file", "file", "learned"))
    if not maker_file:
        raise BadRequestError("the form lacks the maker file")
    wording = wording_in(request.fields)
    maker = request.shelf.maker(maker_file)
    seen = examination_in(request.fields, maker)
    if name:
        with suppress(InputError, NotThereError):
            saved = request.shelf.examination(name)
            seen = saved if trimmed(plain_data(saved)) == trimmed(plain_data(seen)) else seen
    return _subject(request, (maker_file, name, learned), maker, seen, wording)


def _subject(
    request: PageRequest,
    files: tuple[str, str, str],
    maker: Maker,
    seen: Examination,
    wording: Wording,
) -> Subject:
    if not seen.instrument:
        raise InputError([_problem("instrument", "a note needs the name of the instrument")])
    known = request.shelf.learned(files[2], maker) if files[2] else None
    result = estimate(maker, seen, level=wording.level, learned=known)
    return Subject(*files, EstimateNote(result, note_of(result, wording)), wording)


def wording_in(fields: Fields) -> Wording:
    """Read how the note shall be worded.

    Raises InputError when something is chosen that there is not.

    Examples
    --------
    >>> result = wording_in({"wording.language": "de", "wording.level": "0.5"})
    >>> result.language.code, result.level, result.convention.years
    ('de', 0.5, 5)
    """
    form = nested(fields)
    tongue, dates, circa, level = (text_at(form, ("wording", name)) for name in _OPTIONS)
    style: Style = "american" if dates == "american" else "british"
    number = _chance(level) if level else LEVEL
    problems = []
    if tongue and tongue not in languages():
        problems.append(
            _problem("wording.language", "no such language", tongue, ", ".join(languages()))
        )
    if dates and dates not in STYLES:
        problems.append(_problem("wording.dates", "no such style", dates, ", ".join(STYLES)))
    if circa and circa not in map(str, CIRCA):
        allowed = ", ".join(map(str, CIRCA))
        problems.append(_problem("wording.circa", "years on either side", circa, allowed))
    if number is None or not 0 < number < 1:
        message = "a probability between 0 and 1, both left out"
        problems.append(_problem("wording.level", message, level, "0.9, or 90 %"))
    if problems or number is None:
        raise InputError(problems)
    return Wording(language(tongue or "en", style), float(number), CIRCA[int(circa or 5)])


def _chance(text: str) -> float | None:
    try:
        return chance_of(text).number
    except AmountError:
        return None


def _problem(key: str, message: str, text: str = "", allowed: str = "") -> Problem:
    return Problem("the note", None, key, message, repr(text[:60]) if text else "", allowed)


def _check_installed(what: str, names: tuple[str, ...]) -> None:
    missing = [name for name in names if find_spec(name) is None]
    if missing:
        words = f"{what} needs {', '.join(missing)}; install instrument-dating[note]"
        raise InputError([Problem("the note", None, "", words)])
