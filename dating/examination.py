"""The examination: what was seen on one instrument, and how sure the examiner is.

A thing that is absent, blank or says ``not examined`` was not examined.
"""

from __future__ import annotations

import datetime
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, GetJsonSchemaHandler, WithJsonSchema, model_validator
from pydantic_core import CoreSchema

from dating.edtf import EdtfError, UncertainDate, parse_edtf
from dating.edtf_slips import vague
from dating.escapes import escaped
from dating.statements import Fraction, Name, Note, Number, Text, Title, several
from dating.validation import FromFile, Strict, number, refuse

NOT_EXAMINED = "not examined"
ASSUMED_TRUST = 0.98
"""Trust in a document where nobody states one. It is this project's own."""
ABSENT = "absent"
"""What is recorded of a mark where its place was seen and bears none."""


def _blank(value: Any) -> Any:
    return None if value == NOT_EXAMINED else value


def one_of_dates(value: Any) -> Any:
    """Take a list of dates as the EDTF set that it looks like."""
    if isinstance(value, list) and all(isinstance(item, str | int) for item in value):
        return "[" + ",".join(str(item) for item in value) + "]"
    return value


def _mark(value: Any) -> Any:
    return _blank(one_of_dates(value))


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
    excluded: Annotated[tuple[Name, ...], Field(min_length=1), BeforeValidator(several)] | None = (
        Field(None, alias="not", description="States that it is certainly not.")
    )
    known: Literal["replaced", "missing", "refinished", "altered"] | None = Field(
        None, description="What is known of the part; it then says nothing about the date."
    )
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
        forms = [self.state, self.one_of, self.other, self.excluded]
        given = sum(form is not None for form in forms)
        if given > 1 or (given == 0 and self.known is None):
            raise refuse(
                "say one of: a state; one_of: [states]; not: [states]; other: what it is instead"
            )
        if self.sure is not None and self.state is None:
            raise refuse("sure goes with a state")
        return self

    def named(self) -> tuple[str, ...]:
        """Return the states that are named."""
        return (self.state,) if self.state is not None else (self.one_of or ())

    @property
    def is_neutral(self) -> bool:
        """Whether it says nothing about the date: an unlisted state, or no part of the build."""
        return self.other is not None or self.known is not None

    def words(self) -> str:
        """Say in a few words what was seen."""
        known = "" if self.known is None else _KNOWN[self.known]
        return ", ".join(part for part in (self._seen_words(), known) if part)

    def _seen_words(self) -> str:
        if self.other is not None:
            return f"other: {self.other}"
        if self.excluded is not None:
            return f"not {' or '.join(self.excluded)}"
        if self.state is not None:
            return self.state if self.sure is None else f"{self.state} (sure {self.sure:g})"
        return " or ".join(self.one_of or ())


class Reading(Strict, title="Something measured"):
    """A measured value; ``within`` is the standard deviation of measuring."""

    value: Number = Field(description="The measured value, in the unit of the maker file.")
    within: Annotated[float, Field(ge=0, le=1e9), BeforeValidator(number)] = Field(
        0.0, description="Standard deviation of measuring, in the same unit."
    )
    confirmed: bool = Field(
        False, description="Whether a value that looks like a slip of the pen was read again."
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
    trust: Fraction = Field(
        ASSUMED_TRUST,
        description="Probability that what the document says is right; 0.98 unless stated.",
    )
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
        return f"{text} (trust {self.trust:g})" if self.is_doubted else text

    @property
    def is_doubted(self) -> bool:
        """Whether somebody states a trust of less than one."""
        return self.trust < 1 and "trust" in self.model_fields_set


class Belonging(Strict, title="What is known of a component"):
    """Whether a component is the one that the instrument was built with."""

    original: bool = Field(description="Whether it is.")
    sure: Fraction = Field(1.0, description="Probability that this is right.")
    note: Note = ""

    def swapped(self, before: float) -> float:
        """Give the chance of a swap, from that before anything was known.

        Examples
        --------
        >>> round(Belonging(original=False, sure=0.9).swapped(0.1), 3)
        0.5
        """
        against = (1 - self.sure) if self.original else self.sure
        swapped, original = before * against, (1 - before) * (1 - against)
        return against if swapped + original == 0 else swapped / (swapped + original)


_KNOWN = {
    "replaced": "known to be replaced",
    "missing": "missing",
    "refinished": "known to be refinished",
    "altered": "known to be altered",
}
_WRITTEN_MARK = {
    "anyOf": [
        {"type": ["string", "integer", "null"]},
        {"type": "array", "items": {"type": ["string", "integer"]}, "minItems": 1},
    ],
    "description": "A date in EDTF or a source-date code, or dates of which it is one; a ? stands "
    "for a digit of a code that cannot be read, and absent for a place without a mark.",
    "examples": ["1931-02", "[1931-02,1931-03]", "99-7114", "99-7?14", "absent"],
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
    owner: Text = Field(
        "", description="In whose hands it is, to arrange instruments by; no document prints it."
    )
    note: Note = ""
    variant: Seen = Field(None, description="Which variant it is.")
    seen: dict[Name, Seen] = Field(default_factory=dict, description="What was seen, by feature.")
    marks: dict[Name, Marked] = Field(
        default_factory=dict, description="Dates read from marks, by mark."
    )
    measured: dict[Name, Measured] = Field(
        default_factory=dict, description="What was measured, by measurement."
    )
    parts: dict[Name, Belonging] = Field(
        default_factory=dict,
        description="What is known of components, by component. In a sheet the column of a "
        "component has original, not original, or either with how sure it is: original (0.9).",
    )
    documents: tuple[Paper, ...] = Field((), description="Documents that bound the date.")

    def paper(self, name: str) -> Paper:
        """Find a document by its name as evidence.

        Parameters
        ----------
        name : str
            Such as ``document 2``.

        Returns
        -------
        Paper
            The document.
        """
        return self.documents[int(name.rsplit(maxsplit=1)[-1]) - 1]

    def alone(self, **records: Any) -> Examination:
        """Keep some records of the examination, and its day where a mark is among them.

        Parameters
        ----------
        **records : Any
            What is kept, by group: ``seen``, ``marks``, ``measured``, ``variant``, ``documents``.

        Returns
        -------
        Examination
            Without a name, so that what says the same is equal.
        """
        empty: dict[str, Any] = {
            "instrument": "-",
            "examined": self.examined if records.get("marks") else None,
            "by": "",
            "owner": "",
            "note": "",
            "variant": None,
            "seen": {},
            "marks": {},
            "measured": {},
            "parts": {},
            "documents": (),
        }
        return self.model_copy(update=empty | records)

    @property
    def day(self) -> datetime.date:
        """The day of the examination; today where none is given."""
        return self.examined or datetime.date.today()

    def __repr__(self) -> str:
        """Name the instrument, its maker, and how much was recorded."""
        recorded = (*self.seen.values(), *self.marks.values(), *self.measured.values())
        count = sum(item is not None for item in recorded)
        documents = f", {len(self.documents)} documents" if self.documents else ""
        return escaped(f"Examination({self.instrument}, {self.maker}, {count} recorded{documents})")
