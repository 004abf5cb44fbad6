"""What a claim can say: one small model for each kind, and the sentence it comes from."""

from __future__ import annotations

from collections.abc import Sequence
from math import log
from typing import Annotated, ClassVar, Literal

from pydantic import BeforeValidator, Field, WithJsonSchema, model_validator

from dating.distributions import Certain, JudgementError, Metalog
from dating.judgement import metalog_through
from dating.statements import (
    Assessor,
    Fraction,
    MonthStretch,
    Name,
    Note,
    Number,
    Pair,
    Positive,
    Several,
    Text,
    WholeMonths,
    several,
    written_names,
)
from dating.validation import FromFile, Strict, number, refuse

type Names = Annotated[
    tuple[Name, ...],
    BeforeValidator(several),
    Field(min_length=1),
    WithJsonSchema(written_names(1)),
]
type States = Annotated[dict[Name, Names], Field(min_length=1)]


class Built(Strict, title="When an instrument was built"):
    """An instrument was built within a stretch of months."""

    instrument: Name = Field(description="Name of an examined instrument.")
    within: MonthStretch = Field(description="The months within which it was built.")


class Original(Strict, title="Whether components are original"):
    """Components of an instrument are those it was built with."""

    instrument: Name = Field(description="Name of an examined instrument.")
    components: Literal["all"] | Names = Field(
        "all", description="Components that are those it was built with, or all."
    )


class Apart(Strict, title="How far apart two were built"):
    """Two instruments were built at most so many months apart."""

    instruments: Pair = Field(description="Two examined instruments.")
    at_most: WholeMonths = Field(description="Months between their dates at most.")


class Older(Strict, title="Which of several is older"):
    """Each of two or more instruments was built in an earlier month than the next."""

    instruments: Several = Field(description="Examined instruments, the oldest first.")


class EarliestWith(Strict, title="The earliest known with a state"):
    """Of the instruments that show a state, none was built in an earlier month than this one."""

    instrument: Name = Field(description="The examined instrument that is the earliest.")
    feature: Name = Field(description="The feature.")
    state: Name = Field(description="The state that all of them show.")
    among: Names = Field(description="The other examined instruments that show it.")


class ClaimedChangeover(Strict, title="A changeover"):
    """The changeover with which a state of a feature, or of the variants, came in."""

    feature: Name = Field(description="The feature, or variants.")
    to: Name = Field(description="The state that came in.")
    variant: Name | None = Field(
        None, description="The variant in which it came in, where that differs."
    )


class Use(Strict, title="First or last use of a state"):
    """When a state was first, or last, used: within a stretch, not before it, not after it."""

    feature: Name = Field(description="The feature, or variants.")
    state: Name = Field(description="The state that was used.")
    variant: Name | None = Field(None, description="The variant, where that matters.")
    within: MonthStretch | None = Field(None, description="The months within which it lies.")
    not_before: MonthStretch | None = Field(
        None, description="The month or year before which it does not lie."
    )
    not_after: MonthStretch | None = Field(
        None, description="The month or year after which it does not lie."
    )

    @model_validator(mode="after")
    def _bounded(self) -> Use:
        bounds = [self.within, self.not_before, self.not_after]
        if sum(bound is not None for bound in bounds) != 1:
            raise refuse("give one of within, not_before and not_after")
        return self


class ChangedFirst(Strict, title="Which changeover came first"):
    """One changeover came before another, by at least so many months."""

    earlier: ClaimedChangeover = Field(description="The changeover that came first.")
    later: ClaimedChangeover = Field(description="The changeover that came after it.")
    by: Annotated[float, Field(ge=0, le=1e4), BeforeValidator(number)] = Field(
        0.0, description="Months between them at least."
    )


class Overlap(Strict, title="How long a changeover took"):
    """The overlap of a changeover was shorter than so many months."""

    changeover: ClaimedChangeover = Field(description="The changeover.")
    shorter_than: Positive = Field(description="Months that the overlap was shorter than.")


