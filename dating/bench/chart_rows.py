"""The rows of the wall chart: features, dated marks, measurements, and the events across them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import floor

import numpy as np

from dating.arrays import Floats
from dating.bench.chart_geometry import (
    BAND,
    HEAD,
    LANE,
    NAMES,
    NARROW,
    ROW,
    Band,
    Key,
    Label,
    bands,
    bent_line,
    cut,
    key_of,
    lanes,
    text_width,
)
from dating.bench.forms import place_text
from dating.bench.judgement_words import value_words
from dating.bench.shares import ChangeoverDate, Points, Shares
from dating.bench.time_axis import TimeAxis, area, runs_of
from dating.learning.comparison import points_of
from dating.learning.learned import Learned
from dating.maker import Component, Maker, Measurement
from dating.words.phrases import percent

EVENT = 22
"""Height of a lane of events."""


@dataclass(frozen=True)
class Bracket:
    """A changeover over its row: when it came, and when it was over.

    Parameters
    ----------
    y : float
        Height of the upper line.
    start, end : tuple of three floats
        5, 50 and 95 % points of the first use and of the end, in units.
    title : str
        The same in words.
    href : str
        Place of the judgement that it leads to; empty where there is none.
    """

    y: float
    start: tuple[float, float, float]
    end: tuple[float, float, float]
    title: str
    href: str


@dataclass(frozen=True)
class ChartRow:
    """One row of the chart.

    Parameters
    ----------
    y : float
        Top.
    name, full : str
        Name of what is drawn, cut to the column and whole, with its variant.
    variant : str
        The variant it holds for; empty for all.
    keys : tuple of Key
        The states.
    bands : tuple of Band
        The states over time.
    brackets : tuple of Bracket
        The changeovers.
    line : str
        Data of an SVG path, for a measurement.
    title : str
        What the row says, where its bands do not.
    notes : tuple of Label
        Words in the plot.
    narrow : tuple of Key
        The states, as a narrow column has room for them.
    """

    y: float
    name: str
    full: str
    variant: str
    keys: tuple[Key, ...]
    bands: tuple[Band, ...] = ()
    brackets: tuple[Bracket, ...] = ()
    line: str = ""
    title: str = ""
    notes: tuple[Label, ...] = ()
    narrow: tuple[Key, ...] = ()

    @property
    def short(self) -> str:
        """The name where there is little room."""
        return cut(self.full.removesuffix(f" of {self.variant}"), NARROW)


@dataclass(frozen=True)
class EventLine:
    """An event: the stretch that holds it with 90 %, and its median.

    Parameters
    ----------
    name : str
        Name of the event.
    x : tuple of three floats
        5, 50 and 95 % points, in units.
    y : float
        Top of its lane.
    label : Label
        Its name.
    end : bool
        Whether the name ends at its place, because there is no room behind.
    title : str
        The same in words.
    place : str
        Place of its date.
    """

    name: str
    x: tuple[float, float, float]
    y: float
    label: Label
    end: bool
    title: str
    place: str


def feature_rows(
    axis: TimeAxis, y: float, shares: Sequence[Shares], dates: Sequence[ChangeoverDate]
) -> Iterator[ChartRow]:
    """Draw the rows of features."""
    for place, each in enumerate(shares):
        top = y + place * ROW
        named = about(each)
        titles = [
            f"{named}, {state}: {_when(each.by_month[i], axis.start)}"
            for i, state in enumerate(each.states)
        ]
        own = [c for c in dates if c.name == each.name and each.variant in {None, c.variant}]
        own += [c for c in dates if c.name == each.name and c.variant is None and each.variant]
        room = NAMES - (0 if each.variant is None else 7.5 * len(each.variant[:12]) + 8)
        yield ChartRow(
            y=top,
            name=cut(each.name, room),
            full=named,
            variant=(each.variant or "")[:12],
            keys=key_of(each.states),
            narrow=key_of(each.states, NARROW),
            bands=bands(axis, top + LANE, each.states, each.by_month, titles),
            brackets=tuple(_bracket(axis, top, c) for c in own),
        )


def _bracket(axis: TimeAxis, y: float, date: ChangeoverDate) -> Bracket:
    low, middle, high = map(month_words, date.start)
    soonest, _, latest = map(month_words, date.end)
    title = (
        f"{about(date)}: first {date.to} between {low} and {high}, median {middle}; changeover "
        f"complete between {soonest} and {latest}"
    )
    places = date.judgements
    return Bracket(
        y=y + 2.5,
        start=_three(axis, date.start),
        end=_three(axis, date.end),
        title=title,
        href=places[0][1] if places else "",
    )


def mark_rows(axis: TimeAxis, y: float, component: Component) -> Iterator[ChartRow]:
    """Draw the rows of a component's dated marks: as high as a mark is frequent."""
    for place, (name, mark) in enumerate(component.marks.items()):
        top, words = y + place * ROW, mark_words(component, name)
        presence = np.full(axis.stop - axis.start, mark.found.value)
        upper = top + LANE + BAND * (1 - presence)
        low = np.full(len(presence), top + LANE + BAND)
        band = Band(5, area(axis.edges, upper, low), words, ())
        yield ChartRow(
            y=top,
            name=cut(name, NAMES),
            full=name,
            variant="",
            keys=(Key(0.0, -1, "a dated mark"),),
            bands=(band,),
            notes=(Label(6.0, top + LANE - 1, words),),
            title=words,
        )


