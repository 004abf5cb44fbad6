"""Where tables of patterns and sums over draws are kept while rows are dated."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dating.arrays import Floats, Integers


@dataclass(frozen=True)
class ByMonthOfYear:
    """An order of months in tables: all Januaries side by side, then all Februaries, and so on.

    Calendar years are filled up with zeros, and their number to a multiple of four.

    Parameters
    ----------
    skipped : int
        Months of the first calendar year that stand before the period.
    months : int
        Months of the period.
    """

    skipped: int
    months: int

    def arranged(self, array: Floats) -> Floats:
        """Put months into this order.

        Shapes: array (..., month); gives (..., cell).

        Examples
        --------
        >>> order = ByMonthOfYear(skipped=11, months=3)
        >>> order.arranged(np.array([1.0, 2.0, 3.0])).reshape(12, 4)[[0, 1, 11]].tolist()
        [[0.0, 2.0, 0.0, 0.0], [0.0, 3.0, 0.0, 0.0], [1.0, 0.0, 0.0, 0.0]]
        """
        years = -(-(self.skipped + self.months) // 48) * 4
        filled = np.zeros((*array.shape[:-1], 12 * years))
        filled[..., self.skipped : self.skipped + self.months] = array
        by_year = filled.reshape(*array.shape[:-1], years, 12)
        return np.ascontiguousarray(np.swapaxes(by_year, -1, -2)).reshape(filled.shape)


class PatternPool:
    """Room for the patterns of all components, used again when it is full.

    Parameters
    ----------
    room : int
        How many patterns there is room for.
    variants, months : int
        Lengths of the axes.
    order : ByMonthOfYear or None
        Order of the months in all tables; that of the calendar where there is none.
    """

    def __init__(
        self, room: int, variants: int, months: int, order: ByMonthOfYear | None = None
    ) -> None:
        self.order = order
        cells = self.arranged(np.empty((variants, months))).shape[-1]
        self.likelihood: Floats = np.empty((room, variants, cells))
        self.swapped: Floats = np.empty(room)
        self.has_draws = np.zeros(room, dtype=bool)
        self.clear()

    def clear(self) -> None:
        """Empty it, but for the first pattern, which says nothing."""
        self.likelihood[0], self.swapped[0], self.used = 1.0, 0.0, 1

    def arranged(self, array: Floats) -> Floats:
        """Put the months of an array into the order of the tables.

        Shapes: array (..., month); gives (..., cell).
        """
        return array if self.order is None else self.order.arranged(array)

    @property
    def left(self) -> int:
        """How many more patterns there is room for."""
        return len(self.likelihood) - self.used

    def take(self, count: int) -> slice:
        """Take room."""
        start, self.used = self.used, self.used + count
        return slice(start, self.used)


@dataclass(frozen=True, eq=False)
class RowGroups:
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
