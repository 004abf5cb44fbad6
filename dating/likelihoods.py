"""Dated marks and measurements as likelihoods over the build month."""

from __future__ import annotations

import calendar
import datetime
from collections.abc import Callable
from functools import lru_cache
from math import hypot, lgamma, log, pi

import numpy as np

from dating.arrays import Floats
from dating.cubics import cubic_in
from dating.date_codes import CodeReading, readings_of
from dating.distributions import Certain, Judgement
from dating.edtf import parse_edtf
from dating.maker import Mark, Measurement
from dating.months import Period, day_position, month_number

_SLIPS_REACH = 10.0
_TO_A_MONTH = 256
LATER_HAND = 0.2
"""Share of the dates that do not tell the build which somebody wrote later. It is this project's
own."""
_ROUNDING = 1e-12
"""Shares as small as this are none, or noise would stand for evidence."""


def mark_likelihood(
    stretches: list[tuple[float, float]], lag: Judgement, months: int, delays: Floats | None = None
) -> Floats:
    """Give P(mark | build month) for a date that lies in one of some stretches of time.

    The part was dated at x, any instant of the stretches, and the instrument was completed a
    lag later. A whole month c therefore contributes P(lag = t - c) in calendar months. With
    H(y) = E max(y - lag, 0), a stretch from s to e contributes
    ``H(t + 1 - s) - H(t + 1 - e) - H(t - s) + H(t - e)`` to month t.

    Parameters
    ----------
    stretches : list of (float, float)
        Start and end of each candidate, in months since the start of the period.
    lag : Judgement
        Months from the mark to the completion of the instrument.
    months : int
        Length of the period.
    delays : ndarray of float64, shape (draw,), optional
        Months that are added to the lag, in each draw.

    Returns
    -------
    ndarray of float64, shape (draw, month)
        ``sum over stretches of the integral of P(t <= x + lag + delay < t + 1) dx``; one draw
        where there are no delays.

    Examples
    --------
    >>> from dating.distributions import Certain
    >>> mark_likelihood([(2.0, 3.0)], Certain(1.0), months=5).tolist()
    [[0.0, 0.0, 0.0, 1.0, 0.0]]
    >>> mark_likelihood([(2.0, 3.0)], Certain(1.0), 5, delays=np.array([0.0, 1.0])).tolist()
    [[0.0, 0.0, 0.0, 1.0, 0.0], [0.0, 0.0, 0.0, 0.0, 1.0]]
    """
    edges = np.arange(months + 1.0)
    since = edges[None] if delays is None else edges - delays[:, None]
    if delays is None or isinstance(lag, Certain):
        share = _between(stretches, lambda end: np.asarray(lag.excess(since - end)))
    else:
        table = _tabulated_lag(lag, months)
        share = _between(stretches, lambda end: _along(since - end, *table))
    return np.where(share > _ROUNDING, share, 0.0)


def _between(stretches: list[tuple[float, float]], excess: Callable[[float], Floats]) -> Floats:
    """Sum the stretches' shares of each month, from the excess after an end at the months' ends.

    Shape: (draw, month).
    """
    total = np.zeros((1, 1))
    for start, stop in stretches:
        total = total + (excess(start) - excess(stop))
    return np.diff(total, axis=1)


@lru_cache(maxsize=64)
def _tabulated_lag(lag: Judgement, months: int) -> tuple[Floats, Floats, Floats]:
    """Tabulate the excess over a lag and its slope; shapes (point,) each."""
    grid = np.arange(0.0, months + 2.0, 1 / _TO_A_MONTH)
    return grid, lag.excess(grid), lag.cdf(grid)


def _along(y: Floats, grid: Floats, value: Floats, slope: Floats) -> Floats:
    """Run through tabulated values and slopes as cubics; nought before, on a line after."""
    step, last = grid[1] - grid[0], len(grid) - 1
    at = np.clip(y / step, 0.0, last)
    cell = np.minimum(at.astype(np.int64), last - 1)
    within = np.where(y > 0, cubic_in(cell, at - cell, step, value, slope), 0.0)
    return np.asarray(within + slope[-1] * np.maximum(y - grid[-1], 0.0))


def later_share(stretches: list[tuple[float, float]], months: int, until: float) -> Floats:
    """Give P(mark | build month) for a part that was made at any time from the build on.

    Parameters
    ----------
    stretches : list of (float, float)
        Start and end of each candidate, in months since the start of the period.
    months : int
        Length of the period.
    until : float
        The day up to which a part may have been replaced, in the same months.

    Returns
    -------
    ndarray of float64, shape (month,)
        The share of the time from the month to that day that lies in the stretches.

    Examples
    --------
    >>> later_share([(2.0, 3.0), (-5.0, -4.0)], months=4, until=6.0).round(3).tolist()
    [0.167, 0.2, 0.25, 0.0]
    """
    month = np.arange(float(months))
    until = max(until, months)
    share = np.zeros(months)
    for start, stop in stretches:
        share += np.maximum(min(stop, until) - np.maximum(start, month), 0.0)
    return np.asarray(share / (until - month))


