"""Numbers made: given a draw, each instrument has a combination of states by a chance of its own.

The number is a sum of independent trials of unequal chance. Its distribution is taken for the
binomial of the same mean and variance, which is exact where the chances are equal and tends to the
Poisson where they are small.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

type Floats = NDArray[np.float64]

_POISSON = 1e-9


def chance_between(low: float, high: float, made: Floats, chance: Floats) -> Floats:
    """Give the probability that the number made lies between two numbers.

    Parameters
    ----------
    low, high : float
        Both included.
    made : ndarray of float64, shape (draw, month)
        Instruments made in each month.
    chance : ndarray of float64, shape (draw, month)
        Probability that one of them has the combination.

    Returns
    -------
    ndarray of float64, shape (draw,)
        Between 0 and 1.

    References
    ----------
    Ehm, W. (1991). Binomial approximation to the Poisson binomial distribution. *Statistics and
    Probability Letters* 11(1), 7-16. doi:10.1016/0167-7152(91)90170-V

    Examples
    --------
    >>> chance_between(0, 1, np.array([[2.0]]), np.array([[0.5]])).round(9).tolist()
    [0.75]
    """
    mean = (made * chance).sum(axis=1)
    variance = (made * chance * (1 - chance)).sum(axis=1)
    at_most = _at_most(np.floor(high), mean, variance)
    below = _at_most(np.ceil(low) - 1, mean, variance)
    return np.asarray(np.clip(at_most - below, 0.0, 1.0))


def chance_of_none(made: Floats, chance: Floats) -> Floats:
    """Give the probability that not one instrument has the combination.

    Parameters
    ----------
    made : ndarray of float64, shape (draw, month)
        Instruments made in each month.
    chance : ndarray of float64, shape (draw, month)
        Probability that one of them has the combination.

    Returns
    -------
    ndarray of float64, shape (draw,)
        One where nothing was made.

    Examples
    --------
    >>> chance_of_none(np.array([[0.0, 2.0]]), np.array([[1.0, 0.5]])).tolist()
    [0.25]
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        logs = np.where(made > 0, made * np.log1p(-np.minimum(chance, 1.0)), 0.0)
    return np.asarray(np.exp(logs.sum(axis=1)))


def _at_most(count: float, mean: Floats, variance: Floats) -> Floats:
    """Give the probability that a matched binomial, or a Poisson, is at most a whole number."""
    from scipy.special import betainc, gammaincc  # noqa: PLC0415

    if count < 0:
        return np.zeros_like(mean)
    safe = np.where(mean > 0, mean, 1.0)
    p = np.clip(1 - variance / safe, 0.0, 1.0)
    trials = safe / np.where(p > 0, p, 1.0)
    rest = np.maximum(trials - count, 1e-12)
    binomial = np.where(trials <= count + 1e-9, 1.0, betainc(rest, count + 1, 1 - p))
    poisson = gammaincc(count + 1, safe)
    made = np.where(p < _POISSON, poisson, binomial)
    return np.asarray(np.where(mean > 0, made, 1.0))
