"""Uncertain dates written in EDTF (ISO 8601-2:2019): read with their bounds, and written.

Levels 0 to 2 of the Library of Congress specification, for the years 0001 to 9999. Calendar dates
are proleptic Gregorian. A *month number* is the plain integer ``year * 12 + (month - 1)``.

Out of scope: years before 0001 or after 9999, and the months that a season covers (they depend on
the hemisphere, so a season is accepted and has no bounds). A qualifier (``?``, ``~``, ``%``) is
reported but never widens the bounds.

References
----------
Library of Congress (2019), *Extended Date/Time Format (EDTF) Specification*, 4 February 2019,
https://www.loc.gov/standards/datetime/.
"""

import calendar
import datetime as dt
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise, product
from typing import Literal, NamedTuple

from dating.edtf_slips import remedy

__all__ = ["EdtfError", "UncertainDate", "month_label", "month_number", "parse_edtf", "write_edtf"]

type DayStretch = tuple[dt.date | None, dt.date | None]
type DateKind = Literal["date", "interval", "one of", "all of"]

_LONGEST = 1000
_MARKS = "?~%"
_YEAR = r"(?:[?~%]?[0-9X]{4}|[0-9X]{4}[?~%])"
_TWO = r"(?:[?~%]?[0-9X]{2}|[0-9X]{2}[?~%])"
_DATE = re.compile(rf"({_YEAR})(?:-({_TWO})(?:-({_TWO}))?)?")
_SIGNIFICANT = re.compile(r"[?~%]?([0-9]{4})S([0-9]+)[?~%]?")
_DATE_TIME = re.compile(
    r"([0-9]{4}-[0-9]{2}-[0-9]{2})T([0-9]{2}:[0-9]{2}:[0-9]{2}(?:Z|[+-][0-9]{2}(?::[0-9]{2})?)?)"
)
_SEASONS = range(21, 33)
_PARTS_OF_YEAR = {  # code: first and last month
    **{33 + i: (3 * i + 1, 3 * i + 3) for i in range(4)},
    **{37 + i: (4 * i + 1, 4 * i + 4) for i in range(3)},
    **{40 + i: (6 * i + 1, 6 * i + 6) for i in range(2)},
}


_DAY_FIRST = re.compile(r"\d{1,2}/\d{1,2}/\d{4}")


class EdtfError(ValueError):
    """A text is not EDTF, or stretches of months cannot be written in it."""


@dataclass(frozen=True)
class UncertainDate:
    """A date expression with the days it allows.

    Parameters
    ----------
    text : str
        The expression as written.
    kind : {"date", "interval", "one of", "all of"}
        An interval lasts from one date to another; *one of* is a single date among several
        candidates; *all of* is every date named.
    stretches : tuple of (date or None, date or None)
        First and last day, both included, of the whole interval or of each candidate or member,
        in the order written. None is an open or unknown end, or an end that is a season.
    qualifier : str
        The marks that occur, in the order ``?~%``: uncertain, approximate, both.
    """

    text: str
    kind: DateKind
    stretches: tuple[DayStretch, ...]
    qualifier: str

    @property
    def lower(self) -> dt.date | None:
        """First day allowed (included); None if there is none or it is unknown."""
        days = [first for first, _ in self.stretches if first is not None]
        return min(days) if len(days) == len(self.stretches) else None

    @property
    def upper(self) -> dt.date | None:
        """Last day allowed (included); None if there is none or it is unknown."""
        days = [last for _, last in self.stretches if last is not None]
        return max(days) if len(days) == len(self.stretches) else None

    @property
    def month_stretches(self) -> tuple[tuple[int | None, int | None], ...]:
        """First and last month number, both included, of each stretch in turn."""
        return tuple((_month_of(first), _month_of(last)) for first, last in self.stretches)


def month_number(year: int, month: int) -> int:
    """Return the month number, ``year * 12 + (month - 1)``.

    Raises ValueError if the year or the month is out of range.

    Examples
    --------
    >>> month_number(1931, 4)
    23175
    """
    if not 1 <= month <= 12:
        raise ValueError(f"a month runs from 1 to 12, not {month}")
    if not 1 <= year <= 9999:
        raise ValueError(f"a year runs from 1 to 9999, not {year}")
    return year * 12 + month - 1