def doubted_share(stretches: list[tuple[float, float]], months: int, until: float) -> Floats:
    """Give P(mark | build month) for a date that tells nothing of the build.

    It is misread, and may be any of the period; or, one time in five, of a later hand, and may be
    any from the build on. A date that can only lie before the period counts as one within it.

    Parameters
    ----------
    stretches : list of (float, float)
        Start and end of each candidate, in months since the start of the period.
    months : int
        Length of the period.
    until : float
        The day of the examination, in the same months.

    Returns
    -------
    ndarray of float64, shape (month,)
        The share of such dates that lies in the stretches.

    Examples
    --------
    >>> doubted_share([(2.0, 3.0), (-5.0, -4.0)], months=4, until=4.0).round(3).tolist()
    [0.25, 0.267, 0.3, 0.2]
    """
    early = all(stop <= 0 for _, stop in stretches)
    first = -np.inf if early else 0.0
    inside = sum(max(min(stop, months) - max(start, first), 0.0) for start, stop in stretches)
    later = later_share(stretches, months, until)
    return (1 - LATER_HAND) * inside / months + LATER_HAND * later


def mark_likelihoods(
    stretches: list[tuple[float, float]], quantiles: Floats, reached: Floats, months: int
) -> Floats:
    """Give P(mark | build month) for a date that lies in one of some stretches of time.

    As :func:`dating.likelihoods.mark_likelihood`, with lags evenly spread between their quantiles:
    with H(y) = E max(y - lag, 0), a stretch from s to e contributes
    ``H(t + 1 - s) - H(t + 1 - e) - H(t - s) + H(t - e)`` to month t.

    Parameters
    ----------
    stretches : list of (float, float)
        Start and end of each candidate, in months since the start of the period.
    quantiles : ndarray of float64, shape (draw, quantile)
        Of the lag, in months, ascending.
    reached : ndarray of float64, shape (quantile,)
        Probability that a lag is at most the quantile; 1 at the last.
    months : int
        Length of the period.

    Returns
    -------
    ndarray of float64, shape (draw, month)
        Probability that the mark lies in the stretches.

    Examples
    --------
    >>> mark_likelihoods([(2.0, 3.0)], np.array([[1.0, 1.0]]), np.array([1.0, 1.0]), 5).tolist()
    [[0.0, 0.0, 0.0, 1.0, 0.0]]
    """
    edges = np.arange(months + 1.0)
    share = _between(stretches, lambda end: _excess(edges - end, quantiles, reached))
    return np.maximum(share, 0.0)


def _excess(y: Floats, quantiles: Floats, reached: Floats) -> Floats:
    """Give E max(y - lag, 0) for each draw and y, shape (draw, y)."""
    mass = np.diff(reached)
    middle = (quantiles[:, 1:] + quantiles[:, :-1]) / 2
    below = np.zeros(quantiles.shape)
    below[:, 0] = reached[0] * quantiles[:, 0]
    below[:, 1:] = below[:, :1] + np.cumsum(mass * middle, axis=1)
    excess = np.zeros((len(quantiles), len(y)))
    for draw, own in enumerate(quantiles):
        cell = np.searchsorted(own, y, side="right") - 1
        inside, last = cell >= 0, cell >= len(own) - 1
        cell = np.clip(cell, 0, len(own) - 2)
        width = np.maximum(own[cell + 1] - own[cell], 1e-300)
        partial = mass[cell] * (y - own[cell]) ** 2 / (2 * width)
        whole = y - below[draw, -1]
        within = reached[cell] * y - below[draw, cell] + partial
        excess[draw] = np.where(inside, np.where(last, whole, within), 0.0)
    return excess


def mark_stretches(
    text: str, mark: Mark, period: Period, latest: datetime.date | None = None
) -> list[tuple[float, float]]:
    """List the stretches of time in which a mark may have been made.

    Parameters
    ----------
    text : str
        A source-date code or an EDTF date, as recorded.
    mark : Mark
        With its format.
    period : Period
        The maker's period.
    latest : date, optional
        The day after which a code is not read; the end of the period unless given.

    Returns
    -------
    list of (float, float)
        Start and end of each candidate, in months since the start of the period.
    """
    if mark.format == "source-date":
        codes = code_readings(text, mark, period, latest or period.last_day)
        ends = {(code.first_day, code.last_day) for code in codes}
    else:
        ends = {(known_day(first), known_day(last)) for first, last in parse_edtf(text).stretches}
    return [
        (day_position(first) - period.first, end_position(last) - period.first)
        for first, last in sorted(ends)
    ]


