"""Coordinates in which everything uncertain varies about alike, for the sampler to move in.

They are the unknowns of the density from its mode, in standard deviations of the curvature there.
The first use and the width of a ramp hang together, since what dated instruments show is the
middle of a ramp; so a first use is taken at the width of the mode.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.optimize import minimize

from dating.arrays import Floats, Positions
from dating.learning import compiled_density as kernels
from dating.learning.density import Density

_STEP = 1e-4
_MOST_SLOPE = 0.5
_LEAST_SLOPE = 0.01
_LEAST_CURVATURE = 1.0


class Coordinates(NamedTuple):
    """How unknowns follow from coordinates; see :func:`~.compiled_density.unknowns_at`.

    Parameters
    ----------
    centre, scale : ndarray of float64, shape (unknown,)
        The mode, and a standard deviation along each unknown.
    sheared : ndarray of int64, shape (sheared,)
        The unknowns that are first uses and move against a width.
    over : ndarray of int64, shape (sheared,)
        The numbers that are their overlaps.
    slope, width : ndarray of float64, shape (sheared,)
        How far they move for a month of width, and the width at the mode.
    """

    centre: Floats
    scale: Floats
    sheared: Positions
    over: Positions
    slope: Floats
    width: Floats

    def unknowns(self, density: Density, u: Floats) -> Floats:
        """Give the unknowns at coordinates.

        Shapes: u (unknown,); gives (unknown,).
        """
        x = np.empty_like(u)
        kernels.unknowns_at(u, density.terms, *self, x, np.empty(len(self.sheared)))
        return x

    def coordinates(self, density: Density, x: Floats) -> Floats:
        """Give the coordinates of unknowns.

        Shapes: x (unknown,); gives (unknown,).
        """
        unsheared = x + (x - self.unknowns(density, (x - self.centre) / self.scale))
        return np.asarray((unsheared - self.centre) / self.scale)


def coordinates_of(density: Density) -> Coordinates:
    """Find the mode, and lay coordinates around it."""
    start = np.zeros(density.size)
    mode = minimize(lambda x: _negative(density, x), start, jac=True, method="L-BFGS-B").x
    curvature = _curvature(density, mode)
    scale = 1 / np.sqrt(np.maximum(np.diag(curvature), _LEAST_CURVATURE))
    sheared, over, slope, width = _shears(density, mode, curvature)
    return Coordinates(mode, scale, sheared.astype(int), over.astype(int), slope, width)


def _negative(density: Density, x: Floats) -> tuple[float, Floats]:
    value, gradient = density(x)
    return -value, -gradient


def _curvature(density: Density, mode: Floats) -> Floats:
    """Give minus the matrix of second derivatives, by differences of the gradient."""
    steps = _STEP * np.eye(len(mode))
    rows = [density(mode - step)[1] - density(mode + step)[1] for step in steps]
    curvature = np.array(rows) / (2 * _STEP)
    return np.asarray((curvature + curvature.T) / 2)


def _shears(density: Density, mode: Floats, curvature: Floats) -> Floats:
    """Give the first uses that hang together with their widths, shape (field, sheared)."""
    own, ramps = density.terms.numbers, density.terms.ramps
    value, rise = np.empty(len(own.kind)), np.empty(len(own.kind))
    kernels.numbers(mode, own, value, rise)
    chosen, independent = [], ramps.lag < 0
    for start, over in zip(ramps.start[independent], ramps.overlap[independent], strict=True):
        first, width = own.unknown[start], np.hypot(value[over], ramps.narrowest)
        by_width = value[over] / width * rise[over]
        if first < 0 or own.kind[over] in {kernels.CERTAIN, kernels.POOL} or by_width < 1e-9:
            continue
        along = curvature[first, own.unknown[over]] / max(curvature[first, first], 1e-9) / by_width
        along = np.clip(along * rise[start], 0.0, _MOST_SLOPE)
        if along > _LEAST_SLOPE and rise[start] > 1e-9:
            chosen.append((first, over, along / rise[start], width))
    return np.array(chosen).reshape(-1, 4).T