def mark_words(component: Component, name: str) -> str:
    """Say how often a mark is found, and how the build follows it."""
    mark = component.marks[name]
    low, middle, high = mark.lag.distribution().quantile([0.05, 0.5, 0.95]).tolist()
    months = value_words(round(high, 1), "span")
    return (
        f"a date on {percent(mark.found.value)}; completed {low:.2g} to {months} later, "
        f"median {middle:.2g}"
    )


def measured_row(
    axis: TimeAxis, y: float, name: str, measurement: Measurement, mean: Floats
) -> ChartRow:
    """Draw the row of a measurement: its mean, and one spread to either side.

    Shapes: mean (month,).
    """
    spread, unit = measurement.spread, measurement.unit
    low, high = float(mean.min() - spread), float(mean.max() + spread)
    heights = y + LANE + BAND * (high - mean) / (high - low)
    reach = BAND * spread / (high - low)
    first, last = (f"{value:.1f} {unit}" for value in (mean[0], mean[-1]))
    words = (
        f"{name}: mean {first} at the start and {last} at the end; the band is one spread of "
        f"production, {spread:g} {unit}, either side"
    )
    return ChartRow(
        y=y,
        name=cut(name, NAMES),
        full=name,
        variant="",
        keys=(Key(0.0, -1, f"mean in {unit}, within {spread:g}"),),
        narrow=(Key(0.0, -1, f"mean in {unit}"),),
        bands=(Band(4, area(axis.edges, heights - reach, heights + reach), words, ()),),
        line=bent_line(axis, heights),
        title=words,
        notes=(
            Label(6.0, _clear_of(heights[0], y), first),
            Label(round(axis.right - 8 - text_width(last), 1), _clear_of(heights[-1], y), last),
        ),
    )


def _clear_of(height: float, y: float) -> float:
    """Put a label below a line that is high in its row, and above one that is low."""
    return y + LANE + (BAND if height < y + LANE + BAND / 2 else 7.0)


def event_lines(maker: Maker, axis: TimeAxis, learned: Learned | None) -> tuple[EventLine, ...]:
    """Place the events, their names in as few lanes as keep them apart."""
    points = {name: _event_points(maker, name, learned) for name in maker.events}
    places = {name: _three(axis, each) for name, each in points.items()}
    before = {n: x[2] + text_width(n) + 8 > axis.right for n, x in places.items()}
    spans = [
        (x[0] - text_width(name) - 8, x[2]) if before[name] else (x[0], x[2] + text_width(name) + 8)
        for name, x in places.items()
    ]
    lines = []
    for lane, (name, x) in zip(lanes(spans), places.items(), strict=True):
        what, y = maker.events[name].what, HEAD + lane * EVENT + 4.0
        low, middle, high = map(month_words, points[name])
        lines.append(
            EventLine(
                name=name,
                x=x,
                y=y,
                label=Label(round(x[0] - 4 if before[name] else x[2] + 4, 1), y + 13, name),
                end=before[name],
                title=(f"{name}, {what}: between {low} and {high} (90 %), median {middle}"),
                place=place_text(("events", name, "when")),
            )
        )
    return tuple(lines)


def _event_points(maker: Maker, name: str, learned: Learned | None) -> Points:
    if learned is not None and f"event {name}" in learned.numbers:
        values = learned.values[:, learned.numbers.index(f"event {name}")]
        return points_of(maker.period.first + values)
    judged = maker.events[name].when.distribution()
    low, middle, high = judged.quantile([0.05, 0.5, 0.95]).tolist()
    return low, middle, high


def _when(shares: Floats, start: int) -> str:
    """Say when a state was made, and how much of it at most."""
    runs = list(runs_of(shares >= 0.05))
    if not runs:
        return "never as much as 5 % of production"
    words = " and ".join(
        f"{month_words(start + run.start)} to {month_words(start + run.stop - 1)}" for run in runs
    )
    most = int(shares.argmax())
    return (
        f"5 % of production or more from {words}; most in {month_words(start + most)}, "
        f"{percent(float(shares[most]))}"
    )


def _three(axis: TimeAxis, points: tuple[float, float, float]) -> tuple[float, float, float]:
    low, middle, high = (axis.x(point) for point in points)
    return low, middle, high


def about(each: ChangeoverDate | Shares) -> str:
    """Name what a changeover or a row belongs to."""
    return each.name if each.variant is None else f"{each.name} of {each.variant}"


def month_words(number: float) -> str:
    """Write the month that holds a point in time."""
    return value_words(floor(number + 1e-6), "date")
