"""The log posterior of learning and its gradient, compiled: one pass forward, one back.

The numbers, shares, ramps, recorded states and readings of :mod:`dating.learning.model` are worked
out in that order, and their derivatives in the opposite one. Four facts keep a pass short:

- a ramp that is linear has derivatives by its start and its width in closed form: with
  q = clip((t - start) / width, 0, 1), the area A(t) under it up to t has
  dA/dstart = -q and dA/dwidth = -q^2 / 2;
- a reading is worked out only in the months in which an instrument may have it;
- a doubtful instrument is a few stretches of months with a list of readings each, and readings are
  bounded from below, so that their *products* are taken and no exponential a month;
- the gradient by a reading is N / L, where N counts the instruments expected in each month, so the
  way back needs one division for a reading and month, and not one for an instrument.

Arrays are in the order (course, regime or state, month). Everything that is called here stands in
this module, since what is compiled is kept by the file of the caller.
"""

# ruff: noqa: PLR0917
# mypy: disallow-untyped-decorators=False, disallow-untyped-calls=False
from __future__ import annotations

import math

import numba
import numpy as np

_STEEPNESS = 2 * math.log(19.0)
_LOG_TWO_PI = math.log(2 * math.pi)
_FARTHEST = 35.0
_NEVER = 1e-300
_ONE = np.uint64(1)
_FEW = np.uint64(32)  # states: their product, each at least the floor, is far from the least float
_LITTLE = 1e-150  # its square is a number still
_SMALL = 1e-8  # a sum that may be multiplied by what is next to nothing, and is still a number
_STEPS, _ROUNDING = 1 / math.log(2.0), 1.5 * 2.0**52
_STEP_HIGH, _STEP_LOW = 0.693147180369123816490, 1.90821492927058770002e-10  # of log 2
_OF_POWER = tuple(1 / math.factorial(k) for k in range(14))
_ROUNDING_BITS = int(np.array(_ROUNDING).view(np.int64))
_FAST = {"reassoc", "nsz", "contract", "arcp"}
jit = numba.njit(nogil=True, cache=True, fastmath=_FAST, error_model="numpy", boundscheck=False)
in_order = numba.njit(nogil=True, cache=True, fastmath={"nsz", "contract"}, error_model="numpy")

CERTAIN, PLAIN, LOG, CUT, POOL = range(5)
HALVES = 4
"""Added to the kind of a metalog that is in two halves."""


@jit
def log_odds(z):  # type: ignore[no-untyped-def]
    """Give log(Phi(z) / Phi(-z)) and its slope; z is held within 35 standard deviations."""
    z = min(max(z, -_FARTHEST), _FARTHEST)
    below, above = 0.5 * math.erfc(-z / math.sqrt(2.0)), 0.5 * math.erfc(z / math.sqrt(2.0))
    density = math.exp(-0.5 * z * z - 0.5 * _LOG_TWO_PI)
    return math.log(below) - math.log(above), density / below / above


@jit
def grown(z):  # type: ignore[no-untyped-def]
    """Give exp(z) of what stays a number however far the sampler goes."""
    return math.exp(min(max(z, -_FARTHEST), _FARTHEST))


@jit
def number_at(kind, location, scale, skew, z):  # type: ignore[no-untyped-def]
    """Give a metalog's quantile at Phi(z), and its derivative by z."""
    odds, slope = log_odds(z)
    p = 1 / (1 + math.exp(-odds))
    if kind > POOL:
        kind -= HALVES
        scale += skew / 2 if odds > 0 else -skew / 2
        skew = 0.0
    value = location + (scale + skew * (p - 0.5)) * odds
    slope *= scale + skew * (p - 0.5) + skew * p * (1 - p) * odds
    if kind == LOG:
        grown = math.exp(min(value, 30.0))
        return grown, grown * slope if value < 30.0 else 0.0
    if kind == CUT and value < 0.0:
        return 0.0, 0.0
    return value, slope


@jit
def numbers(x, t, value, slope):  # type: ignore[no-untyped-def]
    """Give every number, shape (number,), and its derivative by its own unknown."""
    for n in range(len(t.kind)):
        if t.kind[n] == CERTAIN:
            value[n], slope[n] = t.location[n], 0.0
        elif t.kind[n] == POOL:
            table = t.pools[t.pool[n]]
            last = len(table) - 1.000001
            at = (x[t.unknown[n]] + 6.0) * 200.0
            inside = 0.0 < at < last
            at = min(at, last) if at > 0.0 else 0.0  # also where it is no number
            cell = int(at)
            rise = table[cell + 1] - table[cell]
            value[n], slope[n] = table[cell] + (at - cell) * rise, 200.0 * rise if inside else 0.0
        else:
            value[n], slope[n] = number_at(
                t.kind[n], t.location[n], t.scale[n], t.skew[n], x[t.unknown[n]]
            )


@jit
def shares_of(x, t, share):  # type: ignore[no-untyped-def]
    """Give the shares of the states, shape (course, regime, state)."""
    share[:] = t.stated
    flat = share.reshape(-1)
    doubt = np.zeros(len(t.mixed_state))
    for k in range(len(t.contrast_state)):
        doubt[t.contrast_state[k]] += t.contrast[k] * x[t.contrast_unknown[k]]
    for k in range(len(t.mixed_state)):
        flat[t.mixed_state[k]] *= math.exp(doubt[k])
    for g in range(len(t.mixed_first) - 1):
        total = 0.0
        for k in range(t.mixed_first[g], t.mixed_first[g + 1]):
            total += flat[t.mixed_state[k]]
        for k in range(t.mixed_first[g], t.mixed_first[g + 1]):
            flat[t.mixed_state[k]] /= total


