"""Weighed claims as plain text, and as a record of plain data."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Any

from rich.console import Console

from dating.claims.explanations import Explanation
from dating.claims.files import Manuscript
from dating.claims.strength import (
    FACTOR_SCALE,
    MENTION_SCALE,
    PROBABILITY_SCALE,
    DrawChance,
    factor_words,
    mention_words,
    probability_words,
)
from dating.claims.weighing import ClaimResult
from dating.learning.corpus import Corpus
from dating.learning.learned import Learned
from dating.records.claims import SCHEMA
from dating.words.claim_clauses import clause
from dating.words.claims import claim_words, verdict
from dating.words.phrases import OPINION
from dating.words.plain import WIDTH, in_plain_text, say
from dating.words.record import as_probability
from dating.words.soundness import on_soundness, soundness_record

EXPLANATIONS = ("wrong_date", "swapped", "later_part", "slip")
RANGES = (
    "In brackets after a Bayes factor: two standard errors left by the draws to either side; its "
    "word is that of the end that says least. A bound is not graded."
)
BITS = (
    "Bits beside an instrument: how far it alone would move the odds that the assessors give, one "
    "bit being a factor of two. The chances beside it take all evidence together."
)
JUDGED = (
    "No evidence about production was weighed: what is said of it is what the assessors believe, "
    "and nothing to print. Weigh with --corpus to learn from dated instruments first."
)


def scales_of(results: Sequence[ClaimResult]) -> str:
    """Name the published scales of the words that were used, and no others."""
    return scale_words(any(r.factor is not None and r.factor.has_value for r in results))


def scale_words(factors: bool) -> str:
    """Name the published scale of probabilities, and that of Bayes factors where there are any."""
    sentences = [
        f"Words for probabilities: {PROBABILITY_SCALE}.",
        f"Words for Bayes factors: {FACTOR_SCALE}." if factors else "",
        "A value on a boundary takes the stronger word.",
        RANGES if factors else "",
        BITS,
    ]
    return " ".join(filter(None, sentences))


def on_basis(results: Sequence[ClaimResult]) -> list[str]:
    """Say first where sentences rest on judgements alone."""
    return [] if all(one.basis.has_evidence for one in results) else [JUDGED]


def claims_text(
    manuscript: Manuscript,
    results: Sequence[ClaimResult],
    width: int = WIDTH,
    learned: Learned | None = None,
) -> str:
    """Write what the evidence says of each claim."""
    first = manuscript.maker.period.first
    parts = [partial(_claim, result=one, first=first) for one in results]
    sentences = [*on_soundness(learned), *on_basis(results)]
    head, foot = partial(_head, sentences=sentences), partial(_foot, results=results)
    return in_plain_text([head, *parts, foot], width)


def _head(console: Console, sentences: Sequence[str]) -> None:
    for sentence in sentences:
        say(console, sentence, 0)
        console.print()


def _claim(console: Console, result: ClaimResult, first: int) -> None:
    claim = result.claim
    place = f" ({claim.place})" if claim.place else ""
    say(console, f"{claim.claim}{place}: {verdict(result)}", 0)
    if claim.sentence:
        say(console, f"Sentence: {claim.sentence}")
    for saying in claim.sayings():
        say(console, f"Claimed: {clause(saying)}.")
    words = claim_words(result, first)
    if words.printed:
        say(console, f"Suggested wording: {words.printed}")
    else:
        say(console, f"Nothing to print: {words.believed}")
    for known in words.further_ranges:
        say(console, f"Range: {known}")
    for title, named in words.examples:
        say(console, f"{title}: {'; '.join(named)}.")
    if words.turning:
        say(console, f"How firm: {words.turning}")
    if words.silent:
        say(console, f"Not weighed: {words.silent}")
    for look in words.looks:
        say(console, f"Evidence that would help: {look.what} ({look.bits:.2f} bits).")
    console.print()


def _foot(console: Console, results: Sequence[ClaimResult]) -> None:
    say(console, f"{scales_of(results)} {OPINION}", 0)


def claims_record(
    manuscript: Manuscript,
    results: Sequence[ClaimResult],
    learned: Learned | None,
    corpus: Corpus | None,
    *,
    learned_file: str = "",
) -> dict[str, Any]:
    """Turn weighed claims into plain data, ready for JSON."""
    claims, maker = manuscript.claims, manuscript.maker
    seen = manuscript.examinations.values()
    return {
        "schema": SCHEMA,
        "claims_file": claims.origin.file,
        "claims_fingerprint": claims.origin.fingerprint,
        "maker_file": maker.origin.file,
        "maker_fingerprint": maker.origin.fingerprint,
        "learned_from": learned.corpus_fingerprint if learned is not None else None,
        "draws": len(learned.values) if learned is not None else None,
        "learned_draws": soundness_record(learned),
        "learned_file": learned_file or None,
        "corpus_file": corpus.file if corpus is not None else None,
        "corpus_fingerprint": corpus.fingerprint if corpus is not None else None,
        "examinations": {e.instrument: e.origin.fingerprint for e in seen},
        "invented": maker.invented,
        "scales": {
            "probability": PROBABILITY_SCALE,
            "bayes_factor": FACTOR_SCALE,
            "second_scale": MENTION_SCALE,
        },
        "claims": [_claim_record(one, maker.period.first) for one in results],
        "note": OPINION,
    }


def _claim_record(result: ClaimResult, first: int) -> dict[str, Any]:
    claim, factor, words = result.claim, result.factor, claim_words(result, first)
    return {
        "claim": claim.claim,
        "sentence": claim.sentence,
        "place": claim.place,
        "source": claim.source,
        "says": [clause(saying) for saying in claim.sayings()],
        "prior": _chance(result.prior),
        "posterior": _chance(result.posterior),
        "bayes_factor": None
        if factor is None
        else {
            "value": factor.value if factor.has_value else None,
            "standard_error_log10": factor.error,
            "bound": factor.bound,
            "speaks": factor.towards,
            "low": factor.ends[0] if factor.graded is not None else None,
            "high": factor.ends[1] if factor.graded is not None else None,
            "words": factor_words(factor.graded) if factor.graded is not None else "",
            "second_scale": mention_words(factor.graded) if factor.graded is not None else "",
        },
        "verdict": words.verdict,
        "rests_on": {
            "judgements_alone": not result.basis.has_evidence,
            "dated_instruments": result.basis.dated,
            "seen_on": list(result.basis.seen),
            "words": words.basis,
        },
        "may_be_printed": words.printed or None,
        "assessors_believe": words.believed or None,
        "known_of_it": list(words.ranges),
        "examples": [
            {
                "side": e.side,
                "name": e.name,
                "said": e.words,
                "line": e.line,
                "bits": e.bits,
                "carries_weight": e.is_weighty,
                "explained_by": None if e.explanation is None else _explained(e.explanation),
            }
            for e in result.examples
        ],
        "hangs_on": None
        if result.turning is None
        else {
            "instruments": [r.examination.instrument for r in result.turning.references],
            "lines": [r.line for r in result.turning.references],
            "probability_without": as_probability(result.turning.chance),
            "turns": result.turning.turned,
        },
        "not_weighed": list(result.silent),
        "would_move_it": [{"what": look.what, "bits": look.bits} for look in result.looks],
    }


def _explained(told: Explanation) -> dict[str, float]:
    return {
        "as_recorded": as_probability(told.stands),
        **{name: as_probability(getattr(told, name)) for name in EXPLANATIONS},
    }


def _chance(chance: DrawChance) -> dict[str, Any]:
    return {
        "probability": as_probability(chance.value),
        "standard_error": chance.error,
        "words": probability_words(chance.value),
    }
