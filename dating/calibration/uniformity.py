"""Are dates where posteriors say? Sides, spread, tails and coverage, each judged apart.

Levels and ranks are drawn within a month's own mass, so that both are exactly uniform where
posteriors are calibrated, however discrete (Czado and others 2009).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from dating.arrays import Floats
from dating.calibration.gains import gains_of, normal_scores

QUESTIONS = ("sides", "spread", "tails", "coverage")
FALSE_ALARMS = 0.05
"""Probability that a calibrated maker is doubted on any of the four questions, at most."""
MATTERS = {"sides": 0.03, "spread": 0.07, "tails": 0.3, "coverage": 0.07}
"""Departures below which a fault does not matter, however certain it is.

Dates that lie 1.07 times as far out as stated, or levels whose normal scores are 0.07 too high on
the whole, leave 88 or 89 % in sets of 90 %; a mean rank of 0.53 leaves what they hold as it is.
"""
OUTERMOST = 0.001
"""Share of a posterior, half on either side, in which few dates should lie."""
_SIMULATIONS, _FEWEST, _NUMBERS = 19_999, 999, 20_000_000


@dataclass(frozen=True)
class Departure:
    """How far the answers to one question lie from what calibrated posteriors give.

    Parameters
    ----------
    value : float
        The statistic.
    expected : float
        What it is on the whole where posteriors are calibrated.
    chance : float
        Probability that calibrated posteriors give a value at least as far off.
    gain : float
        Log likelihood, in nats over all instruments, gained by the fault that this question asks
        for; it compares the questions.
    alarm : bool
        Whether the chance is too small, all questions taken together, and the value far enough off
        to matter.
    """

    value: float
    expected: float
    chance: float
    gain: float
    alarm: bool

    @property
    def above(self) -> bool:
        """Whether the statistic is larger than expected."""
        return self.value > self.expected


@dataclass(frozen=True)
class Uniformity:
    """Whether ranks and levels are uniform, question by question.

    Parameters
    ----------
    instruments : int
        How many.
    outermost : int
        How many of their dates lie in the outermost 0.1 % of their posteriors, half of it on either
        side.
    sides, spread, tails, coverage : Departure
        On which side of the middle the dates lie, how far off, how often very far off, and how
        often sets hold them.
    """

    instruments: int
    outermost: int
    sides: Departure
    spread: Departure
    tails: Departure
    coverage: Departure


def uniformity_of(ranks: Floats, levels: Floats) -> Uniformity:
    """Judge sides, spread, tails and coverage by one overall test.

    Parameters
    ----------
    ranks : ndarray of float64, shape (instrument,)
        Randomised probability integral transforms.
    levels : ndarray of float64, shape (instrument,)
        Levels of the smallest highest-density sets that hold the dates.

    Returns
    -------
    Uniformity
        A calibrated maker gets an alarm with probability 0.05 at most (Holm 1979), and trifles get
        none, of however many instruments.

    References
    ----------
    Holm, S. (1979). A simple sequentially rejective multiple test procedure. *Scandinavian Journal
    of Statistics* 6(2), 65-70.

    Examples
    --------
    >>> even = (np.arange(100) + 0.5) / 100
    >>> uniformity_of(even, even).sides.alarm, uniformity_of(even**0.5, even).sides.alarm
    (False, True)
    """
    values, chances = statistics_of(ranks, levels), chances_of(ranks, levels)
    expected = np.array([0.5, 1.0, float(np.mean(_kurtoses(len(ranks)))), 0.0])
    matters = np.abs(values - expected) >= list(MATTERS.values())
    alarms = alarms_of(chances) & matters
    columns = (values, expected, chances, gains_of(ranks, levels), alarms)
    rows = zip(*(column.tolist() for column in columns), strict=True)
    outermost = int((np.abs(ranks - 0.5) > 0.5 - OUTERMOST / 2).sum())
    return Uniformity(len(ranks), outermost, *(Departure(*row) for row in rows))


def statistics_of(ranks: Floats, levels: Floats) -> Floats:
    """Give the four statistics.

    With ranks u and levels h of n instruments, z = Phi^-1(u) and y = Phi^-1(h), which are standard
    normal where posteriors are calibrated (normal scores; Berkowitz 2001):

    - sides: the mean of u;
    - spread: the standard deviation s of z about its own mean;
    - tails: the kurtosis sum((z - mean z)^4) / n / (sum((z - mean z)^2) / n)^2;
    - coverage: the mean of y, above zero where sets hold too seldom.

    Spread is taken about the mean and tails in units of the spread, so that these and the mean of z
    are independent of each other (Basu 1955): what leans is not called too sure for that.

    Parameters
    ----------
    ranks, levels : ndarray of float64, shape (..., instrument)
        Between 0 and 1.

    Returns
    -------
    ndarray of float64, shape (question, ...)
        In the order of ``QUESTIONS``.

    References
    ----------
    Berkowitz, J. (2001). Testing density forecasts, with applications to risk management. *Journal
    of Business & Economic Statistics* 19(4), 465-474. doi:10.1198/07350010152596718
    Basu, D. (1955). On statistics independent of a complete sufficient statistic. *Sankhya* 15(4),
    377-380.
    """
    scores = normal_scores(ranks)
    return np.stack(
        [
            ranks.mean(axis=-1),
            scores.std(axis=-1, ddof=1),
            _kurtosis(scores),
            normal_scores(levels).mean(axis=-1),
        ]
    )


def chances_of(ranks: Floats, levels: Floats) -> Floats:
    """Give the probability that calibrated posteriors lie as far off, for each question.

    The mean of n uniform numbers is normal with variance 1 / (12 n), close enough from ten on; (n -
    1) s^2 is chi-squared with n - 1 degrees of freedom and sqrt(n) mean y standard normal, exactly;
    the kurtosis is held against 19,999 simulated ones of as many instruments, fewer above a
    thousand. Sides, spread and coverage are judged both ways, tails for being heavy.

    Parameters
    ----------
    ranks, levels : ndarray of float64, shape (..., instrument)
        Between 0 and 1.

    Returns
    -------
    ndarray of float64, shape (question, ...)
        In the order of ``QUESTIONS``.

    References
    ----------
    Czado, C., Gneiting, T. and Held, L. (2009). Predictive model assessment for count data.
    *Biometrics* 65(4), 1254-1261. doi:10.1111/j.1541-0420.2009.01191.x
    """
    from scipy.stats import chi2, norm  # noqa: PLC0415

    count = ranks.shape[-1]
    mean, spread, tails, coverage = statistics_of(ranks, levels)
    squares = (count - 1) * spread**2
    beyond = len(_kurtoses(count)) - np.searchsorted(_kurtoses(count), tails)
    return np.stack(
        [
            2 * norm.sf(np.abs(mean - 0.5) * np.sqrt(12 * count)),
            2 * np.minimum(chi2.sf(squares, count - 1), chi2.cdf(squares, count - 1)),
            (1 + beyond) / (1 + len(_kurtoses(count))),
            2 * norm.sf(np.abs(coverage) * np.sqrt(count)),
        ]
    )


def alarms_of(chances: Floats, most: float = FALSE_ALARMS) -> NDArray[np.bool_]:
    """Say which questions raise an alarm, step by step from the least chance up.

    Shapes: chances (question, ...); gives (question, ...).

    Examples
    --------
    >>> alarms_of(np.array([0.02, 0.001, 0.01, 0.3])).tolist()
    [True, True, True, False]
    >>> alarms_of(np.array([0.02, 0.013, 0.04, 0.3])).tolist()
    [False, False, False, False]
    """
    order = np.argsort(chances, axis=0)
    steps = most / np.arange(len(chances), 0, -1).reshape(-1, *[1] * (chances.ndim - 1))
    passed = np.take_along_axis(chances, order, axis=0) <= steps
    alarms = np.empty_like(passed)
    np.put_along_axis(alarms, order, np.logical_and.accumulate(passed, axis=0), axis=0)
    return alarms


def _kurtosis(scores: Floats) -> Floats:
    squares = (scores - scores.mean(axis=-1, keepdims=True)) ** 2
    return np.asarray((squares**2).mean(axis=-1) / squares.mean(axis=-1) ** 2)


@lru_cache(maxsize=8)
def _kurtoses(count: int) -> Floats:
    """Simulate the kurtosis of normal numbers, in ascending order."""
    generator = np.random.default_rng(1)
    sets = min(_SIMULATIONS, max(_FEWEST, _NUMBERS // count))
    rows = max(1, 2_000_000 // count)
    parts = [
        _kurtosis(generator.standard_normal((min(rows, sets - start), count)))
        for start in range(0, sets, rows)
    ]
    return np.sort(np.concatenate(parts))