@jit
def shares_back(d_share, share, t, gradient):  # type: ignore[no-untyped-def]
    """Carry derivatives by shares back to their unknowns."""
    flat, d_flat = share.reshape(-1), d_share.reshape(-1)
    d_doubt = np.zeros(len(t.mixed_state))
    for g in range(len(t.mixed_first) - 1):
        mean = 0.0
        for k in range(t.mixed_first[g], t.mixed_first[g + 1]):
            mean += flat[t.mixed_state[k]] * d_flat[t.mixed_state[k]]
        for k in range(t.mixed_first[g], t.mixed_first[g + 1]):
            s = t.mixed_state[k]
            d_doubt[k] = flat[s] * (d_flat[s] - mean)
    for k in range(len(t.contrast_state)):
        gradient[t.contrast_unknown[k]] += t.contrast[k] * d_doubt[t.contrast_state[k]]


@jit
def ramp_of(start, width, logistic, ramp, by_start, by_width):  # type: ignore[no-untyped-def]
    """Give a ramp averaged over each month and its derivatives by start and width."""
    months = len(ramp)
    area, q, by = 0.0, 0.0, 0.0
    for m in range(months + 1):
        since = m - start
        if logistic:
            u = _STEEPNESS * (since / width - 0.5)
            soft = max(u, 0.0) + math.log1p(math.exp(-abs(u)))
            now, at = width / _STEEPNESS * soft, 1 / (1 + math.exp(-u))
            change = soft / _STEEPNESS - at * since / width
        else:
            at = min(max(since / width, 0.0), 1.0)
            now = 0.5 * at * at * width + max(since - width, 0.0)
            change = -0.5 * at * at
        if m > 0:
            ramp[m - 1], by_start[m - 1], by_width[m - 1] = now - area, q - at, change - by
        area, q, by = now, at, change


@jit
def ramps_of(value, t, ramp, by_start, by_width, width):  # type: ignore[no-untyped-def]
    """Give all ramps and their derivatives, shape (ramp, month)."""
    for r in range(len(t.start)):
        lag = value[t.lag[r]] if t.lag[r] >= 0 else 0.0
        width[r] = math.hypot(value[t.overlap[r]], t.narrowest)
        ramp_of(value[t.start[r]] + lag, width[r], t.logistic[r], ramp[r], by_start[r], by_width[r])


@jit
def ramps_back(d_ramp, by_start, by_width, width, value, t, d_value):  # type: ignore[no-untyped-def]
    """Carry derivatives by ramps back to the numbers."""
    for r in range(len(t.start)):
        d_start, d_width = 0.0, 0.0
        for m in range(d_ramp.shape[1]):
            d_start += d_ramp[r, m] * by_start[r, m]
            d_width += d_ramp[r, m] * by_width[r, m]
        d_value[t.start[r]] += d_start
        if t.lag[r] >= 0:
            d_value[t.lag[r]] += d_start
        d_value[t.overlap[r]] += d_width * value[t.overlap[r]] / width[r]


@jit
def regimes_of(ramp, t, regime, reached):  # type: ignore[no-untyped-def]
    """Give P(regime | month), and that of reaching it, shape (course, regime, month)."""
    months = ramp.shape[1]
    for c in range(len(t.depth)):
        depth = t.depth[c]
        if t.anchored[c]:
            regime[c, :depth] = t.anchors[c, :depth]
            continue
        reached[c, 0] = 1.0
        for j in range(depth - 1):
            r = t.ramp[c, j]
            for m in range(months):
                regime[c, j, m] = reached[c, j, m] * (1 - ramp[r, m])
                reached[c, j + 1, m] = reached[c, j, m] * ramp[r, m]
        regime[c, depth - 1] = reached[c, depth - 1]


@jit
def recorded_of(share, slip, replaced, t, regime, built, recorded):  # type: ignore[no-untyped-def]
    """Give P(state | month) as built and as recorded, shape (course, state, month)."""
    months = regime.shape[2]
    for c in range(len(t.depth)):
        e, rho, w = slip[t.feature[c]], replaced[t.feature[c]], t.swapped[c]
        kept = (1 - rho) * (1 - e)
        for s in range(t.states[c]):
            built[c, s] = 0.0
            for j in range(t.depth[c]):
                if share[c, j, s] != 0.0:
                    for m in range(months):
                        built[c, s, m] += share[c, j, s] * regime[c, j, m]
            other = (1 - rho) * e / t.states[c] + rho * t.replacement[c, s]
            from_donor = 0.0
            for m in range(months):
                recorded[c, s, m] = kept * built[c, s, m] + other
                from_donor += t.donor[c, m] * recorded[c, s, m]
            for m in range(months):
                recorded[c, s, m] = (1 - w) * recorded[c, s, m] + w * from_donor


@jit
def recorded_back(d_recorded, slip, replaced, t, built, d_slip, d_replaced):  # type: ignore[no-untyped-def]
    """Carry derivatives by recorded states back to slips, replacements and states as built."""
    months = built.shape[2]
    for c in range(len(t.depth)):
        feature = t.feature[c]
        e, rho, w = slip[feature], replaced[feature], t.swapped[c]
        even = 1.0 / t.states[c]
        for s in range(t.states[c]):
            total, whole, along = 0.0, 0.0, 0.0
            for m in range(months):
                total += d_recorded[c, s, m]
            for m in range(months):
                d = (1 - w) * d_recorded[c, s, m] + w * t.donor[c, m] * total
                d_recorded[c, s, m] = (1 - rho) * (1 - e) * d
                whole += d
                along += d * built[c, s, m]
            d_slip[feature] += (1 - rho) * (even * whole - along)
            d_replaced[feature] += (t.replacement[c, s] - e * even) * whole - (1 - e) * along


