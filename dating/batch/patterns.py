"""Patterns: what the cells of one component say together, worked out once for all rows alike.

Of each pattern are kept L_c, the likelihood of the component,
and D_c, the part of it that holds if the component was swapped:

    L_c(t, v) = (1 - rho_c) A_c(t, v) + D_c,    D_c = rho_c sum_{u, w} q_c(u) P(w | u) A_c(u, w).

A pattern that differs between draws has 1 and 0 here; its rows are summed over the draws in
:mod:`dating.batch.shared`. What is seen on the instrument as a whole is a component without swaps.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import prod
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dating.batch.coding import Coded, Column
from dating.batch.levels import Levels
from dating.batch.rooms import Pool

type Floats = NDArray[np.float64]
type Integers = NDArray[np.integer[Any]]
type Tabulate = Callable[[Floats, Integers, float, Floats], tuple[Floats, Floats]]

MOST_DENSE = 1 << 20
"""Patterns that a component may have for each to have a place of its own."""
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
    pool : Pool
        Where tables are kept.
    tabulate : callable
        :func:`dating.batch.blocks.tabulate`, or the same compiled.
    """

    def __init__(
        self,
        levels: Levels,
        *,
        component: str | None,
        columns: Sequence[Column],
        swapped: float,
        donor: Floats,
        pool: Pool,
        tabulate: Tabulate,
    ) -> None:
        self.levels, self.component = levels, component
        self.columns, self.swapped = tuple(columns), swapped
        self.donor, self.pool, self.tabulate = donor, pool, tabulate
        self.space = prod(len(column.levels) + 1 for column in columns)
        self.clear()

    def clear(self) -> None:
        """Forget all patterns, as the pool has been emptied."""
        self.known = 0
        self._slots = np.full(self.space, -1, dtype=np.int32) if self.space <= MOST_DENSE else None
        self._digits: dict[int, Integers] = {}

    def at_most(self, rows: int) -> int:
        """Say how many new patterns some rows may have.

        Parameters
        ----------
        rows : int
            How many rows.

        Returns
        -------
        int
            An upper bound.
        """
        return min(rows, self.space - self.known if self._slots is not None else self.space)

    def slots(self, rows: slice | Integers) -> Integers:
        """Find the pattern of each row, and tabulate those that are new.

        Parameters
        ----------
        rows : slice or ndarray of int
            Rows of the table.

        Returns
        -------
        ndarray of int32, shape (row,)
            Places in the pool.
        """
        digits = [column.at(rows) for column in self.columns]
        code = self._code(digits)
        if self._slots is None:
            _, first, inverse = np.unique(code, return_index=True, return_inverse=True)
            places = self._tabulate(digits, first)
            return (places.start + inverse).astype(np.int32)
        found: Integers = self._slots[code]
        new = np.flatnonzero(found < 0)
        if len(new):
            codes, first = np.unique(code[new], return_index=True)
            places = self._tabulate(digits, new[first])
            self._slots[codes] = np.arange(places.start, places.stop)
            found = self._slots[code]
        return found

    def drawn(self, places: Integers, draws: slice) -> tuple[Floats, Floats]:
        """Work out patterns that differ between draws, in some of the draws.

        Parameters
        ----------
        places : ndarray of int, shape (pattern,)
            Their places in the pool; -1 is one that says nothing.
        draws : slice
            The draws.

        Returns
        -------
        likelihood : ndarray of float64, shape (pattern, draw, variant, month)
            L_c.
        from_donor : ndarray of float64, shape (pattern, draw)
            The part of it that holds if the component was swapped.
        """
        nothing = np.zeros(len(self.columns), dtype=np.int64)
        digits = np.array([self._digits.get(int(place), nothing) for place in places])
        likelihood, from_donor = self._likelihood(digits, draws)
        likelihood[places < 0], from_donor[places < 0] = 1.0, 0.0
        return likelihood, from_donor

    def _code(self, digits: Sequence[Integers]) -> Integers:
        """Write the codes of all columns as one number in a mixed radix."""
        code: Any = digits[0].astype(np.int64 if self.space > MOST_DENSE else np.int32)
        space = len(self.columns[0].levels) + 1
        for column, digit in zip(self.columns[1:], digits[1:], strict=True):
            radix = len(column.levels) + 1
            if space * radix > _LARGEST_CODE:
                found, code = np.unique(code, return_inverse=True)
                space = len(found)
            code = code * radix
            code += digit
            space *= radix
        return np.asarray(code)

    def _tabulate(self, digits: Sequence[Integers], rows: Integers) -> slice:
        """Work out the patterns of some rows, which are all different."""
        chosen = np.array([digit[rows] for digit in digits], dtype=np.int64).T
        places, pool = self.pool.take(len(chosen)), self.pool
        self.known += len(chosen)
        has_draws = np.zeros(len(chosen), dtype=bool)
        for column, codes in zip(self.columns, chosen.T, strict=True):
            distinct, inverse = _distinct(codes, len(column.levels))
            has_draws |= self.levels.has_draws(column, distinct.tolist())[inverse]
        if self.swapped > 0 and len(self.donor) > 1:
            has_draws |= chosen.any(axis=1)
        pool.has_draws[places] = has_draws
        free = np.flatnonzero(~has_draws)
        for start in range(0, len(free), 1024):
            some = free[start : start + 1024]
            likelihood, from_donor = self._likelihood(chosen[some], slice(0, 1))
            pool.likelihood[places.start + some] = likelihood[:, 0]
            pool.swapped[places.start + some] = from_donor[:, 0]
        for position in np.flatnonzero(has_draws):
            place = places.start + int(position)
            pool.likelihood[place], pool.swapped[place] = 1.0, 0.0
            self._digits[place] = chosen[position]
        return places

    def _likelihood(self, digits: Integers, draws: slice) -> tuple[Floats, Floats]:
        index, blocks, count = np.zeros(digits.shape, dtype=np.int64), [np.ones((1, 1, 1, 1))], 1
        for place, (column, codes) in enumerate(zip(self.columns, digits.T, strict=True)):
            distinct, inverse = _distinct(codes, len(column.levels))
            blocks.append(self.levels.likelihoods(column, distinct.tolist(), draws))
            index[:, place] = np.where(codes > 0, count + inverse, 0)
            count += len(distinct)
        donor = self.donor if len(self.donor) == 1 else self.donor[draws]
        shape = np.broadcast_shapes(*(block.shape[1:] for block in blocks), donor.shape[-1:])
        cells = np.concatenate([np.broadcast_to(b, (len(b), *shape)) for b in blocks])
        return self.tabulate(cells, index, self.swapped, donor)


