"""Pictures of months as plain shapes: where each bar, line and label stands.

Every picture is 440 units wide; the templates write the shapes as SVG.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from dating.arrays import Floats
from dating.months import Period, month_label
from dating.summaries import MonthSet

WIDTH = 440.0
_LEFT, _RIGHT = 6.0, 434.0
_MOST_TICKS = 8
_TOP, _BASE = 22.0, 140.0
_STRIP = 22.0


@dataclass(frozen=True)
class Tick:
    """A label on the axis of years.

    Parameters
    ----------
    x : float
        Where it stands.
    text : str
        The year.
    """

    x: float
    text: str


@dataclass(frozen=True)
class Axis:
    """Months laid out from left to right.

    Parameters
    ----------
    first, last : int
        Month numbers, both included.
    left : float
        Where the first month begins.
    """

    first: int
    last: int
    left: float = _LEFT

    def x(self, month: float) -> float:
        """Say where a month begins."""
        share = (month - self.first) / (self.last + 1 - self.first)
        return round(self.left + share * (_RIGHT - self.left), 2)

    @property
    def ticks(self) -> tuple[Tick, ...]:
        """Years, as many as have room."""
        years = range(-(-self.first // 12), self.last // 12 + 1)
        step = next(s for s in (1, 2, 5, 10, 20, 50, 100) if len(years) <= s * _MOST_TICKS)
        shown = [year for year in years if year % step == 0]
        return tuple(Tick(self.x(12 * year), str(year)) for year in shown)


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
    axis : Axis
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
    axis: Axis
    base: float
    median: float
    median_label: str
    other: str = ""


def window(probabilities: Iterable[Floats], period: Period) -> Axis:
    """Choose the months that matter, with some room, on whole years.

    Shapes: probabilities (month,).

    Examples
    --------
    >>> period = Period.parse("1923-03/1941-11")
    >>> sure = np.zeros(len(period))
    >>> sure[100] = 1.0
    >>> axis = window([sure], period)
    >>> month_label(axis.first), month_label(axis.last)
    ('1931-01', '1932-12')
    """
    months = [np.flatnonzero(p > 0.001 * p.max()) for p in probabilities]
    first = period.first + min(int(each[0]) for each in months) - 6
    last = period.first + max(int(each[-1]) for each in months) + 7
    return Axis(max(first // 12 * 12, period.first), min((last // 12 + 1) * 12 - 1, period.last))


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
    axis, highest = window(both, period), max(float(p.max()) for p in both)
    scale = (_BASE - _TOP) / highest
    width = max(axis.x(axis.first + 1) - axis.left - 0.15, 0.3)
    wide, narrow = sets
    bars = []
    for month in range(axis.first, axis.last + 1):
        chance = float(probabilities[month - period.first])
        kind = "core" if month in narrow else "set" if month in wide else "rest"
        high = round(chance * scale, 2)
        title = f"{month_label(month)}: {100 * chance:.1f} %"
        bars.append(Bar(axis.x(month), round(_BASE - high, 2), round(width, 2), high, kind, title))
    line = "" if other is None else _steps(other, axis, period.first, scale)
    middle = axis.x(median + 0.5)
    return Posterior(tuple(bars), axis, _BASE, middle, month_label(median), line)


def draw_strip(likelihood: Floats, axis: Axis, period: Period) -> str:
    """Lay out how probable each month makes one observation, as a closed path.

    Shapes: likelihood (month,).
    """
    here = likelihood[axis.first - period.first : axis.last + 1 - period.first]
    tops = (_STRIP * (1 - here / max(float(likelihood.max()), 1e-300))).round(2).tolist()
    runs = [0, *(i for i in range(1, len(tops)) if tops[i] != tops[i - 1])]
    steps = " ".join(f"H{axis.x(axis.first + i)} V{tops[i]}" for i in runs)
    return f"M{axis.left} {_STRIP} {steps} H{axis.x(axis.last + 1)} V{_STRIP} Z"


def _steps(probabilities: Floats, axis: Axis, first: int, scale: float) -> str:
    tops = [
        round(_BASE - float(probabilities[month - first]) * scale, 2)
        for month in range(axis.first, axis.last + 1)
    ]
    steps = " ".join(f"V{top} H{axis.x(axis.first + i + 1)}" for i, top in enumerate(tops))
    return f"M{axis.left} {_BASE} {steps} V{_BASE}"