@jit
def regimes_back(d_built, share, ramp, t, regime, reached, d_share, d_ramp):  # type: ignore[no-untyped-def]
    """Carry derivatives by states as built back to shares and ramps."""
    months = ramp.shape[1]
    d_regime, onward = np.empty((d_share.shape[1], months)), np.empty(months)
    for c in range(len(t.depth)):
        depth = t.depth[c]
        d_regime[:depth] = 0.0
        for s in range(t.states[c]):
            for j in range(depth):
                along = 0.0
                for m in range(months):
                    along += regime[c, j, m] * d_built[c, s, m]
                    d_regime[j, m] += share[c, j, s] * d_built[c, s, m]
                d_share[c, j, s] += along
        if t.anchored[c]:
            continue
        onward[:] = d_regime[depth - 1]
        for j in range(depth - 2, -1, -1):
            r = t.ramp[c, j]
            for m in range(months):
                d_ramp[r, m] += reached[c, j, m] * (onward[m] - d_regime[j, m])
                onward[m] = d_regime[j, m] * (1 - ramp[r, m]) + onward[m] * ramp[r, m]


@jit
def readings_of(recorded, t, reading):  # type: ignore[no-untyped-def]
    """Give P(reading | month) of states, in the months that are needed, one after the other."""
    for r in range(len(t.course)):
        here = reading[t.offset[r] : t.offset[r + 1]]
        here[:] = t.floor
        for s in range(t.weights.shape[1]):
            weight = t.weights[r, s] * (1 - t.floor)
            if weight != 0.0:
                row = recorded[t.course[r], s, t.low[r] :]
                for i in range(len(here)):
                    here[i] += weight * row[i]


@jit
def readings_back(expected, t, d_recorded):  # type: ignore[no-untyped-def]
    """Carry N / L of readings of states back to recorded states."""
    for r in range(len(t.course)):
        here = expected[t.offset[r] : t.offset[r + 1]]
        for s in range(t.weights.shape[1]):
            weight = t.weights[r, s] * (1 - t.floor)
            if weight != 0.0:
                row = d_recorded[t.course[r], s, t.low[r] :]
                for i in range(len(here)):
                    row[i] += weight * here[i]


@in_order
def exponentials(x, bits):  # type: ignore[no-untyped-def]
    """Put exp(x) in the place of x, all at once; x is at most 0, and below -700 taken as -700.

    Halves of binary steps are summed as powers, and whole steps put into the exponent: loops
    without a call, of which a processor does several turns at once. A number that is added to
    1.5 * 2^52 stands rounded in its last bits; sums are taken as they are written.
    """
    power = bits.view(np.float64)
    for i in range(len(x)):
        now = x[i] if x[i] > -700.0 else -700.0
        power[i] = now * _STEPS + _ROUNDING
        steps = power[i] - _ROUNDING
        r = (now - steps * _STEP_HIGH) - steps * _STEP_LOW
        total = _OF_POWER[13]
        for k in range(12, -1, -1):
            total = total * r + _OF_POWER[k]
        x[i] = total
    for i in range(len(x)):
        bits[i] = (bits[i] - _ROUNDING_BITS + 1023) << 52
    for i in range(len(x)):
        x[i] *= power[i]


@jit
def bells(value, scale, tails, drift, density, bits):  # type: ignore[no-untyped-def]
    """Give unscaled densities of one value by month; tails of 0 stand for a normal."""
    if tails == 6.0:
        for m in range(len(drift)):
            z = (value - drift[m]) / scale
            base = 1 + z * z / 6.0
            density[m] = 1 / (base * base * base * math.sqrt(base))
        return
    for m in range(len(drift)):
        z = (value - drift[m]) / scale
        density[m] = -0.5 * z * z if tails == 0 else -0.5 * (tails + 1) * math.log1p(z * z / tails)
    exponentials(density, bits)


@jit
def bells_back(value, scale, tails, drift, density, weight, d_drift):  # type: ignore[no-untyped-def]
    """Carry derivatives by densities, a weight a month, back to the drift; give that by scale."""
    by_scale = 0.0
    for m in range(len(drift)):
        z = (value - drift[m]) / scale
        slope = z if tails == 0.0 else (tails + 1) * z / (tails + z * z)
        d = weight[m] * density[m] * slope / scale
        d_drift[m] += d
        by_scale += d * z
    return by_scale


@jit
def measured_of(drift, scale, t, reading, top, density):  # type: ignore[no-untyped-def]
    """Give densities of measured values, each divided by its largest, whose logarithm is noted."""
    months = drift.shape[1]
    bits = np.empty(months, dtype=np.int64)
    for k in range(len(t.gauge)):
        g, low, here = t.gauge[k], t.low[k], reading[t.offset[k] : t.offset[k + 1]]
        swapped = t.gauge_swapped[g]
        begin, end = (0, months) if swapped > 0.0 else (low, low + len(here))
        whole, donor = density[k, begin:end], t.gauge_donor[g, begin:end]
        bells(t.measured[k, 0], scale[k], t.tails[g], drift[g, begin:end], whole, bits)
        from_donor = 0.0
        for m in range(len(whole)):
            from_donor += donor[m] * whole[m]
        near, most = whole[low - begin :], _NEVER
        for i in range(len(here)):
            here[i] = (1 - swapped) * near[i] + swapped * from_donor + _NEVER
            most = max(most, here[i])
        for i in range(len(here)):
            here[i] /= most
        top[k] = math.log(most)