def _distinct(codes: Integers, most: int) -> tuple[Integers, Integers]:
    """Give the distinct codes, and the place of each code among them; quick where there are few."""
    if most > 4 * len(codes):
        return np.unique(codes, return_inverse=True)
    there = np.zeros(most + 1, dtype=bool)
    there[codes] = True
    return np.flatnonzero(there), (np.cumsum(there) - 1)[codes]


def patterns_of(coded: Coded, levels: Levels, pool: Pool, tabulate: Tabulate) -> list[Patterns]:
    """Make the patterns of every component on which anything was seen, and of the whole.

    Parameters
    ----------
    coded : Coded
        The table.
    levels : Levels
        The evidence of its cells.
    pool : Pool
        Where tables are kept.
    tabulate : callable
        :func:`dating.batch.blocks.tabulate`, or the same compiled.

    Returns
    -------
    list of Patterns
        Components in the order of the maker file, then the instrument as a whole.
    """
    tables, made = levels.tables, []
    nobody = np.zeros((1, 1, len(tables.period)))
    chances = {name: part.swapped.value for name, part in levels.maker.components.items()}
    for name, swapped in [*chances.items(), (None, 0.0)]:
        columns = [column for column in coded.columns if column.component == name]
        if columns:
            donor = nobody if name is None else tables.donors[name]
            made.append(
                Patterns(
                    levels,
                    component=name,
                    columns=columns,
                    swapped=swapped,
                    donor=donor,
                    pool=pool,
                    tabulate=tabulate,
                )
            )
    return made