def month_label(number: int) -> str:
    """Return a month number as year and month.

    Raises ValueError if the number is outside the years 1 to 9999.

    Examples
    --------
    >>> month_label(23175)
    '1931-04'
    """
    year, month = divmod(number, 12)
    if not 1 <= year <= 9999:
        raise ValueError(f"a month number runs from 12 (0001-01) to 119999 (9999-12), not {number}")
    return f"{year:04d}-{month + 1:02d}"


def parse_edtf(text: str) -> UncertainDate:
    """Read an EDTF expression of level 0, 1 or 2.

    Parameters
    ----------
    text : str
        The expression, without spaces, for example ``1931``, ``1931-04~``, ``193X``,
        ``1923-03/1941-11``, ``[1931-04..1931-09]`` or ``{1931,1933}``.

    Returns
    -------
    UncertainDate
        The expression with the days it allows. Unspecified digits give the real days that fit
        them, as unbroken stretches: ``156X-12-25`` is ten single days.

    Raises
    ------
    EdtfError
        If the text is not EDTF, names a day that does not exist, ends before it begins, or needs
        a year outside 0001 to 9999. The message says what to write instead.

    Examples
    --------
    >>> when = parse_edtf("[1931-04..1931-09]")
    >>> when.kind, when.lower.isoformat(), when.upper.isoformat()
    ('one of', '1931-04-01', '1931-09-30')
    >>> parse_edtf("c1931")
    Traceback (most recent call last):
    dating.edtf.EdtfError: "c1931" is not an EDTF date: circa does not say how far off; \
write between which years, such as [1929..1933]
    """
    if len(text) > _LONGEST:
        raise EdtfError(f"a date has at most {_LONGEST} characters, not {len(text)}")
    try:
        kind, stretches = _read(text)
    except EdtfError as error:
        raise EdtfError(f'"{text}" is not an EDTF date: {error}') from None
    marks = "".join(mark for mark in _MARKS if mark in text)
    return UncertainDate(text, kind, tuple(stretches), marks)


def write_edtf(stretches: Sequence[tuple[int, int]]) -> str:
    """Write the months in which a single date lies as a short, honest EDTF expression.

    A month is ``1931-04``, a whole year ``1931``, a whole decade ``193X`` (a century ``19XX``).
    Anything else is a *one of* set, ``[1931-04..1931-09]``, never an interval: an interval begins
    and ends, and a date does not. Both ends of a range have the same precision, and a stretch is
    never cut into pieces of unlike size to save a character. Two months or two years that
    touch are listed, ``[1931-04,1931-05]``.

    The sub-year codes are never used, though ``1931-34`` (the second quarter) is shorter than a
    range: a reader in the trade would take it for the years 1931 to 1934.

    Raises EdtfError if there is no stretch, one is reversed or outside the years 0001 to 9999, or
    two are unsorted, overlap or touch.

    Examples
    --------
    >>> year = month_number(1931, 1)
    >>> write_edtf([(year, year + 11)])
    '1931'
    >>> write_edtf([(year - 8, year - 8), (year + 3, year + 8)])
    '[1930-05,1931-04..1931-09]'
    """
    _check_stretches(stretches)
    pieces = [piece for first, last in stretches for piece in _pieces(first, last)]
    if len(pieces) == 1 and ".." not in pieces[0]:
        return pieces[0]
    return f"[{','.join(pieces)}]"


def _month_of(day: dt.date | None) -> int | None:
    return None if day is None else month_number(day.year, day.month)


# Reading: the whole expression, then one date ------------------------------------------------


class _Term(NamedTuple):
    """One date inside an expression."""

    stretches: list[DayStretch]
    precision: str


def _read(text: str) -> tuple[DateKind, list[DayStretch]]:
    if re.search(r"\s", text):
        raise EdtfError(_advice(text))
    if text.startswith("["):
        return "one of", _read_set(text, "]")
    if text.startswith("{"):
        return "all of", _read_set(text, "}")
    if "/" in text:
        return "interval", [_read_interval(text)]
    if match := _DATE_TIME.fullmatch(text):
        _check_time(match[2])
        return "date", _term(match[1]).stretches
    return "date", _term(text).stretches


