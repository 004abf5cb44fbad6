"""Scores of posteriors against known dates.

Months are discrete and some dates are known to the year only. A date within its stated stretch is
drawn from the posterior there, and levels and ranks are drawn within a month's own mass, so that a
calibrated posterior gives uniform levels and ranks, exactly.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dating.arrays import Floats


@dataclass(frozen=True, eq=False)
class Scores:
    """Scores by instrument.

    Parameters
    ----------
    level : ndarray of float64, shape (instrument,)
        Level of the smallest highest-density set that holds the date; uniform if calibrated.
    rank : ndarray of float64, shape (instrument,)
        Randomised probability integral transform; uniform if calibrated.
    crps : ndarray of float64, shape (instrument,)
        Continuous ranked probability score in months; smaller is better.
    log_score : ndarray of float64, shape (instrument,)
        Natural logarithm of the probability of what is stated; larger is better.
    width : ndarray of float64, shape (instrument,)
        Fewest months that hold 90 %: those of the sets that ``level`` speaks of, in which months
        enter one by one, and not with all that are alike as in
        :func:`dating.summaries.highest_density`.
    error : ndarray of float64, shape (instrument,)
        Months between the posterior's median and the date.

    References
    ----------
    Czado, C., Gneiting, T. and Held, L. (2009). Predictive model assessment for count data.
    *Biometrics* 65(4), 1254-1261. doi:10.1111/j.1541-0420.2009.01191.x
    Gneiting, T. and Raftery, A. E. (2007). Strictly proper scoring rules, prediction, and
    estimation. *Journal of the American Statistical Association* 102(477), 359-378.
    doi:10.1198/016214506000001437
    """

    level: Floats
    rank: Floats
    crps: Floats
    log_score: Floats
    width: Floats
    error: Floats

    def covered(self, level: float) -> float:
        """Give the share of dates that lie in their set of a level.

        Parameters
        ----------
        level : float
            Between 0 and 1.

        Returns
        -------
        float
            The share.
        """
        return float((self.level <= level).mean())

    def chosen(self, places: NDArray[np.bool_]) -> Scores:
        """Keep some of the instruments.

        Parameters
        ----------
        places : ndarray of bool, shape (instrument,)
            Which to keep.

        Returns
        -------
        Scores
            Theirs.
        """
        return Scores(
            self.level[places],
            self.rank[places],
            self.crps[places],
            self.log_score[places],
            self.width[places],
            self.error[places],
        )


def scores_of(posterior: Floats, window: Floats, seed: int = 1) -> Scores:
    """Score posteriors against stated dates.

    Parameters
    ----------
    posterior : ndarray of float64, shape (instrument, month)
        Each row sums to one.
    window : ndarray of float64, shape (instrument, month)
        1 in the months that the stated date allows.
    seed : int
        Seed of what is drawn within months and stretches.

    Returns
    -------
    Scores
        By instrument.

    Examples
    --------
    >>> sure = scores_of(np.array([[0.0, 1.0, 0.0]]), np.array([[0.0, 1.0, 0.0]]))
    >>> sure.crps.tolist(), sure.log_score.tolist(), sure.width.tolist()
    ([0.0], [0.0], [1.0])
    """
    generator = np.random.default_rng(seed)
    rows = np.arange(len(posterior))
    inside = posterior * window
    mass = inside.sum(axis=1)
    inside = np.where(mass[:, None] > 0, inside, window)
    place = generator.random(len(rows)) * inside.sum(axis=1)
    month = (np.cumsum(inside, axis=1) <= place[:, None]).sum(axis=1)
    month = np.minimum(month, posterior.shape[1] - 1)
    own = posterior[rows, month][:, None]
    before = np.cumsum(posterior, axis=1)[rows, month] - own[:, 0]
    above = (posterior * (posterior > own)).sum(axis=1)
    level_with = (posterior * (posterior == own)).sum(axis=1)
    reached = np.cumsum(posterior, axis=1)
    passed = np.arange(posterior.shape[1]) >= month[:, None]
    return Scores(
        level=above + generator.random(len(rows)) * level_with,
        rank=np.clip(before + generator.random(len(rows)) * own[:, 0], 0, 1),
        crps=((reached - passed) ** 2).sum(axis=1),
        log_score=np.log(np.maximum(mass, 1e-300)),
        width=_width(posterior),
        error=np.abs(medians_of(posterior) - month).astype(float),
    )


def medians_of(posterior: Floats) -> NDArray[np.int64]:
    """Give the median month of posteriors.

    Parameters
    ----------
    posterior : ndarray of float64, shape (instrument, month)
        Each row sums to one.

    Returns
    -------
    ndarray of int64, shape (instrument,)
        Counted from the start of the period.
    """
    return np.asarray((np.cumsum(posterior, axis=1) < 0.5).sum(axis=1))


def _width(posterior: Floats) -> Floats:
    """Count the fewest months that hold 90 %."""
    down = -np.sort(-posterior, axis=1)
    return np.asarray((np.cumsum(down, axis=1) < 0.9 - 1e-12).sum(axis=1) + 1.0)
