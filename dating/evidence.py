"""What was seen, turned into likelihoods over the build month.

Each piece of evidence is one array, scaled so that its largest value is one; the scale is kept
beside it. The order of axes is draw, variant, month.
"""

from __future__ import annotations

import calendar
import datetime
from collections.abc import Iterator
from dataclasses import dataclass
from math import lgamma, log, pi, sqrt
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from dating.date_codes import read_date_code
from dating.edtf import parse_edtf
from dating.examination import Examination, Paper, Reading, Sight
from dating.judgement import Judgement
from dating.maker import Course, Feature, Maker, Mark, Measurement, Regime
from dating.months import Period, day_position, month_number
from dating.tables import MonthTables

type Floats = NDArray[np.float64]
type Kind = Literal["feature", "mark", "measurement", "document", "variant"]


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
    said : str
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
    """

    name: str
    kind: Kind
    component: str | None
    said: str
    likelihood: Floats
    log_scale: float
    later: Floats
    sources: tuple[str, ...]
    events: tuple[str, ...]

    @property
    def has_draws(self) -> bool:
        """Whether the likelihood differs between draws."""
        return len(self.likelihood) > 1


@dataclass(frozen=True)
class Neutral:
    """Something recorded that cannot bear on the date: an unlisted state.

    Parameters
    ----------
    name : str
        The feature.
    component : str or None
        The component it sits on.
    said : str
        What was recorded.
    """

    name: str
    component: str | None
    said: str


def pieces_of(
    examination: Examination, maker: Maker, tables: MonthTables
) -> tuple[tuple[Piece, ...], tuple[Neutral, ...]]:
    """Turn an examination into pieces of evidence.

    Parameters
    ----------
    examination : Examination
        An examination that has been checked against the maker file.
    maker : Maker
        The maker file.
    tables : MonthTables
        Its month tables.

    Returns
    -------
    pieces : tuple of Piece
        In the order of the maker file, then the variant and the documents.
    neutral : tuple of Neutral
        Unlisted states, which are recorded and say nothing about the date.
    """
    found = list(_found(examination, maker, tables))
    pieces = tuple(item for item in found if isinstance(item, Piece))
    return pieces, tuple(item for item in found if isinstance(item, Neutral))


def state_weights(sight: Sight, states: tuple[str, ...]) -> Floats:
    """Give the examiner's weight for each state.

    Parameters
    ----------
    sight : Sight
        What was seen.
    states : tuple of str
        Names of the states.

    Returns
    -------
    ndarray of float64, shape (state,)
        One for a state or for each of several; a confidence and its remainder shared evenly
        among the others.

    Examples
    --------
    >>> state_weights(Sight(state="b", sure=0.8), ("a", "b", "c")).round(3).tolist()
    [0.1, 0.8, 0.1]
    """
    weights = np.array([1.0 if state in sight.named() else 0.0 for state in states])
    if sight.sure is None or len(states) == 1:
        return weights
    return weights * sight.sure + (1 - weights) * (1 - sight.sure) / (len(states) - 1)


def mark_likelihood(stretches: list[tuple[float, float]], lag: Judgement, months: int) -> Floats:
    """Give P(mark | build month) for a date that lies in one of some stretches of time.

    The part was dated at x, any instant of the stretches, and the instrument was completed a
    lag later. A whole month c therefore contributes P(lag = t - c) in calendar months.

    Parameters
    ----------
    stretches : list of (float, float)
        Start and end of each candidate, in months since the start of the period.
    lag : Judgement
        Months from the mark to the completion of the instrument.
    months : int
        Length of the period.

    Returns
    -------
    ndarray of float64, shape (month,)
        ``sum over stretches of the integral of P(t <= x + lag < t + 1) dx``.

    Examples
    --------
    >>> from dating.judgement import Certain
    >>> mark_likelihood([(2.0, 3.0)], Certain(1.0), months=5).tolist()
    [0.0, 0.0, 0.0, 1.0, 0.0]
    """
    lags, weights = lag.nodes(fine=4)
    month = np.arange(float(months))[:, None]
    total = np.zeros(months)
    for start, stop in stretches:
        shared = np.minimum(stop + lags, month + 1) - np.maximum(start + lags, month)
        total += np.maximum(shared, 0.0) @ weights
    return total


def mark_stretches(text: str, mark: Mark, period: Period) -> list[tuple[float, float]]:
    """List the stretches of time in which a mark may have been made.

    Parameters
    ----------
    text : str
        A source-date code or an EDTF date, as recorded.
    mark : Mark
        With its format.
    period : Period
        The maker's period; a code is not read as later than its end.

    Returns
    -------
    list of (float, float)
        Start and end of each candidate, in months since the start of the period.
    """
    if mark.format == "source-date":
        codes = read_date_code(text, latest=period.last_day)
        ends = {(code.first_day, code.last_day) for code in codes}
    else:
        ends = {(_known(first), _known(last)) for first, last in parse_edtf(text).stretches}
    return [
        (day_position(first) - period.first, _end_position(last) - period.first)
        for first, last in sorted(ends)
    ]


def _end_position(day: datetime.date) -> float:
    """Return where a day ends on the month axis."""
    days_in_month = calendar.monthrange(day.year, day.month)[1]
    return month_number(day.year, day.month) + day.day / days_in_month


def mean_at(measurement: Measurement, period: Period) -> Floats:
    """Give the mean of a measurement in each month: linear between anchors, constant outside.

    Parameters
    ----------
    measurement : Measurement
        With its anchors.
    period : Period
        The months.

    Returns
    -------
    ndarray of float64, shape (month,)
        In the unit of the measurement.
    """
    anchors = sorted(measurement.mean)
    months = np.arange(period.first, period.last + 1)
    return np.interp(months, anchors, [measurement.mean[anchor] for anchor in anchors])


def log_density(value: Floats, mean: Floats, scale: float, tails: float | None) -> Floats:
    """Give the log density of a normal, or of a Student t with heavier tails.

    Parameters
    ----------
    value, mean : ndarray of float64
        In the unit of the measurement; shapes that broadcast.
    scale : float
        Standard deviation, or scale of the Student t, in the same unit.
    tails : float or None
        Degrees of freedom; None for a normal.

    Returns
    -------
    ndarray of float64
        Natural logarithms, broadcast shape.

    Examples
    --------
    >>> float(log_density(np.zeros(1), np.zeros(1), 1.0, None).round(6)[0])
    -0.918939
    """
    z = (value - mean) / scale
    if tails is None:
        return -0.5 * z * z - log(scale * sqrt(2 * pi))
    half = (tails + 1) / 2
    constant = lgamma(half) - lgamma(tails / 2) - 0.5 * log(tails * pi) - log(scale)
    return constant - half * np.log1p(z * z / tails)


def _found(
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
            sources = maker.variants.source
            yield _piece("variant", "variant", None, sight.words(), array, sources=sources)
    for position, paper in enumerate(examination.documents, start=1):
        yield _document(f"document {position}", paper, tables)


def _feature(name: str, part: str, sight: Sight, tables: MonthTables, maker: Maker) -> Piece:
    feature, table = maker.features()[name][1], tables.features[name]
    weights = state_weights(sight, table.states)
    slip, replaced = table.slip[:, None, None], table.replaced[:, None, None]
    original = (1 - slip) * table.weighed(weights) + slip * weights.mean()
    later = replaced * float(table.replacement @ weights)
    array = (1 - replaced) * original + later
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
    original = mark_likelihood(stretches, mark.lag.distribution(), months)
    array = (1 - replaced) * original + later
    sources = (*mark.source, *mark.lag.sources(), *mark.replaced.source)
    return _piece(name, "mark", part, text, array[None, None], later=later, sources=sources)


def _measurement(
    name: str, part: str, reading: Reading, measurement: Measurement, tables: MonthTables
) -> Piece:
    scale = sqrt(measurement.spread**2 + reading.within**2)
    mean = mean_at(measurement, tables.period)
    logs = log_density(np.full(len(mean), reading.value), mean, scale, measurement.tails)
    top = float(logs.max())
    said = f"{reading.value:g} {measurement.unit}"
    array = np.exp(logs - top)[None, None]
    return _piece(name, "measurement", part, said, array, log_scale=top, sources=measurement.source)


def _document(name: str, paper: Paper, tables: MonthTables) -> Piece:
    months = np.arange(tables.period.first, tables.period.last + 1)
    allowed = np.ones(len(months), dtype=bool)
    if paper.not_after is not None:
        allowed &= months <= _month(paper.not_after.upper)
    if paper.not_before is not None:
        allowed &= months >= _month(paper.not_before.lower)
    array = paper.trust * allowed + (1 - paper.trust)
    sources = (paper.source,) if paper.source else ()
    said = f"{paper.what}: {paper.words()}"
    return _piece(name, "document", None, said, array[None, None], sources=sources)


def _piece(
    name: str,
    kind: Kind,
    component: str | None,
    said: str,
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
        said=said,
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
    known = _known(day)
    return month_number(known.year, known.month)


def _known(day: datetime.date | None) -> datetime.date:
    if day is None:
        raise ValueError("a date with two ends is wanted here")
    return day
