"""Patterns: what the cells of one component say together, worked out once for all rows alike.

Of a pattern p of component c, in draw n, are kept the evidence A_c and what a swap adds,

    L_c(n, t, v) = (1 - rho_c) A_c(n, t, v) + D_c(n),
    D_c(n) = rho_c sum_{u, w} q_c(n, u) P_n(w | u) A_c(n, u, w),

with A_c parted as its cells are: one number a place, and a vector over the draws only where draws
differ. Patterns that agree in the cells that have vectors share these; that is a *drawn pattern*.
What is seen on the instrument as a whole is a component without swaps.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import prod

import numpy as np

from dating.arrays import Floats, Integers
from dating.batch.cell_evidence import CellEvidence, Cells
from dating.batch.codes import CodedTable, Column
from dating.batch.lanes import Block
from dating.maker import Maker

_LARGEST = 1 << 62


@dataclass(frozen=True, eq=False)
class Patterns:
    """The distinct patterns of one component in some rows.

    Parameters
    ----------
    component : str or None
        The component; None for the instrument as a whole.
    columns : tuple of Column
        Its columns.
    codes : ndarray of int64, shape (pattern, column)
        The cells of each pattern.
    of_row : ndarray of int64, shape (row,)
        The pattern of each row.
    """

    component: str | None
    columns: tuple[Column, ...]
    codes: Integers
    of_row: Integers

    def __len__(self) -> int:
        """Return the number of patterns."""
        return len(self.codes)

    def swapped(self, before: float) -> Floats:
        """Give the chance of a swap, from that before anything was known; shape (pattern,)."""
        chances = np.full(len(self), before)
        for column, codes in zip(self.columns, self.codes.T, strict=True):
            if column.known:
                chances = np.array([before, *(k.swapped(before) for k in column.known)])[codes]
        return chances


@dataclass(frozen=True, eq=False)
class Evidence:
    """The evidence of patterns in one block of draws.

    Parameters
    ----------
    fixed : ndarray of float64, shape (pattern, place)
        (1 - rho) A where draws agree, 1 - rho times what the draws are multiplied by elsewhere.
    drawn : ndarray of int64, shape (pattern,)
        The drawn pattern of each.
    vector : ndarray of int64, shape (drawn pattern, place)
        Which vector is multiplied by; 0 for ones.
    vectors : ndarray of float64, shape (vector, lane)
        The vectors.
    swapped : ndarray of float64, shape (pattern, lane)
        D.
    """

    fixed: Floats
    drawn: Integers
    vector: Integers
    vectors: Floats
    swapped: Floats


def patterns_in(coded: CodedTable, maker: Maker, rows: Integers) -> list[Patterns]:
    """Find the patterns of every component on which anything was seen in some rows.

    Shapes: rows (row,).
    """
    patterns = []
    for component in [*maker.components, None]:
        columns = tuple(column for column in coded.columns if column.component == component)
        if columns:
            codes = [column.at(rows).astype(np.int64) for column in columns]
            first, of_row = distinct(codes, [len(column.levels) + 1 for column in columns])
            chosen = np.array([code[first] for code in codes]).T
            patterns.append(Patterns(component, columns, chosen, of_row))
    return patterns


def distinct(codes: Sequence[Integers], radices: Sequence[int]) -> tuple[Integers, Integers]:
    """Find the distinct combinations of codes: a row of each, and that of each row.

    Combinations are in ascending order, the first of the codes counting most.
    Shapes: codes (row,) each; gives first (combination,), combination (row,).

    Examples
    --------
    >>> first, each = distinct([np.array([1, 0, 1]), np.array([2, 0, 2])], [2, 3])
    >>> first.tolist(), each.tolist()
    ([1, 0], [1, 0, 1])
    """
    number, space = codes[0], radices[0]
    for code, radix in zip(codes[1:], radices[1:], strict=True):
        if space * radix > _LARGEST:
            values, number = np.unique(number, return_inverse=True)
            space = len(values)
        number, space = number * radix + code, space * radix
    _, first, each = np.unique(number, return_index=True, return_inverse=True)
    return first, each


def evidence_of(
    patterns: Patterns, cells: CellEvidence, block: Block, donor: Floats, swapped: Floats
) -> Evidence:
    """Work out patterns in one block of draws.

    Shapes: donor (place, lane), swapped (pattern,).
    """
    each, places = _cells(patterns, cells, block)
    fixed = _product(each, places)
    drawn, vector, vectors = _drawn_patterns(each, places)
    from_donor = np.zeros((len(fixed), len(block.draw)))
    if swapped.any():
        for pattern in range(len(vector)):
            here = np.flatnonzero(drawn == pattern)
            single = len(here) == 1  # a single one would be summed in another order
            there = donor * vectors[vector[pattern]]
            several = fixed[np.repeat(here, 1 + single)]
            averaged = np.einsum("kp,pl->kl", several, there)[: len(here)]
            from_donor[here] = swapped[here, None] * averaged
        fixed *= 1 - swapped[:, None]
    ages = cells.tables.ages.get(patterns.component or "")
    if ages is not None:
        return _aged(cells.built(fixed[:, :, None] * vectors[vector[drawn]], ages), from_donor)
    return Evidence(fixed, drawn, vector, vectors, from_donor)


def _aged(built: Floats, from_donor: Floats) -> Evidence:
    """Give every place of every pattern a vector of its own, or a number where there is one draw.

    Shapes: built (pattern, place, lane), from_donor (pattern, lane).
    """
    patterns, places, lanes = built.shape
    number = np.arange(patterns)
    if lanes == 1:
        nothing = np.zeros((1, places), dtype=np.int64)
        return Evidence(built[:, :, 0], 0 * number, nothing, np.ones((1, 1)), from_donor)
    return Evidence(
        fixed=np.ones((patterns, places)),
        drawn=number,
        vector=1 + number[:, None] * places + np.arange(places),
        vectors=np.concatenate([np.ones((1, lanes)), built.reshape(-1, lanes)]),
        swapped=from_donor,
    )


def vectors_needed(patterns: Patterns, cells: CellEvidence, block: Block) -> int:
    """Count the vectors that patterns have of their own, beside those of their cells."""
    if patterns.component in cells.tables.ages:
        return len(patterns) * int(np.count_nonzero(cells.places))
    each, places = _cells(patterns, cells, block)
    first, _ = _drawn(each, places)
    met = np.zeros((len(first), each[0].vector.shape[1]), dtype=np.int64)
    for one, place in zip(each, places[first].T, strict=True):
        met += (one.vector > 0)[place]
    return int(np.count_nonzero(met > 1))


def _cells(patterns: Patterns, cells: CellEvidence, block: Block) -> tuple[list[Cells], Integers]:
    """Give the evidence of the cells of each column, and the place of each pattern's among them."""
    each = []
    places = np.empty_like(patterns.codes)
    for number, (column, codes) in enumerate(zip(patterns.columns, patterns.codes.T, strict=True)):
        needed, places[:, number] = np.unique(codes, return_inverse=True)
        each.append(cells.cells(column, needed.tolist(), block))
    return each, places


