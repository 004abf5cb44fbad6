"""Measurements laid out as arrays: means that drift along anchors, and the spread of production."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import floor

import numpy as np

from dating.arrays import Floats
from dating.maker import Maker
from dating.months import month_label
from dating.ramps import between_anchors

MEAN_DOUBT = 1.0
"""Prior standard deviation of a measurement's stated mean, in stated spreads of production."""
SPREAD_DOUBT = 0.5
"""Prior standard deviation of the logarithm of a measurement's spread of production."""


@dataclass(frozen=True, eq=False)
class Gauge:
    """A measurement whose mean drifts along anchors.

    Parameters
    ----------
    name : str
        The measurement.
    component : str
        The component it sits on.
    anchors : tuple of str
        Labels of the anchors' months, in ascending order.
    stated : ndarray of float64, shape (anchor,)
        Stated means at the anchors, in the unit of the measurement.
    along : ndarray of float64, shape (anchor, month)
        Weight of each anchor in each month.
    spread : float
        Stated spread of production, in the same unit.
    tails : float or None
        Degrees of freedom of a Student t; None for a normal.
    """

    name: str
    component: str
    anchors: tuple[str, ...]
    stated: Floats
    along: Floats
    spread: float
    tails: float | None


def gauges_of(maker: Maker) -> tuple[Gauge, ...]:
    """Lay out all measurements."""
    first, months = maker.period.first, len(maker.period)
    gauges = []
    for name, (part, measurement) in maker.measurements().items():
        anchors = sorted(measurement.mean)
        gauges.append(
            Gauge(
                name,
                part,
                tuple(month_label(floor(anchor)) for anchor in anchors),
                np.array([measurement.mean[anchor] for anchor in anchors]),
                between_anchors([anchor - first for anchor in anchors], months),
                measurement.spread,
                measurement.tails,
            )
        )
    return tuple(gauges)


def means_by_gauge(gauges: Sequence[Gauge], means: Floats) -> dict[str, Floats]:
    """Give the mean of each measurement in each draw.

    Shapes: means (draw, anchor); gives (draw, month).
    """
    stop, by_gauge = 0, {}
    for gauge in gauges:
        start, stop = stop, stop + len(gauge.anchors)
        by_gauge[gauge.name] = means[:, start:stop] @ gauge.along
    return by_gauge


def spreads_by_gauge(gauges: Sequence[Gauge], spreads: Floats) -> dict[str, Floats]:
    """Give the spread of each measurement in each draw.

    Shapes: spreads (draw, measurement); gives (draw,).
    """
    return {gauge.name: column for gauge, column in zip(gauges, spreads.T, strict=False)}