def _read_interval(text: str) -> DayStretch:
    if _DAY_FIRST.fullmatch(text):
        raise EdtfError(_advice(text))
    ends = text.split("/")
    if len(ends) != 2:
        raise EdtfError("an interval has one /, between its two ends, as in 1931-04/1931-09")
    if not set(ends) - {"", ".."}:
        raise EdtfError("an interval needs a date at one end at least, as in 1931/.. or ../1931")
    first, last = (None if end in ("", "..") else _term(end) for end in ends)
    return _span(first, last, text)


def _read_set(text: str, bracket: str) -> list[DayStretch]:
    if not text.endswith(bracket):
        raise EdtfError(f"a set that opens with {text[0]} closes with {bracket}, as in [1931,1932]")
    members = text[1:-1].split(",")
    stretches: list[DayStretch] = []
    for place, member in enumerate(members):
        if ".." in member:
            stretches.append(_read_range(member, place == 0, place == len(members) - 1))
        elif "/" in member:
            raise EdtfError("an interval cannot stand in a set; write a range, as in [1931..1933]")
        elif not member:
            raise EdtfError("a set has no empty place; write [1931,1932] or [1931..1933]")
        else:
            stretches.extend(_term(member).stretches)
    return stretches


def _read_range(member: str, is_first: bool, is_last: bool) -> DayStretch:
    ends = member.split("..")
    if len(ends) != 2 or not any(ends):
        raise EdtfError("a range has .. once, beside a date, as in 1931..1933, ..1931 or 1931..")
    if (not ends[0] and not is_first) or (not ends[1] and not is_last):
        raise EdtfError("an open range stands at the outer end of its set, as in [1931,1933..]")
    first, last = (_term(end) if end else None for end in ends)
    if first and last and first.precision != last.precision:
        raise EdtfError(
            f"both ends of a range have the same precision, but {ends[0]} is a {first.precision} "
            f"and {ends[1]} a {last.precision}; write for example 1931-01..1933-04"
        )
    return _span(first, last, member)


def _span(first: _Term | None, last: _Term | None, text: str) -> DayStretch:
    lower = first.stretches[0][0] if first else None
    upper = last.stretches[-1][1] if last else None
    if lower and upper and upper < lower:
        raise EdtfError(f"{text} ends before it begins; the earlier date comes first")
    return lower, upper


def _check_time(time: str) -> None:
    try:
        dt.time.fromisoformat(time)
    except ValueError:
        raise EdtfError(f"there is no time {time}; write for example 10:30:00") from None


def _term(text: str) -> _Term:
    if match := _SIGNIFICANT.fullmatch(text):
        year, digits = match[1], int(match[2])
        if not 1 <= digits <= 4:
            raise EdtfError(f"a year has 1 to 4 significant digits, not {digits}; as in 1931S3")
        return _Term(_unbroken(_years(year[:digits] + "X" * (4 - digits))), "year")
    match = _DATE.fullmatch(text)
    if not match:
        raise EdtfError(_advice(text))
    year, month, day = (part and part.strip(_MARKS) for part in match.groups())
    if month and month.isdigit() and int(month) > 12:
        return _Term(_part_of_year(year, int(month), day), "part of a year")
    if month in (None, "XX") and day in (None, "XX"):
        spans = _years(year)
    elif day in (None, "XX"):
        spans = _months(year, month)
    else:
        spans = _days(year, month, day)
    return _Term(_unbroken(spans), "day" if day else "month" if month else "year")


def _part_of_year(year: str, code: int, day: str | None) -> list[DayStretch]:
    if code not in _SEASONS and code not in _PARTS_OF_YEAR:
        end = f"{year[:2]}{code}"
        run = f"; for one date in those years write [{year}..{end}]" if year < end else ""
        raise EdtfError(
            f"there is no month {code}: months are 01 to 12, parts of a year 21 to 41{run}"
        )
    if day:
        raise EdtfError(f"{code} is a part of a year and takes no day; write a month, 01 to 12")
    years = _fitting(year, 1, 9999, "year")
    if code in _SEASONS:
        return [(None, None)]
    first, last = _PARTS_OF_YEAR[code]
    return _unbroken((dt.date(y, first, 1), _month_end(y, last)) for y in years)


