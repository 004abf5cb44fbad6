"""Patterns: what the cells of one component say together, worked out once for all rows alike.

Of each pattern are kept L_c, the likelihood of the component,
and D_c, the part of it that holds if the component was swapped:

    L_c(t, v) = (1 - rho_c) A_c(t, v) + D_c,    D_c = rho_c sum_{u, w} q_c(u) P(w | u) A_c(u, w).

A pattern that differs between draws has 1 and 0 here; its rows are summed over the draws in
:mod:`dating.batch.shared`. What is seen on the instrument as a whole is a component without swaps.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cached_property
from math import prod
from types import ModuleType

import numpy as np
from numpy.typing import NDArray

from dating.arrays import Floats, Integers
from dating.batch.buffers import PatternPool
from dating.batch.codes import CodedTable, Column
from dating.batch.levels import Levels

type Spread = Callable[[Callable[[int, int], None], int], None]

MOST_DENSE = 1 << 20
"""Patterns that a component may have for each to have a place of its own."""
MOST_CELLS = 512
"""Distinct cells that a component may have for the evidence of all to be kept side by side."""
_LARGEST_CODE = 1 << 62


class Patterns:
    """The patterns of one component, or of the instrument as a whole.

    Parameters
    ----------
    levels : Levels
        The evidence of the cells.
    component : str or None
        The component; None for the whole.
    columns : sequence of Column
        Its columns.
    swapped : float
        Prior probability of a swap.
    donor : ndarray of float64, shape (draw, variant, month)
        Build month and variant of the donor.
    pool : PatternPool
        Where tables are kept.
    kernels : module
        :mod:`dating.batch.blocks`, or the same compiled.
    spread : callable
        Calls a function for parts of so many, on several threads perhaps.
    """

    def __init__(
        self,
        levels: Levels,
        *,
        component: str | None,
        columns: Sequence[Column],
        swapped: float,
        donor: Floats,
        pool: PatternPool,
        kernels: ModuleType,
        spread: Spread,
    ) -> None:
        self.levels, self.component = levels, component
        self.columns, self.swapped = tuple(columns), swapped
        self.donor, self.pool = pool.arranged(donor), pool
        self.kernels, self.spread = kernels, spread
        self.radices = [len(column.levels) + 1 for column in columns]
        self.space = prod(self.radices)
        self.clear()

    def clear(self) -> None:
        """Forget all patterns, as the pool has been emptied."""
        self.known = 0
        self._slots = np.full(self.space, -1, dtype=np.int32) if self.space <= MOST_DENSE else None
        self._digits: dict[int, Integers] = {}

    def at_most(self, rows: int) -> int:
        """Say how many new patterns some rows may have."""
        return min(rows, self.space - self.known if self._slots is not None else self.space)

    def slots(self, rows: slice | Integers) -> Integers:
        """Find the pattern of each row, and tabulate those that are new.

        Shape: (row,).
        """
        code = self._code(rows)
        if self._slots is None:
            _, first, inverse = np.unique(code, return_index=True, return_inverse=True)
            places = self._tabulate(_picked(rows, first))
            return np.asarray(places.start + inverse, dtype=np.int32)
        of_row: Integers = self._slots.take(code)
        new = np.flatnonzero(of_row < 0)
        if len(new):
            codes, examples = self._examples(code, new)
            places = self._tabulate(_picked(rows, examples))
            self._slots[codes] = np.arange(places.start, places.stop)
            of_row = self._slots.take(code)
        return of_row

    def _examples(self, code: Integers, new: Integers) -> tuple[Integers, Integers]:
        """Give the distinct codes of some rows, and a row of each."""
        if self.space > 4 * len(new):
            codes, first = np.unique(code[new], return_index=True)
            return codes, new[first]
        row = np.full(self.space, -1)
        row[code[new]] = new
        codes = np.flatnonzero(row >= 0)
        return codes, row[codes]

    def in_draws(self, places: Integers, draws: slice) -> tuple[Floats, Floats]:
        """Work out patterns that differ between draws, in some of the draws.

        Shapes: places (pattern,); gives likelihood (pattern, draw, variant, month), from_donor
        (pattern, draw).
        """
        nothing = np.zeros(len(self.columns), dtype=np.int64)
        digits = np.array([self._digits.get(int(place), nothing) for place in places])
        count = draws.stop - draws.start
        likelihood, from_donor = (
            np.empty((len(places), count, *self._shape)),
            np.empty((len(places), count)),
        )
        self._likelihood(digits, draws, likelihood, from_donor)
        likelihood[places < 0], from_donor[places < 0] = 1.0, 0.0
        return likelihood, from_donor

    def _code(self, rows: slice | Integers) -> Integers:
        """Write the codes of all columns as one number in a mixed radix."""
        dense = self._slots is not None
        count = rows.stop - rows.start if isinstance(rows, slice) else len(rows)
        code: Integers = np.zeros(count, dtype=np.int32 if dense else np.int64)
        space = 1
        for column, radix in zip(self.columns, self.radices, strict=True):
            if space * radix > _LARGEST_CODE:
                codes, code = np.unique(code, return_inverse=True)
                space = len(codes)
            self.kernels.encode(column.raw[rows], column.codes, radix, code)
            space *= radix
        return code

    def _tabulate(self, rows: Integers) -> slice:
        """Work out the patterns of some rows, which are all different."""
        chosen = np.empty((len(rows), len(self.columns)), dtype=np.int64)
        for place, column in enumerate(self.columns):
            chosen[:, place] = column.at(rows)
        places, pool = self.pool.take(len(chosen)), self.pool
        self.known += len(chosen)
        pool.has_draws[places] = has_draws = self._has_draws(chosen)
        if not has_draws.any():
            into = pool.likelihood[places][:, None], pool.swapped[places][:, None]
            self._likelihood(chosen, slice(0, 1), *into)
            return places
        fixed = np.flatnonzero(~has_draws)
        for start in range(0, len(fixed), 1024):
            some = fixed[start : start + 1024]
            likelihood, from_donor = (
                np.empty((len(some), 1, *self._shape)),
                np.empty((len(some), 1)),
            )
            self._likelihood(chosen[some], slice(0, 1), likelihood, from_donor)
            pool.likelihood[places.start + some] = likelihood[:, 0]
            pool.swapped[places.start + some] = from_donor[:, 0]
        for position in np.flatnonzero(has_draws):
            place = places.start + int(position)
            pool.likelihood[place], pool.swapped[place] = 1.0, 0.0
            self._digits[place] = chosen[position]
        return places

    def _has_draws(self, digits: Integers) -> NDArray[np.bool_]:
        """Say of each pattern whether it differs between draws."""
        has_draws = np.zeros(len(digits), dtype=bool)
        if self.levels.tables.draws == 1:
            return has_draws
        if self.swapped > 0 and len(self.donor) > 1:
            has_draws |= digits.any(axis=1)
        for place, (column, codes) in enumerate(zip(self.columns, digits.T, strict=True)):
            if self._few:
                has_draws |= self._differs[place][codes]
                continue
            distinct, inverse = _distinct(codes, len(column.levels))
            has_draws |= self.levels.has_draws(column, distinct.tolist())[inverse]
        return has_draws

    @property
    def _shape(self) -> tuple[int, ...]:
        return self.pool.likelihood.shape[1:]

    @property
    def _few(self) -> bool:
        return sum(self.radices) <= MOST_CELLS

    @cached_property
    def _differs(self) -> list[NDArray[np.bool_]]:
        """Whether the evidence of each cell differs between draws, by column."""
        counts = zip(self.columns, self.radices, strict=True)
        return [self.levels.has_draws(column, range(count)) for column, count in counts]

    @cached_property
    def _first(self) -> tuple[Floats, Integers]:
        """Evidence of all cells in the first draw, and where that of each column begins, less 1."""
        each = [
            self.levels.likelihoods(column, range(1, count), slice(0, 1))
            for column, count in zip(self.columns, self.radices, strict=True)
        ]
        return self.pool.arranged(_stacked(each)), np.cumsum(
            [0, *(len(block) for block in each[:-1])]
        )

    def _likelihood(
        self, digits: Integers, draws: slice, likelihood: Floats, from_donor: Floats
    ) -> None:
        """Work out patterns in some of the draws."""
        if self._few and draws == slice(0, 1):
            cells, begins = self._first
            index = np.where(digits > 0, digits + begins, 0)
        else:
            cells, index = self._cells(digits, draws)
        donor = self.donor if len(self.donor) == 1 else self.donor[draws]

        def tabulate(first: int, last: int) -> None:
            part = slice(first, last)
            self.kernels.tabulate(
                cells, index[part], self.swapped, donor, likelihood[part], from_donor[part]
            )

        self.spread(tabulate, len(index))

    def _cells(self, digits: Integers, draws: slice) -> tuple[Floats, Integers]:
        """Give the evidence of the cells that some patterns have, and which these are."""
        index, each, count = np.zeros(digits.shape, dtype=np.int64), [], 1
        for place, (column, codes) in enumerate(zip(self.columns, digits.T, strict=True)):
            distinct, inverse = _distinct(codes, len(column.levels))
            each.append(self.levels.likelihoods(column, distinct.tolist(), draws))
            index[:, place] = np.where(codes > 0, count + inverse, 0)
            count += len(distinct)
        return self.pool.arranged(_stacked(each)), index


def _picked(rows: slice | Integers, places: Integers) -> Integers:
    """Give some of the rows of a table that are dated."""
    return rows.start + places if isinstance(rows, slice) else rows[places]


def _stacked(each: Sequence[Floats]) -> Floats:
    """Put evidence one after the other, after a cell that says nothing."""
    shape = np.broadcast_shapes(*(block.shape[1:] for block in each))
    ones = np.ones((1, *shape))
    return np.concatenate([ones, *(np.broadcast_to(b, (len(b), *shape)) for b in each)])


def _distinct(codes: Integers, most: int) -> tuple[Integers, Integers]:
    """Give the distinct codes, and the place of each code among them; quick where there are few."""
    if most > 4 * len(codes):
        return np.unique(codes, return_inverse=True)
    there = np.zeros(most + 1, dtype=bool)
    there[codes] = True
    return np.flatnonzero(there), (np.cumsum(there) - 1)[codes]


def patterns_of(
    coded: CodedTable, levels: Levels, pool: PatternPool, kernels: ModuleType, spread: Spread
) -> list[Patterns]:
    """Make the patterns of every component on which anything was seen, and of the whole."""
    tables, patterns = levels.tables, []
    nobody = np.zeros((1, 1, len(tables.period)))
    chances = {name: part.swapped.value for name, part in levels.maker.components.items()}
    for name, swapped in [*chances.items(), (None, 0.0)]:
        columns = [column for column in coded.columns if column.component == name]
        if columns:
            donor = nobody if name is None else tables.donors[name]
            patterns.append(
                Patterns(
                    levels,
                    component=name,
                    columns=columns,
                    swapped=swapped,
                    donor=donor,
                    pool=pool,
                    kernels=kernels,
                    spread=spread,
                )
            )
    return patterns
