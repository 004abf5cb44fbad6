"""The record of a calibration."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from dating.records.shared import (
    CorrectedLevels,
    Draws,
    LatentVariants,
    Month,
    Probability,
    ReadFile,
    Record,
)

SCHEMA = "instrument-dating/calibration/1"
type Share = Annotated[float, Field(ge=0, le=1)]


class Verdict(Record, title="The verdict"):
    """Whether the stated probabilities may be trusted."""

    outcome: str = Field(description="The word, such as one-sided.")
    sentence: str = Field(description="The whole sentence.")


class Widths(Record, title="Median widths of sets"):
    """Median width of the 90 % sets, in months."""

    before: float = Field(description="Before the correction.")
    after: float = Field(description="After it.")


class Correction(CorrectedLevels, title="A correction that is offered"):
    """A correction of levels, what it gains, and how to write it."""

    median_width: Widths = Field(description="What it does to the widths.")
    log_score_gain: float = Field(
        description="Gain in mean log score of instruments it was not learned from."
    )
    standard_error: float = Field(description="Standard error of that gain.")
    helps: bool = Field(description="Whether new instruments would gain.")
    commands: list[str] = Field(description="Commands that write it.")


class SidePull(Record, title="What pulls to one side"):
    """Evidence without which dates lie less on one side."""

    name: str = Field(description="The feature, mark or measurement; variant.")
    kind: str = Field(description="What it is.")
    instruments: int = Field(description="On how many it was seen.")
    mean_rank: Share = Field(description="Mean rank of all instruments without it.")
    standard_error: float = Field(description="Standard error of the change.")
    first: Month = Field(alias="from", description="First of the months that give half of it.")
    last: Month = Field(alias="to", description="Last of them.")


class Remedy(Record, title="What would help"):
    """What would bring the probabilities nearer to the dates."""

    correction: Correction | None = Field(description="A correction of levels.")
    pulls: list[SidePull] | None = Field(description="What pulls to one side, strongest first.")


class Question(Record, title="The answer to one question"):
    """How far off the answer lies from what calibrated posteriors give."""

    value: float = Field(description="The statistic.")
    expected: float = Field(description="What it is on the whole where all is well.")
    chance: Probability = Field(description="Probability that chance alone gives as much.")
    gain: float = Field(description="Log likelihood gained by the fault, in nats.")
    alarm: bool = Field(description="Whether it is too far off to be chance, and matters.")


class Questions(Record, title="The four questions"):
    """Sides, spread, tails and coverage."""

    false_alarms: Probability = Field(description="Chance of any alarm where all is well, at most.")
    least: dict[str, float] = Field(description="Departures that matter from this size on.")
    outermost: int = Field(description="Dates in the outermost 0.1 % of their posteriors.")
    sides: Question = Field(description="Mean rank.")
    spread: Question = Field(description="Standard deviation of the normal scores of the ranks.")
    tails: Question = Field(description="Their kurtosis.")
    coverage: Question = Field(description="Mean normal score of the levels.")


class SetCoverage(Record, title="How often sets of a level held the date"):
    """The share of dates within the sets of one level, beside what chance allows."""

    level: Probability = Field(description="The stated level.")
    held: Share = Field(description="Share of dates within their sets.")
    low: Share = Field(description="Lower end of the 95 % band of chance.")
    high: Share = Field(description="Upper end of the band.")
    right: bool = Field(description="Whether the share lies in the band.")


class ErrorOfMedian(Record, title="How far off medians were"):
    """The median distance in months, beside what chance allows."""

    months: float = Field(description="Half of the medians lie within this many months.")
    low: float = Field(description="Lower end of the 95 % band of chance.")
    high: float = Field(description="Upper end of the band.")
    right: bool = Field(description="Whether the distance lies in the band.")


class Group(Record, title="A group of instruments"):
    """How well the instruments of a group were dated."""

    name: str = Field(description="The group.")
    instruments: int = Field(description="How many.")
    coverage: list[SetCoverage] = Field(description="How often sets held the date, by level.")
    median_error: ErrorOfMedian = Field(description="How far off the medians were.")
    crps: float = Field(description="Continuous ranked probability score, in months.")
    log_score: float = Field(description="Mean log probability of the stated date.")
    width: float = Field(description="Mean width of the 90 % sets, in months.")


class Ranks(Record, title="Ranks beside chance"):
    """The share of ranks below each point, less what is even, with its band."""

    point: list[float] = Field(description="Points from 0 to 1.")
    reached: list[float] = Field(description="Share of ranks below the point.")
    low: list[float] = Field(description="Lower end of the band of chance.")
    high: list[float] = Field(description="Upper end of the band.")


class Omissions(Record, title="Instruments passed over"):
    """How many were not dated, and why."""

    doubted: int = Field(description="Their date is not trusted enough.")
    wide: int = Field(description="Their date is wider than a year.")
    impossible: int = Field(description="No month allows what was seen.")
    undated: int = Field(description="They have no date.")


class WorstInstrument(Record, title="An instrument that was dated badly"):
    """One of the worst, and what misled."""

    instrument: str = Field(description="Its name.")
    line: int = Field(description="Its line in the corpus.")
    built: str = Field(description="Its stated date.")
    median: Month = Field(description="Median of its posterior.")
    level: Probability = Field(description="Level of the smallest set that holds the date.")
    log_score: float = Field(description="Log probability of the stated date.")
    evidence: list[str] = Field(description="What took most from the stated date, worst first.")


class OneInstrument(Record, title="One instrument"):
    """How one instrument was dated."""

    instrument: str = Field(description="Its name.")
    line: int = Field(description="Its line in the corpus.")
    built: str = Field(description="Its stated date.")
    level: Probability = Field(description="Level of the smallest set that holds the date.")
    rank: Probability = Field(description="Posterior probability of earlier months.")
    crps: float = Field(description="Continuous ranked probability score, in months.")
    log_score: float = Field(description="Log probability of the stated date.")
    width: float = Field(description="Fewest months that hold 90 %.")
    error: float = Field(description="Months between posterior median and date.")
    shaky: bool = Field(description="Whether its weights cannot be relied on.")


class LearnedDraws(Record, title="Draws of what was learned"):
    """How many draws, from which seed."""

    draws: int = Field(description="How many.")
    seed: int = Field(description="Seed of the sampler.")


class CalibrationSources(Record, title="Where the calibration is from"):
    """The files and libraries that it rests on."""

    maker_file: ReadFile = Field(description="The maker file.")
    corpus: ReadFile = Field(description="The corpus.")
    learned: LearnedDraws | None = Field(description="Draws of what was learned.")
    versions: dict[str, str] = Field(description="Versions of this project and its libraries.")


class CalibrationRecord(Record, title="A record of a calibration"):
    """Whether the stated probabilities may be trusted, with every number."""

    schema_name: Literal["instrument-dating/calibration/1"] = Field(
        alias="schema", description="Name and version of what this describes."
    )
    maker: str = Field(description="Name of the maker.")
    product: str = Field(description="What the maker made.")
    invented: bool = Field(description="Whether the maker is invented.")
    verdict: Verdict = Field(description="Whether the probabilities may be trusted.")
    remedy: Remedy | None = Field(description="What would help, where something would.")
    tests: Questions = Field(description="The tests of calibration.")
    units: dict[str, str] = Field(description="Units, by key.")
    overall: Group = Field(description="All instruments.")
    by_date: list[Group] = Field(description="By the date of the posterior.")
    by_width: list[Group] = Field(description="By the width of the set.")
    by_variant: list[Group] = Field(description="By variant.")
    by_seen: list[Group] = Field(description="By how much was seen.")
    ranks: Ranks = Field(description="Ranks of the dates within their posteriors.")
    passed_over: Omissions = Field(description="Instruments that were not dated.")
    shaky: int = Field(description="Instruments whose weights cannot be relied on.")
    draws: Draws | None = Field(description="How sound the draws are of what was learned.")
    correction: CorrectedLevels | None = Field(description="The correction of levels, if any.")
    latent: LatentVariants | None = Field(description="Latent variants, if any were looked for.")
    worst: list[WorstInstrument] = Field(description="Instruments that were dated worst.")
    instruments: list[OneInstrument] = Field(description="Every instrument.")
    provenance: CalibrationSources = Field(description="Where all of it is from.")
