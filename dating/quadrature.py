"""Quadrature rules with many nodes merged into rules with fewer.

Several assessors' rules side by side have as many times the nodes. Where that is too many, nodes
that stand close together give way to two that have the same weight, mean, variance and skewness,
so that a bin of nodes still integrates every cubic exactly.
"""

from __future__ import annotations

import numpy as np

from dating.arrays import Floats

_NARROW = 1e-12
"""Nodes this close together, as a share of their size, are one."""


def merged(values: Floats, weights: Floats, most: int) -> tuple[Floats, Floats]:
    """Merge the nodes of a quadrature rule until there are at most so many.

    Bins are as narrow where few nodes stand as where many do: one half of what widens a bin is its
    share of the nodes, the other its share of the way from the lowest node to the highest. So a
    single assessor who stands apart keeps nodes of their own.

    Shapes: values, weights (node,); gives values, weights (node,).

    Examples
    --------
    >>> values, weights = merged(np.linspace(0, 1, 1000), np.full(1000, 1 / 1000), most=10)
    >>> len(values), float((weights @ values**3).round(12))
    (10, 0.25025025025)
    """
    if len(values) <= most:
        return values, weights
    values, weights = values[weights > 0], weights[weights > 0]
    order = np.argsort(values, kind="stable")
    values, weights = values[order], weights[order]
    rank = np.arange(len(values)) / len(values)
    way = (values - values[0]) / (values[-1] - values[0]) if values[-1] > values[0] else 0 * rank
    bins = np.minimum((rank + way) / 2 * (most // 2), most // 2 - 1).astype(np.int64)
    bins = np.unique(bins, return_inverse=True)[1]
    total = np.bincount(bins, weights)
    mean = np.bincount(bins, weights * values) / total
    off = values - mean[bins]
    reach = np.maximum.reduceat(np.abs(off), np.searchsorted(bins, np.arange(len(total))))
    narrow = reach <= _NARROW * np.maximum(np.abs(mean), 1.0)
    off /= np.where(narrow, 1.0, reach)[bins]
    spread = np.where(narrow, 1.0, np.sqrt(np.bincount(bins, weights * off**2) / total))
    skew = np.bincount(bins, weights * (off / spread[bins]) ** 3) / total
    root = np.sqrt(skew**2 + 4)
    longer = (np.abs(skew) + root) / 2
    ahead, behind = np.where(skew > 0, longer, 1 / longer), np.where(skew > 0, -1 / longer, -longer)
    unit = np.where(narrow, 0.0, spread * reach)
    nodes = np.stack([mean + behind * unit, mean + ahead * unit], axis=1)
    parts = np.stack([total * ahead / root, -total * behind / root], axis=1)
    return nodes.ravel(), parts.ravel()
