"""Claims read from YAML, or the simple kinds from CSV, with the examinations they are about."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from dating.claims.references import claims_problems
from dating.claims.statements import Assertion, Claims
from dating.examination import Examination
from dating.files import read_listed
from dating.kinds import of_kind
from dating.maker import Maker
from dating.reading import (
    InputError,
    KeyPath,
    Place,
    Problem,
    Source,
    plain_number,
    read_yaml,
)
from dating.sheet_rows import SheetRow
from dating.sheets import Sheet, is_sheet, read_sheet
from dating.validation import validate

COLUMNS = (
    "claim",
    "sentence",
    "place",
    "source",
    "kind",
    "instrument",
    "components",
    "feature",
    "state",
    "variant",
    "within",
    "not_before",
    "not_after",
    "shorter_than",
    "during",
    "at_least",
    "was",
    "tolerance",
)
_NUMBERS = ("shorter_than", "at_least", "tolerance")
_OF_CLAIM = ("claim", "sentence", "place", "source")
_KINDS = ("built", "original", "first_use", "last_use", "overlap", "share")


@dataclass(frozen=True, eq=False)
class Manuscript:
    """Claims with the maker file and the instruments they are about.

    Parameters
    ----------
    claims : Claims
        The claims file.
    maker : Maker
        The maker file it was held against.
    examinations : dict of str to Examination
        By instrument.
    """

    claims: Claims
    maker: Maker
    examinations: dict[str, Examination]


def read_claims(path: str | os.PathLike[str]) -> Claims:
    """Read and validate a claims file; its names are held against a maker file later.

    Parameters
    ----------
    path : str or path
        A YAML file, or a CSV file for the simple kinds.

    Returns
    -------
    Claims
        The validated claims, which know where each of their keys stands.

    Raises
    ------
    InputError
        With one located problem for each thing wrong.

    Examples
    --------
    >>> read_claims("demo_data/marrowby_claims.yaml").maker
    'marrowby'
    """
    with of_kind(path, "claims"):
        source = _from_sheet(read_sheet(path, "claims")) if is_sheet(path) else read_yaml(path)
        return validate(source, Claims).placed(source)


def manuscript_of(claims: Claims, maker: Maker) -> Manuscript:
    """Read the examinations that claims are about, and hold all names against a maker file.

    Raises InputError with one located problem for each unknown name, each stretch outside the
    period, and everything wrong with an examination.
    """
    examinations = read_listed(claims.examinations, claims.origin, maker)
    if problems := claims_problems(claims, maker, examinations):
        raise InputError(problems)
    return Manuscript(claims, maker, examinations)


def _from_sheet(sheet: Sheet) -> Source:
    """Turn a sheet of simple claims into the data of a claims file, with places."""
    problems = list(sheet.head_problems(("claim", "kind"), COLUMNS, "no such column in claims"))
    if problems:
        raise InputError(problems)
    head = {key: value for key, (_, value) in sheet.statements.items()}
    if "maker" not in head:
        message = "a comment '# maker: NAME' above the names of the columns is missing"
        problems.append(Problem(sheet.file, sheet.head.line, "maker", message))
    claims, places = list[dict[str, Any]](), dict[KeyPath, Place]()
    places[()] = places["claims",] = (sheet.head.line, 1)
    for row in sheet.rows:
        if len(row.cells) != len(sheet.head.cells):
            message = f"{len(row.cells)} cells under {len(sheet.head.cells)} columns"
            problems.append(Problem(sheet.file, row.line, "", message))
            continue
        try:
            claim = _claim(sheet, row)
        except InputError as error:
            problems += error.problems
            continue
        for path in _paths(("claims", len(claims)), claim):
            places[path] = (row.line, 1)
        claims.append(claim)
    data: dict[str, Any] = {"maker": head.get("maker", "unnamed"), "claims": claims}
    if "examinations" in head:
        data["examinations"] = [name.strip() for name in head["examinations"].split("|")]
    source = Source(sheet.file, data, places, sheet.fingerprint)
    if problems:
        problems += _further_problems(source) if claims else []
        raise InputError(sorted(problems, key=lambda problem: problem.line or 0))
    return source


def _further_problems(source: Source) -> list[Problem]:
    """List what is wrong in the claims that can be read, beside those that cannot."""
    try:
        validate(source, Claims)
    except InputError as error:
        return list(error.problems)
    return []


def _claim(sheet: Sheet, row: SheetRow) -> dict[str, Any]:
    cells: dict[str, Any] = dict(sheet.by_column(row, COLUMNS))
    kind = cells.pop("kind", "")
    if kind not in _KINDS:
        raise InputError([_kind_problem(sheet.source(row.line, None, ()), kind)])
    data: dict[str, Any] = {name: cells.pop(name) for name in _OF_CLAIM if name in cells}
    for name in _NUMBERS:
        if name in cells and (number := plain_number(cells[name])) is not None:
            cells[name] = number
    if "components" in cells:
        names = [part.strip() for part in cells["components"].split("|")]
        cells["components"] = "all" if names == ["all"] else names
    if kind == "overlap":
        inner = {"to" if key == "state" else key: cells.pop(key) for key in _inner(cells)}
        cells["changeover"] = inner
    elif kind == "share" and "feature" in cells:
        cells["states"] = {cells.pop("feature"): cells.pop("state", "")}
    data["says"] = {kind: cells}
    return data


def _kind_problem(origin: Source, kind: str) -> Problem:
    """Say what is wrong with a kind of claim that a sheet does not know."""
    message = "no such kind of claim in a sheet; others are written in YAML"
    if kind in Assertion.renamed:
        message = f"this kind is now called {Assertion.renamed[kind]}, and is written in YAML"
    elif kind not in Assertion.model_fields:
        return origin.problem(("kind",), message, found=kind, allowed=_KINDS)
    return origin.problem(("kind",), message, found=kind, allowed=", ".join(sorted(_KINDS)))


def _inner(cells: dict[str, Any]) -> list[str]:
    return [key for key in ("feature", "state", "variant") if key in cells]


def _paths(path: KeyPath, data: object) -> Iterator[KeyPath]:
    yield path
    items = data.items() if isinstance(data, dict) else ()
    for key, value in items:
        yield from _paths((*path, key), value)
