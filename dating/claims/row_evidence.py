"""What each dated instrument contributes to a claim, and which few would turn it if left out."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

import numpy as np

from dating.arrays import Floats
from dating.calibration.cross_validation import likelihood_with_swap, prior_in_months
from dating.claims.production import Production
from dating.engine import Weighing
from dating.evidence import pieces_of, swapped_chances
from dating.examination import Examination
from dating.learning.corpus import Corpus, Reference
from dating.learning.layout import VARIANTS

MOST_LEFT_OUT = 5
"""Instruments that are left out together at most, in search of those that would turn a claim."""
_ENOUGH = 20.0
"""Draws that are needed on either side of a claim, or in effect where rows are left out."""
_FEWEST = 5.0
"""Draws on the other side of a claim without which nothing can be said of what would turn it."""
_TRIED = 40
"""Instruments that are tried in pairs."""


@dataclass(frozen=True)
class Turning:
    """The fewest dated instruments without which a claim would turn.

    Parameters
    ----------
    references : tuple of Reference
        They, those first that carry it most.
    chance : float
        The probability of the claim without them.
    turned : bool
        Whether it passes to the other side of one half; if not, these are the ones that carry it
        most.
    """

    references: tuple[Reference, ...]
    chance: float
    turned: bool


class RowEvidence:
    """What the rows of a corpus say of some features, in each of some joint draws.

    Parameters
    ----------
    corpus : Corpus
        Dated instruments.
    production : Production
        Joint draws of the maker's history.
    features : collection of str
        The features in question, or ``variants``; the rows without them say nothing.
    """

    def __init__(self, corpus: Corpus, production: Production, features: Collection[str]) -> None:
        self.corpus, self.production = corpus, production
        self.features = tuple(sorted(features))
        seen = [self._sighting(reference.examination) for reference in corpus.references]
        self.places = tuple(place for place, sighting in enumerate(seen) if sighting is not None)
        self._likelihoods: dict[str, list[Floats]] = {}
        self._sightings = [sighting for sighting in seen if sighting is not None]

    def _sighting(self, examination: Examination) -> Examination | None:
        """Keep of an examination what was seen of the features, and the variant."""
        sights = {name: examination.seen.get(name) for name in self.features}
        seen = {name: sight for name, sight in sights.items() if sight is not None}
        if not seen and (VARIANTS not in self.features or examination.variant is None):
            return None
        return examination.alone(seen=seen, variant=examination.variant, parts=examination.parts)

    @cached_property
    def logs(self) -> Floats:
        """Natural logarithms of P(record of a row, its stated date | draw).

        As learning has it: each feature with a swap of its own. Shape: (row of ``places``, draw).
        """
        references = [self.corpus.references[place] for place in self.places]
        output, by_month, rows = self.production.tables.output, dict[str, Floats](), []
        for reference, sighting in zip(references, self._sightings, strict=True):
            key = sighting.model_dump_json()
            if key not in by_month:
                by_month[key] = self._by_month(sighting)
            stated = reference.likelihood(output) if reference.dated else reference.window
            rows.append(by_month[key] @ stated)
        with np.errstate(divide="ignore"):
            return np.log(np.maximum(np.array(rows), 1e-300))

    def _by_month(self, sighting: Examination) -> Floats:
        """Give P(month, record) in each draw, shape (draw, month)."""
        maker, tables = self.production.maker, self.production.tables
        swapped, joint = swapped_chances(maker, sighting), self._prior
        for name, record in [*sighting.seen.items(), (VARIANTS, sighting.variant)]:
            seen = {} if name == VARIANTS else {name: record}
            variant = record if name == VARIANTS else None
            single = sighting.model_copy(update={"seen": seen, "variant": variant})
            key = single.model_dump_json()
            if key not in self._likelihoods:
                pieces, _ = pieces_of(single, maker, tables)
                weighing = Weighing(tables, swapped, pieces)
                each = [likelihood_with_swap(weighing, piece, maker) for piece in pieces]
                self._likelihoods[key] = each
            for likelihood in self._likelihoods[key]:
                joint = joint * likelihood
        return np.asarray(joint.sum(axis=1))

    @cached_property
    def _prior(self) -> Floats:
        """P(variant, month) in each draw, shape (draw, variant, month)."""
        tables = self.production.tables
        return prior_in_months(tables, np.arange(len(tables.period)))

    def bits(self, true: Floats) -> Floats | None:
        """Say how far each row by itself moves the odds of a claim, in bits.

        Parameters
        ----------
        true : ndarray of float64, shape (draw,)
            Whether the claim is true in each draw, or with what probability.

        Returns
        -------
        ndarray of float64, shape (row of ``places``,), or None
            log2 P(row | claim) / P(row | its opposite), above nought where it speaks for the claim;
            None where too few draws are on one of the sides.

        References
        ----------
        Good, I. J. (1985). Weight of evidence: a brief survey. *Bayesian Statistics* 2, 249-270.
        """
        if min(true.sum(), len(true) - true.sum()) < _ENOUGH or not self.places:
            return None
        likelihood = np.exp(self.logs - self.logs.max(axis=1, keepdims=True))
        given, otherwise = (
            np.maximum(likelihood @ part / part.sum(), 1e-300) for part in (true, 1 - true)
        )
        return np.asarray(np.log2(given / otherwise))

    def turning(self, true: Floats) -> Turning | None:
        """Find the fewest rows without whose record a claim passes to the other side of a half.

        One and two rows are tried in all ways, among those that carry it most; further ones are
        added one by one.

        Parameters
        ----------
        true : ndarray of float64, shape (draw,)
            Whether the claim is true in each draw that was learned with these rows.

        Returns
        -------
        Turning or None
            None where the draws know of one side only, or too few of them would be left.

        References
        ----------
        Gelfand, A. E., Dey, D. K. and Chang, H. (1992). Model determination using predictive
        distributions with implementation via sampling-based methods. *Bayesian Statistics* 4,
        147-167; rows are left out by weights of one over their likelihood.
        """
        if min(true.sum(), len(true) - true.sum()) < _FEWEST or not self.places:
            return None
        search = _Search(self.logs, true)
        singles = search.ranked([(row,) for row in range(len(self.places))])
        best, found = singles[:1], None
        for size in range(1, MOST_LEFT_OUT + 1):
            if size == 2:
                few = [rows[0] for _, rows in singles[:_TRIED]]
                best = search.ranked(list(combinations(few, 2)))[:1]
            elif size > 2:
                chosen = best[0][1]
                left = [rows[0] for _, rows in singles if rows[0] not in chosen]
                best = search.ranked([(*chosen, row) for row in left])[:1]
            if not best:
                break
            chance, rows = best[0]
            left_out = tuple(self.corpus.references[self.places[row]] for row in rows)
            found = Turning(left_out, chance, (chance > 0.5) == search.upwards)
            if found.turned:
                break
        return found


class _Search:
    """The chance of a claim without some rows, by weighing the draws that were learned with them.

    Shapes: logs (row, draw); true (draw,).
    """

    def __init__(self, logs: Floats, true: Floats) -> None:
        self.logs, self.true = logs, true
        self.upwards = bool(true.mean() <= 0.5)

    def without(self, rows: Sequence[int]) -> float | None:
        """Give the chance; None where too few draws are left in effect."""
        left = -self.logs[list(rows)].sum(axis=0)
        weights = np.exp(left - left.max())
        if weights.sum() ** 2 / (weights**2).sum() < _ENOUGH:
            return None
        return float(weights @ self.true / weights.sum())

    def ranked(self, options: Sequence[tuple[int, ...]]) -> list[tuple[float, tuple[int, ...]]]:
        """Order options by how far they move the claim towards its opposite."""
        tried = [(self.without(rows), rows) for rows in options]
        known = [(chance, rows) for chance, rows in tried if chance is not None]
        return sorted(known, key=lambda each: each[0], reverse=self.upwards)
