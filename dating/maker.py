"""The maker file: what is believed about one maker's production, validated.

The models here say what a maker file may hold, key by key.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, WithJsonSchema, model_validator

from dating.cautions import MATERIALS, OF_THE_WHOLE, Hazard, Material
from dating.date_codes import CodeReading
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
    Note,
    Number,
    Point,
    SourceNames,
    SpanJudgement,
    Text,
    Title,
    plain_name,
    several,
)
from dating.validation import FromFile, Strict, number, refuse

NEVER = Chance(value=0.0)
ALWAYS = Chance(value=1.0)
ASSUMED = {"slip": 0.01, "replaced": 0.01, "swapped": 0.01, "doubt": 0.02, "doubt of a code": 0.002}
"""Chances that are taken where nobody states them: nobody reads, and no part lives, without fault.

They are this project's own. A supplier's code can hardly be anything but misread, a date by hand
may be anybody's. A chance of none has to be stated.
"""
ASSUMED_TAILS = 6.0
"""Degrees of freedom of a measurement's Student t distribution where nobody states them."""
LEARN = "learn"
"""In place of the outputs: how much was made when is left to be learned."""


def _assumed(key: str) -> Callable[[dict[str, Any]], Chance]:
    """Give the chance that is taken where nobody states one; none for what is learned freely."""
    return lambda data: NEVER if data.get("free_form") else Chance(value=ASSUMED[key])


def _assumed_doubt(data: dict[str, Any]) -> Chance:
    code = data.get("format") == "source-date"
    return Chance(value=ASSUMED["doubt of a code" if code else "doubt"])


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


def _tails(value: Any) -> Any:
    """Take the word normal for a distribution without heavy tails."""
    if value is None:
        raise refuse("degrees of freedom are expected here", allowed="a number above 2, or normal")
    return None if value == "normal" else number(value)


def _supplier_code(value: Any) -> Any:
    text = str(value) if isinstance(value, int) and not isinstance(value, bool) else value
    if not isinstance(text, str) or not re.fullmatch("[0-9]{1,4}", text):
        raise refuse("not a source number", allowed='1 to 4 digits, such as "312"')
    return text


def _outputs(value: Any) -> Any:
    """Take the word that leaves the output to be learned for None, and refuse a blank."""
    if value is None or isinstance(value, str):
        if value != LEARN:
            raise refuse("not an output", allowed=f"a list of stretches, or {LEARN}")
        return None
    return value


_WRITTEN_CLASS = {"type": ["string", "number"], "examples": ["321.322-6", "422.112-6 + 422.22-6"]}
_WRITTEN_TAILS = {
    "anyOf": [{"type": "number", "exclusiveMinimum": 2, "maximum": 1e6}, {"const": "normal"}]
}
_WRITTEN_CODE = {"type": ["string", "integer"], "pattern": "^[0-9]{1,4}$", "examples": ["312"]}
_WRITTEN_STATES = {
    "anyOf": [
        {"type": "object", "additionalProperties": {"type": ["string", "number"]}},
        {"type": "array", "items": {"type": ["string", "number"]}, "uniqueItems": True},
    ],
    "description": "Names with a few words for each, or a list of names.",
}

type Tails = Annotated[
    Annotated[float, Field(gt=2, le=1e6)] | None,
    BeforeValidator(_tails),
    WithJsonSchema(_WRITTEN_TAILS),
]
type SupplierCode = Annotated[str, BeforeValidator(_supplier_code), WithJsonSchema(_WRITTEN_CODE)]
type ClassNumber = Annotated[str, BeforeValidator(_class_number), WithJsonSchema(_WRITTEN_CLASS)]
type Materials = tuple[Material, ...]
type Shares = Annotated[dict[Name, Fraction], BeforeValidator(_shares), Field(min_length=1)]
type States = Annotated[
    dict[Name, Text],
    BeforeValidator(_listed),
    Field(min_length=1),
    WithJsonSchema(_WRITTEN_STATES),
]


class SourceNote(Strict, title="A source"):
    """A source that numbers rest on."""

    title: Title = Field(description="What the source is called.")
    kind: Text = Field(
        "", description="What kind of source it is, such as a ledger or an advertisement."
    )
    where: Text = Field("", description="Where it can be seen.")
    note: Note = ""


class Output(Strict, title="An output"):
    """How many instruments were completed in a stretch of months."""

    during: MonthStretch = Field(description="The months that are spoken of.")
    made: CountJudgement = Field(description="How many instruments were completed in these months.")
    source: SourceNames = ()
    note: Note = ""


type Outputs = Annotated[tuple[Output, ...] | None, BeforeValidator(_outputs)]


class Event(Strict, title="An event"):
    """A dated happening that moves several changeovers at once."""

    what: Title = Field(description="What happened, in words.")
    when: DateJudgement = Field(description="When it happened.")
    source: SourceNames = ()
    note: Note = ""