def _product(each: Sequence[Cells], places: Integers) -> Floats:
    """Multiply what draws agree on, shape (pattern, place)."""
    product = each[0].fixed[places[:, 0]]
    for cells, codes in zip(each[1:], places.T[1:], strict=True):
        product *= cells.fixed[codes]
    return product


def _drawn_patterns(each: Sequence[Cells], places: Integers) -> tuple[Integers, Integers, Floats]:
    """Multiply what differs between draws: drawn pattern of each, its vectors, all vectors."""
    first, drawn = _drawn(each, places)
    begins = np.cumsum([0, *(len(cells.vectors) - 1 for cells in each)])[:-1, None]
    vectors = [each[0].vectors[:1], *(cells.vectors[1:] for cells in each)]
    count = sum(map(len, vectors))
    vector = np.empty((len(first), each[0].vector.shape[1]), dtype=np.int64)
    for pattern, example in enumerate(first):
        here = np.array([c.vector[p] for c, p in zip(each, places[example], strict=True)])
        vector[pattern] = np.where(here > 0, here + begins, 0).sum(axis=0)
        met = np.flatnonzero(np.count_nonzero(here, axis=0) > 1)
        if len(met):
            own = zip(each, here[:, met], strict=True)
            vectors.append(np.asarray(prod(c.vectors[v] for c, v in own if v.any())))
            vector[pattern, met] = np.arange(count, count + len(met))
            count += len(met)
    return drawn, vector, np.concatenate(vectors)


def _drawn(each: Sequence[Cells], places: Integers) -> tuple[Integers, Integers]:
    """Find the drawn patterns: a pattern of each, and that of each pattern."""
    differing = [cells.vector.any(axis=1) for cells in each]
    codes = [np.where(d[p], p + 1, 0) for d, p in zip(differing, places.T, strict=True)]
    return distinct(codes, [len(d) + 1 for d in differing])
