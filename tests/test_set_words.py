"""A set of months in words: they claim the months of the set, no more and no fewer."""

import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import dating
from dating.bench.panels import panels_of
from dating.edtf import month_number
from dating.months import Period, month_words
from dating.notes.languages import language, languages
from dating.notes.month_sets import evidence_set_words
from dating.notes.note import note_of
from dating.notes.sentences import Wording
from dating.summaries import MonthSet, Stretch
from dating.words.phrases import evidence_set, held_set, percent, set_words
from dating.words.text import as_text

PERIOD = Period.parse("1923-03/1941-11")
EVEN = Period.parse("1923-01/1941-12")
NAMES = {month_words(month).split()[0]: month + 1 for month in range(12)}
PARTS = {
    "the first half": (1, 6),
    "the second half": (7, 12),
    "the first quarter": (1, 3),
    "the second quarter": (4, 6),
    "the third quarter": (7, 9),
    "the last quarter": (10, 12),
}


def months_of(*stretches, period=PERIOD, level=0.9):
    """A set of stretches, each from its first and last month as EDTF."""
    ends = [Period.parse(text) for text in stretches]
    return MonthSet(level, tuple(Stretch(e.first, e.last, 0.93 / len(ends)) for e in ends))


@pytest.mark.parametrize(
    ("stretch", "words"),
    [
        ("1931-01/1931-04", "January 1931 to April 1931"),
        ("1931-06", "June 1931"),
        ("1931", "1931"),
        ("1931/1934", "1931 to 1934"),
        ("1931-01/1931-06", "the first half of 1931"),
        ("1931-07/1931-12", "the second half of 1931"),
        ("1931-04/1931-06", "the second quarter of 1931"),
        ("1931-10/1931-12", "the last quarter of 1931"),
        ("1931-10/1932-12", "October 1931 to December 1932"),
        ("1923-03/1935-04", "until April 1935"),
        ("1923-03/1935-12", "until the end of 1935"),
        ("1926-05/1941-11", "from May 1926 on"),
        ("1926-01/1941-11", "from 1926 on"),
        ("1923-03", "March 1923"),
        ("1941-11", "November 1941"),
        ("1923-03/1941-11", "any time"),
    ],
)
def test_words_for_a_stretch(stretch, words):
    assert set_words(months_of(stretch), PERIOD) == words


def test_whole_years_at_an_end_of_the_period_say_only_how_late_or_how_early():
    assert set_words(months_of("1923/1926"), EVEN) == "until the end of 1926"
    assert set_words(months_of("1938/1941"), EVEN) == "from 1938 on"
    assert set_words(months_of("1923/1941"), EVEN) == "any time"


def test_stretches_are_joined_and_many_are_told_by_their_ends():
    two = months_of("1923-03/1924-02", "1925-01/1932-02")
    assert set_words(two, PERIOD, 2) == "until February 1924, or January 1925 to February 1932"
    three = months_of("1923-03/1924-02", "1925", "1930-05")
    assert set_words(three, PERIOD) == "until February 1924, or 1925, or May 1930"
    assert set_words(three, PERIOD, 2) == "until May 1930, with gaps"
    ends = months_of("1923-03/1924-02", "1930", "1941-11")
    assert set_words(ends, PERIOD, 2) == "March 1923 to November 1941, with gaps"


def test_what_a_set_holds_stands_beside_it():
    assert held_set(months_of("1931"), PERIOD) == "1931 (holds 93 %)"
    assert evidence_set(months_of("1931"), PERIOD) == "1931 (holds 93 %)"
    assert held_set(months_of("1923-03/1941-11"), PERIOD) == "any time (holds 93 %)"
    assert evidence_set(months_of("1923-03/1941-11"), PERIOD) == "any time (says little)"
    gaps = months_of("1923-03/1924-02", "1930", "1941-11")
    assert evidence_set(gaps, PERIOD) == "March 1923 to November 1941, with gaps (holds 93 %)"


def point(words):
    """The first and last month that a month or a year in words has."""
    *name, year = words.split()
    months = (NAMES[name[0]],) * 2 if name else (1, 12)
    return [month_number(int(year), month) for month in months]