class Look(Strict, title="A look"):
    """How to look at a thing, how invasive the look is, and what to beware of."""

    how: Text = Field("", description="How to look, in words for someone at the bench.")
    operation: Text = Field(
        "",
        description="What has to be done first, such as back off; looks with the same operation "
        "are taken at one go.",
    )
    invasive: Literal["none", "low", "moderate", "high"] = Field(
        "none", description="How far the look disturbs the instrument."
    )
    hazards: tuple[Hazard, ...] = Field(
        (),
        description="What can hurt the examiner or the instrument; each brings its usual caution.",
    )
    caution: Text = Field("", description="A caution beside the usual ones.")

    @property
    def instruction(self) -> str:
        """What has to be done first, and how to look, as sentences."""
        first = f"First: {self.operation}. " if self.operation else ""
        return f"{first}{self.how[:1].upper()}{self.how[1:]}"

    @property
    def touches(self) -> bool:
        """Whether the instrument is opened, or touched beyond being held."""
        return bool(self.operation) or self.invasive != "none"


class Regime(Strict, title="A regime of a history"):
    """A stretch of production with fixed shares, and the changeover that leads to it."""

    state: Name | None = Field(
        None, description="The one state that all instruments of the regime have."
    )
    shares: Shares | None = Field(
        None, description="How common each state is, as shares that sum to one."
    )
    by_variant: Annotated[dict[Name, Shares], Field(min_length=1)] | None = Field(
        None, description="Shares for each variant, where they differ."
    )
    first_use: DateJudgement | None = Field(
        None, description="When the first instrument of this regime was made."
    )
    event: Name | None = Field(
        default=None, alias="with", description="The event with which the regime came in."
    )
    lag: DelayJudgement | None = Field(None, description="Months from the event to the first use.")
    overlap: SpanJudgement | None = Field(
        None, description="Months from the first use until all instruments follow the regime."
    )
    shape: Literal["linear", "logistic"] = Field(
        "linear", description="How the change went: evenly, or slowly at both ends."
    )
    source: SourceNames = ()
    note: Note = ""

    @model_validator(mode="after")
    def _one_form(self) -> Regime:
        forms = [self.state is not None, self.shares is not None, self.by_variant is not None]
        if sum(forms) != 1:
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

    history: tuple[Regime, ...] | None = Field(
        None, description="Regimes in order; the first is there from the start of the period."
    )
    shares_at: Annotated[dict[Point, Shares], Field(min_length=1)] | None = Field(
        None,
        description="Shares of the states at stated months, changing evenly between them.",
    )

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


class StatedCourse(Course, title="A course of a variant"):
    """A course that cannot be left to another: that of a variant, or of the variants."""

    @model_validator(mode="after")
    def _stated(self) -> StatedCourse:
        if self.history is None and self.shares_at is None:
            raise refuse("a course is expected here", allowed="a history, or shares_at")
        return self


class Feature(Course, title="A feature"):
    """One thing to look at on a component, its states and their history.

    With ``free_form`` the shares over time are left to be learned from a corpus; until then the
    feature says nothing about the date. ``materials`` are those that a state shows, by state: they
    hold for an instrument on which that state was seen.
    """

    ask: Title = Field(description="The question to the examiner.")
    look: Look = Look()
    states: States = Field(description="Each state by its name, with a few words that describe it.")
    materials: dict[Name, Materials] = Field(
        default_factory=dict, description="What shows that a material is present, by state."
    )
    free_form: bool = Field(
        False, description="Leave the shares over time to be learned from a corpus."
    )
    slip: Chance = Field(
        default_factory=_assumed("slip"),
        description="Chance that the state is recorded wrongly; 0.01 unless stated.",
    )
    replaced: Chance = Field(
        default_factory=_assumed("replaced"),
        description="Chance that the part was replaced later; 0.01 unless stated.",
    )
    replacement: Shares | None = Field(
        None, description="How common each state is among later replacements."
    )
    by_variant: dict[Name, StatedCourse] = Field(
        default_factory=dict, description="A course of its own for each variant that differs."
    )
    source: SourceNames = ()
    note: Note = ""

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


