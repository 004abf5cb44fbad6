"""How many instruments were made when, from the dates of some of them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np

from dating.arrays import Floats
from dating.learning.latent.smoothing import scattering
from dating.learning.latent.time_cells import Cells, MonthRange, cells_between
from dating.months import Period

_REACHES = (0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0)
"""Months that a kernel may reach."""
_WITHIN_A_YEAR = (1, 2, 3, 4, 6, 12)
"""Months of even parts of a year."""
_ANY_MONTH = 1e-3
"""Weight of an even spread, lest a date that stands alone rule a reach out."""


def output_from(stretches: Sequence[MonthRange], period: Period) -> tuple[Cells, Floats]:
    """Spread each instrument evenly over its date, and smooth as far as the others foretell it.

    Shape: counts (cell,).

    Examples
    --------
    >>> cells, counts = output_from([(0, 12)] * 30 + [(12, 24)] * 90, Period.parse("1931/1932"))
    >>> cells.edges, counts.round().tolist()
    ((0, 12, 24), [31.0, 89.0])
    """
    cells = cells_between(stretches, period)
    known = Counter(stretches)
    inside = np.array([np.diff(np.clip(cells.edges, *stretch)) for stretch in known])
    times = np.array(list(known.values()), dtype=float)
    scores = [_left_out_score(inside, times, cells, reach) for reach in _REACHES]
    reach = _REACHES[int(np.argmax(scores))]
    counts = scattering(cells, reach) @ (times @ (inside / inside.sum(axis=1, keepdims=True)))
    width = max(part for part in _WITHIN_A_YEAR if part <= max(reach / 2, 1))
    bins = (period.first + np.array(cells.edges[:-1])) // width
    firsts = np.flatnonzero(np.diff(bins, prepend=-1))
    edges = (*(cells.edges[place] for place in firsts), cells.months)
    return Cells(edges), np.add.reduceat(counts, firsts)


def _left_out_score(inside: Floats, times: Floats, cells: Cells, reach: float) -> float:
    """Give the log score of each date by the smoothed dates of the others.

    ``inside``, shape (date, cell), counts the months of each cell that a date allows; ``times``,
    shape (date,), says how often it is stated.
    """
    smooth, spread = scattering(cells, reach), inside / inside.sum(axis=1, keepdims=True)
    others = smooth @ (times @ spread) - spread @ smooth.T
    even = _ANY_MONTH * cells.widths / cells.months
    chances = (1 - _ANY_MONTH) * others / max(times.sum() - 1, 1) + even
    return float(times @ np.log(np.vecdot(chances, inside / cells.widths)))
