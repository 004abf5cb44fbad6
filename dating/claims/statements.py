"""What a claim can say: one small model for each kind, and the sentence it comes from."""

from __future__ import annotations

from collections.abc import Sequence
from math import log
from typing import Annotated, Any, ClassVar, Literal

from pydantic import BeforeValidator, Field, model_validator

from dating.distributions import Certain, JudgementError, Metalog
from dating.judgement import metalog_through
from dating.statements import Fraction, MonthStretch, Name, Number, Positive, Text
from dating.validation import FromFile, Strict, number, refuse


def _several(value: Any) -> Any:
    """Take one name for a list of one."""
    return value if isinstance(value, list | tuple) else [value]


type Names = Annotated[tuple[Name, ...], BeforeValidator(_several), Field(min_length=1)]
type States = Annotated[dict[Name, Names], Field(min_length=1)]
type Pair = Annotated[tuple[Name, ...], Field(min_length=2, max_length=2)]


class Built(Strict):
    """An instrument was built within a stretch of months."""

    instrument: Name
    within: MonthStretch


class Original(Strict):
    """Components of an instrument are those it was built with."""

    instrument: Name
    components: Literal["all"] | Names = "all"


class Apart(Strict):
    """Two instruments were built at most so many months apart."""

    instruments: Pair
    at_most: Annotated[int, Field(ge=0, le=1e6)]


class Older(Strict):
    """The first of two instruments was built in an earlier month than the second."""

    instruments: Pair


class ClaimedChangeover(Strict):
    """The changeover with which a state of a feature, or of the variants, came in."""

    feature: Name
    to: Name
    variant: Name | None = None


class Use(Strict):
    """When a state was first, or last, used: within a stretch, not before it, not after it."""

    feature: Name
    state: Name
    variant: Name | None = None
    within: MonthStretch | None = None
    not_before: MonthStretch | None = None
    not_after: MonthStretch | None = None

    @model_validator(mode="after")
    def _bounded(self) -> Use:
        bounds = [self.within, self.not_before, self.not_after]
        if sum(bound is not None for bound in bounds) != 1:
            raise refuse("give one of within, not_before and not_after")
        return self


class ChangedFirst(Strict):
    """One changeover came before another, by at least so many months."""

    earlier: ClaimedChangeover
    later: ClaimedChangeover
    by: Annotated[float, Field(ge=0, le=1e4), BeforeValidator(number)] = 0.0


class Overlap(Strict):
    """The overlap of a changeover was shorter than so many months."""

    changeover: ClaimedChangeover
    shorter_than: Positive


class Share(Strict):
    """How much of the production of a stretch had a combination of states.

    ``at_least`` is a share; ``was`` takes the strict cases *all* and *none*, of which a tolerated
    share of production is excepted. With no tolerance not one instrument is excepted.
    """

    states: States
    during: MonthStretch
    variant: Name | None = None
    at_least: Fraction | None = None
    was: Literal["all", "none"] | None = None
    tolerance: Annotated[float, Field(ge=0, lt=1), BeforeValidator(number)] = 0.0

    @model_validator(mode="after")
    def _one_measure(self) -> Share:
        if (self.at_least is None) == (self.was is None):
            raise refuse("give either at_least (a share) or was: all or none")
        if self.at_least is not None and self.tolerance:
            raise refuse("a tolerance belongs to was: all or none")
        return self


class Survival(Strict):
    """A judgement of the share that survives: 5 %, 50 % and 95 % points."""

    lowest: Annotated[float, Field(gt=0, lt=1), BeforeValidator(number)]
    likely: Annotated[float, Field(gt=0, lt=1), BeforeValidator(number)]
    highest: Annotated[float, Field(gt=0, lt=1), BeforeValidator(number)]
    source: Text = ""
    by: Text = ""

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


class NumberMade(Strict):
    """The number made with a combination of states; with a survival, the number that survives.

    ``about`` means within ``give_or_take``, a share of the number, to either side.
    """

    states: States
    during: MonthStretch | None = None
    variant: Name | None = None
    between: Annotated[tuple[Number, ...], Field(min_length=2, max_length=2)] | None = None
    about: Positive | None = None
    give_or_take: Annotated[float, Field(gt=0, lt=1), BeforeValidator(number)] | None = None
    survival: Survival | None = None

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


class Assertion(Strict):
    """One thing that is claimed: exactly one of its kinds."""

    renamed: ClassVar[dict[str, str]] = {"order": "changed_first", "before": "older"}

    built: Built | None = None
    original: Original | None = None
    apart: Apart | None = None
    older: Older | None = None
    first_use: Use | None = None
    last_use: Use | None = None
    changed_first: ChangedFirst | None = None
    overlap: Overlap | None = None
    share: Share | None = None
    made: NumberMade | None = None

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
            case _:
                return ()


class Claim(Strict):
    """One claim of a manuscript: its sentence, where it stands, and what it says.

    What is said in ``all_of`` is claimed together.
    """

    claim: Name
    sentence: Text = ""
    place: Text = ""
    source: Text = ""
    says: Assertion | None = None
    all_of: Annotated[tuple[Assertion, ...], Field(min_length=2, max_length=8)] | None = None

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


class Claims(FromFile):
    """A claims file."""

    maker: Name
    manuscript: Text = ""
    invented: bool = False
    note: Text = ""
    examinations: tuple[Text, ...] = ()
    claims: Annotated[tuple[Claim, ...], Field(min_length=1, max_length=1000)]
