"""Source-date codes of the electronics industry: every legal reading of a code.

A code is a maker's source number followed by the year and the week in which the component was
made. The year may have one digit and the separators may be missing, so one code often has several
readings. All of them are returned, for the rest of the evidence to weigh. The code dates the
component: the instrument was built afterwards.

References
----------
Electronic Industries Association, EIA-476-A (1987), *Source and Date Code Marking*: a source of 1
to 4 digits, then year and week, at most 8 digits in all; EIA-476-B (1998), *Date Code Marking*:
the scheme has run since 1945. The week is inferred from the one worked example that the
association gives, code 113-9910 for 7 to 13 March 1999: Sunday to Saturday, where week 1 is the
first with at least four days in the year.
"""

import datetime as dt
import itertools
import re
from dataclasses import dataclass
from typing import NamedTuple

_FIRST_YEAR = 1945
_MOST_UNREAD = 2
_WEEK = dt.timedelta(days=7)
_CODE = re.compile(r"[0-9]+(?:[- ][0-9]+){0,2}")


class DateCodeError(ValueError):
    """A source-date code, or a week in it, is not legal."""


@dataclass(frozen=True)
class CodeReading:
    """One way to read a source-date code.

    Parameters
    ----------
    source : str
        The maker's source number as marked, 1 to 4 digits, leading zeros kept.
    year : int
        Year to which the week belongs, 1945 or later.
    week : int
        Week, 1 to 53.
    first_day, last_day : datetime.date
        Sunday and Saturday of the week, both included.
    """

    source: str
    year: int
    week: int
    first_day: dt.date
    last_day: dt.date


def weeks_in_year(year: int) -> int:
    """Return how many weeks a year has, 52 or 53.

    Raises DateCodeError if the year is out of range.

    Examples
    --------
    >>> weeks_in_year(1999), weeks_in_year(1997)
    (52, 53)
    """
    if not 2 <= year <= 9998:
        raise DateCodeError(f"weeks are counted in the years 2 to 9998, not in {year}")
    return (_sunday_before(dt.date(year, 12, 28)) - _first_sunday(year)).days // 7 + 1


def week_bounds(year: int, week: int) -> tuple[dt.date, dt.date]:
    """Return the first and last day of a week.

    Weeks run from Sunday to Saturday. Week 1 is the first with at least four days in the year,
    the one that holds 4 January. An ISO 8601 week runs from Monday to Sunday and so differs.

    Raises DateCodeError if the year does not have that week.

    Examples
    --------
    >>> [day.isoformat() for day in week_bounds(1999, 10)]
    ['1999-03-07', '1999-03-13']
    """
    if not 1 <= week <= weeks_in_year(year):
        raise DateCodeError(f"the weeks of {year} run from 1 to {weeks_in_year(year)}, not {week}")
    first_day = _first_sunday(year) + (week - 1) * _WEEK
    return first_day, first_day + dt.timedelta(days=6)


def readings_of(text: str, latest: dt.date) -> tuple[CodeReading, ...]:
    """Return every legal reading of what was recorded: a code, or codes of which it is one.

    Several codes stand in brackets, as in ``[99-7114,99-7174]``; a question mark stands for a digit
    that cannot be read, of which a code has at most two.

    Raises DateCodeError if a code is none, or if none of the readings is possible.

    Examples
    --------
    >>> [(r.year, r.week) for r in readings_of("113-64?1", latest=dt.date(1967, 12, 31))]
    [(1964, 1), (1964, 11), (1964, 21), (1964, 31), (1964, 41), (1964, 51)]
    """
    codes = text[1:-1].split(",") if text.startswith("[") and text.endswith("]") else [text]
    readings: set[CodeReading] = set()
    for code in map(str.strip, codes):
        if "?" in code:
            readings |= _readings_of_doubtful(code, latest)
        else:
            readings |= set(read_date_code(code, latest))
    return tuple(sorted(readings, key=lambda reading: (reading.first_day, reading.source)))


