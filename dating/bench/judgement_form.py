"""One assessor's judgement as fields of a form: read, checked, and written as a file has it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from dating.amounts import AmountError, chance_of, decimal_of
from dating.bench.forms import Fields, items_at, nested, text_at
from dating.bench.judgement_places import OPINIONS, JudgementKind, JudgementPlace
from dating.distributions import Judgement
from dating.judgement import pooled
from dating.maker import Maker
from dating.reading import InputError, Place, Problem, Source, plain_number
from dating.splicing import Written
from dating.statements import Judged, Opinion
from dating.validation import validate

LONGEST = 200


@dataclass(frozen=True)
class JudgementFields:
    """What the fields of one judgement hold, as text.

    Parameters
    ----------
    one : bool
        Whether a single plain value is stated.
    values : tuple of three str
        Lowest, likely and highest; the plain value three times where there is one.
    by : str
        The assessor.
    source : tuple of str
        Names of sources.
    coverage, weight : str
        Belief between lowest and highest, and weight among several assessors.
    """

    one: bool
    values: tuple[str, str, str]
    by: str = ""
    source: tuple[str, ...] = ()
    coverage: str = "0.9"
    weight: str = "1"


def assessors_at(data: Any, spot: JudgementPlace) -> int | None:
    """Say how many assessors a judgement lists."""
    for part in spot.path:
        data = data[part]
    listed = isinstance(data, list) and all(isinstance(item, dict) for item in data)
    return len(data) if listed else None


def entry_at(data: Any, spot: JudgementPlace, index: int | None) -> JudgementFields:
    """Take what a maker file states into the fields of a form."""
    for part in (*spot.path, *(() if index is None else (index,))):
        data = data[part]
    keys = OPINIONS[spot.kind].keys
    if isinstance(data, list):
        data = dict(zip(keys, data, strict=True))
    if not isinstance(data, dict):
        return JudgementFields(True, (_text(data),) * 3)
    low, likely, high = (_text(data[key]) for key in keys)
    source = data.get("source", [])
    return JudgementFields(
        one=False,
        values=(low, likely, high),
        by=_text(data.get("by", "")),
        source=tuple(map(_text, source if isinstance(source, list) else [source])),
        coverage=_text(data.get("coverage", 0.9)),
        weight=_text(data.get("weight", 1)),
    )


def opinion_data(entry: JudgementFields, spot: JudgementPlace, index: int | None) -> Written:
    """Turn the fields into what the maker file shall say."""
    values = [_value(text, spot.kind) for text in entry.values]
    further: dict[str, Any] = {}
    if entry.by:
        further["by"] = entry.by
    if entry.source:
        further["source"] = entry.source
    for key, text, usual in (("weight", entry.weight, 1.0), ("coverage", entry.coverage, 0.9)):
        number = plain_number(text)
        if number != usual:
            further[key] = text if number is None else number
    if entry.one and index is None and not further:
        return values[1]
    return dict(zip(OPINIONS[spot.kind].keys, values, strict=True)) | further


def opinion_of(entry: JudgementFields, spot: JudgementPlace, maker: Maker, file: str) -> Opinion:
    """Check the fields with the models that a maker file is checked with.

    Raises InputError with one problem for each field that cannot be used; where no distribution
    runs through the three values, it says what would be feasible.
    """
    line = maker.origin.places.get(spot.path, (1, 1))[0]
    keys = OPINIONS[spot.kind].keys
    values = [_value(text, spot.kind) for text in entry.values]
    data: dict[str, Any] = dict(zip(keys, values, strict=True))
    data |= {"by": entry.by, "source": list(entry.source)}
    data |= {key: _value(getattr(entry, key), "span") for key in ("coverage", "weight")}
    places: dict[Any, Place] = {(): (line, 1)} | {(key,): (line, 1) for key in data}
    source = Source(file, data, places, "")
    problems = [
        source.problem(("source",), "no such source in the maker file", found=name, allowed=known)
        for known in [list(maker.sources)]
        for name in entry.source
        if name not in known
    ]
    if len(entry.by) > LONGEST or not entry.by.isprintable():
        problems.append(source.problem(("by",), f"at most {LONGEST} printable characters"))
    if problems:
        raise InputError(problems)
    try:
        return validate(source, OPINIONS[spot.kind])
    except InputError as error:
        about = f"{spot.about}, {spot.what}"
        raise InputError([_named(problem, about) for problem in error.problems]) from None


def judged_with(spot: JudgementPlace, index: int | None, opinion: Opinion) -> Judged[Any]:
    """Put one assessor's new opinion among the others."""
    opinions = list(spot.judged.opinions)
    opinions[index or 0] = opinion
    return type(spot.judged)(opinions=tuple(opinions))


def pool(judged: Judged[Any]) -> Judgement:
    """Pool all assessors of a judgement."""
    members = [opinion.distribution() for opinion in judged.opinions]
    return pooled(members, [opinion.weight for opinion in judged.opinions])


def entry_of(fields: Fields, kind: JudgementKind) -> JudgementFields:
    """Read the fields of a form that was sent; they are named by the keys of a judgement."""
    form = nested(fields)

    def field(key: str) -> str:
        return text_at(form, (key,))

    one = field("form") == "one"
    low, likely, high = (field(key) for key in OPINIONS[kind].keys)
    values = (field("value"),) * 3 if one else (low, likely, high)
    if kind != "date":
        low, likely, high = map(_decimal, values)
        values = (low, likely, high)
    named = items_at(form, ("source",)).values()
    source = tuple(name.strip() for name in named if isinstance(name, str) and name.strip())
    coverage, weight = field("coverage") or "0.9", field("weight") or "1"
    return JudgementFields(one, values, field("by"), source, _chance(coverage), _decimal(weight))


def _value(text: str, kind: JudgementKind) -> str | int | float:
    number = None if kind == "date" else plain_number(text)
    return text if number is None else number


def _chance(text: str) -> str:
    """Write a probability as a file has it; what is none is left to be refused."""
    try:
        amount = chance_of(text)
    except AmountError:
        return text
    return repr(amount.number) if amount.words else text


def _decimal(text: str) -> str:
    """Write a number with a decimal comma as a file has it."""
    try:
        number = decimal_of(text)
    except AmountError:
        return text
    return repr(number) if "," in text and number is not None else text


def _text(value: Any) -> str:
    return value if isinstance(value, str) else repr(value)


def _named(problem: Problem, about: str) -> Problem:
    """Say which judgement has the problem; where it is all of it, its keys need no mention."""
    if not problem.key:
        return replace(problem, key=about, found="")
    return replace(problem, key=f"{about}, {problem.key}")
