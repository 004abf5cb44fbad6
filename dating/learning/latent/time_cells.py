"""Cells of time: months that the stated dates do not tell apart, gathered.

An edge stands wherever a stated date begins or ends, and at each New Year. So dates of years give
calendar years, dates of months months, and both together what each can tell. Where that is more
than can be afforded, neighbours are joined that blur the fewest dates.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from dating.arrays import Floats
from dating.months import Period

type MonthRange = tuple[int, int]
"""First month and the month after the last, counted from the start of the period."""

MOST_CELLS = 360


@dataclass(frozen=True)
class Cells:
    """Months gathered in cells.

    Parameters
    ----------
    edges : tuple of int
        The first month of each cell, counted from 0, and the month after the last; rises.
    """

    edges: tuple[int, ...]

    @classmethod
    def even(cls, months: int, width: int) -> Cells:
        """Cut a period into cells of equal length; the last may be shorter.

        Examples
        --------
        >>> Cells.even(5, 2).edges
        (0, 2, 4, 5)
        """
        return cls((*range(0, months, width), months))

    @property
    def months(self) -> int:
        """Length of the period."""
        return self.edges[-1]

    @property
    def widths(self) -> NDArray[np.int64]:
        """Months in each cell, shape (cell,)."""
        return np.diff(self.edges)

    @property
    def middles(self) -> Floats:
        """The middle of each cell in months since the start of the period, shape (cell,)."""
        return np.asarray(np.add(self.edges[1:], self.edges[:-1]) / 2)

    @property
    def of_month(self) -> NDArray[np.int64]:
        """The cell of each month, shape (month,)."""
        return np.repeat(np.arange(len(self)), self.widths)

    def __len__(self) -> int:
        """Count the cells."""
        return len(self.edges) - 1

    def gathered(self, by_month: Floats) -> Floats:
        """Sum over the months of each cell.

        Shapes: by_month (..., month); gives (..., cell).

        Examples
        --------
        >>> Cells.even(240, 2).gathered(np.ones(240))[:3].tolist()
        [2.0, 2.0, 2.0]
        """
        return np.asarray(np.add.reduceat(by_month, self.edges[:-1], axis=-1))

    def spread(self) -> Floats:
        """Give the weight of each cell in each month: all of it in its own months.

        Shape: (cell, month).

        Examples
        --------
        >>> Cells((0, 2, 5)).spread().tolist()
        [[1.0, 1.0, 0.0, 0.0, 0.0], [0.0, 0.0, 1.0, 1.0, 1.0]]
        """
        return np.equal.outer(np.arange(len(self)), self.of_month).astype(np.float64)

    def finer(self, stretches: Sequence[MonthRange]) -> Cells:
        """Cut cells into months, but not those that are stated dates themselves.

        Examples
        --------
        >>> Cells((0, 2, 5)).finer([(2, 5)]).edges
        (0, 1, 2, 5)
        """
        whole = set(stretches)
        cut = [
            month
            for cell in pairwise(self.edges)
            for month in ([cell[0]] if cell in whole else range(*cell))
        ]
        return Cells((*cut, self.months))

    def interpolation(self, finer: Cells) -> Floats:
        """Give the weights of these cells in finer ones, on lines between their middles.

        A cell that is not cut keeps its weight: there, dates tell no more.

        Shape: (cell, finer cell).

        Examples
        --------
        >>> Cells((0, 2, 4)).interpolation(Cells((0, 1, 2, 4))).tolist()
        [[1.0, 0.75, 0.0], [0.0, 0.25, 1.0]]
        """
        own = np.searchsorted(self.edges, finer.middles, side="right") - 1
        whole = self.widths[own] == finer.widths
        lines = np.array([np.interp(finer.middles, self.middles, row) for row in np.eye(len(self))])
        flat = np.equal.outer(np.arange(len(self)), own)
        return np.asarray(np.where(whole, flat, lines))


def cells_between(stretches: Sequence[MonthRange], period: Period, most: int = MOST_CELLS) -> Cells:
    """Choose cells that tell apart what the stated dates do.

    Examples
    --------
    >>> cells_between([(0, 3), (3, 15)], Period.parse("1931-10/1933-02")).edges
    (0, 3, 15, 17)
    """
    months = len(period)
    years = range(-period.first % 12, months, 12)
    edges = {0, months, *years} | {edge for stretch in stretches for edge in stretch}
    ends = sorted(edges)
    if len(ends) - 1 > most:
        ends = _joined(ends, stretches, most)
    return Cells(tuple(ends))


def _joined(edges: list[int], stretches: Sequence[MonthRange], most: int) -> list[int]:
    """Join the neighbours with the fewest dates that begin or end in them, times their width."""
    dates = np.zeros(edges[-1])
    for start, stop in stretches:
        dates[start] += 0.5
        dates[stop - 1] += 0.5
    ends = np.array(edges)
    while len(ends) - 1 > most:
        inside = np.add.reduceat(dates, ends[:-1])
        blur = (inside[1:] + inside[:-1] + 1e-6) * (ends[2:] - ends[:-2])
        ends = np.delete(ends, 1 + int(np.argmin(blur)))
    return [int(edge) for edge in ends]
