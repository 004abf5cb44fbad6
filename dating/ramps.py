"""Changeovers as ramps over the months, exact and averaged over what is uncertain.

Months are counted from the start of the period: month ``t`` is ``[t, t + 1)``. A ramp with
first use ``a`` and overlap ``d`` is the distribution function of a random threshold
``a + d U``: an instrument completed at ``x`` has the new regime when ``x`` is past its
threshold. The share of a month is then a difference of ``E max(x - threshold, 0)`` between
the month's ends, and averaging over an uncertain first use or overlap keeps that form.

Arrays carry the month last; ``draw`` comes before it.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from math import log
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from dating.arrays import Floats
from dating.cubics import cubic_in
from dating.distributions import Certain, Judgement, Metalog, Pool

type Shape = Literal["linear", "logistic"]

_STEEPNESS = 2 * log(19.0)
"""Log-odds between 5 % and 95 %, the ends of a logistic overlap."""

_ROUNDING = 1e-11
"""Shares this close to none or all are taken as that, or noise would stand for evidence."""

_GRID = np.linspace(-36.0, 36.0, 577)


def month_shares(
    first_use: ArrayLike, overlap: ArrayLike, months: int, shape: Shape = "linear"
) -> Floats:
    """Give the probability of the new regime in each month, exactly.

    Parameters
    ----------
    first_use : array_like of float, shape (draw,) or scalar
        Start of the ramp, in months since the start of the period.
    overlap : array_like of float, shape (draw,) or scalar
        Length of the ramp in months; zero is a step.
    months : int
        Length of the period.
    shape : {"linear", "logistic"}
        A logistic ramp passes 5 % at first_use and 95 % at first_use + overlap.

    Returns
    -------
    ndarray of float64, shape (draw, month) or (month,)
        The ramp averaged over each month ``[t, t + 1)``.

    Examples
    --------
    >>> month_shares(1.5, 0.0, months=4).tolist()
    [0.0, 0.5, 1.0, 1.0]
    >>> month_shares(1.0, 2.0, months=4).tolist()
    [0.0, 0.25, 0.75, 1.0]
    """
    first = np.asarray(first_use, dtype=float)[..., None]
    over = np.asarray(overlap, dtype=float)[..., None]
    return _by_month(_excess(np.arange(months + 1.0) - first, over, shape))


@lru_cache(maxsize=1024)
def mean_shares(
    first_use: Judgement, overlap: Judgement, months: int, shape: Shape = "linear"
) -> Floats:
    """Give the probability of the new regime in each month, averaged over two judgements.

    The result is kept, and cannot be written to.

    Parameters
    ----------
    first_use : Judgement
        Start of the ramp, in months since the start of the period.
    overlap : Judgement
        Length of the ramp in months.
    months : int
        Length of the period.
    shape : {"linear", "logistic"}
        As for :func:`month_shares`.

    Returns
    -------
    ndarray of float64, shape (month,)
        Expected share of the new regime in each month.

    Examples
    --------
    >>> mean_shares(Certain(1.0), Certain(2.0), months=4).tolist()
    [0.0, 0.25, 0.75, 1.0]
    """
    shares = _by_month(_mean_excess(np.arange(months + 1.0), first_use, overlap, shape))
    shares.flags.writeable = False
    return shares


def shares_after(
    event: Floats, lag: Judgement, overlap: Judgement, months: int, shape: Shape = "linear"
) -> Floats:
    """Give the probability of the new regime in each month, for each draw of an event.

    Lag and overlap belong to the one changeover, so they are averaged for each draw.

    Parameters
    ----------
    event : ndarray of float64, shape (draw,)
        Dates of the event, in months since the start of the period.
    lag : Judgement
        Months from the event to the first use.
    overlap : Judgement
        Length of the ramp in months.
    months : int
        Length of the period.
    shape : {"linear", "logistic"}
        As for :func:`month_shares`.

    Returns
    -------
    ndarray of float64, shape (draw, month)
        Expected share of the new regime in each month, given the event.

    Examples
    --------
    >>> shares_after(np.array([1.0, 2.0]), Certain(0.0), Certain(0.0), months=4).tolist()
    [[0.0, 1.0, 1.0, 1.0], [0.0, 0.0, 1.0, 1.0]]
    """
    if isinstance(lag, Certain) and isinstance(overlap, Certain):
        return month_shares(event + lag.value, overlap.value, months, shape)
    start, stop = _reach(lag, overlap, shape)
    if (stop - start) / _step(lag) > len(event) * (months + 1):
        since = np.arange(months + 1.0) - event[:, None]
        direct = _mean_excess(since.ravel(), lag, overlap, shape)
        return _by_month(direct.reshape(since.shape))
    # From a table of one ramp, in the months that it takes after each event.
    start = max(start, np.floor(-event.max()) - 1)
    stop = max(min(stop, np.ceil(months - event.min()) + 1), start + 1)
    step = _step(lag)
    grid, table = _tabulated_excess((start, stop), step, lag, overlap, shape)
    first = np.floor(event + start).astype(np.int64)
    ends = first[:, None] + np.arange(int(np.ceil(grid[-1] - start)) + 3)
    since = ends - event[:, None]
    inside = _cubic(np.clip(since, start, grid[-1]), start, step, table)
    during = _by_month(inside + np.maximum(since - grid[-1], 0.0))
    shares: Floats = (np.arange(months) >= ends[:, -1:]).astype(float)
    draw, place = np.nonzero((ends[:, :-1] >= 0) & (ends[:, :-1] < months))
    shares[draw, ends[draw, place]] = during[draw, place]
    return shares


@lru_cache(maxsize=256)
def _tabulated_excess(
    reach: tuple[float, float], step: float, lag: Judgement, overlap: Judgement, shape: Shape
) -> tuple[Floats, Floats]:
    """Tabulate the mean excess of a ramp; shapes (point,) both."""
    grid = np.arange(reach[0], reach[1] + step, step)
    table = _mean_excess(grid, lag, overlap, shape)
    grid.flags.writeable = table.flags.writeable = False
    return grid, table


def regimes(shares: Sequence[Floats], months: int) -> Floats:
    """Turn the ramps of successive changeovers into probabilities of the regimes.

    Regime j is reached only through j - 1, so the result is a distribution whatever the
    order of uncertain starts.

    Parameters
    ----------
    shares : sequence of ndarray of float64, each of shape (month,) or (draw, month)
        One ramp for each changeover, in order.
    months : int
        Length of the period.

    Returns
    -------
    ndarray of float64, shape (regime, draw, month)
        One regime more than changeovers; ``draw`` has length 1 where no ramp has draws.

    Examples
    --------
    >>> regimes([np.array([0.0, 0.5, 1.0])], months=3)[:, 0].tolist()
    [[1.0, 0.5, 0.0], [0.0, 0.5, 1.0]]
    """
    ramps = [np.atleast_2d(ramp) for ramp in shares]
    draws = max((len(ramp) for ramp in ramps), default=1)
    reached = np.ones((draws, months))
    parts = []
    for ramp in ramps:
        parts.append(reached * (1 - ramp))
        reached = reached * ramp
    return np.array([*parts, reached])


def between_anchors(anchors: ArrayLike, months: int) -> Floats:
    """Give the weight of each anchor in each month: linear between, constant outside.

    Parameters
    ----------
    anchors : array_like of float, shape (anchor,)
        Ascending months since the start of the period.
    months : int
        Length of the period.

    Returns
    -------
    ndarray of float64, shape (anchor, month)
        Weights that sum to one in each month.

    Examples
    --------
    >>> between_anchors([0, 2], months=4).tolist()
    [[1.0, 0.5, 0.0, 0.0], [0.0, 0.5, 1.0, 1.0]]
    """
    points = np.asarray(anchors, dtype=float)
    corners = np.eye(len(points))
    return np.array([np.interp(np.arange(months), points, corner) for corner in corners])


def _by_month(excess: Floats) -> Floats:
    """Difference between the months' ends; what is rounding error is none, or all."""
    share = np.diff(excess, axis=-1)
    share = np.where(share < _ROUNDING, 0.0, share)
    return np.where(share > 1 - _ROUNDING, 1.0, share)


