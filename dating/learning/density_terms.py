"""Maker file and corpus laid out as the flat arrays that the density is worked out from."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from dating.distributions import Certain, Judgement, Metalog, Pool
from dating.learning import density_kernels as kernels
from dating.learning.constants import Constants
from dating.learning.corpus_terms import RowTerms, corpus_terms
from dating.learning.gauge_terms import gauge_terms, lag_terms, output_terms
from dating.learning.layout import CHANCE_DOUBT, FLOOR, NARROWEST, POOL_GRID, Layout
from dating.learning.tally import Tally

type Floats = NDArray[np.float64]
type Positions = NDArray[np.int64]


class Terms(NamedTuple):
    """Everything that the density is made of, as flat arrays.

    Numbers, shares, ramps and courses follow :class:`~dating.learning.layout.Layout`. Readings are
    those of states, then those of measurements; reading r is worked out in the months from
    ``low[r]``, and stands at ``offset[r]`` to ``offset[r + 1]``. Row i has the stretches of months
    ``row[i]`` to ``row[i + 1]``, and stretch b its weights by month and its list of readings.

    Parameters
    ----------
    kind, location, scale, skew, unknown, pool : ndarray, shape (number,)
        Kind of the quantile function, the metalog, place among the unknowns (-1 for what is
        certain), and row of the pools.
    pools : ndarray of float64, shape (pool, point)
        Quantiles at z from -6 to 6.
    stated : ndarray of float64, shape (course, regime, state)
        Shares.
    mixed_state, mixed_first : ndarray of int64, shapes (mixed,) and (mixed regime + 1,)
        Places of mixed shares among all, and where those of a regime begin.
    contrast, contrast_state, contrast_unknown : ndarray, shape (entry,)
        Entries of the matrix of contrasts, with the doubt of shares; their rows and unknowns.
    slip, slip_unknown, replaced, replaced_unknown : ndarray, shape (feature,)
        Chances as stated, and their unknowns.
    chance_doubt : float
        As :mod:`~dating.learning.layout` has it.
    first_mean, first_spread : int
        Places of the first anchor and the first measurement among the unknowns.
    anchor_gauge, anchor_mean, anchor_doubt : ndarray, shape (anchor,)
        Its measurement, its stated mean and the doubt of that.
    along : ndarray of float64, shape (anchor, month)
        Weight of each anchor in each month.
    gauge_spread : ndarray of float64, shape (gauge,)
        Stated spreads.
    spread_doubt : float
        As :mod:`~dating.learning.gauges` has it.
    lag_judged, lag_log, lag_reached : ndarray of float64, shape (lag, quantile)
        Judged quantiles, their logarithms less that of the median, and what they reach.
    lag_median, lag_unknown : ndarray, shape (lag,)
        Judged medians, and their places among the unknowns (-1 for what stands); the ratio is next.
    lag_doubt, ratio_doubt : float
        As :mod:`~dating.learning.lags` has them.
    mark_replaced, mark_swapped, mark_donor : ndarray of float64, shape (lag, ...)
        Chances of a later mark and of a swap, months of the donor.
    cosines, reach : ndarray of float64, shapes (month, cosine) and (cosine,)
        As :class:`~dating.learning.walk.Walk` has them; none where the output stands.
    step, deviation, scale_doubt : float
        As :mod:`~dating.learning.walk` has them.
    first_scale, first_cosine : int
        Places of both scales and of the amplitudes among the unknowns.
    start, lag, overlap, logistic : ndarray, shape (ramp,)
        Numbers of a ramp, and its shape.
    narrowest : float
        As :mod:`~dating.learning.layout` has it.
    depth, states, ramp, anchored : ndarray, shape (course, ...)
        How many regimes and states, the ramps between regimes, and whether it is a table.
    anchors : ndarray of float64, shape (course, regime, month)
        Tables.
    feature, replacement, swapped, donor : ndarray, shape (course, ...)
        Its feature, shares of later states, the chance of a swap, and months of the donor.
    floor : float
        As :mod:`~dating.learning.layout` has it.
    course, weights : ndarray, shapes (reading of a state,) and (reading of a state, state)
        What is read.
    low, offset : ndarray of int64, shapes (reading,) and (reading + 1,)
        The months in which a reading is worked out, and where it stands.
    gauge, measured, constant, times : ndarray, shape (measured, ...)
        Measurement, value and error, the logarithm of what a density of scale one is multiplied by,
        and how many instruments have it.
    tails, gauge_swapped, gauge_donor : ndarray of float64, shape (gauge, ...)
        Degrees of freedom (0 for a normal), chance of a swap, months of the donor.
    mark, stretch_at : ndarray of int64, shapes (marked,) and (marked + 1,)
        The mark of a reading, and where its stretches begin.
    stretch_month, stretch_kind : ndarray of int64, shape (stretch,)
        The month in which each begins, and its kind.
    kind_lag, kind_from, kind_to : ndarray, shape (kind,)
        Of stretches that are alike but for their month: the mark, and both ends since its start.
    known : ndarray of float64, shape (month,)
        How many instruments of known month there are.
    instruments, counted : ndarray, shape (counted,)
        How many instruments, and their place among the readings' months.
    rows : RowTerms
        Instruments that are summed over months.
    """

    kind: Positions
    location: Floats
    scale: Floats
    skew: Floats
    unknown: Positions
    pool: Positions
    pools: Floats
    stated: Floats
    mixed_state: Positions
    mixed_first: Positions
    contrast: Floats
    contrast_state: Positions
    contrast_unknown: Positions
    slip: Floats
    slip_unknown: Positions
    replaced: Floats
    replaced_unknown: Positions
    chance_doubt: float
    first_mean: int
    first_spread: int
    anchor_gauge: Positions
    anchor_mean: Floats
    anchor_doubt: Floats
    along: Floats
    gauge_spread: Floats
    spread_doubt: float
    lag_judged: Floats
    lag_log: Floats
    lag_reached: Floats
    lag_median: Floats
    lag_unknown: Positions
    lag_doubt: float
    ratio_doubt: float
    mark_replaced: Floats
    mark_swapped: Floats
    mark_donor: Floats
    cosines: Floats
    reach: Floats
    step: float
    deviation: float
    scale_doubt: float
    first_scale: int
    first_cosine: int
    start: Positions
    lag: Positions
    overlap: Positions
    logistic: NDArray[np.bool_]
    narrowest: float
    depth: Positions
    states: Positions
    ramp: Positions
    anchored: NDArray[np.bool_]
    anchors: Floats
    feature: Positions
    replacement: Floats
    swapped: Floats
    donor: Floats
    floor: float
    course: Positions
    weights: Floats
    low: Positions
    offset: Positions
    gauge: Positions
    measured: Floats
    constant: Floats
    times: Floats
    tails: Floats
    gauge_swapped: Floats
    gauge_donor: Floats
    mark: Positions
    stretch_at: Positions
    stretch_month: Positions
    stretch_kind: Positions
    kind_lag: Positions
    kind_from: Floats
    kind_to: Floats
    known: Floats
    instruments: Floats
    counted: Positions
    rows: RowTerms


def unknowns_of(layout: Layout, constants: Constants) -> dict[str, int]:
    """Count the unknowns of each variable of the model.

    Parameters
    ----------
    layout : Layout
        The maker file's numbers, ramps and courses.
    constants : Constants
        What is taken as it stands.

    Returns
    -------
    dict of str to int
        In the order of the model; zero where it has no such variable.
    """
    return {
        "z": sum(not isinstance(number, Certain) for number in layout.numbers.values()),
        "z share": layout.contrasts.shape[1],
        "z slip": len(open_chances(constants.slip)),
        "z replaced": len(open_chances(constants.replaced)),
        "z mean": sum(len(gauge.stated) for gauge in layout.gauges),
        "z spread": len(layout.gauges),
        "z lag": 2 * sum(lag.learned for lag in layout.lags),
        "z output scale": 0 if layout.walk is None else 2,
        "z output": 0 if layout.walk is None else len(layout.walk.reach),
    }


def open_chances(stated: Floats) -> Positions:
    """Give the places of the chances that are learned: what is never or always so stands.

    Parameters
    ----------
    stated : ndarray of float64, shape (feature,)
        Stated chances.

    Returns
    -------
    ndarray of int64, shape (learned,)
        In ascending order.
    """
    return np.flatnonzero((stated > 0) & (stated < 1))


def terms_of(layout: Layout, constants: Constants, tally: Tally) -> Terms:
    """Lay everything out.

    Parameters
    ----------
    layout : Layout
        The maker file's numbers, ramps and courses.
    constants : Constants
        What is taken as it stands.
    tally : Tally
        The corpus.

    Returns
    -------
    Terms
        For the kernels.
    """
    ends = np.cumsum(list(unknowns_of(layout, constants).values()))
    slip, replaced = (
        _unknowns(len(stated), open_chances(stated), first)
        for stated, first in zip((constants.slip, constants.replaced), ends[1:3], strict=True)
    )
    terms = {
        **_number_terms(tuple(layout.numbers.values())),
        **_share_terms(layout, int(ends[0])),
        "slip": constants.slip,
        "slip_unknown": slip,
        "replaced": constants.replaced,
        "replaced_unknown": replaced,
        "chance_doubt": CHANCE_DOUBT,
        "first_mean": int(ends[3]),
        "first_spread": int(ends[4]),
        **gauge_terms(layout, constants),
        **lag_terms(layout, constants, int(ends[5])),
        **output_terms(layout),
        "first_scale": int(ends[6]),
        "first_cosine": int(ends[7]),
        **_course_terms(layout, constants),
        "floor": FLOOR,
        **corpus_terms(layout, tally),
    }
    return _in_order(terms)


def _in_order(terms: dict[str, Any]) -> Terms:
    """Lay every array out in the order of its axes: for others the kernels compile once more."""
    arrays = {k: np.ascontiguousarray(v) for k, v in terms.items() if isinstance(v, np.ndarray)}
    return Terms(**terms | arrays)


def _unknowns(count: int, places: Positions, first: int) -> Positions:
    """Give the place of each chance among the unknowns, -1 where it stands."""
    unknown = np.full(count, -1)
    unknown[places] = first + np.arange(len(places))
    return unknown


def _number_terms(judged: tuple[Judgement, ...]) -> dict[str, Any]:
    kinds = {"plain": kernels.PLAIN, "log": kernels.LOG, "cut at zero": kernels.CUT}
    count = len(judged)
    terms: dict[str, Any] = {name: np.zeros(count) for name in ("location", "scale", "skew")}
    kind, unknown, pool = np.zeros(count, int), np.full(count, -1), np.full(count, -1)
    pools: list[Floats] = []
    for place, number in enumerate(judged):
        unknown[place] = -1 if isinstance(number, Certain) else unknown.max(initial=-1) + 1
        if isinstance(number, Certain):
            kind[place], terms["location"][place] = kernels.CERTAIN, number.value
        elif isinstance(number, Metalog):
            kind[place] = kinds[number.form]
            for name in ("location", "scale", "skew"):
                terms[name][place] = getattr(number, name)
        elif isinstance(number, Pool):
            kind[place], pool[place] = kernels.POOL, len(pools)
            pools.append(number.quantile(ndtr(POOL_GRID)))
    points = np.array(pools).reshape(-1, len(POOL_GRID))
    return {**terms, "kind": kind, "unknown": unknown, "pool": pool, "pools": points}


def _share_terms(layout: Layout, first: int) -> dict[str, Any]:
    stated, matrix = layout.stated_shares, layout.contrasts
    mixed = np.flatnonzero(layout.mixed)
    regime = mixed // max(stated.shape[2], 1)
    begins = np.flatnonzero(np.diff(regime, prepend=-1))
    row, column = np.nonzero(matrix)
    return {
        "stated": stated,
        "mixed_state": mixed,
        "mixed_first": np.append(begins, len(mixed)),
        "contrast": matrix[row, column],
        "contrast_state": row,
        "contrast_unknown": first + column,
    }


def _course_terms(layout: Layout, constants: Constants) -> dict[str, Any]:
    tracks, months = layout.tracks, layout.months
    depth = max((len(track.shares) for track in tracks), default=1)
    ramp = np.full((len(tracks), max(depth - 1, 1)), -1)
    anchors = np.zeros((len(tracks), depth, months))
    for place, track in enumerate(tracks):
        ramp[place, : len(track.ramps)] = track.ramps
        if track.anchored is not None:
            anchors[place, : len(track.anchored)] = track.anchored
    ramps = layout.ramps
    return {
        "start": np.array([r.start for r in ramps], dtype=np.int64),
        "lag": np.array([-1 if r.lag is None else r.lag for r in ramps], dtype=np.int64),
        "overlap": np.array([r.overlap for r in ramps], dtype=np.int64),
        "logistic": np.array([r.logistic for r in ramps], dtype=np.bool_),
        "narrowest": NARROWEST,
        "depth": np.array([len(track.shares) for track in tracks], dtype=np.int64),
        "states": np.array([len(track.states) for track in tracks], dtype=np.int64),
        "ramp": ramp,
        "anchored": np.array([track.anchored is not None for track in tracks], dtype=np.bool_),
        "anchors": anchors,
        "feature": constants.feature,
        "replacement": constants.replacement,
        "swapped": constants.swapped,
        "donor": constants.donor,
    }
