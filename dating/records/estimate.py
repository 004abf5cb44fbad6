"""The record of an estimate."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from dating.records.shared import (
    CorrectedLevels,
    Draws,
    Invasive,
    LatentVariants,
    Month,
    Months,
    Probability,
    ReadFile,
    Record,
    Sum,
)

SCHEMA = "instrument-dating/estimate/2"


class MonthsAndMedian(Months, title="A set of months with its median"):
    """Months that hold a share of the probability, and the median."""

    median: Month = Field(description="Median month.")


class OneMonth(Record, title="One month"):
    """The probability of one month."""

    month: Month = Field(description="The month.")
    probability: Probability = Field(description="Its probability.")
    standard_error: float = Field(description="What the draws leave open of it.")


class Build(Record, title="When it was built"):
    """The posterior of the build month, and what sums it up."""

    level: Probability = Field(description="Level of the reported set.")
    highest_density: list[Months] = Field(
        description="The sets of the most probable months, of 50 % and of the level."
    )
    equal_tailed: Months = Field(description="The set with as much probability on either side.")
    median: Month = Field(description="Median month.")
    most_probable: Month = Field(description="The most probable month.")
    entropy: float = Field(description="Uncertainty, in bits.")
    entropy_before: float = Field(description="Uncertainty before anything was seen, in bits.")
    edtf: str = Field(description="The reported set as one EDTF expression.")
    by_year: dict[str, Probability] = Field(description="Probability of each calendar year.")
    by_month: list[OneMonth] = Field(description="Every month of the maker's period.")
    standard_error: float = Field(description="The largest standard error of a month.")
    standard_error_aimed_at: float = Field(description="What it should be below.")
    converged: bool = Field(description="Whether it is.")


class PartDate(Record, title="A part"):
    """One component: whether it belongs, and its date by itself."""

    component: str = Field(description="Name of the component.")
    original: Probability = Field(description="Probability that it is the one it was built with.")
    swapped_before: Probability = Field(description="Chance of a swap before anything was seen.")
    seen: int = Field(description="How many things on it were seen and weighed.")
    weight: float | None = Field(
        description="Bits that they add to the odds of its being original; nothing where they "
        "settle it."
    )
    own_month: Months = Field(description="When the part itself was made.")
    sources: list[str] = Field(description="Sources of what is stated about it.")


class Place(Record, title="A place in a file"):
    """Where something stands."""

    key: str = Field(description="The key, with those above it.")
    line: int | None = Field(description="The line, where it is known.")


class Grounds(Record, title="Where evidence is from"):
    """Where the numbers behind a piece of evidence stand."""

    maker_file: Place | None = Field(description="Where, in the maker file.")
    examination: Place | None = Field(description="Where, in the examination.")
    sources: dict[str, str] = Field(description="Titles of its sources, by name.")


class Piece(Record, title="A piece of evidence"):
    """What one observation says, and what leaving it out changes."""

    name: str = Field(description="The feature, mark, measurement or document; variant.")
    kind: Literal["feature", "mark", "measurement", "document", "variant"] = Field(
        description="What it is."
    )
    component: str | None = Field(description="The component that it is on.")
    seen: str = Field(description="What was recorded.")
    alone: MonthsAndMedian = Field(description="The date from it alone.")
    without: MonthsAndMedian = Field(description="The date without it.")
    shift: int = Field(description="Months by which it moves the median, later positive.")
    weight: float | None = Field(
        description="Bits that it adds to the odds of the reported set; nothing where it decides."
    )
    decides: bool = Field(description="Whether it alone makes the set certain or impossible.")
    surprise: float | None = Field(
        description="Bits by which the rest makes it less probable; nothing where impossible."
    )
    replaced: Probability | None = Field(
        description="Probability that the part is a later replacement, where that is stated."
    )
    moves_with: list[str] = Field(description="Events that it shares with other evidence.")
    grounds: Grounds = Field(alias="from", description="Where it is from.")


class NotWeighed(Record, title="Something that was not weighed"):
    """What was recorded and says nothing about the date."""

    name: str = Field(description="The feature, mark or measurement.")
    component: str | None = Field(description="The component that it is on.")
    seen: str = Field(description="What was recorded.")


class Contradiction(Record, title="A contradiction"):
    """Two observations that are unlikely together."""

    between: list[str] = Field(min_length=2, max_length=2, description="The two.")
    bits: float | None = Field(description="How unlikely; nothing where impossible.")


class Conflict(Record, title="What contradicts what"):
    """How far the observations agree; above zero they contradict each other."""

    bits: float | None = Field(description="log2 prod P(piece) / P(all pieces).")
    by_component: dict[str, float | None] = Field(description="The same within each component.")
    against_rest: dict[str, float | None] = Field(description="Each component against the rest.")
    contradictions: list[Contradiction] = Field(description="Pairs, the strongest first.")


class AtFault(Record, title="Something at fault"):
    """What a story supposes not to be of the build."""

    name: str = Field(description="The component or piece of evidence.")
    kind: Literal["swapped", "old stock", "replaced", "slip"] = Field(
        description="In which way: from another instrument, made ahead, fitted later, or wrong."
    )


class StoryTold(Record, title="A story"):
    """One way in which evidence that contradicts itself can hang together."""

    probability: Probability = Field(description="Probability of the story.")
    supposes: str = Field(description="What it supposes, in words.")
    faults: list[AtFault] = Field(description="The same, one by one.")
    built: Months = Field(description="When the instrument was built, if it is so.")


class LookAgain(Record, title="Something to look at again"):
    """Something that was seen, and would settle a contradiction if it was seen again."""

    name: str = Field(description="The piece of evidence.")
    gain: float = Field(description="Expected bits about the build month.")
    at_fault: Probability = Field(description="Probability that it is not of the build.")
    built_if_at_fault: Months = Field(description="When the instrument was built, if it is not.")
    built_if_not: Months = Field(description="When the instrument was built, if it is.")


class Mistake(Record, title="What may be a mistake"):
    """A valid entry that looks like a mistake."""

    file: str = Field(description="The file.")
    line: int | None = Field(description="The line.")
    key: str = Field(description="The key.")
    message: str = Field(description="What looks wrong.")
    found: str = Field(description="What was found.")
    expected: str = Field(description="What would be expected.")
    nearest: str = Field(description="The nearest that would fit.")


class NextLook(Record, title="A look to take"):
    """A look that has not been taken, and what is expected of it."""

    name: str = Field(description="The feature, mark or measurement; variant.")
    kind: Literal["feature", "mark", "measurement", "variant"] = Field(description="What it is.")
    component: str | None = Field(description="The component that it is on.")
    ask: str = Field(description="The question to the examiner.")
    how: str = Field(description="How to look.")
    operation: str = Field(description="What has to be done first; empty where that is nothing.")
    invasive: Invasive = Field(description="How far the look disturbs the instrument.")
    caution: str = Field(description="What to beware of.")
    gain: float = Field(description="Expected bits about the build month.")
    gain_originality: float | None = Field(
        description="Expected bits about whether the component is original."
    )
    answers: dict[str, Probability] = Field(description="Probability of each answer.")


class PlannedOperation(Record, title="An operation"):
    """What has to be done first, and the looks that are then taken at one go."""

    operation: str = Field(description="What has to be done; empty where nothing has to be.")
    invasive: Invasive = Field(description="How far the most invasive of its looks disturbs.")
    cautions: list[str] = Field(description="What to beware of, each caution once.")
    gain: float = Field(
        description="Expected bits about the build month of the looks that are counted, together."
    )
    looks: list[str] = Field(min_length=1, description="Its looks, most telling first.")
    counted: int = Field(description="How many of them are counted, the most telling first.")


class LearnedFrom(Record, title="What the draws were learned from"):
    """The two files that learning read."""

    corpus_sha256: Sum = Field(description="SHA-256 of the corpus.")
    maker_file_sha256: Sum = Field(description="SHA-256 of the maker file.")


class SourceOfNumbers(Record, title="A source of the maker file"):
    """A source that numbers rest on; what is not stated is left out."""

    title: str = Field(description="What it is called.")
    kind: str = Field("", description="What kind of source it is.")
    where: str = Field("", description="Where it can be seen.")
    note: str = Field("", description="Anything further.")


class Provenance(Record, title="Where the estimate is from"):
    """The files, draws and libraries that the estimate rests on."""

    maker_file: ReadFile = Field(description="The maker file.")
    examination: ReadFile = Field(description="The examination.")
    learned: LearnedFrom | None = Field(description="What the draws were learned from.")
    seed: int = Field(description="Seed of the draws.")
    draws: int = Field(description="How many draws.")
    replicates: int = Field(description="In how many replicates.")
    drawn_jointly: Literal["all numbers"] | list[str] = Field(description="What was drawn.")
    versions: dict[str, str] = Field(description="Versions of this project and its libraries.")
    sources: dict[str, SourceOfNumbers] = Field(description="Sources of the maker file, by name.")


class EstimateRecord(Record, title="A record of an estimate"):
    """All that an estimate says about one instrument."""

    schema_name: Literal["instrument-dating/estimate/2"] = Field(
        alias="schema", description="Name and version of what this describes."
    )
    instrument: str = Field(description="Name or number of the instrument.")
    maker: str = Field(description="Name of the maker.")
    product: str = Field(description="What the maker made.")
    invented: bool = Field(description="Whether the maker or the instrument is invented.")
    opinion: str = Field(description="What a date is, and what it is not.")
    units: dict[str, str] = Field(description="Units, by key.")
    built: Build = Field(description="When it was built.")
    draft: bool = Field(description="Whether it rests on a maker file that nobody has judged.")
    draws: Draws | None = Field(description="How sound the draws are of what was learned.")
    correction: CorrectedLevels | None = Field(description="The correction of levels, if any.")
    latent: LatentVariants | None = Field(description="Latent variants, if any were looked for.")
    components: list[PartDate] = Field(description="The parts.")
    all_original: Probability = Field(description="Probability that all parts are original.")
    nothing_replaced: Probability = Field(
        description="Probability that no component was swapped and no part that was seen replaced."
    )
    variant: dict[str, Probability] | None = Field(description="Probability of each variant.")
    evidence: list[Piece] = Field(description="What each observation says.")
    not_weighed: list[NotWeighed] = Field(description="What was recorded and not weighed.")
    conflict: Conflict = Field(description="What contradicts what.")
    stories: list[StoryTold] = Field(
        description="How evidence that contradicts itself can hang together, likeliest first."
    )
    look_again: list[LookAgain] = Field(
        description="What to look at again where evidence contradicts itself."
    )
    warnings: list[Mistake] = Field(description="What may be a mistake in the two files.")
    look_next: list[NextLook] = Field(description="What to look at next, most useful first.")
    plan: list[PlannedOperation] = Field(description="The looks by what has to be done first.")
    not_today: list[str] = Field(description="Operations that the plan leaves out.")
    provenance: Provenance = Field(description="Where all of it is from.")
