"""Sums over the draws of shared numbers, one for each set of patterns that differ between draws.

What does not differ between draws stands outside the sum over them. A *group* is the rows that have
the same patterns where draws matter; of each group are kept

    G_b(t, v) = sum over the draws n of replicate b of  pi_n(t, v) prod_c L_c,n(t, v),

and the shares of its sum that hold if one component, or every component, is original. Draws are
taken in blocks, and groups too, so that what is held does not grow with the number of either.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial

import numpy as np
from numpy.typing import NDArray

from dating.arrays import Integers
from dating.batch.blocks import Sums
from dating.batch.buffers import PatternPool, RowGroups
from dating.batch.patterns import Patterns, Spread
from dating.tables import MonthTables

type Accumulate = Callable[[Sums, int, int], None]

BLOCK_BYTES = 32_000_000
"""Size of what is worked out at a time, in bytes."""


class SharedSums:
    """Sums over the draws.

    Parameters
    ----------
    tables : MonthTables
        Month tables.
    patterns : sequence of Patterns
        The patterns of each component.
    pool : PatternPool
        Where their tables are kept.
    accumulate : callable
        :func:`dating.batch.blocks.accumulate`, or the same compiled.
    spread : callable
        Calls a function for parts of so many, on several threads perhaps.
    """

    def __init__(
        self,
        tables: MonthTables,
        patterns: Sequence[Patterns],
        pool: PatternPool,
        accumulate: Accumulate,
        spread: Spread,
    ) -> None:
        self.tables, self.patterns, self.pool = tables, tuple(patterns), pool
        self.accumulate, self.spread = accumulate, spread
        self.variants, self.months = tables.prior.shape[1], len(tables.period)
        prior = np.broadcast_to(tables.prior, (tables.draws, *tables.prior.shape[1:]))
        each = prior.reshape(tables.replicates, -1, *prior.shape[1:])
        self._alone = RowGroups(
            np.zeros(0, dtype=np.int32), pool.arranged(each.sum(axis=1)[None]), None
        )
        self._prior = prior

    @property
    def bytes_a_group(self) -> int:
        """Size of what is kept of one group, in bytes."""
        if self.tables.draws == 1:
            return 0
        arrays = self.tables.replicates + len(self.patterns) + 1
        return int(arrays * self.variants * self.months * 8)

    def groups(self, slots: Integers) -> RowGroups:
        """Sum over the draws for some rows.

        Shapes: slots (pattern set, row).
        """
        if self.tables.draws == 1:
            return self._one_group(slots)
        varying = [
            np.where(self._has_draws(row_slots), row_slots, -1).astype(np.int32)
            for row_slots in slots
        ]
        if not any((each >= 0).any() for each in varying):
            return self._one_group(slots)
        sets, of_row = np.unique(np.array(varying), axis=1, return_inverse=True)
        return self._summed(sets, of_row.reshape(-1).astype(np.int32))

    def _one_group(self, slots: Integers) -> RowGroups:
        return RowGroups(np.zeros(slots.shape[1], dtype=np.int32), self._alone.joint, None)

    def _has_draws(self, places: Integers) -> NDArray[np.bool_]:
        return self.pool.has_draws[places]

    def _summed(self, sets: Integers, of_row: Integers) -> RowGroups:
        shape = (self.variants, self.months)
        replicates, count = self.tables.replicates, sets.shape[1]
        joint = np.zeros((count, replicates, *shape))
        original = np.zeros((count, len(sets) + 1, *shape))
        distinct, index, before = [], np.empty(sets.shape, dtype=np.int64), 0
        for component, places in enumerate(sets):
            distinct_places, inverse = np.unique(places, return_inverse=True)
            distinct.append(distinct_places)
            index[component] = before + inverse
            before += len(distinct_places)
        for replicate, draws in self._blocks(8 * before * self.variants * self.months):
            prior = np.ascontiguousarray(self._prior[draws])
            tables = [p.in_draws(d, draws) for p, d in zip(self.patterns, distinct, strict=True)]
            likelihood = np.concatenate(
                [np.broadcast_to(table, (len(table), *prior.shape)) for table, _ in tables]
            )
            from_donor = np.concatenate(
                [np.broadcast_to(other, (len(other), len(prior))) for _, other in tables]
            )
            sums = Sums(prior, likelihood, from_donor, index, joint[:, replicate], original)
            self.spread(partial(self.accumulate, sums), count)
        total = joint.sum(axis=1)[:, None]
        np.divide(original, total, out=original, where=total > 0)
        return RowGroups(of_row, joint, original)

    def _blocks(self, size: int) -> Iterator[tuple[int, slice]]:
        """Cut the draws of each replicate into blocks that are not too large."""
        length = self.tables.draws // self.tables.replicates
        step = max(1, min(length, BLOCK_BYTES // max(size, 1)))
        for replicate in range(self.tables.replicates):
            for start in range(0, length, step):
                first = replicate * length + start
                yield replicate, slice(first, min(first + step, (replicate + 1) * length))
