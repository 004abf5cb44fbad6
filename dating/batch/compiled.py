"""The same as :mod:`dating.batch.blocks`, compiled: one row at a time, nothing kept of it but sums.

This module needs numba and is imported only where it is installed. The kernel lets go of the
interpreter, so that threads run side by side.
"""

# ruff: noqa: PLR0917, PLR0912
from __future__ import annotations

from functools import lru_cache
from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray

from dating.batch.blocks import BINS, SLACK, Sums, Work
from dating.batch.results import Kept

type Floats = NDArray[np.float64]
type Integers = NDArray[np.integer[Any]]

ALIKE = 1 - SLACK
_FAST = {"reassoc", "nsz", "nnan", "contract", "arcp"}
_jit = numba.njit(nogil=True, cache=True, fastmath=_FAST, error_model="numpy", boundscheck=False)
_NO_SHARES = np.empty((0, 0, 0))
_LOG2_E = 1.4426950408889634
_MANTISSA = 0x000FFFFFFFFFFFFF
_ONE = 0x3FF0000000000000
_HALF_UP = 0x0009_5F61_9980_C433
"""What carries a mantissa above the square root of two into the exponent."""


def date_rows(work: Work, kept: Kept, first: int, last: int) -> None:
    """Date some rows.

    Parameters
    ----------
    work : Work
        The rows; levels are not corrected here.
    kept : Kept
        Where summaries go, by row.
    first, last : int
        The rows from the first to the one before the last.
    """
    groups, shares, wanted = work.groups, work.groups.original, work.level - SLACK
    count, replicates, variants, months = groups.joint.shape
    _date(
        work.pool.likelihood.reshape(-1, variants * months),
        work.pool.swapped,
        work.slots,
        work.places,
        groups.of_row,
        groups.joint.reshape(count, replicates, -1),
        _NO_SHARES if shares is None else shares.reshape(*shares.shape[:2], -1),
        work.unswapped,
        work.unseen,
        work.starts,
        wanted,
        _edges(wanted, months),
        months,
        kept.months,
        kept.stretches,
        kept.numbers,
        kept.original,
        kept.years,
        first,
        last,
    )


@lru_cache
def _edges(wanted: float, months: int) -> Floats:
    """Give the lower edges of bins, from that of a certain month to one that leaves enough out."""
    lowest = int(-np.log((1 - wanted) / months) * BINS) + 3
    return np.exp(-(np.arange(lowest) + 0.5) / BINS)


def tabulate(
    cells: Floats, index: Integers, swapped: float, donor: Floats
) -> tuple[Floats, Floats]:
    """Work out patterns; see :func:`dating.batch.blocks.tabulate`.

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

    Returns
    -------
    likelihood : ndarray of float64, shape (pattern, draw, variant, month)
        L_c.
    from_donor : ndarray of float64, shape (pattern, draw)
        The part of it that holds if the component was swapped.
    """
    shape = np.broadcast_shapes(cells.shape[1:], donor.shape)
    flat = (shape[0], shape[1] * shape[2])
    cells = np.broadcast_to(cells, (len(cells), *shape)).reshape(-1, *flat)
    donor = np.broadcast_to(donor, shape).reshape(flat)
    likelihood, from_donor = np.empty((len(index), *flat)), np.empty((len(index), flat[0]))
    _tabulate(cells, np.ascontiguousarray(index), swapped, donor, likelihood, from_donor)
    return likelihood.reshape(-1, *shape), from_donor


def accumulate(sums: Sums, first: int, last: int) -> None:
    """Add what some draws give some groups.

    Parameters
    ----------
    sums : Sums
        Tables of these draws, and the sums.
    first, last : int
        The groups from the first to the one before the last.
    """
    draws, variants, months = sums.prior.shape
    flat = variants * months
    _accumulate(
        sums.prior.reshape(draws, flat),
        sums.likelihood.reshape(-1, draws, flat),
        sums.from_donor,
        sums.index,
        sums.joint,
        sums.original,
        first,
        last,
    )