def _readings_of_doubtful(code: str, latest: dt.date) -> set[CodeReading]:
    """Read a code with digits that cannot be read."""
    unread = code.count("?")
    if unread > _MOST_UNREAD:
        raise DateCodeError(f'at most {_MOST_UNREAD} digits of a code may be "?", found {unread}')
    readings: set[CodeReading] = set()
    first = None
    for digits in itertools.product("0123456789", repeat=unread):
        each = iter(digits)
        tried = "".join(next(each) if sign == "?" else sign for sign in code)
        try:
            readings |= set(read_date_code(tried, latest))
        except DateCodeError as error:
            first = first or error
    if not readings:
        raise DateCodeError(f'the code "{code}" has no possible reading, such as: {first}')
    return readings


def read_date_code(text: str, latest: dt.date) -> tuple[CodeReading, ...]:
    """Return every legal reading of a source-date code.

    Raises DateCodeError if the text is not such a code, or if none of its readings is possible.

    Examples
    --------
    >>> for reading in read_date_code("113-114", latest=dt.date(1967, 12, 31)):
    ...     print(reading.source, reading.year, reading.week, reading.first_day)
    113 1951 14 1951-04-01
    113 1961 14 1961-04-02
    """
    splits = _splits(text)
    readings = [reading for split in splits for reading in _readings(split, latest)]
    if not readings:
        reasons = "; ".join(_obstacle(split, latest) for split in splits)
        raise DateCodeError(f'the code "{text}" has no possible reading: {reasons}')
    return tuple(sorted(readings, key=lambda reading: (reading.first_day, reading.source)))


class _Split(NamedTuple):
    source: str
    year: str
    week: str


def _splits(text: str) -> list[_Split]:
    """Return the ways to cut a code into source, year and week."""
    if not _CODE.fullmatch(text):
        raise DateCodeError(
            f'"{text}" is not a source-date code: it has digits only, with at most two hyphens or '
            "single spaces between them, as in 113-9910, 113 99 10 or 1139910"
        )
    parts = re.split("[- ]", text)
    digits = "".join(parts)
    cuts = {len("".join(parts[:i])) for i in range(1, len(parts))}
    week_at = len(digits) - 2
    splits = [
        _Split(digits[:year_at], digits[year_at:week_at], digits[week_at:])
        for year_at in (week_at - 2, week_at - 1)
        if 1 <= year_at <= 4 and cuts <= {year_at, week_at}
    ]
    if not splits:
        raise DateCodeError(
            f'"{text}" is not a source-date code: a source of 1 to 4 digits is followed by a year '
            f"of 1 or 2 and a week of 2, 4 to 8 digits in all (here {len(digits)}), with a "
            "separator only before the year or the week, as in 113-9910 or 113 99 10"
        )
    return splits


def _readings(split: _Split, latest: dt.date) -> list[CodeReading]:
    week = int(split.week)
    readings = []
    for year in range(_FIRST_YEAR, latest.year + 2):  # week 1 may begin in the year before
        if str(year).endswith(split.year) and 1 <= week <= weeks_in_year(year):
            first_day, last_day = week_bounds(year, week)
            if first_day <= latest:
                readings.append(CodeReading(split.source, year, week, first_day, last_day))
    return readings


def _obstacle(split: _Split, latest: dt.date) -> str:
    source, year, week = split
    read_as = f"read as source {source}, year {year}, week {week}"
    if not 1 <= int(week) <= 53:
        return f"{read_as}, the week is not one of 01 to 53"
    some = " (few years have 53 weeks)" if int(week) == 53 else ""
    return (
        f"{read_as}, no year from {_FIRST_YEAR} that ends in {year} has that week{some} "
        f"beginning by {latest.isoformat()}"
    )


def _first_sunday(year: int) -> dt.date:
    return _sunday_before(dt.date(year, 1, 4))


def _sunday_before(day: dt.date) -> dt.date:
    """Return the Sunday on or before a day."""
    return day - dt.timedelta(days=day.isoweekday() % 7)
