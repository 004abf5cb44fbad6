"""Products of likelihoods and their sums, compiled.

Tables are flat here, variants and months in one. Components are taken four at a time; where there
are fewer, the place of one that says nothing stands for the rest. Numba caches what is compiled by
the file of the caller: after a change here alone the caches of the modules that call it have to be
emptied.
"""

# ruff: noqa: PLR0917
# mypy: disallow-untyped-decorators=False, disallow-untyped-calls=False
from __future__ import annotations

import numba

_FAST = {"reassoc", "nsz", "nnan", "contract", "arcp"}
jit = numba.njit(nogil=True, cache=True, fastmath=_FAST, error_model="numpy", boundscheck=False)


@jit
def four_of(slots, k, row):  # type: ignore[no-untyped-def]
    """Give the places of four components."""
    return slots[4 * k, row], slots[4 * k + 1, row], slots[4 * k + 2, row], slots[4 * k + 3, row]


@jit
def begin(joint, group, before):  # type: ignore[no-untyped-def]
    """Begin with the prior, or with the sum over draws of what differs between them."""
    for i in range(before.shape[1]):
        before[0, i] = joint[group, 0, i]
    for b in range(1, joint.shape[1]):
        for i in range(before.shape[1]):
            before[0, i] += joint[group, b, i]


@jit
def multiply(likelihood, four, before, k):  # type: ignore[no-untyped-def]
    """Multiply four components at a time."""
    a, b, c, d = four
    for i in range(before.shape[1]):
        low = before[k, i] * (likelihood[a, i] * likelihood[b, i])
        before[k + 1, i] = low * (likelihood[c, i] * likelihood[d, i])


@jit
def originality(  # type: ignore[no-untyped-def]
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
            original += dot(before[blocks], shares[group, f]) - total
        if places[f] >= 0:
            original_out[places[f], row] = max(original / total, 0.0)
    if blocks == 1 and len(shares) == 0:
        return _four_original(likelihood, swapped, four_of(slots, 0, row), before)
    begin(joint, group, before)
    return _every_original(likelihood, swapped, slots, row, before[0], shares, group)


@jit
def _leave_out(likelihood, slots, row, before, after, left_out):  # type: ignore[no-untyped-def]
    """Sum the product of all components but one, for each in turn, the last four first."""
    blocks, cells = len(before) - 1, before.shape[1]
    for k in range(blocks - 1, -1, -1):
        if k == blocks - 2:
            fill(after, 1.0)
        if k < blocks - 1:
            a, b, c, d = four_of(slots, k + 1, row)
            for i in range(cells):
                after[i] *= (likelihood[a, i] * likelihood[b, i]) * (
                    likelihood[c, i] * likelihood[d, i]
                )
            for i in range(cells):
                before[k, i] *= after[i]
        sums = _leave_each_of_four_out(likelihood, four_of(slots, k, row), before, k)
        for place in range(4):
            left_out[4 * k + place] = sums[place]


@jit
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


@jit
def _four_original(likelihood, swapped, four, before):  # type: ignore[no-untyped-def]
    """Sum the product of four components, each of them original."""
    a, b, c, d = four
    p, q, r, s = swapped[a], swapped[b], swapped[c], swapped[d]
    total = 0.0
    for i in range(before.shape[1]):
        low = before[0, i] * ((likelihood[a, i] - p) * (likelihood[b, i] - q))
        total += low * ((likelihood[c, i] - r) * (likelihood[d, i] - s))
    return total


@jit
def _every_original(likelihood, swapped, slots, row, before, shares, group):  # type: ignore[no-untyped-def]
    """Sum the product of all components, each of them original."""
    for f in range(len(slots)):
        table, from_donor = likelihood[slots[f, row]], swapped[slots[f, row]]
        for i in range(len(before)):
            before[i] *= table[i] - from_donor
    if len(shares) == 0:
        return total_of(before)
    return dot(before, shares[group, shares.shape[1] - 1])


@jit
def fill(values, with_what):  # type: ignore[no-untyped-def]
    """Write one number over all."""
    for t in range(len(values)):
        values[t] = with_what


@jit
def copy(values, to):  # type: ignore[no-untyped-def]
    """Copy an array onto another."""
    for t in range(len(values)):
        to[t] = values[t]


@jit
def total_of(values):  # type: ignore[no-untyped-def]
    """Sum an array."""
    total = 0.0
    for t in range(len(values)):
        total += values[t]
    return total


@jit
def dot(first, second):  # type: ignore[no-untyped-def]
    """Sum the product of two arrays."""
    total = 0.0
    for t in range(len(first)):
        total += first[t] * second[t]
    return total
