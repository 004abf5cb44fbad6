"""Every claim weighed: before the evidence, after it, and what the evidence was worth."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from dating.claims.evidence import Basis, Evidence
from dating.claims.examples import Witness, examples_of, turning_of
from dating.claims.files import Manuscript, manuscript_of
from dating.claims.further_evidence import FurtherEvidence, looks_of
from dating.claims.row_evidence import Turning
from dating.claims.statements import Assertion, Built, Claim, Claims
from dating.claims.strength import (
    DrawChance,
    Factor,
    chance_from,
    factor_from,
    probability_words,
)
from dating.claims.truth import quantity
from dating.escapes import escaped
from dating.files import maker_named, read_maker
from dating.learning.comparison import points_of
from dating.learning.corpus import Corpus
from dating.learning.learned import Learned, draws_of
from dating.libraries import check_libraries
from dating.maker import Maker
from dating.reading import InputError
from dating.summaries import quantile_month

if TYPE_CHECKING:
    import xarray as xr

LIBRARIES = ("scipy", "h5netcdf")
MOST_DRAWS = 8000
"""Draws of what was learned that are used; ``dating learn`` keeps 4,000 unless told otherwise."""

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
    basis : Basis
        What the probability rests on, beside the assessors' judgements.
    turning : Turning or None
        The fewest dated instruments without which a claim about production would turn; None where
        nothing was learned, it is as likely as not, or the draws do not tell.
    """

    claim: Claim
    prior: DrawChance
    posterior: DrawChance
    factor: Factor | None
    points: tuple[Points | None, ...]
    examples: tuple[Witness, ...]
    looks: tuple[FurtherEvidence, ...]
    silent: tuple[str, ...] = ()
    basis: Basis = field(default_factory=Basis)
    turning: Turning | None = None

    def __repr__(self) -> str:
        """Name the claim, and give its probability before and after the evidence."""
        chances = f"{self.prior.value:.2f} before, {self.posterior.value:.2f} after"
        return escaped(f"ClaimResult({self.claim.claim}, {chances})")


def weigh(
    claims: Claims,
    maker: Maker | None = None,
    *,
    learned: Learned | xr.DataTree | None = None,
    corpus: Corpus | None = None,
) -> tuple[ClaimResult, ...]:
    """Weigh an author's claims: how probable each is, and what the evidence was worth.

    Parameters
    ----------
    claims : Claims
        The claims; the examinations that they list are read from beside their file.
    maker : Maker, optional
        The maker file; found by the name that the claims give unless given.
    learned : DataTree or Learned, optional
        What was learned from a corpus; without it production is judged, and there is no evidence
        about it.
    corpus : Corpus, optional
        Dated instruments, which are named where they speak for or against a claim. Nothing is
        learned from them here: give what :func:`dating.learn` has learned from them beside them.

    Returns
    -------
    tuple of ClaimResult
        One for each claim, in the order of the file.

    Raises
    ------
    InputError
        When the maker file is not found, names do not agree, an examination has a fault, no month
        of the period allows what was seen on one of the instruments, or what was learned is of
        another maker file or rests on draws that were set aside.
    TypeError
        When what was learned is something else.
    ModuleNotFoundError
        When a library for weighing claims is missing.

    Examples
    --------
    >>> from dating import read_claims
    >>> made = weigh(read_claims("demo_data/marrowby_claims.yaml"))
    >>> len(made), 0 <= made[0].posterior.value <= 1
    (14, True)
    """
    check_libraries("weighing claims", LIBRARIES)
    maker = maker or read_maker(maker_named(claims.maker, claims.origin))
    draws = draws_of(learned, maker, MOST_DRAWS)
    return weigh_manuscript(manuscript_of(claims, maker), draws, corpus)


def weigh_manuscript(
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
    basis = evidence.basis(claim.instruments())
    return ClaimResult(
        claim=claim,
        prior=prior,
        posterior=posterior,
        factor=factor_from(prior, posterior) if basis.has_evidence else None,
        points=tuple(_points(saying, evidence) for saying in sayings),
        examples=examples_of(claim, corpus, evidence),
        looks=looks_of(claim, evidence),
        silent=evidence.silent(claim.instruments()),
        basis=basis,
        turning=turning_of(claim, corpus, evidence) if _is_settled(posterior) else None,
    )


def _is_settled(chance: DrawChance) -> bool:
    """Say whether a claim is likely or unlikely, so that there is something to turn."""
    return probability_words(chance.value) != probability_words(0.5)


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
