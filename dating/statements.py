"""What a maker file states: dates, spans, counts and chances, each with its source.

A plain date or number means certainty; a mapping is one assessor's judgement; a list of
mappings is several assessors, pooled with the weights they are given.
"""

from __future__ import annotations

from math import floor
from typing import Annotated, Any, ClassVar, Literal, Self, get_args

from pydantic import BeforeValidator, Field, GetJsonSchemaHandler, WithJsonSchema, model_validator
from pydantic_core import CoreSchema

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


def several(value: Any) -> Any:
    """Take one name for a list of one."""
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


_WRITTEN_NAME = {"type": ["string", "integer"], "minLength": 1, "maxLength": LONGEST_NAME}
_WRITTEN_TEXT = {"type": ["string", "number"], "maxLength": 2000}
_WRITTEN_DATE = {
    "type": ["string", "integer"],
    "description": "A month or a day, in ISO 8601.",
    "examples": ["1931-02", "1931-02-17"],
}
_WRITTEN_MONTHS = {
    "type": ["string", "integer"],
    "description": "Months or years, first and last included, in ISO 8601.",
    "examples": ["1923-03/1941-11", "1931"],
}


def written_names(least: int) -> dict[str, Any]:
    """Describe one name, or a list of so many and more, as JSON Schema."""
    return {"anyOf": [_WRITTEN_NAME, {"type": "array", "items": _WRITTEN_NAME, "minItems": least}]}


_WRITTEN_SOURCES = {"description": "Sources, by their names in the maker file."}

type Name = Annotated[str, BeforeValidator(_name), WithJsonSchema(_WRITTEN_NAME)]
type Text = Annotated[
    str, BeforeValidator(_text), Field(max_length=2000), WithJsonSchema(_WRITTEN_TEXT)
]
type Title = Annotated[
    str,
    BeforeValidator(_title),
    Field(max_length=2000),
    WithJsonSchema(_WRITTEN_TEXT | {"minLength": 1}),
]
type Note = Annotated[
    Text, WithJsonSchema(_WRITTEN_TEXT | {"description": "Anything further, in words."})
]
type Assessor = Annotated[Text, WithJsonSchema(_WRITTEN_TEXT | {"description": "Who says so."})]
type SourceNames = Annotated[
    tuple[Name, ...],
    BeforeValidator(several),
    WithJsonSchema(written_names(0) | _WRITTEN_SOURCES),
]
type MonthStretch = Annotated[Period, BeforeValidator(_period), WithJsonSchema(_WRITTEN_MONTHS)]
type Point = Annotated[float, BeforeValidator(_point), WithJsonSchema(_WRITTEN_DATE)]
type Number = Annotated[float, Field(allow_inf_nan=False, ge=-1e9, le=1e9), BeforeValidator(number)]
type Fraction = Annotated[float, Field(ge=0, le=1), BeforeValidator(number)]
type WholeMonths = Annotated[int, Field(ge=0, le=1e6), BeforeValidator(number)]
type Pair = Annotated[tuple[Name, ...], Field(min_length=2, max_length=2)]
type Several = Annotated[tuple[Name, ...], Field(min_length=2, max_length=500)]
type Positive = Annotated[float, Field(gt=0, le=1e9), BeforeValidator(number)]


class Chance(Strict, title="A chance"):
    """A probability, with who says so; a plain number will do in a file."""

    value: Fraction = Field(description="The probability.")
    source: SourceNames = ()
    by: Assessor = ""

    @classmethod
    def __get_pydantic_json_schema__(
        cls, core: CoreSchema, handler: GetJsonSchemaHandler, /
    ) -> dict[str, Any]:
        """Let a plain number stand for it."""
        return {"anyOf": [{"type": "number", "minimum": 0, "maximum": 1}, handler(core)]}

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

    weight: Positive = Field(1.0, description="Weight of this assessor among several.")
    coverage: Annotated[float, Field(ge=0.01, lt=1), BeforeValidator(number)] = Field(
        0.9, description="Probability between the first and the last value."
    )
    by: Assessor = ""
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


class DateOpinion(Opinion, title="A date as one assessor judges it"):
    """Earliest, likely, latest: points in time."""

    keys: ClassVar[tuple[str, str, str]] = ("earliest", "likely", "latest")
    kind: ClassVar[Literal["point", "span"]] = "point"

    earliest: Point = Field(description="A month or day that it is hardly before.")
    likely: Point = Field(description="A month or day that it is as likely before as after.")
    latest: Point = Field(description="A month or day that it is hardly after.")

    @model_validator(mode="after")
    def _within_reason(self) -> Self:
        if self.latest - self.earliest > FURTHEST_APART:
            raise refuse("earliest and latest lie more than 200 years apart")
        return self


class SpanOpinion(Opinion, title="A length of time as one assessor judges it"):
    """Shortest, likely, longest: lengths of time in months, not negative."""

    keys: ClassVar[tuple[str, str, str]] = ("shortest", "likely", "longest")

    shortest: Number = Field(description="Months that it is hardly shorter than.")
    likely: Number = Field(description="Months that it is as likely shorter as longer than.")
    longest: Number = Field(description="Months that it is hardly longer than.")


class DelayOpinion(SpanOpinion, title="A lag as one assessor judges it"):
    """Shortest, likely, longest: months after an event, negative where it comes before."""

    kind: ClassVar[Literal["point", "span"]] = "point"


class CountOpinion(Opinion, title="A number of instruments as one assessor judges it"):
    """Fewest, likely, most: numbers of instruments."""

    keys: ClassVar[tuple[str, str, str]] = ("fewest", "likely", "most")

    fewest: Number = Field(description="A number that it is hardly below.")
    likely: Number = Field(description="A number that it is as likely below as above.")
    most: Number = Field(description="A number that it is hardly above.")


class Judged[O: Opinion](Strict):
    """One number as one or more assessors judge it."""

    opinions: tuple[O, ...]

    @classmethod
    def __get_pydantic_json_schema__(
        cls, core: CoreSchema, handler: GetJsonSchemaHandler, /
    ) -> dict[str, Any]:
        """Let a plain value, three values, or one opinion stand for it, as well as a list."""
        own = handler.resolve_ref_schema(handler(core))
        opinion = own["properties"]["opinions"]["items"]
        keys = get_args(cls.model_fields["opinions"].annotation)[0].keys
        plain = handler.resolve_ref_schema(opinion)["properties"][keys[1]]
        three = {"type": "array", "items": plain, "minItems": 3, "maxItems": 3}
        several = {"type": "array", "items": opinion, "minItems": 1}
        return {"anyOf": [plain, three, opinion, several]}

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
