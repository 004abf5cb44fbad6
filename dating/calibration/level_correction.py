"""What was learned, with a correction of levels learned from every instrument left out."""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dating.calibration.scores import scores_of
from dating.calibration.verdict import Calibration
from dating.learning.files import read_learned
from dating.learning.levels import Correction, learned_correction

if TYPE_CHECKING:
    import xarray as xr
    from numpy.typing import NDArray

    type Floats = NDArray[np.float64]

_LEAST = 1e-300


@dataclass(frozen=True, eq=False)
class LevelCorrection:
    """A correction, and what it changes.

    Parameters
    ----------
    correction : Correction
        Learned from all instruments whose dates are trusted and narrow.
    before, after : float
        Median months in their 90 % sets, without it and with it.
    gain, error : float
        Mean log score gained by instruments that the correction was not learned from, in nats, and
        its standard error.
    """

    correction: Correction
    before: float
    after: float
    gain: float
    error: float

    @property
    def helps(self) -> bool:
        """Whether the log score is gained beyond what chance may give."""
        return self.gain > 2 * self.error


def correction_of(calibration: Calibration) -> LevelCorrection:
    """Learn a correction of levels from instruments left out of everything that was learned."""
    dated = calibration.dated
    window = np.array([reference.window for reference in dated.references])
    correction = learned_correction(dated.uncorrected, window)
    before, after = (
        float(np.median(scores_of(posterior, window).width))
        for posterior in (dated.uncorrected, correction.apply(dated.uncorrected))
    )
    gains = _gains(dated.uncorrected, window)
    error = float(gains.std(ddof=1)) / len(gains) ** 0.5
    return LevelCorrection(correction, before, after, float(gains.mean()), error)


def _gains(posterior: Floats, window: Floats) -> Floats:
    """Give the log score that each instrument gains by what the other half shows."""
    half = np.arange(len(posterior)) % 2
    gains = np.empty(len(posterior))
    for part in (0, 1):
        own, other = half == part, half != part
        corrected = learned_correction(posterior[other], window[other]).apply(posterior[own])
        after, before = ((p * window[own]).sum(axis=1) for p in (corrected, posterior[own]))
        gains[own] = np.log(np.maximum(after, _LEAST)) - np.log(np.maximum(before, _LEAST))
    return gains


def with_correction(path: str | os.PathLike[str], correction: Correction) -> xr.DataTree:
    """Read a learned result, and put a correction in the place of the one it may have.

    Raises InputError when the file does not agree with its seal.
    """
    import xarray as xr  # noqa: PLC0415

    tree = read_learned(path)
    groups = {
        name: group.to_dataset(inherit=False)
        for name, group in tree.children.items()
        if name != "levels"
    }
    result = xr.DataTree.from_dict(groups | {"levels": correction.dataset()})
    result.attrs.update(tree.attrs)
    return result
