"""The maker file: what is believed about one maker's production, validated.

The models here say what a maker file may hold, key by key.
"""

from __future__ import annotations

import re
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, model_validator

from dating.cautions import Hazard, Material
from dating.distributions import Certain, Judgement
from dating.draws import MOST_NUMBERS
from dating.escapes import escaped
from dating.statements import (
    Chance,
    CountJudgement,
    DateJudgement,
    DelayJudgement,
    Fraction,
    MonthStretch,
    Name,
    Number,
    Point,
    SourceNames,
    SpanJudgement,
    Text,
    Title,
)
from dating.validation import FromFile, Strict, number, refuse

NEVER = Chance(value=0.0)
ALWAYS = Chance(value=1.0)
LEARN = "learn"
"""In place of the outputs: how much was made when is left to be learned."""

_SIMPLE_CLASS = r"[1-5](?:[0-9]{0,2}|[0-9]{2}(?:\.[0-9]{3})*\.[0-9]{1,3})(?:-[0-9]{1,3})*"
_CLASS_NUMBER = re.compile(rf"{_SIMPLE_CLASS}(?: ?\+ ?{_SIMPLE_CLASS})*")


def _listed(value: Any) -> Any:
    """Let a list of names stand for a mapping of names to no further words."""
    if not isinstance(value, list):
        return value
    if any(isinstance(name, bool) or not isinstance(name, str | int | float) for name in value):
        raise refuse("a list here holds names")
    if len({str(name) for name in value}) < len(value):
        raise refuse("a name is listed twice")
    return {str(name): "" for name in value}


def _shares(value: Any) -> Any:
    if not isinstance(value, dict) or not value:
        return value
    numbers = [v for v in value.values() if type(v) in {int, float}]
    if len(numbers) < len(value) or min(numbers) < 0 or not abs(sum(numbers) - 1) <= 0.002:
        raise refuse("shares are numbers from 0 to 1 that sum to one")
    return {name: number / sum(numbers) for name, number in value.items()}


def _class_number(value: Any) -> Any:
    """Read a Hornbostel-Sachs class number; YAML takes one such as 321.322 for a decimal number.

    Hornbostel and Sachs, Zeitschrift fuer Ethnologie 46 (1914); English by Baines and Wachsmann,
    Galpin Society Journal 14 (1961); revised by the MIMO consortium (2011). Digits, with a point
    after every third; a suffix after a hyphen; parts of a combination joined by a plus sign.
    """
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    text = str(value) if is_number else value
    if not isinstance(text, str) or not _CLASS_NUMBER.fullmatch(text):
        raise refuse(
            "not a Hornbostel-Sachs class number",
            allowed="digits with a point after every third, suffixes after a hyphen, parts of a "
            "combination joined by +: 321.322-6, or 422.112-6 + 422.22-6",
        )
    return text


def _outputs(value: Any) -> Any:
    """Take the word that leaves the output to be learned for None, and refuse a blank."""
    if value is None or isinstance(value, str):
        if value != LEARN:
            raise refuse("not an output", allowed=f"a list of stretches, or {LEARN}")
        return None
    return value


type ClassNumber = Annotated[str, BeforeValidator(_class_number)]
type Materials = tuple[Material, ...]
type Shares = Annotated[dict[Name, Fraction], BeforeValidator(_shares), Field(min_length=1)]
type States = Annotated[dict[Name, Text], BeforeValidator(_listed), Field(min_length=1)]


class SourceNote(Strict):
    """A source that numbers rest on."""

    title: Title
    kind: Text = ""
    where: Text = ""
    note: Text = ""


class Output(Strict):
    """How many instruments were completed in a stretch of months."""

    during: MonthStretch
    made: CountJudgement
    source: SourceNames = ()
    note: Text = ""


type Outputs = Annotated[tuple[Output, ...] | None, BeforeValidator(_outputs)]


class Event(Strict):
    """A dated happening that moves several changeovers at once."""

    what: Title
    when: DateJudgement
    source: SourceNames = ()
    note: Text = ""


class Look(Strict):
    """How to look at a thing, how invasive the look is, and what to beware of."""

    how: Text = ""
    invasive: Literal["none", "low", "moderate", "high"] = "none"
    hazards: tuple[Hazard, ...] = ()
    caution: Text = ""


