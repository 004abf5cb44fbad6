"""What is wrong, named: the fault that explains most first."""

from __future__ import annotations

from typing import Literal

import numpy as np

from dating.calibration.gains import normal_scores
from dating.calibration.uniformity import MATTERS, OUTERMOST, Uniformity

type Fault = Literal["too sure", "heavy-tailed", "one-sided", "too cautious"]

_CERTAIN = 2.5
"""Standard errors from which coverage is taken to be off beyond what a lean explains."""


def faults_of(uniformity: Uniformity) -> tuple[Fault, ...]:
    """Name what is wrong: first the fault that explains the most, then what it leaves unexplained.

    Nothing is called too cautious first where too many dates lie very far out. Strays explain that
    sets hold too few dates, and the spread; a lean explains that sets hold too few up to
    :func:`leaning_coverage`, while the spread about the mean and the kurtosis are moved by no lean.
    """
    departures = (uniformity.sides, uniformity.spread, uniformity.tails, uniformity.coverage)
    if not any(departure.alarm for departure in departures):
        return ()
    best = max(departures, key=lambda departure: departure.gain)
    tails = uniformity.tails
    strays = tails.alarm and uniformity.outermost > 1 + OUTERMOST * uniformity.instruments
    first: Fault
    if best is uniformity.sides:
        first = "one-sided"
    elif best is tails or (strays and not best.above):
        first = "heavy-tailed"
    else:
        first = "too sure" if best.above else "too cautious"
    width = _width_beyond_lean(uniformity) if first == "one-sided" else None
    others: dict[Fault, bool] = {
        "too sure": width == "too sure",
        "heavy-tailed": strays,
        "one-sided": uniformity.sides.alarm,
        "too cautious": width == "too cautious",
    }
    return (first, *(name for name, holds in others.items() if holds and name != first))


def leaning_coverage(mean_rank: float) -> float:
    """Give the mean normal score of levels where dates lean and nothing else is off.

    Normal scores of ranks are then normal with mean m and standard deviation 1, for which the mean
    rank is Phi(m / sqrt 2), and the level of a date at z is the absolute value of 2 Phi(z + m) - 1.

    Examples
    --------
    >>> [round(leaning_coverage(rank), 2) for rank in (0.5, 0.6, 0.7)]
    [0.0, 0.07, 0.3]
    """
    from scipy.special import ndtr  # noqa: PLC0415

    lean = np.sqrt(2) * normal_scores(np.array(mean_rank))
    even = normal_scores((np.arange(2000) + 0.5) / 2000)
    return float(normal_scores(np.abs(2 * ndtr(even + lean) - 1)).mean())


def _width_beyond_lean(uniformity: Uniformity) -> Fault | None:
    """Say whether sets are too narrow or too wide, a lean apart."""
    spread, coverage = uniformity.spread, uniformity.coverage
    left = coverage.value - leaning_coverage(uniformity.sides.value)
    least = max(_CERTAIN / uniformity.instruments**0.5, MATTERS["coverage"])
    if spread.alarm or abs(left) >= least:
        above = spread.above if spread.alarm else left > 0
        return "too sure" if above else "too cautious"
    return None