class Share(Strict, title="How much of production had some states"):
    """How much of the production of a stretch had a combination of states.

    ``at_least`` is a share; ``was`` takes the strict cases *all* and *none*, of which a tolerated
    share of production is excepted. With no tolerance not one instrument is excepted.
    """

    states: States = Field(description="States that an instrument has together, by feature.")
    during: MonthStretch = Field(description="The months of production.")
    variant: Name | None = Field(None, description="The variant, where only one is meant.")
    at_least: Fraction | None = Field(
        None, description="Share of production that has these states, at least."
    )
    was: Literal["all", "none"] | None = Field(
        None, description="That all, or none, of the production has these states."
    )
    tolerance: Annotated[float, Field(ge=0, lt=1), BeforeValidator(number)] = Field(
        0.0, description="Share of production that may be excepted from all or none."
    )

    @model_validator(mode="after")
    def _one_measure(self) -> Share:
        if (self.at_least is None) == (self.was is None):
            raise refuse("give either at_least (a share) or was: all or none")
        if self.at_least is not None and self.tolerance:
            raise refuse("a tolerance belongs to was: all or none")
        return self


class Survival(Strict, title="How many survive"):
    """A judgement of the share that survives: 5 %, 50 % and 95 % points."""

    lowest: Annotated[float, Field(gt=0, lt=1), BeforeValidator(number)] = Field(
        description="A share that hardly fewer survive than."
    )
    likely: Annotated[float, Field(gt=0, lt=1), BeforeValidator(number)] = Field(
        description="A share that is as likely too high as too low."
    )
    highest: Annotated[float, Field(gt=0, lt=1), BeforeValidator(number)] = Field(
        description="A share that hardly more survive than."
    )
    source: Text = Field("", description="Where the numbers are from.")
    by: Assessor = ""

    @model_validator(mode="after")
    def _ascending(self) -> Survival:
        try:
            self.log_odds()
        except JudgementError as error:
            raise refuse(f"as log-odds: {error}") from None
        return self

    def log_odds(self) -> Certain | Metalog:
        """Return the judgement as a distribution of the log-odds of surviving."""
        triple = (self.lowest, self.likely, self.highest)
        low, likely, high = (log(p / (1 - p)) for p in triple)
        return metalog_through((low, likely, high))


class NumberMade(Strict, title="How many were made"):
    """The number made with a combination of states; with a survival, the number that survives.

    ``about`` means within ``give_or_take``, a share of the number, to either side.
    """

    states: States = Field(description="States that an instrument has together, by feature.")
    during: MonthStretch | None = Field(
        None, description="The months of production; the whole period unless given."
    )
    variant: Name | None = Field(None, description="The variant, where only one is meant.")
    between: Annotated[tuple[Number, ...], Field(min_length=2, max_length=2)] | None = Field(
        None, description="The least and the greatest number."
    )
    about: Positive | None = Field(None, description="The number.")
    give_or_take: Annotated[float, Field(gt=0, lt=1), BeforeValidator(number)] | None = Field(
        None, description="How far from the number, as a share of it."
    )
    survival: Survival | None = Field(None, description="How many of those made survive.")

    @model_validator(mode="after")
    def _one_measure(self) -> NumberMade:
        if (self.between is None) == (self.about is None):
            raise refuse("give either between (two numbers) or about (one)")
        if (self.about is None) != (self.give_or_take is None):
            raise refuse("about and give_or_take (a share of the number) go together")
        if self.between is not None and not 0 <= self.between[0] <= self.between[1]:
            raise refuse("the two numbers must ascend from zero or more")
        return self

    def ends(self) -> tuple[float, float]:
        """Give the least and the greatest number that make the claim true."""
        if self.between is not None:
            return self.between[0], self.between[1]
        about, part = self.about or 0.0, self.give_or_take or 0.0
        return about * (1 - part), about * (1 + part)


