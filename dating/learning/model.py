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
from scipy.special import gammaln, ndtr

from dating.arrays import Floats
from dating.distributions import Certain, Metalog, Pool
from dating.learning.constants import Constants
from dating.learning.gauges import MEAN_DOUBT, SPREAD_DOUBT, Gauge
from dating.learning.lags import LAG_DOUBT, RATIO_DOUBT, Lag
from dating.learning.layout import CHANCE_DOUBT, FLOOR, NARROWEST, POOL_GRID, Layout
from dating.learning.tally import Tally
from dating.learning.walk import DEVIATION, SCALE_DOUBT, STEP, Walk

_STEEPNESS = 2 * float(np.log(19.0))
_NEVER, _ROUNDING = 1e-300, 1e-9
_FARTHEST, _ROOT_TWO = np.float64(35.0), np.sqrt(2.0)  # a plain 2.0 would be taken in 32 bits


def learning_model(layout: Layout, constants: Constants, tally: Tally) -> pm.Model:
    """Build the model."""
    coords = {
        "number": list(layout.numbers),
        "feature": list(constants.features),
        "anchor": layout.anchor_names,
        "track": [track.label for track in layout.tracks],
        "measurement": [gauge.name for gauge in layout.gauges],
        "mark": [lag.mark for lag in layout.lags],
    }
    with pm.Model(coords=coords) as model:
        log_readings = pt.zeros((0, layout.months))
        if layout.tracks:
            log_readings = _sighted(layout, constants, tally)
        else:
            _chances_alone(constants)
        if layout.gauges:
            means = pm.Deterministic("mean", _means(layout), dims="anchor")
            spreads = pm.Deterministic("spread", _spreads(layout.gauges), dims="measurement")
            measured = _measured(layout.gauges, means, spreads, tally, constants)
            log_readings = pt.concatenate([log_readings, measured], axis=0)
        if layout.lags:
            marked = _marked(layout.lags, layout.months, tally, constants)
            log_readings = pt.concatenate([log_readings, marked], axis=0)
        total = (pm.Data("counts", tally.counts) * log_readings).sum()
        log_output = None
        if layout.walk is not None:
            log_output = _log_output(layout.walk)
            total = total + (tally.known * log_output).sum()
        if tally.rows:
            total = total + _cases(log_readings, log_output, tally)
        pm.Deterministic("log likelihood", total)
        pm.Potential("corpus", total)
    return model


def _sighted(layout: Layout, constants: Constants, tally: Tally) -> Any:
    """Give the log probability of every reading of a state in every month."""
    numbers = pm.Deterministic("value", _numbers(layout), dims="number")
    shares = pm.Deterministic("share", _shares(layout))
    slip, replaced = _chances_alone(constants)
    built = (_regimes(layout, numbers)[:, :, None, :] * shares[:, :, :, None]).sum(axis=1)
    recorded = _recorded(built, slip, replaced, constants)
    readings = (recorded[tally.track] * tally.weights[:, :, None]).sum(axis=1)
    return pt.log(readings * (1 - FLOOR) + FLOOR)


def _chances_alone(constants: Constants) -> tuple[Any, Any]:
    """Give the slips and the chances of replacement."""
    slip = pm.Deterministic("slip", _chances("slip", constants.slip), dims="feature")
    replaced = _chances("replaced", constants.replaced)
    return slip, pm.Deterministic("replaced", replaced, dims="feature")


def _numbers(layout: Layout) -> Any:
    """Give all numbers as one vector: certain, through metalogs, or through pooled quantiles."""
    judged = list(layout.numbers.values())
    uncertain = [place for place, number in enumerate(judged) if not isinstance(number, Certain)]
    values = pt.as_tensor(
        np.array([number.value if isinstance(number, Certain) else 0.0 for number in judged])
    )
    if not uncertain:
        return values
    z = pm.Normal("z", shape=len(uncertain))
    metalogs = [place for place in uncertain if isinstance(judged[place], Metalog)]
    if metalogs:
        own = z[[uncertain.index(place) for place in metalogs]]
        metalog_values = _metalog_values([judged[place] for place in metalogs], own)
        values = pt.set_subtensor(values[metalogs], metalog_values)
    for place in uncertain:
        number = judged[place]
        if isinstance(number, Pool):
            values = pt.set_subtensor(values[place], _pool_value(number, z[uncertain.index(place)]))
    return values


def _metalog_values(metalogs: list[Any], z: Any) -> Any:
    location, scale, skew = (
        np.array([getattr(metalog, name) for metalog in metalogs])
        for name in ("location", "scale", "skew")
    )
    within = pt.clip(z, -_FARTHEST, _FARTHEST) / _ROOT_TWO
    log_odds = pt.log(pt.erfc(-within)) - pt.log(pt.erfc(within))
    halves = np.array([metalog.halves for metalog in metalogs])
    share = pt.where(halves, pt.ge(log_odds, 0.0), pt.sigmoid(log_odds))
    plain = location + (scale + skew * (share - 0.5)) * log_odds
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


def _spreads(gauges: tuple[Gauge, ...]) -> Any:
    """Give the spreads of production of all measurements."""
    stated = np.array([gauge.spread for gauge in gauges])
    return stated * pt.exp(SPREAD_DOUBT * pm.Normal("z spread", shape=len(gauges)))


