"""Maker file and corpus laid out as the flat arrays of :mod:`dating.learning.terms`."""

from __future__ import annotations

from typing import Any, get_type_hints

import numpy as np
from scipy.special import ndtr

from dating.arrays import Floats, Positions
from dating.distributions import Certain, Judgement, Metalog, Pool
from dating.learning import compiled_density as kernels
from dating.learning.constants import Constants
from dating.learning.corpus_terms import corpus_terms
from dating.learning.gauge_terms import gauge_terms, lag_terms, output_terms
from dating.learning.layout import CHANCE_DOUBT, FLOOR, NARROWEST, POOL_GRID, Layout
from dating.learning.tally import Tally
from dating.learning.terms import GaugeTerms, MarkTerms, Terms


def unknowns_of(layout: Layout, constants: Constants) -> dict[str, int]:
    """Count the unknowns of each variable of the model."""
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

    Shapes: stated (feature,); gives (learned,).
    """
    return np.flatnonzero((stated > 0) & (stated < 1))


def terms_of(layout: Layout, constants: Constants, tally: Tally) -> Terms:
    """Lay everything out."""
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
        "otherwise": _swapped_otherwise(tally, constants),
    }
    return _grouped(terms, len(tally.track), len(tally.gauge))


def _swapped_otherwise(tally: Tally, constants: Constants) -> Floats:
    """Give P(date | month) where a mark does not tell the build, with a swap of its component.

    Shape: (marked, month).
    """
    swapped = constants.mark_swapped[tally.mark][:, None]
    donor = (constants.mark_donor[tally.mark] * tally.otherwise).sum(axis=1, keepdims=True)
    return np.asarray((1 - swapped) * tally.otherwise + swapped * donor)


def _grouped(terms: dict[str, Any], states: int, measured: int) -> Terms:
    """Give every kind its own terms, and measurements and marks the places of their own readings.

    Every array is laid out in the order of its axes: for others the kernels compile once more.
    """
    arrays = {k: np.ascontiguousarray(v) for k, v in terms.items() if isinstance(v, np.ndarray)}
    marks, low, offset = states + measured, arrays["low"], arrays["offset"]
    own = {
        GaugeTerms: {"low": low[states:marks], "offset": offset[states : marks + 1]},
        MarkTerms: {"low": low[marks:], "offset": offset[marks:]},
    }
    groups = {}
    for name, kind in get_type_hints(Terms).items():
        among = terms | arrays | own.get(kind, {})
        groups[name] = kind(**{field: among[field] for field in kind._fields})
    return Terms(**groups)


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
            kind[place] = kinds[number.form] + kernels.HALVES * number.halves
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
