"""The same as :func:`dating.batch.joint.add_rows`, compiled, one row at a time.

This module needs numba and is imported only where it is installed. Loops over lanes have a fixed
length, so that they are unrolled; they let go of the interpreter, so that threads run side by side.
"""

# ruff: noqa: PLR0917
# mypy: disallow-untyped-defs=False, disallow-untyped-calls=False, disallow-untyped-decorators=False
from __future__ import annotations

from collections.abc import Callable

import numba
import numpy as np

from dating.arrays import Floats, Unsigned
from dating.batch.joint import Factors
from dating.batch.lanes import CLASSES, UNROLLED

FEW = 4 * CLASSES
"""Length of the loops where blocks are narrower than :data:`~dating.batch.lanes.UNROLLED`."""
_FAST = {"nsz", "contract", "nnan", "ninf", "arcp"}
jit = numba.njit(nogil=True, cache=True, fastmath=_FAST, error_model="numpy", boundscheck=False)


def add_rows(factors: Factors, patterns: Unsigned, joint: Floats, parts: Floats) -> None:
    """Add what a block of draws gives some rows.

    Shapes: as in :func:`dating.batch.joint.add_rows`.
    """
    lanes = factors.prior.shape[1]
    length = UNROLLED if lanes % UNROLLED == 0 else FEW
    for first in range(0, lanes, length):
        draws = slice(first, first + length)
        prior, vectors, swapped = (
            np.ascontiguousarray(array[:, draws])
            for array in (factors.prior, factors.vectors, factors.swapped)
        )
        evidence = (factors.fixed, factors.drawn, factors.vector, vectors, swapped)
        if parts.shape[1]:
            _WITH_PARTS[length](prior, factors.month, evidence, patterns, joint, parts)
        else:
            _DATES_ALONE[length](prior, factors.month, evidence, patterns, joint)


def _folding(lanes: int) -> Callable[..., None]:
    half, quarter, eighth = lanes // 2, lanes // 4, lanes // 8

    @jit
    def fold(product):
        """Add up the lanes of each class into the first lanes."""
        for n in range(half):
            product[n] += product[half + n]
        for n in range(quarter):
            product[n] += product[quarter + n]
        if eighth > CLASSES:
            for n in range(eighth):
                product[n] += product[eighth + n]
            for n in range(CLASSES):
                product[n] += product[CLASSES + n]

    return fold


def _dates_alone(lanes: int) -> Callable[..., None]:
    fold = _folding(lanes)

    @jit
    def multiply_two(product, s0, s1, vectors, k0, k1, swapped, p0, p1):
        """Multiply two components onto a product; one at a time takes longer."""
        for n in range(lanes):
            first = s0 * vectors[k0, n] + swapped[p0, n]
            second = s1 * vectors[k1, n] + swapped[p1, n]
            product[n] *= first * second

    @jit
    def add(prior, month, evidence, patterns, joint):
        fixed, drawn, vector, vectors, swapped = evidence
        product, whole = np.empty(lanes), patterns.shape[1] - 1
        for row in range(len(patterns)):
            for place in range(len(month)):
                on_whole = fixed[patterns[row, whole], place]
                if on_whole == 0:
                    continue
                for n in range(lanes):
                    product[n] = prior[place, n]
                for c in range(0, whole, 2):
                    p0, p1 = patterns[row, c], patterns[row, c + 1]
                    s0, s1 = fixed[p0, place], fixed[p1, place]
                    k0, k1 = vector[drawn[p0], place], vector[drawn[p1], place]
                    multiply_two(product, s0, s1, vectors, k0, k1, swapped, p0, p1)
                fold(product)
                for n in range(CLASSES):
                    joint[row, month[place], n] += on_whole * product[n]

    return add


def _with_parts(lanes: int) -> Callable[..., None]:
    fold = _folding(lanes)

    @jit
    def weigh(original, either, s, vectors, k, swapped, p, c):
        """Work out one component: if it is original, and whether or not it is."""
        for n in range(lanes):
            original[c, n] = s * vectors[k, n]
            either[c, n] = original[c, n] + swapped[p, n]

    @jit
    def multiply_after(after, either, c):
        """Multiply what comes after a component with the one after it."""
        for n in range(lanes):
            after[c, n] = after[c + 1, n] * either[c + 1, n]

    @jit
    def multiply(product, every, chance, original, either, after, swapped, p, c):
        """Multiply one component onto products, and add what holds if it was swapped."""
        for n in range(lanes):
            chance[c, n] += product[n] * after[c, n] * swapped[p, n]
            product[n] *= either[c, n]
            every[n] *= original[c, n]

    @jit
    def add(prior, month, evidence, patterns, joint, parts):
        fixed, drawn, vector, vectors, swapped = evidence
        whole = patterns.shape[1] - 1
        product, every, total = np.empty(lanes), np.empty(lanes), np.empty(lanes)
        original, either = np.empty((whole, lanes)), np.empty((whole, lanes))
        after, chance = np.ones((whole, lanes)), np.empty((whole, lanes))
        for row in range(len(patterns)):
            chance[:], total[:] = 0.0, 0.0
            for place in range(len(month)):
                on_whole = fixed[patterns[row, whole], place]
                if on_whole == 0:
                    continue
                for c in range(whole):
                    p = patterns[row, c]
                    s, k = fixed[p, place], vector[drawn[p], place]
                    weigh(original, either, s, vectors, k, swapped, p, c)
                for c in range(whole - 2, -1, -1):
                    multiply_after(after, either, c)
                for n in range(lanes):
                    product[n] = prior[place, n] * on_whole
                    every[n] = product[n]
                for c in range(whole):
                    p = patterns[row, c]
                    multiply(product, every, chance, original, either, after, swapped, p, c)
                for n in range(lanes):
                    total[n] += every[n]
                fold(product)
                for n in range(CLASSES):
                    joint[row, month[place], n] += product[n]
            for c in range(whole):
                parts[row, c] += chance[c].sum()
            parts[row, whole] += total.sum()

    return add


_DATES_ALONE = {length: _dates_alone(length) for length in (UNROLLED, FEW)}
_WITH_PARTS = {length: _with_parts(length) for length in (UNROLLED, FEW)}
