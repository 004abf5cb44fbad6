"""Numbers made: given a draw, each instrument has a combination of states by a chance of its own.

The number is a sum of independent trials of unequal chance. Those that count with a chance of a
half or less are taken for the binomial of the same mean and variance, which is exact where their
chances are equal and tends to the Poisson where they are small; of the others, those that fail to
count are taken so.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from dating.arrays import Floats

_POISSON = 1e-9
_STEPS = 160
"""Into how many parts the number of those who fail to count is cut at most."""


def chance_between(low: float, high: float, numbers: Floats, chance: Floats) -> Floats:
    """Give the probability that the number made lies between two numbers.

    Parameters
    ----------
    low, high : float
        Both included.
    numbers : ndarray of float64, shape (draw, month)
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
    at_most = _at_most(np.floor(high), numbers, chance)
    below = _at_most(np.ceil(low) - 1, numbers, chance)
    return np.asarray(np.clip(at_most - below, 0.0, 1.0))


def chance_of_none(numbers: Floats, chance: Floats) -> Floats:
    """Give the probability that not one instrument has the combination.

    Shapes: numbers (draw, month); chance (draw, month); gives (draw,).

    Examples
    --------
    >>> chance_of_none(np.array([[0.0, 2.0]]), np.array([[1.0, 0.5]])).tolist()
    [0.25]
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        logs = np.where(numbers > 0, numbers * np.log1p(-np.minimum(chance, 1.0)), 0.0)
    return np.asarray(np.exp(logs.sum(axis=1)))


def _at_most(count: float, numbers: Floats, chance: Floats) -> Floats:
    """Give P(number <= count): those who rarely count, and all others but those who fail to."""
    if count < 0:
        return np.zeros(len(numbers))
    if np.isinf(count):
        return np.ones(len(numbers))
    rare = chance <= 0.5
    counted = _moments(np.where(rare, numbers, 0.0), chance)
    failed = _moments(np.where(rare, 0.0, numbers), 1 - chance)
    others = np.where(rare, 0.0, numbers).sum(axis=1)
    mean, variance = failed
    reach = 7 * np.sqrt(variance.max()) + 3
    low, high = max(mean.min() - reach, 0.0), mean.max() + reach
    edges = np.unique(np.round(np.linspace(np.floor(low), np.ceil(high), _STEPS + 1)))
    below, total = np.zeros(len(numbers)), np.zeros(len(numbers))
    for start, stop in pairwise([-1.0, *edges]):
        reached = _binomial(stop, *failed)
        middle = (start + 1 + stop) / 2
        total += (reached - below) * _binomial(count - others + middle, *counted)
        below = reached
    return total


def _moments(numbers: Floats, chance: Floats) -> tuple[Floats, Floats]:
    """Give mean and variance of a sum of independent trials."""
    expected = numbers * chance
    return expected.sum(axis=1), (expected * (1 - chance)).sum(axis=1)


def _binomial(count: float | Floats, mean: Floats, variance: Floats) -> Floats:
    """Give P(number <= count) by a matched binomial or a Poisson, between whole numbers as well."""
    from scipy.special import betainc, gammaincc  # noqa: PLC0415

    count = np.broadcast_to(np.asarray(count, dtype=float), mean.shape)
    safe, inside = np.where(mean > 0, mean, 1.0), np.maximum(count, 0.0)
    p = np.clip(1 - variance / safe, 0.0, 1.0)
    trials = safe / np.where(p > 0, p, 1.0)
    rest = np.maximum(trials - inside, 1e-12)
    binomial = np.where(trials <= inside + 1e-9, 1.0, betainc(rest, inside + 1, 1 - p))
    chance = np.where(p < _POISSON, gammaincc(inside + 1, safe), binomial)
    chance = np.where(mean > 0, chance, 1.0)
    return np.asarray(np.where(count > -0.5, chance, 0.0))
