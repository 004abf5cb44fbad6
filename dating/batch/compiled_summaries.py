"""Summaries of one posterior, compiled: years, mode, median, entropy.

The months that matter, a *window*, stand in a buffer of their own, after zeros and before at least
sixteen more, so that a window can be cut to a multiple of sixteen months and has a month before it.
Numba caches what is compiled by the file of the caller: after a change here alone the caches of the
modules that call it have to be emptied.
"""

# ruff: noqa: PLR0917
# mypy: disallow-untyped-decorators=False, disallow-untyped-calls=False
from __future__ import annotations

import numpy as np

from dating.batch.block_summaries import SLACK
from dating.batch.compiled_products import fill, jit

LEAD = 1
"""Zeros before the first month."""
RUN = 16
"""Months at a time that a core compares or sums."""
_ALIKE = 1 - SLACK
_ALIKE_BIN = 0.998
"""A month in the same bin as another is at least so much as probable."""
_LOG2_E = 1.4426950408889634
_MANTISSA = 0x000FFFFFFFFFFFFF
_ONE = 0x3FF0000000000000
_HALF_UP = 0x0009_5F61_9980_C433
"""What carries a mantissa above the square root of two into the exponent."""


@jit
def in_runs(months):  # type: ignore[no-untyped-def]
    """Round up to whole runs."""
    return -(-months // RUN) * RUN


@jit
def room_for(months):  # type: ignore[no-untyped-def]
    """Make a buffer for a posterior."""
    return np.zeros(LEAD + in_runs(months) + RUN)


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
def years_of_set(years, target, months):  # type: ignore[no-untyped-def]
    """Find the first and the last calendar year in which a month of the set may stand.

    The months outside the set and the last one in it hold more than is not wanted, and none is more
    probable than that last one; so it is at least as probable as they are on average.
    """
    first, last, outside, least = 0, len(years) - 1, 0.0, (1 - target) * _ALIKE_BIN / (months + 1)
    for _ in range(2):
        while years[first] <= least:
            outside += years[first]
            first += 1
        while years[last] <= least:
            outside += years[last]
            last -= 1
        least = (1 - target - outside) * _ALIKE_BIN / (12 * (last - first + 1) + 1)
    return first, last


@jit
def mode(room, bits, start, stop, cell):  # type: ignore[no-untyped-def]
    """Find the earliest place that is as probable as any, but for rounding, and how probable."""
    top = np.int64(0)
    for t in range(start, stop):  # numbers that are not negative are ordered as their bits
        top = bits[t] if bits[t] > top else top
    cell.view(np.int64)[0] = top
    least, t = cell[0] * _ALIKE, start
    while room[t] < least:
        t += 1
    return t, cell[0]


@jit
def blank(row, stretches_out, months_out, numbers_out, original_out, years_out):  # type: ignore[no-untyped-def]
    """Note that floats do not hold the row: perhaps no month is possible."""
    stretches_out[row] = 0
    fill(months_out[:, row], 0)
    fill(numbers_out[:, row], np.nan)
    fill(original_out[:, row], np.nan)
    fill(years_out[:, row], np.nan)