@jit
def scales_of(x, t, spread, scale):  # type: ignore[no-untyped-def]
    """Give the spread of every measurement, and with the error of measuring that of every value."""
    for g in range(len(spread)):
        spread[g] = t.gauge_spread[g] * grown(t.spread_doubt * x[t.first_spread + g])
    for k in range(len(scale)):
        scale[k] = math.hypot(spread[t.gauge[k]], t.measured[k, 1])


@jit
def measured_back(expected, drift, spread, scale, top, density, t, d_drift, gradient):  # type: ignore[no-untyped-def]
    """Carry N / L of measured values back to the drift of their means, and to their spreads."""
    months = d_drift.shape[1]
    weight = np.empty(months)
    for k in range(len(t.gauge)):
        g, low, here = t.gauge[k], t.low[k], expected[t.offset[k] : t.offset[k + 1]]
        swapped, most = t.gauge_swapped[g], math.exp(top[k])
        begin, end = (0, months) if swapped > 0.0 else (low, low + len(here))
        total = 0.0
        for i in range(len(here)):
            total += here[i]
        weight[begin:end] = 0.0
        if swapped > 0.0:
            for m in range(months):
                weight[m] = swapped * total * t.gauge_donor[g, m] / most
        near = weight[low:]
        for i in range(len(here)):
            near[i] += (1 - swapped) * here[i] / most
        d_scale = bells_back(
            t.measured[k, 0], scale[k], t.tails[g], drift[g, begin:end],
            density[k, begin:end], weight[begin:end], d_drift[g, begin:end],
        )  # fmt: skip
        d_scale -= t.times[k] / scale[k]
        gradient[t.first_spread + g] += d_scale * t.spread_doubt * spread[g] ** 2 / scale[k]


@jit
def lags_of(x, t, lag, above):  # type: ignore[no-untyped-def]
    """Give the quantiles of every lag, what lies above them, and derivatives of both.

    Shape (3, lag, quantile): first the numbers, then their derivatives by the unknowns of the
    median and of the ratio. What lies above a quantile is the mean of the lags beyond it, times
    what they are of all; lags are evenly spread between quantiles.
    """
    last = lag.shape[2] - 1
    for g in range(len(t.lag_unknown)):
        n = t.lag_unknown[g]
        for k in range(last + 1):
            lag[0, g, k], lag[1, g, k], lag[2, g, k] = t.lag_judged[g, k], 0.0, 0.0
            if n >= 0:
                ratio = grown(t.ratio_doubt * x[n + 1])
                moved = t.lag_doubt * x[n] + ratio * t.lag_log[g, k]
                lag[0, g, k] = t.lag_median[g] * math.exp(min(max(moved, -700.0), 300.0))
                lag[1, g, k] = t.lag_doubt * lag[0, g, k]
                lag[2, g, k] = t.ratio_doubt * ratio * t.lag_log[g, k] * lag[0, g, k]
        for d in range(3):
            above[d, g, last] = 0.0
            for k in range(last - 1, -1, -1):
                mass = t.lag_reached[g, k + 1] - t.lag_reached[g, k]
                middle = 0.5 * (lag[d, g, k] + lag[d, g, k + 1])
                above[d, g, k] = above[d, g, k + 1] + mass * middle


@jit
def excess_of(y, k, reaches, lag, above):  # type: ignore[no-untyped-def]
    """Give E max(lag - y, 0), and its derivatives by both unknowns of the lag.

    Takes and gives first the last quantile that is not beyond y, -1 where there is none; y only
    grows from call to call.
    """
    last = lag.shape[1] - 1
    while k < last and lag[0, k + 1] <= y:
        k += 1
    if k == last:
        return k, 0.0, 0.0, 0.0
    if k < 0:
        least = reaches[0]
        return (
            k,
            above[0, 0] + least * lag[0, 0] - y,
            above[1, 0] + least * lag[1, 0],
            above[2, 0] + least * lag[2, 0],
        )
    since = y - lag[0, k]
    within = since / (lag[0, k + 1] - lag[0, k])
    part, half = (reaches[k + 1] - reaches[k]) * within, 0.5 * within
    return (
        k,
        above[0, k] - (1 - reaches[k]) * y + 0.5 * part * since,
        above[1, k] - part * (lag[1, k] + half * (lag[1, k + 1] - lag[1, k])),
        above[2, k] - part * (lag[2, k] + half * (lag[2, k + 1] - lag[2, k])),
    )


@jit
def dates_of(t, lag, above, date, until):  # type: ignore[no-untyped-def]
    """Give P(mark | month) of every kind of stretch and its derivatives, shape (kind, 3, month).

    Months are counted from that in which the stretch begins; beyond ``until`` all is zero.
    """
    for j in range(len(t.kind_lag)):
        g, start, stop = t.kind_lag[j], t.kind_from[j], t.kind_to[j]
        reaches, own_lag, own_above = t.lag_reached[g], lag[:, g], above[:, g]
        longest = own_lag[0, own_lag.shape[1] - 1]
        until[j] = math.ceil(min(stop + longest, float(date.shape[2])))
        k, low, low_median, low_ratio = excess_of(0.0 - start, -1, reaches, own_lag, own_above)
        h, high, high_median, high_ratio = excess_of(0.0 - stop, -1, reaches, own_lag, own_above)
        then, by_median, by_ratio = low - high, low_median - high_median, low_ratio - high_ratio
        for m in range(until[j]):
            y = m + 1.0
            k, low, low_median, low_ratio = excess_of(y - start, k, reaches, own_lag, own_above)
            h, high, high_median, high_ratio = excess_of(y - stop, h, reaches, own_lag, own_above)
            date[j, 0, m] = low - high - then
            date[j, 1, m] = low_median - high_median - by_median
            date[j, 2, m] = low_ratio - high_ratio - by_ratio
            then, by_median, by_ratio = low - high, low_median - high_median, low_ratio - high_ratio


