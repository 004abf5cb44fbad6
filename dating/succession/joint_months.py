"""The build months of several instruments together, in weighted draws.

Given a draw, instruments are independent but for what is known between them. So their joint
probability is a product within each draw, and that product is summed by elimination. Where so much
is known that tables would grow too large, statements about two are set aside until they do not;
months drawn without them are accepted with the probability that those statements give them, which
leaves independent draws from the whole (von Neumann's rejection), and all is counted in these.

References
----------
Robert, C. P. and Casella, G. (2004). *Monte Carlo Statistical Methods*, 2nd edition, Springer,
section 2.3, for rejection. doi:10.1007/978-1-4757-4145-2
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from dating.arrays import Floats
from dating.magnitudes import ratio
from dating.succession.elimination import (
    LARGEST,
    Factor,
    by_portions,
    drawn_months,
    drawn_places,
    eliminated,
    plan_of_elimination,
    portions,
)
from dating.succession.joint_draws import LEAST, effective, tempered
from dating.succession.months_by_draw import MonthsByDraw

SAMPLES = 8192
_TRIES = 200
"""Rounds of as many samples as are wanted, after which too few were accepted."""
_MOST_CELLS = 4.0e10
"""Cells of all tables, over all draws, that a pair may take."""


class TooEntangledError(ValueError):
    """What is known between instruments cannot be summed over; its text names the instruments."""


@dataclass(frozen=True, eq=False)
class Samples:
    """Joint draws of the build months of all instruments.

    Parameters
    ----------
    months : ndarray of int, shape (sample, instrument)
        Months since the start of the period.
    draws : ndarray of int, shape (sample,)
        The draw of the maker's numbers that each belongs to.
    """

    months: NDArray[np.intp]
    draws: NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class JointMonths:
    """The months of several instruments, what is known between them included.

    Parameters
    ----------
    names : tuple of str
        The instruments.
    own : MonthsByDraw
        What was seen on each.
    factors : tuple of Factor
        What is known between them, over the names and hidden nodes.
    log_ratio : ndarray of float64, shape (draw,)
        Natural logarithm of the weight of each draw before any evidence.
    least : float
        Effective draws below which evidence counts in part only.
    """

    names: tuple[str, ...]
    own: MonthsByDraw
    factors: tuple[Factor, ...]
    log_ratio: Floats
    least: float = LEAST

    @cached_property
    def groups(self) -> tuple[tuple[str, ...], ...]:
        """Instruments between which something is known, directly or through others."""
        label = {name: {name} for name in self.names}
        for factor in self.factors:
            for name in factor.nodes:
                label.setdefault(name, {name})
            joined = set().union(*(label[name] for name in factor.nodes))
            for name in joined:
                label[name] = joined
        sets = {id(group): group for group in label.values() if len(group) > 1}
        return tuple(tuple(name for name in self.names if name in group) for group in sets.values())

    @cached_property
    def _parted(self) -> tuple[tuple[Factor, ...], tuple[Factor, ...]]:
        """Part the factors into those that are summed over and those that are set aside."""
        kept, aside = list(self.factors), list[Factor]()
        tied = {name for factor in kept for name in factor.nodes}
        months = zip(self.names, self.own.months, strict=True)
        own = [Factor((name,), each) for name, each in months if name in tied]
        while plan_of_elimination([*own, *kept])[2] > LARGEST:
            two = [factor for factor in kept if set(factor.nodes) <= set(self.names)]
            two = [factor for factor in two if len(factor.nodes) > 1]
            if not two:
                raise TooEntangledError(", ".join(self.groups[0]))
            aside.append(max(two, key=lambda factor: self._ties(factor, kept)))
            kept = [factor for factor in kept if factor is not aside[-1]]
        return tuple(kept), tuple(aside)

    @staticmethod
    def _ties(factor: Factor, factors: Sequence[Factor]) -> int:
        """Count the factors that share a node with one."""
        return sum(bool(set(factor.nodes) & set(other.nodes)) for other in factors)

    @property
    def is_counted(self) -> bool:
        """Whether everything is counted in samples, as too much is known to be summed over."""
        return bool(self._parted[1])

    def factors_of(self, group: Sequence[str]) -> list[Factor]:
        """Give the factors of one group: of what was seen, and of what is known between them."""
        own = [Factor((name,), self.own.months[self.names.index(name)]) for name in group]
        kept, reached = self._parted[0], set(group)
        for _ in kept:  # hidden nodes are reached through the instruments
            reached |= {n for f in kept if reached & set(f.nodes) for n in f.nodes}
        return own + [factor for factor in kept if reached & set(factor.nodes)]

    @cached_property
    def _known(self) -> tuple[Floats, Floats]:
        """Give ln P(what is known | draw), (draw,), and P(month | draw, all), as ``own.months``."""
        months = self.own.months.copy() if self.groups else self.own.months
        logs = np.zeros(months.shape[1])
        for group in self.groups:
            factors = self.factors_of(group)
            for name in group:
                table = by_portions(factors, (name,))
                total = table.sum(axis=1)
                place = self.names.index(name)
                possible = total[:, None] > 0
                np.divide(table, total[:, None], out=months[place], where=possible)
            with np.errstate(divide="ignore"):
                logs += np.log(total)
        return logs, months

    @property
    def months(self) -> Floats:
        """P(month | draw, all that is known), shape (instrument, draw, month)."""
        return self._known[1]

    @cached_property
    def _weights(self) -> tuple[Floats, float]:
        logs = self.own.logs.sum(axis=0) + self._known[0]
        if not np.isfinite(logs).any():
            return np.zeros_like(logs), 0.0
        return tempered(self.log_ratio, logs, min(self.least, len(logs)))

    @property
    def weights(self) -> Floats:
        """Weights of the draws, which sum to one; all nought where nothing is possible."""
        return self._weights[0]

    @property
    def share(self) -> float:
        """How far the instruments' word on the changeovers counts; 1 unless draws are too few."""
        return self._weights[1]

    @property
    def effective(self) -> float:
        """How many draws of equal weight would tell as much."""
        return effective(self.weights)

    @cached_property
    def posterior(self) -> Floats:
        """P(month | all), shape (instrument, month)."""
        if self.is_counted:
            samples = self.samples(self.picked(SAMPLES))
            length = self.months.shape[2]
            counts = [np.bincount(column, minlength=length) for column in samples.months.T]
            return np.array(counts) / len(samples.draws)
        return np.asarray(np.einsum("d,idm->im", self.weights, self.months))

    def tied_pair(
        self, group: Sequence[str], names: tuple[str, str]
    ) -> tuple[Floats, Floats] | None:
        """Give P(first older | draw) and P(same month | draw) of two instruments of one group.

        None where that takes too long. Shapes: gives (draw,), (draw,).
        """
        if self.is_counted:
            return None
        factors = self.factors_of(group)
        _, cells, largest = plan_of_elimination(factors, names)
        if largest > LARGEST or cells * len(self.weights) > _MOST_CELLS / len(group) ** 2:
            return None
        before = np.triu(np.ones((self.months.shape[2],) * 2), 1)
        older, same, every = [], [], []
        for _, part in portions(factors, names):
            table = eliminated(part, names)[0]
            older.append(np.einsum("dab,ab->d", table, before))
            same.append(np.einsum("daa->d", table))
            every.append(table.sum(axis=(1, 2)))
        total = np.concatenate(every)
        return ratio(np.concatenate(older), total), ratio(np.concatenate(same), total)

    def picked(self, count: int, seed: int = 1) -> NDArray[np.intp]:
        """Pick draws by their weights, evenly spread; the same draw may come more than once.

        Shape: (count,).
        """
        at = (np.arange(count) + np.random.default_rng((seed, count)).random(count)) / count
        reached = self.weights.cumsum()
        places = np.searchsorted(reached, at * reached[-1])
        return np.asarray(np.minimum(places, len(reached) - 1))

    def samples(self, draws: NDArray[np.intp], seed: int = 1) -> Samples:
        """Draw the months of all instruments together, as often as there are draws given.

        Each draw is taken once, or, where some statements are set aside, as often as it is
        accepted. Shapes: draws (sample,).
        """
        generator = np.random.default_rng((seed, len(draws), 5))
        aside = self._parted[1]
        if not aside:
            return Samples(self._drawn(draws, generator), draws)
        months, taken, count = [], [], 0
        for _ in range(_TRIES):
            fresh = self._drawn(draws, generator)
            chance = np.ones(len(draws))
            for factor in aside:
                first, second = (self.names.index(name) for name in factor.nodes)
                chance *= factor.table[0][fresh[:, first], fresh[:, second]]
            kept = generator.random(len(draws)) < chance
            months.append(fresh[kept])
            taken.append(draws[kept])
            count += int(kept.sum())
            if count >= len(draws):
                several = np.concatenate(taken)[: len(draws)]
                by_draw = np.argsort(several, kind="stable")
                return Samples(np.concatenate(months)[: len(draws)][by_draw], several[by_draw])
        raise TooEntangledError(", ".join(dict.fromkeys(n for f in aside for n in f.nodes)))

    def _drawn(self, draws: NDArray[np.intp], generator: np.random.Generator) -> NDArray[np.intp]:
        """Draw the months of all instruments once for each draw, shape (sample, instrument)."""
        months = np.empty((len(draws), len(self.names)), dtype=np.intp)
        tied = {name for group in self.groups for name in group}
        for place, name in enumerate(self.names):
            if name not in tied:
                months[:, place] = drawn_places(self.months[place][draws], generator)
        for group in self.groups:
            for here, factors in portions(self.factors_of(group)):
                inside = (draws >= here.start) & (draws < here.stop)
                if inside.any():
                    _, buckets = eliminated(factors)
                    taken = drawn_months(buckets, draws[inside] - here.start, generator)
                    for name in group:
                        months[inside, self.names.index(name)] = taken[name]
        return months