def _measured(
    gauges: tuple[Gauge, ...], means: Any, spreads: Any, tally: Tally, constants: Constants
) -> Any:
    """Give the log density of every measured value in every month, with swap."""
    ends = np.cumsum([len(gauge.stated) for gauge in gauges])
    places = zip(gauges, ends, strict=True)
    drift = pt.stack([means[end - len(gauge.stated) : end] @ gauge.along for gauge, end in places])
    tails = np.array([gauge.tails or np.inf for gauge in gauges])[tally.gauge][:, None]
    value, within = tally.measured.T[:, :, None]
    scale = pt.sqrt(spreads[tally.gauge][:, None] ** 2 + within**2)
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
    return pt.log(mixed + _NEVER) + top - pt.log(scale)


def _marked(lags: tuple[Lag, ...], months: int, tally: Tally, constants: Constants) -> Any:
    """Give the log probability of every mark in every month, with replacement and swap."""
    median, ratio = _lags(lags)
    ends = np.array([end for stretches in tally.stretches for end in stretches]).reshape(-1, 2)
    reading = np.repeat(np.arange(len(tally.mark)), [len(each) for each in tally.stretches])
    belongs = np.equal.outer(np.arange(len(tally.mark)), reading).astype(float)
    dated, edges = pt.zeros((len(ends), months)), np.arange(months + 1.0)
    for place, lag in enumerate(lags):
        own = np.flatnonzero(tally.mark[reading] == place)
        quantiles = pt.as_tensor(lag.judged)
        if lag.learned:
            quantiles = median[place] * (lag.judged / lag.median) ** ratio[place]
        first, last = (
            _excess(edges - ends[own, side, None], quantiles, lag.reached) for side in (0, 1)
        )
        before = edges[1:] <= ends[own, 0, None]  # nothing but rounding is left
        begins = np.floor(ends[own, 0, None] + _ROUNDING)
        never = before | (edges[:-1] - begins > months)  # no lag is longer than the period
        chance = (first - last)[:, 1:] - (first - last)[:, :-1]
        dated = pt.set_subtensor(dated[own], pt.where(never, 0.0, chance))
    alike = (belongs @ (ends[:, 1] - ends[:, 0]) / months)[:, None]
    built = np.array([lag.built for lag in lags])[tally.mark]
    chance = built * (belongs @ dated) + tally.otherwise
    swapped = constants.mark_swapped[tally.mark][:, None]
    donor = (chance * constants.mark_donor[tally.mark]).sum(axis=1, keepdims=True)
    chance = (1 - swapped) * chance + swapped * donor
    return pt.log(chance * (1 - FLOOR) + FLOOR * alike)


def _lags(lags: tuple[Lag, ...]) -> tuple[Any, Any]:
    """Give the medians of all lags, and the ratios by which they differ more than judged."""
    learned = [place for place, lag in enumerate(lags) if lag.learned]
    median, ratio = pt.as_tensor(np.array([lag.median for lag in lags])), pt.ones(len(lags))
    if learned:
        z = pm.Normal("z lag", shape=2 * len(learned))
        moved = median[learned] * pt.exp(LAG_DOUBT * z[::2])
        median = pt.set_subtensor(median[learned], moved)
        ratio = pt.set_subtensor(ratio[learned], pt.exp(RATIO_DOUBT * z[1::2]))
    return (
        pm.Deterministic("lag", median, dims="mark"),
        pm.Deterministic("lag_ratio", ratio, dims="mark"),
    )


def _excess(y: Floats, quantiles: Any, reached: Floats) -> Any:
    """Give E max(lag - y, 0), lags being evenly spread between their quantiles."""
    low, high, mass = quantiles[:-1], quantiles[1:], np.diff(reached)
    width, since = high - low, y[..., None] - low
    share = pt.clip(since / pt.maximum(width, _NEVER), 0.0, 1.0)
    within = width * (1 - share) ** 2 / 2 + pt.where(since < 0, -since, 0.0)
    return reached[0] * pt.maximum(quantiles[0] - y, 0.0) + (within * mass).sum(axis=-1)


def _log_output(walk: Walk) -> Any:
    """Give the logarithm of the share of each month in what was made."""
    medians = np.array([STEP, DEVIATION])
    scale = medians * pt.exp(SCALE_DOUBT * pm.Normal("z output scale", shape=2))
    scale = pm.Deterministic("output_scale", scale)
    size = pt.sqrt((scale[0] * walk.reach) ** 2 + scale[1] ** 2)
    logs = walk.cosines @ (size * pm.Normal("z output", shape=len(walk.reach)))
    logs = logs - pt.log(pt.exp(logs).sum())
    pm.Deterministic("output_share", pt.exp(logs))
    return logs


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
    reached, parts = pt.ones((len(tracks), months)), []
    for step in range(depth):
        ramp = ramps[index[:, step]]
        parts.append(reached * (1 - ramp))
        reached = reached * ramp
    return pt.where(by_table[:, None, None], anchored, pt.stack(parts, axis=1))


def ramp_shares(start: Any, overlap: Any, logistic: Any, months: int) -> Any:
    """Give the ramps averaged over each month, as a graph.

    Shapes: start (ramp,); overlap (ramp,); logistic (ramp,); gives (ramp, month).
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


def _cases(log_readings: Any, log_output: Any, tally: Tally) -> Any:
    """Sum each doubtful instrument over the months and variants it may have come from."""
    laid_out = pt.concatenate([log_readings.flatten(), pt.zeros(1)])
    cases = pt.as_tensor(tally.cases)
    logs = laid_out[cases.flatten()].reshape(cases.shape).sum(axis=1)
    if log_output is not None:
        logs = logs + log_output[tally.case_month]
    by_row = pt.zeros(tally.rows)[tally.case_row].inc(tally.case_weight * pt.exp(logs))
    return pt.log(by_row).sum()