def _excess(beyond: Floats, overlap: Floats, shape: Shape) -> Floats:
    """Give ``E max(y - d U, 0)`` at y beyond the first use, for a fixed overlap d."""
    step = np.maximum(beyond, 0.0)
    wide = np.where(overlap > _ROUNDING, overlap, 1.0)
    if shape == "linear":
        inside = np.clip(beyond, 0.0, wide)
        ramp = inside * inside / (2 * wide) + np.maximum(beyond - wide, 0.0)
    else:
        scale = wide / _STEEPNESS
        ramp = scale * np.logaddexp(0.0, (beyond - wide / 2) / scale)
    return np.where(overlap > _ROUNDING, ramp, step)


def _mean_excess(x: Floats, start: Judgement, overlap: Judgement, shape: Shape) -> Floats:
    """Average ``E max(x - threshold, 0)`` over an uncertain start and an uncertain overlap."""
    if isinstance(start, Pool):
        pairs = zip(start.weights, start.members, strict=True)
        return sum((w * _mean_excess(x, m, overlap, shape) for w, m in pairs), np.zeros(()))
    if isinstance(start, Certain):
        lengths, weights = overlap.nodes(fine=8)
        return weights @ _excess(x - start.value, lengths[:, None], shape)
    smoothed = _SmoothedStart(start)
    kinked = start.halves or start.scale < float(overlap.quantile(0.5)) / 4
    lengths, weights = overlap.nodes(fine=4) if kinked else _every_other(overlap.nodes())
    mixed = zip(weights, lengths, strict=True)
    return sum((w * smoothed.after(x, length, shape) for w, length in mixed), np.zeros(()))


