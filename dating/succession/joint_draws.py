"""Draws of a maker's numbers that several instruments have in common, moved to where they are apt.

What one instrument shows bears on the changeovers by which another is dated. So every uncertain
date and length of the maker file is drawn, and each draw weighs what it gives to the evidence on
all instruments together. Draws from the judgements alone would leave the weight with a few of them
as soon as there are a dozen instruments. They are therefore drawn in rounds: each round draws from
a normal distribution, in the normal scores of the judgements, that has the mean and the spread of
what the rounds before it found apt; and all rounds are weighed together, as draws from the mixture
of all their distributions.

References
----------
Cornuet, J.-M., Marin, J.-M., Mira, A. and Robert, C. P. (2012). Adaptive multiple importance
sampling. *Scandinavian Journal of Statistics* 39(4), 798-812.
doi:10.1111/j.1467-9469.2011.00756.x

Owen, A. B. and Zhou, Y. (2000). Safe and effective importance sampling. *Journal of the American
Statistical Association* 95(449), 135-143, for weights by the mixture. doi:10.2307/2669533
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import erfc, sqrt
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from dating.arrays import Floats
from dating.distributions import Judgement
from dating.draws import MOST_NUMBERS, scrambled_sobol
from dating.maker import Maker
from dating.tabulation import REPLICATES, uncertain_numbers

APT = 400
"""Effective draws at which rounds end."""
LEAST = 200
"""Effective draws below which the instruments' word on the changeovers is taken in part only."""
_LEARNING = 100
_PRUDENCE = 300
_WIDER = 1.1
_score_of = np.vectorize(NormalDist().inv_cdf, otypes=[float])
"""Phi's inverse, and Phi; the core needs no scipy, which takes longer to import than these."""
_share_below = np.vectorize(lambda score: erfc(-score / sqrt(2)) / 2, otypes=[float])


@dataclass(frozen=True, eq=False)
class JointDraws:
    """Draws of the numbers that instruments share, with their weights before any evidence.

    Parameters
    ----------
    numbers : dict of str to ndarray of float64, shape (draw,)
        By name, in months.
    log_ratio : ndarray of float64, shape (draw,)
        Natural logarithm of how much more often the judgements would give a draw.
    """

    numbers: dict[str, Floats]
    log_ratio: Floats

    def chosen(self, places: NDArray[np.intp]) -> dict[str, Floats]:
        """Keep some of the draws; shapes: places (draw,), gives the same of each number."""
        return {name: values[places] for name, values in self.numbers.items()}


@dataclass(frozen=True, eq=False)
class _Proposal:
    """A normal distribution of the scores: its mean, and a square root of its covariance."""

    mean: Floats
    root: Floats

    def log_density(self, scores: Floats) -> Floats:
        """Give its logarithm up to a constant; shapes: scores (draw, number), gives (draw,)."""
        standard = np.linalg.solve(self.root, (scores - self.mean).T)
        return np.asarray(-0.5 * (standard**2).sum(axis=0) - np.log(np.diag(self.root)).sum())


def joint_draws(
    maker: Maker,
    likelihood: Callable[[dict[str, Floats]], Floats],
    size: int,
    most: int,
    *,
    seed: int,
    progress: Callable[[int, int], None] | None = None,
) -> JointDraws:
    """Draw in rounds until enough draws are apt.

    Parameters
    ----------
    maker : Maker
        The maker file.
    likelihood : callable
        Gives ln P(evidence on all instruments | draw), shape (draw,), of draws by name.
    size, most : int
        Draws of a round, a multiple of eight whose eighth is a power of two, and draws at most.
    seed : int
        The same seed gives the same draws.
    progress : callable, optional
        Told after each round how many draws there are, and how many there will be at most.

    Returns
    -------
    JointDraws
        Of all rounds. With no uncertain number there is one draw; where no draw of the first round
        allows the evidence, no further ones are made.
    """
    judged = uncertain_numbers(maker)
    if not judged:
        likelihood({})
        return JointDraws({}, np.zeros(1))
    width = len(judged)
    proposals = [_Proposal(np.zeros(width), np.eye(width))]
    scores, logs = np.zeros((0, width)), np.zeros(0)
    while True:
        last = proposals[-1]
        fresh = last.mean + normal_scores(width, size, seed + len(proposals) - 1) @ last.root.T
        scores = np.concatenate([scores, fresh])
        logs = np.concatenate([logs, likelihood(_numbers(judged, fresh))])
        ratio = _Proposal(np.zeros(width), np.eye(width)).log_density(scores)
        each = np.array([proposal.log_density(scores) for proposal in proposals])
        ratio = ratio - np.logaddexp.reduce(each, axis=0) + np.log(len(proposals))
        if progress is not None:
            progress(len(scores), most)
        possible = bool(np.isfinite(logs).any())
        enough = possible and effective(weights_of(ratio + logs)) >= APT
        if enough or not possible or len(scores) + size > most:
            return JointDraws(_numbers(judged, scores), ratio)
        wanted = _LEARNING * np.sqrt(len(proposals))
        weights, _ = tempered(ratio, logs, wanted)
        proposals.append(_fitted(scores, weights))


