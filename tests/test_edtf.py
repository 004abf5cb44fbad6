"""Uncertain dates: reading, bounds, advice, writing."""

import datetime as dt
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dating.edtf import EdtfError, month_label, month_number, parse_edtf, write_edtf


def bounds(text):
    when = parse_edtf(text)
    return tuple(day and day.isoformat() for day in (when.lower, when.upper))


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("1931-04", "date"),
        ("1931/1933", "interval"),
        ("[1931,1932]", "one of"),
        ("{1931,1932}", "all of"),
    ],
)
def test_kinds_are_told_apart(text, kind):
    assert parse_edtf(text).kind == kind


def test_one_of_and_interval_have_the_same_bounds_and_another_meaning():
    chosen, lasting = parse_edtf("[1931..1933]"), parse_edtf("1931/1933")
    assert chosen.stretches == lasting.stretches
    assert chosen.kind != lasting.kind


@pytest.mark.parametrize(
    ("text", "marks"),
    [
        ("1931", ""),
        ("1931~", "~"),
        ("1931-~04", "~"),
        ("~1931-04-?12", "?~"),
        ("[1931%,1933]", "%"),
    ],
)
def test_marks_are_reported_in_order(text, marks):
    assert parse_edtf(text).qualifier == marks


@pytest.mark.parametrize("mark", list("?~%"))
def test_a_mark_does_not_widen_the_bounds(mark):
    assert bounds(f"1931-04{mark}") == bounds("1931-04")


@pytest.mark.parametrize(
    ("text", "first", "last"),
    [
        ("1931-33", "1931-01-01", "1931-03-31"),
        ("1931-36", "1931-10-01", "1931-12-31"),
        ("1931-37", "1931-01-01", "1931-04-30"),
        ("1932-39", "1932-09-01", "1932-12-31"),
        ("1931-40", "1931-01-01", "1931-06-30"),
        ("1931-41", "1931-07-01", "1931-12-31"),
    ],
)
def test_parts_of_a_year(text, first, last):
    assert bounds(text) == (first, last)


@pytest.mark.parametrize("code", range(21, 33))
def test_seasons_are_accepted_without_bounds(code):
    assert bounds(f"1931-{code}") == (None, None)
    assert parse_edtf(f"1931-{code}").month_stretches == ((None, None),)


def test_a_season_leaves_its_end_of_an_interval_unknown():
    assert bounds("1931-21/1933") == (None, "1933-12-31")


@pytest.mark.parametrize(
    ("text", "count", "first", "last"),
    [
        ("156X-12-25", 10, "1560-12-25", "1569-12-25"),
        ("19XX-02-29", 24, "1904-02-29", "1996-02-29"),
        ("1931-XX-31", 7, "1931-01-31", "1931-12-31"),
        ("1985-X2", 2, "1985-02-01", "1985-12-31"),
        ("1985-04-3X", 1, "1985-04-30", "1985-04-30"),
        ("1985-02-2X", 1, "1985-02-20", "1985-02-28"),
        ("000X", 1, "0001-01-01", "0009-12-31"),
        ("XXXX", 1, "0001-01-01", "9999-12-31"),
    ],
)
def test_unspecified_digits_give_the_days_that_exist(text, count, first, last):
    assert len(parse_edtf(text).stretches) == count
    assert bounds(text) == (first, last)


def test_a_december_of_some_year_is_not_the_whole_decade():
    december = month_number(1560, 12)
    expected = tuple((december + 12 * i, december + 12 * i) for i in range(10))
    assert parse_edtf("156X-12").month_stretches == expected


@pytest.mark.parametrize(("digits", "same"), [(1, "1XXX"), (2, "19XX"), (3, "193X"), (4, "1931")])
def test_significant_digits(digits, same):
    assert bounds(f"1931S{digits}") == bounds(same)


def test_a_time_of_day_gives_its_day():
    assert bounds("1931-04-12T23:59:59Z") == ("1931-04-12", "1931-04-12")
    assert bounds("1931-04-12T00:00:00+01:00") == ("1931-04-12", "1931-04-12")


@pytest.mark.parametrize(
    ("text", "first", "last"),
    [
        ("1931-06/1931", "1931-06-01", "1931-12-31"),
        ("1931-04-12/1931-04-12", "1931-04-12", "1931-04-12"),
        ("1931-X1/1932-X2", "1931-01-01", "1932-12-31"),
    ],
)
def test_interval_runs_from_its_earliest_day_to_its_latest(text, first, last):
    assert bounds(text) == (first, last)


def test_one_open_member_leaves_the_whole_set_open():
    assert bounds("[..1930,1933]") == (None, "1933-12-31")
    assert bounds("[1930,1933..]") == ("1930-01-01", None)


