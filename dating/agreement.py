"""How far dates from two states of a maker file differ."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dating.arrays import Floats
from dating.batch import posteriors
from dating.examination import Examination
from dating.maker import Maker

if TYPE_CHECKING:
    from dating.learning.learned import Learned


@dataclass(frozen=True, eq=False)
class Agreement:
    """Total variation between dates of the same instruments.

    Parameters
    ----------
    distances : ndarray of float64, shape (instrument,)
        Total variation between two posteriors over the months, from 0 to 1.
    """

    distances: Floats

    @property
    def median(self) -> float:
        """The middle one."""
        return float(np.median(self.distances))

    @property
    def largest(self) -> float:
        """The largest."""
        return float(self.distances.max())


def agreement_of(
    maker: Maker, learned: Learned, stated: Maker, examinations: Sequence[Examination]
) -> Agreement:
    """Date instruments from draws and from a maker file that states them, and compare.

    Parameters
    ----------
    maker : Maker
        The maker file that was learned with.
    learned : Learned
        The draws.
    stated : Maker
        The maker file that states what was learned.
    examinations : sequence of Examination
        What was seen on each instrument, its date left out.

    Returns
    -------
    Agreement
        Over the instruments that both can date.

    References
    ----------
    Levin, D. A., Peres, Y. and Wilmer, E. L. (2009). *Markov Chains and Mixing Times*, section
    4.1: the total variation distance is half the sum of absolute differences. ISBN
    978-0-8218-4739-8
    """
    both = [
        posteriors(maker, examinations, learned).values,
        posteriors(stated, examinations).values,
    ]
    distances = 0.5 * np.abs(both[0] - both[1]).sum(axis=-1)
    return Agreement(distances[np.isfinite(distances)])
