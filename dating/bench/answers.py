"""The fields of the form and the examination that they say, both ways.

Fields are named by what they hold and, after a colon, by the feature, mark or measurement:
``seen:heel-joint`` is "" (not examined), a state after an equals sign, ``one_of`` or ``other``.
The variant is the feature named ``variant``. Documents are numbered: ``paper_what:1``.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from dating.bench.amounts import CHANCES, AmountError, chance_of, measure_of
from dating.bench.examination_yaml import number_text, paper_data
from dating.examination import Examination, Paper, Reading, Sight
from dating.maker import Maker
from dating.reading import InputError, KeyPath, Problem, Source, key_text
from dating.validation import validate

type Fields = Mapping[str, tuple[str, ...]]

ONE_OF = "one_of"
OTHER = "other"
STATE = "="
"""Stands before the name of a state, so that a state may be named ``other``."""
VARIANT = "variant"
PAPER = ("what", "not_before", "not_after", "trust", "source", "note")
MOST_PAPERS = 200
_FORM = "what you entered"
_PAPER_FIELD = re.compile(r"paper_what:([0-9]{1,6})")


def fields_of(examination: Examination) -> dict[str, tuple[str, ...]]:
    """Give the fields of the form as they stand for an examination.

    Examples
    --------
    >>> seen = {"plating": {"state": "nickel", "sure": 0.8}}
    >>> given = Examination(instrument="M-1", maker="marrowby", seen=seen)
    >>> fields = fields_of(given)
    >>> fields["seen:plating"], fields["sure:plating"]
    (('=nickel',), ('0.8',))
    """
    examined = examination.examined
    fields: dict[str, tuple[str, ...]] = {
        "instrument": (examination.instrument,),
        "maker": (examination.maker,),
        "examined": (examined.isoformat() if examined else "",),
        "by": (examination.by,),
        "note": (examination.note,),
    }
    if examination.invented:
        fields["invented"] = ("yes",)
    sights = {**examination.seen, VARIANT: examination.variant}
    for name, sight in sights.items():
        if sight is not None:
            fields |= _sight_fields(name, sight)
    fields |= {f"mark:{name}": (text,) for name, text in examination.marks.items() if text}
    for name, reading in examination.measured.items():
        if reading is not None:
            fields |= _reading_fields(name, reading)
    for number, paper in enumerate(examination.documents, start=1):
        fields |= _paper_fields(number, paper)
    return fields


def examination_in(fields: Fields, maker: Maker) -> Examination:
    """Read the examination that a form says.

    Raises InputError with one problem for each thing wrong; its key is the place in the
    examination.

    Examples
    --------
    >>> from dating.files import read_maker
    >>> maker = read_maker("priors/marrowby.yaml")
    >>> sent = {"instrument": ("M-1",), "maker": ("marrowby",), "seen:ring": ("=inlaid",)}
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


def paper_numbers(fields: Fields, *, with_text: bool = False) -> tuple[int, ...]:
    """List the numbers of the documents of a form."""
    numbers = sorted({int(m[1]) for name in fields if (m := _PAPER_FIELD.fullmatch(name))})
    if not with_text:
        return tuple(numbers)
    return tuple(
        number
        for number in numbers
        if any(fields.get(f"paper_{key}:{number}", ("",))[-1].strip() for key in PAPER)
    )


def entered(data: Mapping[str, Any]) -> Source:
    """Take what was entered for a file, so that its problems have a place."""
    return Source(_FORM, data, dict.fromkeys(_paths(data, ()), (0, 0)), "")


