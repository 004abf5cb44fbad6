"""What was made when, draw by draw: first and last uses, changeovers, shares, numbers.

All quantities of one :class:`Production` belong to the same joint draws, so that what is claimed
together is judged together.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from dating.arrays import Floats
from dating.learning.layout import VARIANTS, Layout, Track, layout_of
from dating.learning.learned import Learned, affordable, learned_tables
from dating.learning.prior import prior_draws
from dating.maker import Maker
from dating.tables import MonthTables

DRAWS = 2048
"""Draws from which shares and numbers are worked out; dates and overlaps use all there are."""


@dataclass(frozen=True, eq=False)
class Production:
    """Joint draws of one maker's history.

    Parameters
    ----------
    maker : Maker
        The maker file.
    draws : Learned
        From the judgements, or from what was learned.
    """

    maker: Maker
    draws: Learned

    @cached_property
    def layout(self) -> Layout:
        """The maker file's numbers, ramps and courses."""
        return layout_of(self.maker)

    @cached_property
    def tables(self) -> MonthTables:
        """The month tables of the draws."""
        return learned_tables(self.maker, self.draws)

    @cached_property
    def starts(self) -> Floats:
        """First use of every changeover, shape (draw, ramp), in months since the period began."""
        return self.layout.starts(self.draws.values)

    @cached_property
    def ends(self) -> Floats:
        """Where every changeover is over, shape (draw, ramp), in the same unit."""
        return self.starts + self.layout.overlaps(self.draws.values)

    def thinned(self, count: int = DRAWS) -> Production:
        """Keep some of the draws: those that its month tables are made from."""
        draws = affordable(self.maker, self.draws.thinned(count))
        return (
            self if len(draws.values) == len(self.draws.values) else Production(self.maker, draws)
        )

    def overlap(self, ramp: int) -> Floats:
        """Give the overlap of a changeover as it was judged or learned.

        Shape: (draw,).
        """
        return np.asarray(self.draws.values[:, self.layout.ramps[ramp].overlap])

    def first_use(self, feature: str, state: str, variant: str | None) -> Floats:
        """Give the first use of a state, the earliest over the variants it is asked for.

        Shape: (draw,).
        """
        each = [self._uses(track, state)[0] for track in self.layout.tracks_of(feature, variant)]
        return np.asarray(np.min(each, axis=0))

    def last_use(self, feature: str, state: str, variant: str | None) -> Floats:
        """Give the last use of a state, the latest over the variants it is asked for.

        Shape: (draw,).
        """
        each = [self._uses(track, state)[1] for track in self.layout.tracks_of(feature, variant)]
        return np.asarray(np.max(each, axis=0))

    def numbers(self, seed: int = 1) -> Floats:
        """Draw how many instruments were made in each month.

        Shape: (draw, month).
        """
        count = len(self.draws.values)
        monthly = np.zeros((count, len(self.maker.period)))
        generator = np.random.default_rng((seed, 11))
        for output in self.maker.output:
            first = output.during.first - self.maker.period.first
            inside = slice(first, first + len(output.during))
            totals = output.made.distribution().quantile(generator.uniform(1e-9, 1 - 1e-9, count))
            monthly[:, inside] += totals[:, None] / len(output.during)
        return monthly

    def weights(self) -> Floats:
        """Give the weight of each month of each draw, as made where the output is stated.

        Shape: (draw, month).
        """
        return self._weights

    @cached_property
    def _weights(self) -> Floats:
        if self.maker.output:
            return self.numbers()
        return np.asarray(self.tables.prior.sum(axis=1) / self.tables.weights[:, None])

    @cached_property
    def _among(self) -> Floats:
        """P(variant | month) in each draw, zero where nothing is made; (draw, variant, month)."""
        prior = self.tables.prior
        whole = prior.sum(axis=1, keepdims=True)
        return np.divide(prior, whole, out=np.zeros_like(prior), where=whole > 0)

    def chance_of(self, states: Mapping[str, Sequence[str]], variant: str | None) -> Floats:
        """Give the probability that an instrument of a month has a combination of states.

        Shape: (draw, month).
        """
        tables = self.tables
        chosen_variants = [variant] if variant is not None else list(states.get(VARIANTS, ()))
        among = self._among
        if chosen_variants:
            if variant is not None and VARIANTS in states:
                chosen_variants = [name for name in chosen_variants if name in states[VARIANTS]]
            chosen = np.array([name in chosen_variants for name in tables.variants], dtype=float)
            among = among * np.repeat(chosen, tables.latent)[None, :, None]
        for feature, names in states.items():
            if feature != VARIANTS:
                table = tables.features[feature]
                among = among * table.weighed(np.array([s in names for s in table.states], float))
        return np.asarray(among.sum(axis=1))

    def _uses(self, track: Track, state: str) -> tuple[Floats, Floats]:
        """Give first and last use on one course; a regime is reached when all before are past."""
        column = track.states.index(state)
        count = len(self.draws.values)
        first, last = np.full(count, np.inf), np.full(count, -np.inf)
        reached = np.full(count, -np.inf)
        for regime, shares in enumerate(track.shares):
            if regime:
                reached = np.maximum(reached, self.starts[:, track.ramps[regime - 1]])
            ends = regime < len(track.ramps)
            left = self.ends[:, track.ramps[regime]] if ends else np.full(count, np.inf)
            if shares[column] > 0:
                there = reached < left
                first = np.where(there, np.minimum(first, reached), first)
                last = np.where(there, np.maximum(last, left), last)
        return first, last


@lru_cache(maxsize=4)
def judged_production(maker: Maker, count: int | None = None) -> Production:
    """Give production by the judgements alone, kept for the next state of a claims file."""
    if count is None:
        return Production(maker, prior_draws(maker))
    return judged_production(maker).thinned(count)
