"""Several instruments set side by side: which is older, how sure that is, and what decides it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from dating.arrays import Floats
from dating.engine import Weighing
from dating.escapes import escaped
from dating.evidence_cache import EvidenceCache
from dating.examination import Examination
from dating.learning.learned import Learned
from dating.maker import Maker
from dating.months import Period
from dating.succession.arrangement import (
    Arrangement,
    arrange,
    rank_chances,
    rank_range,
    ranks_of,
)
from dating.succession.differences import (
    Difference,
    Reason,
    differences_of,
    left_out_of,
    reasons_between,
)
from dating.succession.further_looks import FurtherLook, further_looks, pair_entropy
from dating.succession.joint_months import SAMPLES, JointMonths, Samples
from dating.succession.links import agreement, known_earlier
from dating.succession.pairs import Pairs, pairs_of
from dating.succession.relations import Group, Relation
from dating.summaries import MonthSet, highest_density, quantile_month
from dating.tables import MonthTables

if TYPE_CHECKING:
    import xarray as xr

_FEW_CELLS = 2**13
"""Instruments times draws from which reasons and further looks are worked out."""
_CLASH = 0.05


@dataclass(frozen=True)
class Neighbours:
    """Two that stand side by side in the row, and what decides which is older.

    Parameters
    ----------
    first, second : str
        The instruments, the one that stands before the other first.
    older, same, younger : float
        P(the first was built in an earlier month, in the same month, in a later month).
    reasons : tuple of Reason
        What was seen, the weightiest first.
    """

    first: str
    second: str
    older: float
    same: float
    younger: float
    reasons: tuple[Reason, ...]


@dataclass(frozen=True)
class Effect:
    """What one statement about several instruments does.

    Parameters
    ----------
    relation : Relation
        The statement.
    before : float
        P(it holds) by what was seen alone.
    after : float
        P(it holds) with all that is known.
    moved : dict of str to int
        By how many months the median of each of its instruments is moved by all statements.
    """

    relation: Relation
    before: float
    after: float
    moved: dict[str, int]

    @property
    def clashes(self) -> bool:
        """Whether what was seen makes it improbable."""
        return self.before < _CLASH


@dataclass(frozen=True, eq=False)
class Comparison:
    """Several instruments of a maker side by side.

    It is an opinion with a probability, not a certificate.

    Parameters
    ----------
    maker : Maker
        The maker file.
    examinations : tuple of Examination
        What was seen on each.
    joint : JointMonths
        Their months together.
    group : Group or None
        What is known between them.
    level : float
        The level of sets and ranges.
    seed : int
        Seed of the draws.
    tables : callable
        Gives month tables at some of the draws, shape (draw,).
    learned : Learned or None
        What was learned, where that took the place of the judgements.

    Examples
    --------
    >>> from dating import compare, read_examination, read_maker
    >>> maker = read_maker("priors/marrowby.yaml")
    >>> three = [read_examination(f"demo_data/examinations/M-00{k}.yaml") for k in (1, 2, 3)]
    >>> compare(maker, three).older.dims
    ('instrument', 'other')
    """

    maker: Maker
    examinations: tuple[Examination, ...]
    joint: JointMonths
    group: Group | None
    level: float
    seed: int
    tables: Callable[[NDArray[np.intp]], MonthTables]
    learned: Learned | None = None

    def __repr__(self) -> str:
        """Name the maker and the row, oldest first."""
        row = " < ".join(self.row[:8]) + (" ..." if len(self.row) > 8 else "")
        return escaped(f"Comparison({self.maker.maker}, {len(self.names)} instruments: {row})")

    @property
    def names(self) -> tuple[str, ...]:
        """The instruments, in the order in which they were given."""
        return self.joint.names

    @property
    def period(self) -> Period:
        """The months over which all dates run."""
        return self.maker.period

    @property
    def relations(self) -> tuple[Relation, ...]:
        """What is known between the instruments."""
        return self.group.known if self.group is not None else ()

    @property
    def learned_from(self) -> tuple[str, ...]:
        """Instruments from which was learned: their word on changeovers is not counted twice."""
        if self.learned is None:
            return ()
        return tuple(
            examination.instrument
            for examination in self.examinations
            if self.learned.rests_on(examination.origin.fingerprint)
        )

    @cached_property
    def probabilities(self) -> Floats:
        """The posteriors as a bare array, (instrument, month); levels corrected where that is due.

        Pairs and places in the row are never corrected.
        """
        return self._corrected(self.joint.posterior)

    @cached_property
    def pairs(self) -> Pairs:
        """Every pair's probabilities as bare arrays."""
        return pairs_of(self.joint, self.samples)

    @cached_property
    def samples(self) -> Samples:
        """Joint draws of all months, from which ranks are counted."""
        return self.joint.samples(self.joint.picked(SAMPLES, self.seed), self.seed)

    @cached_property
    def ranks(self) -> NDArray[np.intp]:
        """Places in the row of each sample from nought, shape (sample, instrument)."""
        known = known_earlier(self.relations, self.names)
        return ranks_of(self.samples, known, self.seed)

    @cached_property
    def arrangement(self) -> Arrangement:
        """The row in which the fewest pairs are expected to be wrong."""
        return arrange(self.pairs.first, self.ranks)

    @property
    def row(self) -> tuple[str, ...]:
        """The instruments, oldest first."""
        return tuple(self.names[place] for place in self.arrangement.places)

    @cached_property
    def rank_ranges(self) -> dict[str, tuple[int, int]]:
        """Places in the row, from one, that hold each instrument at the level; ends included."""
        ranges = (rank_range(row, self.level) for row in rank_chances(self.ranks))
        named = zip(self.names, ranges, strict=True)
        return {name: (low + 1, high + 1) for name, (low, high) in named}

    @cached_property
    def ties(self) -> tuple[tuple[str, ...], ...]:
        """Instruments that stand side by side in the row and cannot be told apart."""
        return tuple(tuple(self.row[at] for at in tie) for tie in self.arrangement.ties)

    @property
    def doubt(self) -> float:
        """Bits of doubt about which of two came first, summed over all pairs."""
        first = self.pairs.first[np.triu_indices(len(self.names), 1)]
        return float(pair_entropy(first).sum())

    @property
    def error(self) -> float:
        """The largest standard error of a pair's probability."""
        return float(self.pairs.error.max())

    def months_of(self, name: str) -> Floats:
        """Give the posterior of one instrument's build month as a bare array.

        Parameters
        ----------
        name : str
            The instrument.

        Returns
        -------
        ndarray of float64, shape (month,)
            Sums to one.
        """
        return np.asarray(self.probabilities[self.names.index(name)])

    def highest_density(self, name: str, level: float | None = None) -> MonthSet:
        """Give the most probable months of one instrument that hold at least the level.

        Parameters
        ----------
        name : str
            The instrument.
        level : float, optional
            That of the comparison unless given.

        Returns
        -------
        MonthSet
            One or several stretches.
        """
        return highest_density(self.months_of(name), self.period, level or self.level)

    def median(self, name: str) -> int:
        """Give the median month of one instrument.

        Parameters
        ----------
        name : str
            The instrument.

        Returns
        -------
        int
            Month number.
        """
        return self.period.first + quantile_month(self.months_of(name), 0.5)

    @cached_property
    def without_relations(self) -> JointMonths:
        """The months of the instruments by what was seen alone, in the same draws."""
        if not self.relations:
            return self.joint
        joint = self.joint
        return JointMonths(joint.names, joint.own, (), joint.log_ratio, joint.least)

    @cached_property
    def effects(self) -> tuple[Effect, ...]:
        """What each statement about several instruments does."""
        if not self.relations:
            return ()
        before = self.without_relations
        picked = before.samples(before.picked(SAMPLES, self.seed), self.seed)
        moved = {
            name: self.median(name) - self.period.first - quantile_month(months, 0.5)
            for name, months in zip(self.names, self._corrected(before.posterior), strict=True)
        }
        return tuple(self._effect(relation, picked, moved) for relation in self.relations)

    @cached_property
    def differences(self) -> tuple[Difference, ...]:
        """What was seen on each, thing by thing."""
        return differences_of(self.maker, self.examinations, [w.pieces for w in self._few])

    @cached_property
    def neighbours(self) -> tuple[Neighbours, ...]:
        """Each two that stand side by side in the row, the oldest first."""
        places = self.arrangement.places
        found = []
        last = left_out_of(self._few[places[0]])
        for first, second in pairwise(places):
            here, last = last, left_out_of(self._few[second])
            older, same = self.pairs.older[first, second], self.pairs.same[first, second]
            found.append(
                Neighbours(
                    self.names[first],
                    self.names[second],
                    float(older),
                    float(same),
                    float(max(1 - older - same, 0.0)),
                    reasons_between(here, last),
                )
            )
        return tuple(found)

    @cached_property
    def looks(self) -> tuple[FurtherLook, ...]:
        """Looks that have not been taken, by how much of the doubt they would take away."""
        count = len(self._few_draws)
        each = max(1, SAMPLES // 2 // count)
        samples = self.joint.samples(np.repeat(self._few_draws, each), self.seed)
        samples = Samples(samples.months, np.searchsorted(self._few_draws, samples.draws))
        looks = [
            look
            for place, (weighing, examination) in enumerate(
                zip(self._few, self.examinations, strict=True)
            )
            for look in further_looks(weighing, self.maker, examination, place, samples)
        ]
        return tuple(sorted(looks, key=lambda look: -look.bits))

    @cached_property
    def older(self) -> xr.DataArray:
        """P(built in an earlier month than the other), dimensions ``instrument``, ``other``."""
        return self._by_instrument(self.pairs.older, "older", {"other": list(self.names)})

    @cached_property
    def same_month(self) -> xr.DataArray:
        """P(built in the same month as the other), dimensions ``instrument``, ``other``."""
        return self._by_instrument(self.pairs.same, "same month", {"other": list(self.names)})

    @cached_property
    def posterior(self) -> xr.DataArray:
        """P(build month | everything on all), dimensions ``instrument`` and ``month``."""
        month = self.period.axis().astype("datetime64[s]")
        return self._by_instrument(self.probabilities, "posterior", {"month": month})

    @cached_property
    def rank(self) -> xr.DataArray:
        """P(place in the row, from one), dimensions ``instrument`` and ``place``."""
        places = np.arange(1, len(self.names) + 1)
        return self._by_instrument(rank_chances(self.ranks), "rank", {"place": places})

    @cached_property
    def _few_draws(self) -> NDArray[np.intp]:
        return self.joint.picked(max(32, min(256, _FEW_CELLS // len(self.names))), self.seed)

    @cached_property
    def _few(self) -> list[Weighing]:
        """The evidence on each instrument in a few of the draws."""
        cache = EvidenceCache(self.maker, self.tables(self._few_draws))
        return [cache.weighing(examination) for examination in self.examinations]

    def _corrected(self, stated: Floats) -> Floats:
        """Correct levels where that is due, shape (instrument, month)."""
        return stated if self.learned is None else self.learned.corrected(stated)

    def _effect(self, relation: Relation, samples: Samples, moved: dict[str, int]) -> Effect:
        named = relation.content.instruments
        places = [self.names.index(name) for name in named]
        before = agreement(relation, samples.months[:, places], self.period)
        after = agreement(relation, self.samples.months[:, places], self.period)
        return Effect(
            relation,
            float(before.mean()),
            float(after.mean()),
            {name: moved[name] for name in named},
        )

    def _by_instrument(
        self, values: Floats, name: str, other: Mapping[str, Sequence[str] | NDArray[Any]]
    ) -> xr.DataArray:
        import xarray as xr  # noqa: PLC0415

        return xr.DataArray(
            values,
            dims=("instrument", *other),
            coords={"instrument": list(self.names), **other},
            name=name,
            attrs={"units": "probability"},
        )
