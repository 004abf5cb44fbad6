"""A number as its 5, 50 and 95 % points, in words."""

from __future__ import annotations

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