class Regime(Strict):
    """A stretch of production with fixed shares, and the changeover that leads to it."""

    state: Name | None = None
    shares: Shares | None = None
    by_variant: Annotated[dict[Name, Shares], Field(min_length=1)] | None = None
    first_use: DateJudgement | None = None
    event: Name | None = Field(default=None, alias="with")
    lag: DelayJudgement | None = None
    overlap: SpanJudgement | None = None
    shape: Literal["linear", "logistic"] = "linear"
    source: SourceNames = ()
    note: Text = ""

    @model_validator(mode="after")
    def _one_form(self) -> Regime:
        given = [self.state is not None, self.shares is not None, self.by_variant is not None]
        if sum(given) != 1:
            raise refuse("a regime has one of state, shares and by_variant")
        if self.first_use is not None and self.event is not None:
            raise refuse("a changeover has either a first_use or comes with an event, not both")
        if self.lag is not None and self.event is None:
            raise refuse("a lag needs the event that it follows; add with: EVENT")
        return self

    def judged_overlap(self) -> Judgement:
        """Return the judged overlap; none unless stated."""
        return self.overlap.distribution() if self.overlap else Certain(0.0)

    def judged_lag(self) -> Judgement:
        """Return the judged lag behind the event; none unless stated."""
        return self.lag.distribution() if self.lag else Certain(0.0)

    def shares_of(self, variant: str | None) -> dict[str, float]:
        """Return the shares of the states, for one variant where they differ."""
        if self.state is not None:
            return {self.state: 1.0}
        if self.by_variant is not None:
            return self.by_variant.get(variant or "", {})
        return self.shares or {}


class Course(Strict):
    """How the states of one thing follow each other: by regimes or by a table of shares."""

    history: tuple[Regime, ...] | None = None
    shares_at: Annotated[dict[Point, Shares], Field(min_length=1)] | None = None

    @model_validator(mode="after")
    def _in_order(self) -> Course:
        if self.history is not None and self.shares_at is not None:
            raise refuse("give either a history or shares_at, not both")
        regimes = self.history or ()
        if self.history is not None and not regimes:
            raise refuse("a history has at least one regime")
        for position, regime in enumerate(regimes):
            comes = regime.first_use is not None or regime.event is not None
            if position == 0 and (comes or regime.overlap is not None):
                raise refuse("the first regime has no changeover: it is there from the start")
            if position > 0 and not comes:
                raise refuse(
                    f"regime {position + 1} must say when it came",
                    allowed="first_use: ..., or with: EVENT and a lag",
                )
        return self


class StatedCourse(Course):
    """A course that cannot be left to another: that of a variant, or of the variants."""

    @model_validator(mode="after")
    def _stated(self) -> StatedCourse:
        if self.history is None and self.shares_at is None:
            raise refuse("a course is expected here", allowed="a history, or shares_at")
        return self


class Feature(Course):
    """One thing to look at on a component, its states and their history.

    With ``free_form`` the shares over time are left to be learned from a corpus; until then the
    feature says nothing about the date. ``materials`` are those that a state shows, by state: they
    hold for an instrument on which that state was seen.
    """

    ask: Title
    look: Look = Look()
    states: States
    materials: dict[Name, Materials] = Field(default_factory=dict)
    slip: Chance = NEVER
    replaced: Chance = NEVER
    replacement: Shares | None = None
    free_form: bool = False
    by_variant: dict[Name, StatedCourse] = Field(default_factory=dict)
    source: SourceNames = ()
    note: Text = ""

    @model_validator(mode="after")
    def _has_course(self) -> Feature:
        stated = self.history is not None or self.shares_at is not None or bool(self.by_variant)
        if self.free_form and stated:
            raise refuse(
                "free_form leaves the shares to be learned; leave out history, shares_at and "
                "by_variant, or free_form"
            )
        if not self.free_form and not stated:
            raise refuse(
                "a feature needs a history, shares_at, one of these by_variant, or free_form: true"
            )
        return self

    def course_of(self, variant: str | None) -> Course:
        """Return the course of the states, for one variant where it differs."""
        return self.by_variant.get(variant or "", self)


class Mark(Strict):
    """A date on a part; the build follows it by a lag. ``found`` is how often there is one."""

    ask: Title
    look: Look = Look()
    format: Literal["date", "source-date"] = "date"
    precision: Literal["day", "month", "year"] = "day"
    lag: SpanJudgement
    found: Chance = ALWAYS
    replaced: Chance = NEVER
    source: SourceNames = ()
    note: Text = ""


class Measurement(Strict):
    """A number that drifts over production."""

    ask: Text = ""
    look: Look = Look()
    unit: Title
    spread: Annotated[float, Field(ge=1e-6, le=1e9), BeforeValidator(number)]
    mean: Annotated[dict[Point, Number], Field(min_length=1)]
    tails: Annotated[float, Field(gt=2, le=1e6), BeforeValidator(number)] | None = None
    source: SourceNames = ()
    note: Text = ""


class Donors(Strict):
    """From which stretch the donor of a swapped component comes, and how often."""

    during: MonthStretch
    share: Fraction
    source: SourceNames = ()


