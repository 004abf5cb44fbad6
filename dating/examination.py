"""The examination: what was seen on one instrument, and how sure the examiner is.

A thing that is absent, blank or says ``not examined`` was not examined.
"""

from __future__ import annotations

import datetime
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, GetJsonSchemaHandler, WithJsonSchema, model_validator
from pydantic_core import CoreSchema

from dating.edtf import EdtfError, UncertainDate, parse_edtf
from dating.edtf_slips import vague
from dating.escapes import escaped
from dating.statements import Fraction, Name, Note, Number, Text, Title
from dating.validation import FromFile, Strict, number, refuse

NOT_EXAMINED = "not examined"


def _blank(value: Any) -> Any:
    return None if value == NOT_EXAMINED else value


def _mark(value: Any) -> Any:
    """Take a list of dates as the EDTF set that it looks like."""
    if isinstance(value, list) and all(isinstance(item, str | int) for item in value):
        return "[" + ",".join(str(item) for item in value) + "]"
    return _blank(value)


def _month(value: Any, instead: str = "write the bound that is certain, or a trust") -> Any:
    """Read a month, year or day as the bound of a document."""
    allowed = "a year, month or day, such as 1934, 1934-06 or 1934-06-12"
    try:
        text = str(value) if isinstance(value, int) else value
        date = value if isinstance(value, UncertainDate) else parse_edtf(text)
    except (EdtfError, TypeError) as error:
        raise refuse(str(error), allowed=allowed) from None
    if date.qualifier:
        raise refuse(f"{vague(date.qualifier)}; {instead}", allowed=allowed)
    if date.kind != "date" or date.lower is None or date.upper is None:
        raise refuse("one date is expected here", allowed=allowed)
    return date


def _day(value: Any) -> Any:
    if isinstance(value, datetime.date):
        return value
    date = _month(value, "write the day, or leave it out and say so in the note")
    return date.lower


_WRITTEN_BOUND = {
    "type": ["string", "integer"],
    "description": "A year, month or day, in ISO 8601.",
    "examples": ["1934", "1934-06", "1934-06-12"],
}
_WRITTEN_DAY = {"type": "string", "format": "date"}

type Bound = Annotated[UncertainDate, BeforeValidator(_month), WithJsonSchema(_WRITTEN_BOUND)]
type Day = Annotated[datetime.date, BeforeValidator(_day), WithJsonSchema(_WRITTEN_DAY)]


class Sight(Strict, title="Something seen"):
    """What was seen of one feature, with the examiner's doubt."""

    state: Name | None = Field(None, description="The state that was seen.")
    sure: Fraction | None = Field(None, description="Probability that it is this state.")
    one_of: Annotated[tuple[Name, ...], Field(min_length=1)] | None = Field(
        None, description="States of which it is one."
    )
    other: Title | None = Field(None, description="What it is instead of a listed state, in words.")
    note: Note = ""

    @classmethod
    def __get_pydantic_json_schema__(
        cls, core: CoreSchema, handler: GetJsonSchemaHandler, /
    ) -> dict[str, Any]:
        """Let the name of a state stand for it."""
        return {"anyOf": [{"type": ["string", "number"]}, handler(core)]}

    @model_validator(mode="before")
    @classmethod
    def _plain(cls, data: Any) -> Any:
        if isinstance(data, dict | Sight):
            return data
        if isinstance(data, list):
            raise refuse("several possible states are written one_of: [...]")
        return {"state": data}

    @model_validator(mode="after")
    def _one_form(self) -> Sight:
        forms = [self.state is not None, self.one_of is not None, self.other is not None]
        if sum(forms) != 1:
            raise refuse("say one of: a state; one_of: [states]; other: what it is instead")
        if self.sure is not None and self.state is None:
            raise refuse("sure goes with a state")
        return self

    def named(self) -> tuple[str, ...]:
        """Return the states that are named."""
        return (self.state,) if self.state is not None else (self.one_of or ())

    def words(self) -> str:
        """Say in a few words what was seen."""
        if self.other is not None:
            return f"other: {self.other}"
        if self.state is not None:
            return self.state if self.sure is None else f"{self.state} (sure {self.sure:g})"
        return " or ".join(self.one_of or ())


