"""A posterior over months put into sets, quantiles, years and bits.

Everything here is a pure function of one array of probabilities over consecutive months.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dating.arrays import Floats
from dating.edtf import write_edtf
from dating.months import Period, month_label


@dataclass(frozen=True)
class Stretch:
    """Consecutive months of a set.

    Parameters
    ----------
    first, last : int
        Month numbers, both included.
    mass : float
        Posterior probability of the stretch.
    """

    first: int
    last: int
    mass: float

    def __str__(self) -> str:
        """Write the stretch as one month or as two months joined by "to"."""
        if self.first == self.last:
            return month_label(self.first)
        return f"{month_label(self.first)} to {month_label(self.last)}"


@dataclass(frozen=True)
class MonthSet:
    """A set of months that holds a stated share of the probability.

    Parameters
    ----------
    level : float
        The share that was asked for.
    stretches : tuple of Stretch
        In order; more than one when the set falls apart.
    """

    level: float
    stretches: tuple[Stretch, ...]

    @property
    def mass(self) -> float:
        """The probability that the set holds, at least the level."""
        return sum(stretch.mass for stretch in self.stretches)

    @property
    def months(self) -> int:
        """How many months the set has."""
        return sum(stretch.last - stretch.first + 1 for stretch in self.stretches)

    @property
    def edtf(self) -> str:
        """The set as the shortest honest EDTF expression."""
        return write_edtf([(stretch.first, stretch.last) for stretch in self.stretches])

    def __str__(self) -> str:
        """Write the stretches, joined by "or"."""
        return ", or ".join(str(stretch) for stretch in self.stretches)

    def __contains__(self, month: int) -> bool:
        """Return whether a month number lies in the set."""
        return any(stretch.first <= month <= stretch.last for stretch in self.stretches)


ALIKE = 0.1
"""Share by which a month may be less probable than the last one that a set needs, and still be
taken with it: a difference that no judgement is good enough to tell."""
NEARLY = 0.5
"""Share of the least probability in a set from which a month closes a hole of it."""
HOLE = 2
"""Months of a hole that is closed, at most."""
_SLACK = 1e-12
_SAME = 1 - 1e-9


def highest_density(probabilities: Floats, period: Period, level: float) -> MonthSet:
    """Give the most probable months that hold at least the level.

    Months enter by falling probability until the set holds the level, and with the last of them
    every month that is at least ``1 - ALIKE`` times as probable, so that a flat stretch is never
    cut up. Then a hole of one or two months, of which each has at least ``NEARLY`` of that least
    probability, is closed. A set may so hold more than its level. A set of a higher level has every
    month of one of a lower level.

    Parameters
    ----------
    probabilities : ndarray of float64, shape (month,)
        Sum to one.
    period : Period
        The months.
    level : float
        Between 0 and 1, both excluded.

    Returns
    -------
    MonthSet
        One or several stretches.

    Raises
    ------
    ValueError
        When the level is not between 0 and 1.

    Examples
    --------
    >>> period = Period.parse("1931-01/1931-06")
    >>> str(highest_density(np.array([0.3, 0.02, 0.02, 0.06, 0.3, 0.3]), period, 0.5))
    '1931-01, or 1931-05 to 1931-06'
    >>> str(highest_density(np.array([0.2, 0.1, 0.2, 0.2, 0.2, 0.1]), period, 0.5))
    '1931-01 to 1931-05'
    """
    if not 0 < level < 1:
        raise ValueError(f"a level lies between 0 and 1, both excluded; found {level:g}")
    inside = most_probable(probabilities[None], level)[0]
    return MonthSet(level, _stretches(inside, probabilities, period))


def most_probable(probabilities: Floats, level: float) -> NDArray[np.bool_]:
    """Mark the months of the highest-density set of each row.

    Shapes: probabilities (row, month), what lies outside them has none that enters; gives
    (row, month).

    Examples
    --------
    >>> most_probable(np.array([[0.4, 0.1, 0.15, 0.35]]), 0.7).tolist()
    [[True, False, False, True]]
    """
    falling = np.sort(probabilities, axis=1)[:, ::-1]
    wanting = np.cumsum(falling, axis=1) < level - _SLACK
    needed = np.minimum(np.count_nonzero(wanting, axis=1), falling.shape[1] - 1)
    last = np.take_along_axis(falling, needed[:, None], axis=1)
    least = (1 - ALIKE) * _SAME * last
    return _without_holes(probabilities >= least, probabilities >= NEARLY * least)


def _without_holes(inside: NDArray[np.bool_], nearly: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Take in the short holes of each set whose months are all nearly as probable.

    Shapes: both (row, month); gives (row, month).
    """
    closed = inside.copy()
    for hole in range(1, min(HOLE, inside.shape[1] - 2) + 1):
        starts = inside.shape[1] - hole - 1
        shut = inside[:, :starts] & inside[:, hole + 1 :]
        for month in range(1, hole + 1):
            shut &= nearly[:, month : starts + month]
        for month in range(1, hole + 1):
            closed[:, month : starts + month] |= shut
    return closed


