"""A maker file laid out as arrays: its uncertain numbers, ramps, courses and measurements.

The sampler and the learned month tables are both built from this one layout, so what is learned
and what is used cannot drift apart.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property, lru_cache
from math import exp, sqrt

import numpy as np
from numpy.typing import NDArray

from dating.arrays import Floats
from dating.distributions import Certain, Judgement
from dating.judgement import metalog_through, shifted
from dating.learning.gauges import Gauge, gauges_of
from dating.learning.lags import Lag, lags_of
from dating.learning.walk import Walk, walk_of
from dating.maker import Course, Maker, Regime
from dating.ramps import between_anchors, month_shares, regimes
from dating.statements import Opinion
from dating.tabulation import share_matrix

VARIANTS = "variants"
NARROWEST = 0.75
"""Months below which no learned ramp gets: narrower ones cannot be told apart by the month, and
leave the sampler walls to run into."""
SPAN_DOUBT = 0.5
"""Prior standard deviation of the logarithm of a lag or an overlap that is stated as one number."""
SHARE_DOUBT = 0.5
"""Prior standard deviation of a stated share, on the logistic scale."""
CHANCE_DOUBT = 0.7
"""Prior standard deviation of a stated slip or chance of replacement, on the logit scale."""
FLOOR = 1e-3
"""Probability that is left to a recorded state whatever the ramps say, shared by all states: a
learner that takes nothing for impossible has no walls to run into."""
POOL_GRID = np.linspace(-6.0, 6.0, 2401)
"""Standard normal points between which the quantiles of pooled judgements are interpolated."""
_TAIL = 1.6449  # the standard normal's 95 % point


@dataclass(frozen=True, eq=False)
class RampLayout:
    """One changeover as positions in the list of numbers.

    Parameters
    ----------
    start, overlap : int
        Positions of the first use or event, and of the overlap.
    lag : int or None
        Position of the lag behind the event; None for a first use.
    logistic : bool
        The shape; linear otherwise.
    """

    start: int
    overlap: int
    lag: int | None
    logistic: bool


@dataclass(frozen=True, eq=False)
class Track:
    """The course of one feature, or of the variants, for one variant or all.

    Parameters
    ----------
    name : str
        The feature, or "variants".
    variant : str or None
        The variant it holds for; None for all.
    states : tuple of str
        Names of the states.
    ramps : tuple of int
        Positions of its changeovers in the list of ramps, in order.
    anchored : ndarray of float64, shape (regime, month), or None
        Weights of the anchors for a table of shares, which has no ramps.
    shares : ndarray of float64, shape (regime, state)
        Stated shares.
    """

    name: str
    variant: str | None
    states: tuple[str, ...]
    ramps: tuple[int, ...]
    anchored: Floats | None
    shares: Floats

    @property
    def label(self) -> str:
        """The name, with the variant where it holds for one only."""
        return self.name if self.variant is None else f"{self.name} of {self.variant}"


@dataclass(frozen=True, eq=False)
class Layout:
    """What a maker file says, as lists that point to each other.

    Parameters
    ----------
    months : int
        Length of the period.
    numbers : dict of str to Judgement
        Dates in months since the start of the period, and lengths in months.
    ramps : tuple of RampLayout
        All changeovers.
    ramp_names : tuple of str
        Their names, such as ``heel-joint, regime 2``.
    tracks : tuple of Track
        All courses.
    gauges : tuple of Gauge
        All measurements.
    opinions : dict of str to tuple of Opinion
        What was said of each number, one opinion for each member of its judgement, with dates as
        month numbers; empty where nothing was said.
    doubted : frozenset of str
        The numbers that are stated as certain and are learned with a doubt all the same.
    lags : tuple of Lag
        Of all marks.
    walk : Walk or None
        The output as it is left to be learned; None where it stands.
    """

    months: int
    numbers: dict[str, Judgement]
    ramps: tuple[RampLayout, ...]
    ramp_names: tuple[str, ...]
    tracks: tuple[Track, ...]
    gauges: tuple[Gauge, ...]
    opinions: dict[str, tuple[Opinion, ...]]
    doubted: frozenset[str]
    lags: tuple[Lag, ...]
    walk: Walk | None

    @property
    def is_open(self) -> bool:
        """Whether there is anything that a corpus is sampled for."""
        lags = any(lag.learned for lag in self.lags)
        return bool(self.tracks or self.gauges or lags or self.walk)

    @property
    def anchor_names(self) -> list[str]:
        """Name the anchors of all measurements, such as ``neck-depth at 1923-03``."""
        return [f"{gauge.name} at {anchor}" for gauge in self.gauges for anchor in gauge.anchors]

    @property
    def stated_shares(self) -> Floats:
        """Stated shares of every course, shape (track, regime, state); zero beyond its own."""
        depth = max((len(track.shares) for track in self.tracks), default=0)
        width = max((len(track.states) for track in self.tracks), default=0)
        stated = np.zeros((len(self.tracks), depth, width))
        for position, track in enumerate(self.tracks):
            stated[position, : len(track.shares), : len(track.states)] = track.shares
        return stated

    @property
    def mixed(self) -> NDArray[np.bool_]:
        """Which stated shares are learned, those of mixed regimes; shape (track, regime, state)."""
        return mixed_of(self.stated_shares)

    @cached_property
    def contrasts(self) -> Floats:
        """How the logarithms of mixed shares follow from unknowns, shape (mixed, unknown).

        Only differences of logarithms within a regime matter, so k doubts of one standard
        deviation are k - 1 along orthonormal (Helmert's) contrasts, exactly.
        """
        sizes = self.mixed.sum(axis=2).ravel()
        matrix = np.zeros((int(sizes.sum()), int(sum(sizes[sizes > 0] - 1))))
        row = column = 0
        for size in sizes[sizes > 0].tolist():
            for k in range(1, size):
                length = sqrt(k * (k + 1))
                matrix[row : row + k, column] = SHARE_DOUBT / length
                matrix[row + k, column] = -k * SHARE_DOUBT / length
                column += 1
            row += size
        return matrix

    def tracks_of(self, name: str, variant: str | None) -> list[Track]:
        """List the courses of one feature, or of the variants."""
        named = [track for track in self.tracks if track.name == name]
        return [track for track in named if variant is None or track.variant in {None, variant}]

    def starts(self, values: Floats) -> Floats:
        """Give the first use of every ramp.

        Shapes: values (draw, number); gives (draw, ramp).
        """
        columns = [
            values[:, ramp.start] + (0 if ramp.lag is None else values[:, ramp.lag])
            for ramp in self.ramps
        ]
        return np.stack(columns, axis=1) if columns else np.zeros((len(values), 0))

    def overlaps(self, values: Floats) -> Floats:
        """Give the overlap of every ramp, kept from the narrowest up.

        Shapes: values (draw, number); gives (draw, ramp).
        """
        columns = [np.hypot(values[:, ramp.overlap], NARROWEST) for ramp in self.ramps]
        return np.stack(columns, axis=1) if columns else np.zeros((len(values), 0))

    def regimes(self, track: Track, values: Floats) -> Floats:
        """Give the probability of each regime of a course in each draw.

        Shapes: values (draw, number); gives (regime, draw, month).
        """
        if track.anchored is not None:
            return track.anchored[:, None]
        starts, overlaps = self.starts(values), self.overlaps(values)
        shares = [
            month_shares(
                starts[:, ramp],
                overlaps[:, ramp],
                self.months,
                "logistic" if self.ramps[ramp].logistic else "linear",
            )
            for ramp in track.ramps
        ]
        return regimes(shares, self.months)


def mixed_of(stated: Floats) -> NDArray[np.bool_]:
    """Say which stated shares are learned: those of mixed regimes.

    Shapes: stated (course, regime, state); gives (course, regime, state).
    """
    return (stated > 0) & ((stated > 0).sum(axis=2, keepdims=True) > 1)


@lru_cache(maxsize=32)
def layout_of(maker: Maker) -> Layout:
    """Lay out a maker file; the last few are kept.

    Examples
    --------
    >>> from dating.files import read_maker
    >>> layout = layout_of(read_maker("priors/marrowby.yaml"))
    >>> "event second-works" in layout.numbers
    True
    """
    return _Builder(maker).layout()


class _Builder:
    """Collects numbers, ramps and courses, each once."""

    def __init__(self, maker: Maker) -> None:
        self.maker = maker
        self.numbers: dict[str, Judgement] = {}
        self.opinions: dict[str, tuple[Opinion, ...]] = {}
        self.doubted: set[str] = set()
        self.ramps: list[RampLayout] = []
        self.ramp_names: list[str] = []

    def layout(self) -> Layout:
        tracks = tuple(self._tracks())
        return Layout(
            len(self.maker.period),
            self.numbers,
            tuple(self.ramps),
            tuple(self.ramp_names),
            tracks,
            gauges_of(self.maker),
            self.opinions,
            frozenset(self.doubted),
            lags_of(self.maker),
            walk_of(self.maker),
        )

    def _tracks(self) -> Iterator[Track]:
        if self.maker.variants is not None:
            yield self._track(
                VARIANTS, None, self.maker.variants, tuple(self.maker.variants.states)
            )
        for name, (_, feature) in self.maker.features().items():
            if feature.free_form:
                continue
            states = tuple(feature.states)
            if self.maker.depends_on_variant(name):
                for variant in self.maker.variant_names():
                    course = self.maker.course_of(name, variant)
                    yield self._track(name, variant, course, states)
            else:
                yield self._track(name, None, self.maker.course_of(name, None), states)

    def _track(
        self, name: str, variant: str | None, course: Course, states: tuple[str, ...]
    ) -> Track:
        label = name if variant is None else f"{name} of {variant}"
        if course.shares_at is not None:
            first = self.maker.period.first
            anchors = sorted(course.shares_at)
            anchored = between_anchors([a - first for a in anchors], len(self.maker.period))
            ramps: tuple[int, ...] = ()
        else:
            anchored = None
            ramps = tuple(
                self._ramp(f"{label}, regime {position}", regime)
                for position, regime in enumerate((course.history or ())[1:], start=2)
            )
        shares = share_matrix(course, states, variant)
        return Track(name, variant, states, ramps, anchored, shares)

    def _ramp(self, name: str, regime: Regime) -> int:
        if regime.event is not None:
            when = self.maker.events[regime.event].when
            event = self._since_start(when.distribution())
            start = self._number(f"event {regime.event}", event, when.opinions)
            opinions = regime.lag.opinions if regime.lag else ()
            lag = self._span(f"{name}, lag", regime.judged_lag(), opinions)
        elif regime.first_use is not None:
            judged = self._since_start(regime.first_use.distribution())
            start = self._number(f"{name}, first use", judged, regime.first_use.opinions)
            lag = None
        else:
            raise ValueError(f"{name} has no changeover")
        said_of_overlap = regime.overlap.opinions if regime.overlap else ()
        position = self._span(f"{name}, overlap", regime.judged_overlap(), said_of_overlap)
        self.ramps.append(RampLayout(start, position, lag, regime.shape == "logistic"))
        self.ramp_names.append(name)
        return len(self.ramps) - 1

    def _span(self, name: str, judged: Judgement, opinions: tuple[Opinion, ...]) -> int:
        """Add a length; a certain one above zero is a round number, and has a doubt."""
        if isinstance(judged, Certain) and judged.value > 0:
            self.doubted.add(name)
            factor = exp(_TAIL * SPAN_DOUBT)
            likely = judged.value
            judged = metalog_through((likely / factor, likely, likely * factor), kind="span")
        return self._number(name, judged, opinions)

    def _number(self, name: str, judged: Judgement, opinions: tuple[Opinion, ...]) -> int:
        self.numbers.setdefault(name, judged)
        self.opinions.setdefault(name, opinions)
        return list(self.numbers).index(name)

    def _since_start(self, judged: Judgement) -> Judgement:
        return shifted(judged, -float(self.maker.period.first))
