"""What was learned as what a maker file states, key by key.

Dates and lengths are three quantiles each; shares, chances and means their expectation over the
draws. A width is never narrower than learned ramps are.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dating.arrays import Floats
from dating.learning.division import course_path
from dating.learning.layout import NARROWEST, VARIANTS, Layout, RampLayout, Track
from dating.learning.learned import Learned
from dating.learning.margins import (
    Margin,
    NumberKind,
    gap_of_sum,
    lag_between,
    largest_gap,
    margin_of,
)
from dating.maker import Course, Maker, Regime
from dating.months import Period, month_label
from dating.reading import KeyPath
from dating.splicing import Written

_STRAIGHT = 0.005
type Change = tuple[KeyPath, Written]

_EVEN = (np.arange(50) + 0.5) / 50
"""Probabilities of which the quantiles of a lag are taken in each draw."""


class Statements:
    """What a maker file shall state, and how far off each judgement is.

    Parameters
    ----------
    maker : Maker
        A maker file in which every variant that learns for itself has a course of its own.
    layout : Layout
        Its numbers, ramps and courses.
    learned : Learned
        Draws of them.
    source : str
        The source that each learned number names.

    Attributes
    ----------
    changes : dict of key path to written value
        What shall stand where.
    gaps : dict of str to float
        Largest difference between the learned distribution function and that of the judgement, by
        number; that of the first use where a lag is stated.
    """

    def __init__(self, maker: Maker, layout: Layout, learned: Learned, source: str) -> None:
        self.maker, self.layout, self.learned, self.source = maker, layout, learned, source
        self.values = dict(zip(learned.numbers, learned.values.T, strict=True))
        self.names = list(layout.numbers)
        self.gaps: dict[str, float] = {}
        self.events = dict(self._events())
        self.changes: dict[KeyPath, Written] = {
            ("events", name, "when"): margin.statement(source)
            for name, margin in self.events.items()
        }
        for track in layout.tracks:
            self.changes |= self._track(track)
        self.changes |= dict(self._chances())
        self.changes |= dict(self._means())
        self.changes |= dict(self._free_form())
        self.changes |= dict(self._lags())

    def _events(self) -> Iterator[tuple[str, Margin]]:
        for name in self.maker.events:
            values = self.values.get(f"event {name}")
            if values is not None and np.ptp(values) > 0:
                yield name, self._margin(f"event {name}", values + self.maker.period.first, "date")

    def _margin(self, name: str, values: Floats, kind: NumberKind) -> Margin:
        margin = margin_of(values, kind)
        self.gaps[name] = largest_gap(values, margin.judgement)
        return margin

    def _track(self, track: Track) -> dict[KeyPath, Written]:
        path, course = self._course(track)
        changes: dict[KeyPath, Written] = {}
        for place, ramp in enumerate(track.ramps, start=1):
            regime = (course.history or ())[place]
            changes |= self._changeover((*path, "history", place), self.layout.ramps[ramp], regime)
        return changes | dict(self._shares(track, path, course))

    def _course(self, track: Track) -> tuple[KeyPath, Course]:
        """Give the course of a track, and where it is stated."""
        if track.name == VARIANTS and self.maker.variants is not None:
            return ("variants",), self.maker.variants
        path = course_path(self.maker, track.name, track.variant)
        return path, self.maker.course_of(track.name, track.variant)

    def _changeover(
        self, path: KeyPath, ramp: RampLayout, regime: Regime
    ) -> dict[KeyPath, Written]:
        """State the first use or the lag, and the overlap, of one changeover."""
        margins: dict[str, Margin] = {}
        if regime.event is None:
            name = self.names[ramp.start]
            values = self.values[name]
            if np.ptp(values) > 0:
                first_use = self._margin(name, values + self.maker.period.first, "date")
                margins["first_use"] = first_use
        elif ramp.lag is not None and np.ptp(self.values[self.names[ramp.lag]]) > 0:
            margins["lag"] = self._lag(ramp, regime.event)
        name = self.names[ramp.overlap]
        if np.ptp(self.values[name]) > 0:
            margins["overlap"] = self._margin(name, np.hypot(self.values[name], NARROWEST), "span")
        return {(*path, key): margin.statement(self.source) for key, margin in margins.items()}

    def _lag(self, ramp: RampLayout, event: str) -> Margin:
        """State the lag that gives the first use that was learned."""
        name, first = self.names[ramp.lag or 0], self.maker.period.first
        since = self.values[self.names[ramp.start]]
        first_use = since + self.values[name] + first
        if event not in self.events:
            return self._margin(name, self.values[name], "delay")
        lag = lag_between(self.events[event], margin_of(first_use, "date"))
        self.gaps[name] = gap_of_sum(first_use, self.events[event], lag)
        return lag

    def _shares(self, track: Track, path: KeyPath, course: Course) -> Iterator[Change]:
        """State the shares of mixed regimes, and the corpus as their source."""
        place = self.layout.tracks.index(track)
        mixed = self.layout.mixed[place].any(axis=-1)
        expected = self.learned.shares[:, place].mean(axis=0)
        stated = _at(self.maker.origin.data, path)
        for row, where in enumerate(_rows(stated, course, path, track.variant)):
            if not mixed[row]:
                continue
            shares = dict(zip(track.states, expected[row].tolist(), strict=False))
            keys = [str(key) for key in _at(self.maker.origin.data, where)]
            yield where, round_shares({key: shares[key] for key in keys})
            owner = where[:-1] if course.shares_at is None else _owner(path)
            owner = owner[:-1] if owner[-1] == "by_variant" else owner
            yield owner, {"source": self._sources(owner)}

    def _chances(self) -> Iterator[Change]:
        """State slips and later parts; one that was assumed becomes a new entry of its feature."""
        for place, (name, (part, feature)) in enumerate(self.maker.features().items()):
            path: KeyPath = ("components", part, "features", name)
            stated, added = _at(self.maker.origin.data, path), {}
            for key in () if feature.free_form else ("slip", "replaced"):
                values = getattr(self.learned, key)[:, place]
                if np.ptp(values) > 0:
                    value = float(f"{values.mean():.3g}")
                    chance: Written = {"value": value, "source": self.source}
                    if key in stated:
                        yield (*path, key), chance
                    else:
                        added[key] = chance
            if added:
                yield path, {**self._entry(path), **added}

    def _entry(self, path: KeyPath) -> Mapping[str, Written]:
        """Give the sources of a feature as they shall stand."""
        change = self.changes.get(path)
        if isinstance(change, Mapping):
            return change
        sources = self._sources_before(path)
        return {"source": sources} if sources else {}

    def _means(self) -> Iterator[Change]:
        stop = 0
        for place, gauge in enumerate(self.layout.gauges):
            start, stop = stop, stop + len(gauge.anchors)
            means = self.learned.means[:, start:stop]
            if not np.ptp(means, axis=0).any():
                continue
            path: KeyPath = ("components", gauge.component, "measurements", gauge.name)
            stated = _at(self.maker.origin.data, path)["mean"]
            measurement = self.maker.measurements()[gauge.name][1]
            keys = sorted(zip(measurement.mean, map(str, stated), strict=True))
            fine = _decimals(gauge.spread)
            mean_by_key = {
                key: round(float(mean), fine)
                for (_, key), mean in zip(keys, means.mean(axis=0), strict=True)
            }
            yield (*path, "mean"), mean_by_key
            yield (*path, "spread"), float(f"{self.learned.spreads[:, place].mean():.3g}")
            yield path, {"source": self._sources(path)}

    def _free_form(self) -> Iterator[Change]:
        """State the shares of free-form features over time, where no latent variants tie them.

        What was recorded includes slips and replacements already.
        """
        latent = self.learned.latent
        if latent is None or latent.variants > 1:
            return
        for name in latent.features:
            part, feature = self.maker.features()[name]
            curves = latent.curves(name).mean(axis=1)[:, 0]
            rows = shares_by_year(curves, tuple(feature.states), self.maker.period)
            path: KeyPath = ("components", part, "features", name)
            settings: dict[str, Written] = {"free_form": False, "slip": 0, "replaced": 0}
            yield path, settings | {"shares_at": rows, "source": self._sources(path)}

    def _lags(self) -> Iterator[Change]:
        """State how the lags of marks differ, over instruments and draws alike."""
        for place, lag in enumerate(self.layout.lags):
            draws = self.learned.lags[:, place]
            if np.ptp(draws, axis=0).any():
                quantiles = lag.quantiles(*draws.T)
                each = np.array([np.interp(_EVEN, lag.reached, row) for row in quantiles])
                margin = self._margin(f"lag of {lag.mark}", each.ravel(), "span")
                path = ("components", lag.component, "marks", lag.mark, "lag")
                yield path, margin.statement(self.source)

    def _sources(self, path: KeyPath) -> tuple[str, ...]:
        """Name the corpus before the sources that are named already."""
        return self.source, *self._sources_before(path)

    def _sources_before(self, path: KeyPath) -> tuple[str, ...]:
        """Give the sources that are named already."""
        named = _at(self.maker.origin.data, path).get("source", [])
        return tuple(map(str, named if isinstance(named, list) else [named]))


def shares_by_year(
    curves: Floats, states: tuple[str, ...], period: Period
) -> dict[str, dict[str, float]]:
    """State shares over time by rows between which they go along straight lines.

    Shapes: curves (state, month).

    Examples
    --------
    >>> line = np.linspace(0.2, 0.8, 48)
    >>> list(shares_by_year(np.array([line, 1 - line]), ("a", "b"), Period.parse("1931/1934")))
    ['1931-01', '1934-12']
    """
    middles = [min(max(year * 12 + 6, period.first), period.last) for year in period.years()]
    places = np.array(sorted({period.first, *middles, period.last})) - period.first
    bends = _bends(places, curves[:, places])
    return {
        month_label(period.first + int(place)): round_shares(
            dict(zip(states, curves[:, place].tolist(), strict=True))
        )
        for place in places[bends]
    }


def _bends(places: NDArray[np.int64], rows: Floats) -> list[int]:
    """Keep the ends, and where a line between two that are kept is off, the place that is most.

    Douglas, D. H. and Peucker, T. K. (1973). Algorithms for the reduction of the number of points
    required to represent a digitized line. *Cartographica* 10(2), 112-122.
    doi:10.3138/FM57-6770-U75U-7727
    """
    last = len(places) - 1
    if last < 1:
        return [0]
    line = np.array([np.interp(places, places[[0, -1]], row[[0, -1]]) for row in rows])
    off = np.abs(rows - line).max(axis=0)
    worst = int(off.argmax())
    if off[worst] <= _STRAIGHT:
        return [0, last]
    before = _bends(places[: worst + 1], rows[:, : worst + 1])
    behind = _bends(places[worst:], rows[:, worst:])
    return [*before, *(worst + place for place in behind[1:])]


def round_shares(shares: Mapping[str, float]) -> dict[str, float]:
    """Round shares to four decimals, small ones to two figures, so that they still sum to one.

    Examples
    --------
    >>> round_shares({"plain": 0.123456, "lined": 0.876504, "cut": 0.00004})
    {'plain': 0.1235, 'lined': 0.87646, 'cut': 4e-05}
    """
    most = max(shares, key=lambda name: shares[name])
    rounded = {
        name: round(share, 4) if share >= 0.001 else float(f"{share:.2g}")
        for name, share in shares.items()
    }
    others = sum(share for name, share in rounded.items() if name != most)
    return rounded | {most: round(1 - others, 6)}


def _rows(
    stated: dict[str, Any], course: Course, path: KeyPath, variant: str | None
) -> Iterator[KeyPath]:
    """Say where the shares of each regime, or of each anchor in ascending order, are stated."""
    if course.shares_at is not None:
        keys = sorted(zip(course.shares_at, map(str, stated["shares_at"]), strict=True))
        yield from ((*path, "shares_at", key) for _, key in keys)
        return
    for place, regime in enumerate(course.history or ()):
        here = (*path, "history", place)
        if regime.by_variant is not None and variant is not None:
            yield (*here, "by_variant", variant)
        else:
            yield (*here, "shares")


def _owner(path: KeyPath) -> KeyPath:
    """Say which feature, or the variants, names the sources of a course of shares."""
    if path[0] != "components":
        return path
    part, variant = path[1], path[2]
    return path[:4] if variant == "features" else ("components", part, "features", path[4])


def _at(data: Any, path: KeyPath) -> Any:
    for key in path:
        data = data[key]
    return data


def _decimals(spread: float) -> int:
    """Give the decimals of a mean: a hundredth of the spread of production."""
    return max(0, 2 - int(np.floor(np.log10(spread))))
