"""Dated marks and measurements as likelihoods over the build month."""

from __future__ import annotations

import calendar
import datetime
from math import lgamma, log, pi, sqrt

import numpy as np
from numpy.typing import NDArray

from dating.date_codes import read_date_code
from dating.distributions import Judgement
from dating.edtf import parse_edtf
from dating.maker import Mark, Measurement
from dating.months import Period, day_position, month_number

type Floats = NDArray[np.float64]


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


def log_density(value: Floats, mean: Floats, scale: float, tails: float | None) -> Floats:
    """Give the log density of a normal, or of a Student t with heavier tails.

    Parameters
    ----------
    value, mean : ndarray of float64
        In the unit of the measurement; shapes that broadcast.
    scale : float
        Standard deviation, or scale of the Student t, in the same unit.
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
        return -0.5 * z * z - log(scale * sqrt(2 * pi))
    half = (tails + 1) / 2
    constant = lgamma(half) - lgamma(tails / 2) - 0.5 * log(tails * pi) - log(scale)
    return constant - half * np.log1p(z * z / tails)


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
        raise ValueError("a date with two ends is wanted here")
    return day
