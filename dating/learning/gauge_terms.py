"""Measurements, lags of marks and output laid out as flat arrays."""

from __future__ import annotations

from typing import Any

import numpy as np

from dating.learning.constants import Constants
from dating.learning.gauges import MEAN_DOUBT, SPREAD_DOUBT
from dating.learning.lags import LAG_DOUBT, RATIO_DOUBT
from dating.learning.layout import Layout
from dating.learning.walk import DEVIATION, SCALE_DOUBT, STEP

_NONE = -700.0
"""Stands for the logarithm of no lag at all."""


def gauge_terms(layout: Layout, constants: Constants) -> dict[str, Any]:
    """Lay out measurements; see :class:`~dating.learning.terms.Terms`."""
    gauges, months = layout.gauges, layout.months
    anchors = [len(gauge.stated) for gauge in gauges]
    means = [gauge.stated for gauge in gauges]
    along = [gauge.along for gauge in gauges]
    spread = np.repeat([gauge.spread for gauge in gauges], anchors)
    return {
        "anchor_gauge": np.repeat(np.arange(len(gauges)), anchors),
        "anchor_mean": np.concatenate([np.zeros(0), *means]),
        "anchor_doubt": MEAN_DOUBT * spread,
        "gauge_spread": np.array([gauge.spread for gauge in gauges], dtype=float),
        "spread_doubt": SPREAD_DOUBT,
        "along": np.concatenate([np.zeros((0, months)), *along]),
        "tails": np.array([gauge.tails or 0.0 for gauge in gauges]),
        "gauge_swapped": constants.gauge_swapped.astype(float),
        "gauge_donor": constants.gauge_donor.reshape(-1, months).astype(float),
    }


def lag_terms(layout: Layout, constants: Constants, first: int) -> dict[str, Any]:
    """Lay out lags of marks; see :class:`~dating.learning.terms.Terms`."""
    lags, months = layout.lags, layout.months
    longest = max((len(lag.judged) for lag in lags), default=2)
    judged, reached = (
        np.array([np.pad(row, (0, longest - len(row)), mode="edge") for row in rows])
        for rows in ([lag.judged for lag in lags], [lag.reached for lag in lags])
    )
    judged, reached = judged.reshape(-1, longest), reached.reshape(-1, longest)
    median = np.array([lag.median for lag in lags], dtype=float)
    learned = np.array([lag.learned for lag in lags], dtype=np.bool_)
    unknown = np.full(len(lags), -1)
    unknown[learned] = first + 2 * np.arange(learned.sum())
    logs = np.full(judged.shape, _NONE)
    np.log(judged / np.where(learned, median, 1.0)[:, None], out=logs, where=judged > 0)
    return {
        "lag_judged": judged,
        "lag_log": logs,
        "lag_reached": reached,
        "lag_median": median,
        "lag_unknown": unknown,
        "lag_doubt": LAG_DOUBT,
        "ratio_doubt": RATIO_DOUBT,
        "mark_built": np.array([lag.built for lag in lags]).reshape(-1, months),
        "mark_swapped": constants.mark_swapped.astype(float),
        "mark_donor": constants.mark_donor.reshape(-1, months).astype(float),
    }


def output_terms(layout: Layout) -> dict[str, Any]:
    """Lay out the output where it is learned; see :class:`~dating.learning.terms.Terms`."""
    walk = layout.walk
    return {
        "cosines": np.zeros((layout.months, 0)) if walk is None else walk.cosines,
        "reach": np.zeros(0) if walk is None else walk.reach,
        "step": STEP,
        "deviation": DEVIATION,
        "scale_doubt": SCALE_DOUBT,
    }
