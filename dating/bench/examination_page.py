"""The page on which an instrument is examined: asked, redrawn after each answer, and saved."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import PurePosixPath

from starlette.responses import Response

from dating.bench.answers import (
    ONE_OF,
    OTHER,
    STATE,
    examination_in,
    fields_of,
    paper_numbers,
    remarks_in,
)
from dating.bench.examination_text import amended_text, new_text
from dating.bench.explanations import (
    explained,
    other_answers,
    what_if,
    with_answer,
)
from dating.bench.file_cache import FileCache
from dating.bench.forms import Form
from dating.bench.panels import Panels, panels_of
from dating.bench.questions import FormProblem, QuestionGroup, groups_of, places_of, troubles_of
from dating.bench.reference_examples import examples_of
from dating.bench.requests import BadRequestError, PageRequest, check_folder, filled
from dating.bench.workspace import ChangedError, NotThereError
from dating.estimates import Estimate, estimate
from dating.examination import Examination
from dating.files import check_against
from dating.maker import Maker
from dating.reading import InputError, Problem

_FOLDERS = ("examinations", "demo_data/examinations")
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9-]{0,59}")


def examine(asked: PageRequest) -> Response:
    """Show the form, filled from a file or empty for a maker file, and what it says so far."""
    file, learned = asked.query.get("file", ""), asked.query.get("learned", "")
    if file:
        _, version = asked.shelf.workspace.read(file)
        examination = asked.shelf.examination(file)
        maker_file = asked.query.get("maker") or asked.shelf.maker_named(examination.maker)
    else:
        maker_file, version = asked.wanted("maker"), ""
        asked.shelf.maker(maker_file)
        examination = Examination(instrument="", maker=PurePosixPath(maker_file).stem)
    maker = asked.shelf.maker(maker_file)
    check_against(examination, maker)
    groups = groups_of(maker)
    try:
        made = _estimated(asked.shelf, maker, examination, learned)
        panels, troubles = panels_of(made, places_of(groups)), []
    except InputError as error:
        panels, troubles = None, troubles_of(error.problems, groups, ())
    return filled(
        "examine.html.j2",
        maker=maker,
        maker_file=maker_file,
        file=file,
        version=version,
        learned=learned,
        learned_files=[found.name for found in asked.shelf.workspace.files("learned")],
        groups=groups,
        form=Form(fields_of(examination)),
        identity=asked.shelf.workspace.identity,
        folder=_folder(asked.shelf),
        panels=panels,
        troubles=troubles,
        hints=[],
        one_of=ONE_OF,
        other=OTHER,
        state_sign=STATE,
    )


def redraw(asked: PageRequest) -> Response:
    """Date what the form says."""
    maker = asked.shelf.maker(_maker_file(asked))
    groups = groups_of(maker)
    try:
        made = _of_form(asked, maker, asked.fields)
    except InputError as error:
        return _told(asked, maker, groups, error)
    panels = panels_of(made, places_of(groups))
    return _redrawn(asked, maker, groups, panels, [])


def save(asked: PageRequest) -> Response:
    """Save what the form says as the file that the command reads."""
    check_folder(asked)
    maker = asked.shelf.maker(_maker_file(asked))
    groups = groups_of(maker)
    try:
        examination = examination_in(asked.fields, maker)
        check_against(examination, maker)
        file = asked.field("file") or _new_name(asked, examination)
        text = _text(asked, file, examination)
    except InputError as error:
        return _told(asked, maker, groups, error)
    try:
        version = asked.shelf.workspace.save(file, text, asked.field("version"))
    except ChangedError as error:
        new = not asked.field("file")
        return filled("examine_both.html.j2", 409, file=file, theirs=error, ours=text, new=new)
    return filled(
        "examine_saved.html.j2",
        file=file,
        version=version,
        instrument=examination.instrument,
        identity=asked.shelf.workspace.identity,
    )


def explain(asked: PageRequest) -> Response:
    """Say what stands behind one observation."""
    name, maker_file = asked.wanted("piece"), _maker_file(asked)
    maker = asked.shelf.maker(maker_file)
    made = _of_form(asked, maker, asked.fields)
    examples = examples_of(asked.shelf, maker_file, made, name)
    answers = other_answers(maker, name, asked.field(f"seen:{name}"))
    explanation = explained(made, name, examples)
    where = places_of(groups_of(maker)).get(name, "document")
    return filled("explain.html.j2", it=explanation, answers=answers, where=where)


def change(asked: PageRequest) -> Response:
    """Say what the date would be with another answer."""
    name, answer = asked.wanted("piece"), asked.query.get("answer", "")
    maker = asked.shelf.maker(_maker_file(asked))
    answers = other_answers(maker, name, "\N{NULL}")
    if answer not in answers:
        raise BadRequestError(f"{name} has no answer {answer.removeprefix(STATE)!r}")
    now = _of_form(asked, maker, asked.fields)
    then = _of_form(asked, maker, with_answer(asked.fields, name, answer))
    return filled("explain_what_if.html.j2", it=what_if(now, then, name, answers[answer]))


def _maker_file(asked: PageRequest) -> str:
    name = asked.field("maker_file")
    if not name:
        raise BadRequestError("the form lacks the maker file")
    return name


def _of_form(asked: PageRequest, maker: Maker, fields: Mapping[str, tuple[str, ...]]) -> Estimate:
    examination = examination_in(fields, maker)
    try:
        return _estimated(asked.shelf, maker, examination, asked.field("learned"))
    except InputError as error:
        raise InputError([replace(problem, line=None) for problem in error.problems]) from None


def _estimated(shelf: FileCache, maker: Maker, examination: Examination, learned: str) -> Estimate:
    known = shelf.learned(learned, maker) if learned else None
    return estimate(maker, examination, learned=known)


def _told(
    asked: PageRequest, maker: Maker, groups: tuple[QuestionGroup, ...], error: InputError
) -> Response:
    said = paper_numbers(asked.fields, said=True)
    return _redrawn(asked, maker, groups, None, troubles_of(error.problems, groups, said))


def _redrawn(
    asked: PageRequest,
    maker: Maker,
    groups: tuple[QuestionGroup, ...],
    panels: Panels | None,
    troubles: list[FormProblem],
) -> Response:
    said = paper_numbers(asked.fields, said=True)
    return filled(
        "examine_panels.html.j2",
        422 if troubles else 200,
        groups=groups,
        hints=troubles_of(remarks_in(asked.fields, maker), groups, said),
        papers=paper_numbers(asked.fields),
        panels=panels,
        troubles=troubles,
    )


def _folder(shelf: FileCache) -> str:
    """Say where a new examination is saved."""
    root = shelf.workspace.root
    return next((f"{name}/" for name in _FOLDERS if (root / name).is_dir()), "")


def _new_name(asked: PageRequest, examination: Examination) -> str:
    name = asked.field("name") or _slug(examination.instrument)
    if not examination.instrument:
        message = "an instrument needs a name or number of its own"
        raise InputError([Problem("", None, "instrument", message)])
    if not _NAME.fullmatch(name):
        message = "a name for the file is wanted"
        allowed = "1 to 60 letters, digits and hyphens; a letter or digit first"
        raise InputError([Problem("", None, "name", message, repr(name[:60]), allowed)])
    return f"{_folder(asked.shelf)}{name}.yaml"


def _slug(instrument: str) -> str:
    """Make a name for a file of the name of an instrument."""
    return re.sub(r"[^A-Za-z0-9]+", "-", instrument).strip("-")[:60].rstrip("-")


def _text(asked: PageRequest, file: str, examination: Examination) -> str:
    """Write the text of the file: the old one amended where there is one that can be read."""
    if not asked.field("file"):
        return new_text(examination)
    try:
        text, version = asked.shelf.workspace.read(file)
        was = asked.shelf.examination(file)
    except NotThereError:
        return new_text(examination)
    except InputError:
        if version == asked.field("version"):
            raise
        return new_text(examination)
    return amended_text(text, was, examination)
