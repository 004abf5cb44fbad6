"""The month axis: month numbers, positions of days, and periods of whole months.

A *month number* is the plain integer ``year * 12 + (month - 1)``. On the month axis, the real
number ``n`` is the first instant of month ``n``, so month ``n`` is the stretch ``[n, n + 1)``.
"""

import calendar
import datetime as dt
import re
from dataclasses import dataclass
from typing import Self

import numpy as np
import numpy.typing as npt

from dating.edtf import month_label, month_number, parse_edtf

__all__ = ["Period", "day_position", "month_label", "month_number", "month_words"]

_LONGEST = 200  # years
_MONTH_OR_YEAR = re.compile(r"[0-9]{4}(-(0[1-9]|1[0-2]))?")
_NAMES = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
_EXAMPLES = "write two months, 1923-03/1941-11, two years, 1923/1941, or a single month or year"


@dataclass(frozen=True)
class Period:
    """A run of whole months.

    Parameters
    ----------
    first, last : int
        Month numbers (months since January of the year 0), both included.

    Raises
    ------
    ValueError
        If the period is empty, longer than 200 years, or outside the years 1 to 9999.

    Examples
    --------
    >>> period = Period.parse("1923-03/1941-11")
    >>> len(period), month_number(1931, 4) in period, period.years()[0]
    (225, True, 1923)
    """

    first: int
    last: int

    def __post_init__(self) -> None:
        start, end = month_label(self.first), month_label(self.last)
        if self.last < self.first:
            raise ValueError(
                f"a period ends no earlier than it begins, but this one runs from {start} to "
                f"{end}; put the earlier month first"
            )
        if len(self) > _LONGEST * 12:
            raise ValueError(
                f"a period is at most {_LONGEST} years long, but {start} to {end} is "
                f"{len(self) / 12:.1f} years; check the years"
            )

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read a period from an EDTF interval, month or year.

        Raises ValueError if the text is not EDTF, has an open, unknown or qualified end, is finer
        or coarser than months and years, or gives a period that is empty or over 200 years.

        Examples
        --------
        >>> str(Period.parse("1923/1924-02"))
        '1923-01/1924-02'
        """
        when = parse_edtf(text)
        ends = text.split("/")
        if "" in ends or ".." in ends:
            raise ValueError(f'the period "{text}" has no fixed end on one side; {_EXAMPLES}')
        if when.kind in {"one of", "all of"}:
            raise ValueError(f'the period "{text}" is a set, and a period lasts; {_EXAMPLES}')
        if not all(_MONTH_OR_YEAR.fullmatch(end) for end in ends):
            raise ValueError(
                f'the period "{text}" does not run in plain months or years (no days, parts of '
                f"years, decades or marks such as ~); {_EXAMPLES}"
            )
        ((first, last),) = when.month_stretches
        if first is None or last is None:
            raise ValueError(f'the period "{text}" has no fixed ends; {_EXAMPLES}')
        return cls(first, last)

    def __len__(self) -> int:
        """Return the number of months."""
        return self.last - self.first + 1

    def __contains__(self, number: int) -> bool:
        """Return whether a month number lies in the period, both ends included."""
        return self.first <= number <= self.last

    def __str__(self) -> str:
        """Return the period as an EDTF interval of months."""
        return f"{month_label(self.first)}/{month_label(self.last)}"

    def labels(self) -> list[str]:
        """Return the months in order, each as ``YYYY-MM``.

        Examples
        --------
        >>> Period.parse("1931-12/1932-01").labels()
        ['1931-12', '1932-01']
        """
        return [month_label(number) for number in range(self.first, self.last + 1)]

    def years(self) -> list[int]:
        """Return the calendar years that the period touches, in order.

        Examples
        --------
        >>> Period.parse("1931-12/1932-01").years()
        [1931, 1932]
        """
        return list(range(self.first // 12, self.last // 12 + 1))

    @property
    def last_day(self) -> dt.date:
        """The last day of the last month."""
        year, month = divmod(self.last, 12)
        return dt.date(year, month + 1, calendar.monthrange(year, month + 1)[1])

    def axis(self) -> npt.NDArray[np.datetime64]:
        """Return the months as an array.

        Shape: (months,).

        Examples
        --------
        >>> Period.parse("1931-12/1932-01").axis()
        array(['1931-12', '1932-01'], dtype='datetime64[M]')
        """
        return np.array(self.labels(), dtype="datetime64[M]")

    def inside(self, stretch: Self) -> npt.NDArray[np.bool_]:
        """Say which of the months lie in a stretch.

        Shape: (month,).

        Examples
        --------
        >>> Period.parse("1931-01/1931-03").inside(Period.parse("1931-03/1931-12")).tolist()
        [False, False, True]
        """
        number = np.arange(self.first, self.last + 1)
        return (number >= stretch.first) & (number <= stretch.last)


def day_position(day: dt.date) -> float:
    """Return where a day begins on the month axis.

    Examples
    --------
    >>> day_position(dt.date(1931, 4, 16)) - month_number(1931, 4)
    0.5
    """
    days_in_month = calendar.monthrange(day.year, day.month)[1]
    return month_number(day.year, day.month) + (day.day - 1) / days_in_month


def month_words(number: float) -> str:
    """Write the month that holds a point in time, for people.

    Examples
    --------
    >>> month_words(month_number(1930, 6) + 0.5)
    'June 1930'
    """
    year, month = divmod(int(number), 12)
    return f"{_NAMES[month]} {year}"
