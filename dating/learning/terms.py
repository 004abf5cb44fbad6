"""The flat arrays that the density is worked out from, by what they describe.

A compiled function takes the arrays of its own kind alone: to be handed all others takes longer
than its work, and longer to compile.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from dating.arrays import Floats, Positions, Unsigned


class NumberTerms(NamedTuple):
    """Numbers: kind of the quantile function, and what it is made of.

    Parameters
    ----------
    kind, location, scale, skew, unknown, pool : ndarray, shape (number,)
        Kind of the quantile function, the metalog, place among the unknowns (-1 for what is
        certain), and row of the pools.
    pools : ndarray of float64, shape (pool, point)
        Quantiles at z from -6 to 6.
    """

    kind: Positions
    location: Floats
    scale: Floats
    skew: Floats
    unknown: Positions
    pool: Positions
    pools: Floats


class ShareTerms(NamedTuple):
    """Shares of states, and the contrasts that move them.

    Parameters
    ----------
    stated : ndarray of float64, shape (course, regime, state)
        Shares.
    mixed_state, mixed_first : ndarray of int64, shapes (mixed,) and (mixed regime + 1,)
        Places of mixed shares among all, and where those of a regime begin.
    contrast, contrast_state, contrast_unknown : ndarray, shape (entry,)
        Entries of the matrix of contrasts, with the doubt of shares; their rows and unknowns.
    """

    stated: Floats
    mixed_state: Positions
    mixed_first: Positions
    contrast: Floats
    contrast_state: Positions
    contrast_unknown: Positions


class ChanceTerms(NamedTuple):
    """Chances of a slip and of a later part.

    Parameters
    ----------
    slip, slip_unknown, replaced, replaced_unknown : ndarray, shape (feature,)
        Chances as stated, and their unknowns.
    chance_doubt : float
        As :mod:`~dating.learning.layout` has it.
    """

    slip: Floats
    slip_unknown: Positions
    replaced: Floats
    replaced_unknown: Positions
    chance_doubt: float


class RampTerms(NamedTuple):
    """Ramps from one regime to the next.

    Parameters
    ----------
    start, lag, overlap, logistic : ndarray, shape (ramp,)
        Numbers of a ramp, and its shape.
    narrowest : float
        As :mod:`~dating.learning.layout` has it.
    """

    start: Positions
    lag: Positions
    overlap: Positions
    logistic: NDArray[np.bool_]
    narrowest: float


class CourseTerms(NamedTuple):
    """Courses of features through their regimes.

    Parameters
    ----------
    depth, states, ramp, anchored : ndarray, shape (course, ...)
        How many regimes and states, the ramps between regimes, and whether it is a table.
    anchors : ndarray of float64, shape (course, regime, month)
        Tables.
    feature, replacement, swapped, donor : ndarray, shape (course, ...)
        Its feature, shares of later states, the chance of a swap, and months of the donor.
    """

    depth: Positions
    states: Positions
    ramp: Positions
    anchored: NDArray[np.bool_]
    anchors: Floats
    feature: Positions
    replacement: Floats
    swapped: Floats
    donor: Floats


class ReadingTerms(NamedTuple):
    """What is read of states, and instruments that are counted by it.

    Parameters
    ----------
    floor : float
        As :mod:`~dating.learning.layout` has it.
    course, weights : ndarray, shapes (reading of a state,) and (reading of a state, state)
        What is read.
    low, offset : ndarray of int64, shapes (reading,) and (reading + 1,)
        The months in which a reading of any kind is worked out, and where it stands.
    known : ndarray of float64, shape (month,)
        How many instruments of known month there are.
    instruments, counted : ndarray, shape (counted,)
        How many instruments, and their place among the readings' months.
    """

    floor: float
    course: Positions
    weights: Floats
    low: Positions
    offset: Positions
    known: Floats
    instruments: Floats
    counted: Positions


class GaugeTerms(NamedTuple):
    """Measurements, and values of them that are read.

    Parameters
    ----------
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
    tails, gauge_swapped, gauge_donor : ndarray of float64, shape (gauge, ...)
        Degrees of freedom (0 for a normal), chance of a swap, months of the donor.
    gauge, measured, constant, times : ndarray, shape (measured, ...)
        Measurement, value and error, the logarithm of what a density of scale one is multiplied by,
        and how many instruments have it.
    low, offset : ndarray of int64, shapes (measured,) and (measured + 1,)
        Of these readings, as :class:`ReadingTerms` has them.
    """

    first_mean: int
    first_spread: int
    anchor_gauge: Positions
    anchor_mean: Floats
    anchor_doubt: Floats
    along: Floats
    gauge_spread: Floats
    spread_doubt: float
    tails: Floats
    gauge_swapped: Floats
    gauge_donor: Floats
    gauge: Positions
    measured: Floats
    constant: Floats
    times: Floats
    low: Positions
    offset: Positions


class MarkTerms(NamedTuple):
    """Marks, their lags, and dates of them that are read.

    Parameters
    ----------
    lag_judged, lag_log, lag_reached : ndarray of float64, shape (lag, quantile)
        Judged quantiles, their logarithms less that of the median, and what they reach.
    lag_median, lag_unknown : ndarray, shape (lag,)
        Judged medians, and their places among the unknowns (-1 for what stands); the ratio is next.
    lag_doubt, ratio_doubt : float
        As :mod:`~dating.learning.lags` has them.
    mark_built, mark_swapped, mark_donor : ndarray of float64, shape (lag, ...)
        Chance of a mark that tells the build by month, of a swap, and months of the donor.
    otherwise : ndarray of float64, shape (marked, month)
        P(date | month) of a reading where it does not tell the build, with a swap.
    mark, stretch_at : ndarray of int64, shapes (marked,) and (marked + 1,)
        The mark of a reading, and where its stretches begin.
    stretch_month, stretch_kind : ndarray of int64, shape (stretch,)
        The month in which each begins, and its kind.
    kind_lag, kind_from, kind_to : ndarray, shape (kind,)
        Of stretches that are alike but for their month: the mark, and both ends since its start.
    low, offset : ndarray of int64, shapes (marked,) and (marked + 1,)
        Of these readings, as :class:`ReadingTerms` has them.
    """

    lag_judged: Floats
    lag_log: Floats
    lag_reached: Floats
    lag_median: Floats
    lag_unknown: Positions
    lag_doubt: float
    ratio_doubt: float
    mark_built: Floats
    mark_swapped: Floats
    mark_donor: Floats
    otherwise: Floats
    mark: Positions
    stretch_at: Positions
    stretch_month: Positions
    stretch_kind: Positions
    kind_lag: Positions
    kind_from: Floats
    kind_to: Floats
    low: Positions
    offset: Positions


class WalkTerms(NamedTuple):
    """The output, where it is learned.

    Parameters
    ----------
    cosines, reach : ndarray of float64, shapes (month, cosine) and (cosine,)
        As :class:`~dating.learning.walk.Walk` has them; none where the output stands.
    step, deviation, scale_doubt : float
        As :mod:`~dating.learning.walk` has them.
    first_scale, first_cosine : int
        Places of both scales and of the amplitudes among the unknowns.
    """

    cosines: Floats
    reach: Floats
    step: float
    deviation: float
    scale_doubt: float
    first_scale: int
    first_cosine: int


class RowTerms(NamedTuple):
    """Instruments that are summed over months, each as a few stretches of months.

    Parameters
    ----------
    row : ndarray of int64, shape (row + 1,)
        Row i has the stretches ``row[i]`` to ``row[i + 1]``.
    from_month : ndarray of uint64, shape (stretch,)
        First month of each stretch.
    weight_at, weight : ndarray of uint64 and float64, shapes (stretch + 1,) and (each month,)
        Where the weights of each stretch stand, and all of them.
    readings_at, readings : ndarray of uint64 and int64, shapes (stretch + 1,) and (each reading,)
        Where the readings of each stretch stand, and all of them.
    at : ndarray of uint64, shape (reading of a stretch,)
        Where the first month of each of them stands among the months of all readings.
    others_at : ndarray of uint64, shape (stretch,)
        Where, after those of states, the other readings of each stretch stand.
    """

    row: Positions
    from_month: Unsigned
    weight_at: Unsigned
    weight: Floats
    readings_at: Unsigned
    readings: Positions
    at: Unsigned
    others_at: Unsigned


class Terms(NamedTuple):
    """Everything that the density is made of.

    Numbers, shares, ramps and courses follow :class:`~dating.learning.layout.Layout`. Readings are
    those of states, then those of measurements, then those of marks; reading r is worked out in the
    months from ``low[r]``, and stands at ``offset[r]`` to ``offset[r + 1]``.

    Parameters
    ----------
    numbers, shares, chances, ramps, courses : NumberTerms, ShareTerms, ...
        What the maker file says of features.
    readings : ReadingTerms
        What the corpus has of states, and instruments that are counted by it.
    gauges, marks : GaugeTerms, MarkTerms
        What the maker file says of measurements and marks, and values and dates that are read.
    walk : WalkTerms
        What is known of the output.
    rows : RowTerms
        Instruments that are summed over months.
    """

    numbers: NumberTerms
    shares: ShareTerms
    chances: ChanceTerms
    ramps: RampTerms
    courses: CourseTerms
    readings: ReadingTerms
    gauges: GaugeTerms
    marks: MarkTerms
    walk: WalkTerms
    rows: RowTerms
