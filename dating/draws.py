"""Draws that converge fast: Sobol points, scrambled afresh for each replicate.

The points of one replicate fill the unit cube evenly; replicates are independent of each
other, so that the spread between them measures the error that the draws leave.

The points are made here rather than by ``scipy.stats.qmc`` because importing that takes several
times as long as dating an instrument; a test holds the unscrambled points against it.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

BITS = 30
_TABLE = """
1:1 3:1 7:1,3 11:1,3,1 13:1,1,1 19:1,1,3,3 25:1,3,5,13 37:1,1,5,5,17 41:1,1,5,5,5
47:1,1,7,11,19 55:1,1,5,1,1 59:1,1,1,3,11 61:1,3,5,5,31 67:1,3,3,9,7,49 91:1,1,1,15,21,21
97:1,3,1,13,27,49 103:1,1,1,15,7,5 109:1,3,1,15,13,25 115:1,1,5,5,19,61
131:1,3,7,11,23,15,103 137:1,3,7,13,13,15,69 143:1,1,3,13,7,35,63 145:1,3,5,9,1,25,53
157:1,3,1,13,9,35,107 167:1,3,1,5,27,61,31 171:1,1,5,11,19,41,61 185:1,3,5,3,3,13,69
191:1,1,7,13,1,19,1 193:1,3,7,5,13,19,59 203:1,1,3,9,25,29,41 211:1,3,5,13,23,1,55
213:1,3,7,3,13,59,17 229:1,3,1,3,5,53,69 239:1,1,5,5,23,33,13 241:1,1,7,7,1,61,123
247:1,1,7,9,13,61,49 253:1,3,3,5,3,55,33 285:1,3,1,15,31,13,49,245 299:1,3,5,15,31,59,63,97
301:1,3,1,11,11,11,77,249 333:1,3,1,11,27,43,71,9 351:1,1,7,15,21,11,81,45
355:1,3,7,3,25,31,65,79 357:1,3,1,1,19,11,3,205 361:1,1,5,9,19,21,29,157
369:1,3,7,11,1,33,89,185 391:1,3,3,3,15,9,79,71 397:1,3,7,11,15,39,119,27
425:1,1,3,1,11,31,97,225 451:1,1,1,3,23,43,57,177 463:1,3,7,7,17,17,37,71
487:1,3,1,5,27,63,123,213 501:1,1,3,5,11,43,53,133 529:1,3,5,5,29,17,47,173,479
539:1,3,3,11,3,1,109,9,69 545:1,1,1,5,17,39,23,5,343 557:1,3,1,5,25,15,31,103,499
563:1,1,1,11,11,17,63,105,183 601:1,1,5,11,9,29,97,231,363 607:1,1,5,15,19,45,41,7,383
617:1,3,7,7,31,19,83,137,221 623:1,1,1,3,23,15,111,223,83 631:1,1,5,13,31,15,55,25,161
637:1,1,3,13,25,47,39,87,257
"""
MOST_NUMBERS = len(_TABLE.split())
"""How many uncertain numbers can be drawn jointly."""


def scrambled_sobol(numbers: int, points: int, replicates: int, seed: int) -> NDArray[np.float64]:
    """Draw replicated, scrambled Sobol points in the open unit cube.

    Each replicate has its own random lower-triangular scrambling of the digits and its own
    digital shift, so every point is uniform and replicates are independent.

    Parameters
    ----------
    numbers : int
        Dimension of the cube, from 0 to 64.
    points : int
        Points in a replicate, a power of two.
    replicates : int
        How many replicates.
    seed : int
        The same seed gives the same points, bit for bit.

    Returns
    -------
    ndarray of float64, shape (replicates * points, numbers)
        Points strictly between 0 and 1, replicate after replicate.

    Raises
    ------
    ValueError
        When points is not a power of two or there are too many numbers.

    References
    ----------
    Joe, S. and Kuo, F. Y. (2008). Constructing Sobol sequences with better two-dimensional
    projections. *SIAM J. Sci. Comput.* 30(5), 2635-2654, for the direction numbers.
    doi:10.1137/070709359

    Matousek, J. (1998). On the L2-discrepancy for anchored boxes. *J. Complexity* 14(4),
    527-556, for the scrambling. doi:10.1006/jcom.1998.0489

    Examples
    --------
    >>> draws = scrambled_sobol(numbers=2, points=8, replicates=3, seed=1)
    >>> draws.shape
    (24, 2)
    >>> sorted((8 * draws[:8, 0]).astype(int).tolist())
    [0, 1, 2, 3, 4, 5, 6, 7]
    """
    if points < 1 or points & (points - 1):
        raise ValueError(f"points must be a power of two, found {points}")
    if numbers > MOST_NUMBERS:
        raise ValueError(f"at most {MOST_NUMBERS} uncertain numbers can be drawn, found {numbers}")
    generator = np.random.Generator(np.random.PCG64(seed))
    directions = _directions()[:numbers]
    draws = np.empty((replicates, points, numbers), dtype=np.int64)
    for replicate in range(replicates):
        scrambled = _scramble(directions, generator)
        shift = generator.integers(0, 1 << BITS, size=numbers)
        draws[replicate] = _points(scrambled, points) ^ shift
    return ((draws + 0.5) / (1 << BITS)).reshape(replicates * points, numbers)


def sobol(numbers: int, points: int) -> NDArray[np.float64]:
    """Give the first unscrambled Sobol points, in the order of their binary index.

    Shape: (points, numbers).

    Examples
    --------
    >>> sobol(numbers=1, points=4).ravel().tolist()
    [0.0, 0.5, 0.25, 0.75]
    """
    return _points(_directions()[:numbers], points) / (1 << BITS)


@cache
def _directions() -> NDArray[np.int64]:
    """Direction numbers by dimension and bit, scaled to BITS binary digits."""
    rows = [entry.split(":") for entry in _TABLE.split()]
    return np.array([_recurrence(int(p), [int(m) for m in ms.split(",")]) for p, ms in rows])


def _recurrence(polynomial: int, initial: list[int]) -> list[int]:
    degree = polynomial.bit_length() - 1
    if degree == 0:
        return [1 << (BITS - 1 - j) for j in range(BITS)]
    m = list(initial)
    for j in range(degree, BITS):
        value = m[j - degree] ^ (m[j - degree] << degree)
        for k in range(1, degree):
            if polynomial >> (degree - k) & 1:
                value ^= m[j - k] << k
        m.append(value)
    return [m[j] << (BITS - 1 - j) for j in range(BITS)]


def _points(directions: NDArray[np.int64], points: int) -> NDArray[np.int64]:
    rows = np.zeros((1, len(directions)), dtype=np.int64)
    for bit in range(points.bit_length() - 1):
        rows = np.concatenate([rows, rows ^ directions[:, bit]])
    return rows


def _scramble(directions: NDArray[np.int64], generator: np.random.Generator) -> NDArray[np.int64]:
    """Multiply the binary digits of each direction number by a random unit triangle."""
    weights = 1 << np.arange(BITS - 1, -1, -1, dtype=np.int64)
    digits = (directions[:, None, :] & weights[None, :, None]) > 0
    triangle = generator.integers(0, 2, size=(len(directions), BITS, BITS))
    triangle = np.tril(triangle, -1) + np.eye(BITS, dtype=np.int64)
    mixed = np.einsum("dij,djk->dik", triangle, digits.astype(np.int64)) & 1
    return np.asarray(np.einsum("dik,i->dk", mixed, weights), dtype=np.int64)
