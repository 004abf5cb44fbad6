"""How much was made when, where that is left to be learned: a random walk on the log scale.

The logarithm of the output of a month is a random walk, plus a deviation of that month's own, so
that both slow growth and work in batches come through; how large its steps and the deviations are
is learned as well. Written as a sum of cosines both have independent amplitudes, which keeps the
sampler's geometry plain: the second differences of cosines are multiples of themselves, so the
cosine of k half turns has ``1 / (2 sin(pi k / 2n))`` times the step of the walk as its standard
deviation (Strang 1999).

References
----------
Strang, G. (1999). The discrete cosine transform. *SIAM Review* 41(1), 135-147.
doi:10.1137/S0036144598336745
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

import numpy as np

from dating.arrays import Floats
from dating.maker import Maker

STEP, DEVIATION = 0.1, 0.3
"""Prior medians of the standard deviation of a step of the walk, and of a month's own deviation."""
SCALE_DOUBT = 1.0
"""Prior standard deviation of the logarithms of both."""
MOST_CELLS = 240
"""Stretches with an output of their own: months of a period of up to twenty years."""


@dataclass(frozen=True, eq=False)
class Walk:
    """The output of a period as a sum of cosines.

    Parameters
    ----------
    cosines : ndarray of float64, shape (month, cosine)
        Orthonormal over the cells of time, and the same in all months of a cell.
    reach : ndarray of float64, shape (cosine,)
        Standard deviation of each for a walk whose steps have standard deviation one.
    """

    cosines: Floats
    reach: Floats

    def shares(self, scales: Floats, amplitudes: Floats) -> Floats:
        """Give the share of each month in what was made.

        Shapes: scales (draw, 2); amplitudes (draw, cosine); gives (draw, month).
        """
        size = np.hypot(scales[:, :1] * self.reach, scales[:, 1:])
        logs = (size * amplitudes) @ self.cosines.T
        weights = np.exp(logs - logs.max(axis=1, keepdims=True))
        return np.asarray(weights / weights.sum(axis=1, keepdims=True))


def walk_of(maker: Maker) -> Walk | None:
    """Lay out the output of a maker file."""
    months = len(maker.period)
    return cosine_walk(months) if maker.learns_output and months > 1 else None


def cosine_walk(months: int) -> Walk:
    """Lay out a random walk over months.

    Examples
    --------
    >>> walk = cosine_walk(48)
    >>> walk.cosines.shape, bool(np.allclose(walk.cosines.T @ walk.cosines, np.eye(47)))
    ((48, 47), True)
    """
    width = ceil(months / MOST_CELLS)
    count = ceil(months / width)
    cell, k = np.arange(months) // width, np.arange(1, count)
    cosines = np.sqrt(2 / count) * np.cos(np.pi * k * (cell[:, None] + 0.5) / count)
    return Walk(cosines, 1 / (2 * np.sin(np.pi * k / (2 * count))))
