"""A block of posteriors summarized with numpy.

Everything is worked out row by row, so that a row gives the same bits in whatever block it stands.
Most posteriors have all that matters for mode and set in a *window* of a few years; only that is
then sorted and searched.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.lib.stride_tricks import as_strided

from dating.arrays import Booleans, Floats, Integers
from dating.batch.results import Summaries
from dating.magnitudes import LEAST
from dating.summaries import ALIKE, most_probable

SLACK = 1e-12
WINDOW = 84
"""Months of a window."""
_LEAST = 0.99 * (1 - ALIKE)
"""Share of the last probability that a set needs which every month has that enters with it; a
little less, for rounding."""
_YEAR = 12


def keep_dates(summaries: Summaries, weights: Floats, starts: Integers, level: float) -> Integers:
    """Keep mode, median, mean, years and highest-density set.

    Shapes: weights (row, month); starts (year + 1,); gives (lost row,).

    Examples
    --------
    >>> summaries = Summaries(*(np.zeros((n, 1)) for n in (4, 1, 5, 0, 2)))
    >>> keep_dates(summaries, np.array([[0.0, 2, 2, 6]]), np.array([0, 1, 4]), 0.7)
    array([], dtype=int64)
    >>> summaries.years.tolist(), summaries.numbers[1].tolist()
    ([[0.0], [1.0]], [1.0])
    """
    years = _year_masses(weights, starts)
    total = years.sum(axis=1)
    lost = np.flatnonzero(~(total >= LEAST))
    total[lost] = 1.0
    years /= total[:, None]
    summaries.years[:] = years.T
    summaries.months[1] = _medians(weights, total, years, starts)
    summaries.numbers[0] = np.vecdot(weights, np.arange(weights.shape[1], dtype=float)) / total
    for rows, begins, window in _windows(weights, years, starts, level):
        posterior = window / total[rows, None]
        likeliest = posterior >= posterior.max(axis=1, keepdims=True) * (1 - SLACK)
        inside = most_probable(posterior, level)
        summaries.numbers[1, rows] = np.einsum("rt,rt->r", posterior, inside)
        summaries.months[0, rows] = begins + likeliest.argmax(axis=1)
        summaries.months[2, rows] = begins + inside.argmax(axis=1)
        summaries.months[3, rows] = begins + _last(inside)
        begun = np.count_nonzero(inside[:, 1:] > inside[:, :-1], axis=1)
        summaries.stretches[rows] = inside[:, 0] + begun
    return lost


def _year_masses(weights: Floats, starts: Integers) -> Floats:
    """Sum each calendar year; the first and the last may be cut short."""
    masses = np.empty((len(weights), len(starts) - 1))
    entire = np.diff(starts) == _YEAR
    for year in np.flatnonzero(~entire):
        weights[:, starts[year] : starts[year + 1]].sum(axis=1, out=masses[:, year])
    first, count = int(entire.argmax()), int(np.count_nonzero(entire))
    months = weights[:, starts[first] : starts[first] + count * _YEAR]
    by_year = months.reshape(len(weights), count, _YEAR)
    masses[:, first : first + count] = np.vecdot(by_year, np.ones(_YEAR))
    return masses


def _last(marked: Booleans) -> Integers:
    """Find the last place that is marked in each row."""
    return np.asarray(marked.shape[1] - 1 - marked[:, ::-1].argmax(axis=1))


def _medians(weights: Floats, total: Floats, years: Floats, starts: Integers) -> Integers:
    """Find the year in which half is reached, then the month."""
    rows, months = weights.shape
    at = np.arange(rows)
    reached = np.cumsum(years, axis=1)
    year = np.minimum((reached < 0.5 - SLACK).sum(axis=1), years.shape[1] - 1)
    start, last = starts[year], starts[year + 1] - 1
    # A year cut short runs into what stands after it, which comes too late to be the median.
    places = (at * months + start)[:, None] + np.arange(_YEAR)
    of_year = weights.ravel().take(places, mode="clip") / total[:, None]
    before = reached[at, year] - years[at, year]
    within = before[:, None] + np.cumsum(of_year, axis=1)
    return np.asarray(np.minimum(start + (within < 0.5 - SLACK).sum(axis=1), last))


def _windows(
    weights: Floats, years: Floats, starts: Integers, level: float
) -> Iterator[tuple[Integers, Integers, Floats]]:
    """Give rows, where their windows begin, and the windows.

    Rows in which years that matter lie too far apart have all months in theirs.
    """
    months = weights.shape[1]
    matters = _matters(years, months, level)
    first, after = starts[matters.argmax(axis=1)], starts[_last(matters) + 1]
    fits = (after - first <= WINDOW) & (months > WINDOW)
    rows = np.flatnonzero(fits)
    if len(rows):
        begins = np.minimum(first[rows], months - WINDOW)
        yield rows, begins, _cut(weights, rows, begins)
    rows = np.flatnonzero(~fits)
    if len(rows):
        yield rows, np.zeros_like(rows), weights[rows]


def _matters(years: Floats, months: int, level: float) -> Booleans:
    """Mark the years in which months of the set may lie.

    Months that are no more probable than the last that the set needs hold more together than the
    set may leave out. So the last is more probable than that shared out among all months, and more
    than what the years that this rules out leave of it, shared out among the other months. Holes
    that are closed lie between months that enter.
    """
    spare = 1 - level
    matters = years > _LEAST * spare / months
    left = spare - np.einsum("ry,ry->r", years, ~matters)
    others = _YEAR * np.maximum(np.count_nonzero(matters, axis=1), 1)
    return np.asarray(years > (_LEAST * left / others)[:, None])


def _cut(weights: Floats, rows: Integers, begins: Integers) -> Floats:
    """Copy a window of each of some rows."""
    count, months = weights.shape
    # As sliding_window_view gives it, which takes as long as the copy.
    shape = (count, months - WINDOW + 1, WINDOW)
    windows = as_strided(weights, shape, (*weights.strides, weights.strides[1]), writeable=False)
    return np.asarray(windows[rows, begins])
