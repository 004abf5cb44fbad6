"""Pictures of months as plain shapes: where each bar, line and label stands.

Every picture is 440 units wide; the templates write the shapes as SVG.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dating.arrays import Floats
from dating.bench.time_axis import TimeAxis, area, stairs
from dating.months import Period, month_words
from dating.summaries import MonthSet, months_of_weight

_LEFT, _RIGHT = 6.0, 434.0
_TOP, _BASE = 22.0, 140.0
_STRIP = 22.0


def axis_of(period: Period, left: float = _LEFT) -> TimeAxis:
    """Lay out a period over the width of a picture."""
    return TimeAxis(period.first, period.last + 1, left, _RIGHT, room=53.5)


@dataclass(frozen=True)
class Bar:
    """One month of a posterior.

    Parameters
    ----------
    x, y, width, height : float
        The rectangle.
    kind : {"core", "set", "rest"}
        In the 50 % set, in the wide set, in neither.
    title : str
        The month and its probability.
    """

    x: float
    y: float
    width: float
    height: float
    kind: str
    title: str


@dataclass(frozen=True)
class Posterior:
    """A posterior by month.

    Parameters
    ----------
    bars : tuple of Bar
        One a month.
    axis : TimeAxis
        The months shown.
    base : float
        Where the bars stand.
    median : float
        Where the middle of the median month is.
    median_label : str
        The month.
    other : str
        A second posterior as a path; empty where there is none.
    """

    bars: tuple[Bar, ...]
    axis: TimeAxis
    base: float
    median: float
    median_label: str
    other: str = ""


def draw_posterior(
    probabilities: Floats,
    period: Period,
    sets: tuple[MonthSet, MonthSet],
    median: int,
    other: Floats | None = None,
) -> Posterior:
    """Lay out a posterior, and a second one over it.

    Shapes: probabilities (month,); other (month,).
    """
    both = [probabilities] if other is None else [probabilities, other]
    shown, highest = months_of_weight(both, period), max(float(p.max()) for p in both)
    axis, scale = axis_of(shown), (_BASE - _TOP) / highest
    width = max(axis.x(axis.start + 1) - axis.left - 0.15, 0.3)
    wide, narrow = sets
    bars = []
    for month in range(axis.start, axis.stop):
        chance = float(probabilities[month - period.first])
        kind = "core" if month in narrow else "set" if month in wide else "rest"
        high = round(chance * scale, 2)
        title = f"{month_words(month)}: {100 * chance:.1f} %"
        bars.append(Bar(axis.x(month), round(_BASE - high, 2), round(width, 2), high, kind, title))
    line = ""
    if other is not None:
        tops = stairs(axis.edges, _BASE - scale * _within(other, axis, period))
        line = f"M{axis.left:g} {_BASE:g}L{tops}V{_BASE:g}"
    middle = axis.x(median + 0.5)
    return Posterior(tuple(bars), axis, _BASE, middle, month_words(median), line)


def draw_strip(likelihood: Floats, axis: TimeAxis, period: Period) -> str:
    """Lay out how probable each month makes one observation, as a closed path.

    Shapes: likelihood (month,).
    """
    here = _within(likelihood, axis, period) / max(float(likelihood.max()), 1e-300)
    return area(axis.edges, _STRIP * (1 - here), np.full(len(here), _STRIP))


def _within(by_month: Floats, axis: TimeAxis, period: Period) -> Floats:
    return by_month[axis.start - period.first : axis.stop - period.first]