class Reading(Strict, title="Something measured"):
    """A measured value; ``within`` is the standard deviation of measuring."""

    value: Number = Field(description="The measured value, in the unit of the maker file.")
    within: Annotated[float, Field(ge=0, le=1e9), BeforeValidator(number)] = Field(
        0.0, description="Standard deviation of measuring, in the same unit."
    )
    note: Note = ""

    @classmethod
    def __get_pydantic_json_schema__(
        cls, core: CoreSchema, handler: GetJsonSchemaHandler, /
    ) -> dict[str, Any]:
        """Let a plain number, or the words for not examined stand for it."""
        return {"anyOf": [{"type": "number"}, {"const": NOT_EXAMINED}, handler(core)]}

    @model_validator(mode="before")
    @classmethod
    def _plain(cls, data: Any) -> Any:
        return {"value": data} if isinstance(data, int | float) else data


class Paper(Strict, title="A document"):
    """A document: the build is not before, or not after, a date, with a trust."""

    what: Title = Field(description="What the document is.")
    not_after: Bound | None = Field(
        None, description="The build is not after this year, month or day."
    )
    not_before: Bound | None = Field(
        None, description="The build is not before this year, month or day."
    )
    trust: Fraction = Field(1.0, description="Probability that what the document says is right.")
    source: Text = Field("", description="Where the document is.")
    note: Note = ""

    @model_validator(mode="after")
    def _some_bound(self) -> Paper:
        if self.not_after is None and self.not_before is None:
            raise refuse("a document says not_before, not_after or both")
        return self

    def words(self) -> str:
        """Say in a few words what the document bounds."""
        ends = [("not before", self.not_before), ("not after", self.not_after)]
        text = ", ".join(f"{word} {end.text}" for word, end in ends if end is not None)
        return text if self.trust == 1 else f"{text} (trust {self.trust:g})"


_WRITTEN_MARK = {
    "anyOf": [
        {"type": ["string", "integer", "null"]},
        {"type": "array", "items": {"type": ["string", "integer"]}, "minItems": 1},
    ],
    "description": "A date in EDTF or a source-date code, or dates of which it is one.",
    "examples": ["1931-02", "[1931-02,1931-03]", "99-7114"],
}

type Seen = Annotated[Sight | None, BeforeValidator(_blank)]
type Marked = Annotated[Text | None, BeforeValidator(_mark), WithJsonSchema(_WRITTEN_MARK)]
type Measured = Annotated[Reading | None, BeforeValidator(_blank)]


class Examination(FromFile, title="An examination"):
    """What was seen on one instrument."""

    instrument: Text = Field(description="Name or number of the instrument.")
    maker: Name = Field(description="Name of the maker file.")
    invented: bool = Field(False, description="Whether the instrument is invented, as in a demo.")
    examined: Day | None = Field(None, description="Day of the examination.")
    by: Text = Field("", description="Who examined it.")
    note: Note = ""
    variant: Seen = Field(None, description="Which variant it is.")
    seen: dict[Name, Seen] = Field(default_factory=dict, description="What was seen, by feature.")
    marks: dict[Name, Marked] = Field(
        default_factory=dict, description="Dates read from marks, by mark."
    )
    measured: dict[Name, Measured] = Field(
        default_factory=dict, description="What was measured, by measurement."
    )
    documents: tuple[Paper, ...] = Field((), description="Documents that bound the date.")

    def __repr__(self) -> str:
        """Name the instrument, its maker, and how much was recorded."""
        recorded = (*self.seen.values(), *self.marks.values(), *self.measured.values())
        count = sum(item is not None for item in recorded)
        documents = f", {len(self.documents)} documents" if self.documents else ""
        return escaped(f"Examination({self.instrument}, {self.maker}, {count} recorded{documents})")
