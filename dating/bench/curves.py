"""The shares of a feature's states over time, as plain shapes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from dating.arrays import Floats
from dating.bench.month_shapes import axis_of
from dating.bench.time_axis import TimeAxis, line
from dating.months import Period
from dating.summaries import MonthSet

_TOP, _BASE, _LEFT = 10.0, 130.0, 44.0


@dataclass(frozen=True)
class Line:
    """P(state | month) of one state.

    Parameters
    ----------
    state : str
        Its name.
    path : str
        The mean over the draws.
    band : str
        From the 5 % to the 95 % point of the draws, as a closed path; empty without draws.
    seen : bool
        Whether it was seen.
    dash : int
        Which dashes it has, from 0.
    """

    state: str
    path: str
    band: str
    seen: bool
    dash: int


@dataclass(frozen=True)
class Curves:
    """The states of one feature over time.

    Parameters
    ----------
    title : str
        For which variant; empty where it does not matter.
    lines : tuple of Line
        One a state.
    shaded : tuple of (float, float)
        Left end and width of each stretch of the reported set.
    axis : TimeAxis
        The months shown.
    top, base : float
        Where one and nothing are.
    years : tuple of (str, tuple of str)
        The mean by year: the year, and the share of each state.
    """

    title: str
    lines: tuple[Line, ...]
    shaded: tuple[tuple[float, float], ...]
    axis: TimeAxis
    top: float
    base: float
    years: tuple[tuple[str, tuple[str, ...]], ...]


def draw_curves(
    table: Floats,
    weights: Floats,
    states: Sequence[str],
    seen: Iterable[str],
    period: Period,
    *,
    title: str = "",
    shaded: MonthSet | None = None,
) -> Curves:
    """Lay out the shares of the states over time.

    Shapes: table (state, draw, month); weights (draw,).
    """
    axis = axis_of(period, _LEFT)
    has_draws = table.shape[1] > 1
    mean = np.tensordot(weights, table, (0, 1)) if has_draws else table[:, 0]
    ends = weighted_quantiles(table, weights, (0.05, 0.95)) if has_draws else None
    marked = set(seen)
    lines = tuple(
        Line(
            state=state,
            path=f"M{line(axis.middles, _heights(mean[i]))}",
            band="" if ends is None else _band(ends[0, i], ends[1, i], axis.middles),
            seen=state in marked,
            dash=i % 5,
        )
        for i, state in enumerate(states)
    )
    stretches = shaded.stretches if shaded else ()
    return Curves(
        title=title,
        lines=lines,
        shaded=tuple(
            (axis.x(s.first), round(axis.x(s.last + 1) - axis.x(s.first), 2)) for s in stretches
        ),
        axis=axis,
        top=_TOP,
        base=_BASE,
        years=_by_year(mean, period),
    )


def weighted_quantiles(table: Floats, weights: Floats, levels: tuple[float, ...]) -> Floats:
    """Give quantiles over the draws.

    Shapes: table (state, draw, month); weights (draw,); gives (level, state, month).

    Examples
    --------
    >>> values = np.array([3.0, 1.0, 2.0]).reshape(1, 3, 1)
    >>> weighted_quantiles(values, np.full(3, 1 / 3), (0.5,)).ravel().tolist()
    [2.0]
    """
    order = np.argsort(table, axis=1)
    values = np.take_along_axis(table, order, axis=1)
    reached = np.cumsum(weights[order], axis=1)
    places = [(reached < level - 1e-9).sum(axis=1, keepdims=True) for level in levels]
    last = table.shape[1] - 1
    return np.array([np.take_along_axis(values, np.minimum(f, last), 1)[:, 0] for f in places])


def _by_year(mean: Floats, period: Period) -> tuple[tuple[str, tuple[str, ...]], ...]:
    years = np.arange(period.first, period.last + 1) // 12
    rows = []
    for year in period.years():
        here = mean[:, years == year].mean(axis=1)
        rows.append((str(year), tuple(f"{100 * share:.0f} %" for share in here)))
    return tuple(rows)


def _heights(shares: Floats) -> Floats:
    return _BASE - (_BASE - _TOP) * shares


def _band(low: Floats, high: Floats, x: Floats) -> str:
    return f"M{line(x, _heights(high))}L{line(x[::-1], _heights(low)[::-1])}Z"