def claimed(words, period):
    """The months that the words for one stretch claim, as a reader would take them."""
    if words == "any time":
        return period.first, period.last
    if part := re.fullmatch(r"(the \w+ (?:half|quarter)) of (\d{4})", words):
        return tuple(month_number(int(part[2]), month) for month in PARTS[part[1]])
    if until := re.fullmatch("until (the end of )?(.*)", words):
        return period.first, point(until[2])[1]
    if since := re.fullmatch("from (.*) on", words):
        return point(since[1])[0], period.last
    first, _, last = words.partition(" to ")
    return point(first)[0], point(last or first)[1]


@st.composite
def sets(draw):
    """Sets of one of two periods, whole years and ends of the period among them."""
    period = draw(st.sampled_from([PERIOD, EVEN]))
    cut = st.integers(period.first, period.last + 1)
    even = st.integers(1924 * 4, 1941 * 4).map(lambda quarter: quarter * 3)
    ends = st.sampled_from([period.first, period.last + 1])
    cuts = draw(st.lists(st.one_of(cut, even, ends), min_size=2, max_size=6, unique=True))
    pairs = np.sort(cuts)[: len(cuts) // 2 * 2].reshape(-1, 2).tolist()
    stretches = tuple(Stretch(first, after - 1, 0.9 / len(pairs)) for first, after in pairs)
    return MonthSet(0.9, stretches), period


@given(sets())
def test_words_claim_the_months_of_the_set(case):
    months, period = case
    told = [claimed(words, period) for words in set_words(months, period).split(", or ")]
    assert told == [(stretch.first, stretch.last) for stretch in months.stretches]


@given(sets())
def test_notes_in_english_word_a_stretch_as_the_text_does(case):
    months, period = case
    for stretch in months.stretches:
        one = MonthSet(0.9, (stretch,))
        words = evidence_set_words(one, period, language("en"))
        assert words == evidence_set(one, period)


@pytest.mark.parametrize("code", languages())
def test_every_language_names_the_ends(code):
    words = language(code)
    late = evidence_set_words(months_of("1923-03/1935-04"), PERIOD, words)
    early = evidence_set_words(months_of("1926-05/1941-11"), PERIOD, words)
    open_ = evidence_set_words(months_of("1923-03/1941-11"), PERIOD, words)
    april, may = words.month(month_number(1935, 4)), words.month(month_number(1926, 5))
    assert april in late
    assert "1923" not in late
    assert may in early
    assert "1941" not in early
    assert not re.search("[0-9]", open_)


@pytest.fixture(scope="module", params=[f"M-{number:03d}" for number in range(1, 11)])
def made(request):
    maker = dating.read_maker("priors/marrowby.yaml")
    file = f"demo_data/examinations/{request.param}.yaml"
    return dating.estimate(maker, dating.read_examination(file))


def test_every_output_says_what_the_sets_hold(made):
    text = " ".join(as_text(made).split())
    panels = panels_of(made, {})
    for level, (stated, months) in zip((0.9, 0.5), panels.dated.sets, strict=True):
        dated = made.highest_density(level)
        assert stated == percent(level)
        assert months == held_set(dated, made.period)
        assert f"{stated} {months}" in text
        assert f"with probability {percent(dated.mass)}" in panels.dated.in_words


def test_evidence_at_an_end_of_the_period_is_worded_by_its_other_end(made):
    note = note_of(made, Wording(language("en")))
    panels = panels_of(made, {})
    rows = zip(made.findings, panels.observations, note.evidence.rows, strict=True)
    for finding, panel, row in rows:
        for months, words, cell in (
            (finding.alone, panel.alone, row[2]),
            (finding.without, panel.without, row[3]),
        ):
            first, last = months.stretches[0].first, months.stretches[-1].last
            gaps = len(months.stretches) > 2
            for said in (words, cell):
                assert not re.search("c\\.|circa", said)
                if first == made.period.first and last < made.period.last:
                    assert said.startswith("until ")
                if last == made.period.last and first > made.period.first:
                    assert re.search(r"\bfrom .* on\b", said)
                if (first, last) == (made.period.first, made.period.last) and not gaps:
                    assert said.startswith(("any time", "until "))
