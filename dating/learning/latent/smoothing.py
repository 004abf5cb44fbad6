"""How far an instrument bears on other months than its own.

Distances are counted in months and averaged over the months of both cells, so that what is
smoothed hardly depends on how finely time is cut.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import pairwise

import numpy as np

from dating.arrays import Floats
from dating.learning.latent.time_cells import Cells

_SHORTEST = 0.3
"""Months of the shortest reach; a month away, next to nothing is left of it."""


@lru_cache(maxsize=64)
def kernel(axis: Cells, reach: float) -> Floats:
    """Give the weights of a heavy-tailed kernel between all cells.

    Shape: (cell, cell).

    Examples
    --------
    >>> kernel(Cells.even(3, 1), 1.0).round(2).tolist()
    [[1.0, 0.25, 0.04], [0.25, 1.0, 0.25], [0.04, 0.25, 1.0]]
    >>> kernel(Cells((0, 1, 3)), 1.0).round(3).tolist()
    [[1.0, 0.145], [0.145, 0.625]]
    """
    months = np.arange(axis.months)
    by_distance = (1 + (months / max(reach, _SHORTEST)) ** 2) ** -2.0
    rows = [
        by_distance[np.abs(np.subtract.outer(np.arange(start, stop), months))].mean(axis=0)
        for start, stop in pairwise(axis.edges)
    ]
    weights = axis.gathered(np.array(rows)) / axis.widths
    weights.setflags(write=False)
    return weights


def scattering(axis: Cells, reach: float) -> Floats:
    """Give the share of each cell's instruments that smoothing puts into every cell.

    Shape: (cell, cell).

    Examples
    --------
    >>> scattering(Cells((0, 1, 3)), 1.0).round(2).tolist()
    [[0.78, 0.1], [0.22, 0.9]]
    """
    spread = kernel(axis, reach) * axis.widths[:, None]
    return np.asarray(spread / spread.sum(axis=0))