class Component(Strict):
    """A part that can be swapped as a whole; ``materials`` are in every one, whatever is seen."""

    what: Text = ""
    materials: Materials = ()
    swapped: Chance = NEVER
    donors: tuple[Donors, ...] = ()
    features: dict[Name, Feature] = Field(default_factory=dict)
    by_variant: dict[Name, dict[Name, StatedCourse]] = Field(default_factory=dict)
    marks: dict[Name, Mark] = Field(default_factory=dict)
    measurements: dict[Name, Measurement] = Field(default_factory=dict)
    source: SourceNames = ()
    note: Text = ""

    @model_validator(mode="after")
    def _donor_shares(self) -> Component:
        if self.donors and abs(sum(donor.share for donor in self.donors) - 1) > 0.002:
            raise refuse("the shares of the donors must sum to one")
        return self


class Variants(StatedCourse):
    """The grades or lines made alongside each other, and their shares over time."""

    ask: Text = "Which variant is it?"
    look: Look = Look()
    states: States
    source: SourceNames = ()
    note: Text = ""

    @model_validator(mode="after")
    def _one_for_all(self) -> Variants:
        if any(regime.by_variant for regime in self.history or ()):
            raise refuse("the history of the variants itself cannot differ by_variant")
        return self


class Maker(FromFile):
    """What is believed about one maker's production; ``materials`` are in every instrument.

    A ``draft`` was made from a table, and judged by nobody.
    """

    maker: Title
    product: Title
    hornbostel_sachs: ClassNumber | None = None
    materials: Materials = ()
    invented: bool = False
    draft: bool = False
    note: Text = ""
    period: MonthStretch
    sources: dict[Name, SourceNote] = Field(default_factory=dict)
    outputs: Outputs = Field(default=(), alias="output")
    events: dict[Name, Event] = Field(default_factory=dict, max_length=MOST_NUMBERS // 2)
    variants: Variants | None = None
    components: Annotated[dict[Name, Component], Field(min_length=1)]

    def __repr__(self) -> str:
        """Name the maker, its period, and how much is stated."""
        counts = f"{len(self.components)} components, {len(self.features())} features"
        return escaped(f"Maker({self.maker}, {self.period}, {counts})")

    @property
    def output(self) -> tuple[Output, ...]:
        """What was made in each stretch; empty where it is not stated."""
        return self.outputs or ()

    @property
    def learns_output(self) -> bool:
        """Whether how much was made when is left to be learned."""
        return self.outputs is None

    def __hash__(self) -> int:
        """Hash by identity, so that month tables can be kept for a maker file."""
        return id(self)

    def features(self) -> dict[str, tuple[str, Feature]]:
        """Return every feature with the name of its component.

        Returns
        -------
        dict of str to (str, Feature)
            By name of the feature, in the order of the file.
        """
        return {
            name: (part, feature)
            for part, component in self.components.items()
            for name, feature in component.features.items()
        }

    def marks(self) -> dict[str, tuple[str, Mark]]:
        """Return every mark with the name of its component.

        Returns
        -------
        dict of str to (str, Mark)
            By name of the mark, in the order of the file.
        """
        return {
            name: (part, mark)
            for part, component in self.components.items()
            for name, mark in component.marks.items()
        }

    def measurements(self) -> dict[str, tuple[str, Measurement]]:
        """Return every measurement with the name of its component.

        Returns
        -------
        dict of str to (str, Measurement)
            By name of the measurement, in the order of the file.
        """
        return {
            name: (part, measurement)
            for part, component in self.components.items()
            for name, measurement in component.measurements.items()
        }

    def course_of(self, feature: str, variant: str | None) -> Course:
        """Return the course of a feature for a variant, wherever it is stated.

        Parameters
        ----------
        feature : str
            Name of the feature.
        variant : str or None
            Name of the variant.

        Returns
        -------
        Course
            The course that holds for this variant.
        """
        part, found = self.features()[feature]
        by_component = self.components[part].by_variant.get(variant or "", {})
        return by_component.get(feature) or found.course_of(variant)

    def depends_on_variant(self, feature: str) -> bool:
        """Say whether the states of a feature follow another course for some variant.

        Parameters
        ----------
        feature : str
            Name of the feature.

        Returns
        -------
        bool
            False also where the maker file has no variants.
        """
        courses = [self.course_of(feature, variant) for variant in self.variant_names()]
        by_regime = any(r.by_variant for course in courses for r in course.history or ())
        return by_regime or any(course is not courses[0] for course in courses)

    def variant_names(self) -> tuple[str, ...]:
        """Return the names of the variants.

        Returns
        -------
        tuple of str
            Empty when the maker file lists none.
        """
        return tuple(self.variants.states) if self.variants else ()
