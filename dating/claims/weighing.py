"""Every claim weighed: before the evidence, after it, and what the evidence was worth."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from dating.batch import Stock
from dating.claims.files import Manuscript
from dating.claims.instruments import joint_truth
from dating.claims.production import Production
from dating.claims.statements import Claim, Saying
from dating.claims.strength import Chance, Factor, chance_from, factor_from
from dating.claims.truth import chance_true, needs_tables
from dating.engine import Weighing
from dating.examination import Examination
from dating.learning.learned import DRAWS, Learned, tables_for
from dating.learning.prior import prior_draws
from dating.reading import InputError

type Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Weighed:
    """One claim and what the evidence says of it.

    Parameters
    ----------
    claim : Claim
        The claim.
    prior : Chance
        Before the evidence: from the judgements alone, or from production alone where it is about
        an instrument.
    posterior : Chance
        After it.
    factor : Factor or None
        The Bayes factor; None where there was no evidence.
    """

    claim: Claim
    prior: Chance
    posterior: Chance
    factor: Factor | None


class Evidence:
    """What claims are weighed by: draws before and after a corpus, and examinations.

    Parameters
    ----------
    manuscript : Manuscript
        The claims with their maker file and examinations.
    learned : Learned or None
        All draws of what was learned from a corpus, if anything was.
    """

    def __init__(self, manuscript: Manuscript, learned: Learned | None = None) -> None:
        self.maker, self.learned = manuscript.maker, learned
        self.examinations = manuscript.examinations
        self._tables: dict[bool, Stock] = {}

    @cached_property
    def judged(self) -> Production:
        """Production by the judgements alone."""
        return Production(self.maker, prior_draws(self.maker))

    @cached_property
    def known(self) -> Production:
        """Production by what was learned, or else by the judgements."""
        return self.judged if self.learned is None else Production(self.maker, self.learned)

    @cached_property
    def judged_few(self) -> Production:
        """As many draws of the judgements as month tables are made from."""
        return self.judged.thinned()

    @cached_property
    def known_few(self) -> Production:
        """As many draws of what is known as month tables are made from."""
        return self.judged_few if self.learned is None else self.known.thinned()

    @cached_property
    def joint(self) -> Production:
        """The draws in which instruments and production are judged together."""
        return self.known.thinned(DRAWS)

    def stock(self, together: bool) -> Stock:
        """Give the month tables that instruments are weighed by.

        Parameters
        ----------
        together : bool
            Whether several of them, or production, are judged in the same draws; one instrument
            alone is weighed as ``dating estimate`` does it.

        Returns
        -------
        Stock
            Kept for the next claim.
        """
        if together not in self._tables:
            few = None if self.learned is None else self.joint.draws
            tables = self.joint.tables if together else tables_for(self.maker, few)
            self._tables[together] = Stock(self.maker, tables)
        return self._tables[together]

    def truth(
        self, sayings: Sequence[Saying], examinations: Mapping[str, Examination]
    ) -> tuple[Floats, Floats]:
        """Give P(claims, evidence) and P(evidence) in each draw, after the corpus.

        Parameters
        ----------
        sayings : sequence of Saying
            What is claimed together.
        examinations : mapping of str to Examination
            What was seen on the instruments that they are about.

        Returns
        -------
        true, weight : ndarray of float64, shape (draw,)
            The former does not exceed the latter.
        """
        about = [saying for saying in sayings if saying.instruments()]
        made = [saying for saying in sayings if not saying.instruments()]
        if not about:
            return _of_production(made, self.known, self.known_few)
        names = dict.fromkeys(name for saying in about for name in saying.instruments())
        together = bool(made) or len(names) > 1
        stock = self.stock(together)
        weighings = {name: stock.weighing(examinations[name]) for name in names}
        true, weight = joint_truth(about, weighings)
        for saying in made:
            true = true * chance_true(saying, self.joint)
        return true, weight

    def before(self, sayings: Sequence[Saying]) -> tuple[Floats, Floats]:
        """Give the same before the evidence: nothing learned, nothing seen on any instrument.

        Parameters
        ----------
        sayings : sequence of Saying
            What is claimed together.

        Returns
        -------
        true, weight : ndarray of float64, shape (draw,)
            The former does not exceed the latter.
        """
        about = [saying for saying in sayings if saying.instruments()]
        made = [saying for saying in sayings if not saying.instruments()]
        if not about:
            return _of_production(made, self.judged, self.judged_few)
        names = dict.fromkeys(name for saying in about for name in saying.instruments())
        joint = self.judged.thinned(DRAWS)
        stock = Stock(self.maker, joint.tables)
        blank = {name: Weighing(stock.tables, stock.swapped, ()) for name in names}
        true, weight = joint_truth(about, blank)
        for saying in made:
            true = true * chance_true(saying, joint)
        return true, weight


def weigh(manuscript: Manuscript, learned: Learned | None = None) -> tuple[Weighed, ...]:
    """Weigh every claim of a manuscript.

    Parameters
    ----------
    manuscript : Manuscript
        The claims with their maker file and examinations.
    learned : Learned, optional
        What was learned from a corpus, with all its draws.

    Returns
    -------
    tuple of Weighed
        In the order of the file.

    Raises
    ------
    InputError
        When no month of the period allows what was seen on one of the instruments.
    """
    evidence = Evidence(manuscript, learned)
    return tuple(weighed(claim, evidence) for claim in manuscript.claims.claims)


def weighed(claim: Claim, evidence: Evidence) -> Weighed:
    """Weigh one claim.

    Parameters
    ----------
    claim : Claim
        The claim.
    evidence : Evidence
        What it is weighed by.

    Returns
    -------
    Weighed
        Its probabilities and Bayes factor.

    Raises
    ------
    InputError
        When no month of the period allows what was seen on one of the instruments.
    """
    sayings = claim.sayings()
    prior = chance_from(*evidence.before(sayings))
    true, weight = evidence.truth(sayings, evidence.examinations)
    if weight.sum() <= 0:
        origin = evidence.examinations[claim.instruments()[0]].origin
        names = ", ".join(claim.instruments())
        message = f"no month of the period allows what was seen together (on {names})"
        raise InputError([origin.problem((), message)])
    posterior = chance_from(true, weight)
    nothing = evidence.learned is None and not claim.instruments()
    return Weighed(claim, prior, posterior, None if nothing else factor_from(prior, posterior))


def _of_production(
    sayings: Sequence[Saying], production: Production, few: Production
) -> tuple[Floats, Floats]:
    """Multiply within each draw what is claimed of production; draws weigh the same."""
    chosen = few if any(needs_tables(saying) for saying in sayings) else production
    true = np.ones(len(chosen.draws.values))
    for saying in sayings:
        true = true * chance_true(saying, chosen)
    return true, np.ones_like(true)
