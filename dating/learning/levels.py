"""A correction of stated levels, learned from instruments that were dated with themselves left out.

If instruments of known date lie in their 50 % sets more or less often than half the time, and so
for all levels, then the levels themselves can be corrected: months keep their order, from the most
to the least probable, and the mass of the first so many is what that many held of the instruments
left out. The curve from stated to held level is a beta distribution function fitted by its log
score. Where it would make a more probable month the less probable, the months share what they have
together; so do months that were equally probable before.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dating.arrays import Floats

if TYPE_CHECKING:
    import xarray as xr


_GRID = 501
_ALIKE = 1e-9
_DOUBT = 0.5
"""Prior standard deviation of the logarithms of the two numbers of the beta distribution."""


@dataclass(frozen=True, eq=False)
class Correction:
    """How stated levels are corrected.

    Parameters
    ----------
    curve : ndarray of float64, shape (level,)
        What sets of stated levels 0 to 1, evenly spaced, really hold; rises from 0 to 1.
    instruments : int
        How many instruments it was learned from.
    """

    curve: Floats
    instruments: int

    def apply(self, posterior: Floats) -> Floats:
        """Correct posterior probabilities.

        Shapes: posterior (..., month); gives (..., month).

        Examples
        --------
        >>> same = Correction(np.linspace(0, 1, 501), 100)
        >>> same.apply(np.array([0.2, 0.5, 0.3])).round(9).tolist()
        [0.2, 0.5, 0.3]
        """
        order = np.argsort(-posterior, axis=-1, kind="stable")
        down = np.take_along_axis(posterior, order, axis=-1)
        reached = np.cumsum(down, axis=-1)
        reached = np.minimum(reached / reached[..., -1:], 1.0)
        levels = np.interp(reached, np.linspace(0, 1, len(self.curve)), self.curve)
        masses = np.diff(levels, axis=-1, prepend=0.0)
        alike = down[..., 1:] >= down[..., :-1] * (1 - _ALIKE)
        moved = np.diff(masses, axis=-1)
        uneven = (moved > 1e-15) | (alike & (moved < -1e-15))
        rows = uneven.any(axis=-1)
        if rows.any():
            masses[rows] = _shared(masses[rows], down[rows])
        corrected = np.empty_like(posterior)
        np.put_along_axis(corrected, order, masses, axis=-1)
        return corrected

    def at(self, level: float) -> float:
        """Say what sets of a stated level hold."""
        return float(np.interp(level, np.linspace(0, 1, len(self.curve)), self.curve))

    def dataset(self) -> xr.Dataset:
        """Give the curve with labels, as it is kept in a file."""
        import xarray as xr  # noqa: PLC0415

        level = np.linspace(0, 1, len(self.curve))
        curve = xr.DataArray(self.curve, dims="level", coords={"level": level})
        return xr.Dataset({"held": curve}, attrs={"instruments": self.instruments})


def correction_from(dataset: xr.Dataset) -> Correction:
    """Read a correction that was kept."""
    return Correction(dataset["held"].values, int(dataset.attrs["instruments"]))


def learned_correction(posterior: Floats, stated: Floats) -> Correction:
    """Learn a correction from instruments dated with themselves left out.

    Parameters
    ----------
    posterior : ndarray of float64, shape (instrument, month)
        Posterior probabilities.
    stated : ndarray of float64, shape (instrument, month)
        P(stated date | month), up to a factor for each instrument.

    Returns
    -------
    Correction
        The curve with the best log score, held a little toward no correction.

    References
    ----------
    Gneiting, T. and Ranjan, R. (2013). Combining predictive distributions. *Electronic Journal of
    Statistics* 7, 1747-1782. doi:10.1214/13-EJS823, for beta-transformed predictive distributions;
    here the transform is of the levels of highest-density sets.
    """
    from scipy.optimize import minimize  # noqa: PLC0415

    def loss(logs: Floats) -> float:
        corrected = Correction(_curve(*np.exp(logs)), 0).apply(posterior)
        score = np.log(np.maximum((corrected * stated).sum(axis=1), 1e-300)).sum()
        return float((logs**2).sum() / (2 * _DOUBT**2) - score)

    best = minimize(loss, np.zeros(2), method="Nelder-Mead", options={"xatol": 1e-3})
    return Correction(_curve(*np.exp(best.x)), len(posterior))


def _shared(masses: Floats, down: Floats) -> Floats:
    """Let months share that were equally probable, or whose order would turn round.

    Shapes: masses, down (row, month); gives (row, month).
    """
    from scipy.optimize import isotonic_regression  # noqa: PLC0415

    new = np.ones(masses.shape, dtype=bool)
    new[:, 1:] = down[:, 1:] < down[:, :-1] * (1 - _ALIKE)
    first = np.flatnonzero(new)
    sizes, sums = np.diff(first, append=masses.size), np.add.reduceat(masses.ravel(), first)
    # Each row lies below the one before by more than masses differ, so that rows share nothing.
    levels = sums / sizes - 2.0 * (first // masses.shape[1])
    starts = isotonic_regression(levels, weights=sizes, increasing=False).blocks[:-1]
    months = np.add.reduceat(sizes, starts)
    return np.repeat(np.add.reduceat(sums, starts) / months, months).reshape(masses.shape)


def _curve(first: float, second: float) -> Floats:
    """Give a beta distribution function on the grid."""
    from scipy.special import betainc  # noqa: PLC0415

    return np.asarray(betainc(first, second, np.linspace(0, 1, _GRID)))
