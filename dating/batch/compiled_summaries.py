"""Summaries of one posterior, compiled: years, mode, median, highest-density set, entropy.

A posterior stands in a buffer of its own, after one zero and before at least sixteen, so that a
*window* of it, the years that matter, can be cut to a multiple of sixteen months and has a month
before it. Numba caches what is compiled by the file of the caller: after a change here alone the
cache of :mod:`dating.batch.compiled` has to be emptied.
"""

# ruff: noqa: PLR0917
# mypy: disallow-untyped-decorators=False, disallow-untyped-calls=False
from __future__ import annotations

import numba
import numpy as np

from dating.batch.blocks import BINS, SLACK

LEAD = 1
"""Zeros before the first month."""
RUN = 16
"""Months at a time that a core compares or sums."""
_ALIKE = 1 - SLACK
_FAST = {"reassoc", "nsz", "nnan", "contract", "arcp"}
jit = numba.njit(nogil=True, cache=True, fastmath=_FAST, error_model="numpy", boundscheck=False)
_LOG2_E = 1.4426950408889634
_LOG_2 = 0.6931471805599453
_MANTISSA = 0x000FFFFFFFFFFFFF
_ONE = 0x3FF0000000000000
_HALF_UP = 0x0009_5F61_9980_C433
"""What carries a mantissa above the square root of two into the exponent."""
_TO_OCTAVES = 1 / (1 << 52)
_BIAS = 1022.91
"""Makes the bits of a number, as octaves, no less than its logarithm, and 0.1 more at most."""
_STEPS = np.array([0, 100, 300, 600, 1000, 1500, 2200, 3200, 1 << 40])
"""Bins below the most probable month at which the threshold is sought first."""


