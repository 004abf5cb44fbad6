"""What was seen, turned into likelihoods over the build month.

Each piece of evidence is one array, scaled so that its largest value is one; the scale is kept
beside it. The order of axes is draw, variant, month.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import log
from typing import Literal, cast

import numpy as np

from dating.arrays import Floats
from dating.examination import Examination, Paper, Reading, Sight
from dating.likelihoods import (
    known_day,
    log_density,
    mark_likelihood,
    mark_likelihoods,
    mark_stretches,
)
from dating.magnitudes import Magnitudes, floats, wide
from dating.maker import Course, Feature, Maker, Mark, Measurement, Regime
from dating.months import month_number
from dating.reading import KeyPath
from dating.tables import MonthTables

type PieceKind = Literal["feature", "mark", "measurement", "document", "variant"]

_SEEN = {"feature": "seen", "mark": "marks", "measurement": "measured"}


@dataclass(frozen=True, eq=False)
class Piece:
    """One piece of evidence.

    Parameters
    ----------
    name : str
        The feature, mark, measurement or document.
    kind : {"feature", "mark", "measurement", "document", "variant"}
        What it is.
    component : str or None
        The component it sits on; None for evidence on the instrument as a whole.
    observation : str
        What was seen, in words.
    likelihood : ndarray of float64, shape (draw, variant, month)
        P(seen | month, variant), divided by exp(log_scale) so that its largest value is one.
    log_scale : float
        Natural logarithm of what the likelihood was divided by.
    later : ndarray of float64, shape (draw, 1, 1)
        The part of the likelihood that comes from a later replacement, on the same scale.
    sources : tuple of str
        Names of the sources its numbers rest on.
    events : tuple of str
        Names of the events that its changeovers move with.
    logs : ndarray of float64, shape (draw, variant, month), or None
        Natural logarithms of the likelihood, where it is worked out from them.
    """

    name: str
    kind: PieceKind
    component: str | None
    observation: str
    likelihood: Floats
    log_scale: float
    later: Floats
    sources: tuple[str, ...]
    events: tuple[str, ...]
    logs: Floats | None = None

    @property
    def place(self) -> KeyPath:
        """Keys of the examination down to what was seen."""
        if self.kind == "variant":
            return ("variant",)
        if self.kind == "document":
            return ("documents", int(self.name.split()[-1]) - 1)
        return (_SEEN[self.kind], self.name)

    @property
    def has_draws(self) -> bool:
        """Whether the likelihood differs between draws."""
        return len(self.likelihood) > 1

    @property
    def is_wide(self) -> bool:
        """Whether the likelihood is kept as numbers of any magnitude."""
        return isinstance(self.likelihood, Magnitudes)

    def widened(self) -> Piece:
        """Keep the likelihood as numbers of any magnitude."""
        if self.logs is None:
            return replace(self, likelihood=wide(self.likelihood))
        return replace(self, likelihood=cast(Floats, Magnitudes.exp(self.logs)))

    def narrowed(self) -> Piece:
        """Keep the likelihood as plain floats."""
        return replace(self, likelihood=floats(self.likelihood)[0]) if self.is_wide else self


@dataclass(frozen=True)
class Neutral:
    """Something recorded that cannot bear on the date: an unlisted state.

    Parameters
    ----------
    name : str
        The feature.
    component : str or None
        The component it sits on.
    observation : str
        What was recorded.
    """

    name: str
    component: str | None
    observation: str


def pieces_of(
    examination: Examination, maker: Maker, tables: MonthTables
) -> tuple[tuple[Piece, ...], tuple[Neutral, ...]]:
    """Turn an examination into pieces of evidence."""
    items = list(_items(examination, maker, tables))
    pieces = tuple(item for item in items if isinstance(item, Piece))
    return pieces, tuple(item for item in items if isinstance(item, Neutral))


def state_weights(sight: Sight, states: tuple[str, ...]) -> Floats:
    """Give the examiner's weight for each state.

    Shape: (state,).

    Examples
    --------
    >>> state_weights(Sight(state="b", sure=0.8), ("a", "b", "c")).round(3).tolist()
    [0.1, 0.8, 0.1]
    """
    weights = np.array([1.0 if state in sight.named() else 0.0 for state in states])
    if sight.sure is None or len(states) == 1:
        return weights
    return weights * sight.sure + (1 - weights) * (1 - sight.sure) / (len(states) - 1)


def sight_likelihoods(
    name: str, sights: Sequence[Sight], tables: MonthTables
) -> tuple[Floats, Floats]:
    """Give the likelihoods of several sights of one feature, as pieces of evidence have them.

    Shape: likelihood (sight, draw, variant, month), log_scale (sight,).

    Examples
    --------
    >>> from dating import month_tables, read_maker
    >>> tables = month_tables(read_maker("priors/marrowby.yaml"))
    >>> sights = [Sight(state="dowelled"), Sight(state="screwed", sure=0.8)]
    >>> likelihood, log_scale = sight_likelihoods("heel-joint", sights, tables)
    >>> len(likelihood), float(likelihood.max())
    (2, 1.0)
    """
    table = tables.features[name]
    arrays, _ = table.seen(np.array([state_weights(sight, table.states) for sight in sights]))
    top = arrays.max(axis=(1, 2, 3))
    scale = np.where(top > 0, top, 1.0)
    return arrays / scale[:, None, None, None], np.log(scale)


def _items(
    examination: Examination, maker: Maker, tables: MonthTables
) -> Iterator[Piece | Neutral]:
    features, marks, measurements = maker.features(), maker.marks(), maker.measurements()
    for name, (part, _) in features.items():
        sight = examination.seen.get(name)
        if sight is not None and sight.other is not None:
            yield Neutral(name, part, sight.words())
        elif sight is not None:
            yield _feature(name, part, sight, tables, maker)
    for name, (part, mark) in marks.items():
        text = examination.marks.get(name)
        if text is not None:
            yield _mark(name, part, text, mark, tables)
    for name, (part, measurement) in measurements.items():
        reading = examination.measured.get(name)
        if reading is not None:
            yield _measurement(name, part, reading, measurement, tables)
    if examination.variant is not None and maker.variants is not None:
        sight = examination.variant
        if sight.other is not None:
            yield Neutral("variant", None, sight.words())
        else:
            weights = state_weights(sight, tables.variants)[None, :, None]
            array = np.broadcast_to(weights, (1, len(tables.variants), len(tables.period)))
            array = np.repeat(array, tables.latent, axis=1)
            sources = maker.variants.source
            yield _piece("variant", "variant", None, sight.words(), array, sources=sources)
    for position, paper in enumerate(examination.documents, start=1):
        yield _document(f"document {position}", paper, tables)


def _feature(name: str, part: str, sight: Sight, tables: MonthTables, maker: Maker) -> Piece:
    feature, table = maker.features()[name][1], tables.features[name]
    array, later = table.seen(state_weights(sight, table.states))
    regimes = _changing(name, maker)
    return _piece(
        name,
        "feature",
        part,
        sight.words(),
        array,
        later=later,
        sources=_feature_sources(feature, regimes, maker),
        events=tuple(regime.event for regime in regimes if regime.event is not None),
    )


def _mark(name: str, part: str, text: str, mark: Mark, tables: MonthTables) -> Piece:
    stretches = mark_stretches(text, mark, tables.period)
    replaced, months = mark.replaced.value, len(tables.period)
    later = replaced * sum(stop - start for start, stop in stretches) / months
    learned = tables.lags.get(name)
    if learned is None:
        original = mark_likelihood(stretches, mark.lag.distribution(), months)[None]
    else:
        original = mark_likelihoods(stretches, learned.quantiles, learned.reached, months)
    array = ((1 - replaced) * original + later)[:, None]
    sources = (*mark.source, *mark.lag.sources(), *mark.replaced.source)
    return _piece(name, "mark", part, text, array, later=later, sources=sources)


def _measurement(
    name: str, part: str, reading: Reading, measurement: Measurement, tables: MonthTables
) -> Piece:
    scale = np.sqrt(tables.spreads[name] ** 2 + reading.within**2)[:, None]
    logs = log_density(np.array(reading.value), tables.means[name], scale, measurement.tails)
    top = float(logs.max())
    words = f"{reading.value:g} {measurement.unit}"
    logs = (logs - top)[:, None]
    sources = measurement.source
    piece = _piece(name, "measurement", part, words, np.exp(logs), log_scale=top, sources=sources)
    return replace(piece, logs=logs)


def _document(name: str, paper: Paper, tables: MonthTables) -> Piece:
    months = np.arange(tables.period.first, tables.period.last + 1)
    allowed = np.ones(len(months), dtype=bool)
    if paper.not_after is not None:
        allowed &= months <= _month(paper.not_after.upper)
    if paper.not_before is not None:
        allowed &= months >= _month(paper.not_before.lower)
    array = paper.trust * allowed + (1 - paper.trust)
    sources = (paper.source,) if paper.source else ()
    words = f"{paper.what}: {paper.words()}"
    return _piece(name, "document", None, words, array[None, None], sources=sources)


def _piece(
    name: str,
    kind: PieceKind,
    component: str | None,
    observation: str,
    array: Floats,
    *,
    log_scale: float = 0.0,
    later: Floats | float = 0.0,
    sources: tuple[str, ...] = (),
    events: tuple[str, ...] = (),
) -> Piece:
    top = float(array.max())
    scale = top if top > 0 else 1.0
    return Piece(
        name=name,
        kind=kind,
        component=component,
        observation=observation,
        likelihood=array / scale,
        log_scale=log_scale + log(scale),
        later=np.reshape(later, (-1, 1, 1)) / scale,
        sources=tuple(dict.fromkeys(sources)),
        events=tuple(dict.fromkeys(events)),
    )


def _changing(name: str, maker: Maker) -> tuple[Regime, ...]:
    """List the regimes of a feature over all variants."""
    part, feature = maker.features()[name]
    courses: list[Course] = [feature, *feature.by_variant.values()]
    by_variant = maker.components[part].by_variant.values()
    courses += [each[name] for each in by_variant if name in each]
    return tuple(regime for course in courses for regime in course.history or ())


def _feature_sources(
    feature: Feature, regimes: tuple[Regime, ...], maker: Maker
) -> tuple[str, ...]:
    named = [*feature.source, *feature.slip.source, *feature.replaced.source]
    for regime in regimes:
        named += regime.source
        for judged in (regime.first_use, regime.lag, regime.overlap):
            named += judged.sources() if judged is not None else ()
        if regime.event is not None:
            event = maker.events[regime.event]
            named += [*event.source, *event.when.sources()]
    return tuple(named)


def _month(day: datetime.date | None) -> int:
    known = known_day(day)
    return month_number(known.year, known.month)