# Unspecified digits: every real date that fits ------------------------------------------------


def _fitting(pattern: str, lowest: int, highest: int, what: str) -> list[int]:
    """Return the numbers from lowest to highest, both included, that fit digits and X."""
    digits = product(*("0123456789" if sign == "X" else sign for sign in pattern))
    fits = [n for n in (int("".join(d)) for d in digits) if lowest <= n <= highest]
    if not fits:
        width = len(pattern)
        raise EdtfError(
            f"there is no {what} {pattern}: a {what} here runs from {lowest:0{width}d} "
            f"to {highest:0{width}d}"
        )
    return fits


def _years(year: str) -> list[tuple[dt.date, dt.date]]:
    return [(dt.date(y, 1, 1), dt.date(y, 12, 31)) for y in _fitting(year, 1, 9999, "year")]


def _months(year: str, month: str) -> list[tuple[dt.date, dt.date]]:
    months = _fitting(month, 1, 12, "month")
    years = _fitting(year, 1, 9999, "year")
    return [(dt.date(y, m, 1), _month_end(y, m)) for y in years for m in months]


def _days(year: str, month: str, day: str) -> list[tuple[dt.date, dt.date]]:
    firsts_and_lasts = _months(year, month)
    longest = max(last.day for _, last in firsts_and_lasts)
    days = _fitting(day, 1, longest, "day")
    dates = [
        first.replace(day=d) for first, last in firsts_and_lasts for d in days if d <= last.day
    ]
    return [(d, d) for d in dates]


def _month_end(year: int, month: int) -> dt.date:
    return dt.date(year, month, calendar.monthrange(year, month)[1])


def _unbroken(spans: Iterable[tuple[dt.date, dt.date]]) -> list[DayStretch]:
    """Join spans, sorted and disjoint, wherever one begins the day after another ends."""
    joined: list[tuple[dt.date, dt.date]] = []
    for first, last in spans:
        if joined and joined[-1][1].toordinal() + 1 == first.toordinal():
            joined[-1] = (joined[-1][0], last)
        else:
            joined.append((first, last))
    return list(joined)


def _advice(text: str) -> str:
    if known := remedy(text):
        return known
    bare = "".join(text.split())
    if bare != text and _is_valid(bare):
        return f"spaces are not allowed; write {bare}"
    return (
        f"'{text}' is not understood; write a year 1931, a month 1931-04, a day 1931-04-12, "
        "one date in a range [1931-04..1931-09], or an interval 1923-03/1941-11"
    )


def _is_valid(text: str) -> bool:
    try:
        _read(text)
    except EdtfError:
        return False
    return True


# Writing --------------------------------------------------------------------------------------


def _check_stretches(stretches: Sequence[tuple[int, int]]) -> None:
    if not stretches:
        raise EdtfError("a date needs at least one stretch of months, and none was given")
    for first, last in stretches:
        if not 12 <= first <= last <= 119999:
            raise EdtfError(
                "a stretch runs forward and lies between month numbers 12 (0001-01) and 119999 "
                f"(9999-12), not from {first} to {last}"
            )
    for (_, end), (start, _) in pairwise(stretches):
        if start <= end + 1:
            raise EdtfError(
                "stretches are sorted and do not overlap or touch, but one ends in "
                f"{month_label(end)} and the next begins in {month_label(start)}; "
                "sort them and join those that touch"
            )


def _pieces(first: int, last: int) -> list[str]:
    """Return the set members that together cover one stretch of months."""
    if first % 12 or last % 12 != 11:
        return _members(first, last, month_label)
    first, last = first // 12, last // 12
    for places in (1, 2, 3):
        size = 10**places
        if first % size == 0 and last == first + size - 1:
            return [f"{first:04d}"[:-places] + "X" * places]
    return _members(first, last, lambda year: f"{year:04d}")


def _members(first: int, last: int, label: Callable[[int], str]) -> list[str]:
    if last - first < 2:
        return [label(number) for number in range(first, last + 1)]
    return [f"{label(first)}..{label(last)}"]
