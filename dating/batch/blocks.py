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
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dating.batch.results import Kept
from dating.batch.rooms import Groups, Pool
from dating.learning.learned import Learned

type Floats = NDArray[np.float64]
type Integers = NDArray[np.integer[Any]]

ROWS = 256
"""Rows of a block: few enough that its arrays stay in a core's own cache."""
BINS = 1000
"""Months whose logarithms agree when rounded to one in so many are taken as equally probable."""
SLACK = 1e-12
_TINY = 1e-300
_RUN = 16


@dataclass(frozen=True, eq=False)
class Work:
    """Rows to be dated, with all that is needed for it.

    Parameters
    ----------
    pool : Pool
        The tables of the patterns.
    slots : ndarray of int32, shape (padded pattern set, row)
        The patterns of each row, filled up with the one that says nothing.
    places : ndarray of int64, shape (pattern set,)
        The component that each set is of, in the order of the maker file; -1 for the whole.
    groups : Groups
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

    pool: Pool
    slots: Integers
    places: Integers
    groups: Groups
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
    """Fill up a number of pattern sets, as compiled kernels take four at a time.

    Parameters
    ----------
    count : int
        How many there are.

    Returns
    -------
    int
        The next multiple of four, at least four.
    """
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

    Parameters
    ----------
    cells : ndarray of float64, shape (level, draw, variant, month)
        The evidence of distinct cells.
    index : ndarray of int64, shape (pattern, column)
        The cells of each pattern; 0 is one that says nothing.
    swapped : float
        Prior probability of a swap.
    donor : ndarray of float64, shape (draw, variant, month)
        Build month and variant of the donor.
    likelihood : ndarray of float64, shape (pattern, draw, variant, month)
        Where L_c goes.
    from_donor : ndarray of float64, shape (pattern, draw)
        Where the part of it goes that holds if the component was swapped.
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

    Parameters
    ----------
    raw : ndarray of int, shape (row,)
        Which distinct cell stands in each row; -1 for a missing one.
    codes : ndarray of int, shape (distinct cell + 1,)
        The digit of each distinct cell, the last for missing ones.
    radix : int
        One more than the largest digit.
    code : ndarray of int32 or int64, shape (row,)
        The numbers, written over.
    """
    code *= radix
    code += codes[raw]


def accumulate(sums: Sums, first: int, last: int) -> None:
    """Add what some draws give some groups.

    Parameters
    ----------
    sums : Sums
        Tables of these draws, and the sums.
    first, last : int
        The groups from the first to the one before the last.
    """
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


def date_rows(work: Work, kept: Kept, first: int, last: int) -> None:
    """Date some rows.

    Parameters
    ----------
    work : Work
        The rows.
    kept : Kept
        Where summaries go, by row.
    first, last : int
        The rows from the first to the one before the last.
    """
    for start in range(first, last, ROWS):
        rows = slice(start, min(start + ROWS, last))
        posterior, held = _combined(work, kept, rows)
        if work.learned is not None and held.any():
            posterior[held] = work.learned.corrected(posterior[held])
        _summarize(work, kept, rows, posterior)
        kept.stretches[rows][~held] = 0
        kept.months[:, rows][:, ~held] = 0
        for numbers in (kept.numbers, kept.original, kept.years):
            numbers[:, rows][:, ~held] = np.nan


def _combined(work: Work, kept: Kept, rows: slice) -> tuple[Floats, NDArray[np.bool_]]:
    """Give the posteriors, and whether any month is possible; keep what needs variants or draws."""
    groups = work.groups
    group = groups.of_row[rows]
    tables = [work.pool.likelihood[places] for places in work.slots[: len(work.places), rows]]
    # One group has its draws summed already, and is not copied for each row.
    joint = groups.joint if len(groups.joint) == 1 else groups.joint[group]
    summed = joint[:, 0] if joint.shape[1] == 1 else joint.sum(axis=1)
    summed = np.broadcast_to(summed, (len(group), *summed.shape[1:]))
    several = joint.shape[1] > 1
    before = list(running([summed, *tables], mul)) if work.parts or several else []
    whole = before.pop() if before else _product(summed, tables)
    by_month = whole[:, 0] if whole.shape[1] == 1 else whole.sum(axis=1)
    total = by_month.sum(axis=1)
    held = total > 0
    total = np.where(held, total, 1.0)
    posterior = by_month / total[:, None]
    if not several:
        kept.numbers[4, rows] = 0.0
    else:
        rest = prod(tables, start=np.ones((len(group), 1, 1)))
        each = (joint * rest[:, None]).sum(axis=2)
        kept.numbers[4, rows] = _standard_error(each, posterior)
    if work.parts:
        _keep_originality(work, kept, rows, tables=tables, before=before, whole=whole, total=total)
    return posterior, held


def _product(start: Floats, tables: Sequence[Floats]) -> Floats:
    """Multiply arrays (row, variant, month); the first of the tables is written over."""
    if not tables:
        return start
    whole = np.multiply(tables[0], start, out=tables[0])
    for table in tables[1:]:
        whole *= table
    return whole


