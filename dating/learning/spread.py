"""How the instruments of a table are spread over time, and how far beyond them others may lie."""

from __future__ import annotations

from collections.abc import Iterator
from math import ceil

import numpy as np

from dating.learning.latent.mixture import kernel
from dating.learning.latent.rows import MOST_CELLS, Cells
from dating.months import Period, month_label

type Stretch = tuple[int, int]
"""First and last month number of a date."""

_LEAST_MARGIN, _MOST_MARGIN = 12, 120
_FIRST, _LAST = 12, 9999 * 12 + 11
"""Month numbers of the first and the last month that a period may have."""
_MOST_MONTHS = 2400
_IN_A_CELL = 4
"""Instruments that a stretch of output has at least, on average: fewer show chance alone."""
_REACH = 1.0
"""Reach, in cells, of the kernel that smooths the number of dated instruments."""


def margin_of(known: list[Stretch], period: Period) -> int:
    """Give the months by which a period may be longer than the dates of a table show.

    Where n instruments are spread evenly over a period, the last of them lies farther from its end
    in one case of twenty; a year at least, and no more than what is dated, or than ten years.

    Parameters
    ----------
    known : list of (int, int)
        First and last month number of each date.
    period : Period
        From the first to the last of them.

    Returns
    -------
    int
        Months on either side.

    Examples
    --------
    >>> period = Period.parse("1930/1949")
    >>> margin_of([(period.first, period.last)] * 60, period)
    13
    """
    length = len(period)
    margin = ceil(length * (float(np.power(20.0, 1 / len(known))) - 1))
    return max(min(margin, length, _MOST_MARGIN), _LEAST_MARGIN)


def wider(period: Period, months: int) -> Period:
    """Widen a period on both sides, as far as a period may reach.

    Parameters
    ----------
    period : Period
        Some months.
    months : int
        How many more on either side.

    Returns
    -------
    Period
        At most 200 years, from the year 1 to the year 9999.
    """
    months = min(months, (_MOST_MONTHS - len(period)) // 2)
    return Period(max(period.first - months, _FIRST), min(period.last + months, _LAST))


def output_of(known: list[Stretch], period: Period) -> Iterator[dict[str, str | float]]:
    """Spread each instrument evenly over its date, and smooth a little; one more on either side.

    Of n + 1 instruments that differ in nothing else, each is as likely to be the last: so one in
    n + 1 of those that come next is later than all.

    Parameters
    ----------
    known : list of (int, int)
        First and last month number of each date.
    period : Period
        From the first to the last of them.

    Yields
    ------
    dict
        ``during``, ``made`` and ``source``, as a maker file has them.
    """
    whole = wider(period, margin_of(known, period))
    if whole.first < period.first:
        yield _entry(whole.first, period.first - 1, 1.0)
    first, months = period.first, len(period)
    widths = [stop - start + 1 for start, stop in known]
    finest = min(int(np.quantile(widths, 0.25)), 12)
    even = min(ceil(_IN_A_CELL * months / len(known)), months)
    cells = Cells(months, max(finest, even, ceil(months / MOST_CELLS)))
    spread = np.zeros(cells.months)
    for start, stop in known:
        spread[start - first : stop - first + 1] += 1 / (stop - start + 1)
    near = kernel(len(cells), _REACH)
    counts = (near / near.sum(axis=0)) @ cells.gathered(spread)
    for place, count in enumerate(counts):
        start = first + place * cells.width
        stop = min(start + cells.width - 1, period.last)
        yield _entry(start, stop, max(round(float(count), 2), 0.01))
    if whole.last > period.last:
        yield _entry(period.last + 1, whole.last, 1.0)


def _entry(first: int, last: int, count: float) -> dict[str, str | float]:
    during = f"{month_label(first)}/{month_label(last)}"
    return {"during": during, "made": count, "source": "table"}
