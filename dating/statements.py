"""What a maker file states: dates, spans, counts and chances, each with its source.

A plain date or number means certainty; a mapping is one assessor's judgement; a list of
mappings is several assessors, pooled with the weights they are given.
"""

from __future__ import annotations

from math import floor
from typing import Annotated, Any, ClassVar, Literal, Self, get_args

from pydantic import BeforeValidator, Field, model_validator

from dating.distributions import Certain, Judgement, JudgementError, Metalog
from dating.edtf import EdtfError, parse_edtf
from dating.judgement import metalog_through, pooled
from dating.months import Period, day_position, month_label
from dating.validation import Strict, number, refuse

LONGEST_NAME = 60
FURTHEST_APART = 200 * 12
YEARS_END = 10_000.0
"""Month numbers begin here, so that a mistyped 1931.02 is not taken for one."""


def plain_name(name: str) -> str:
    """Write a name as words.

    Examples
    --------
    >>> plain_name("heel-joint")
    'heel joint'
    """
    return name.replace("-", " ")


def _name(value: Any) -> Any:
    text = str(value) if isinstance(value, int) and not isinstance(value, bool) else value
    if not isinstance(text, str):
        raise refuse("a name is expected here")
    if not text.strip() or len(text) > LONGEST_NAME or not text.isprintable():
        raise refuse(f"a name has 1 to {LONGEST_NAME} printable characters")
    return text


def _text(value: Any) -> Any:
    """Take a bare number or year as the text it was written as."""
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    return str(value) if is_number else value


def _title(value: Any) -> Any:
    text = _text(value)
    if isinstance(text, str) and not text.strip():
        raise refuse("text is expected here, and this is blank")
    return text


def _names(value: Any) -> Any:
    return value if isinstance(value, list | tuple) else [value]


def _period(value: Any) -> Any:
    if isinstance(value, Period):
        return value
    try:
        return Period.parse(_text(value))
    except (ValueError, TypeError) as error:
        raise refuse(str(error), allowed="months or years, such as 1923-03/1941-11") from None


def _point(value: Any) -> Any:
    """Read a point in time: a month stands for its first day; Python may give a month number."""
    if isinstance(value, float) and YEARS_END <= value < 120_000:
        return value
    allowed = "a month such as 1931-02, or a day such as 1931-02-17"
    try:
        date = parse_edtf(_text(value))
    except (EdtfError, TypeError) as error:
        raise refuse(str(error), allowed=allowed) from None
    if date.kind != "date" or date.qualifier or date.lower is None or len(date.text) < 7:
        raise refuse("a point in time is expected here", allowed=allowed)
    return day_position(date.lower)


def _written_date(value: float) -> str:
    return month_label(floor(value))


type Name = Annotated[str, BeforeValidator(_name)]
type Text = Annotated[str, BeforeValidator(_text), Field(max_length=2000)]
type Title = Annotated[str, BeforeValidator(_title), Field(max_length=2000)]
type SourceNames = Annotated[tuple[Name, ...], BeforeValidator(_names)]
type MonthStretch = Annotated[Period, BeforeValidator(_period)]
type Point = Annotated[float, BeforeValidator(_point)]
type Number = Annotated[float, Field(allow_inf_nan=False, ge=-1e9, le=1e9), BeforeValidator(number)]
type Fraction = Annotated[float, Field(ge=0, le=1), BeforeValidator(number)]
type Positive = Annotated[float, Field(gt=0, le=1e9), BeforeValidator(number)]


class Chance(Strict):
    """A probability, with who says so; a plain number will do in a file."""

    value: Fraction
    source: SourceNames = ()
    by: Text = ""

    @model_validator(mode="before")
    @classmethod
    def _plain(cls, data: Any) -> Any:
        if isinstance(data, int | float) and not isinstance(data, bool):
            return {"value": data}
        if not isinstance(data, dict | Chance):
            raise refuse("a probability is expected here", allowed="a number from 0 to 1")
        return data


class Opinion(Strict):
    """What one assessor says, and on what ground."""

    keys: ClassVar[tuple[str, str, str]]
    kind: ClassVar[Literal["point", "span"]] = "span"

    weight: Positive = 1.0
    coverage: Annotated[float, Field(ge=0.01, lt=1), BeforeValidator(number)] = 0.9
    by: Text = ""
    source: SourceNames = ()

    def triple(self) -> tuple[float, float, float]:
        """Return the three values."""
        low, likely, high = (float(getattr(self, key)) for key in self.keys)
        return low, likely, high

    def distribution(self) -> Certain | Metalog:
        """Return this one opinion as a distribution."""
        dates = self.keys == DateOpinion.keys
        write = _written_date if dates else None
        return metalog_through(self.triple(), self.coverage, self.kind, write)

    @model_validator(mode="after")
    def _feasible(self) -> Self:
        try:
            self.distribution()
        except JudgementError as error:
            raise refuse(str(error)) from None
        return self


class DateOpinion(Opinion):
    """Earliest, likely, latest: points in time, as month numbers."""

    keys: ClassVar[tuple[str, str, str]] = ("earliest", "likely", "latest")
    kind: ClassVar[Literal["point", "span"]] = "point"

    earliest: Point
    likely: Point
    latest: Point

    @model_validator(mode="after")
    def _within_reason(self) -> Self:
        if self.latest - self.earliest > FURTHEST_APART:
            raise refuse("earliest and latest lie more than 200 years apart")
        return self


class SpanOpinion(Opinion):
    """Shortest, likely, longest: lengths of time in months, not negative."""

    keys: ClassVar[tuple[str, str, str]] = ("shortest", "likely", "longest")

    shortest: Number
    likely: Number
    longest: Number


class DelayOpinion(SpanOpinion):
    """Shortest, likely, longest: months after an event, negative where it comes before."""

    kind: ClassVar[Literal["point", "span"]] = "point"


class CountOpinion(Opinion):
    """Fewest, likely, most: numbers of instruments."""

    keys: ClassVar[tuple[str, str, str]] = ("fewest", "likely", "most")

    fewest: Number
    likely: Number
    most: Number


class Judged[O: Opinion](Strict):
    """One number as one or more assessors judge it."""

    opinions: tuple[O, ...]

    @model_validator(mode="before")
    @classmethod
    def _forms(cls, data: Any) -> Any:
        keys = get_args(cls.model_fields["opinions"].annotation)[0].keys
        if isinstance(data, cls) or (isinstance(data, dict) and "opinions" in data):
            return data
        if isinstance(data, dict):
            return {"opinions": [data]}
        if not isinstance(data, list):
            return {"opinions": [dict.fromkeys(keys, data)]}
        if data and all(isinstance(item, dict) for item in data):
            return {"opinions": data}
        if len(data) != 3:
            message = "a list here has three values, or one mapping for each assessor"
            raise refuse(message, allowed=f"[{', '.join(keys)}]")
        return {"opinions": [dict(zip(keys, data, strict=True))]}

    def distribution(self) -> Judgement:
        """Return the pooled judgement."""
        members = [opinion.distribution() for opinion in self.opinions]
        return pooled(members, [opinion.weight for opinion in self.opinions])

    def sources(self) -> tuple[str, ...]:
        """Name the sources of all opinions."""
        return tuple(dict.fromkeys(name for opinion in self.opinions for name in opinion.source))


DateJudgement = Judged[DateOpinion]
SpanJudgement = Judged[SpanOpinion]
DelayJudgement = Judged[DelayOpinion]
CountJudgement = Judged[CountOpinion]
