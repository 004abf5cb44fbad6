"""The axis of time of the pictures on the pages, and the paths that are drawn along it, as SVG."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dating.arrays import Floats

_STEPS = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)


@dataclass(frozen=True)
class TimeAxis:
    """Months laid out from left to right.

    Parameters
    ----------
    start, stop : int
        Month numbers: the first month, and the one behind the last.
    left, right : float
        Where the first month begins and the last one ends.
    room : float
        Width that the label of a year takes at least.

    Examples
    --------
    >>> axis = TimeAxis(1930 * 12, 1932 * 12, 0, 240)
    >>> axis.x(1931 * 12), axis.x(1940 * 12), axis.ticks
    (120.0, 240.0, ((0.0, '1930'), (120.0, '1931')))
    """

    start: int
    stop: int
    left: float
    right: float
    room: float = 44.0

    def x(self, number: float) -> float:
        """Give the place of a point in time, kept inside the axis."""
        share = (number - self.start) / (self.stop - self.start)
        inside = min(max(share, 0.0), 1.0)
        return round(self.left + inside * (self.right - self.left), 2)

    @property
    def edges(self) -> Floats:
        """Give where each month begins, and where the last one ends."""
        return np.round(np.linspace(self.left, self.right, self.stop - self.start + 1), 2)

    @property
    def middles(self) -> Floats:
        """Give the middle of each month."""
        return (self.edges[:-1] + self.edges[1:]) / 2

    @property
    def ticks(self) -> tuple[tuple[float, str], ...]:
        """Give the years that are labelled, as many as have room."""
        years = range(-(-self.start // 12), -(-self.stop // 12))
        most = max((self.right - self.left) / self.room, 1)
        step = next(step for step in _STEPS if len(years) <= step * most)
        return tuple((self.x(12 * year), str(year)) for year in years if year % step == 0)


def stairs(edges: Floats, heights: Floats) -> str:
    """Draw one step a month, from left to right or back; a path, but for its first letter.

    Shapes: edges (month + 1,); heights (month,).

    Examples
    --------
    >>> stairs(np.array([0.0, 10, 20, 30]), np.array([5.0, 5, 2]))
    '0 5H20V2H30'
    """
    tops = np.round(heights, 2)
    turns = (np.flatnonzero(np.diff(tops)) + 1).tolist()
    steps = "".join(f"H{edges[place]:g}V{tops[place]:g}" for place in turns)
    return f"{edges[0]:g} {tops[0]:g}{steps}H{edges[-1]:g}"


def area(edges: Floats, upper: Floats, lower: Floats) -> str:
    """Draw what lies between two stairs; months without height are left out.

    Shapes: edges (month + 1,); upper, lower (month,).

    Examples
    --------
    >>> area(np.array([0.0, 10, 20]), np.array([5.0, 0]), np.zeros(2))
    'M0 5H10L10 0H0Z'
    """
    parts = []
    for run in runs_of(np.abs(upper - lower) > 0.005):
        there = stairs(edges[run.start : run.stop + 1], upper[run])
        back = stairs(edges[run.start : run.stop + 1][::-1], lower[run][::-1])
        parts.append(f"M{there}L{back}Z")
    return "".join(parts)


def runs_of(holds: NDArray[np.bool_]) -> Iterator[slice]:
    """Give the stretches of months in which something holds.

    Shapes: holds (month,).

    Examples
    --------
    >>> [(run.start, run.stop) for run in runs_of(np.array([True, True, False, True]))]
    [(0, 2), (3, 4)]
    """
    places = np.flatnonzero(holds)
    for run in np.split(places, np.flatnonzero(np.diff(places) > 1) + 1):
        if len(run):
            yield slice(int(run[0]), int(run[-1]) + 1)


def line(x: Floats, y: Floats) -> str:
    """Draw a line through points; a path, but for its first letter.

    Shapes: x, y (point,).

    Examples
    --------
    >>> line(np.array([0.0, 1.5]), np.array([2.0, 3.25]))
    '0 2L1.5 3.25'
    """
    return "L".join(f"{a:g} {b:g}" for a, b in zip(np.round(x, 2), np.round(y, 2), strict=True))
