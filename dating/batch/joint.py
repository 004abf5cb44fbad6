"""Rows combined from patterns: the joint probability of what was seen and the build month.

For each row, replicate and month is summed, over the draws n of the replicate and the variants v,

    pi_n(t, v) prod_c ((1 - rho_c) A_c(n, t, v) + D_c(n)),

and beside it, where that is asked for, the part that holds if a component was swapped, and if none
was. :mod:`dating.batch.compiled` does the same, row by row, where numba is installed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dating.arrays import Floats, Integers, Unsigned
from dating.batch.lanes import CLASSES
from dating.batch.patterns import Evidence


@dataclass(frozen=True, eq=False)
class Factors:
    """The patterns of all components in one block of draws, one after the other.

    Parameters
    ----------
    prior : ndarray of float64, shape (place, lane)
        P(month) P(variant | month) times the weight of the draw.
    month : ndarray of int64, shape (place,)
        The month of each place.
    fixed, drawn, vector, vectors, swapped : ndarray
        As :class:`~dating.batch.patterns.Evidence` has them; the first pattern says nothing.
    begins : tuple of int
        The first pattern of each component.

    Notes
    -----
    Places and patterns are unsigned, as what cannot be negative is looked up without a comparison.
    """

    prior: Floats
    month: Integers
    fixed: Floats
    drawn: Integers
    vector: Integers
    vectors: Floats
    swapped: Floats
    begins: tuple[int, ...]


def factors_of(prior: Floats, month: Integers, evidence: Sequence[Evidence]) -> Factors:
    """Put the patterns of all components one after the other.

    Shapes: prior (place, lane), month (place,).
    """
    lanes = prior.shape[1]
    drawn: list[Integers] = [np.zeros(1, dtype=np.int64)]
    vector: list[Integers] = [np.zeros((1, len(month)), dtype=np.int64)]
    begins: list[int] = []
    patterns, sets, vectors = 1, 1, 1
    for each in evidence:
        begins.append(patterns)
        drawn.append(each.drawn + sets)
        vector.append(np.where(each.vector > 0, each.vector + vectors - 1, 0))
        patterns += len(each.fixed)
        sets += len(each.vector)
        vectors += len(each.vectors) - 1
    return Factors(
        prior=np.ascontiguousarray(prior),
        month=month.astype(np.uint64),
        fixed=np.concatenate([np.ones((1, len(month))), *(each.fixed for each in evidence)]),
        drawn=np.concatenate(drawn).astype(np.uint64),
        vector=np.concatenate(vector).astype(np.uint64),
        vectors=np.concatenate([np.ones((1, lanes)), *(each.vectors[1:] for each in evidence)]),
        swapped=np.concatenate([np.zeros((1, lanes)), *(each.swapped for each in evidence)]),
        begins=tuple(begins),
    )


def in_pairs(patterns: Sequence[Integers], whole: Integers | None, rows: int) -> Unsigned:
    """Put the patterns of rows side by side: components, filled up to pairs, and the whole.

    Shapes: patterns (row,) each; gives (row, component + 1), where 0 says nothing.
    """
    count = max(2, -(-len(patterns) // 2) * 2)
    together = np.zeros((rows, count + 1), dtype=np.uint64)
    for place, of_row in enumerate(patterns):
        together[:, place] = of_row
    if whole is not None:
        together[:, count] = whole
    return together


def add_rows(factors: Factors, patterns: Integers, joint: Floats, parts: Floats) -> None:
    """Add what a block of draws gives some rows.

    Shapes: patterns (row, component + 1), the last of the instrument as a whole, on which nothing
    has draws; joint (row, month, class); parts (row, component + 1), the last if all are original,
    or (row, 0) where they are not asked for.
    """
    swapped = [factors.swapped[of_rows] for of_rows in patterns.T]
    for place, month in enumerate(factors.month):
        original, either = [], []
        for of_rows, other in zip(patterns.T, swapped, strict=True):
            vector = factors.vectors[factors.vector[factors.drawn[of_rows], place]]
            original.append(factors.fixed[of_rows, place][:, None] * vector)
            either.append(original[-1] + other)
        product = factors.prior[place] * either[0]
        for each in either[1:]:
            product *= each
        joint[:, month] += product.reshape(len(product), -1, CLASSES).sum(axis=1)
        if parts.shape[1]:
            _add_parts(factors.prior[place], original, either, swapped, parts)


def _add_parts(
    prior: Floats,
    original: Sequence[Floats],
    either: Sequence[Floats],
    swapped: Sequence[Floats],
    parts: Floats,
) -> None:
    """Add what holds if each component was swapped, and if none was; shapes (row, lane)."""
    after = [np.ones_like(either[0])]
    for each in reversed(either[1:]):
        after.append(after[-1] * each)
    before = prior * np.ones_like(either[0])
    every = before.copy()
    for component, (each, other) in enumerate(zip(either, swapped, strict=True)):
        if component < len(either) - 1:
            parts[:, component] += (before * other * after[-1 - component]).sum(axis=1)
        before *= each
        every *= original[component]
    parts[:, -1] += every.sum(axis=1)


def add_rows_without_draws(
    factors: Factors, patterns: Integers, joint: Floats, parts: Floats
) -> None:
    """Do the same where there is one draw, for many places at a time; shapes as above."""
    each = [factors.fixed[of_rows] + factors.swapped[of_rows] for of_rows in patterns.T]
    before, after = [factors.prior[:, 0] * np.ones_like(each[0])], [np.ones_like(each[0])]
    for table in each:
        before.append(before[-1] * table)
    np.add.at(joint[:, :, 0].T, factors.month, before[-1].T)
    if parts.shape[1]:
        for table in reversed(each[1:]):
            after.append(after[-1] * table)
        for component, of_rows in enumerate(patterns.T[:-1]):
            chance = np.vecdot(before[component], after[-1 - component])
            parts[:, component] += factors.swapped[of_rows, 0] * chance
        every = before[0].copy()
        for of_rows in patterns.T:
            every *= factors.fixed[of_rows]
        parts[:, -1] += every.sum(axis=1)