@given(st.dates(min_value=dt.date(1, 1, 1)))
def test_every_day_reads_as_itself(day):
    assert parse_edtf(day.isoformat()).stretches == ((day, day),)


@given(st.integers(0, 9999), st.integers(0, 99), st.integers(0, 99))
def test_a_full_date_is_accepted_when_the_calendar_has_it(year, month, day):
    text = f"{year:04d}-{month:02d}-{day:02d}"
    try:
        expected = dt.date(year, month, day)
    except ValueError:
        with pytest.raises(EdtfError):
            parse_edtf(text)
    else:
        assert parse_edtf(text).lower == expected


@given(st.text("0123456789X-/.[]{},?~%SYTP ", max_size=16))
def test_any_text_is_read_or_refused_politely(text):
    try:
        when = parse_edtf(text)
    except EdtfError as error:
        assert str(error).startswith(f'"{text}" is not an EDTF date: ')  # noqa: PT017
    else:
        assert when.stretches
        if when.lower and when.upper:
            assert when.lower <= when.upper


# Refusals ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("2008/1964", "ends before it begins"),
        ("[1931..1920]", "ends before it begins"),
        ("1931-04-12/1931-04-11", "ends before it begins"),
        ("1985-02-30", "there is no day 30: a day here runs from 01 to 28"),
        ("1985-04-00", "there is no day 00"),
        ("19XX-02-30", "there is no day 30: a day here runs from 01 to 29"),
        ("1985-00", "there is no month 00"),
        ("1985-13", "there is no month 13"),
        ("1985-4X", "there is no month 4X"),
        ("0000", "a year here runs from 0001 to 9999"),
        ("1931-34-02", "takes no day"),
        ("1950S5", "1 to 4 significant digits, not 5"),
        ("1950S0", "1 to 4 significant digits, not 0"),
        ("1931-04-12T25:30:00", "there is no time 25:30:00"),
        ("1931-04-12T10:30:00/1932", "only where the date stands alone"),
        ("1931/1932/1933", "an interval has one /"),
        ("../..", "needs a date at one end"),
        ("/", "needs a date at one end"),
        ("[..]", "beside a date"),
        ("[1931..1932..1933]", "has .. once"),
        ("[]", "no empty place"),
        ("{1931,}", "no empty place"),
        ("[1931", "closes with ]"),
        ("[1931}", "closes with ]"),
        ("[1931/1933]", "an interval cannot stand in a set"),
        ("[1931..1933-04]", "1931 is a year and 1933-04 a month"),
        ("[1931,..1933]", "outer end of its set"),
        ("[1931..,1933]", "outer end of its set"),
        ("", "is not understood; write a year 1931"),
        ("~1931?-04", "is not understood"),
        ("1931-04..", "is not understood"),
        ("early 1931", "is not understood; write a year 1931"),
    ],
)
def test_refusals_say_what_is_wrong(text, message):
    with pytest.raises(EdtfError, match=re.escape(message)):
        parse_edtf(text)


@pytest.mark.parametrize(
    ("slip", "remedy"),
    [
        ("c1931", "[1929..1933]"),
        ("ca. 1931", "[1929..1933]"),
        ("CA 1931", "[1929..1933]"),
        ("circa 1931-04", "[1929..1933]"),
        ("probably 1931", "[1930..1932]"),
        ("1931?~", "1931%"),
        ("1931-4", "1931-04"),
        ("1931-4-5", "1931-04-05"),
        ("1931-1932", "[1931..1932]"),
        ("1931-1932", "1931/1932"),
        ("1931 to 1932", "[1931..1932]"),
        ("between 1931 and 1933", "[1931..1933]"),
        ("1931\u201334", "[1931..1934]"),
        ("1931-42", "[1931..1942]"),
        ("1931..1933", "[1931..1933]"),
        ("1931 or 1932", "[1931,1932]"),
        ("1931,1932", "[1931,1932]"),
        ("1930s", "193X"),
        ("193u", "193X"),
        ("193?", "193X"),
        ("19uu", "19XX"),
        ("1900s", "19XX"),
        ("April 1931", "1931-04"),
        ("Sept. 1931", "1931-09"),
        ("5 april 1931", "1931-04-05"),
        ("spring 1931", "1931-21"),
        ("19310412", "1931-04-12"),
        ("193104", "1931-04"),
        ("before 1931", "[..1930]"),
        ("not before 1931", "[1932..]"),
        ("unknown/1931", "/1931"),
        ("1931/open", "1931/.."),
        ("Y1931", "1931"),
        ("Y-17E7", "0001"),
        ("19310", "9999"),
        ("-0500", "0001"),
        ("1931-W10", "[1931-03-02..1931-03-08]"),
        ("1931/P1Y", "1931/1932"),
        ("2004-(06)?-11", "2004-?06-11"),
        ("[1931, 1932]", "[1931,1932]"),
        (" 1931", "1931"),
        ("12/04/1931", "1931-04-12"),
        ("31", "1931"),
    ],
)
def test_a_common_slip_is_refused_with_what_to_write(slip, remedy):
    with pytest.raises(EdtfError) as caught:
        parse_edtf(slip)
    advice = str(caught.value).removeprefix(f'"{slip}" is not an EDTF date: ')
    assert re.search(rf"(?<![\w\[-]){re.escape(remedy)}(?![\w\]])", advice), advice
    parse_edtf(remedy)


