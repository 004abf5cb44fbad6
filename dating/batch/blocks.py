"""Rows combined from patterns and summarized with numpy, a small block of rows at a time.

Everything is worked out row by row, so that a row gives the same bits in whatever block it stands.
"""

# ruff: noqa: PLR0917
from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate as running
from math import prod
from operator import mul

import numpy as np

from dating.arrays import Floats, Integers
from dating.batch.block_summaries import keep_dates
from dating.batch.buffers import PatternPool, RowGroups
from dating.batch.results import Summaries
from dating.learning.learned import Learned
from dating.magnitudes import LEAST

ROWS = 256
"""Rows that are combined at a time: few enough that their arrays stay in a core's own cache."""
TOGETHER = 1024
"""Rows that are summarized at a time: many, as much is done that is little for each row."""
_TINY = 1e-300


@dataclass(frozen=True, eq=False)
class Work:
    """Rows to be dated, with all that is needed for it.

    Parameters
    ----------
    pool : PatternPool
        The tables of the patterns.
    slots : ndarray of int32, shape (padded pattern set, row)
        The patterns of each row, filled up with the one that says nothing.
    places : ndarray of int64, shape (pattern set,)
        The component that each set is of, in the order of the maker file; -1 for the whole.
    groups : RowGroups
        Sums over the draws.
    unswapped : ndarray of float64, shape (component,)
        Prior probability that each component is original.
    starts : ndarray of int64, shape (year + 1,)
        The first month of each calendar year, and the end of the last.
    level : float
        Level of the set that is reported.
    learned : Learned or None
        Corrects levels where that is due.
    parts : bool
        Whether originality and entropy are worked out.
    """

    pool: PatternPool
    slots: Integers
    places: Integers
    groups: RowGroups
    unswapped: Floats
    starts: Integers
    level: float
    learned: Learned | None
    parts: bool

    @property
    def unseen(self) -> float:
        """Prior probability that every component on which nothing was seen is original."""
        seen = self.places[self.places >= 0]
        return float(np.prod(np.delete(self.unswapped, seen)))


@dataclass(frozen=True, eq=False)
class Sums:
    """Sums over draws, and what some of the draws add to them.

    Parameters
    ----------
    prior : ndarray of float64, shape (draw, variant, month)
        P(month) P(variant | month) times the weight of the draw.
    likelihood : ndarray of float64, shape (pattern, draw, variant, month)
        L_c of the patterns of all components, one after the other.
    from_donor : ndarray of float64, shape (pattern, draw)
        The part of it that holds if the component was swapped.
    index : ndarray of int64, shape (component, group)
        The pattern of each component in each group.
    joint : ndarray of float64, shape (group, variant, month)
        Where products are summed.
    original : ndarray of float64, shape (group, component + 1, variant, month)
        Where they are summed if the component is original; the last if all are.
    """

    prior: Floats
    likelihood: Floats
    from_donor: Floats
    index: Integers
    joint: Floats
    original: Floats