@jit
def marks_of(x, t, floor, reading, slope):  # type: ignore[no-untyped-def]
    """Give P(mark | month) of readings, and its derivatives, shape (2, month of a reading)."""
    months = t.mark_donor.shape[1]
    lag, above = np.empty((3, *t.lag_judged.shape)), np.empty((3, *t.lag_judged.shape))
    date = np.empty((len(t.kind_lag), 3, months + 1))
    until = np.empty(len(t.kind_lag), dtype=np.int64)
    lags_of(x, t, lag, above)
    dates_of(t, lag, above, date, until)
    for k in range(len(t.mark)):
        g, alike = t.mark[k], 0.0
        low, high, at = t.low[k], t.low[k] + t.offset[k + 1] - t.offset[k], t.offset[k]
        kept, w = 1 - floor, t.mark_swapped[g]
        for s in range(t.stretch_at[k], t.stretch_at[k + 1]):
            alike += (t.kind_to[t.stretch_kind[s]] - t.kind_from[t.stretch_kind[s]]) / months
        for d in range(3):
            here = reading[at : at + high - low]
            if d > 0:
                here = slope[d - 1, at - t.offset[0] : at - t.offset[0] + high - low]
            here[:] = 0.0
            from_donor = 0.0
            if d == 0:
                here[:] = kept * t.otherwise[k, low:high] + floor * alike
            for s in range(t.stretch_at[k], t.stretch_at[k + 1]):
                j, month = t.stretch_kind[s], t.stretch_month[s]
                begin, end = max(month, 0), min(month + until[j], months)
                if w > 0.0 and begin < end:
                    own, donor = date[j, d, begin - month :], t.mark_donor[g, begin:end]
                    there = t.mark_built[g, begin:end]
                    for i in range(len(donor)):
                        from_donor += donor[i] * there[i] * own[i]
                begin, end = max(begin, low), min(end, high)
                if begin < end:
                    own, into = date[j, d, begin - month :], here[begin - low : end - low]
                    there = t.mark_built[g, begin:end]
                    for i in range(len(into)):
                        into[i] += kept * (1 - w) * there[i] * own[i]
            for i in range(len(here)):
                here[i] += kept * w * from_donor


@jit
def marks_back(expected, t, slope, gradient):  # type: ignore[no-untyped-def]
    """Carry N / L of marks back to the unknowns of their lags."""
    for k in range(len(t.mark)):
        n, at = t.lag_unknown[t.mark[k]], t.offset[k] - t.offset[0]
        here = expected[t.offset[k] : t.offset[k + 1]]
        for i in range(len(here) if n >= 0 else 0):
            gradient[n] += here[i] * slope[0, at + i]
            gradient[n + 1] += here[i] * slope[1, at + i]


@jit
def output_of(x, t, size, log_output, output):  # type: ignore[no-untyped-def]
    """Give the share of each month in what was made; arrays are empty where the output stands."""
    if len(size) == 0:
        return
    step = t.step * grown(t.scale_doubt * x[t.first_scale])
    deviation = t.deviation * grown(t.scale_doubt * x[t.first_scale + 1])
    for k in range(len(size)):
        size[k] = math.hypot(step * t.reach[k], deviation)
    most, total = -np.inf, 0.0
    for m in range(len(output)):
        log_output[m] = 0.0
        for k in range(len(size)):
            log_output[m] += t.cosines[m, k] * size[k] * x[t.first_cosine + k]
        most = max(most, log_output[m])
    for m in range(len(output)):
        total += math.exp(log_output[m] - most)
    for m in range(len(output)):
        log_output[m] -= most + math.log(total)
        output[m] = max(math.exp(log_output[m]), _NEVER)


@jit
def output_back(x, arisen, t, size, output, gradient):  # type: ignore[no-untyped-def]
    """Carry the instruments expected in each month back to amplitudes and scales."""
    if len(size) == 0:
        return
    step = t.step * grown(t.scale_doubt * x[t.first_scale])
    deviation = t.deviation * grown(t.scale_doubt * x[t.first_scale + 1])
    total = 0.0
    for m in range(len(arisen)):
        total += arisen[m]
    along = np.zeros(len(size))
    for m in range(len(arisen)):
        more = arisen[m] - total * output[m]
        for k in range(len(size)):
            along[k] += t.cosines[m, k] * more
    for k in range(len(size)):
        gradient[t.first_cosine + k] += size[k] * along[k]
        d_size = x[t.first_cosine + k] * along[k] * t.scale_doubt / size[k]
        gradient[t.first_scale] += d_size * (step * t.reach[k]) ** 2
        gradient[t.first_scale + 1] += d_size * deviation**2


@jit
def multiplied(begin, count, first, last, reading, at, chance):  # type: ignore[no-untyped-def]
    """Multiply months by some of the readings of their stretch, and give the sum over the months.

    Places without a sign need no look at whether they count from the end, and a slice is counted
    by those who hold it: each would be most of what a loop over few months does.
    """
    total = 0.0
    for k in range(first, last):
        place, total = at[k], 0.0
        for i in range(count):
            product = chance[begin + i] * reading[place + i]
            chance[begin + i] = product
            total += product
    return total