def test_a_run_of_years_is_offered_only_where_it_runs_forward():
    with pytest.raises(EdtfError) as caught:
        parse_edtf("1985-13")
    assert "[" not in str(caught.value)


def test_a_word_that_begins_like_a_month_is_no_month():
    with pytest.raises(EdtfError, match="is not understood"):
        parse_edtf("mayhap 1931")


# Writing -------------------------------------------------------------------------------------


def stretch(first, last):
    """Month numbers of two labels."""
    return tuple(month_number(int(label[:4]), int(label[5:])) for label in (first, last))


@pytest.mark.parametrize(
    ("stretches", "text"),
    [
        ([("1931-04", "1931-04")], "1931-04"),
        ([("1931-01", "1931-12")], "1931"),
        ([("1930-01", "1939-12")], "193X"),
        ([("1900-01", "1999-12")], "19XX"),
        ([("1931-04", "1931-05")], "[1931-04,1931-05]"),
        ([("1931-04", "1931-06")], "[1931-04..1931-06]"),
        ([("1931-01", "1932-12")], "[1931,1932]"),
        ([("1931-01", "1933-12")], "[1931..1933]"),
        ([("1931-01", "1940-12")], "[1931..1940]"),
        ([("1930-01", "1949-12")], "[1930..1949]"),
        ([("1930-12", "1931-12")], "[1930-12..1931-12]"),
        ([("1931-01", "1931-11")], "[1931-01..1931-11]"),
        ([("1930-05", "1930-05"), ("1931-04", "1931-09")], "[1930-05,1931-04..1931-09]"),
        ([("1930-01", "1939-12"), ("1941-04", "1941-04")], "[193X,1941-04]"),
        ([("0001-01", "0009-12")], "[0001..0009]"),
    ],
)
def test_writing(stretches, text):
    assert write_edtf([stretch(*ends) for ends in stretches]) == text


@pytest.mark.parametrize(("first", "last"), [("1931-04", "1931-06"), ("1931-07", "1931-12")])
def test_a_quarter_or_half_is_not_written_as_a_code(first, last):
    assert write_edtf([stretch(first, last)]) == f"[{first}..{last}]"


@st.composite
def stretches(draw):
    """Sorted stretches with gaps, often whole years and decades."""
    unit = draw(st.sampled_from([1, 12, 120]))
    at = draw(st.integers(1, 600)) * 120
    found = []
    for _ in range(draw(st.integers(1, 4))):
        length = draw(st.integers(1, 14)) * unit
        found.append((at, at + length - 1))
        at += length + draw(st.integers(1, 14)) * draw(st.sampled_from([1, 12, 120]))
    return found


def months_of(spans):
    return {number for first, last in spans for number in range(first, last + 1)}


@given(stretches())
def test_reading_back_gives_exactly_the_same_months(spans):
    text = write_edtf(spans)
    when = parse_edtf(text)
    assert months_of(when.month_stretches) == months_of(spans)
    assert when.kind in {"date", "one of"}
    assert "/" not in text
    assert not re.search(r"-(?:1[3-9]|[2-9]\d)", text)


@given(stretches())
def test_nothing_is_longer_than_the_plain_list_of_ranges(spans):
    plain = ",".join(f"{month_label(first)}..{month_label(last)}" for first, last in spans)
    assert len(write_edtf(spans)) <= len(f"[{plain}]")


@pytest.mark.parametrize(
    ("spans", "message"),
    [
        ([], "at least one stretch"),
        ([(23_175, 23_174)], "runs forward"),
        ([(11, 30)], "month numbers 12"),
        ([(119_990, 120_000)], "119999"),
        ([(23_175, 23_176), (23_177, 23_180)], "1931-05 and the next begins in 1931-06"),
        ([(23_175, 23_180), (23_178, 23_190)], "overlap"),
        ([(23_185, 23_190), (23_175, 23_180)], "sorted"),
    ],
)
def test_writing_refuses_and_says_why(spans, message):
    with pytest.raises(EdtfError, match=message):
        write_edtf(spans)
