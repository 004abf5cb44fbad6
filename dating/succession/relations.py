"""What is known between instruments: one small model for each kind, and what it says in words."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar

from pydantic import BeforeValidator, Field, WithJsonSchema, model_validator

from dating.edtf import EdtfError, UncertainDate, parse_edtf
from dating.edtf_slips import vague
from dating.examination import ASSUMED_TRUST, one_of_dates
from dating.months import month_number, month_words
from dating.plausibility.warning import series
from dating.statements import Name, Note, Pair, Several, Text, Title, WholeMonths
from dating.validation import FromFile, Strict, number, refuse

_DATES = "a day, month or year, or one of several: 1934-05, [1934-05,1935-05], [..1934]"


def _photograph(value: Any) -> Any:
    """Read the date of a photograph, of which the last day counts."""
    if isinstance(value, UncertainDate):
        date = value
    else:
        text = str(value) if isinstance(value, int) else one_of_dates(value)
        if not isinstance(text, str):
            raise refuse("a date is expected here", allowed=_DATES)
        try:
            date = parse_edtf(text)
        except EdtfError as error:
            raise refuse(str(error), allowed=_DATES) from None
    if date.qualifier:
        raise refuse(f"{vague(date.qualifier)}; write the dates that it may be", allowed=_DATES)
    if date.kind == "all of":
        raise refuse("a photograph is of one date; brackets are for one of several", allowed=_DATES)
    if date.upper is None:
        raise refuse("no last day is known of this date, so it bounds nothing", allowed=_DATES)
    return date


_WRITTEN_DATE = {
    "anyOf": [
        {"type": ["string", "integer"]},
        {"type": "array", "items": {"type": ["string", "integer"]}, "minItems": 1},
    ],
    "description": "A day, month or year, an interval, or one of several, in EDTF.",
    "examples": ["1934-05", "1934", "[1934-05,1935-05]", "[..1934]"],
}

type PhotographDate = Annotated[
    UncertainDate, BeforeValidator(_photograph), WithJsonSchema(_WRITTEN_DATE)
]


class OlderBy(Strict, title="One older than another"):
    """The first of two instruments was completed before the second."""

    instruments: Pair = Field(description="Two examined instruments, the older first.")
    at_least: WholeMonths = Field(0, description="Months between them at least.")
    at_most: WholeMonths | None = Field(None, description="Months between them at most.")

    @model_validator(mode="after")
    def _ascending(self) -> OlderBy:
        if self.at_most is not None and self.at_least > self.at_most:
            raise refuse(f"at_least ({self.at_least}) is more than at_most ({self.at_most})")
        return self


class ApartAtMost(Strict, title="Two not far apart"):
    """Two instruments were completed at most so many months apart, whichever is older."""

    instruments: Pair = Field(description="Two examined instruments.")
    at_most: WholeMonths = Field(description="Months between them at most.")


class SameBatch(Strict, title="A batch"):
    """Instruments belong to one batch, which was completed within so many months."""

    instruments: Several = Field(description="Examined instruments, two or more.")
    within: WholeMonths = Field(description="Months from the first of the batch to the last.")


class Photographed(Strict, title="A photograph of several"):
    """Instruments are seen together in a photograph, and none was built after it."""

    instruments: Several = Field(description="Examined instruments, two or more.")
    date: PhotographDate = Field(
        description="When it was taken; of several possible dates the last one counts."
    )

    @property
    def last(self) -> int:
        """The last month in which they can have been built, as a month number."""
        day = self.date.upper
        assert day is not None  # noqa: S101 (refused when it was read)
        return month_number(day.year, day.month)


class Consecutive(Strict, title="Consecutive work numbers"):
    """Each instrument was completed after the one before it, by at most so many months."""

    instruments: Several = Field(description="Examined instruments, the oldest first.")
    within: WholeMonths = Field(description="Months from each to the next at most.")


type Content = OlderBy | ApartAtMost | SameBatch | Photographed | Consecutive


class Relation(Strict, title="What is known between instruments"):
    """One thing that is known between instruments, exactly one of its kinds, and from where."""

    kinds: ClassVar[tuple[str, ...]] = (
        "older",
        "apart",
        "same_batch",
        "photographed",
        "consecutive",
    )

    older: OlderBy | None = Field(None, description="One is older than another.")
    apart: ApartAtMost | None = Field(None, description="Two were completed not far apart.")
    same_batch: SameBatch | None = Field(None, description="They belong to one batch.")
    photographed: Photographed | None = Field(
        None, description="They are seen together in a photograph of known date."
    )
    consecutive: Consecutive | None = Field(
        None, description="Their work numbers follow one another."
    )
    source: Title = Field(description="Where this is from.")
    trust: Annotated[float, Field(gt=0, le=1), BeforeValidator(number)] = Field(
        ASSUMED_TRUST,
        description="Probability that the source is right; 0.98 unless stated.",
    )
    note: Note = ""

    @model_validator(mode="after")
    def _one_kind(self) -> Relation:
        if len(self._contents()) != 1:
            allowed = f"one of {', '.join(self.kinds)}"
            raise refuse("exactly one thing is said at a time", allowed=allowed)
        return self

    def _contents(self) -> dict[str, Content]:
        each = {kind: getattr(self, kind) for kind in self.kinds}
        return {kind: content for kind, content in each.items() if content is not None}

    @property
    def kind(self) -> str:
        """The name of its kind."""
        return next(iter(self._contents()))

    @property
    def content(self) -> Content:
        """What is known."""
        return next(iter(self._contents().values()))


class Group(FromFile, title="A group file"):
    """What is known between instruments of a maker."""

    maker: Name = Field(description="Name of the maker file.")
    group: Text = Field("", description="What the group is called.")
    invented: bool = Field(False, description="Whether it is invented, as in a demo.")
    note: Note = ""
    examinations: tuple[Text, ...] = Field((), description="Files of the instruments.")
    known: Annotated[tuple[Relation, ...], Field(min_length=1, max_length=1000)] = Field(
        description="What is known between them."
    )


def relation_words(relation: Relation) -> str:
    """Say what is known, as a clause.

    Examples
    --------
    >>> older = {"instruments": ["M-1", "M-3"], "at_least": 2, "at_most": 40}
    >>> relation_words(Relation.model_validate({"older": older, "source": "a letter"}))
    'M-1 is at least 2 and at most 40 months older than M-3'
    """
    content = relation.content
    if isinstance(content, OlderBy):
        return _older_words(content)
    return f"{series(content.instruments)} {_predicate(content)}"


def _predicate(content: ApartAtMost | SameBatch | Photographed | Consecutive) -> str:
    match content:
        case ApartAtMost(at_most=most):
            how = f"at most {_months(most)} apart" if most else "in the same month"
            return f"were completed {how}"
        case SameBatch(within=within):
            how = f"within {_months(within)}" if within else "in one month"
            return f"belong to one batch, completed {how}"
        case Photographed(last=last):
            return f"were photographed together, not after {month_words(last)}"
        case Consecutive(within=within):
            how = f"at most {_months(within)} after" if within else "in the same month as"
            return f"have consecutive work numbers, each completed {how} the one before"


def _older_words(older: OlderBy) -> str:
    (first, second), least, most = older.instruments, older.at_least, older.at_most
    if not least:
        bound = "" if most is None else f", by at most {_months(most)}"
        bound = ", and of the same month" if most == 0 else bound
        return f"{first} is older than {second}{bound}"
    if most is None:
        lead = f"at least {_months(least)}"
    else:
        lead = _months(least) if least == most else f"at least {least} and at most {_months(most)}"
    return f"{first} is {lead} older than {second}"


def _months(count: int) -> str:
    return "1 month" if count == 1 else f"{count} months"
