"""A judgement as a density on its axis, and the ramp that it implies, as paths for SVG."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor

import numpy as np

from dating.arrays import Floats
from dating.bench.judgement_places import JudgementKind
from dating.bench.judgement_words import value_words
from dating.bench.time_axis import TimeAxis, area, line, stairs
from dating.distributions import Certain, Judgement, Pool
from dating.judgement import shifted
from dating.maker import Maker, Regime
from dating.ramps import mean_shares, shares_after

WIDTHS = (330, 780)
"""Widths of a picture on a narrow and on a wide screen: its letters are not scaled."""
HEIGHT = 128
RAMP_HEIGHT = 132
_FOOT = 22
_TOP = 8
_LARGEST = 130_000
_WIDEST = 2_400
_MONTHS = (1, 2, 3, 6, 12, 24, 60, 120, 240, 600)


@dataclass(frozen=True)
class Window:
    """The stretch of the axis that is shown, both ends in months.

    Parameters
    ----------
    start, stop : int
        Month numbers, or months.
    kind : {"date", "delay", "span"}
        Which.
    """

    start: int
    stop: int
    kind: JudgementKind

    def axis(self, width: float) -> TimeAxis:
        """Lay it out over a width."""
        return TimeAxis(self.start, self.stop, 0, width)

    def ticks(self, width: float) -> tuple[tuple[float, str], ...]:
        """Give the labelled places of the axis: years, or round numbers of months."""
        axis = self.axis(width)
        if self.kind == "date":
            return axis.ticks
        most = max(int(width / axis.room), 2)
        step = next((s for s in _MONTHS if self.stop - self.start <= s * most), 1200)
        shown = range(ceil(self.start / step) * step, self.stop, step)
        return tuple((axis.x(value), str(value)) for value in shown)


@dataclass(frozen=True)
class JudgementPicture:
    """One picture at one width.

    Parameters
    ----------
    width, height : int
        In units.
    base : float
        Height of the axis.
    ticks : tuple of (float, str)
        Labelled places.
    area, line : str
        Data of SVG paths; empty where there is nothing to draw.
    marks : tuple of (float, str)
        Upright lines, and what each is.
    """

    width: int
    height: int
    base: float
    ticks: tuple[tuple[float, str], ...]
    area: str
    line: str
    marks: tuple[tuple[float, str], ...] = ()


def window_of(
    kind: JudgementKind, values: tuple[float, float, float], ends: tuple[str, str] = ("", "")
) -> Window:
    """Choose the stretch of the axis for three values."""
    low, high = min(values), max(values)
    if all(text.lstrip("-").isdecimal() and len(text) <= 7 for text in ends):
        start, stop = int(ends[0]), int(ends[1])
        fits = start <= low and high <= stop and 2 <= stop - start <= _WIDEST
        if fits and max(abs(start), abs(stop)) < _LARGEST:
            return Window(start, stop, kind)
    low, high = max(low, -_LARGEST), min(high, _LARGEST)
    room = max(high - low, 12.0 if kind == "date" else 3.0)
    if kind == "date":
        return Window(floor((low - room) / 12) * 12, ceil((high + room) / 12) * 12, kind)
    start = floor(low - room) if kind == "delay" else 0
    return Window(start, max(ceil(high + room), start + 2), kind)


def density_picture(
    window: Window, width: int, mine: Judgement, together: Judgement, points: Floats
) -> JudgementPicture:
    """Draw the density of one assessor's judgement, and of all assessors as a line.

    Shapes: points (3,).
    """
    axis, edges = window.axis(width), np.linspace(window.start, window.stop, 241)
    own = np.maximum(np.diff(mine.cdf(edges)), 0.0)
    pool = np.maximum(np.diff(together.cdf(edges)), 0.0)
    shown = [own if not isinstance(mine, Certain) else np.zeros(1)]
    if isinstance(together, Pool):
        shown.append(pool)
    most = max(float(each.max()) for each in shown) or 1.0
    base = float(HEIGHT - _FOOT)
    tall = base - _TOP
    area = "" if isinstance(mine, Certain) else _curve(own / most, width, base, tall) + "Z"
    line = (
        _curve(np.minimum(pool / most, 1.0), width, base, tall)
        if isinstance(together, Pool)
        else ""
    )
    marks = tuple(
        (axis.x(point), value_words(point, window.kind))
        for point in sorted({float(point) for point in points})
    )
    return JudgementPicture(width, HEIGHT, base, window.ticks(width), area, line, marks)


@dataclass(frozen=True, eq=False)
class RampPicture:
    """The chance of the new states month by month.

    Parameters
    ----------
    first : int
        Month number of the first month.
    shares, before : ndarray of float64, shape (month,)
        With the judgement as it is on the page, and as it is in the file.
    """

    first: int
    shares: Floats
    before: Floats

    def passes(self, level: float) -> int | None:
        """Give the first month in which the chance reaches a level."""
        reached = np.flatnonzero(self.shares >= level)
        return self.first + int(reached[0]) if len(reached) else None


def ramp_of(maker: Maker, before: Regime, after: Regime) -> RampPicture:
    """Average a changeover over its judgements, as the month tables do."""
    reaches = [_reach(maker, regime) for regime in (before, after)]
    first = floor((min(low for low, _ in reaches) - 6) / 12) * 12
    stop = ceil((max(high for _, high in reaches) + 6) / 12) * 12
    months = min(stop - first, _WIDEST)
    old, new = (_shares(maker, regime, first, months) for regime in (before, after))
    return RampPicture(first, new, old)


def happened(before: Judgement, after: Judgement) -> RampPicture:
    """Give the chance that an event has happened, month by month."""
    ends = [float(x) for each in (before, after) for x in each.quantile([0.01, 0.99])]
    first, stop = floor((min(ends) - 6) / 12) * 12, ceil((max(ends) + 6) / 12) * 12
    months = min(stop - first, _WIDEST)
    old, new = (
        mean_shares(shifted(each, -first), Certain(0.0), months) for each in (before, after)
    )
    return RampPicture(first, new, old)


def ramp_picture(ramp: RampPicture, width: int) -> JudgementPicture:
    """Draw a ramp as stairs of one step a month; as it is in the file, as a line."""
    window = Window(ramp.first, ramp.first + len(ramp.shares), "date")
    base = float(RAMP_HEIGHT - _FOOT)
    tall = base - _TOP
    edges, heights = window.axis(width).edges, base - tall * np.array([ramp.shares, ramp.before])
    line = "" if np.array_equal(*heights) else f"M{stairs(edges, heights[1])}"
    below = area(edges, heights[0], np.full(len(ramp.shares), base))
    return JudgementPicture(width, RAMP_HEIGHT, base, window.ticks(width), below, line)


def _curve(heights: Floats, width: int, base: float, tall: float) -> str:
    x = (np.arange(len(heights)) + 0.5) * width / len(heights)
    seen = np.flatnonzero(heights > 1e-4)
    if not len(seen):
        return ""
    start, stop = max(int(seen[0]) - 1, 0), min(int(seen[-1]) + 2, len(heights))
    through = line(x[start:stop], base - tall * heights[start:stop])
    return f"M{x[start]:.2f} {base:g}L{through}L{x[stop - 1]:.2f} {base:g}"


def _start(maker: Maker, regime: Regime) -> tuple[Judgement, Judgement]:
    """Give the first use, or the event and the lag, as two numbers that add up."""
    if regime.first_use is not None:
        return regime.first_use.distribution(), Certain(0.0)
    return maker.events[regime.event or ""].when.distribution(), regime.judged_lag()


def _reach(maker: Maker, regime: Regime) -> tuple[float, float]:
    start, lag = _start(maker, regime)
    low = float(start.quantile(0.01)) + float(lag.quantile(0.01))
    last = regime.judged_overlap().quantile(0.95)
    return low, float(start.quantile(0.99)) + float(lag.quantile(0.99)) + min(float(last), 600.0)


def _shares(maker: Maker, regime: Regime, first: int, months: int) -> Floats:
    start, lag = _start(maker, regime)
    start, overlap = shifted(start, -first), regime.judged_overlap()
    if isinstance(lag, Certain):
        return mean_shares(shifted(start, lag.value), overlap, months, regime.shape)
    if isinstance(start, Certain):
        return mean_shares(shifted(lag, start.value), overlap, months, regime.shape)
    values, weights = start.nodes(fine=4)
    return np.asarray(weights @ shares_after(values, lag, overlap, months, regime.shape))
