"""The joint model of a corpus in PyMC: judgements as priors, recorded states as likelihood.

Every uncertain number has a standard normal ``z``, and is the judgement's quantile function of
``Phi(z)``: the prior is honoured exactly and the geometry stays standard. All ramps are worked
out in one array, so the graph does not grow with the number of features, and counts by reading and
month make the cost independent of the number of instruments whose month is known.

A part that may have been swapped is taken feature by feature (its recorded state then follows the
donor's month), so that counts suffice; that features of one swapped component go together is not
used here, but it is when an instrument is dated.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pymc as pm
import pytensor.tensor as pt
from numpy.typing import NDArray
from scipy.special import gammaln, ndtr

from dating.distributions import Certain, Metalog, Pool
from dating.learning.constants import Constants
from dating.learning.layout import (
    CHANCE_DOUBT,
    FLOOR,
    MEAN_DOUBT,
    NARROWEST,
    POOL_GRID,
    Gauge,
    Layout,
)
from dating.learning.tally import Tally

type Floats = NDArray[np.float64]

_STEEPNESS = 2 * float(np.log(19.0))
_NEVER = 1e-300
_FARTHEST, _ROOT_TWO = np.float64(35.0), np.sqrt(2.0)  # a plain 2.0 would be taken in 32 bits


def learning_model(layout: Layout, constants: Constants, tally: Tally) -> pm.Model:
    """Build the model.

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
    pymc.Model
        With the deterministics ``value``, ``share``, ``slip``, ``replaced``, ``mean`` (where
        there are measurements) and ``log likelihood``, and the data ``counts``.
    """
    coords = {
        "number": list(layout.numbers),
        "feature": list(constants.features),
        "anchor": layout.anchor_names,
        "track": [track.label for track in layout.tracks],
    }
    with pm.Model(coords=coords) as model:
        numbers = pm.Deterministic("value", _numbers(layout), dims="number")
        shares = pm.Deterministic("share", _shares(layout))
        slip = pm.Deterministic("slip", _chances("slip", constants.slip), dims="feature")
        replaced = _chances("replaced", constants.replaced)
        replaced = pm.Deterministic("replaced", replaced, dims="feature")
        built = (_regimes(layout, numbers)[:, :, None, :] * shares[:, :, :, None]).sum(axis=1)
        recorded = _recorded(built, slip, replaced, constants)
        readings = (recorded[tally.track] * tally.weights[:, :, None]).sum(axis=1)
        log_readings = pt.log(readings * (1 - FLOOR) + FLOOR)
        if layout.gauges:
            means = pm.Deterministic("mean", _means(layout), dims="anchor")
            measured = _measured(layout.gauges, means, tally, constants)
            log_readings = pt.concatenate([log_readings, measured], axis=0)
        total = (pm.Data("counts", tally.counts) * log_readings).sum()
        if tally.rows:
            total = total + _cases(log_readings, tally)
        pm.Deterministic("log likelihood", total)
        pm.Potential("corpus", total)
    return model


def _numbers(layout: Layout) -> Any:
    """Give all numbers as one vector: certain, through metalogs, or through pooled quantiles."""
    judged = list(layout.numbers.values())
    free = [place for place, number in enumerate(judged) if not isinstance(number, Certain)]
    values = pt.as_tensor(
        np.array([number.value if isinstance(number, Certain) else 0.0 for number in judged])
    )
    if not free:
        return values
    z = pm.Normal("z", shape=len(free))
    metalogs = [place for place in free if isinstance(judged[place], Metalog)]
    if metalogs:
        own = z[[free.index(place) for place in metalogs]]
        drawn = _metalog_values([judged[place] for place in metalogs], own)
        values = pt.set_subtensor(values[metalogs], drawn)
    for place in free:
        number = judged[place]
        if isinstance(number, Pool):
            values = pt.set_subtensor(values[place], _pool_value(number, z[free.index(place)]))
    return values


def _metalog_values(metalogs: list[Any], z: Any) -> Any:
    location, scale, skew = (
        np.array([getattr(metalog, name) for metalog in metalogs])
        for name in ("location", "scale", "skew")
    )
    within = pt.clip(z, -_FARTHEST, _FARTHEST) / _ROOT_TWO
    log_odds = pt.log(pt.erfc(-within)) - pt.log(pt.erfc(within))
    plain = location + (scale + skew * (pt.sigmoid(log_odds) - 0.5)) * log_odds
    through_log = np.array([metalog.form == "log" for metalog in metalogs])
    cut = np.array([metalog.form == "cut at zero" for metalog in metalogs])
    grown = pt.exp(pt.where(through_log, pt.minimum(plain, 30.0), 0.0))
    return pt.where(through_log, grown, pt.where(cut, pt.maximum(plain, 0.0), plain))


def _pool_value(pool: Pool, z: Any) -> Any:
    """Interpolate the pooled quantile function over a fine grid of z."""
    table = pt.as_tensor(pool.quantile(ndtr(POOL_GRID)))
    at = pt.clip((z + 6.0) * 200.0, 0.0, len(POOL_GRID) - 1.000001)
    cell = pt.cast(pt.floor(at), "int64")
    return table[cell] + (at - cell) * (table[cell + 1] - table[cell])


def _shares(layout: Layout) -> Any:
    """Give the shares of the states; those of mixed regimes are learned, the others stand."""
    stated, mixed = layout.stated_shares, layout.mixed
    if not mixed.any():
        return pt.as_tensor(stated)
    doubt = pm.Normal("z share", shape=layout.contrasts.shape[1])
    moved = pt.set_subtensor(pt.zeros(stated.shape)[np.nonzero(mixed)], layout.contrasts @ doubt)
    weighed = stated * pt.exp(moved)
    total = weighed.sum(axis=2, keepdims=True)
    return weighed / pt.where(pt.eq(total, 0.0), 1.0, total)


def _chances(name: str, stated: Floats) -> Any:
    """Give chances: what is stated as never or always stands, the others are learned."""
    open_ = np.flatnonzero((stated > 0) & (stated < 1))
    values = pt.as_tensor(stated)
    if not len(open_):
        return values
    z = pm.Normal(f"z {name}", shape=len(open_))
    logit = np.log(stated[open_]) - np.log1p(-stated[open_])
    return pt.set_subtensor(values[open_], pt.sigmoid(logit + CHANCE_DOUBT * z))


def _means(layout: Layout) -> Any:
    """Give the means of all measurements at their anchors, one after the other."""
    stated = np.concatenate([gauge.stated for gauge in layout.gauges])
    spread = np.repeat([g.spread for g in layout.gauges], [len(g.stated) for g in layout.gauges])
    return stated + MEAN_DOUBT * spread * pm.Normal("z mean", shape=len(stated))


def _measured(gauges: tuple[Gauge, ...], means: Any, tally: Tally, constants: Constants) -> Any:
    """Give the log density of every measured value in every month, with swap."""
    ends = np.cumsum([len(gauge.stated) for gauge in gauges])
    places = zip(gauges, ends, strict=True)
    drift = pt.stack([means[end - len(gauge.stated) : end] @ gauge.along for gauge, end in places])
    tails = np.array([gauge.tails or np.inf for gauge in gauges])[tally.gauge][:, None]
    value, scale = tally.measured.T[:, :, None]
    z = (value - drift[tally.gauge]) / scale
    freedom = np.where(np.isinf(tails), 1.0, tails)
    top = np.where(
        np.isinf(tails),
        -0.5 * np.log(2 * np.pi),
        gammaln((freedom + 1) / 2) - gammaln(freedom / 2) - 0.5 * np.log(freedom * np.pi),
    )
    normal = pt.exp(-0.5 * z**2)
    if np.isfinite(tails).any():
        heavy = (1 + z**2 / freedom) ** (-(freedom + 1) / 2)
        normal = pt.where(np.isinf(tails), normal, heavy)
    swapped = constants.gauge_swapped[tally.gauge][:, None]
    donor = (normal * constants.gauge_donor[tally.gauge]).sum(axis=1, keepdims=True)
    mixed = (1 - swapped) * normal + swapped * donor
    return pt.log(mixed + _NEVER) + top - np.log(scale)


def _regimes(layout: Layout, numbers: Any) -> Any:
    """Give P(regime | month) of every course, shape (track, regime, month)."""
    tracks, months = layout.tracks, layout.months
    depth = max(len(track.shares) for track in tracks)
    ramps = pt.concatenate([_ramps(layout, numbers), pt.zeros((1, months))], axis=0)
    never = len(layout.ramps)
    index = np.full((len(tracks), depth), never)
    anchored = np.zeros((len(tracks), depth, months))
    by_table = np.array([track.anchored is not None for track in tracks])
    for position, track in enumerate(tracks):
        index[position, : len(track.ramps)] = track.ramps
        if track.anchored is not None:
            anchored[position, : len(track.anchored)] = track.anchored
    reached, made = pt.ones((len(tracks), months)), []
    for step in range(depth):
        ramp = ramps[index[:, step]]
        made.append(reached * (1 - ramp))
        reached = reached * ramp
    return pt.where(by_table[:, None, None], anchored, pt.stack(made, axis=1))


def ramp_shares(start: Any, overlap: Any, logistic: Any, months: int) -> Any:
    """Give the ramps averaged over each month, as a graph.

    Parameters
    ----------
    start : vector, shape (ramp,)
        First uses, in months since the start of the period.
    overlap : vector, shape (ramp,)
        Lengths in months, above zero.
    logistic : ndarray of bool, shape (ramp,)
        Which ramps pass 5 % at their start and 95 % at their end; the others are linear.
    months : int
        Length of the period.

    Returns
    -------
    matrix, shape (ramp, month)
        As :func:`dating.ramps.month_shares`.
    """
    width = overlap[:, None]
    since = np.arange(months + 1.0)[None, :] - start[:, None]
    inside = pt.clip(since, 0.0, width)
    linear = inside**2 / (2 * width) + pt.maximum(since - width, 0.0)
    scale = width / _STEEPNESS
    smooth = scale * pt.softplus((since - width / 2) / scale)
    area = pt.where(logistic[:, None], smooth, linear)
    return area[:, 1:] - area[:, :-1]


def _ramps(layout: Layout, numbers: Any) -> Any:
    """Give all ramps, none narrower than the narrowest."""
    if not layout.ramps:
        return pt.zeros((0, layout.months))
    lagged = np.array([ramp.lag is not None for ramp in layout.ramps])
    lag = numbers[[ramp.lag or 0 for ramp in layout.ramps]]
    start = numbers[[ramp.start for ramp in layout.ramps]] + pt.where(lagged, lag, 0.0)
    overlap = numbers[[ramp.overlap for ramp in layout.ramps]]
    width = pt.sqrt(overlap**2 + NARROWEST**2)
    logistic = np.array([ramp.logistic for ramp in layout.ramps])
    return ramp_shares(start, width, logistic, layout.months)


def _recorded(built: Any, slip: Any, replaced: Any, constants: Constants) -> Any:
    """Give P(recorded state | month) with slip, replacement and swap, by course."""
    real = np.arange(constants.replacement.shape[1]) < constants.states[:, None]
    misread = (real / constants.states[:, None])[:, :, None]
    none = pt.zeros(1)
    e = pt.concatenate([slip, none])[constants.feature][:, None, None]
    rho = pt.concatenate([replaced, none])[constants.feature][:, None, None]
    seen = (1 - e) * built + e * misread
    seen = (1 - rho) * seen + rho * constants.replacement[:, :, None]
    from_donor = (seen * constants.donor[:, None, :]).sum(axis=2, keepdims=True)
    swapped = constants.swapped[:, None, None]
    return (1 - swapped) * seen + swapped * from_donor


def _cases(log_readings: Any, tally: Tally) -> Any:
    """Sum each doubtful instrument over the months and variants it may have come from."""
    laid_out = pt.concatenate([log_readings.flatten(), pt.zeros(1)])
    cases = pt.as_tensor(tally.cases)
    logs = laid_out[cases.flatten()].reshape(cases.shape).sum(axis=1)
    by_row = pt.zeros(tally.rows)[tally.case_row].inc(tally.case_weight * pt.exp(logs))
    return pt.log(by_row).sum()
