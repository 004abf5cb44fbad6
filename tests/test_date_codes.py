"""Source-date codes: weeks, splits, readings, refusals."""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dating.date_codes import DateCodeError, read_date_code, week_bounds, weeks_in_year

LATEST = dt.date(1999, 12, 31)


def read(text, latest=LATEST):
    return [(r.source, r.year, r.week) for r in read_date_code(text, latest)]


@given(st.integers(2, 9998))
def test_weeks_tile_the_years_from_sunday_to_saturday(year):
    first, _ = week_bounds(year, 1)
    _, last = week_bounds(year, weeks_in_year(year))
    assert first.isoweekday() == 7
    assert sum(day.year == year for day in (first + dt.timedelta(days=i) for i in range(7))) >= 4
    assert sum(day.year == year for day in (last - dt.timedelta(days=i) for i in range(7))) >= 4
    if year < 9998:
        assert week_bounds(year + 1, 1)[0] == last + dt.timedelta(days=1)


@given(st.dates(dt.date(3, 1, 1), dt.date(9997, 12, 31)))
def test_every_day_lies_in_exactly_one_week(day):
    holding = [
        (year, week)
        for year in (day.year - 1, day.year, day.year + 1)
        for week in range(1, weeks_in_year(year) + 1)
        if week_bounds(year, week)[0] <= day <= week_bounds(year, week)[1]
    ]
    assert len(holding) == 1


@pytest.mark.parametrize(("year", "week"), [(1999, 0), (1999, 53), (1997, 54), (1999, -1)])
def test_a_week_that_the_year_lacks_is_refused(year, week):
    with pytest.raises(DateCodeError, match=f"the weeks of {year} run from 1 to 5[23], not {week}"):
        week_bounds(year, week)


@pytest.mark.parametrize("year", [1, 9999])
def test_weeks_are_refused_at_the_ends_of_the_calendar(year):
    with pytest.raises(DateCodeError, match="2 to 9998"):
        weeks_in_year(year)


@pytest.mark.parametrize("text", ["113-9910", "113 9910", "113 99 10", "113-99-10", "113-99 10"])
def test_a_separator_fixes_the_split(text):
    assert read(text) == [("113", 1999, 10)]


def test_a_separator_before_the_week_leaves_the_year_open():
    assert read("11399-10") == [
        *[("1139", year, 10) for year in (1949, 1959, 1969, 1979, 1989)],
        ("113", 1999, 10),
        ("1139", 1999, 10),
    ]


def test_one_year_digit_gives_every_decade_since_1945():
    years = [1951, 1961, 1971, 1981, 1991]
    assert read("113-114") == [("113", year, 14) for year in years]
    assert read("113-514")[0] == ("113", 1945, 14)
    assert read("113-414")[0] == ("113", 1954, 14)


def test_two_year_digits_give_every_century():
    assert read("113-9910", dt.date(2105, 1, 1)) == [("113", 1999, 10), ("113", 2099, 10)]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("1714", [("1", 1947), ("1", 1957), ("1", 1967)]),
        ("16714", [("16", 1947), ("16", 1957), ("1", 1967), ("16", 1967)]),
        ("116714", [("116", 1947), ("116", 1957), ("11", 1967), ("116", 1967)]),
        ("1136714", [("1136", 1947), ("1136", 1957), ("113", 1967), ("1136", 1967)]),
        ("11396714", [("1139", 1967)]),
    ],
)
def test_without_separators_every_split_is_read(text, expected):
    readings = read(text, dt.date(1970, 12, 31))
    assert readings == [(source, year, 14) for source, year in expected]


def test_leading_zeros_of_the_source_are_kept():
    assert read("012-6714") == [("012", 1967, 14)]


@given(
    st.integers(0, 9999).map(str),
    st.dates(dt.date(1945, 1, 7), LATEST),
    st.sampled_from([1, 2]),
    st.sampled_from(["", "-", " "]),
)
def test_the_true_reading_is_always_among_them(source, day, year_digits, separator):
    year, week = next(
        (year, week)
        for year in (day.year, day.year - 1, day.year + 1)
        for week in range(1, weeks_in_year(year) + 1)
        if week_bounds(year, week)[0] <= day <= week_bounds(year, week)[1]
    )
    text = f"{source}{separator}{str(year)[-year_digits:]}{week:02d}"
    readings = read_date_code(text, LATEST)
    assert (source, year, week) in {(r.source, r.year, r.week) for r in readings}
    assert list(readings) == sorted(readings, key=lambda r: r.first_day)
    for reading in readings:
        assert reading.year >= 1945
        assert reading.first_day <= LATEST
        assert (reading.first_day, reading.last_day) == week_bounds(reading.year, reading.week)
        assert text.endswith(f"{reading.week:02d}")
        assert text.startswith(reading.source)


@given(st.text("0123456789- ", max_size=10))
def test_any_text_is_read_or_refused(text):
    try:
        assert read_date_code(text, LATEST)
    except DateCodeError as error:
        assert f'"{text}"' in str(error)  # noqa: PT017


def test_a_week_that_begins_on_the_latest_day_counts():
    sunday = dt.date(1999, 3, 7)
    assert read("113-9910", sunday) == [("113", 1999, 10)]
    with pytest.raises(DateCodeError, match="beginning by 1999-03-06"):
        read("113-9910", sunday - dt.timedelta(days=1))


def test_week_1_may_begin_in_the_year_before():
    assert read("113-0301", dt.date(2002, 12, 29)) == [("113", 2003, 1)]


def test_week_53_only_in_years_that_have_it():
    assert read("113-9753") == [("113", 1997, 53)]
    assert [year for _, year, _ in read("113-753")] == [1947, 1997]
    with pytest.raises(DateCodeError, match="few years have 53 weeks"):
        read("113-9853")


@pytest.mark.parametrize("text", ["113-9900", "113-9954", "113-9999"])
def test_weeks_00_and_54_upwards_are_refused(text):
    with pytest.raises(DateCodeError, match="week is not one of 01 to 53"):
        read(text)


def test_nothing_before_1945():
    with pytest.raises(DateCodeError, match="no year from 1945 that ends in 44"):
        read("113-4410")


def test_every_split_is_named_when_none_is_possible():
    with pytest.raises(DateCodeError, match=r"source 113, year 44.*source 1134, year 4"):
        read("1134499")


@pytest.mark.parametrize(
    "text",
    [
        *("", "113", "113-", "-9910", "113--9910", "113 - 9910", "1-13-99-10", "113/9910"),
        *("113-99I0", "113991012", "1-139910", "11399-1-0", "113-991-0", " 113-9910"),
        "\u0661\u0661\u0663-9910",
    ],
)
def test_what_is_no_code_is_refused(text):
    with pytest.raises(DateCodeError, match=f'"{text}" is not a source-date code'):
        read(text)
