"""Weeks of source-date codes against published values.

Sources: the association's own worked example (source 113, code 113-9910 is week 10 of 1999, 7 to
13 March), https://www.ecianow.org/eia-source-codes; ISO 8601-1 for the Monday week
(``data/iso_week_checks.csv``, computed with ``datetime.date.isocalendar``); *Morbidity and
Mortality Weekly Report* 62(51&52), 3 January 2014, Table I, for a public calendar of Sunday weeks
with the same rule.
"""

import csv
import datetime as dt
from pathlib import Path

import pytest

from dating.date_codes import DateCodeError, read_date_code, week_bounds, weeks_in_year

ISO = [
    (dt.date.fromisoformat(row["date"]), *(int(row[k]) for k in list(row)[1:]))
    for row in csv.DictReader(
        (Path(__file__).parent / "data" / "iso_week_checks.csv").read_text("utf-8").splitlines()
    )
]
ISO_53 = [
    *(1903, 1908, 1914, 1920, 1925, 1931, 1936, 1942, 1948, 1953, 1959, 1964, 1970, 1976),
    *(1981, 1987, 1992, 1998, 2004, 2009, 2015, 2020, 2026, 2032, 2037, 2043, 2048),
]


def sunday_week(day):
    """Year, week and day (Sunday 1) by search, not by formula."""
    for year in (day.year - 1, day.year, day.year + 1):
        for week in range(1, weeks_in_year(year) + 1):
            first, last = week_bounds(year, week)
            if first <= day <= last:
                return year, week, (day - first).days + 1
    raise AssertionError(f"{day} lies in no week")


def test_the_official_example():
    (reading,) = read_date_code("113-9910", latest=dt.date(2026, 12, 31))
    assert (reading.source, reading.year, reading.week) == ("113", 1999, 10)
    assert (reading.first_day, reading.last_day) == (dt.date(1999, 3, 7), dt.date(1999, 3, 13))


@pytest.mark.parametrize(("day", "year", "week", "weekday"), ISO)
def test_the_reference_is_the_iso_calendar(day, year, week, weekday):
    assert tuple(day.isocalendar()) == (year, week, weekday)


@pytest.mark.parametrize(("day", "year", "week", "weekday"), ISO)
def test_the_sunday_week_parts_from_the_iso_week_by_the_rule(day, year, week, weekday):
    """Both hold 4 January in week 1: a day earlier here, or six later when it is a Sunday."""
    year_here, week_here, weekday_here = sunday_week(day)
    assert weekday_here == weekday % 7 + 1
    four_january = dt.date(year_here, 1, 4)
    iso_start = four_january - dt.timedelta(days=four_january.isoweekday() - 1)
    sunday_start = week_bounds(year_here, 1)[0]
    shift = (sunday_start - iso_start).days
    assert shift == (6 if four_january.isoweekday() == 7 else -1)
    if year_here == year and shift == -1:
        assert week_here == week + (weekday == 7)


def test_the_official_week_is_not_the_iso_week():
    assert dt.date.fromisocalendar(1999, 10, 1) == dt.date(1999, 3, 8)
    assert week_bounds(1999, 10)[0] == dt.date(1999, 3, 7)
    assert dt.date(1999, 3, 7).isocalendar().week == 9


def test_years_of_53_weeks_by_iso_and_by_the_sunday_rule():
    iso = [y for y in range(1900, 2051) if dt.date(y, 12, 28).isocalendar().week == 53]
    assert iso == ISO_53
    here = [y for y in range(1900, 2051) if weeks_in_year(y) == 53]
    # With a week from Sunday, the 53rd comes when 1 January is a Wednesday, or a Tuesday of a
    # leap year: four days of week 1 are Wednesday to Saturday.
    assert here == [
        year
        for year in range(1900, 2051)
        if dt.date(year, 1, 1).isoweekday() == 3 or (dt.date(year, 12, 31).isoweekday() == 3)
    ]
    assert here != iso
    assert sum(weeks_in_year(year) == 53 for year in range(1601, 2001)) == 71


def test_a_public_calendar_of_the_same_rule():
    """MMWR 62(51&52): the week ending 28 December 2013 is its 52nd."""
    assert week_bounds(2013, 52)[1] == dt.date(2013, 12, 28)
    assert weeks_in_year(2013) == 52


@pytest.mark.parametrize("year", [1997, 2003, 2008, 2014, 2020])
def test_years_of_53_weeks_in_that_public_calendar(year):
    """Years of 53 MMWR weeks, from memory."""
    assert weeks_in_year(year) == 53


def test_a_single_year_digit_means_every_decade():
    """ecianow.org, as above: the scheme has run since 1945 (EIA-476-B), so never before."""
    readings = read_date_code("113114", latest=dt.date(1990, 12, 31))
    assert [(r.source, r.year, r.week) for r in readings] == [
        ("113", year, 14) for year in (1951, 1961, 1971, 1981)
    ]


def test_seven_digits_are_ambiguous():
    """EIA-476-A: the source has up to 4 digits, so 3 + 2 + 2 and 4 + 1 + 2 are both legal."""
    readings = read_date_code("1136714", latest=dt.date(1970, 12, 31))
    assert {(r.source, r.year, r.week) for r in readings} == {
        ("113", 1967, 14),
        ("1136", 1947, 14),
        ("1136", 1957, 14),
        ("1136", 1967, 14),
    }


def test_1930_has_no_week_53_in_iso_but_has_one_here():
    with pytest.raises(ValueError, match="Invalid week"):
        dt.date.fromisocalendar(1930, 53, 1)
    assert week_bounds(1930, 53) == (dt.date(1930, 12, 28), dt.date(1931, 1, 3))


def test_week_53_is_refused_in_a_year_that_lacks_it():
    with pytest.raises(DateCodeError, match="run from 1 to 52"):
        week_bounds(1999, 53)