def normal_scores(width: int, size: int, seed: int) -> Floats:
    """Draw standard normal scores evenly, shape (size, width)."""
    cube = scrambled_sobol(min(width, MOST_NUMBERS), size // REPLICATES, REPLICATES, seed)
    if width > MOST_NUMBERS:
        generator = np.random.default_rng((seed, width))
        strata = np.arange(size)[:, None] + generator.random((size, width - MOST_NUMBERS))
        cube = np.concatenate([cube, generator.permuted(strata / size, axis=0)], axis=1)
    return np.asarray(_score_of(cube))


def weights_of(logs: Floats) -> Floats:
    """Give weights that sum to one from their natural logarithms, shape (draw,)."""
    weights = np.exp(logs - logs.max())
    return np.asarray(weights / weights.sum())


def effective(weights: Floats) -> float:
    """Give how many draws of equal weight would tell as much.

    Parameters
    ----------
    weights : ndarray of float64, shape (draw,)
        They sum to one.

    Returns
    -------
    float
        From one to the number of draws.

    References
    ----------
    Kong, A. (1992). A note on importance sampling using standardized weights. Technical report
    348, Department of Statistics, University of Chicago.

    Examples
    --------
    >>> effective(np.array([0.25, 0.25, 0.25, 0.25]))
    4.0
    """
    return float(1 / (weights**2).sum())


def tempered(log_ratio: Floats, logs: Floats, least: float) -> tuple[Floats, float]:
    """Give weights in which evidence counts as far as enough draws stay apt, and that share of it.

    Shapes: log_ratio, logs (draw,); gives (draw,).

    Examples
    --------
    >>> weights, share = tempered(np.zeros(4), np.array([0.0, -1.0, -2.0, -3.0]), least=1.0)
    >>> share, weights.round(3).tolist()
    (1.0, [0.644, 0.237, 0.087, 0.032])
    """
    whole = weights_of(log_ratio + logs)
    if effective(whole) >= least:
        return whole, 1.0
    logs = np.maximum(logs, logs.max() - 1e6)
    low, high = 0.0, 1.0
    for _ in range(30):
        middle = (low + high) / 2
        enough = effective(weights_of(log_ratio + middle * logs)) >= least
        low, high = (middle, high) if enough else (low, middle)
    return weights_of(log_ratio + low * logs), low


def _numbers(judged: dict[str, Judgement], scores: Floats) -> dict[str, Floats]:
    """Turn scores into dates and lengths."""
    shares = np.clip(np.asarray(_share_below(scores)), 1e-12, 1 - 1e-12)
    columns = zip(judged.items(), shares.T, strict=True)
    return {name: number.quantile(share) for (name, number), share in columns}


def _fitted(scores: Floats, weights: Floats) -> _Proposal:
    """Fit a normal distribution, its correlations as far as so many draws can tell them."""
    mean = weights @ scores
    apart = scores - mean
    whole = (weights[:, None] * apart).T @ apart
    trust = 1 / (1 + _PRUDENCE / effective(weights))
    own = np.diag(np.diag(whole))
    return _Proposal(mean, np.linalg.cholesky(_WIDER * (trust * whole + (1 - trust) * own)))