@jit
def stretch_of(b, reading, output, rows, chance):  # type: ignore[no-untyped-def]
    """Multiply the readings of one stretch of months, and sum over its months.

    The sum is that of what is left in ``chance``, times a power of e that is given with it: before
    a reading that may be next to nothing, and every so many states, months whose sum is small are
    divided by it.
    """
    begin, month = rows.weight_at[b], rows.from_month[b]
    count = rows.weight_at[b + 1] - begin
    k, states, last = rows.readings_at[b], rows.others_at[b], rows.readings_at[b + 1]
    power, total = 0.0, 0.0
    for i in range(count):
        chance[begin + i] = rows.weight[begin + i]
        total += rows.weight[begin + i]
    if len(output) > 0:
        total = 0.0
        for i in range(count):
            chance[begin + i] *= output[month + i]
            total += chance[begin + i]
    while k < last:
        if total < _SMALL:
            power += math.log(total)
            for i in range(count):
                chance[begin + i] /= total
        until = min(k + _FEW, states) if k < states else k + _ONE
        total = multiplied(begin, count, k, until, reading, rows.at, chance)
        k = until
    return total, power


@jit
def stretch_back(b, scale, rows, chance, expected, arisen):  # type: ignore[no-untyped-def]
    """Spread one instrument over the months of a stretch, at each of its readings."""
    begin, month = rows.weight_at[b], rows.from_month[b]
    count = rows.weight_at[b + 1] - begin
    for i in range(count):
        chance[begin + i] *= scale
    if len(arisen) > 0:
        for i in range(count):
            arisen[month + i] += chance[begin + i]
    for k in range(rows.readings_at[b], rows.readings_at[b + 1]):
        place = rows.at[k]
        for i in range(count):
            expected[place + i] += chance[begin + i]


@jit
def counted_of(reading, t, expected):  # type: ignore[no-untyped-def]
    """Give the log likelihood of what counts hold, and add the counts to what is expected.

    Readings that one instrument has are multiplied, and a logarithm is taken now and then.
    """
    total, product = 0.0, 1.0
    for k in range(len(t.instruments)):
        count, value = t.instruments[k], reading[t.counted[k]]
        expected[t.counted[k]] += count
        if count == 1.0 and value > _LITTLE:
            product *= value
            if product < _LITTLE:
                total += math.log(product)
                product = 1.0
        else:
            total += count * math.log(value)
    return total + math.log(product)


@jit
def row_of(row, reading, output, rows, chance, power):  # type: ignore[no-untyped-def]
    """Sum one instrument over its stretches: its likelihood, times a power of e given with it."""
    likelihood, most = 0.0, -np.inf
    for b in range(rows.row[row], rows.row[row + 1]):
        each, power[b] = stretch_of(b, reading, output, rows, chance)
        if power[b] > most:
            likelihood, most = likelihood * math.exp(most - power[b]), power[b]
        likelihood += each * math.exp(power[b] - most)
    return likelihood, most


@jit
def instruments(reading, top, scale, log_output, output, t, chance, expected, arisen):  # type: ignore[no-untyped-def]
    """Give the log likelihood of all instruments, and N / L of each reading in each month.

    Where the output is learned also N, the instruments expected in each month.
    """
    total, rows = 0.0, t.rows
    for m in range(len(arisen)):
        total += t.readings.known[m] * log_output[m]
        arisen[m] = t.readings.known[m]
    total += counted_of(reading, t.readings, expected)
    for k in range(len(top)):
        total += t.gauges.times[k] * (top[k] + t.gauges.constant[k] - math.log(scale[k]))
    power = np.empty(len(rows.from_month))
    for row in range(len(rows.row) - 1):
        likelihood, most = row_of(row, reading, output, rows, chance, power)
        total += math.log(likelihood) + most
        for b in range(rows.row[row], rows.row[row + 1]):
            share = math.exp(power[b] - most) / likelihood
            stretch_back(b, share, rows, chance, expected, arisen)
    for i in range(len(expected)):
        expected[i] /= reading[i]
    return total


@jit
def chances(x, stated, unknown, doubt, value):  # type: ignore[no-untyped-def]
    """Give chances, shape (feature + 1,); the last, of the variants, is zero."""
    for f in range(len(stated)):
        value[f] = stated[f]
        if unknown[f] >= 0:
            logit = math.log(stated[f]) - math.log1p(-stated[f]) + doubt * x[unknown[f]]
            value[f] = 1 / (1 + math.exp(-logit))
    value[len(stated)] = 0.0


@jit
def chances_back(d_value, value, unknown, doubt, gradient):  # type: ignore[no-untyped-def]
    """Carry derivatives by chances back to their unknowns."""
    for f in range(len(unknown)):
        if unknown[f] >= 0:
            gradient[unknown[f]] += d_value[f] * value[f] * (1 - value[f]) * doubt


@jit
def drift_of(x, t, drift):  # type: ignore[no-untyped-def]
    """Give the mean of every measurement, shape (gauge, month)."""
    for a in range(len(t.anchor_gauge)):
        mean = t.anchor_mean[a] + t.anchor_doubt[a] * x[t.first_mean + a]
        for m in range(drift.shape[1]):
            drift[t.anchor_gauge[a], m] += mean * t.along[a, m]


