"""Slips of the pen: files that are valid and hardly meant, or that must be refused."""

from __future__ import annotations

import copy
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import yaml

from tests.use.works import LYRE, LYRES

type Edit = Callable[[Any], None]


@dataclass(frozen=True)
class Slip:
    """One slip in one kind of file: the edit that makes it, and what a message must name."""

    kind: str
    edit: Edit
    names: str
    refused: bool = False

    def text(self) -> str:
        """Write the file with the slip in it."""
        data = yaml.safe_load(LYRES if self.kind == "maker" else LYRE)
        data = copy.deepcopy(data)
        self.edit(data)
        return yaml.safe_dump(data, sort_keys=False, allow_unicode=True)


def _put(*path: Any) -> Edit:
    """Put a value at a place: the last of the path is the value."""
    *steps, last, value = path

    def edit(data: Any) -> None:
        for step in steps:
            data = data[step]
        data[last] = value

    return edit


def _add(*path: Any) -> Edit:
    """Add a value to a list at a place."""
    *steps, value = path

    def edit(data: Any) -> None:
        for step in steps:
            data = data[step]
        data.append(value)

    return edit


def _drop(*path: Any) -> Edit:
    """Leave out what stands at a place."""
    *steps, last = path

    def edit(data: Any) -> None:
        for step in steps:
            data = data[step]
        del data[last]

    return edit


def _seen(value: Any) -> Edit:
    return _put("seen", "ends", value)


def _measured(value: Any) -> Edit:
    return _put("measured", "depth", value)


def _document(**keys: Any) -> Edit:
    return _put("documents", 0, {"what": "letter", **keys})


BODY = ("components", "body")
ENDS = (*BODY, "features", "ends")
HISTORY = (*ENDS, "history")
EARLY = {"earliest": "1929-01", "likely": "1929-06", "latest": "1929-12"}
JUDGED = {"earliest": "1931-01", "likely": "1931-08", "latest": "1932-03", "by": "assessor A"}
BEFORE = {"earliest": "1930-03", "likely": "1930-06", "latest": "1930-09", "by": "assessor A"}
FAR = {"earliest": "1990-01", "likely": "1991-01", "latest": "1992-01", "by": "assessor A"}
OLD = {"earliest": "1830-01", "likely": "1831-01", "latest": "1832-01", "by": "assessor A"}
BILL = {"what": "bill of sale", "not_after": "1933-06", "trust": 0.95}

SLIPS = {
    "types 229 for 22.9": Slip("examination", _measured(229), "depth"),
    "types 224 within 0.2": Slip("examination", _measured({"value": 224, "within": 0.2}), "depth"),
    "measures in centimetres": Slip("examination", _measured(2.24), "depth"),
    "measures in inches": Slip("examination", _measured(0.88), "depth"),
    "types a minus sign": Slip("examination", _measured(-3), "depth"),
    "measures nothing": Slip("examination", _measured(0), "depth"),
    "is not sure at all": Slip("examination", _seen({"state": "metal", "sure": 0}), "ends"),
    "names one state twice": Slip("examination", _seen({"one_of": ["wood", "wood"]}), "ends"),
    "calls a listed state another": Slip("examination", _seen({"other": "wood"}), "ends"),
    "examines in the future": Slip("examination", _put("examined", "2999-01-01"), "examined"),
    "enters a document twice": Slip("examination", _add("documents", dict(BILL)), "bill of sale"),
    "has a document before all": Slip("examination", _document(not_after="1899"), "document"),
    "has a document after all": Slip("examination", _document(not_before="1999"), "document"),
    "has a document against itself": Slip(
        "examination", _document(not_before="1933", not_after="1931"), "document"
    ),
    "is sure, yes": Slip("examination", _seen({"state": "metal", "sure": True}), "sure", True),
    "measures yes": Slip("examination", _measured(True), "depth", True),
    "measures within yes": Slip(
        "examination", _measured({"value": 22.4, "within": True}), "within", True
    ),
    "trusts yes": Slip("examination", _document(not_after="1933", trust=True), "trust", True),
    "names no instrument": Slip("examination", _put("instrument", ""), "instrument", True),
    "names nothing that was seen": Slip("examination", _put("seen", "", "wood"), "seen", True),
    "dates a change before the one it follows": Slip(
        "maker", _put(*HISTORY, 2, "first_use", BEFORE), "first_use"
    ),
    "dates a first use after all": Slip("maker", _put(*HISTORY, 2, "first_use", FAR), "first_use"),
    "dates a first use before all": Slip("maker", _put(*HISTORY, 1, "first_use", OLD), "first_use"),
    "dates an event before all": Slip("maker", _put("events", "new-shop", "when", OLD), "new-shop"),
    "dates an event after all": Slip(
        "maker", _put("events", "new-shop", "when", "1991-04"), "new-shop"
    ),
    "counts some months twice": Slip(
        "maker", _put("output", 1, "during", "1931-06/1934-12"), "output"
    ),
    "counts some months never": Slip(
        "maker", _put("output", 1, "during", "1932-07/1934-12"), "output"
    ),
    "makes less than one": Slip(
        "maker", _put("output", [{"during": "1930-01/1934-12", "made": 0.3}]), "output"
    ),
    "asks the same assessor twice": Slip(
        "maker", _put(*HISTORY, 1, "first_use", [JUDGED, dict(JUDGED)]), "first_use"
    ),
    "lists a state twice": Slip(
        "maker", _put(*ENDS, "states", ["wood", "metal", "horn", "metal"]), "states"
    ),
    "has a state follow itself": Slip("maker", _put(*HISTORY, 2, "state", "metal"), "history"),
    "misreads always": Slip("maker", _put(*ENDS, "slip", 1), "slip"),
    "replaces always": Slip("maker", _put(*ENDS, "replaced", 1), "replaced"),
    "swaps always": Slip("maker", _put(*BODY, "swapped", 1), "swapped"),
    "states no slip": Slip("maker", _drop(*ENDS, "slip"), "slip"),
    "states no replacement": Slip("maker", _drop(*ENDS, "replaced"), "replaced"),
    "misreads, yes": Slip("maker", _put(*ENDS, "slip", True), "slip", True),
    "swaps, no": Slip("maker", _put(*BODY, "swapped", False), "swapped", True),
    "makes yes": Slip("maker", _put("output", 1, "made", True), "made", True),
    "overlaps yes": Slip("maker", _put(*HISTORY, 2, "overlap", True), "overlap", True),
    "names no maker": Slip("maker", _put("maker", ""), "maker", True),
    "names no state": Slip("maker", _put(*ENDS, "states", ["wood", "metal", "horn", ""]), "", True),
    "names no feature": Slip(
        "maker", _put(*BODY, "features", "", {"ask": "?", "states": ["a", "b"]}), "", True
    ),
    "names no component": Slip("maker", _put("components", "", {"features": {}}), "", True),
    "blanks the product": Slip("maker", _put("product", "  "), "product", True),
}

CELLS = {
    "types 229 for 22.9": ("depth", "229"),
    "measures in centimetres": ("depth", "2.29"),
    "is not sure at all": ("ends", "metal (0)"),
    "names one state twice": ("ends", "wood | wood"),
    "calls a listed state another": ("ends", "other: wood"),
}
"""Slips in one cell of a sheet."""