def equal_tailed(probabilities: Floats, period: Period, level: float) -> MonthSet:
    """Give the interval that leaves the same probability on either side.

    Parameters
    ----------
    probabilities : ndarray of float64, shape (month,)
        Sum to one.
    period : Period
        The months.
    level : float
        Between 0 and 1, both excluded.

    Returns
    -------
    MonthSet
        One stretch, from the month that holds the lower quantile to that of the upper.

    Raises
    ------
    ValueError
        When the level is not between 0 and 1.

    Examples
    --------
    >>> period = Period.parse("1931-01/1931-04")
    >>> str(equal_tailed(np.array([0.1, 0.4, 0.4, 0.1]), period, 0.5))
    '1931-02 to 1931-03'
    """
    if not 0 < level < 1:
        raise ValueError(f"a level lies between 0 and 1, both excluded; found {level:g}")
    first = quantile_month(probabilities, (1 - level) / 2)
    last = quantile_month(probabilities, (1 + level) / 2)
    inside = np.zeros(len(probabilities), dtype=bool)
    inside[first : last + 1] = True
    return MonthSet(level, _stretches(inside, probabilities, period))


def quantile_month(probabilities: Floats, p: float) -> int:
    """Give the month in which the cumulated probability reaches p.

    Parameters
    ----------
    probabilities : ndarray of float64, shape (month,)
        Sum to one.
    p : float
        From 0 to 1.

    Returns
    -------
    int
        Position of the month, counted from 0.

    Examples
    --------
    >>> quantile_month(np.array([0.25, 0.25, 0.5]), 0.5)
    1
    """
    reached = int(np.searchsorted(np.cumsum(probabilities), p - 1e-12))
    return min(reached, len(probabilities) - 1)


def mass_between(probabilities: Floats, period: Period, stretch: Period) -> float:
    """Give the probability of a stretch of months.

    Parameters
    ----------
    probabilities : ndarray of float64, shape (month,)
        Sum to one.
    period : Period
        The months.
    stretch : Period
        Both ends included; what lies outside the period has no probability.

    Returns
    -------
    float
        From 0 to 1.

    Examples
    --------
    >>> period = Period.parse("1931-01/1931-04")
    >>> mass_between(np.full(4, 0.25), period, Period.parse("1931-03/1932-12"))
    0.5
    """
    return float(probabilities[period.inside(stretch)].sum())


def mass_by_year(probabilities: Floats, period: Period) -> Floats:
    """Give the probability of each calendar year the period touches.

    Parameters
    ----------
    probabilities : ndarray of float64, shape (month,)
        Sum to one.
    period : Period
        The months.

    Returns
    -------
    ndarray of float64, shape (year,)
        In the order of ``period.years()``.

    Examples
    --------
    >>> mass_by_year(np.full(4, 0.25), Period.parse("1931-12/1932-03")).tolist()
    [0.25, 0.75]
    """
    years = np.arange(period.first, period.last + 1) // 12
    return np.bincount(years - years[0], weights=probabilities)


def entropy_bits(probabilities: Floats) -> float:
    """Give the entropy in bits: how many yes-or-no answers the date is still away.

    Parameters
    ----------
    probabilities : ndarray of float64, any shape
        Sum to one.

    Returns
    -------
    float
        Bits, from 0.

    References
    ----------
    Shannon, C. E. (1948). A mathematical theory of communication. *Bell System Technical
    Journal* 27, 379-423. doi:10.1002/j.1538-7305.1948.tb01338.x

    Examples
    --------
    >>> entropy_bits(np.full(8, 0.125))
    3.0
    """
    positive = probabilities[probabilities > 0]
    return float(-(positive * np.log2(positive)).sum()) + 0.0


def months_of_weight(probabilities: Sequence[Floats], period: Period) -> Period:
    """Choose the months that matter, with some room, on whole years.

    Shapes: probabilities (month,).

    Examples
    --------
    >>> period = Period.parse("1923-03/1941-11")
    >>> sure = np.zeros(len(period))
    >>> sure[100] = 1.0
    >>> str(months_of_weight([sure], period))
    '1931-01/1932-12'
    """
    months = [np.flatnonzero(p > 0.001 * p.max()) for p in probabilities]
    first = period.first + min(int(each[0]) for each in months) - 6
    last = period.first + max(int(each[-1]) for each in months) + 7
    return Period(max(first // 12 * 12, period.first), min((last // 12 + 1) * 12 - 1, period.last))


def _stretches(
    inside: NDArray[np.bool_], probabilities: Floats, period: Period
) -> tuple[Stretch, ...]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]]).astype(np.int8)))
    return tuple(
        Stretch(
            period.first + int(start),
            period.first + int(stop) - 1,
            float(probabilities[start:stop].sum()),
        )
        for start, stop in edges.reshape(-1, 2)
    )