def padded(count: int) -> int:
    """Fill up a number of pattern sets, as compiled kernels take four at a time."""
    return max(4, -(-count // 4) * 4)


def tabulate(
    cells: Floats,
    index: Integers,
    swapped: float,
    donor: Floats,
    likelihood: Floats,
    from_donor: Floats,
) -> None:
    """Work out patterns of one component.

    Shapes: cells (level, draw, variant, month); index (pattern, column); donor (draw, variant,
    month); likelihood (pattern, draw, variant, month); from_donor (pattern, draw).
    """
    likelihood[:] = 1.0
    for column in index.T:
        if column.any():
            likelihood *= cells[column]
    other = swapped * np.vecdot(likelihood, donor).sum(axis=2)
    other[~index.any(axis=1)] = swapped
    likelihood *= 1 - swapped
    likelihood += other[:, :, None, None]
    from_donor[:] = other


def encode(raw: Integers, codes: Integers, radix: int, code: Integers) -> None:
    """Append a digit to numbers in a mixed radix.

    Shapes: raw (row,); codes (distinct cell + 1,); code (row,).
    """
    code *= radix
    code += codes[raw]


def accumulate(sums: Sums, first: int, last: int) -> None:
    """Add what some draws give some groups."""
    for group in range(first, last):
        places = sums.index[:, group]
        tables = [sums.likelihood[place] for place in places]
        others = [sums.from_donor[place][:, None, None] for place in places]
        product = prod(tables, start=sums.prior)
        summed = product.sum(axis=0)
        sums.joint[group] += summed
        for component, (left_out, after) in enumerate(_each_left_out(tables, sums.prior)):
            swapped = (left_out * after * others[component]).sum(axis=0)
            sums.original[group, component] += summed - swapped
        original = [table - other for table, other in zip(tables, others, strict=True)]
        sums.original[group, -1] += prod(original, start=sums.prior).sum(axis=0)


def _each_left_out(tables: Sequence[Floats], start: Floats) -> list[tuple[Floats, Floats]]:
    """Give the products before and after each of several arrays."""
    before = list(running([start, *tables[:-1]], mul))
    after = list(running([np.ones((1, 1, 1)), *tables[:0:-1]], mul))
    return list(zip(before, reversed(after), strict=True))


def date_rows(work: Work, summaries: Summaries, first: int, last: int) -> None:
    """Date some rows."""
    for start in range(first, last, TOGETHER):
        rows = slice(start, min(start + TOGETHER, last))
        weights = _weights(work, summaries, rows)
        part = summaries.some(rows)
        lost = keep_dates(part, weights, work.starts, work.level)
        part.stretches[lost] = 0
        part.months[:, lost] = 0
        for numbers in (part.numbers, part.original, part.years):
            numbers[:, lost] = np.nan


def _weights(work: Work, summaries: Summaries, rows: slice) -> Floats:
    """Give what posteriors are proportional to; keep what is not made from them alone."""
    weights = np.empty((rows.stop - rows.start, work.pool.likelihood.shape[2]))
    plain = work.groups.joint.shape[1] == 1 and work.learned is None and not work.parts
    combine = _multiply if plain else _weigh
    for start in range(0, len(weights), ROWS):
        part = weights[start : start + ROWS]
        first = rows.start + start
        combine(work, summaries, slice(first, first + len(part)), part)
    return weights


def _joint(work: Work, rows: slice) -> Floats:
    """Give the sums over draws; one group is not copied for each row."""
    groups = work.groups
    return groups.joint if len(groups.joint) == 1 else groups.joint[groups.of_row[rows]]


def _multiply(work: Work, summaries: Summaries, rows: slice, weights: Floats) -> None:
    """Multiply prior and patterns, one set at a time in the same room."""
    likelihood = work.pool.likelihood
    first, *others = work.slots[: max(len(work.places), 1), rows]
    shape = (len(weights), *likelihood.shape[1:])
    whole = weights[:, None] if shape[1] == 1 else np.empty(shape)
    table = np.empty(shape)
    # No place is out of bounds; where that is not checked, tables are not copied twice.
    np.take(likelihood, first, axis=0, out=whole, mode="clip")
    for places in others:
        np.take(likelihood, places, axis=0, out=table, mode="clip")
        whole *= table
    whole *= _joint(work, rows)[:, 0]
    if shape[1] > 1:
        whole.sum(axis=1, out=weights)
    summaries.numbers[4, rows] = 0.0


def _weigh(work: Work, summaries: Summaries, rows: slice, weights: Floats) -> None:
    """Work out posteriors; keep what needs variants or draws, and entropy."""
    tables = [work.pool.likelihood[places] for places in work.slots[: len(work.places), rows]]
    joint = _joint(work, rows)
    summed = joint.sum(axis=1)
    summed = np.broadcast_to(summed, (len(weights), *summed.shape[1:]))
    *before, whole = running([summed, *tables], mul)
    whole.sum(axis=1, out=weights)
    total = weights.sum(axis=1)
    possible = total >= LEAST
    total[~possible] = 1.0
    weights /= total[:, None]
    summaries.numbers[4, rows] = _standard_error(joint, tables, weights)
    if work.parts:
        _keep_originality(
            work, summaries, rows, tables=tables, before=before, whole=whole, total=total
        )
    if work.learned is not None and possible.any():
        weights[possible] = work.learned.corrected(weights[possible])
    if work.parts:
        summaries.numbers[2, rows] = _entropy(weights)


def _keep_originality(
    work: Work,
    summaries: Summaries,
    rows: slice,
    *,
    tables: Sequence[Floats],
    before: Sequence[Floats],
    whole: Floats,
    total: Floats,
) -> None:
    """Keep the chances that components are original, from the products before each of them.

    Tables are written over.
    """
    groups = work.groups
    summaries.original[:, rows] = work.unswapped[:, None]
    shares = None if groups.original is None else groups.original[groups.of_row[rows]]
    others = [work.pool.swapped[places] for places in work.slots[: len(work.places), rows]]
    after = np.ones_like(whole)
    every = before[0] if tables else whole
    every = every * shares[:, -1] if shares is not None else every.copy()
    for position in range(len(tables) - 1, -1, -1):
        place, table = work.places[position], tables[position]
        if place >= 0:
            chance = others[position] * _dot(before[position], after)
            original = 1 - chance / total
            if shares is not None:
                original += _dot(whole, shares[:, position] - 1) / total
            summaries.original[place, rows] = np.maximum(original, 0.0)
        if position:
            after *= table
        table -= others[position][:, None, None]
        every *= table
    summaries.numbers[3, rows] = every.sum(axis=(1, 2)) / total * work.unseen


def _dot(first: Floats, second: Floats) -> Floats:
    """Sum the product of arrays (row, variant, month) over variants and months."""
    return np.asarray(np.vecdot(first, second).sum(axis=1))


def _entropy(posterior: Floats) -> Floats:
    """Sum -p log2 p."""
    logs = np.maximum(posterior, _TINY)
    np.log2(logs, out=logs)
    return np.asarray(-np.vecdot(posterior, logs) + 0.0)


def _standard_error(joint: Floats, tables: Sequence[Floats], posterior: Floats) -> Floats:
    """Give the largest standard error of a row; see :meth:`dating.engine.Weighing`."""
    count = joint.shape[1]
    if count == 1:
        return np.zeros(len(posterior))
    rest = prod(tables, start=np.ones((len(posterior), 1, 1)))
    each = (joint * rest[:, None]).sum(axis=2)
    weight = each.sum(axis=2, keepdims=True)
    residual = each - posterior[:, None] * weight
    scatter = np.sqrt((residual**2).sum(axis=1).max(axis=1) * count / (count - 1))
    total = weight[:, :, 0].sum(axis=1)
    return np.asarray(np.divide(scatter, total, out=np.zeros(len(each)), where=total > 0))
