"""Judgement beside data: what was believed of each changeover, and what the corpus made of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dating.arrays import Floats
from dating.draws import MOST_NUMBERS, scrambled_sobol
from dating.learning.layout import Layout
from dating.learning.learned import Learned

_PRIOR_DRAWS = 4096


@dataclass(frozen=True, eq=False)
class Shift:
    """One changeover before and after learning.

    Parameters
    ----------
    name : str
        The changeover, such as ``heel-joint, regime 2``.
    judged, learned : tuple of three floats
        5 %, 50 % and 95 % points of the first use, in months since the start of the period.
    judged_overlap, learned_overlap : tuple of three floats
        The same points of the overlap, in months.
    shared_area : float
        Area that the two densities of the first use share: 1 where the corpus changed nothing, 0
        where it contradicts the judgement outright.
    """

    name: str
    judged: tuple[float, float, float]
    learned: tuple[float, float, float]
    judged_overlap: tuple[float, float, float]
    learned_overlap: tuple[float, float, float]
    shared_area: float


def shifts_of(layout: Layout, learned: Learned) -> tuple[Shift, ...]:
    """Set every changeover's judgement beside what was learned."""
    believed = judged_values(layout)
    before, after = layout.starts(believed), layout.starts(learned.values)
    narrow, wide = layout.overlaps(believed), layout.overlaps(learned.values)
    return tuple(
        Shift(
            name=name,
            judged=points_of(before[:, ramp]),
            learned=points_of(after[:, ramp]),
            judged_overlap=points_of(narrow[:, ramp]),
            learned_overlap=points_of(wide[:, ramp]),
            shared_area=shared_area_of(before[:, ramp], after[:, ramp]),
        )
        for ramp, name in enumerate(layout.ramp_names)
    )


def judged_values(layout: Layout, seed: int = 1) -> Floats:
    """Draw every number from its judgement.

    Shape: (draw, number).
    """
    judged = list(layout.numbers.values())
    columns = []
    for start in range(0, len(judged), MOST_NUMBERS):
        block = judged[start : start + MOST_NUMBERS]
        cube = scrambled_sobol(len(block), _PRIOR_DRAWS, 1, seed + start)
        if start:
            cube = np.random.default_rng(seed + start).permutation(cube)
        columns += [number.quantile(u) for number, u in zip(block, cube.T, strict=True)]
    return np.stack(columns, axis=1) if columns else np.zeros((_PRIOR_DRAWS, 0))


def shared_area_of(a: Floats, b: Floats) -> float:
    """Give the area that two sampled densities share, from histograms over their common range.

    Parameters
    ----------
    a, b : ndarray of float64, shape (draw,)
        Draws.

    Returns
    -------
    float
        From 0 to 1.

    References
    ----------
    Inman, H. F. and Bradley, E. L. (1989). The overlapping coefficient as a measure of agreement
    between probability distributions. *Communications in Statistics - Theory and Methods* 18(10),
    3851-3874. doi:10.1080/03610928908830127

    Examples
    --------
    >>> shared_area_of(np.arange(100.0), np.arange(100.0) + 500)
    0.0
    """
    both = np.concatenate([a, b])
    if np.ptp(both) == 0:
        return 1.0
    low, high = np.quantile(both, [0.001, 0.999])
    edges = np.linspace(low, max(high, low + 1e-9), 41)
    shares = [np.histogram(np.clip(x, low, high), edges)[0] / len(x) for x in (a, b)]
    return float(np.minimum(*shares).sum())


def points_of(values: Floats) -> tuple[float, float, float]:
    """Give the 5, 50 and 95 % points of draws, each of them a draw.

    Shapes: values (draw,).
    """
    points = np.quantile(values, [0.05, 0.5, 0.95], method="inverted_cdf")
    low, middle, high = points.tolist()
    return low, middle, high
