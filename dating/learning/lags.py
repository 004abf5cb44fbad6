"""Lags of dated marks: the judged quantiles, moved together as a corpus teaches.

A judged lag is how lags differ from one instrument to the next. What is learned of it is its
median, and how far its quantiles lie apart: with q the judged quantile and m its median, both in
months, the learned quantile is ``median (q / m) ** ratio``. So a lag is never below zero, one of
none stays none, and with the judged median and a ratio of one the lag is as it was judged.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dating.arrays import Floats
from dating.distributions import Certain, Judgement, Pool
from dating.likelihoods import doubted_share, later_share, presence
from dating.maker import Maker
from dating.tables import LagTable

LAG_DOUBT = 0.5
"""Prior standard deviation of the logarithm of a lag's median."""
RATIO_DOUBT = 0.3
"""Prior standard deviation of the logarithm of the ratio by which lags differ more than judged."""
_LOG_ODDS = np.linspace(-7.0, 7.0, 57)


@dataclass(frozen=True, eq=False)
class Lag:
    """The lag between a dated mark and the build.

    Parameters
    ----------
    mark : str
        Name of the mark.
    component : str
        The component it sits on.
    judged : ndarray of float64, shape (quantile,)
        Judged quantiles in months, ascending.
    reached : ndarray of float64, shape (quantile,)
        Probability that a lag is at most the quantile; 1 at the last.
    median : float
        The judged median, in months.
    learned : bool
        Whether a corpus may move it: not where it, or what an assessor says of it, is one number.
    built : ndarray of float64, shape (month,)
        Chance that an instrument of the month has the mark, and that it tells the build.
    later, doubted : ndarray of float64, shape (month,)
        Chance that it has the mark, and that it is of a later part, or tells nothing.
    """

    mark: str
    component: str
    judged: Floats
    reached: Floats
    median: float
    learned: bool
    built: Floats
    later: Floats
    doubted: Floats

    def otherwise(self, stretches: Sequence[tuple[float, float]], until: float) -> Floats:
        """Give P(date | month) of a mark that does not tell the build, as an estimate has it.

        Shape: (month,).
        """
        dates, months = list(stretches), len(self.built)
        later = self.later * later_share(dates, months, until)
        return later + self.doubted * doubted_share(dates, months, until)

    def quantiles(self, median: Floats, ratio: Floats) -> Floats:
        """Move the quantiles.

        Shapes: median (draw,); ratio (draw,); gives (draw, quantile).
        """
        if not self.learned:
            return np.broadcast_to(self.judged, (len(median), len(self.judged)))
        return median[:, None] * (self.judged / self.median) ** ratio[:, None]


def lags_of(maker: Maker) -> tuple[Lag, ...]:
    """Give the lag of every mark.

    Examples
    --------
    >>> from dating.files import read_maker
    >>> [lag.mark for lag in lags_of(read_maker("priors/marrowby.yaml"))]
    ['heel-pencil', 'back-stamp', 'plate-date']
    """
    lags = []
    for name, (part, mark) in maker.marks().items():
        judged = mark.lag.distribution()
        members = judged.members if isinstance(judged, Pool) else (judged,)
        learned = not any(isinstance(member, Certain) for member in members)
        learned &= mark.stock is None
        if mark.stock is None:
            quantiles, reached = _table(judged) if learned else _steps(judged)
        else:
            quantiles, reached = _delayed(judged, maker.stocks[mark.stock].delay.distribution())
        median = float(judged.quantile(0.5))
        found, (built, later, doubted) = presence(mark, maker.period), mark.chances
        lags.append(
            Lag(
                mark=name,
                component=part,
                judged=quantiles,
                reached=reached,
                median=median,
                learned=learned,
                built=built * found,
                later=later * found,
                doubted=doubted * found,
            )
        )
    return tuple(lags)


def lag_tables(lags: Sequence[Lag], draws: Floats) -> dict[str, LagTable]:
    """Give the lag of each mark of which it was learned, as an estimate uses it.

    Shapes: draws (draw, mark, 2).
    """
    return {
        lag.mark: LagTable(lag.quantiles(*draws[:, place].T), lag.reached)
        for place, lag in enumerate(lags if draws.size else ())
        if lag.learned
    }


def _table(judged: Judgement) -> tuple[Floats, Floats]:
    """Tabulate a judgement by its log-odds; what is no lag at all stands at zero."""
    p = 1 / (1 + np.exp(-_LOG_ODDS))
    none = float(judged.cdf(0.0))
    if none < p[0]:
        return judged.quantile(p), (p - p[0]) / (p[-1] - p[0])
    quantiles = judged.quantile(p[p > none])
    reached = np.append(none, p[p > none])
    return np.append(0.0, quantiles), reached / reached[-1]


def _delayed(judged: Judgement, delay: Judgement) -> tuple[Floats, Floats]:
    """Tabulate the sum of a lag and of the delay of a stock, which is not learned."""
    (lags, own), (delays, shared) = judged.nodes(), delay.nodes()
    sums, weights = np.add.outer(lags, delays).ravel(), np.outer(own, shared).ravel()
    order = np.argsort(sums, kind="stable")
    reached = np.cumsum(weights[order]) - weights[order] / 2
    p = 1 / (1 + np.exp(-_LOG_ODDS))
    return np.interp(p, reached, sums[order]), (p - p[0]) / (p[-1] - p[0])


def _steps(judged: Judgement) -> tuple[Floats, Floats]:
    """Tabulate a judgement of which a part is one number, by the nodes of its rule."""
    values, weights = judged.nodes(fine=4)
    order = np.argsort(values, kind="stable")
    values, reached = values[order], np.cumsum(weights[order]) / weights.sum()
    return np.append(values, values[-1]), np.append(reached, 1.0)
