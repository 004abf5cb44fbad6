"""A tally as flat arrays: readings in the months that are needed, and doubtful instruments."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
from scipy.special import gammaln

from dating.arrays import Floats, Positions
from dating.learning.layout import Layout
from dating.learning.tally import Tally

type CaseStretch = tuple[int, int, Floats, Positions]
"""Row, first month, weights by month, and readings of a run of cases that are alike."""

_DIGITS = 10
_ROUNDING = 1e-9


def corpus_terms(layout: Layout, tally: Tally) -> dict[str, Any]:
    """Lay out a tally; see :class:`~dating.learning.terms.Terms`."""
    months, readings = layout.months, len(tally.counts)
    stretches = _stretches(tally, readings, months, layout.walk is not None)
    needed = tally.counts > 0
    for _, begin, weight, listed in stretches:
        needed[listed, begin : begin + len(weight)] = True
    low = needed.argmax(axis=1)
    high = np.where(needed.any(axis=1), months - needed[:, ::-1].argmax(axis=1), low)
    offset = np.concatenate([[0], np.cumsum(high - low)])
    reading, month = np.nonzero(tally.counts)
    return {
        "course": tally.track,
        "weights": tally.weights,
        "low": low,
        "offset": offset,
        "gauge": tally.gauge,
        "measured": tally.measured,
        **_measured_terms(layout, tally, stretches),
        **_marked_terms(tally),
        "known": tally.known.astype(float),
        "instruments": tally.counts[reading, month],
        "counted": offset[reading] + month - low[reading],
        **_row_terms(tally, stretches, offset[:-1] - low),
    }


def _row_terms(tally: Tally, stretches: list[CaseStretch], place: Positions) -> dict[str, Any]:
    weights, listed = [each for *_, each, _ in stretches], [each for *_, each in stretches]
    counts = np.bincount([row for row, *_ in stretches], minlength=tally.rows)
    begins = [begin for _, begin, _, _ in stretches]
    ends = _ends([len(readings) for readings in listed])
    of_states = [int((readings < len(tally.track)).sum()) for readings in listed]
    places = [place[each] + begin for each, begin in zip(listed, begins, strict=True)]
    return {
        "row": _ends(counts.tolist()),
        "from_month": np.array(begins, dtype=np.uint64),
        "weight_at": _ends([len(weight) for weight in weights]).astype(np.uint64),
        "weight": np.concatenate([np.zeros(0), *weights]),
        "readings_at": ends.astype(np.uint64),
        "readings": _joined(listed),
        "at": _joined(places).astype(np.uint64),
        "others_at": (ends[:-1] + of_states).astype(np.uint64),
    }


def _joined(parts: list[Positions]) -> Positions:
    return np.concatenate([np.zeros(0, dtype=np.int64), *parts])


def _ends(lengths: list[int]) -> Positions:
    return np.concatenate([[0], np.cumsum(lengths)]).astype(np.int64)


def _measured_terms(layout: Layout, tally: Tally, stretches: list[CaseStretch]) -> dict[str, Any]:
    """Give what densities are multiplied by, and how many instruments have each measured value."""
    tails = np.array([gauge.tails or np.inf for gauge in layout.gauges])[tally.gauge]
    freedom = np.where(np.isinf(tails), 1.0, tails)
    heavy = gammaln((freedom + 1) / 2) - gammaln(freedom / 2) - 0.5 * np.log(freedom * np.pi)
    top = np.where(np.isinf(tails), -0.5 * np.log(2 * np.pi), heavy)
    first, count = len(tally.track), len(tally.gauge)
    times = tally.counts[first : first + count].sum(axis=1)
    having = {(row, reading) for row, *_, listed in stretches for reading in listed.tolist()}
    for _, reading in having:
        if 0 <= reading - first < count:
            times[reading - first] += 1
    return {"constant": top, "times": times}


def _marked_terms(tally: Tally) -> dict[str, Any]:
    """Give the stretches of every mark, one after the other; many are of one kind.

    A kind is a lag, the part of a month that is over when a stretch begins, and its length.
    """
    ends = [end for stretches in tally.stretches for end in stretches]
    counts = [len(stretches) for stretches in tally.stretches]
    starts, stops = np.array(ends, dtype=float).reshape(-1, 2).T
    month, lag = np.floor(starts + _ROUNDING), np.repeat(tally.mark, counts)
    place = np.stack([lag, starts - month, stops - starts], axis=1)
    _, first, kind = np.unique(place.round(_DIGITS), axis=0, return_index=True, return_inverse=True)
    begins = place[first, 1]
    return {
        "mark": tally.mark,
        "stretch_at": _ends(counts),
        "stretch_month": month.astype(np.int64),
        "stretch_kind": kind.reshape(-1).astype(np.int64),
        "kind_lag": lag[first],
        "kind_from": begins,
        "kind_to": begins + place[first, 2],
    }


def _stretches(tally: Tally, readings: int, months: int, by_month: bool) -> list[CaseStretch]:
    """Give each run of alike cases; where nothing is read, by month only where that is asked."""
    reading, month = tally.cases // months, tally.case_month
    alike = (np.diff(reading, axis=0) == 0).all(axis=1) & (np.diff(tally.case_row) == 0)
    alike &= np.diff(month) > 0
    edges = np.flatnonzero(np.concatenate([[True], ~alike, [len(month) > 0]]))
    stretches = []
    for begin, end in pairwise(edges):
        listed = np.sort(reading[begin][reading[begin] < readings])
        if len(listed) or by_month:
            low = int(month[begin])
            weight = np.zeros(int(month[end - 1]) + 1 - low)
            weight[month[begin:end] - low] = tally.case_weight[begin:end]
        else:
            low, weight = 0, tally.case_weight[begin:end].sum(keepdims=True)
        stretches.append((int(tally.case_row[begin]), low, weight, listed))
    return stretches
