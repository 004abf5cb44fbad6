"""Rows dated one at a time, compiled: one draw and no variants, tables by month of the year.

See :class:`dating.batch.buffers.ByMonthOfYear`. A core then sums four calendar years at once.
"""

# ruff: noqa: PLR0917
# mypy: disallow-untyped-decorators=False, disallow-untyped-calls=False
from __future__ import annotations

import numpy as np

from dating.batch.block_summaries import SLACK
from dating.batch.compiled_products import copy, four_of, jit, multiply, originality
from dating.batch.compiled_sets import set_of
from dating.batch.compiled_summaries import (
    LEAD,
    blank,
    entropy,
    in_runs,
    mode,
    room_for,
    years_of_set,
)
from dating.magnitudes import LEAST


@jit
def date_single(  # type: ignore[no-untyped-def]
    likelihood, swapped, slots, places, joint, shares, unswapped, unseen, target,
    edges, months, skipped, parts, months_out, stretches_out, numbers_out, original_out, years_out,
    first, last,
):  # fmt: skip
    """Date some rows; months that are skipped stand before the period in its first year."""
    cells, blocks, prior = joint.shape[2], len(slots) // 4, joint[0, 0]
    lanes, count = cells // 12, len(years_out)
    before, after, left_out = np.empty((blocks + 1, cells)), np.empty(cells), np.empty(len(slots))
    years, masses = np.empty(lanes), np.empty(count)
    room, inside, scratch = room_for(12 * count), room_for(12 * count), room_for(cells)
    bits, cell, earlier, product = (
        room.view(np.int64),
        np.zeros(1),
        before[blocks - 1],
        np.empty(cells),
    )
    bins, at, sums = np.zeros(9, dtype=np.int64), np.zeros(9), np.zeros(9)
    copy(prior, before[0])
    for row in range(first, last):
        if blocks > 1:
            copy(prior, before[0])
            for k in range(blocks - 1):
                multiply(likelihood, four_of(slots, k, row), before, k)
        total, moment = _by_year(
            likelihood, four_of(slots, blocks - 1, row), earlier, product, years
        )
        if not total >= LEAST:
            blank(row, stretches_out, months_out, numbers_out, original_out, years_out)
            continue
        scale = 1 / total
        numbers_out[0, row], numbers_out[4, row] = moment * scale - skipped, 0.0
        for year in range(count):
            masses[year] = years[year] * scale
            years_out[year, row] = masses[year]
        begins, ends = years_of_set(masses, target, months)
        stop = _in_order(product, begins, ends, lanes, scale, room)
        place, highest = mode(room, bits, LEAD, stop, cell)
        measures = set_of(room, LEAD, stop, target, edges, highest, bins, at, sums, inside)
        shift = 12 * begins - skipped - LEAD
        months_out[0, row], months_out[2, row] = place + shift, measures[2] + shift
        months_out[3, row], numbers_out[1, row] = measures[3] + shift, measures[0]
        stretches_out[row] = measures[1]
        middle = _median(product, masses, lanes, scale)
        months_out[1, row] = min(middle - skipped, months - 1)
        if parts:
            for i in range(cells):
                product[i] *= scale
            numbers_out[2, row] = entropy(product, scratch)
            numbers_out[3, row] = unseen * scale * originality(
                likelihood, swapped, slots, places, joint, shares, unswapped, row, 0, total,
                before, after, left_out, original_out,
            )  # fmt: skip


@jit
def _by_year(likelihood, four, earlier, product, years):  # type: ignore[no-untyped-def]
    """Multiply the last four components; sum by calendar year, in all, and month times product."""
    a, b, c, d = four
    lanes, moment, total = len(years), 0.0, 0.0
    for year in range(lanes):
        years[year] = 0.0
    for month in range(12):
        for year in range(lanes):
            i = month * lanes + year
            low = earlier[i] * (likelihood[a, i] * likelihood[b, i])
            p = low * (likelihood[c, i] * likelihood[d, i])
            product[i] = p
            years[year] += p
            moment += month * p
    for year in range(lanes):
        total += years[year]
        moment += 12 * year * years[year]
    return total, moment


@jit
def _in_order(product, first, last, lanes, scale, room):  # type: ignore[no-untyped-def]
    """Copy some years of the posterior, in the order of the calendar; give where they end."""
    t = LEAD
    for year in range(first, last + 1):
        for month in range(12):
            room[t] = product[month * lanes + year] * scale
            t += 1
    stop = LEAD + in_runs(t - LEAD)
    for place in range(t, stop):
        room[place] = 0.0
    return stop


@jit
def _median(product, years, lanes, scale):  # type: ignore[no-untyped-def]
    """Find the year in which half is reached, then the month."""
    reached, year = 0.0, 0
    while year < len(years) - 1 and reached + years[year] < 0.5 - SLACK:
        reached += years[year]
        year += 1
    for month in range(12):
        reached += product[month * lanes + year] * scale
        if reached >= 0.5 - SLACK:
            return 12 * year + month
    return 12 * year + 11
