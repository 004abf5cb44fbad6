"""Every claim weighed: before the evidence, after it, and what the evidence was worth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dating.claims.evidence import Evidence
from dating.claims.examples import Witness, examples_of
from dating.claims.files import Manuscript
from dating.claims.further_evidence import FurtherEvidence, looks_of
from dating.claims.statements import Assertion, Built, Claim
from dating.claims.strength import DrawChance, Factor, chance_from, factor_from
from dating.claims.truth import quantity
from dating.learning.comparison import points_of
from dating.learning.corpus import Corpus
from dating.learning.learned import Learned
from dating.reading import InputError
from dating.summaries import quantile_month

type Points = tuple[float, float, float]


@dataclass(frozen=True, eq=False)
class ClaimResult:
    """One claim and what the evidence says of it.

    Parameters
    ----------
    claim : Claim
        The claim.
    prior : DrawChance
        Before the evidence: from the judgements alone, or from production alone where it is about
        an instrument.
    posterior : DrawChance
        After it.
    factor : Factor or None
        The Bayes factor; None where there was no evidence.
    points : tuple of (float, float, float) or None
        For each thing that is claimed, 5, 50 and 95 % points of the number it is about, after the
        evidence: a date in months since the period began, months, a share, or instruments; None
        where it is about no number.
    examples : tuple of Witness
        What speaks against it and for it.
    looks : tuple of FurtherEvidence
        What would move it most.
    silent : tuple of str
        What was seen and says nothing, since nothing was learned, such as ``wood of A``.
    """

    claim: Claim
    prior: DrawChance
    posterior: DrawChance
    factor: Factor | None
    points: tuple[Points | None, ...]
    examples: tuple[Witness, ...]
    looks: tuple[FurtherEvidence, ...]
    silent: tuple[str, ...] = ()


def weigh(
    manuscript: Manuscript,
    learned: Learned | None = None,
    corpus: Corpus | None = None,
) -> tuple[ClaimResult, ...]:
    """Weigh every claim of a manuscript.

    Raises InputError when no month of the period allows what was seen on one of the instruments.
    """
    evidence = Evidence(manuscript, learned)
    return tuple(weighed(claim, evidence, corpus) for claim in manuscript.claims.claims)


def weighed(claim: Claim, evidence: Evidence, corpus: Corpus | None = None) -> ClaimResult:
    """Weigh one claim.

    Raises InputError when no month of the period allows what was seen on one of the instruments.
    """
    sayings = claim.sayings()
    prior = chance_from(*evidence.before(sayings))
    true, weight = evidence.truth(sayings, evidence.examinations)
    if not weight.sum():
        names = ", ".join(claim.instruments())
        message = f"no month of the period allows what was seen ({names})"
        origin = evidence.examinations[claim.instruments()[0]].origin
        raise InputError([origin.problem((), message)])
    posterior = chance_from(true, weight)
    nothing = evidence.learned is None and not claim.instruments()
    return ClaimResult(
        claim=claim,
        prior=prior,
        posterior=posterior,
        factor=None if nothing else factor_from(prior, posterior),
        points=tuple(_points(saying, evidence) for saying in sayings),
        examples=examples_of(claim, corpus, evidence),
        looks=looks_of(claim, evidence),
        silent=evidence.silent(claim.instruments()),
    )


def _points(saying: Assertion, evidence: Evidence) -> Points | None:
    """Give 5, 50 and 95 % points of the number that something claimed is about."""
    match saying.content:
        case Built(instrument=name):
            posterior = evidence.dated(name)
            low, middle, high = (float(quantile_month(posterior, p)) for p in (0.05, 0.5, 0.95))
            return low, middle, high
        case _ if saying.instruments():
            return None
        case _:
            values = quantity(saying, evidence.known_few)
            finite = values[~np.isnan(values)]
            return points_of(finite) if len(finite) else None