@jit
def drift_back(d_drift, t, gradient):  # type: ignore[no-untyped-def]
    """Carry derivatives by means back to their unknowns."""
    for a in range(len(t.anchor_gauge)):
        for m in range(d_drift.shape[1]):
            by_mean = d_drift[t.anchor_gauge[a], m] * t.along[a, m]
            gradient[t.first_mean + a] += t.anchor_doubt[a] * by_mean


@jit
def log_normal(x):  # type: ignore[no-untyped-def]
    """Give the logarithm of the prior density, that of independent standard normals."""
    total = 0.0
    for i in range(len(x)):
        total -= 0.5 * (x[i] * x[i] + _LOG_TWO_PI)
    return total


@jit
def log_posterior(x, t, gradient):  # type: ignore[no-untyped-def]
    """Give the log posterior and the log likelihood at x; the gradient goes into its array."""
    months, ramps, features = t.courses.donor.shape[1], len(t.ramps.start), len(t.chances.slip)
    courses, depth, states = t.shares.stated.shape
    value, slope = np.empty(len(t.numbers.kind)), np.empty(len(t.numbers.kind))
    share, width = np.empty(t.shares.stated.shape), np.empty(ramps)
    slip, replaced = np.empty(features + 1), np.empty(features + 1)
    ramp, by_start = np.empty((ramps, months)), np.empty((ramps, months))
    by_width, drift = np.empty((ramps, months)), np.zeros(t.gauges.gauge_donor.shape)
    regime, reached = np.empty((courses, depth, months)), np.empty((courses, depth, months))
    built, recorded = np.empty((courses, states, months)), np.empty((courses, states, months))
    reading, expected = np.empty(t.readings.offset[-1]), np.zeros(t.readings.offset[-1])
    top, chance = np.empty(len(t.gauges.gauge)), np.empty(len(t.rows.weight))
    density, scale = np.empty((len(t.gauges.gauge), months)), np.empty(len(t.gauges.gauge))
    spread = np.empty(len(t.gauges.gauge_spread))
    date_slope = np.empty((2, t.marks.offset[-1] - t.marks.offset[0]))
    open_months = months if len(t.walk.reach) > 0 else 0
    size, arisen = np.empty(len(t.walk.reach)), np.empty(open_months)
    log_output, output = np.empty(open_months), np.empty(open_months)

    numbers(x, t.numbers, value, slope)
    shares_of(x, t.shares, share)
    chances(x, t.chances.slip, t.chances.slip_unknown, t.chances.chance_doubt, slip)
    chances(x, t.chances.replaced, t.chances.replaced_unknown, t.chances.chance_doubt, replaced)
    drift_of(x, t.gauges, drift)
    ramps_of(value, t.ramps, ramp, by_start, by_width, width)
    regimes_of(ramp, t.courses, regime, reached)
    recorded_of(share, slip, replaced, t.courses, regime, built, recorded)
    readings_of(recorded, t.readings, reading)
    scales_of(x, t.gauges, spread, scale)
    measured_of(drift, scale, t.gauges, reading, top, density)
    marks_of(x, t.marks, t.readings.floor, reading, date_slope)
    output_of(x, t.walk, size, log_output, output)
    likelihood = instruments(reading, top, scale, log_output, output, t, chance, expected, arisen)

    gradient[:] = -x
    d_recorded, d_share = np.zeros(recorded.shape), np.zeros(share.shape)
    d_slip, d_replaced = np.zeros(features + 1), np.zeros(features + 1)
    d_ramp, d_value, d_drift = np.zeros(ramp.shape), np.zeros(len(value)), np.zeros(drift.shape)
    readings_back(expected, t.readings, d_recorded)
    measured_back(expected, drift, spread, scale, top, density, t.gauges, d_drift, gradient)
    marks_back(expected, t.marks, date_slope, gradient)
    output_back(x, arisen, t.walk, size, output, gradient)
    recorded_back(d_recorded, slip, replaced, t.courses, built, d_slip, d_replaced)
    regimes_back(d_recorded, share, ramp, t.courses, regime, reached, d_share, d_ramp)
    ramps_back(d_ramp, by_start, by_width, width, value, t.ramps, d_value)
    for n in range(len(value)):
        if t.numbers.unknown[n] >= 0:
            gradient[t.numbers.unknown[n]] += d_value[n] * slope[n]
    shares_back(d_share, share, t.shares, gradient)
    chances_back(d_slip, slip, t.chances.slip_unknown, t.chances.chance_doubt, gradient)
    chances_back(d_replaced, replaced, t.chances.replaced_unknown, t.chances.chance_doubt, gradient)
    drift_back(d_drift, t.gauges, gradient)
    return log_normal(x) + likelihood, likelihood


@jit
def unknowns_at(u, t, centre, scale, sheared, over, slope, width, x, by_width):  # type: ignore[no-untyped-def]
    """Give the unknowns at coordinates u, and the derivative of each sheared one by its width.

    x = centre + scale * u, and then the first use of a ramp moves against its width, so that
    both may vary alone: x_start -= slope * (width - width at the centre). Its Jacobian is one.
    """
    for i in range(len(u)):
        x[i] = centre[i] + scale[i] * u[i]
    own = t.numbers
    for k in range(len(sheared)):
        n = over[k]
        z = x[own.unknown[n]]
        value, rise = number_at(own.kind[n], own.location[n], own.scale[n], own.skew[n], z)
        now = math.hypot(value, t.ramps.narrowest)
        x[sheared[k]] -= slope[k] * (now - width[k])
        by_width[k] = -slope[k] * value / now * rise