@_jit
def _date(  # type: ignore[no-untyped-def]
    likelihood, swapped, slots, places, of_row, joint, shares, unswapped, unseen, starts, wanted,
    edges, months, months_out, stretches_out, numbers_out, original_out, years_out, first, last,
):  # fmt: skip
    replicates, cells = joint.shape[1:]
    blocks = len(slots) // 4
    before, after = np.empty((blocks + 1, cells)), np.empty(cells)
    left_out = np.empty(len(slots))
    each, posterior = np.empty((replicates, months)), np.empty(months)
    years, bits, scaled = np.empty(len(starts) - 1), np.empty(months, np.int64), np.empty(months)
    positions = np.arange(months).astype(np.float64)
    found = np.empty(4, np.int64)
    for row in range(first, last):
        group = of_row[row]
        _start(joint, group, before)
        for k in range(blocks):
            _multiply(likelihood, _four(slots, k, row), before, k)
        _sum_variants(before, posterior)
        total = _sum(posterior)
        if not total > 0:
            stretches_out[row] = 0
            _blank(row, months_out, numbers_out, original_out, years_out)
            continue
        scale = 1 / total
        for t in range(months):
            posterior[t] *= scale
        for c in range(len(unswapped)):
            original_out[c, row] = unswapped[c]
        _leave_out(likelihood, slots, row, before, after, left_out)
        for f in range(len(places)):
            original = total - swapped[slots[f, row]] * left_out[f]
            if len(shares) > 0:
                original += _dot(before[blocks], shares[group, f]) - total
            if places[f] >= 0:
                original_out[places[f], row] = max(original * scale, 0.0)
        if blocks == 1 and len(shares) == 0:
            every = _four_original(likelihood, swapped, _four(slots, 0, row), before)
        else:
            _start(joint, group, before)
            every = _every_original(likelihood, swapped, slots, row, before[0], shares, group)
        numbers_out[3, row] = every * scale * unseen
        if replicates > 1:
            _fill(before[0], 1.0)
            for k in range(blocks):
                _multiply(likelihood, _four(slots, k, row), before, k)
            for b in range(replicates):
                _sum_variants_of(joint[group, b], before[blocks], each[b])
        numbers_out[4, row] = _standard_error(each, posterior, total)
        numbers_out[0, row] = _dot(posterior, positions)
        _sum_years(posterior, starts, years)
        for year in range(len(years)):
            years_out[year, row] = years[year]
        numbers_out[2, row] = _entropy(posterior, bits, scaled)
        found[0] = _mode(posterior, bits, years, starts)
        found[1] = _median(posterior, years, starts)
        numbers_out[1, row], stretches_out[row] = _set(
            posterior, wanted, edges, scaled, years, starts, found
        )
        for which in range(4):
            months_out[which, row] = found[which]


@_jit
def _four(slots, k, row):  # type: ignore[no-untyped-def]
    return slots[4 * k, row], slots[4 * k + 1, row], slots[4 * k + 2, row], slots[4 * k + 3, row]


@_jit
def _start(joint, group, before):  # type: ignore[no-untyped-def]
    """Begin with the prior, or with the sum over draws of what differs between them."""
    for i in range(before.shape[1]):
        before[0, i] = joint[group, 0, i]
    for b in range(1, joint.shape[1]):
        for i in range(before.shape[1]):
            before[0, i] += joint[group, b, i]


@_jit
def _multiply(likelihood, four, before, k):  # type: ignore[no-untyped-def]
    """Multiply four components at a time."""
    a, b, c, d = four
    for i in range(before.shape[1]):
        low = before[k, i] * (likelihood[a, i] * likelihood[b, i])
        before[k + 1, i] = low * (likelihood[c, i] * likelihood[d, i])


