"""The record of several instruments side by side."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from dating.records.shared import (
    Draws,
    Invasive,
    Month,
    Months,
    Probability,
    ReadFile,
    Record,
    Sum,
)

SCHEMA = "instrument-dating/comparison/1"


class InRow(Record, title="An instrument in the row"):
    """One instrument, and where it stands."""

    instrument: str = Field(description="Name or number of the instrument.")
    place: int = Field(ge=1, description="Its place in the row, oldest first.")
    built: Months = Field(description="When it was built.")
    median: Month = Field(description="The median month.")
    places: list[int] = Field(
        min_length=2, max_length=2, description="First and last place that hold it at the level."
    )
    by_place: list[Probability] = Field(description="Probability of each place, from the first.")
    by_month: list[Probability] = Field(
        description="Probability of each month of the maker's period, from its first."
    )


class WholeRow(Record, title="How far the row may be trusted"):
    """What the draws say of the row as a whole."""

    pairs: int = Field(description="How many pairs there are.")
    wrong_pairs: float = Field(description="How many are expected to stand the wrong way round.")
    right: Probability = Field(description="Probability that the whole row is right.")
    ties: list[list[str]] = Field(description="Instruments that cannot be told apart.")
    doubt: float = Field(description="Bits of doubt about which of two is older, over all pairs.")


class Pair(Record, title="A pair"):
    """Which of two is older; the first stands before the second in the row."""

    first: str = Field(description="The instrument that stands first.")
    second: str = Field(description="The other.")
    older: Probability = Field(description="Probability that the first is of an earlier month.")
    same_month: Probability = Field(description="Probability that both are of one month.")
    younger: Probability = Field(description="Probability that the first is of a later month.")
    standard_error: float = Field(description="What the draws leave open of it.")


class Weight(Record, title="What decides"):
    """One thing that was seen, and how it speaks."""

    name: str = Field(description="The feature, mark, measurement or document; variant.")
    bits: float = Field(description="Bits that it adds to the odds that the first is older.")
    first: str | None = Field(description="What was seen on the first; nothing if not looked at.")
    second: str | None = Field(description="What was seen on the second.")


class NeighbourPair(Record, title="Neighbours"):
    """Two that stand side by side in the row, and what decides."""

    first: str = Field(description="The instrument that stands first.")
    second: str = Field(description="The other.")
    reasons: list[Weight] = Field(description="What was seen, the weightiest first.")


class Looked(Record, title="One thing on every instrument"):
    """What was seen of one thing."""

    name: str = Field(description="The feature, mark or measurement; variant.")
    component: str | None = Field(description="The component that it is on.")
    differs: bool = Field(description="Whether two instruments show different things.")
    seen: dict[str, str | None] = Field(
        description="What was seen, by instrument in the order of the row; nothing if not "
        "looked at."
    )


class Statement(Record, title="A statement about several instruments"):
    """What is known between instruments, and what it does."""

    kind: str = Field(description="Its kind, as in the group file.")
    instruments: list[str] = Field(description="The instruments.")
    says: str = Field(description="What is known, in words.")
    source: str = Field(description="Where it is from.")
    trust: Probability = Field(description="Probability that the source is right.")
    before: Probability = Field(description="Probability that it holds, by what was seen alone.")
    after: Probability = Field(description="The same with all that is known between them.")
    clashes: bool = Field(description="Whether what was seen makes it improbable.")
    moved: dict[str, int] = Field(
        description="Months by which all statements move each median, later positive."
    )


class RowLook(Record, title="A look to take"):
    """A look that has not been taken, and what is expected of it."""

    instrument: str = Field(description="Where to look.")
    name: str = Field(description="The feature, mark or measurement.")
    component: str | None = Field(description="The component that it is on.")
    ask: str = Field(description="The question to the examiner.")
    how: str = Field(description="How to look.")
    operation: str = Field(description="What has to be done first; empty where that is nothing.")
    invasive: Invasive = Field(description="How far the look disturbs the instrument.")
    caution: str = Field(description="What to beware of.")
    gain: float = Field(description="Expected bits of doubt that it takes away, over all pairs.")
    share: Probability = Field(description="The same as a share of the doubt.")


class ComparisonOrigin(Record, title="Where the comparison is from"):
    """The files, draws and libraries that it rests on."""

    maker_file: ReadFile = Field(description="The maker file.")
    examinations: dict[str, ReadFile] = Field(description="The examinations, by instrument.")
    group_file: ReadFile | None = Field(description="What is known between the instruments.")
    learned_from: Sum | None = Field(description="SHA-256 of the corpus that was learned from.")
    seed: int = Field(description="Seed of the draws.")
    draws: int = Field(description="How many draws.")
    effective_draws: float = Field(description="How many of equal weight would tell as much.")
    share: Probability = Field(
        description="How far what the instruments say together about the changeovers counts."
    )
    versions: dict[str, str] = Field(description="Versions of this project and its libraries.")


class ComparisonRecord(Record, title="A record of several instruments side by side"):
    """All that a comparison says."""

    schema_name: Literal["instrument-dating/comparison/1"] = Field(
        alias="schema", description="Name and version of what this describes."
    )
    maker: str = Field(description="Name of the maker.")
    product: str = Field(description="What the maker made.")
    invented: bool = Field(description="Whether the maker or an instrument is invented.")
    opinion: str = Field(description="What a date is, and what it is not.")
    draft: bool = Field(description="Whether it rests on a maker file that nobody has judged.")
    learned_draws: Draws | None = Field(description="How sound the draws of what was learned are.")
    level: Probability = Field(description="The level of sets of months and of places.")
    period: list[Month] = Field(
        min_length=2, max_length=2, description="First and last month of the maker's period."
    )
    row: list[InRow] = Field(description="The instruments, oldest first.")
    trust: WholeRow = Field(description="How far the row may be trusted.")
    pairs: list[Pair] = Field(description="Every pair.")
    neighbours: list[NeighbourPair] = Field(description="What decides between neighbours.")
    looked_at: list[Looked] = Field(description="Everything that was looked at.")
    known: list[Statement] = Field(description="What is known between the instruments.")
    look_next: list[RowLook] = Field(description="What to look at next, most useful first.")
    provenance: ComparisonOrigin = Field(description="Where all of it is from.")