@jit
def log_posterior_at(u, t, centre, scale, sheared, over, slope, width):  # type: ignore[no-untyped-def]
    """Give the log posterior of the unknowns at coordinates u, and its gradient by u."""
    x, by_width, gradient = np.empty(len(u)), np.empty(len(sheared)), np.empty(len(u))
    unknowns_at(u, t, centre, scale, sheared, over, slope, width, x, by_width)
    total, _ = log_posterior(x, t, gradient)
    for k in range(len(sheared)):
        gradient[t.numbers.unknown[over[k]]] += by_width[k] * gradient[sheared[k]]
    return total, gradient * scale


@jit
def quantities(x, t, value, share, slip, replaced, mean, spread, lag, ratio, scale, output):  # type: ignore[no-untyped-def]
    """Give what the unknowns of each draw stand for; every array is led by a draw."""
    chance, gauges, marks, walk = t.chances, t.gauges, t.marks, t.walk
    slope, size = np.empty(len(t.numbers.kind)), np.empty(len(walk.reach))
    log_output, none = np.empty(output.shape[1]), np.empty(0)
    for d in range(len(x)):
        numbers(x[d], t.numbers, value[d], slope)
        shares_of(x[d], t.shares, share[d])
        chances(x[d], chance.slip, chance.slip_unknown, chance.chance_doubt, slip[d])
        chances(x[d], chance.replaced, chance.replaced_unknown, chance.chance_doubt, replaced[d])
        for a in range(len(gauges.anchor_mean)):
            moved = gauges.anchor_doubt[a] * x[d, gauges.first_mean + a]
            mean[d, a] = gauges.anchor_mean[a] + moved
        scales_of(x[d], t.gauges, spread[d], none)
        for g in range(len(marks.lag_unknown)):
            n = marks.lag_unknown[g]
            lag[d, g], ratio[d, g] = marks.lag_median[g], 1.0
            if n >= 0:
                lag[d, g] *= math.exp(marks.lag_doubt * x[d, n])
                ratio[d, g] = grown(marks.ratio_doubt * x[d, n + 1])
        if len(size) > 0:
            scale[d, 0] = walk.step * grown(walk.scale_doubt * x[d, walk.first_scale])
            scale[d, 1] = walk.deviation * grown(walk.scale_doubt * x[d, walk.first_scale + 1])
        output_of(x[d], t.walk, size, log_output, output[d])


@jit
def prediction(x, t, recorded, drift):  # type: ignore[no-untyped-def]
    """Give P(state | month) as recorded, and the drift of every mean, at x."""
    months, ramps, features = t.courses.donor.shape[1], len(t.ramps.start), len(t.chances.slip)
    courses, depth, states = t.shares.stated.shape
    value, slope = np.empty(len(t.numbers.kind)), np.empty(len(t.numbers.kind))
    share, width = np.empty(t.shares.stated.shape), np.empty(ramps)
    slip, replaced = np.empty(features + 1), np.empty(features + 1)
    ramp, by_start = np.empty((ramps, months)), np.empty((ramps, months))
    by_width, built = np.empty((ramps, months)), np.empty((courses, states, months))
    regime, reached = np.empty((courses, depth, months)), np.empty((courses, depth, months))
    numbers(x, t.numbers, value, slope)
    shares_of(x, t.shares, share)
    chances(x, t.chances.slip, t.chances.slip_unknown, t.chances.chance_doubt, slip)
    chances(x, t.chances.replaced, t.chances.replaced_unknown, t.chances.chance_doubt, replaced)
    drift[:] = 0.0
    drift_of(x, t.gauges, drift)
    ramps_of(value, t.ramps, ramp, by_start, by_width, width)
    regimes_of(ramp, t.courses, regime, reached)
    recorded_of(share, slip, replaced, t.courses, regime, built, recorded)


@jit
def log_likelihoods(x, t, by_row):  # type: ignore[no-untyped-def]
    """Give the log likelihood of every row in every draw, shape (draw, row)."""
    months, states, rows = t.courses.donor.shape[1], len(t.readings.course), t.rows
    recorded = np.empty((t.shares.stated.shape[0], t.shares.stated.shape[2], months))
    power = np.empty(len(rows.from_month))
    reading, drift = np.empty(t.readings.offset[-1]), np.empty(t.gauges.gauge_donor.shape)
    top, chance = np.empty(len(t.gauges.gauge)), np.empty(len(t.rows.weight))
    density, scale = np.empty((len(t.gauges.gauge), months)), np.empty(len(t.gauges.gauge))
    spread, size = np.empty(len(t.gauges.gauge_spread)), np.empty(len(t.walk.reach))
    slope = np.empty((2, t.marks.offset[-1] - t.marks.offset[0]))
    open_months = months if len(t.walk.reach) > 0 else 0
    log_output, output = np.empty(open_months), np.empty(open_months)
    for d in range(len(x)):
        prediction(x[d], t, recorded, drift)
        readings_of(recorded, t.readings, reading)
        scales_of(x[d], t.gauges, spread, scale)
        measured_of(drift, scale, t.gauges, reading, top, density)
        marks_of(x[d], t.marks, t.readings.floor, reading, slope)
        output_of(x[d], t.walk, size, log_output, output)
        for row in range(len(rows.row) - 1):
            likelihood, most = row_of(row, reading, output, rows, chance, power)
            by_row[d, row] = math.log(likelihood) + most
            first = rows.row[row]
            for k in range(rows.readings_at[first], rows.readings_at[first + 1]):
                measured = rows.readings[k] - states
                if 0 <= measured < len(t.gauges.gauge):
                    by_row[d, row] += top[measured] + t.gauges.constant[measured]
                    by_row[d, row] -= math.log(scale[measured])
