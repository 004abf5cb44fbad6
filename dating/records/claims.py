"""The record of weighed claims."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from dating.records.shared import Draws, Probability, Record

SCHEMA = "instrument-dating/claims/2"


class ClaimChance(Record, title="How probable a claim is"):
    """A probability with its standard error and its word."""

    probability: Probability = Field(description="The probability.")
    standard_error: float = Field(description="What the draws leave open of it.")
    words: str = Field(description="The word for it, from the published scale.")


class BayesFactor(Record, title="What the evidence was worth"):
    """Posterior odds over prior odds."""

    value: float | None = Field(description="The factor; nothing where the draws do not tell.")
    low: float | None = Field(
        description="Two standard errors below it; nothing where the draws give a bound only."
    )
    high: float | None = Field(description="Two standard errors above it.")
    standard_error_log10: float = Field(description="Standard error of its decimal logarithm.")
    bound: Literal["", "at least", "at most", "not told"] = Field(
        description="Whether the draws give a bound only, or nothing."
    )
    speaks: Literal["for", "against", "neither way"] = Field(description="Which way it speaks.")
    words: str = Field(
        description="The word for the end that says least, from the published scale; empty for a "
        "bound."
    )
    second_scale: str = Field(description="The same from a second published scale.")


class Grounds(Record, title="What a probability rests on"):
    """Evidence beside the assessors' judgements."""

    judgements_alone: bool = Field(description="Whether no evidence was weighed.")
    dated_instruments: int | None = Field(
        description="Dated instruments learned from, 0 where not recorded; nothing where none."
    )
    seen_on: list[str] = Field(description="Instruments on which something was seen.")
    words: str = Field(description="All that in words.")


class Explained(Record, title="What may explain a record"):
    """Probabilities that exclude each other and sum to one."""

    as_recorded: Probability = Field(description="That it is what it seems.")
    wrong_date: Probability = Field(description="That the stated date is wrong.")
    swapped: Probability = Field(description="That the component is from another instrument.")
    later_part: Probability = Field(description="That the part was replaced later.")
    slip: Probability = Field(description="That it was misread, or is out of sequence.")


class HangsOn(Record, title="The instruments that a verdict hangs on"):
    """The fewest dated instruments without which a claim would turn, as far as they were found."""

    instruments: list[str] = Field(description="Their names.")
    lines: list[int] = Field(description="Their lines in the corpus.")
    probability_without: Probability = Field(description="Of the claim, without them.")
    turns: bool = Field(description="Whether the claim passes to the other side of one half.")


class Example(Record, title="A dated instrument as evidence"):
    """An instrument that speaks for or against a claim."""

    side: Literal["for", "against"] = Field(description="Which way it speaks.")
    name: str = Field(description="Its name.")
    said: str = Field(description="What was recorded of it.")
    line: int | None = Field(description="Its line in the corpus.")
    bits: float | None = Field(
        description="What it contributes by itself, towards its side; nothing where not told."
    )
    carries_weight: bool = Field(
        description="Whether it contributes; if not, something else probably explains it."
    )
    explained_by: Explained | None = Field(description="What may explain its record.")


class Mover(Record, title="What would move a claim"):
    """Further evidence, and what is expected of it."""

    what: str = Field(description="The evidence.")
    bits: float = Field(description="Expected bits about the claim.")


class Claim(Record, title="A weighed claim"):
    """One claim of the manuscript."""

    claim: str = Field(description="Name or number of the claim.")
    sentence: str = Field(description="The sentence as the manuscript has it.")
    place: str = Field(description="Where it stands.")
    source: str = Field(description="Where the claim is from.")
    says: list[str] = Field(description="What is claimed, in words.")
    prior: ClaimChance = Field(description="How probable it was before the evidence.")
    posterior: ClaimChance = Field(description="How probable it is.")
    bayes_factor: BayesFactor | None = Field(
        description="What the evidence was worth; nothing where none was weighed."
    )
    verdict: str = Field(description="All that in one sentence.")
    rests_on: Grounds = Field(description="What the probability rests on.")
    may_be_printed: str | None = Field(
        description="The claim as strongly as the evidence allows; nothing where there was none."
    )
    assessors_believe: str | None = Field(
        description="What the assessors believe, where no evidence was weighed."
    )
    known_of_it: list[str] = Field(description="Between what its numbers lie.")
    examples: list[Example] = Field(description="Dated instruments for and against it.")
    hangs_on: HangsOn | None = Field(
        description="The dated instruments that the verdict hangs on; nothing where not known."
    )
    not_weighed: list[str] = Field(description="What was recorded and says nothing.")
    would_move_it: list[Mover] = Field(description="What would move it most.")


class ClaimsRecord(Record, title="A record of weighed claims"):
    """All claims of a manuscript, weighed."""

    schema_name: Literal["instrument-dating/claims/2"] = Field(
        alias="schema", description="Name and version of what this describes."
    )
    claims_file: str = Field(description="The claims file.")
    claims_fingerprint: str = Field(description="SHA-256 of its bytes.")
    maker_file: str = Field(description="The maker file.")
    maker_fingerprint: str = Field(description="SHA-256 of its bytes.")
    learned_from: str | None = Field(description="SHA-256 of the corpus that was learned from.")
    draws: int | None = Field(description="How many draws of what was learned.")
    learned_draws: Draws | None = Field(description="How sound these draws are.")
    learned_file: str | None = Field(description="The file of what was learned.")
    corpus_fingerprint: str | None = Field(description="SHA-256 of the bytes of the corpus.")
    corpus_file: str | None = Field(description="The corpus that examples are from.")
    examinations: dict[str, str] = Field(description="SHA-256 of each examination, by instrument.")
    invented: bool = Field(description="Whether the maker is invented.")
    scales: dict[str, str] = Field(description="The published source of each scale of words.")
    claims: list[Claim] = Field(description="The claims, in order.")
    note: str = Field(description="What a probability is, and what it is not.")