class Mark(Strict, title="A dated mark"):
    """A date on a part; the build follows it by a lag. ``found`` is how often there is one."""

    ask: Title = Field(description="The question to the examiner.")
    look: Look = Look()
    format: Literal["date", "source-date"] = Field(
        "date",
        description="A date in ISO 8601, or a source-date code of the electronics industry.",
    )
    precision: Literal["day", "month", "year"] = Field(
        "day", description="How finely the mark tells the time."
    )
    supplier_code: Annotated[tuple[SupplierCode, ...], BeforeValidator(several)] = Field(
        (),
        description="Source numbers of the supplier, which a source-date code should begin with.",
    )
    lag: SpanJudgement = Field(
        description="Months from the mark to the completion of the instrument."
    )
    stock: Name | None = Field(
        None, description="The stock in which the part lay, if its delay is shared by other marks."
    )
    found: Chance = Field(ALWAYS, description="Chance that an instrument has the mark.")
    found_at: Annotated[dict[Point, Fraction], Field(min_length=1)] | None = Field(
        None, description="The same at stated months, changing evenly between them."
    )
    replaced: Chance = Field(
        default_factory=_assumed("replaced"),
        description="Chance that the marked part was replaced later; 0.01 unless stated.",
    )
    doubt: Chance = Field(
        default_factory=_assumed_doubt,
        description="Chance that the date does not tell the build, as it is misread or another "
        "hand's; unless stated 0.02, and 0.002 of a source-date code.",
    )
    source: SourceNames = ()
    note: Note = ""

    @model_validator(mode="after")
    def _agrees(self) -> Mark:
        if self.supplier_code and self.format != "source-date":
            raise refuse("a supplier_code goes with format: source-date")
        if self.found_at is not None and "found" in self.model_fields_set:
            raise refuse("give either found or found_at, not both")
        return self

    @property
    def chances(self) -> tuple[float, float, float]:
        """Chances that a date tells the build, is of a later part, or tells nothing."""
        later, doubt = self.replaced.value, self.doubt.value
        return (1 - later) * (1 - doubt), later, (1 - later) * doubt

    def expects(self, reading: CodeReading) -> bool:
        """Say whether a reading of a code begins with the supplier's source number, or any may.

        Parameters
        ----------
        reading : CodeReading
            One reading of a source-date code.

        Returns
        -------
        bool
            True also where the maker file names no source number.
        """
        expected = {code.lstrip("0") for code in self.supplier_code}
        return not expected or reading.source.lstrip("0") in expected


class Measurement(Strict, title="A measurement"):
    """A number that drifts over production."""

    ask: Text = Field("", description="The question to the examiner.")
    look: Look = Look()
    unit: Title = Field(description="Unit of the measurement, such as mm.")
    spread: Annotated[float, Field(ge=1e-6, le=1e9), BeforeValidator(number)] = Field(
        description="Standard deviation from instrument to instrument, in the unit."
    )
    mean: Annotated[dict[Point, Number], Field(min_length=1)] = Field(
        description="Mean at stated months, in the unit; between them it changes evenly."
    )
    tails: Tails = Field(
        ASSUMED_TAILS,
        description="Degrees of freedom of Student's t distribution, or normal; 6 unless given.",
    )
    slip: Chance = Field(
        default_factory=_assumed("slip"),
        description="Chance that the number is a slip of the pen; 0.01 unless stated.",
    )
    source: SourceNames = ()
    note: Note = ""

    def question(self, name: str) -> str:
        """Give the question to the examiner; one made of its name where none is stated."""
        return self.ask or f"What is the {plain_name(name)}?"


class Donors(Strict, title="Donors of swapped components"):
    """From which stretch the donor of a swapped component comes, and how often."""

    during: MonthStretch = Field(
        description="When the instruments were built that a swapped component comes from."
    )
    share: Fraction = Field(
        description="How many of the swapped components come from these months, as a share."
    )
    source: SourceNames = ()


class OldStock(Strict, title="Old stock"):
    """A component that was made for no instrument in particular and lay for some months."""

    chance: Chance = Field(description="Chance that the component came from old stock.")
    age: SpanJudgement = Field(
        description="Months from the making of such a component to the completion."
    )
    source: SourceNames = ()
    note: Note = ""


class Stock(Strict, title="A stock"):
    """Parts of a supplier that lay together, so that their delays have a common part."""

    what: Text = Field("", description="What lay in it, in words.")
    delay: SpanJudgement = Field(
        description="Months that are common to the lags of all its parts in one instrument."
    )
    source: SourceNames = ()
    note: Note = ""


class Component(Strict, title="A component"):
    """A part that can be swapped as a whole; ``materials`` are in every one, whatever is seen."""

    what: Text = Field("", description="What the component is, in words.")
    materials: Materials = Field((), description="Materials in every one, whatever is seen.")
    swapped: Chance = Field(
        default_factory=_assumed("swapped"),
        description="Chance that the whole component came from another instrument; 0.01 unless "
        "stated.",
    )
    old_stock: OldStock | None = Field(
        None, description="How often, and how long before, the component was made ahead."
    )
    donors: tuple[Donors, ...] = Field(
        (), description="When donors of swapped components were built; shares sum to one."
    )
    features: dict[Name, Feature] = Field(
        default_factory=dict, description="What to look at on the component, by name."
    )
    by_variant: dict[Name, dict[Name, StatedCourse]] = Field(
        default_factory=dict,
        description="Courses of features for a variant, by variant and feature.",
    )
    marks: dict[Name, Mark] = Field(
        default_factory=dict, description="Dated marks on the component, by name."
    )
    measurements: dict[Name, Measurement] = Field(
        default_factory=dict, description="Measurements of the component, by name."
    )
    source: SourceNames = ()
    note: Note = ""

    @model_validator(mode="after")
    def _donor_shares(self) -> Component:
        if self.donors and abs(sum(donor.share for donor in self.donors) - 1) > 0.002:
            raise refuse("the shares of the donors must sum to one")
        return self


