"""A statement about several instruments, added to a group file of the folder."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import yaml
from starlette.responses import Response

from dating.bench.comparison_page import KINDS, Chosen, chosen_in, page_of_comparison
from dating.bench.file_cache import FileCache
from dating.bench.requests import BadRequestError, PageRequest, check_folder
from dating.bench.workspace import ChangedError
from dating.reading import InputError, Problem, plain_number, source_of
from dating.succession.references import group_problems
from dating.succession.relations import Group
from dating.validation import validate
from dating.yaml_text import merged

_MOST_NEW = 1_000


def add_known(request: PageRequest) -> Response:
    """Add one statement to a group file, or begin one, and show what it does.

    Nothing is saved that could not be read again, or that cannot be so together with the rest.
    """
    shelf, fields = request.shelf, request.fields
    chosen = chosen_in(shelf, fields)
    try:
        check_folder(request)
        name = _saved(shelf, chosen, statement_of(fields))
    except InputError as error:
        return page_of_comparison(shelf, chosen, fields, error.problems)
    except ChangedError as error:
        problem = Problem(chosen.known, None, "", f"{error}; send the form again")
        return page_of_comparison(shelf, chosen, fields, [problem])
    saved = Chosen(chosen.files, name, chosen.by)
    try:
        return page_of_comparison(shelf, saved, message=f"Saved in {name}.")
    except InputError as error:  # it can be so, but not with what was seen
        apart = Chosen(chosen.files, "", chosen.by)
        message = f"Saved in {name}; it cannot be used together with what was seen."
        return page_of_comparison(shelf, apart, {}, error.problems, message)


def statement_of(fields: Mapping[str, str]) -> dict[str, Any]:
    """Turn the fields of the form into an entry of a group file, as plain data.

    Raises BadRequestError when there is no such kind of statement.
    """
    kind = fields.get("kind", "")
    if kind not in KINDS:
        raise BadRequestError("there is no such kind of statement")
    given = {key: value.strip() for key, value in fields.items() if value.strip()}
    named = [value for key, value in fields.items() if key.startswith("in-") and value]
    if kind == "older":
        first = given.get("first", "")
        named = [first, *(name for name in named if name != first)]
    if kind == "consecutive":
        named = _by_place(given)
    keys = {
        "older": {"at_least": "at_least", "at_most": "at_most"},
        "apart": {"at_most": "at_most"},
        "same_batch": {"within": "at_most"},
        "photographed": {"date": "date"},
        "consecutive": {"within": "at_most"},
    }[kind]
    content = {key: _plain(given[field]) for key, field in keys.items() if field in given}
    entry: dict[str, Any] = {kind: {"instruments": named, **content}}
    entry |= {"source": given["source"]} if "source" in given else {}
    return entry | ({"trust": _plain(given["trust"])} if "trust" in given else {})


def _saved(shelf: FileCache, chosen: Chosen, entry: dict[str, Any]) -> str:
    """Write an entry into the group file, every other byte kept; give the file's name.

    Raises InputError when the file would not be valid; ChangedError when it has changed meanwhile.
    """
    examinations = [shelf.examination(file) for file in chosen.files]
    maker = shelf.maker(shelf.maker_named(examinations[0].maker))
    if chosen.known:
        name, (text, version) = chosen.known, shelf.workspace.read(chosen.known)
        shelf.group(name)  # what is no group file is refused in words
        before = yaml.safe_load(text)
        if entry in before["known"]:
            raise InputError([Problem(name, None, "known", "this statement is there already")])
        text = merged(text, before, {**before, "known": [*before["known"], entry]})
    else:
        name, version = _new_name(shelf), ""
        data = {
            "maker": examinations[0].maker,
            "invented": maker.invented,
            "examinations": list(chosen.files),
            "known": [entry],
        }
        text = yaml.safe_dump(data, sort_keys=False, allow_unicode=True)
    source = source_of(name, text)
    group = validate(source, Group).placed(source)
    names = [examination.instrument for examination in examinations]
    if problems := group_problems(group, names, maker):
        raise InputError(problems)
    shelf.workspace.save(name, text, version)
    return name


def _by_place(given: Mapping[str, str]) -> list[str]:
    """Put the instruments that are ticked into the order of their places.

    Raises InputError when they are not 1, 2, and so on.
    """
    ticked = {key.removeprefix("in-"): name for key, name in given.items() if key[:3] == "in-"}
    places = {given.get(f"place-{number}", ""): name for number, name in ticked.items()}
    wanted = [str(place) for place in range(1, len(ticked) + 1)]
    if sorted(places) != sorted(wanted):
        message = "each ticked instrument needs a place of its own by its work number, 1 the oldest"
        found = ", ".join(given.get(f"place-{n}", "nothing") for n in ticked)
        raise InputError([Problem("the form", None, "place", message, found, ", ".join(wanted))])
    return [places[place] for place in wanted]


def _new_name(shelf: FileCache) -> str:
    """Name a group file that is not there yet."""
    taken = {file.name for file in shelf.workspace.files()}
    names = (f"known_between_{number}.yaml" for number in range(1, _MOST_NEW))
    return next(name for name in names if name not in taken)


def _plain(text: str) -> Any:
    """Read a number where there is one, and else the text."""
    value = plain_number(text)
    return text if value is None else value
