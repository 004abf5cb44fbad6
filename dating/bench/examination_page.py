"""The page on which an instrument is examined: asked, redrawn after each answer, and saved."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import PurePosixPath

from starlette.responses import Response

from dating.bench.answers import (
    answer_field,
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
from dating.bench.forms import NOT, ONE_OF, OTHER, STATE, Fields, Form
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


def examine(request: PageRequest) -> Response:
    """Show the form, filled from a file or empty for a maker file, and what it says so far."""
    file, learned = request.query.get("file", ""), request.query.get("learned", "")
    if file:
        _, version = request.shelf.workspace.read(file)
        examination = request.shelf.examination(file)
        maker_file = request.query.get("maker") or request.shelf.maker_named(examination.maker)
    else:
        maker_file, version = request.require("maker"), ""
        request.shelf.maker(maker_file)
        examination = Examination(instrument="", maker=PurePosixPath(maker_file).stem)
    maker = request.shelf.maker(maker_file)
    check_against(examination, maker)
    groups = groups_of(maker)
    try:
        result = _estimated(request.shelf, maker, examination, learned)
        panels, troubles = panels_of(result, places_of(groups)), []
    except InputError as error:
        panels, troubles = None, troubles_of(error.problems, groups, ())
    return filled(
        "examine.html.j2",
        maker=maker,
        maker_file=maker_file,
        file=file,
        version=version,
        learned=learned,
        learned_files=[each.name for each in request.shelf.workspace.files("learned")],
        groups=groups,
        form=Form(fields_of(examination)),
        identity=request.shelf.workspace.identity,
        folder=_folder(request.shelf),
        panels=panels,
        troubles=troubles,
        hints=[],
        one_of=ONE_OF,
        other=OTHER,
        excluded=NOT,
        state_sign=STATE,
    )


def redraw(request: PageRequest) -> Response:
    """Date what the form says."""
    maker = request.shelf.maker(_maker_file(request))
    groups = groups_of(maker)
    try:
        result = _of_form(request, maker, request.fields)
    except InputError as error:
        return _panels_of_error(request, maker, groups, error)
    panels = panels_of(result, places_of(groups))
    return _redrawn(request, maker, groups, panels, [])


def save(request: PageRequest) -> Response:
    """Save what the form says as the file that the command reads."""
    check_folder(request)
    maker = request.shelf.maker(_maker_file(request))
    groups = groups_of(maker)
    try:
        examination = examination_in(request.fields, maker)
        check_against(examination, maker)
        file = request.field("file") or _new_name(request, examination)
        text = _text(request, file, examination)
    except InputError as error:
        return _panels_of_error(request, maker, groups, error)
    try:
        version = request.shelf.workspace.save(file, text, request.field("version"))
    except ChangedError as error:
        new = not request.field("file")
        return filled("examine_both.html.j2", 409, file=file, theirs=error, ours=text, new=new)
    return filled(
        "examine_saved.html.j2",
        file=file,
        version=version,
        instrument=examination.instrument,
        identity=request.shelf.workspace.identity,
    )


def explain(request: PageRequest) -> Response:
    """Say what stands behind one observation."""
    name, maker_file = request.require("piece"), _maker_file(request)
    maker = request.shelf.maker(maker_file)
    result = _of_form(request, maker, request.fields)
    examples = examples_of(request.shelf, maker_file, result, name)
    answers = other_answers(maker, name, request.field(answer_field(name)))
    explanation = explained(result, name, examples)
    where = places_of(groups_of(maker)).get(name, "document")
    return filled("explain.html.j2", it=explanation, answers=answers, where=where)


def change(request: PageRequest) -> Response:
    """Say what the date would be with another answer."""
    name, answer = request.require("piece"), request.query.get("answer", "")
    maker = request.shelf.maker(_maker_file(request))
    answers = other_answers(maker, name, "\N{NULL}")
    if answer not in answers:
        raise BadRequestError(f"{name} has no answer {answer.removeprefix(STATE)!r}")
    now = _of_form(request, maker, request.fields)
    then = _of_form(request, maker, with_answer(request.fields, name, answer))
    return filled("explain_what_if.html.j2", it=what_if(now, then, name, answers[answer]))


def _maker_file(request: PageRequest) -> str:
    name = request.field("maker_file")
    if not name:
        raise BadRequestError("the form lacks the maker file")
    return name


def _of_form(request: PageRequest, maker: Maker, fields: Fields) -> Estimate:
    examination = examination_in(fields, maker)
    try:
        return _estimated(request.shelf, maker, examination, request.field("learned"))
    except InputError as error:
        raise InputError([replace(problem, line=None) for problem in error.problems]) from None


def _estimated(shelf: FileCache, maker: Maker, examination: Examination, learned: str) -> Estimate:
    known = shelf.learned(learned, maker) if learned else None
    return estimate(maker, examination, learned=known)


def _panels_of_error(
    request: PageRequest, maker: Maker, groups: tuple[QuestionGroup, ...], error: InputError
) -> Response:
    papers = paper_numbers(request.fields, with_text=True)
    return _redrawn(request, maker, groups, None, troubles_of(error.problems, groups, papers))


def _redrawn(
    request: PageRequest,
    maker: Maker,
    groups: tuple[QuestionGroup, ...],
    panels: Panels | None,
    troubles: list[FormProblem],
) -> Response:
    papers = paper_numbers(request.fields, with_text=True)
    return filled(
        "examine_panels.html.j2",
        422 if troubles else 200,
        groups=groups,
        hints=troubles_of(remarks_in(request.fields, maker), groups, papers),
        papers=paper_numbers(request.fields),
        panels=panels,
        troubles=troubles,
    )


def _folder(shelf: FileCache) -> str:
    """Say where a new examination is saved."""
    root = shelf.workspace.root
    return next((f"{name}/" for name in _FOLDERS if (root / name).is_dir()), "")


def _new_name(request: PageRequest, examination: Examination) -> str:
    name = request.field("name") or _slug(examination.instrument)
    if not examination.instrument:
        message = "an instrument needs a name or number of its own"
        raise InputError([Problem("", None, "instrument", message)])
    if not _NAME.fullmatch(name):
        message = "a name for the file is wanted"
        allowed = "1 to 60 letters, digits and hyphens; a letter or digit first"
        raise InputError([Problem("", None, "name", message, repr(name[:60]), allowed)])
    return f"{_folder(request.shelf)}{name}.yaml"


def _slug(instrument: str) -> str:
    """Make a name for a file of the name of an instrument."""
    return re.sub(r"[^A-Za-z0-9]+", "-", instrument).strip("-")[:60].rstrip("-")


def _text(request: PageRequest, file: str, examination: Examination) -> str:
    """Write the text of the file: the old one amended where there is one that can be read."""
    if not request.field("file"):
        return new_text(examination)
    try:
        text, version = request.shelf.workspace.read(file)
        was = request.shelf.examination(file)
    except NotThereError:
        return new_text(examination)
    except InputError:
        if version == request.field("version"):
            raise
        return new_text(examination)
    return amended_text(text, was, examination)