def code_readings(
    text: str, mark: Mark, period: Period, day: datetime.date
) -> tuple[CodeReading, ...]:
    """Give the readings of a source-date code that count.

    Those that begin with the supplier's source number are the only ones, where there are such.

    Parameters
    ----------
    text : str
        The code, as recorded.
    mark : Mark
        With the source numbers that are expected.
    period : Period
        The maker's period, up to whose end at least a code is read.
    day : date
        The day of the examination, after which a code is not read.

    Returns
    -------
    tuple of CodeReading
        In order of time.
    """
    readings = readings_of(text, max(day, period.last_day))
    return tuple(filter(mark.expects, readings)) or readings


def is_foreign(text: str, mark: Mark, period: Period, day: datetime.date) -> bool:
    """Say whether a mark is a code of which no reading begins with the supplier's source number.

    Parameters
    ----------
    text, mark, period, day
        As for :func:`code_readings`.

    Returns
    -------
    bool
        False also where the maker file names no source number.
    """
    if mark.format != "source-date":
        return False
    return not any(map(mark.expects, code_readings(text, mark, period, day)))


def end_position(day: datetime.date) -> float:
    """Return where a day ends on the month axis.

    Examples
    --------
    >>> end_position(datetime.date(1931, 1, 31)) == month_number(1931, 2)
    True
    """
    days_in_month = calendar.monthrange(day.year, day.month)[1]
    return month_number(day.year, day.month) + day.day / days_in_month


def mean_at(measurement: Measurement, period: Period) -> Floats:
    """Give the mean of a measurement in each month: linear between anchors, constant outside.

    Parameters
    ----------
    measurement : Measurement
        With its anchors.
    period : Period
        The months.

    Returns
    -------
    ndarray of float64, shape (month,)
        In the unit of the measurement.
    """
    anchors = sorted(measurement.mean)
    months = np.arange(period.first, period.last + 1)
    return np.interp(months, anchors, [measurement.mean[anchor] for anchor in anchors])


def presence(mark: Mark, period: Period) -> Floats:
    """Give the chance that an instrument has a mark, in each month.

    Parameters
    ----------
    mark : Mark
        With one chance, or chances at anchors between which it changes evenly.
    period : Period
        The months.

    Returns
    -------
    ndarray of float64, shape (month,)
        Probabilities.
    """
    months = np.arange(period.first, period.last + 1)
    if mark.found_at is None:
        return np.full(len(months), mark.found.value)
    anchors = sorted(mark.found_at)
    return np.interp(months, anchors, [mark.found_at[anchor] for anchor in anchors])


def slip_density(value: float, mean: Floats, spread: float, within: float) -> float:
    """Give the density of a measurement that is a slip of the pen.

    A normal around the middle of the means, ten times as wide as these and the spread reach.

    Parameters
    ----------
    value : float
        In the unit of the measurement.
    mean : ndarray of float64, any shape
        Means of all months.
    spread, within : float
        Standard deviations of production and of measuring.

    Returns
    -------
    float
        Per unit of the measurement.

    Examples
    --------
    >>> round(slip_density(20.0, np.array([19.0, 21.0]), 1.0, 0.0), 4)
    0.0199
    """
    low, high = float(mean.min()), float(mean.max())
    scale = _SLIPS_REACH * ((high - low) / 2 + hypot(spread, within))
    return float(np.exp(log_density(np.array(value), np.array((low + high) / 2), scale, None)))


def log_density(value: Floats, mean: Floats, scale: float | Floats, tails: float | None) -> Floats:
    """Give the log density of a normal, or of a Student t with heavier tails.

    Parameters
    ----------
    value, mean : ndarray of float64
        In the unit of the measurement; shapes that broadcast.
    scale : float or ndarray of float64
        Standard deviation, or scale of the Student t, in the same unit; a shape that broadcasts.
    tails : float or None
        Degrees of freedom; None for a normal.

    Returns
    -------
    ndarray of float64
        Natural logarithms, broadcast shape.

    Examples
    --------
    >>> float(log_density(np.zeros(1), np.zeros(1), 1.0, None).round(6)[0])
    -0.918939
    """
    z = (value - mean) / scale
    if tails is None:
        return np.asarray(-0.5 * z * z - np.log(scale) - log(2 * pi) / 2)
    half = (tails + 1) / 2
    constant = lgamma(half) - lgamma(tails / 2) - 0.5 * log(tails * pi)
    return np.asarray(constant - np.log(scale) - half * np.log1p(z * z / tails))


def known_day(day: datetime.date | None) -> datetime.date:
    """Insist on a day where an open end would make no sense.

    Parameters
    ----------
    day : date or None
        One end of a date.

    Returns
    -------
    date
        The same day.

    Raises
    ------
    ValueError
        When there is none.
    """
    if day is None:
        raise ValueError("a date with two ends is expected here")
    return day
