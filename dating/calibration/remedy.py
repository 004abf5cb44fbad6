"""What would help where stated probabilities may not be trusted."""

from __future__ import annotations

from dataclasses import dataclass

from dating.calibration.faults import faults_of
from dating.calibration.level_correction import LevelCorrection, correction_of
from dating.calibration.pulls import Pull, pulls_of
from dating.calibration.verdict import Calibration


@dataclass(frozen=True, eq=False)
class Remedy:
    """What would help.

    Parameters
    ----------
    corrected : LevelCorrection or None
        A correction of levels, and what it changes; None where how wide the sets are is not at
        fault.
    pulls : tuple of Pull or None
        The evidence that pulls dates to one side, the strongest first; None where they do not lean.
    """

    corrected: LevelCorrection | None
    pulls: tuple[Pull, ...] | None


def remedy_of(calibration: Calibration) -> Remedy | None:
    """Say what would help: a correction of levels, other dates in the maker file, or both.

    Levels say how wide sets are and not where they lie, so that correcting them cannot help dates
    that lie on one side.
    """
    faults = faults_of(calibration.uniformity)
    if not faults:
        return None
    leans = "one-sided" in faults
    corrected = correction_of(calibration) if faults != ("one-sided",) else None
    mean_rank = calibration.uniformity.sides.value
    pulls = (
        pulls_of(calibration.corpus, calibration.learned, calibration.dated, mean_rank)
        if leans
        else None
    )
    return Remedy(corrected, pulls)