class Assertion(Strict, title="What is claimed"):
    """One thing that is claimed: exactly one of its kinds."""

    renamed: ClassVar[dict[str, str]] = {"order": "changed_first", "before": "older"}

    built: Built | None = Field(None, description="When an instrument was built.")
    original: Original | None = Field(None, description="That components are original.")
    apart: Apart | None = Field(None, description="How far apart two instruments were built.")
    older: Older | None = Field(None, description="Which of several instruments is older.")
    earliest_with: EarliestWith | None = Field(
        None, description="Which instrument is the earliest known with a state."
    )
    first_use: Use | None = Field(None, description="When a state was first used.")
    last_use: Use | None = Field(None, description="When a state was last used.")
    changed_first: ChangedFirst | None = Field(
        None, description="Which of two changeovers came first."
    )
    overlap: Overlap | None = Field(None, description="How long a changeover took.")
    share: Share | None = Field(None, description="How much of production had some states.")
    made: NumberMade | None = Field(
        None, description="How many instruments with some states were made."
    )

    @model_validator(mode="after")
    def _one_kind(self) -> Assertion:
        if len(self.contents()) != 1:
            kinds = ", ".join(type(self).model_fields)
            raise refuse("a claim says exactly one thing", allowed=f"one of {kinds}")
        return self

    def contents(self) -> dict[str, Strict]:
        """Return what is claimed, by the name of its kind."""
        each = {name: getattr(self, name) for name in type(self).model_fields}
        return {name: content for name, content in each.items() if content is not None}

    @property
    def kind(self) -> str:
        """The name of its kind."""
        return next(iter(self.contents()))

    @property
    def content(self) -> Strict:
        """What is claimed."""
        return next(iter(self.contents().values()))

    def instruments(self) -> tuple[str, ...]:
        """Name the instruments it is about."""
        match self.content:
            case Built(instrument=name) | Original(instrument=name):
                return (name,)
            case Apart(instruments=names) | Older(instruments=names):
                return names
            case EarliestWith(instrument=name, among=others):
                return (name, *others)
            case _:
                return ()


class Claim(Strict, title="A claim"):
    """One claim of a manuscript: its sentence, where it stands, and what it says.

    What is said in ``all_of`` is claimed together.
    """

    claim: Name = Field(description="Name or number of the claim.")
    sentence: Text = Field("", description="The sentence as the manuscript has it.")
    place: Text = Field("", description="Where it stands in the manuscript.")
    source: Text = Field("", description="Where the claim is from.")
    says: Assertion | None = Field(None, description="What is claimed.")
    all_of: Annotated[tuple[Assertion, ...], Field(min_length=2, max_length=8)] | None = Field(
        None, description="Several things that are claimed together."
    )

    @model_validator(mode="after")
    def _one_or_several(self) -> Claim:
        if (self.says is None) == (self.all_of is None):
            raise refuse("give either says (one thing) or all_of (several, claimed together)")
        return self

    def sayings(self) -> tuple[Assertion, ...]:
        """Return everything that is claimed together."""
        return (self.says,) if self.says is not None else (self.all_of or ())

    def instruments(self) -> tuple[str, ...]:
        """Name the instruments it is about, each once."""
        return instruments_of(self.sayings())


def instruments_of(sayings: Sequence[Assertion]) -> tuple[str, ...]:
    """Name the instruments that are claimed of, each once."""
    return tuple(dict.fromkeys(name for saying in sayings for name in saying.instruments()))


class Claims(FromFile, title="A claims file"):
    """A claims file."""

    maker: Name = Field(description="Name of the maker file.")
    manuscript: Text = Field("", description="Title of the manuscript.")
    invented: bool = Field(False, description="Whether the claims are invented, as in a demo.")
    note: Note = ""
    examinations: tuple[Text, ...] = Field(
        (), description="Files of the instruments that claims are about."
    )
    claims: Annotated[tuple[Claim, ...], Field(min_length=1, max_length=1000)] = Field(
        description="The claims, in order."
    )