class _Reader:
    """Reads the fields of one form into plain data, and notes what cannot be read."""

    def __init__(self, fields: Fields) -> None:
        self.fields = fields
        self.problems: list[Problem] = []
        self.remarks: list[Problem] = []

    def data(self, maker: Maker) -> dict[str, Any]:
        data: dict[str, Any] = {key: self._text(key) for key in ("instrument", "maker")}
        data |= {"invented": True} if self._text("invented") == "yes" else {}
        data |= {key: text for key in ("examined", "by", "note") if (text := self._text(key))}
        variant = self._sight(VARIANT, (VARIANT,)) if maker.variants is not None else None
        data |= {VARIANT: variant} if variant is not None else {}
        seen = {name: self._sight(name, ("seen", name)) for name in maker.features()}
        data["seen"] = {name: sight for name, sight in seen.items() if sight is not None}
        data["marks"] = {n: text for n in maker.marks() if (text := self._text(f"mark:{n}"))}
        measured = {
            name: self._reading(name, measurement.unit)
            for name, (_, measurement) in maker.measurements().items()
        }
        data["measured"] = {name: value for name, value in measured.items() if value is not None}
        data["documents"] = self._papers()
        return data

    def _text(self, name: str) -> str:
        return self.fields.get(name, ("",))[-1].replace("\r\n", "\n").strip()

    def _sight(self, name: str, path: KeyPath) -> dict[str, Any] | None:
        answer = self.fields.get(f"seen:{name}", ("",))[-1]
        note = self._text(f"note:{name}")
        entry: dict[str, Any] = {}
        if answer.startswith(STATE):
            entry["state"] = answer.removeprefix(STATE)
            if (sure := self._chance(f"sure:{name}", (*path, "sure"))) is not None:
                entry["sure"] = sure
        elif answer == ONE_OF:
            entry["one_of"] = list(dict.fromkeys(self.fields.get(f"one_of:{name}", ())))
            if not entry["one_of"]:
                self._note((*path, "one_of"), "tick the states that it may be")
        elif answer == OTHER:
            entry["other"] = self._text(f"other:{name}")
            if not entry["other"]:
                self._note((*path, "other"), "say what it is instead")
        elif answer:
            allowed = "a state after an equals sign, one_of, other, or nothing"
            self._note(path, "no such answer", found=answer, allowed=allowed)
        elif note:
            self._note(path, "a note goes with an answer, and there is none yet")
        if entry and note:
            entry["note"] = note
        return entry or None

    def _reading(self, name: str, unit: str) -> dict[str, Any] | None:
        path: KeyPath = ("measured", name)
        value = self._number(f"value:{name}", (*path, "value"), unit)
        within = self._number(f"within:{name}", (*path, "within"), unit)
        note = self._text(f"note:{name}")
        if value is None:
            if (note or within is not None) and not self._text(f"value:{name}"):
                self._note((*path, "value"), "the value itself is missing")
            return None
        entry: dict[str, Any] = {"value": value}
        entry |= {"within": within} if within is not None else {}
        return entry | ({"note": note} if note else {})

    def _papers(self) -> list[dict[str, Any]]:
        numbers = paper_numbers(self.fields)
        if len(numbers) > MOST_PAPERS:
            self._note(("documents",), f"at most {MOST_PAPERS} documents can be entered here")
        papers: list[dict[str, Any]] = []
        for number in numbers[:MOST_PAPERS]:
            path: KeyPath = ("documents", len(papers))
            paper: dict[str, Any] = {
                key: text for key in PAPER if (text := self._text(f"paper_{key}:{number}"))
            }
            if "trust" in paper:
                paper["trust"] = self._chance(f"paper_trust:{number}", (*path, "trust"))
            if paper:
                papers.append(paper)
        return papers

    def _chance(self, name: str, path: KeyPath) -> float | None:
        """Read a probability, from 0 to 1 or in per cent."""
        text = self._text(name)
        if not text:
            return None
        try:
            amount = chance_of(text)
        except AmountError as error:
            self._note(path, str(error), found=text, allowed=CHANCES)
            return None
        self._say_back(path, amount.words)
        return float(amount.number)

    def _number(self, name: str, path: KeyPath, unit: str) -> float | None:
        """Read a measured value, in the unit of the maker file or another one."""
        text = self._text(name)
        if not text:
            return None
        try:
            amount = measure_of(text, unit)
        except AmountError as error:
            allowed = f"a number in {unit}, such as 21.4 or 21,4"
            self._note(path, str(error), found=text, allowed=allowed)
            return None
        self._say_back(path, amount.words)
        return amount.number

    def _say_back(self, path: KeyPath, words: str) -> None:
        if words:
            what = {"sure": "sureness"}.get(str(path[-1]), path[-1])
            message = f"{what} read as {words}"
            self.remarks.append(Problem(_FORM, None, key_text(path), message))

    def _note(self, path: KeyPath, message: str, *, found: str = "", allowed: str = "") -> None:
        shown = repr(found[:60]) if found else ""
        self.problems.append(Problem(_FORM, None, key_text(path), message, shown, allowed))


def _sight_fields(name: str, sight: Sight) -> dict[str, tuple[str, ...]]:
    fields: dict[str, tuple[str, ...]] = {}
    if sight.note:
        fields[f"note:{name}"] = (sight.note,)
    if sight.other is not None:
        return fields | {f"seen:{name}": (OTHER,), f"other:{name}": (sight.other,)}
    if sight.one_of is not None:
        return fields | {f"seen:{name}": (ONE_OF,), f"one_of:{name}": sight.one_of}
    if sight.sure is not None:
        fields[f"sure:{name}"] = (repr(sight.sure),)
    return fields | {f"seen:{name}": (f"{STATE}{sight.state}",)}


def _reading_fields(name: str, reading: Reading) -> dict[str, tuple[str, ...]]:
    fields: dict[str, tuple[str, ...]] = {f"value:{name}": (number_text(reading.value),)}
    if reading.within:
        fields[f"within:{name}"] = (number_text(reading.within),)
    if reading.note:
        fields[f"note:{name}"] = (reading.note,)
    return fields


def _paper_fields(number: int, paper: Paper) -> dict[str, tuple[str, ...]]:
    texts = {key: str(value) for key, value in paper_data(paper).items()}
    return {f"paper_{key}:{number}": (texts.get(key, ""),) for key in PAPER}


def _paths(data: Any, path: KeyPath) -> Iterator[KeyPath]:
    yield path
    if isinstance(data, dict):
        for key, value in data.items():
            yield from _paths(value, (*path, key))
    elif isinstance(data, list):
        for position, value in enumerate(data):
            yield from _paths(value, (*path, position))
