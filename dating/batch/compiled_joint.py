"""Rows dated one at a time, compiled: with variants, and with draws summed over."""

# ruff: noqa: PLR0917
# mypy: disallow-untyped-decorators=False, disallow-untyped-calls=False
from __future__ import annotations

import numpy as np

from dating.batch.compiled_products import (
    begin,
    dot,
    fill,
    four_of,
    jit,
    multiply,
    originality,
    total_of,
)
from dating.batch.compiled_sets import set_of
from dating.batch.compiled_summaries import (
    LEAD,
    blank,
    entropy,
    in_runs,
    median,
    mode,
    room_for,
    sum_years,
    years_of_set,
)
from dating.magnitudes import LEAST


@jit
def date_joint(  # type: ignore[no-untyped-def]
    likelihood, swapped, slots, places, of_row, joint, shares, unswapped, unseen, starts, target,
    edges, months, parts, months_out, stretches_out, numbers_out, original_out, years_out,
    first, last,
):  # fmt: skip
    """Date some rows."""
    replicates, cells = joint.shape[1:]
    blocks = len(slots) // 4
    before, after = np.empty((blocks + 1, cells)), np.empty(cells)
    left_out, each = np.empty(len(slots)), np.empty((replicates, months))
    room, inside = room_for(months), room_for(months)
    posterior = room[LEAD : LEAD + months]
    bits, cell, years = room.view(np.int64), np.zeros(1), np.empty(len(starts) - 1)
    bins, at, sums = np.zeros(9, dtype=np.int64), np.zeros(9), np.zeros(9)
    positions = np.arange(months).astype(np.float64)
    for row in range(first, last):
        group = of_row[row]
        begin(joint, group, before)
        for k in range(blocks):
            multiply(likelihood, four_of(slots, k, row), before, k)
        _sum_variants(before, posterior)
        total = total_of(posterior)
        if not total >= LEAST:
            blank(row, stretches_out, months_out, numbers_out, original_out, years_out)
            continue
        scale = 1 / total
        for t in range(months):
            posterior[t] *= scale
        if parts:
            numbers_out[3, row] = unseen * scale * originality(
                likelihood, swapped, slots, places, joint, shares, unswapped, row, group, total,
                before, after, left_out, original_out,
            )  # fmt: skip
            numbers_out[2, row] = entropy(posterior, inside)
        if replicates > 1:
            fill(before[0], 1.0)
            for k in range(blocks):
                multiply(likelihood, four_of(slots, k, row), before, k)
            for b in range(replicates):
                _sum_variants_of(joint[group, b], before[blocks], each[b])
        numbers_out[4, row] = _standard_error(each, posterior, total)
        numbers_out[0, row] = dot(posterior, positions)
        sum_years(posterior, starts, years)
        for year in range(len(years)):
            years_out[year, row] = years[year]
        begins, ends = years_of_set(years, target, months)
        start = LEAD + starts[begins]
        stop = start + in_runs(starts[ends + 1] - starts[begins])
        place, highest = mode(room, bits, start, stop, cell)
        months_out[0, row], months_out[1, row] = place - LEAD, median(posterior, years, starts)
        measures = set_of(room, start, stop, target, edges, highest, bins, at, sums, inside)
        numbers_out[1, row], stretches_out[row] = measures[0], measures[1]
        months_out[2, row], months_out[3, row] = measures[2] - LEAD, measures[3] - LEAD


@jit
def _sum_variants(before, by_month):  # type: ignore[no-untyped-def]
    last, months = len(before) - 1, len(by_month)
    for t in range(months):
        by_month[t] = before[last, t]
    for start in range(months, before.shape[1], months):
        for t in range(months):
            by_month[t] += before[last, start + t]


@jit
def _sum_variants_of(first, second, by_month):  # type: ignore[no-untyped-def]
    months = len(by_month)
    fill(by_month, 0.0)
    for start in range(0, len(first), months):
        one, two = first[start : start + months], second[start : start + months]
        for t in range(months):
            by_month[t] += one[t] * two[t]


@jit
def _standard_error(each, posterior, total):  # type: ignore[no-untyped-def]
    """Give the largest standard error; see :meth:`dating.engine.Weighing.standard_error`."""
    replicates, months = each.shape
    if replicates == 1:
        return 0.0
    weight = np.empty(replicates)
    for b in range(replicates):
        weight[b] = total_of(each[b])
    largest = 0.0
    for t in range(months):
        square = 0.0
        for b in range(replicates):
            residual = each[b, t] - posterior[t] * weight[b]
            square += residual * residual
        largest = max(largest, square)
    return np.sqrt(largest * replicates / (replicates - 1)) / total
