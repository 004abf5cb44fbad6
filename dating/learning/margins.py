"""Learned numbers as judgements: three quantiles each, and how far the judgement is off.

A judgement has three values, and learned draws have as many as there are draws. The three are the
5, 50 and 95 % points of the draws; where no smooth judgement runs through them, the likely value
moves towards the middle until one does.
"""

from __future__ import annotations

import calendar
from dataclasses import dataclass
from math import floor, sqrt
from typing import Literal

import numpy as np

from dating.arrays import Floats
from dating.distributions import Certain, JudgementError, Metalog
from dating.judgement import metalog_through
from dating.months import month_label
from dating.statements import DateOpinion, DelayOpinion, Opinion, SpanOpinion

type NumberKind = Literal["date", "delay", "span"]

OPINIONS: dict[NumberKind, type[Opinion]] = {
    "date": DateOpinion,
    "delay": DelayOpinion,
    "span": SpanOpinion,
}
_LEVELS = (0.05, 0.5, 0.95)
_STEP = {"date": 1 / 28, "delay": 0.01, "span": 0.01}
"""How finely a value is written, in months: dates by the day."""
_SURE = 0.2
"""Months between lowest and highest below which one plain value is written."""


@dataclass(frozen=True)
class Margin:
    """One learned number as a judgement of its own.

    Parameters
    ----------
    kind : {"date", "delay", "span"}
        A point in time, months after an event, or a length in months.
    triple : tuple of three floats
        5, 50 and 95 % point; month numbers for dates, months for the others. Three equal values
        are one plain value.
    """

    kind: NumberKind
    triple: tuple[float, float, float]

    @property
    def judgement(self) -> Certain | Metalog:
        """The distribution that the maker file's reader makes of it."""
        return metalog_through(self.triple, kind=OPINIONS[self.kind].kind)

    def statement(self, source: str) -> dict[str, str | float]:
        """Give what a maker file says.

        Examples
        --------
        >>> Margin("span", (1.0, 4.0, 12.0)).statement("corpus")
        {'shortest': 1.0, 'likely': 4.0, 'longest': 12.0, 'source': 'corpus'}
        """
        write = day_text if self.kind == "date" else float
        keys = OPINIONS[self.kind].keys
        return {k: write(v) for k, v in zip(keys, self.triple, strict=True)} | {"source": source}


def margin_of(values: Floats, kind: NumberKind) -> Margin:
    """Take the quantiles of draws for a judgement.

    Shapes: values (draw,).

    Examples
    --------
    >>> margin_of(np.linspace(0.0, 10.0, 1001), "delay").triple
    (0.5, 5.0, 9.5)
    """
    low, likely, high = np.quantile(values, _LEVELS).tolist()
    return margin_through((low, likely, high), kind)


def margin_through(triple: tuple[float, float, float], kind: NumberKind) -> Margin:
    """Write three values as finely as a maker file has them, so that a smooth judgement fits.

    Examples
    --------
    >>> margin_through((0.0, 0.0, 8.0), "delay").triple
    (0.0, 1.0, 8.0)
    """
    low, likely, high = (_rounded(value, kind) for value in triple)
    if high - low < _SURE:
        return Margin(kind, (likely, likely, likely))
    middle = sqrt(low * high) if kind == "span" and low > 0 else (low + high) / 2
    step = _STEP[kind] if likely < middle else -_STEP[kind]
    at = likely
    while True:
        if _runs_smoothly((low, likely, high), kind):
            return Margin(kind, (low, likely, high))
        at += step
        likely = _rounded(at, kind)


def _runs_smoothly(triple: tuple[float, float, float], kind: NumberKind) -> bool:
    try:
        judgement = metalog_through(triple, kind=OPINIONS[kind].kind)
    except JudgementError:
        return False
    return isinstance(judgement, Certain) or not judgement.halves


def lag_between(event: Margin, first_use: Margin) -> Margin:
    """Find the lag that makes of an event the first use that was learned.

    Event and lag were learned together: where one is later, the other is shorter. Stated apart,
    their doubts add up, as squares do; so the lag is stated with what the event leaves of the doubt
    about the first use.

    Examples
    --------
    >>> when = Margin("date", (23100.0, 23103.0, 23106.0))
    >>> lag_between(when, Margin("date", (23104.0, 23109.0, 23114.0))).triple
    (2.0, 6.0, 10.0)
    """
    (low, likely, high), (start, at, stop) = event.triple, first_use.triple
    below = sqrt(max((at - start) ** 2 - (likely - low) ** 2, 0.0))
    above = sqrt(max((stop - at) ** 2 - (high - likely) ** 2, 0.0))
    lag = at - likely
    return margin_through((lag - below, lag, lag + above), "delay")


def largest_gap(values: Floats, judgement: Certain | Metalog) -> float:
    """Give the largest difference between two distribution functions.

    Parameters
    ----------
    values : ndarray of float64, shape (draw,)
        Draws.
    judgement : Certain or Metalog
        In the same unit.

    Returns
    -------
    float
        From 0 to 1: the statistic of Kolmogorov and Smirnov.

    References
    ----------
    Smirnov, N. (1948). Table for estimating the goodness of fit of empirical distributions.
    *Annals of Mathematical Statistics* 19(2), 279-281. doi:10.1214/aoms/1177730256

    Examples
    --------
    >>> round(largest_gap(np.array([1.0, 3.0]), Certain(2.0)), 3)
    0.5
    """
    ordered = np.sort(values)
    reached, under = (
        np.searchsorted(ordered, ordered, side) / len(ordered) for side in ("right", "left")
    )
    before = judgement.cdf(np.nextafter(ordered, -np.inf))
    return float(max(np.abs(reached - judgement.cdf(ordered)).max(), np.abs(under - before).max()))


def gap_of_sum(values: Floats, event: Margin, lag: Margin) -> float:
    """Give the largest difference between draws of a first use and an event with its lag.

    Shapes: values (draw,).
    """
    levels = (np.arange(400) + 0.5) / 400
    wide, narrow = sorted((event, lag), key=lambda margin: margin.triple[0] - margin.triple[2])
    points, (nodes, weights) = np.quantile(values, levels), narrow.judgement.nodes(fine=4)
    together = wide.judgement.cdf(points[:, None] - nodes) @ weights
    return float(np.abs(together - levels).max())


def day_text(position: float) -> str:
    """Write a point in time to the day; the first of a month as the month.

    Examples
    --------
    >>> day_text(1931 * 12 + 3.5), day_text(1931 * 12 + 3)
    ('1931-04-16', '1931-04')
    """
    month, day = _month_and_day(position)
    return month_label(month) if day == 1 else f"{month_label(month)}-{day:02d}"


def _month_and_day(position: float) -> tuple[int, int]:
    """Give the month number and the day that begins nearest to a point in time."""
    month = floor(position)
    days = _days_in(month)
    day = round((position - month) * days) + 1
    return (month + 1, 1) if day > days else (month, day)


def _days_in(month: int) -> int:
    return calendar.monthrange(month // 12, month % 12 + 1)[1]


def _rounded(value: float, kind: NumberKind) -> float:
    if kind != "date":
        return round(value, 2)
    month, day = _month_and_day(value)
    return month + (day - 1) / _days_in(month)