@jit
def room_for(months):  # type: ignore[no-untyped-def]
    """Make a buffer for a posterior."""
    return np.zeros(LEAD + -(-months // RUN) * RUN + RUN)


@jit
def sum_years(posterior, starts, years):  # type: ignore[no-untyped-def]
    """Sum each calendar year."""
    for year in range(len(years)):
        start = starts[year]
        if starts[year + 1] - start == 12:
            half = posterior[start] + posterior[start + 1] + posterior[start + 2]
            half += posterior[start + 3] + posterior[start + 4] + posterior[start + 5]
            more = posterior[start + 6] + posterior[start + 7] + posterior[start + 8]
            more += posterior[start + 9] + posterior[start + 10] + posterior[start + 11]
            years[year] = half + more
        else:
            mass = 0.0
            for t in range(start, starts[year + 1]):
                mass += posterior[t]
            years[year] = mass


@jit
def median(posterior, years, starts):  # type: ignore[no-untyped-def]
    """Find the year in which half is reached, then the month."""
    reached, year = 0.0, 0
    while year < len(years) - 1 and reached + years[year] < 0.5 - SLACK:
        reached += years[year]
        year += 1
    for t in range(starts[year], starts[year + 1]):
        reached += posterior[t]
        if reached >= 0.5 - SLACK:
            return t
    return starts[year + 1] - 1


@jit
def entropy(posterior, scratch):  # type: ignore[no-untyped-def]
    """Sum -p log2 p; log2 of the mantissa by the series of the inverse hyperbolic tangent.

    With the mantissa between the square roots of one half and two the terms left out are below
    1e-10. The scratch, a buffer like that of the posterior, is written over.
    """
    months = len(posterior)
    whole, scaled = posterior.view(np.int64), scratch[LEAD : LEAD + months]
    mantissa = scaled.view(np.int64)
    for t in range(months):
        mantissa[t] = ((whole[t] + _HALF_UP) & _MANTISSA) + (_ONE - _HALF_UP)
    summed = 0.0
    for t in range(months):
        s = (scaled[t] - 1) / (scaled[t] + 1)
        q = s * s
        series = 2 * s * (1 + q * (1 / 3 + q * (1 / 5 + q * (1 / 7 + q * (1 / 9 + q / 11)))))
        summed -= posterior[t] * ((((whole[t] + _HALF_UP) >> 52) - 1023) + series * _LOG2_E)
    return max(summed, 0.0)


@jit
def window_of(years, starts, least):  # type: ignore[no-untyped-def]
    """Find where in the buffer the years stand in which a month may be more probable than this."""
    first, last = 0, len(years) - 1
    while years[first] <= least:
        first += 1
    while years[last] <= least:
        last -= 1
    start = LEAD + starts[first]
    return first, start, start + -(-(starts[last + 1] - starts[first]) // RUN) * RUN


@jit
def mode(room, first, start, stop, years, starts, cell):  # type: ignore[no-untyped-def]
    """Find the earliest month that is as probable as any, but for rounding, and how probable."""
    bits = cell.view(np.int64)
    whole = room.view(np.int64)[start:stop]
    top = np.int64(0)
    for t in range(len(whole)):  # numbers that are not negative are ordered as their bits
        top = whole[t] if whole[t] > top else top
    bits[0] = top
    least = cell[0] * _ALIKE
    year = first
    while years[year] < least:
        year += 1
    t = starts[year]
    while room[LEAD + t] < least:
        t += 1
    return t, cell[0]


@jit
def _above_seven(window, edges, held):  # type: ignore[no-untyped-def]
    """Sum what lies above each of seven edges, in one pass."""
    a, b, c, d, e, f, g = edges[1], edges[2], edges[3], edges[4], edges[5], edges[6], edges[7]
    one = two = three = four = five = six = seven = 0.0
    for t in range(len(window)):
        p = window[t]
        one += p if p > a else 0.0
        two += p if p > b else 0.0
        three += p if p > c else 0.0
        four += p if p > d else 0.0
        five += p if p > e else 0.0
        six += p if p > f else 0.0
        seven += p if p > g else 0.0
    held[1], held[2], held[3], held[4] = one, two, three, four
    held[5], held[6], held[7] = five, six, seven


@jit
def threshold(window, wanted, edges, highest, search):  # type: ignore[no-untyped-def]
    """Find the bins of the logarithm between which the threshold of the set lies.

    Above the edge of the first too little is held, above that of the second there is enough. The
    search ends with one bin, or as soon as a single month lies between the two. Gives both bins,
    what is held above each, and whether a single month is left.
    """
    bins, at, held = search[0], search[1], search[2]
    low = len(edges) - 1
    high = max(int(-_octaves(highest, at) * (_LOG_2 * BINS)) - 1, 0)
    high = min(high, low - 1)
    above_high, above_low = 0.0, 1.0 + SLACK
    begun = False
    while low - high > 1 and above_low - above_high >= 2 * edges[low]:
        for k in range(1, 8):
            step = max((low - high) * k >> 3, k) if begun else _STEPS[k]
            bins[k] = min(high + step, low)
            at[k] = edges[int(bins[k])]
        bins[0], bins[8], held[0], held[8] = high, low, above_high, above_low
        begun = True
        _above_seven(window, at, held)
        enough = 1
        for k in range(1, 8):
            enough += int(held[k] < wanted)
        high, above_high = int(bins[enough - 1]), held[enough - 1]
        low, above_low = int(bins[enough]), held[enough]
    return high, low, above_high, above_low - above_high < 2 * edges[low]


@jit
def _octaves(value, cell):  # type: ignore[no-untyped-def]
    """Give a logarithm to base 2 that is not too small, and at most 0.1 too large."""
    cell[0] = value
    return cell.view(np.int64)[0] * _TO_OCTAVES - _BIAS


@jit
def fill_up(window, wanted, upper, lower, above, inside):  # type: ignore[no-untyped-def]
    """Of months that count as equally probable keep the earliest, until enough is held."""
    held = above
    for t in range(len(window)):
        p = window[t]
        alike = held < wanted and lower < p <= upper
        inside[t] = p if alike or p > upper else 0.0
        held += p if alike else 0.0


@jit
def measure(room, start, stop, edge):  # type: ignore[no-untyped-def]
    """Give mass, number of stretches, first and last place of what lies above an edge."""
    window, before = room[start:stop], room[start - 1 : stop - 1]
    count, held, stretches = len(window), 0.0, np.int64(0)
    first = after = count
    for t in range(count):
        p = window[t]
        held += p if p > edge else 0.0
        stretches += np.int64((p > edge) & (before[t] <= edge))
        first = min(first, t if p > edge else count)
        after = min(after, count - t if p > edge else count)
    return held, stretches, start - LEAD + first, stop - LEAD - after
