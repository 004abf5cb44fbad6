"""The month axis: numbers, labels, positions, periods."""

import datetime as dt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dating.edtf import EdtfError
from dating.months import Period, day_position, month_label, month_number

NUMBERS = st.integers(12, 119_999)


@st.composite
def periods(draw):
    first = draw(st.integers(12, 119_999))
    return Period(first, draw(st.integers(first, min(first + 2399, 119_999))))


def test_month_number_and_label():
    assert month_number(1931, 4) == 1931 * 12 + 3
    assert month_label(1931 * 12 + 3) == "1931-04"
    assert month_label(month_number(1, 1)) == "0001-01"


@given(NUMBERS)
def test_label_carries_the_number(number):
    year, month = month_label(number).split("-")
    assert month_number(int(year), int(month)) == number


@pytest.mark.parametrize(("year", "month"), [(1931, 0), (1931, 13), (0, 5), (10_000, 1)])
def test_month_number_refuses_what_is_no_month(year, month):
    with pytest.raises(ValueError, match="runs from 1 to"):
        month_number(year, month)


@pytest.mark.parametrize("number", [11, -1, 120_000])
def test_month_label_refuses_other_years(number):
    with pytest.raises(ValueError, match=f"not {number}"):
        month_label(number)


def test_day_position_at_the_ends_of_a_month():
    april = month_number(1931, 4)
    assert day_position(dt.date(1931, 4, 1)) == april
    assert day_position(dt.date(1931, 4, 30)) == pytest.approx(april + 29 / 30)
    assert day_position(dt.date(1932, 2, 29)) == pytest.approx(month_number(1932, 2) + 28 / 29)


@given(st.dates(max_value=dt.date(9999, 12, 30)))
def test_day_position_rises_and_stays_in_its_month(day):
    position = day_position(day)
    assert month_number(day.year, day.month) == int(position)
    assert position < day_position(day + dt.timedelta(days=1))


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("1923-03/1941-11", "1923-03/1941-11"),
        ("1923/1941-11", "1923-01/1941-11"),
        ("1923/1941", "1923-01/1941-12"),
        ("1931", "1931-01/1931-12"),
        ("1931-04", "1931-04/1931-04"),
    ],
)
def test_period_reads_months_and_years(text, written):
    assert str(Period.parse(text)) == written


@given(periods())
def test_period_reads_back_what_it_writes(period):
    assert Period.parse(str(period)) == period


@given(periods())
def test_labels_axis_and_length_agree(period):
    labels = period.labels()
    assert len(labels) == len(period)
    assert labels[0] == month_label(period.first)
    assert labels[-1] == month_label(period.last)
    assert period.axis().dtype == np.dtype("datetime64[M]")
    assert list(period.axis().astype(str)) == labels
    assert period.years() == sorted({int(label[:4]) for label in labels})


def test_period_includes_both_ends_and_no_more():
    period = Period.parse("1923-03/1941-11")
    inside = [n for n in range(period.first - 5, period.last + 6) if n in period]
    assert inside == list(range(period.first, period.last + 1))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("1923-03/..", "no fixed end"),
        ("../1941", "no fixed end"),
        ("1923-03/", "no fixed end"),
        ("/1941", "no fixed end"),
        ("[1923..1941]", "a period lasts"),
        ("{1923,1941}", "a period lasts"),
        ("1923~/1941", "plain months or years"),
        ("1923-03-05/1941-11", "plain months or years"),
        ("193X", "plain months or years"),
        ("1931-34", "plain months or years"),
        ("1931-21", "plain months or years"),
        ("1941-11/1923-03", "ends before it begins"),
        ("1723/1923", "at most 200 years long, but 1723-01 to 1923-12 is 201.0 years"),
    ],
)
def test_period_refuses_and_says_why(text, message):
    with pytest.raises(ValueError, match=message):
        Period.parse(text)


def test_period_passes_on_what_is_no_date():
    with pytest.raises(EdtfError, match=r"\[1923\.\.1941\]"):
        Period.parse("1923-1941")


def test_period_of_200_years_is_allowed_and_one_month_more_is_not():
    assert len(Period(12_000, 14_399)) == 2400
    with pytest.raises(ValueError, match="at most 200 years"):
        Period(12_000, 14_400)


def test_empty_period_is_refused():
    with pytest.raises(ValueError, match="put the earlier month first"):
        Period(23_175, 23_174)