def _keep_originality(
    work: Work,
    kept: Kept,
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
    kept.original[:, rows] = work.unswapped[:, None]
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
            kept.original[place, rows] = np.maximum(original, 0.0)
        if position:
            after *= table
        table -= others[position][:, None, None]
        every *= table
    kept.numbers[3, rows] = every.sum(axis=(1, 2)) / total * work.unseen


def _dot(first: Floats, second: Floats) -> Floats:
    """Sum the product of arrays (row, variant, month) over variants and months."""
    return np.asarray(np.vecdot(first, second).sum(axis=1))


def _standard_error(each: Floats, posterior: Floats) -> Floats:
    """Give the largest standard error of a row; see :meth:`dating.engine.Weighing`."""
    count = each.shape[1]
    if count == 1:
        return np.zeros(len(each))
    weight = each.sum(axis=2, keepdims=True)
    residual = each - posterior[:, None] * weight
    scatter = np.sqrt((residual**2).sum(axis=1).max(axis=1) * count / (count - 1))
    total = weight[:, :, 0].sum(axis=1)
    return np.asarray(np.divide(scatter, total, out=np.zeros(len(each)), where=total > 0))


def _summarize(work: Work, kept: Kept, rows: slice, posterior: Floats) -> None:
    years = np.add.reduceat(posterior, work.starts[:-1], axis=1)
    kept.years[:, rows] = years.T
    highest = posterior.max(axis=1, keepdims=True)
    kept.months[0, rows] = (posterior >= highest * (1 - SLACK)).argmax(axis=1)
    kept.months[1, rows] = _medians(posterior, years, work.starts)
    kept.numbers[0, rows] = np.vecdot(posterior, np.arange(posterior.shape[1], dtype=float))
    if work.parts:
        logs = np.maximum(posterior, _TINY)
        np.log2(logs, out=logs)
        kept.numbers[2, rows] = -np.vecdot(posterior, logs) + 0.0
    inside, kept.numbers[1, rows] = _sets(posterior, work.level)
    kept.months[2, rows] = inside.argmax(axis=1)
    kept.months[3, rows] = inside.shape[1] - 1 - inside[:, ::-1].argmax(axis=1)
    kept.stretches[rows] = inside[:, 0] + np.count_nonzero(inside[:, 1:] > inside[:, :-1], axis=1)


def _medians(posterior: Floats, years: Floats, starts: Integers) -> Integers:
    """Find the year in which half is reached, then the month."""
    reached = np.cumsum(years, axis=1)
    year = np.minimum((reached < 0.5 - SLACK).sum(axis=1), years.shape[1] - 1)
    before = np.take_along_axis(reached - years, year[:, None], axis=1)
    longest = int(np.diff(starts).max())
    months = np.minimum(starts[year][:, None] + np.arange(longest), posterior.shape[1] - 1)
    within = before + np.cumsum(np.take_along_axis(posterior, months, axis=1), axis=1)
    found = starts[year] + (within < 0.5 - SLACK).sum(axis=1)
    return np.asarray(np.minimum(found, starts[year + 1] - 1))


def _sets(posterior: Floats, level: float) -> tuple[NDArray[np.bool_], Floats]:
    """Give the months of each highest-density set, and its mass.

    See :func:`dating.summaries.highest_density`. A threshold is found among the probabilities
    sorted as float32, which is quicker; where it turns out to be wrong, they are sorted as they
    are. Of the months that count as equally probable with it, the earliest are taken until the set
    holds the level.
    """
    wanted = level - SLACK
    inside, alike, held, more = _around(posterior, _threshold(posterior.astype(np.float32), wanted))
    wrong = np.flatnonzero((held >= wanted) | (held + more < wanted))
    if len(wrong):
        again = _around(posterior[wrong], _threshold(posterior[wrong], wanted))
        inside[wrong], alike[wrong], held[wrong], more[wrong] = again
    many = np.flatnonzero(np.count_nonzero(alike, axis=1) > 1)
    if len(many):
        entering = posterior[many] * alike[many]
        before = held[many, None] + np.cumsum(entering, axis=1) - entering
        alike[many] &= before < wanted
        more[many] = np.vecdot(posterior[many], alike[many].astype(float))
    return inside | alike, held + more


def _threshold(posterior: NDArray[np.floating], wanted: float) -> Floats:
    """Find the probability of the last month that is needed to hold the level, shape (row, 1)."""
    rows, months = posterior.shape
    padded = np.zeros((rows, -(-months // _RUN) * _RUN), dtype=posterior.dtype)
    padded[:, padded.shape[1] - months :] = np.sort(posterior, axis=1)
    runs = padded.reshape(rows, -1, _RUN)
    sums = np.add.reduceat(padded, np.arange(0, padded.shape[1], _RUN), axis=1, dtype=float)
    reached = np.cumsum(sums, axis=1)
    spare = reached[:, -1:] - wanted
    run = np.minimum((reached <= spare).sum(axis=1), runs.shape[1] - 1)
    at = np.arange(rows)
    within = (reached - sums)[at, run][:, None] + np.cumsum(runs[at, run], axis=1, dtype=float)
    last = np.minimum((within <= spare).sum(axis=1), _RUN - 1)
    return np.asarray(runs[at, run, last][:, None], dtype=float)


def _around(
    posterior: Floats, threshold: Floats
) -> tuple[NDArray[np.bool_], NDArray[np.bool_], Floats, Floats]:
    """Mark the months above those alike with a threshold, and those alike; give their masses."""
    bins = -np.rint(np.log(np.maximum(threshold, _TINY)) * BINS)
    inside = posterior > np.exp(-(bins - 0.5) / BINS)
    both = posterior > np.exp(-(bins + 0.5) / BINS)
    held = np.einsum("rt,rt->r", posterior, inside)
    alike = both ^ inside
    return inside, alike, held, np.einsum("rt,rt->r", posterior, alike)
