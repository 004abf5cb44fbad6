"""Which of two was built first: every pair's probability of older, the same month, younger."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from math import sqrt

import numpy as np

from dating.arrays import Floats
from dating.succession.joint_months import JointMonths, Samples

_CELLS = 2_000_000


@dataclass(frozen=True, eq=False)
class Pairs:
    """Every pair's probabilities.

    Parameters
    ----------
    older : ndarray of float64, shape (instrument, instrument)
        P(the first was built in an earlier month than the second | all).
    same : ndarray of float64, shape (instrument, instrument)
        P(both were built in the same month | all).
    error : ndarray of float64, shape (instrument, instrument)
        Standard error of ``older`` that the draws leave.
    """

    older: Floats
    same: Floats
    error: Floats

    @property
    def first(self) -> Floats:
        """P(the first was completed before the second), either alike within a month."""
        return self.older + self.same / 2


def pairs_of(joint: JointMonths, samples: Samples) -> Pairs:
    """Give every pair's probability of older and of the same month, in the same draws.

    Within a draw the months of two are independent unless something is known between them; such
    pairs are summed exactly, or counted in samples where that would take too long.

    Parameters
    ----------
    joint : JointMonths
        The months of the instruments.
    samples : Samples
        Draws of these.

    Returns
    -------
    Pairs
        Arrays of shape (instrument, instrument).

    References
    ----------
    Owen, A. B. (2013). *Monte Carlo theory, methods and examples*, section 9.2, for the standard
    error of weighted draws.
    """
    number = len(joint.names)
    sums = np.zeros((5, number, number))
    weights = joint.weights
    size = max(1, _CELLS // (number * max(number, joint.months.shape[2])))
    for start in range(0, len(weights), size):
        here = slice(start, start + size)
        months = np.moveaxis(joint.months[:, here], 1, 0)
        later = 1 - months.cumsum(axis=2)
        older = months @ later.transpose(0, 2, 1)
        same = months @ months.transpose(0, 2, 1)
        _add(sums, weights[here], older, same)
    pairs = _pairs(sums, weights)
    for group in [joint.names] if joint.is_counted else joint.groups:
        for names in combinations(group, 2):
            _settle(pairs, joint, samples, group, names)
    np.fill_diagonal(pairs.older, 0.0)
    np.fill_diagonal(pairs.same, 1.0)
    np.fill_diagonal(pairs.error, 0.0)
    return pairs


def _add(sums: Floats, weights: Floats, older: Floats, same: Floats) -> None:
    """Add up what the mean and its error are made of; shapes (5, i, i), (d,), (d, i, i)."""
    squares = weights**2
    sums[0] += np.tensordot(weights, older, 1)
    sums[1] += np.tensordot(weights, same, 1)
    sums[2] += np.tensordot(squares, older**2, 1)
    sums[3] += np.tensordot(squares, older, 1)
    sums[4] += squares.sum()


def _pairs(sums: Floats, weights: Floats) -> Pairs:
    older = np.clip(sums[0] / weights.sum(), 0.0, 1.0)
    variance = sums[2] - 2 * older * sums[3] + older**2 * sums[4]
    return Pairs(older, np.clip(sums[1], 0.0, 1.0), np.sqrt(np.maximum(variance, 0.0)))


def _settle(
    pairs: Pairs,
    joint: JointMonths,
    samples: Samples,
    group: Sequence[str],
    names: tuple[str, str],
) -> None:
    """Write in a pair between which something is known."""
    first, second = (joint.names.index(name) for name in names)
    summed = joint.tied_pair(group, names)
    if summed is None:
        ahead = samples.months[:, second] - samples.months[:, first]
        older, same = float((ahead > 0).mean()), float((ahead == 0).mean())
        error = sqrt(older * (1 - older) / len(ahead))
    else:
        by_draw, same_by_draw = summed
        older, same = float(joint.weights @ by_draw), float(joint.weights @ same_by_draw)
        error = float(np.linalg.norm(joint.weights * (by_draw - older)))
    younger = max(1 - older - same, 0.0)
    pairs.older[first, second], pairs.older[second, first] = older, younger
    pairs.same[first, second] = pairs.same[second, first] = same
    pairs.error[first, second] = pairs.error[second, first] = error
