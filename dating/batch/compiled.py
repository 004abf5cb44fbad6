"""The same as :mod:`dating.batch.blocks`, compiled: one row at a time, nothing kept of it but sums.

This module needs numba and is imported only where it is installed. The kernel lets go of the
interpreter, so that threads run side by side.
"""

# ruff: noqa: PLR0917, PLR0912
from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dating.batch.blocks import BINS, SLACK, Sums, Work
from dating.batch.compiled_summaries import (
    LEAD,
    entropy,
    fill_up,
    measure,
    median,
    mode,
    room_for,
    sum_years,
    threshold,
    window_of,
)
from dating.batch.compiled_summaries import jit as _jit
from dating.batch.results import Kept

type Floats = NDArray[np.float64]
type Integers = NDArray[np.integer[Any]]

_NO_SHARES = np.empty((0, 0, 0))


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
        work.parts,
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
    cells: Floats,
    index: Integers,
    swapped: float,
    donor: Floats,
    likelihood: Floats,
    from_donor: Floats,
) -> None:
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
    likelihood : ndarray of float64, shape (pattern, draw, variant, month)
        Where L_c goes.
    from_donor : ndarray of float64, shape (pattern, draw)
        Where the part of it goes that holds if the component was swapped.
    """
    shape = likelihood.shape[1:]
    flat = (shape[0], shape[1] * shape[2])
    cells = np.broadcast_to(cells, (len(cells), *shape)).reshape(-1, *flat)
    donor = np.broadcast_to(donor, shape).reshape(flat)
    here = likelihood.reshape(-1, *flat)
    _tabulate(cells, index, swapped, donor, here, from_donor)


def encode(raw: Integers, codes: Integers, radix: int, code: Integers) -> None:
    """Append a digit to numbers in a mixed radix; see :func:`dating.batch.blocks.encode`.

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
    _encode(raw, codes, radix, code)


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
    edges, months, parts, months_out, stretches_out, numbers_out, original_out, years_out,
    first, last,
):  # fmt: skip
    replicates, cells = joint.shape[1:]
    blocks = len(slots) // 4
    plain = not parts and blocks == 1 and replicates == 1 and cells == months
    before, after = np.empty((blocks + 1, cells)), np.empty(cells)
    left_out, each = np.empty(len(slots)), np.empty((replicates, months))
    room, inside = room_for(months), room_for(months)
    posterior = room[LEAD : LEAD + months]
    years, search = np.empty(len(starts) - 1), np.zeros((3, 9))
    positions = np.arange(months).astype(np.float64)
    for row in range(first, last):
        group = of_row[row]
        if plain:
            four = _four(slots, 0, row)
            total, mean = _multiplied(joint[group, 0], likelihood, four, positions, posterior)
        else:
            _start(joint, group, before)
            for k in range(blocks):
                _multiply(likelihood, _four(slots, k, row), before, k)
            _sum_variants(before, posterior)
            total, mean = _sum(posterior), _dot(posterior, positions)
        if not total > 0:
            _blank(row, stretches_out, months_out, numbers_out, original_out, years_out)
            continue
        scale = 1 / total
        for t in range(months):
            posterior[t] *= scale
        if parts:
            numbers_out[3, row] = unseen * scale * _originality(
                likelihood, swapped, slots, places, joint, shares, unswapped, row, group, total,
                before, after, left_out, original_out,
            )  # fmt: skip
            numbers_out[2, row] = entropy(posterior, inside)
        if replicates > 1:
            _fill(before[0], 1.0)
            for k in range(blocks):
                _multiply(likelihood, _four(slots, k, row), before, k)
            for b in range(replicates):
                _sum_variants_of(joint[group, b], before[blocks], each[b])
        numbers_out[4, row] = _standard_error(each, posterior, total)
        numbers_out[0, row] = mean * scale
        sum_years(posterior, starts, years)
        for year in range(len(years)):
            years_out[year, row] = years[year]
        begins, start, stop = window_of(years, starts, edges[len(edges) - 1])
        months_out[0, row], highest = mode(room, begins, start, stop, years, starts, search[0])
        months_out[1, row] = median(posterior, years, starts)
        window = room[start:stop]
        high, low, above, single = threshold(window, wanted, edges, highest, search)
        if single:
            found = measure(room, start, stop, edges[low])
        else:
            _fill(inside, 0.0)
            fill_up(window, wanted, edges[high], edges[low], above, inside[start:stop])
            found = measure(inside, start, stop, edges[low])
        numbers_out[1, row], stretches_out[row] = found[0], found[1]
        months_out[2, row], months_out[3, row] = found[2:]


@_jit
def _multiplied(prior, likelihood, four, positions, product):  # type: ignore[no-untyped-def]
    """Multiply four components; give the sum over months, and that of month times product."""
    a, b, c, d = likelihood[four[0]], likelihood[four[1]], likelihood[four[2]], likelihood[four[3]]
    total = moment = 0.0
    for t in range(len(prior)):
        p = (prior[t] * (a[t] * b[t])) * (c[t] * d[t])
        product[t] = p
        total += p
        moment += p * positions[t]
    return total, moment


@_jit
def _originality(  # type: ignore[no-untyped-def]
    likelihood, swapped, slots, places, joint, shares, unswapped, row, group, total,
    before, after, left_out, original_out,
):  # fmt: skip
    """Note the chance that each component is original; sum the product with all original."""
    blocks = len(before) - 1
    for c in range(len(unswapped)):
        original_out[c, row] = unswapped[c]
    _leave_out(likelihood, slots, row, before, after, left_out)
    for f in range(len(places)):
        original = total - swapped[slots[f, row]] * left_out[f]
        if len(shares) > 0:
            original += _dot(before[blocks], shares[group, f]) - total
        if places[f] >= 0:
            original_out[places[f], row] = max(original / total, 0.0)
    if blocks == 1 and len(shares) == 0:
        return _four_original(likelihood, swapped, _four(slots, 0, row), before)
    _start(joint, group, before)
    return _every_original(likelihood, swapped, slots, row, before[0], shares, group)


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
def _blank(row, stretches_out, months_out, numbers_out, original_out, years_out):  # type: ignore[no-untyped-def]
    stretches_out[row] = 0
    _fill(months_out[:, row], 0)
    _fill(numbers_out[:, row], np.nan)
    _fill(original_out[:, row], np.nan)
    _fill(years_out[:, row], np.nan)


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
def _encode(raw, codes, radix, code):  # type: ignore[no-untyped-def]
    for row in range(len(raw)):
        code[row] = code[row] * radix + codes[raw[row] if raw[row] >= 0 else len(codes) - 1]


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