def _reach(start: Judgement, overlap: Judgement, shape: Shape) -> tuple[float, float]:
    """Give the months between which a ramp passes from none to all, but for a millionth."""
    starts, longest = start.nodes()[0], float(overlap.nodes()[0].max())
    before, after = (0.0, 1.0) if shape == "linear" else (2.0, 3.0)
    low, high = starts.min() - before * longest, starts.max() + after * longest
    return float(np.floor(low)) - 1, float(np.ceil(high)) + 1


def _step(start: Judgement) -> float:
    """Choose a grid, in months, on which a ramp after this start is a smooth curve."""
    scales = [m.narrowest for m in _members(start) if isinstance(m, Metalog)]
    return 1 / 4 if len(scales) == len(_members(start)) and min(scales) >= 0.5 else 1 / 8


def _members(judgement: Judgement) -> tuple[Certain | Metalog, ...]:
    return judgement.members if isinstance(judgement, Pool) else (judgement,)


def _every_other(rule: tuple[Floats, Floats]) -> tuple[Floats, Floats]:
    """Thin a quadrature rule, where what is averaged is smooth at its scale."""
    values, weights = rule[0][::2], rule[1][::2]
    return values, weights / weights.sum()


class _SmoothedStart:
    """An uncertain start, tabulated so that ramps of any length after it are quick.

    Over a grid of the log-odds the start's quantile, distribution function and expected
    excess are known in closed form; between grid points a cubic runs through values and slopes.
    """

    def __init__(self, start: Metalog) -> None:
        self.start = start
        self.p = 0.5 * (1 + np.tanh(0.5 * _GRID))
        self.x = start.quantile_at(_GRID)
        self.excess = start.excess(self.x)
        width = np.diff(self.x)
        cells = width * (self.excess[:-1] + self.excess[1:]) / 2
        cells += width**2 * (self.p[:-1] - self.p[1:]) / 12
        self.area = np.concatenate([[0.0], np.cumsum(cells)])

    def after(self, x: Floats, overlap: float, shape: Shape) -> Floats:
        """Give the mean excess over start and ramp for one overlap."""
        scale = self.start.narrowest
        if overlap < 0.02 * scale:
            return self._excess_at(x - overlap / 2)
        if shape == "linear":
            return (self._area_at(x) - self._area_at(x - overlap)) / overlap
        if overlap / _STEEPNESS < scale / 4:
            delay = Metalog(overlap / 2, overlap / _STEEPNESS, 0.0)
            delays, weights = delay.nodes(8) if self.start.halves else _every_other(delay.nodes())
            return self._excess_at(x[:, None] - delays) @ weights
        starts, weights = self.start.nodes(4 if self.start.halves else 1)
        return weights @ _excess(x - starts[:, None], np.asarray(overlap), "logistic")

    def _excess_at(self, x: Floats) -> Floats:
        inside = _hermite(x, self.x, self.excess, self.p)
        return np.where(x > self.x[-1], self.excess[-1] + x - self.x[-1], inside)

    def _area_at(self, x: Floats) -> Floats:
        """Integrate the excess up to x."""
        inside = _hermite(x, self.x, self.area, self.excess)
        beyond = np.maximum(x - self.x[-1], 0.0)
        return inside + np.where(beyond > 0, beyond * (self.excess[-1] + beyond / 2), 0.0)


def _hermite(x: Floats, at: Floats, value: Floats, slope: Floats) -> Floats:
    """Interpolate by cubics through values and slopes; constant outside."""
    x = np.clip(x, at[0], at[-1])
    cell = np.clip(np.searchsorted(at, x, side="right") - 1, 0, len(at) - 2)
    width = at[cell + 1] - at[cell]
    return cubic_in(cell, (x - at[cell]) / width, width, value, slope)


def _cubic(x: Floats, start: float, step: float, value: Floats) -> Floats:
    """Interpolate by cubics over a regular grid, slopes from the neighbours."""
    slope = np.gradient(value, step)
    at = (x - start) / step
    cell = np.clip(at.astype(np.int64), 0, len(value) - 2)
    return cubic_in(cell, at - cell, step, value, slope)
