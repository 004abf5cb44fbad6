"""The same as :mod:`dating.batch.blocks`, compiled: one row at a time, nothing kept of it but sums.

This module needs numba and is imported only where it is installed. The kernel lets go of the
interpreter, so that threads run side by side.
"""

# ruff: noqa: PLR0917
from __future__ import annotations

from functools import lru_cache

import numpy as np

from dating.arrays import Floats, Integers
from dating.batch.block_summaries import BINS, SLACK
from dating.batch.blocks import Sums, Work
from dating.batch.compiled_joint import date_joint
from dating.batch.compiled_products import copy, dot, fill
from dating.batch.compiled_products import jit as _jit
from dating.batch.compiled_single import date_single
from dating.batch.results import Summaries

_NO_SHARES = np.empty((0, 0, 0))


def date_rows(work: Work, summaries: Summaries, first: int, last: int) -> None:
    """Date some rows."""
    groups, shares, target = work.groups, work.groups.original, work.level - SLACK
    count, replicates, variants, cells = groups.joint.shape
    months, order = int(work.starts[-1]), work.pool.order
    likelihood = work.pool.likelihood.reshape(-1, variants * cells)
    joint = groups.joint.reshape(count, replicates, -1)
    shares = _NO_SHARES if shares is None else shares.reshape(*shares.shape[:2], -1)
    tables = (likelihood, work.pool.swapped, work.slots, work.places)
    chances = (joint, shares, work.unswapped, work.unseen)
    into = (
        summaries.months,
        summaries.stretches,
        summaries.numbers,
        summaries.original,
        summaries.years,
    )
    set_at = (target, _edges(target, months), months)
    if order is not None:
        date_single(*tables, *chances, *set_at, order.skipped, work.parts, *into, first, last)
    else:
        date_joint(
            *tables, groups.of_row, *chances, work.starts, *set_at, work.parts, *into, first, last
        )


@lru_cache
def _edges(target: float, months: int) -> Floats:
    """Give the lower edges of bins, from that of a certain month to one that leaves enough out."""
    lowest = int(-np.log((1 - target) / months) * BINS) + 3
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

    Shapes: cells (level, draw, variant, month); index (pattern, column); donor (draw, variant,
    month); likelihood (pattern, draw, variant, month); from_donor (pattern, draw).
    """
    shape = likelihood.shape[1:]
    flat = (shape[0], shape[1] * shape[2])
    cells = np.broadcast_to(cells, (len(cells), *shape)).reshape(-1, *flat)
    donor = np.broadcast_to(donor, shape).reshape(flat)
    here = likelihood.reshape(-1, *flat)
    _tabulate(cells, index, swapped, donor, here, from_donor)


def encode(raw: Integers, codes: Integers, radix: int, code: Integers) -> None:
    """Append a digit to numbers in a mixed radix; see :func:`dating.batch.blocks.encode`.

    Shapes: raw (row,); codes (distinct cell + 1,); code (row,).
    """
    _encode(raw, codes, radix, code)


def accumulate(sums: Sums, first: int, last: int) -> None:
    """Add what some draws give some groups."""
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
def _tabulate(cells, index, swapped, donor, likelihood, from_donor):  # type: ignore[no-untyped-def]
    for pattern in range(len(index)):
        blank = True
        for column in range(index.shape[1]):
            blank = blank and index[pattern, column] == 0
        for n in range(likelihood.shape[1]):
            here = likelihood[pattern, n]
            fill(here, 1.0)
            for column in range(index.shape[1]):
                if index[pattern, column] > 0:
                    cell = cells[index[pattern, column], n]
                    for i in range(len(here)):
                        here[i] *= cell[i]
            other = swapped if blank or swapped == 0 else swapped * dot(donor[n], here)
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
            copy(prior[n], before[0])
            copy(prior[n], every)
            for f in range(count):
                table, other = likelihood[index[f, group], n], from_donor[index[f, group], n]
                row, into = before[f], before[f + 1]
                for i in range(cells):
                    into[i] = row[i] * table[i]
                for i in range(cells):
                    every[i] *= table[i] - other
            _add(before[count], 1.0, joint[group])
            _add(every, 1.0, original[group, count])
            fill(after, 1.0)
            for f in range(count - 1, -1, -1):
                table, other = likelihood[index[f, group], n], from_donor[index[f, group], n]
                row = before[f]
                for i in range(cells):
                    row[i] *= after[i]
                for i in range(cells):
                    after[i] *= table[i]
                _add(before[count], 1.0, original[group, f])
                _add(row, -other, original[group, f])


@_jit
def _add(values, times, to):  # type: ignore[no-untyped-def]
    """Add a flat array onto one of variants and months."""
    variants, months = to.shape
    for v in range(variants):
        part, into = values[v * months : (v + 1) * months], to[v]
        for t in range(months):
            into[t] += part[t] * times
