"""What was seen, turned into likelihoods over the build month.

Each piece of evidence is one array, scaled so that its largest value is one; the scale is kept
beside it. The order of axes is draw, variant, month.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import exp, log
from typing import Literal, cast

import numpy as np

from dating.arrays import Floats
from dating.examination import ABSENT, Examination, Paper, Reading, Sight
from dating.gross_errors import implausible
from dating.likelihoods import (
    doubted_share,
    end_position,
    is_foreign,
    known_day,
    later_share,
    log_density,
    mark_likelihood,
    mark_likelihoods,
    mark_stretches,
    mean_at,
    presence,
    slip_density,
)
from dating.magnitudes import Magnitudes, floats, wide
from dating.maker import Course, Feature, Maker, Mark, Measurement, Regime, Variants
from dating.months import month_number
from dating.reading import KeyPath
from dating.tables import MonthTables

type PieceKind = Literal["feature", "mark", "measurement", "document", "variant"]

_NOTHING = 1e-12
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
    later : ndarray of float64, shape (draw, 1, 1) or (1, 1, month)
        The part of the likelihood that comes from a later replacement, on the same scale.
    slipped : ndarray of float64, shape (draw, 1, 1) or (1, 1, month)
        The part that comes from a slip: misread, mistaken, or without ground.
    sources : tuple of str
        Names of the sources its numbers rest on.
    events : tuple of str
        Names of the events that its changeovers move with.
    logs : ndarray of float64, shape (draw, variant, month), or None
        Natural logarithms of the likelihood, where it is worked out from them.
    logs_built : ndarray of float64, shape (draw, variant, month), or None
        The same of the part that is no slip.
    """

    name: str
    kind: PieceKind
    component: str | None
    observation: str
    likelihood: Floats
    log_scale: float
    later: Floats
    slipped: Floats
    sources: tuple[str, ...]
    events: tuple[str, ...]
    logs: Floats | None = None
    logs_built: Floats | None = None

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

    @property
    def built(self) -> Floats:
        """The part of the likelihood that is of the build, as plain floats."""
        whole = self.likelihood
        plain = whole.over(0.0) if isinstance(whole, Magnitudes) else whole
        return np.asarray(np.maximum(plain - self.fault, 0.0))

    @property
    def fault(self) -> Floats:
        """The part of the likelihood that is not of the build: of a later part, or a slip."""
        return np.asarray(self.later + self.slipped)

    @property
    def is_excluded(self) -> bool:
        """Whether no month of the period allows it to be of the build, nor is it a later part."""
        return not self.later.any() and bool((self.built <= _NOTHING).all())

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
    """Something recorded that does not bear on the date: an unlisted state, a slip of the pen.

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


def swapped_chances(maker: Maker, examination: Examination | None = None) -> dict[str, float]:
    """Give the chance of a swap of each component, with what an examiner knows of it."""
    chances = {name: component.swapped.value for name, component in maker.components.items()}
    parts = {} if examination is None else examination.parts
    return chances | {name: known.swapped(chances[name]) for name, known in parts.items()}


def state_weights(sight: Sight, states: tuple[str, ...]) -> Floats:
    """Give the examiner's weight for each state.

    Shape: (state,).

    Examples
    --------
    >>> state_weights(Sight(state="b", sure=0.8), ("a", "b", "c")).round(3).tolist()
    [0.1, 0.8, 0.1]
    """
    if sight.excluded is not None:
        return np.array([0.0 if state in sight.excluded else 1.0 for state in states])
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
    for name, (part, _) in maker.features().items():
        sight = examination.seen.get(name)
        if sight is not None and sight.is_neutral:
            yield Neutral(name, part, sight.words())
        elif sight is not None:
            yield _feature(name, part, sight, tables, maker)
    for name, (part, mark) in maker.marks().items():
        text = examination.marks.get(name)
        if text == ABSENT and presence(mark, tables.period).min() == 1:
            yield Neutral(name, part, "absent, although every instrument should have it")
        elif text is not None:
            yield _mark(name, part, mark, dates_of_mark(name, text, mark, tables, examination.day))
    for name, (part, measurement) in maker.measurements().items():
        reading = examination.measured.get(name)
        wrong = implausible(maker, name, reading) if reading and not reading.confirmed else None
        if reading and wrong:
            yield Neutral(name, part, f"{wrong[0]}; to be weighed, it must be confirmed")
        elif reading:
            yield _measurement(name, part, reading, measurement, tables)
    if examination.variant is not None and maker.variants is not None:
        yield _variant(examination.variant, maker.variants, tables)
    for position, paper in enumerate(examination.documents, start=1):
        yield _document(f"document {position}", paper, tables)


def _variant(sight: Sight, variants: Variants, tables: MonthTables) -> Piece | Neutral:
    if sight.is_neutral:
        return Neutral("variant", None, sight.words())
    weights = state_weights(sight, tables.variants)[None, :, None]
    array = np.broadcast_to(weights, (1, len(tables.variants), len(tables.period)))
    array = np.repeat(array, tables.latent, axis=1)
    return _piece("variant", "variant", None, sight.words(), array, sources=variants.source)


def _feature(name: str, part: str, sight: Sight, tables: MonthTables, maker: Maker) -> Piece:
    feature, table = maker.features()[name][1], tables.features[name]
    weights = state_weights(sight, table.states)
    array, later = table.seen(weights)
    regimes = _changing(name, maker)
    return _piece(
        name,
        "feature",
        part,
        sight.words(),
        array,
        later=later,
        slipped=table.misread(weights),
        sources=_feature_sources(feature, regimes, maker),
        events=tuple(regime.event for regime in regimes if regime.event is not None),
    )


@dataclass(frozen=True, eq=False)
class MarkDates:
    """What is recorded of a mark, by where it may come from.

    Parameters
    ----------
    text : str
        What was recorded.
    built : ndarray of float64, shape (draw, month)
        P(recorded | build month) of a mark of the build.
    later : ndarray of float64, shape (month,)
        The same of a part that was fitted later.
    doubted : ndarray of float64, shape (month,)
        The same of a date that does not tell the build.
    """

    text: str
    built: Floats
    later: Floats
    doubted: Floats


def _mark(name: str, part: str, mark: Mark, dates: MarkDates) -> Piece:
    """Weigh a date on a part: of the build, of a later part, or of neither."""
    built, replaced, doubted = mark.chances
    later, slipped = replaced * dates.later, doubted * dates.doubted
    array = built * dates.built + later + slipped
    return _piece(
        name,
        "mark",
        part,
        dates.text,
        array[:, None],
        later=later[None, None],
        slipped=slipped[None, None],
        sources=(*mark.source, *mark.lag.sources(), *mark.replaced.source, *mark.doubt.source),
    )


def dates_of_mark(
    name: str, text: str, mark: Mark, tables: MonthTables, day: datetime.date
) -> MarkDates:
    """Weigh what is recorded of a mark, by where it may come from."""
    period, months = tables.period, len(tables.period)
    found = presence(mark, period)
    if text == ABSENT:
        return MarkDates(text, 1 - found[None], 1 - found, 1 - found)
    stretches, until = mark_stretches(text, mark, period, day), end_position(day) - period.first
    learned, delays = tables.lags.get(name), tables.delays.get(name)
    if is_foreign(text, mark, period, day):
        original = np.zeros((1, months))
    elif learned is None:
        original = mark_likelihood(stretches, mark.lag.distribution(), months, delays)
    else:
        quantiles = learned.quantiles if delays is None else learned.quantiles + delays[:, None]
        original = mark_likelihoods(stretches, quantiles, learned.reached, months)
    later = later_share(stretches, months, until)
    doubted = doubted_share(stretches, months, until)
    return MarkDates(text, original * found, later * found, doubted * found)


def _measurement(
    name: str, part: str, reading: Reading, measurement: Measurement, tables: MonthTables
) -> Piece:
    scale = np.sqrt(tables.spreads[name] ** 2 + reading.within**2)[:, None]
    logs = log_density(np.array(reading.value), tables.means[name], scale, measurement.tails)
    built = logs
    slip, slipped = measurement.slip.value, 0.0
    if slip > 0:
        means = mean_at(measurement, tables.period)
        slipped = slip * slip_density(reading.value, means, measurement.spread, reading.within)
        logs = np.logaddexp(np.log1p(-slip) + logs if slip < 1 else -np.inf, log(slipped))
    top = float(logs.max())
    words = f"{reading.value:g} {measurement.unit}"
    logs = (logs - top)[:, None]
    piece = _piece(
        name,
        "measurement",
        part,
        words,
        np.exp(logs),
        log_scale=top,
        slipped=exp(log(slipped) - top) if slipped > 0 else 0.0,
        sources=(*measurement.source, *measurement.slip.source),
    )
    return replace(piece, logs=logs, logs_built=(built - top)[:, None])


def without_slip(piece: Piece) -> Piece:
    """Take a measurement for one that is no slip of the pen, up to a factor."""
    if piece.logs_built is None:
        return piece
    return replace(piece, likelihood=np.exp(piece.logs_built), logs=piece.logs_built)


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
    array, slipped = array[None, None], 1 - paper.trust
    return _piece(name, "document", None, words, array, slipped=slipped, sources=sources)


def _piece(
    name: str,
    kind: PieceKind,
    component: str | None,
    observation: str,
    array: Floats,
    *,
    log_scale: float = 0.0,
    later: Floats | float = 0.0,
    slipped: Floats | float = 0.0,
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
        later=np.reshape(later, np.shape(later) or (1, 1, 1)) / scale,
        slipped=np.reshape(slipped, np.shape(slipped) or (1, 1, 1)) / scale,
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
