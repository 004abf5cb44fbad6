"""Cubics through tabulated values and slopes."""

from __future__ import annotations

from dating.arrays import Floats, Positions


def cubic_in(
    cell: Positions, u: Floats, width: Floats | float, value: Floats, slope: Floats
) -> Floats:
    """Run through a table as cubics that have its values and its slopes.

    Shapes: cell, u any, the cell of the table and how far along it, from 0 to 1; width of the cell;
    value, slope (point,); gives the shape of u.

    Examples
    --------
    >>> import numpy as np
    >>> x = np.array([0.0, 1.0, 2.0])
    >>> cubic_in(np.array([1]), np.array([0.5]), 1.0, x**3, 3 * x**2).tolist()
    [3.375]
    """
    rise = value[cell + 1] - value[cell]
    left, right = slope[cell] * width - rise, rise - slope[cell + 1] * width
    return value[cell] + u * rise + u * (1 - u) * (left * (1 - u) + right * u)
