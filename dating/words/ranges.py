"""A number as its 5, 50 and 95 % points, in words."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

type Row = dict[str, Any]

NORMAL = np.array([-1.6448536269514722, 0.0, 1.6448536269514722])
"""5, 50 and 95 % points of a standard normal."""


@dataclass(frozen=True)
class Range:
    """The 5, 50 and 95 % points of a number, in words.

    Parameters
    ----------
    low, middle, high : str
        As shown.
    """

    low: str
    middle: str
    high: str


def range_of(points: Iterable[float], form: str) -> Range:
    """Write three points.

    Examples
    --------
    >>> range_of((1.0, 2.5, 4.0), ".1f").middle
    '2.5'
    """
    return Range(*(format(point, form) for point in points))
