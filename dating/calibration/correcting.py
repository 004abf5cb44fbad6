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


@dataclass(frozen=True, eq=False)
class Corrected:
    """A correction, and what it changes.

    Parameters
    ----------
    correction : Correction
        Learned from all instruments whose dates are trusted and narrow.
    before, after : float
        Median months in their 90 % sets, without it and with it.
    """

    correction: Correction
    before: float
    after: float


def correction_of(made: Calibration) -> Corrected:
    """Learn a correction of levels from instruments left out of everything that was learned.

    Parameters
    ----------
    made : Calibration
        The comparison; a correction that its posteriors carry already is left aside.

    Returns
    -------
    Corrected
        The correction, and how much wider or narrower it makes the sets.
    """
    dated = made.dated
    window = np.array([reference.window for reference in dated.references])
    correction = learned_correction(dated.uncorrected, window)
    before, after = (
        float(np.median(scores_of(posterior, window).width))
        for posterior in (dated.uncorrected, correction.apply(dated.uncorrected))
    )
    return Corrected(correction, before, after)


def with_correction(path: str | os.PathLike[str], correction: Correction) -> xr.DataTree:
    """Read a learned result, and put a correction in the place of the one it may have.

    Parameters
    ----------
    path : str or path
        A netCDF file written by ``dating learn``.
    correction : Correction
        The correction.

    Returns
    -------
    DataTree
        To be written with :func:`dating.learning.files.write_learned`.

    Raises
    ------
    InputError
        When the file does not agree with its seal.
    """
    import xarray as xr  # noqa: PLC0415

    tree = read_learned(path)
    groups = {
        name: group.to_dataset(inherit=False)
        for name, group in tree.children.items()
        if name != "levels"
    }
    made = xr.DataTree.from_dict(groups | {"levels": correction.dataset()})
    made.attrs.update(tree.attrs)
    return made