@_jit
def _leave_out(likelihood, slots, row, before, after, left_out):  # type: ignore[no-untyped-def]
    """Sum the product of all components but one, for each in turn, the last four first."""
    blocks, cells = len(before) - 1, before.shape[1]
    for k in range(blocks - 1, -1, -1):
        if k == blocks - 2:
            _fill(after, 1.0)
        if k < blocks - 1:
            a, b, c, d = _four(slots, k + 1, row)
            for i in range(cells):
                after[i] *= (likelihood[a, i] * likelihood[b, i]) * (
                    likelihood[c, i] * likelihood[d, i]
                )
            for i in range(cells):
                before[k, i] *= after[i]
        sums = _leave_each_of_four_out(likelihood, _four(slots, k, row), before, k)
        for place in range(4):
            left_out[4 * k + place] = sums[place]


@_jit
def _leave_each_of_four_out(likelihood, four, before, k):  # type: ignore[no-untyped-def]
    a, b, c, d = four
    without_a = without_b = without_c = without_d = 0.0
    for i in range(before.shape[1]):
        low = before[k, i] * (likelihood[a, i] * likelihood[b, i])
        high = before[k, i] * (likelihood[c, i] * likelihood[d, i])
        without_a += high * likelihood[b, i]
        without_b += high * likelihood[a, i]
        without_c += low * likelihood[d, i]
        without_d += low * likelihood[c, i]
    return without_a, without_b, without_c, without_d


@_jit
def _four_original(likelihood, swapped, four, before):  # type: ignore[no-untyped-def]
    """Sum the product of four components, each of them original."""
    a, b, c, d = four
    p, q, r, s = swapped[a], swapped[b], swapped[c], swapped[d]
    total = 0.0
    for i in range(before.shape[1]):
        low = before[0, i] * ((likelihood[a, i] - p) * (likelihood[b, i] - q))
        total += low * ((likelihood[c, i] - r) * (likelihood[d, i] - s))
    return total


@_jit
def _every_original(likelihood, swapped, slots, row, before, shares, group):  # type: ignore[no-untyped-def]
    """Sum the product of all components, each of them original."""
    for f in range(len(slots)):
        table, from_donor = likelihood[slots[f, row]], swapped[slots[f, row]]
        for i in range(len(before)):
            before[i] *= table[i] - from_donor
    if len(shares) == 0:
        return _sum(before)
    return _dot(before, shares[group, shares.shape[1] - 1])


@_jit
def _sum_variants(before, by_month):  # type: ignore[no-untyped-def]
    last, months = len(before) - 1, len(by_month)
    for t in range(months):
        by_month[t] = before[last, t]
    for start in range(months, before.shape[1], months):
        for t in range(months):
            by_month[t] += before[last, start + t]


@_jit
def _sum_variants_of(first, second, by_month):  # type: ignore[no-untyped-def]
    months = len(by_month)
    _fill(by_month, 0.0)
    for start in range(0, len(first), months):
        one, two = first[start : start + months], second[start : start + months]
        for t in range(months):
            by_month[t] += one[t] * two[t]


@_jit
def _blank(row, months_out, numbers_out, original_out, years_out):  # type: ignore[no-untyped-def]
    for place in range(len(months_out)):
        months_out[place, row] = 0
    for out in (numbers_out, original_out, years_out):
        for place in range(len(out)):
            out[place, row] = np.nan


@_jit
def _fill(values, with_what):  # type: ignore[no-untyped-def]
    for t in range(len(values)):
        values[t] = with_what


@_jit
def _copy(values, to):  # type: ignore[no-untyped-def]
    for t in range(len(values)):
        to[t] = values[t]


@_jit
def _sum(values):  # type: ignore[no-untyped-def]
    total = 0.0
    for t in range(len(values)):
        total += values[t]
    return total


@_jit
def _dot(first, second):  # type: ignore[no-untyped-def]
    total = 0.0
    for t in range(len(first)):
        total += first[t] * second[t]
    return total


