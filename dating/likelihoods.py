"""Dated marks and measurements as likelihoods over the build month."""

from __future__ import annotations

import calendar
import datetime
from math import lgamma, log, pi

import numpy as np

from dating.arrays import Floats
from dating.date_codes import read_date_code
from dating.distributions import Judgement
from dating.edtf import parse_edtf
from dating.maker import Mark, Measurement
from dating.months import Period, day_position, month_number


def mark_likelihood(stretches: list[tuple[float, float]], lag: Judgement, months: int) -> Floats:
    """Give P(mark | build month) for a date that lies in one of some stretches of time.

    The part was dated at x, any instant of the stretches, and the instrument was completed a
    lag later. A whole month c therefore contributes P(lag = t - c) in calendar months.

    Parameters
    ----------
    stretches : list of (float, float)
        Start and end of each candidate, in months since the start of the period.
    lag : Judgement
        Months from the mark to the completion of the instrument.
    months : int
        Length of the period.

    Returns
    -------
    ndarray of float64, shape (month,)
        ``sum over stretches of the integral of P(t <= x + lag < t + 1) dx``.

    Examples
    --------
    >>> from dating.distributions import Certain
    >>> mark_likelihood([(2.0, 3.0)], Certain(1.0), months=5).tolist()
    [0.0, 0.0, 0.0, 1.0, 0.0]
    """
    lags, weights = lag.nodes(fine=4)
    month = np.arange(float(months))[:, None]
    total = np.zeros(months)
    for start, stop in stretches:
        shared = np.minimum(stop + lags, month + 1) - np.maximum(start + lags, month)
        total += np.maximum(shared, 0.0) @ weights
    return total


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
    ends = [(start, 1.0) for start, _ in stretches] + [(stop, -1.0) for _, stop in stretches]
    total = np.zeros((len(quantiles), months + 1))
    for end, sign in ends:
        total += sign * _excess(edges - end, quantiles, reached)
    return np.maximum(np.diff(total, axis=1), 0.0)


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


def mark_stretches(text: str, mark: Mark, period: Period) -> list[tuple[float, float]]:
    """List the stretches of time in which a mark may have been made.

    Parameters
    ----------
    text : str
        A source-date code or an EDTF date, as recorded.
    mark : Mark
        With its format.
    period : Period
        The maker's period; a code is not read as later than its end.

    Returns
    -------
    list of (float, float)
        Start and end of each candidate, in months since the start of the period.
    """
    if mark.format == "source-date":
        codes = read_date_code(text, latest=period.last_day)
        ends = {(code.first_day, code.last_day) for code in codes}
    else:
        ends = {(known_day(first), known_day(last)) for first, last in parse_edtf(text).stretches}
    return [
        (day_position(first) - period.first, _end_position(last) - period.first)
        for first, last in sorted(ends)
    ]


def _end_position(day: datetime.date) -> float:
    """Return where a day ends on the month axis."""
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
