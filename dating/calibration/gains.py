"""What each single fault explains of ranks and levels, so that the one that explains most is named.

A lean makes sets hold too few dates, and a few dates very far out make the others look far out too:
which of several alarms is the cause is told by what its fault explains.
"""

from __future__ import annotations

import numpy as np

from dating.arrays import Floats

FAR = 3.0
"""How many times as far out as stated the strays of a heavy-tailed maker are taken to lie."""
_MOST_STRAYS = 0.9
_STEPS = 40
_EDGE = 1e-9


def gains_of(ranks: Floats, levels: Floats) -> Floats:
    """Give what each single fault explains: the log likelihood that supposing it gains.

    Each has one number of its own, set to explain the most. With normal scores z of n ranks and y
    of n levels, standard normal where posteriors are calibrated,

    - sides: a lean. The mean rank departs by d from 0.5 with variance 1 / (12 n), so 6 n d^2;
    - spread: z has a standard deviation s about its mean; n ((s^2 - 1) / 2 - log s);
    - tails: a share e of z is three times as far out, max over e of the sum of
      log(1 - e + e phi(z / 3) / (3 phi(z)));
    - coverage: y has a mean m; n m^2 / 2.

    Shapes: ranks, levels (instrument,); gives (question,).

    Examples
    --------
    >>> even = (np.arange(200) + 0.5) / 200
    >>> gains_of(even, even).round(1).tolist()
    [0.0, 0.0, 0.0, 0.0]
    >>> gains_of(even**0.5, even).round(1).tolist()
    [33.3, 6.5, 0.0, 0.0]
    """
    count, scores = len(ranks), normal_scores(ranks)
    squared = max(float(scores.var(ddof=1)), 1e-12)
    return np.array(
        [
            6 * count * float(ranks.mean() - 0.5) ** 2,
            count * (squared - 1 - np.log(squared)) / 2,
            _strays(scores),
            count * float(normal_scores(levels).mean()) ** 2 / 2,
        ]
    )


def normal_scores(uniform: Floats) -> Floats:
    """Give the normal scores of numbers between 0 and 1, within six of the middle; of any shape."""
    from scipy.special import ndtri  # noqa: PLC0415

    return np.asarray(ndtri(np.clip(uniform, _EDGE, 1 - _EDGE)))


def _strays(scores: Floats) -> float:
    """Give what strays explain; the likelihood is concave in their share."""
    more = np.exp(scores**2 * (1 - FAR**-2) / 2) / FAR - 1

    def slope(share: float) -> float:
        return float((more / (1 + share * more)).sum())

    low, high = 0.0, _MOST_STRAYS
    if slope(low) <= 0:
        return 0.0
    for _ in range(_STEPS):
        middle = (low + high) / 2
        low, high = (middle, high) if slope(middle) > 0 else (low, middle)
    return float(np.log1p(low * more).sum())