@_jit
def _standard_error(each, posterior, total):  # type: ignore[no-untyped-def]
    """Give the largest standard error; see :meth:`dating.engine.Weighing.standard_error`."""
    replicates, months = each.shape
    if replicates == 1:
        return 0.0
    weight = np.empty(replicates)
    for b in range(replicates):
        weight[b] = _sum(each[b])
    largest = 0.0
    for t in range(months):
        square = 0.0
        for b in range(replicates):
            residual = each[b, t] - posterior[t] * weight[b]
            square += residual * residual
        largest = max(largest, square)
    return np.sqrt(largest * replicates / (replicates - 1)) / total


@_jit
def _sum_years(posterior, starts, years):  # type: ignore[no-untyped-def]
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


@_jit
def _entropy(posterior, bits, scaled):  # type: ignore[no-untyped-def]
    """Sum p log2 p; log2 of the mantissa by the series of the inverse hyperbolic tangent.

    With the mantissa between the square roots of one half and two the terms left out are below
    1e-10.
    """
    months = len(posterior)
    whole = posterior.view(np.int64)
    for t in range(months):
        bits[t] = whole[t] + _HALF_UP
    mantissa = scaled.view(np.int64)
    for t in range(months):
        mantissa[t] = (bits[t] & _MANTISSA) + (_ONE - _HALF_UP)
    entropy = 0.0
    for t in range(months):
        s = (scaled[t] - 1) / (scaled[t] + 1)
        q = s * s
        series = 2 * s * (1 + q * (1 / 3 + q * (1 / 5 + q * (1 / 7 + q * (1 / 9 + q / 11)))))
        entropy -= posterior[t] * (((bits[t] >> 52) - 1023) + series * _LOG2_E)
    return max(entropy, 0.0)


@_jit
def _mode(posterior, bits, years, starts):  # type: ignore[no-untyped-def]
    """Find the earliest month that is as probable as any, but for rounding."""
    whole, top = posterior.view(np.int64), np.int64(0)
    for t in range(len(posterior)):  # numbers that are not negative are ordered as their bits
        top = whole[t] if whole[t] > top else top
    bits[0] = top
    least = bits.view(np.float64)[0] * ALIKE
    for year in range(len(years)):
        if years[year] >= least:
            for t in range(starts[year], starts[year + 1]):
                if posterior[t] >= least:
                    return t
    return 0


@_jit
def _median(posterior, years, starts):  # type: ignore[no-untyped-def]
    reached, year = 0.0, 0
    while year < len(years) - 1 and reached + years[year] < 0.5 - SLACK:
        reached += years[year]
        year += 1
    for t in range(starts[year], starts[year + 1]):
        reached += posterior[t]
        if reached >= 0.5 - SLACK:
            return t
    return starts[year + 1] - 1


@_jit
def _above(posterior, edge):  # type: ignore[no-untyped-def]
    held = 0.0
    for t in range(len(posterior)):
        held += posterior[t] if posterior[t] > edge else 0.0
    return held


@_jit
def _above_three(posterior, first, second, third):  # type: ignore[no-untyped-def]
    one = two = three = 0.0
    for t in range(len(posterior)):
        p = posterior[t]
        one += p if p > first else 0.0
        two += p if p > second else 0.0
        three += p if p > third else 0.0
    return one, two, three