class Variants(StatedCourse, title="Variants"):
    """The grades or lines made alongside each other, and their shares over time."""

    ask: Text = Field("Which variant is it?", description="The question to the examiner.")
    look: Look = Look()
    states: States = Field(
        description="Each variant by its name, with a few words that describe it."
    )
    source: SourceNames = ()
    note: Note = ""

    @model_validator(mode="after")
    def _one_for_all(self) -> Variants:
        if any(regime.by_variant for regime in self.history or ()):
            raise refuse("the history of the variants itself cannot differ by_variant")
        return self


class Maker(FromFile, title="A maker file"):
    """What is believed about one maker's production; ``materials`` are in every instrument.

    A ``draft`` was made from a table, and judged by nobody.
    """

    maker: Title = Field(description="Name of the maker.")
    product: Title = Field(description="What was made, in words.")
    hornbostel_sachs: ClassNumber | None = Field(
        None, description="Class number of Hornbostel and Sachs."
    )
    materials: Materials = Field((), description="Materials in every instrument.")
    invented: bool = Field(
        False, description="Whether maker and numbers are invented, as in a demo."
    )
    draft: bool = Field(False, description="Made from a table, and judged by nobody.")
    note: Note = ""
    period: MonthStretch = Field(
        description="The months in which the product was made, first and last included."
    )
    sources: dict[Name, SourceNote] = Field(
        default_factory=dict,
        description="Sources that numbers rest on, by the name they are referred to with.",
    )
    outputs: Outputs = Field(
        default=(),
        alias="output",
        description="How many were made when; learn leaves it to be learned from a corpus.",
    )
    events: dict[Name, Event] = Field(
        default_factory=dict,
        max_length=MOST_NUMBERS // 2,
        description="Dated events that move several changeovers, by name.",
    )
    stocks: dict[Name, Stock] = Field(
        default_factory=dict,
        max_length=MOST_NUMBERS // 4,
        description="Stocks of suppliers from which several marked parts came, by name.",
    )
    variants: Variants | None = Field(None, description="Grades or lines made beside each other.")
    components: Annotated[dict[Name, Component], Field(min_length=1)] = Field(
        description="Parts that can be swapped as a whole, by name."
    )

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

    def looks(self) -> dict[str, tuple[str | None, Look]]:
        """Return how each feature, mark and measurement is looked at, and the variant.

        Returns
        -------
        dict of str to (str or None, Look)
            By name, "variant" for the variant, each with the component it sits on.
        """
        whole: dict[str, tuple[str | None, Look]] = {}
        if self.variants is not None:
            whole["variant"] = (None, self.variants.look)
        groups = (self.features(), self.marks(), self.measurements())
        return whole | {
            name: (part, each.look) for group in groups for name, (part, each) in group.items()
        }

    def operations(self) -> tuple[str, ...]:
        """Return the operations that looks need, each once, in the order of the file.

        Returns
        -------
        tuple of str
            Empty where no look names one.
        """
        named = (look.operation for _, look in self.looks().values())
        return tuple(dict.fromkeys(operation for operation in named if operation))

    def hazards_of(self, look: Look, component: str | None) -> tuple[Hazard, ...]:
        """Return what can hurt at a look: its own hazards, and those that materials bring.

        Materials bring theirs wherever the instrument is opened or touched: those of the maker
        and of the component that is looked at, and from any other component what reaches beyond
        it, such as the mains.

        Parameters
        ----------
        look : Look
            The look.
        component : str or None
            The component it is taken on; None for the instrument as a whole.

        Returns
        -------
        tuple of str
            Names from ``dating.cautions.HAZARDS``, each once.
        """
        hazards = list(look.hazards)
        if look.touches:
            hazards += [hazard for material in self.materials for hazard in MATERIALS[material]]
            for name, part in self.components.items():
                brought = [hazard for material in part.materials for hazard in MATERIALS[material]]
                hazards += [h for h in brought if name == component or h in OF_THE_WHOLE]
        return tuple(dict.fromkeys(hazards))

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
        part, definition = self.features()[feature]
        by_component = self.components[part].by_variant.get(variant or "", {})
        return by_component.get(feature) or definition.course_of(variant)

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
