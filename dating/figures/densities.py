"""A density with its 5, 50 and 95 % points, as judged (hatched) and as learned (filled)."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from arviz_stats.base.array import array_stats

from dating.arrays import Floats
from dating.figures.style import CORE, DOUBT, INK

if TYPE_CHECKING:
    from matplotlib.axes import Axes


JUDGED = (0, (5, 2))
"""Dashes of what was judged."""
LEGEND: dict[str, Any] = {"frameon": False, "fontsize": 8, "labelcolor": INK, "handlelength": 2.4}

_kde: Any = array_stats.kde
_FILLED: dict[str, Any] = {"fc": CORE, "alpha": 0.85, "lw": 0}
_HATCHED: dict[str, Any] = {"fc": "none", "ec": DOUBT, "hatch": "////", "lw": 0}


def draw_density(axes: Axes, values: Floats, level: float, *, judged: bool) -> None:
    """Draw a density to the height of one, and its points below.

    Shapes: values (draw,).
    """
    colour, line, style = (DOUBT, JUDGED, _HATCHED) if judged else (CORE, "-", _FILLED)
    low, middle, high = np.quantile(values, [0.05, 0.5, 0.95])
    axes.plot([low, high], [level] * 2, color=colour, ls=line, lw=2.2)
    axes.plot(middle, level, "o", color=colour, ms=5, mec="white", mew=0.8)
    if np.ptp(values) > 0:
        grid, density, _ = _kde(values, bound_correction=False, extend=True, grid_len=200)
        axes.fill_between(grid, density / density.max(), **style)
        axes.plot(grid, density / density.max(), color=colour, ls=line, lw=1.4)
    else:
        axes.plot([middle] * 2, [0, 1], color=colour, ls=line, lw=2.2)
