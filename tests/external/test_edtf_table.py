"""EDTF strings with their bounds, and a second opinion from another implementation.

Source of ``data/edtf_examples.csv``: Library of Congress (2019), *Extended Date/Time Format (EDTF)
Specification*, 4 February 2019, https://www.loc.gov/standards/datetime/: its examples, and strings
that its rules exclude. Second opinion: PyPI package ``edtf`` 5.0.2.
"""

import csv
import datetime as dt
from pathlib import Path

import edtf as second
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dating.edtf import EdtfError, parse_edtf, write_edtf

TABLE = list(
    csv.DictReader(
        (Path(__file__).parent / "data" / "edtf_examples.csv").read_text("utf-8").splitlines()
    )
)
VALID = [row for row in TABLE if row["valid"] == "1"]
INVALID = [row["string"] for row in TABLE if row["valid"] == "0"]

# Further examples of the same specification; their bounds are worked out by hand.
MORE = {
    "15XX-12-25": ("1500-12-25", "1599-12-25"),
    "1XXX-XX": ("1000-01-01", "1999-12-31"),
    "1XXX-12": ("1000-12-01", "1999-12-31"),
    "2004-06-XX/2004-07-03": ("2004-06-01", "2004-07-03"),
    "1984-06?/2004-08?": ("1984-06-01", "2004-08-31"),
    "1984~/2004-06": ("1984-01-01", "2004-06-30"),
    "2004?-06-11": ("2004-06-11", "2004-06-11"),
    "2011-~06-~13": ("2011-06-13", "2011-06-13"),
    "{1667,1668,1670..1672}": ("1667-01-01", "1672-12-31"),
    "{..1984}": (None, "1984-12-31"),
    "[1760-01,1760-02,1760-12..]": ("1760-01-01", None),
    "1985-04-12T23:20:30": ("1985-04-12", "1985-04-12"),
    "1985-04-12T23:20:30Z": ("1985-04-12", "1985-04-12"),
}

# Where the second opinion is wrong, or answers another question.
DIFFERS = {
    "2001-21": "gives March to May; the specification leaves a season's months to the hemisphere",
    "1985-04/": "makes up an end ten years on; the specification says unknown",
    "/1985-04": "makes up a start ten years back; the specification says unknown",
    "1950S2": "gives 1950 alone; two significant digits mean some year from 1900 to 1999",
}
FAILS = {"1984-1X": "raises AttributeError; the specification lists it for October to December"}
WRONGLY_ACCEPTS = {
    "1900-02-29": "1900 is no leap year in the Gregorian calendar",
    "[1931, 1932]": "the specification allows no spaces in a set",
    "1931 ": "the specification allows no spaces",
    "2008/1964": "an interval begins before it ends",
    "[1931..1920]": "a range runs from the earlier date to the later",
}


def ours(text):
    when = parse_edtf(text)
    return when.lower, when.upper


def theirs(text):
    """Strict bounds of the second opinion, None for an open end."""
    value = second.parse_edtf(text)
    ends = (value.lower_strict(), value.upper_strict())
    return tuple(
        None if isinstance(end, float) else dt.date(end.tm_year, end.tm_mon, end.tm_mday)
        for end in ends
    )


def stated(cell):
    return None if cell in {"", "open", "unknown", None} else dt.date.fromisoformat(cell)


@pytest.mark.parametrize("row", VALID, ids=lambda row: row["string"])
def test_a_valid_string_has_the_stated_bounds(row):
    assert ours(row["string"]) == (stated(row["lower"]), stated(row["upper"]))


@pytest.mark.parametrize("text", MORE)
def test_further_examples_have_their_bounds(text):
    assert ours(text) == tuple(stated(cell) for cell in MORE[text])


@pytest.mark.parametrize("text", INVALID)
def test_an_invalid_string_is_refused(text):
    with pytest.raises(EdtfError, match="is not an EDTF date"):
        parse_edtf(text)


def test_the_table_is_whole():
    assert (len(VALID), len(INVALID)) == (34, 20)


AGREED = [row["string"] for row in VALID if row["string"] not in DIFFERS | FAILS] + list(MORE)


@pytest.mark.parametrize("text", AGREED)
def test_the_second_opinion_agrees(text):
    assert ours(text) == theirs(text)


@pytest.mark.parametrize("text", DIFFERS)
def test_the_second_opinion_still_differs(text):
    assert ours(text) != theirs(text), "agrees now: strike it from the list"


@pytest.mark.parametrize("text", FAILS)
def test_the_second_opinion_still_fails(text):
    with pytest.raises(AttributeError):
        second.parse_edtf(text)


@pytest.mark.parametrize("text", WRONGLY_ACCEPTS)
def test_the_second_opinion_still_accepts_what_we_refuse(text):
    second.parse_edtf(text)
    with pytest.raises(EdtfError):
        parse_edtf(text)


@pytest.mark.parametrize("text", [text for text in INVALID if text not in WRONGLY_ACCEPTS])
def test_the_second_opinion_refuses_the_other_invalid_strings(text):
    with pytest.raises(second.EDTFParseException):
        second.parse_edtf(text)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.integers(1, 40), min_size=2, max_size=8).filter(lambda gaps: len(gaps) % 2 == 0),
    st.integers(1600, 2000),
)
def test_what_we_write_the_second_opinion_reads(gaps, year):
    """Stretches start after, and last for, the numbers of months given in turn."""
    stretches, at = [], year * 12
    for gap, length in zip(gaps[::2], gaps[1::2], strict=True):
        at += gap
        stretches.append((at, at + length - 1))
        at += length
    text = write_edtf(stretches)
    assert ours(text) == theirs(text)
