"""The fields of the form and the examination that they say, both ways.

``seen.heel-joint.state`` is "" (not examined), a state after an equals sign, ``one_of`` or
``other``; so is ``variant.state``. What else belongs to an answer stands beside it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from functools import partial
from typing import Any

from dating.amounts import CHANCES, Amount, AmountError, chance_of, measure_of
from dating.bench.examination_yaml import plain_data
from dating.bench.forms import (
    NOT,
    ONE_OF,
    OTHER,
    STATE,
    Fields,
    at_path,
    flat,
    items_at,
    nested,
    place_text,
    text_at,
)
from dating.examination import Examination
from dating.maker import Maker
from dating.reading import InputError, KeyPath, Problem, Source, key_text
from dating.validation import validate

VARIANT = "variant"
PAPER = ("what", "not_before", "not_after", "trust", "source", "note")
MOST_PAPERS = 200
_FORM = "what you entered"


def fields_of(examination: Examination) -> dict[str, str]:
    """Give the fields of the form as they stand for an examination.

    Examples
    --------
    >>> seen = {"plating": {"state": "nickel", "sure": 0.8}}
    >>> given = Examination(instrument="M-1", maker="marrowby", seen=seen)
    >>> fields = fields_of(given)
    >>> fields["seen.plating.state"], fields["seen.plating.sure"]
    ('=nickel', '0.8')
    """
    data = plain_data(examination, short=False)
    for sight in (*data.get("seen", {}).values(), data.get(VARIANT, {})):
        if sight:
            form = next((key for key in (ONE_OF, OTHER, NOT) if key in sight), None)
            sight["state"] = form or (f"{STATE}{sight['state']}" if "state" in sight else "")
    for known in data.get("parts", {}).values():
        known["original"] = "yes" if known["original"] else "no"
    for reading in data.get("measured", {}).values():
        if reading.get("confirmed"):
            reading["confirmed"] = "yes"
    return flat(data | ({"invented": "yes"} if examination.invented else {}))


def examination_in(fields: Fields, maker: Maker) -> Examination:
    """Read the examination that a form says.

    Raises InputError with one problem for each thing wrong; its key is the place in the
    examination.

    Examples
    --------
    >>> from dating.files import read_maker
    >>> maker = read_maker("priors/marrowby.yaml")
    >>> sent = {"instrument": "M-1", "maker": "marrowby", "seen.ring.state": "=inlaid"}
    >>> examination_in(sent, maker).seen["ring"].state
    'inlaid'
    """
    reader = _Reader(fields)
    data = reader.data(maker)
    source = entered(data)
    if reader.problems:
        raise InputError(reader.problems)
    try:
        return validate(source, Examination).placed(source)
    except InputError as error:
        raise InputError([replace(problem, line=None) for problem in error.problems]) from None


def remarks_in(fields: Fields, maker: Maker) -> tuple[Problem, ...]:
    """Say back what was read otherwise than a file has it, such as 70 for 70 %."""
    reader = _Reader(fields)
    reader.data(maker)
    return tuple(reader.remarks)


def answer_field(name: str) -> str:
    """Name the field of the answer about a feature, or about the variant."""
    return place_text((VARIANT, "state") if name == VARIANT else ("seen", name, "state"))


def paper_numbers(fields: Fields, *, with_text: bool = False) -> tuple[int, ...]:
    """List the numbers of the documents of a form, from 0."""
    papers = items_at(nested(fields), ("documents",))
    return tuple(
        number
        for number, paper in papers.items()
        if not with_text or any(text_at(paper, (key,)) for key in PAPER)
    )


def entered(data: Mapping[str, Any]) -> Source:
    """Take what was entered for a file, so that its problems have a place."""
    return Source(_FORM, data, dict.fromkeys(_paths(data, ()), (0, 0)), "")


class _Reader:
    """Reads the fields of one form into plain data, and notes what cannot be read."""

    def __init__(self, fields: Fields) -> None:
        self.form = nested(fields)
        self.problems: list[Problem] = []
        self.remarks: list[Problem] = []

    def data(self, maker: Maker) -> dict[str, Any]:
        data: dict[str, Any] = {key: self._text(key) for key in ("instrument", "maker")}
        data |= {"invented": True} if self._text("invented") == "yes" else {}
        known = {key: self._text(key) for key in ("examined", "by", "owner", "note")}
        data |= {key: text for key, text in known.items() if text}
        variant = self._sight((VARIANT,)) if maker.variants is not None else None
        data |= {VARIANT: variant} if variant is not None else {}
        seen = {name: self._sight(("seen", name)) for name in maker.features()}
        data["seen"] = {name: sight for name, sight in seen.items() if sight is not None}
        data["marks"] = {n: text for n in maker.marks() if (text := self._text("marks", n))}
        measured = {
            name: self._reading(("measured", name), measurement.unit)
            for name, (_, measurement) in maker.measurements().items()
        }
        data["measured"] = {name: value for name, value in measured.items() if value is not None}
        parts = {name: self._part(("parts", name)) for name in maker.components}
        data["parts"] = {name: known for name, known in parts.items() if known is not None}
        data["documents"] = self._papers()
        return data

    def _part(self, path: KeyPath) -> dict[str, Any] | None:
        """Read what is known of a component; nothing where that is not said."""
        answer, note = self._text(*path, "original"), self._text(*path, "note")
        if answer not in {"yes", "no"}:
            if answer:
                self._note((*path, "original"), "no such answer", found=answer, allowed="yes or no")
            return None
        entry: dict[str, Any] = {"original": answer == "yes"}
        if (sure := self._chance(path, "sure")) is not None:
            entry["sure"] = sure
        return entry | ({"note": note} if note else {})

    def _text(self, *path: str | int) -> str:
        return text_at(self.form, path)

    def _sight(self, path: KeyPath) -> dict[str, Any] | None:
        state = at_path(self.form, (*path, "state"))
        answer = state if isinstance(state, str) else ""
        note = self._text(*path, "note")
        entry: dict[str, Any] = {}
        if answer.startswith(STATE):
            entry["state"] = answer.removeprefix(STATE)
            if (sure := self._chance(path, "sure")) is not None:
                entry["sure"] = sure
        elif answer == ONE_OF:
            states = items_at(self.form, (*path, "one_of")).values()
            entry["one_of"] = list(dict.fromkeys(each for each in states if isinstance(each, str)))
            if not entry["one_of"]:
                self._note((*path, "one_of"), "tick the states that it may be")
        elif answer == NOT:
            states = items_at(self.form, (*path, NOT)).values()
            entry[NOT] = list(dict.fromkeys(each for each in states if isinstance(each, str)))
            if not entry[NOT]:
                self._note((*path, NOT), "tick the states that it is not")
        elif answer == OTHER:
            entry["other"] = self._text(*path, "other")
            if not entry["other"]:
                self._note((*path, "other"), "say what it is instead")
        elif answer:
            allowed = "a state after an equals sign, one_of, not, other, or nothing"
            self._note(path, "no such answer", found=answer, allowed=allowed)
        if known := self._text(*path, "known"):
            entry["known"] = known
        if note and not (entry or answer):
            self._note((*path, "note"), "a note goes with an answer, and there is none yet")
        if entry and note:
            entry["note"] = note
        return entry or None

    def _reading(self, path: KeyPath, unit: str) -> dict[str, Any] | None:
        value = self._number(path, "value", unit)
        within = self._number(path, "within", unit)
        note = self._text(*path, "note")
        if value is None:
            if (note or within is not None) and not self._text(*path, "value"):
                self._note((*path, "value"), "the value itself is missing")
            return None
        entry: dict[str, Any] = {"value": value}
        entry |= {"within": within} if within is not None else {}
        entry |= {"confirmed": True} if self._text(*path, "confirmed") == "yes" else {}
        return entry | ({"note": note} if note else {})

    def _papers(self) -> list[dict[str, Any]]:
        numbered = items_at(self.form, ("documents",))
        if len(numbered) > MOST_PAPERS:
            self._note(("documents",), f"at most {MOST_PAPERS} documents can be entered here")
        papers: list[dict[str, Any]] = []
        for item in list(numbered.values())[:MOST_PAPERS]:
            paper: dict[str, Any] = {key: text for key in PAPER if (text := text_at(item, (key,)))}
            if "trust" in paper:
                path = ("documents", len(papers), "trust")
                paper["trust"] = self._amount(chance_of, paper["trust"], path, CHANCES)
            if paper:
                papers.append(paper)
        return papers

    def _chance(self, path: KeyPath, key: str) -> float | None:
        text = self._text(*path, key)
        return self._amount(chance_of, text, (*path, key), CHANCES)

    def _number(self, path: KeyPath, key: str, unit: str) -> float | None:
        """Read a measured value, in the unit of the maker file or another one."""
        text, allowed = self._text(*path, key), f"a number in {unit}, such as 21.4 or 21,4"
        return self._amount(partial(measure_of, unit=unit), text, (*path, key), allowed)

    def _amount(
        self, read: Callable[[str], Amount], text: str, path: KeyPath, allowed: str
    ) -> float | None:
        if not text:
            return None
        try:
            amount = read(text)
        except AmountError as error:
            self._note(path, str(error), found=text, allowed=allowed)
            return None
        self._say_back(path, amount.words)
        return float(amount.number)

    def _say_back(self, path: KeyPath, words: str) -> None:
        if words:
            what = {"sure": "sureness"}.get(str(path[-1]), path[-1])
            message = f"{what} read as {words}"
            self.remarks.append(Problem(_FORM, None, key_text(path), message))

    def _note(self, path: KeyPath, message: str, *, found: str = "", allowed: str = "") -> None:
        shown = repr(found[:60]) if found else ""
        self.problems.append(Problem(_FORM, None, key_text(path), message, shown, allowed))


def _paths(data: Any, path: KeyPath) -> Iterator[KeyPath]:
    yield path
    if isinstance(data, dict):
        for key, value in data.items():
            yield from _paths(value, (*path, key))
    elif isinstance(data, list):
        for position, value in enumerate(data):
            yield from _paths(value, (*path, position))
