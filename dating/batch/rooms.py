"""Where tables of patterns and sums over draws are kept while rows are dated."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

type Floats = NDArray[np.float64]
type Integers = NDArray[np.integer[Any]]


class Pool:
    """Room for the patterns of all components, used again when it is full.

    Parameters
    ----------
    room : int
        How many patterns there is room for.
    variants, months : int
        Lengths of the axes.
    """

    def __init__(self, room: int, variants: int, months: int) -> None:
        self.likelihood: Floats = np.empty((room, variants, months))
        self.swapped: Floats = np.empty(room)
        self.has_draws = np.zeros(room, dtype=bool)
        self.clear()

    def clear(self) -> None:
        """Empty it, but for the first pattern, which says nothing."""
        self.likelihood[0], self.swapped[0], self.used = 1.0, 0.0, 1

    @property
    def left(self) -> int:
        """How many more patterns there is room for."""
        return len(self.likelihood) - self.used

    def take(self, count: int) -> slice:
        """Take room.

        Parameters
        ----------
        count : int
            For how many patterns.

        Returns
        -------
        slice
            Their places.
        """
        start, self.used = self.used, self.used + count
        return slice(start, self.used)


@dataclass(frozen=True, eq=False)
class Groups:
    """The groups of some rows.

    Parameters
    ----------
    of_row : ndarray of int32, shape (row,)
        The group of each row.
    joint : ndarray of float64, shape (group, replicate, variant, month)
        G.
    original : ndarray of float64, shape (group, pattern set + 1, variant, month), or None
        The share of G, summed over replicates, that holds if the component is original, for each
        component in turn; then if all are. None where nothing differs between draws.
    """

    of_row: Integers
    joint: Floats
    original: Floats | None
