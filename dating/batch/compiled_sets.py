"""The highest-density set of one posterior, compiled.

Its threshold is sought between *edges*, bins of the logarithm of a probability, seven at a time.
Arrays are indexed and not cut, as each piece cut off would be counted while it is in use. Numba
caches what is compiled by the file of the caller: after a change here alone the caches of the
modules that call it have to be emptied.
"""

# ruff: noqa: PLR0917
# mypy: disallow-untyped-decorators=False, disallow-untyped-calls=False
from __future__ import annotations

import numpy as np

from dating.batch.block_summaries import BINS, SLACK
from dating.batch.compiled_products import jit

_STEPS = np.array([0, 100, 300, 600, 1000, 1500, 2200, 3200, 1 << 40])
"""Bins below the most probable month at which the threshold is sought first."""
_TO_OCTAVES = 1 / (1 << 52)
_BIAS = 1022.91
"""Makes the bits of a number, as octaves, no less than its logarithm, and 0.1 more at most."""
_LOG_2 = 0.6931471805599453


@jit
def set_of(room, start, stop, target, edges, highest, bins, at, sums, inside):  # type: ignore[no-untyped-def]
    """Find mass, number of stretches, first and last place of the set.

    It lies between start and stop. Bins, at and sums have nine places each; they and the room
    inside are written over.
    """
    at[0] = highest
    octaves = at.view(np.int64)[0] * _TO_OCTAVES - _BIAS
    first = min(max(int(-octaves * (_LOG_2 * BINS)) - 1, 0), len(edges) - 2)
    high, low, above, between = _threshold(room, start, stop, target, edges, first, bins, at, sums)
    if between < 2 * edges[low]:
        return _measured(room, start, stop, edges[low])
    _fill_up(room, start, stop, target, edges[high], edges[low], above, inside)
    return _measured(inside, start, stop, edges[low])


@jit
def _threshold(room, start, stop, target, edges, high, bins, at, sums):  # type: ignore[no-untyped-def]
    """Find the bins between which the threshold of the set lies.

    Above the edge of the first too little is held, above that of the second there is enough. The
    search ends with one bin, or as soon as a single month lies between the two. Gives both bins,
    what is held above the first, and between the two.
    """
    low = len(edges) - 1
    above_high, above_low = 0.0, 1.0 + SLACK
    begun = False
    while low - high > 1 and above_low - above_high >= 2 * edges[low]:
        for k in range(1, 8):
            step = max((low - high) * k >> 3, k) if begun else _STEPS[k]
            bins[k] = min(high + step, low)
            at[k] = edges[bins[k]]
        bins[0], bins[8], sums[0], sums[8] = high, low, above_high, above_low
        begun = True
        _above_seven(room, start, stop, at, sums)
        enough = 1
        for k in range(1, 8):
            enough += int(sums[k] < target)
        high, above_high = bins[enough - 1], sums[enough - 1]
        low, above_low = bins[enough], sums[enough]
    return high, low, above_high, above_low - above_high


@jit
def _above_seven(room, start, stop, edges, sums):  # type: ignore[no-untyped-def]
    """Sum what lies above each of seven edges, in one pass."""
    a, b, c, d, e, f, g = edges[1], edges[2], edges[3], edges[4], edges[5], edges[6], edges[7]
    one = two = three = four = five = six = seven = 0.0
    for t in range(start, stop):
        p = room[t]
        one += p if p > a else 0.0
        two += p if p > b else 0.0
        three += p if p > c else 0.0
        four += p if p > d else 0.0
        five += p if p > e else 0.0
        six += p if p > f else 0.0
        seven += p if p > g else 0.0
    sums[1], sums[2], sums[3], sums[4] = one, two, three, four
    sums[5], sums[6], sums[7] = five, six, seven


@jit
def _fill_up(room, start, stop, target, upper, lower, above, inside):  # type: ignore[no-untyped-def]
    """Of months that count as equally probable keep the earliest, until enough is held."""
    inside[start - 1] = 0.0
    mass = above
    for t in range(start, stop):
        p = room[t]
        alike = mass < target and lower < p <= upper
        inside[t] = p if alike or p > upper else 0.0
        mass += p if alike else 0.0


@jit
def _measured(room, start, stop, edge):  # type: ignore[no-untyped-def]
    """Give mass, number of stretches, first and last place of what lies above an edge."""
    mass, stretches, first, last = 0.0, np.int64(0), stop, np.int64(0)
    for t in range(start, stop):
        p = room[t]
        mass += p if p > edge else 0.0
        stretches += np.int64((p > edge) & (room[t - 1] <= edge))
        first = min(first, t if p > edge else stop)
        last = max(last, np.int64(t if p > edge else 0))
    return mass, stretches, first, last
