"""How the instruments of a table are spread over time, and how far beyond them others may lie."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from math import ceil

import numpy as np

from dating.learning.output import output_from
from dating.months import Period, month_label

type MonthRange = tuple[int, int]
"""First and last month number of a date."""

_LEAST_MARGIN, _MOST_MARGIN = 12, 120
_FIRST, _LAST = 12, 9999 * 12 + 11
"""Month numbers of the first and the last month that a period may have."""
_MOST_MONTHS = 2400


def margin_of(known: list[MonthRange], period: Period) -> int:
    """Give the months by which a period may be longer than the dates of a table show.

    Where n instruments are spread evenly over a period, the last of them lies farther from its end
    in one case of twenty; a year at least, and no more than what is dated, or than ten years.

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
    """Widen a period on both sides, as far as a period may reach."""
    months = min(months, (_MOST_MONTHS - len(period)) // 2)
    return Period(max(period.first - months, _FIRST), min(period.last + months, _LAST))


def output_of(known: list[MonthRange], period: Period) -> Iterator[dict[str, str | float]]:
    """Spread each instrument over its date and smooth that; one more instrument on either side.

    Of n + 1 instruments that differ in nothing else, each is as likely to be the last: so one in
    n + 1 of those that come next is later than all.
    """
    whole = wider(period, margin_of(known, period))
    if whole.first < period.first:
        yield _entry(whole.first, period.first - 1, 1.0)
    first = period.first
    dates = [(start - first, stop + 1 - first) for start, stop in known]
    cells, counts = output_from(dates, period)
    for (start, stop), count in zip(pairwise(cells.edges), counts, strict=True):
        yield _entry(first + start, first + stop - 1, max(round(float(count), 2), 0.01))
    if whole.last > period.last:
        yield _entry(period.last + 1, whole.last, 1.0)


def _entry(first: int, last: int, count: float) -> dict[str, str | float]:
    during = f"{month_label(first)}/{month_label(last)}"
    return {"during": during, "made": count, "source": "table"}