@_jit
def _set(posterior, wanted, edges, inside, years, starts, found):  # type: ignore[no-untyped-def]
    """Mark the highest-density set; see :func:`dating.summaries.highest_density`.

    A threshold is sought among the edges of bins of the logarithm: between ``high``, above which
    too little is held, and ``low``, above which there is enough. The search ends with one bin, or
    as soon as a single month lies between the two.
    """
    months = len(posterior)
    low = len(edges) - 1
    high = min(max(int(-np.log(posterior[found[0]]) * BINS) - 1, 0), low - 1)
    above_high, above_low = 0.0, 1.0 + SLACK
    while low - high > 1 and above_low - above_high >= 2 * edges[low]:
        step = max((low - high) // 4, 1)
        second, third = min(high + 2 * step, low), min(high + 3 * step, low)
        held = _above_three(posterior, edges[high + step], edges[second], edges[third])
        if held[0] >= wanted:
            low, above_low = high + step, held[0]
        elif held[1] >= wanted:
            high, above_high, low, above_low = high + step, held[0], second, held[1]
        elif held[2] >= wanted:
            high, above_high, low, above_low = second, held[1], third, held[2]
        else:
            high, above_high = third, held[2]
    if above_low - above_high < 2 * edges[low]:
        return _measure(posterior, edges[low], years, starts, found)
    for t in range(months):
        inside[t] = posterior[t] if posterior[t] > edges[high] else 0.0
    held_now = above_high
    for t in range(months):
        if held_now < wanted and edges[low] < posterior[t] <= edges[high]:
            inside[t] = posterior[t]
            held_now += posterior[t]
    return _measure(inside, edges[low], years, starts, found)


@_jit
def _measure(values, edge, years, starts, found):  # type: ignore[no-untyped-def]
    """Give mass and number of stretches of the months above an edge; note first and last."""
    months, stretches = len(values), np.int64(values[0] > edge)
    for t in range(1, months):
        stretches += np.int64(values[t] > edge) & np.int64(values[t - 1] <= edge)
    found[2] = found[3] = 0
    looking = True
    for year in range(len(years)):
        if looking and years[year] > edge:
            for t in range(starts[year], starts[year + 1]):
                if looking and values[t] > edge:
                    found[2], looking = t, False
    looking = True
    for year in range(len(years) - 1, -1, -1):
        if looking and years[year] > edge:
            for t in range(starts[year + 1] - 1, starts[year] - 1, -1):
                if looking and values[t] > edge:
                    found[3], looking = t, False
    return _above(values, edge), stretches


@_jit
def _tabulate(cells, index, swapped, donor, likelihood, from_donor):  # type: ignore[no-untyped-def]
    for pattern in range(len(index)):
        blank = True
        for column in range(index.shape[1]):
            blank = blank and index[pattern, column] == 0
        for n in range(likelihood.shape[1]):
            here = likelihood[pattern, n]
            _fill(here, 1.0)
            for column in range(index.shape[1]):
                if index[pattern, column] > 0:
                    cell = cells[index[pattern, column], n]
                    for i in range(len(here)):
                        here[i] *= cell[i]
            other = swapped if blank or swapped == 0 else swapped * _dot(donor[n], here)
            from_donor[pattern, n] = other
            for i in range(len(here)):
                here[i] = (1 - swapped) * here[i] + other


@_jit
def _accumulate(prior, likelihood, from_donor, index, joint, original, first, last):  # type: ignore[no-untyped-def]
    draws, cells = prior.shape
    count = len(index)
    before, after, every = np.empty((count + 1, cells)), np.empty(cells), np.empty(cells)
    for group in range(first, last):
        for n in range(draws):
            _copy(prior[n], before[0])
            _copy(prior[n], every)
            for f in range(count):
                table, other = likelihood[index[f, group], n], from_donor[index[f, group], n]
                given, into = before[f], before[f + 1]
                for i in range(cells):
                    into[i] = given[i] * table[i]
                for i in range(cells):
                    every[i] *= table[i] - other
            _add(before[count], 1.0, joint[group])
            _add(every, 1.0, original[group, count])
            _fill(after, 1.0)
            for f in range(count - 1, -1, -1):
                table, other = likelihood[index[f, group], n], from_donor[index[f, group], n]
                given = before[f]
                for i in range(cells):
                    given[i] *= after[i]
                for i in range(cells):
                    after[i] *= table[i]
                _add(before[count], 1.0, original[group, f])
                _add(given, -other, original[group, f])


@_jit
def _add(values, times, to):  # type: ignore[no-untyped-def]
    """Add a flat array onto one of variants and months."""
    variants, months = to.shape
    for v in range(variants):
        part, into = values[v * months : (v + 1) * months], to[v]
        for t in range(months):
            into[t] += part[t] * times
