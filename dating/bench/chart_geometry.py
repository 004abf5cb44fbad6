"""Geometry of the wall chart: bands, brackets, curves and labels as numbers and paths for SVG.

One unit is one pixel on the screen. The plot begins at 0 on the left; y runs downwards. Every
row has a lane for brackets, a band, and a gap.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np

from dating.arrays import Floats
from dating.bench.time_axis import TimeAxis, area, line, runs_of
from dating.months import Period

NAMES = 196
NARROW = 126
"""Width of the column of names, and of that on a narrow screen."""
LANE = 10
BAND = 19
ROW = 34
HEAD = 20
FILLS = 6
WIDTH = 1030
SHEET = 1770
"""Width of the plot on a screen, and on one A3 sheet."""
_LETTER = 6.1
_SMALL_LETTER = 6.2
_LEAST_HEIGHT = 12.0


@dataclass(frozen=True)
class Label:
    """A word at a place.

    Parameters
    ----------
    x, y : float
        Where it stands, in units.
    text : str
        The word.
    """

    x: float
    y: float
    text: str


@dataclass(frozen=True)
class Key:
    """One state in the key of a row: its place in the column of names, and its filling.

    Parameters
    ----------
    x : float
        Left edge, in units.
    fill : int
        Number of the filling; -1 for none.
    text : str
        The state, or a count.
    """

    x: float
    fill: int
    text: str


@dataclass(frozen=True)
class Band:
    """One state of a row.

    Parameters
    ----------
    fill : int
        Number of the filling.
    path : str
        Data of an SVG path.
    title : str
        What it says, in words.
    labels : tuple of Label
        Its name, wherever there is room.
    """

    fill: int
    path: str
    title: str
    labels: tuple[Label, ...]


def chart_axis(period: Period, width: int = WIDTH) -> TimeAxis:
    """Lay out a period over the width of the plot."""
    return TimeAxis(period.first, period.last + 1, 0, width, room=36)


def bands(
    axis: TimeAxis, y: float, states: Sequence[str], by_month: Floats, titles: Sequence[str]
) -> tuple[Band, ...]:
    """Stack the states of one row, the first at the foot.

    Shapes: by_month (state, month).
    """
    tops = np.cumsum(by_month, axis=0)
    bottoms = tops - by_month
    return tuple(
        Band(
            fill=place % FILLS,
            path=area(axis.edges, y + BAND * (1 - tops[place]), y + BAND * (1 - bottoms[place])),
            title=titles[place],
            labels=tuple(_labels(axis, y, name, bottoms[place], tops[place])),
        )
        for place, name in enumerate(states)
        if by_month[place].max() >= 0.0005
    )


def bent_line(axis: TimeAxis, heights: Floats) -> str:
    """Draw a line through the middles of the months, by the corners alone.

    Shapes: heights (month,).
    """
    bent = np.abs(np.diff(heights, 2)) > 1e-6
    corners = [0, *(np.flatnonzero(bent) + 1), len(heights) - 1]
    return f"M{line(axis.middles[corners], heights[corners])}"


def key_of(states: Sequence[str], room: float = NAMES) -> tuple[Key, ...]:
    """Place the key of a row below its name; what has no room is counted."""
    keys, x = [], 0.0
    for place, name in enumerate(states):
        needed = 13 + _SMALL_LETTER * len(name)
        more = len(states) - place
        if x + needed > room - (0 if more == 1 else 22):
            keys.append(Key(x, -1, f"+{more}"))
            break
        keys.append(Key(round(x, 1), place % FILLS, name))
        x += needed + 5
    return tuple(keys)


def cut(text: str, room: float) -> str:
    """Cut a name to the room there is."""
    most = max(int(room / 8.2), 2)
    return text if len(text) <= most else text[: most - 1] + "…"


def lanes(spans: Sequence[tuple[float, float]]) -> list[int]:
    """Put stretches into as few lanes as keep them apart, from the top."""
    ends: list[float] = []
    chosen = [0] * len(spans)
    for place in sorted(range(len(spans)), key=lambda i: spans[i]):
        start, stop = spans[place]
        level = next((lane for lane, end in enumerate(ends) if end <= start), len(ends))
        ends[level:] = [stop, *ends[level + 1 :]]
        chosen[place] = level
    return chosen


def text_width(text: str) -> float:
    """Estimate how wide a word in the plot is."""
    return _LETTER * len(text)


def _labels(axis: TimeAxis, y: float, name: str, bottom: Floats, top: Floats) -> Iterator[Label]:
    """Name a state wherever its band is high and long enough to hold the name."""
    month = axis.right / len(top)
    half = ceil((text_width(name) + 6) / month / 2)
    for run in runs_of((top - bottom) * BAND >= _LEAST_HEIGHT):
        if run.stop - run.start < 2 * half:
            continue
        middle = (run.start + run.stop) // 2
        under = slice(max(middle - half, 0), middle + half)
        low, up = float(bottom[under].max()), float(top[under].min())
        if (up - low) * BAND >= _LEAST_HEIGHT:
            height = y + BAND * (1 - (low + up) / 2) + 4
            yield Label(round(middle * month, 1), round(height, 1), name)
