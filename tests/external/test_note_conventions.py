"""The words of notes against published conventions for dates and for likelihood."""

import numpy as np
import pytest
from edtf import parse_edtf as second_opinion

import dating
from dating.claims.strength import PROBABILITY_SCALE
from dating.examination import Examination, Paper
from dating.months import Period, month_number
from dating.notes.languages import language
from dating.notes.note import note_of
from dating.notes.phrasing import CIRCA, phrase_of
from dating.notes.sentences import Wording, date_sentences, date_words, dated

PERIOD = Period.parse("1580/1640")
LONG = Period.parse("1750/1850")


def even(period, first, last):
    """A posterior that is even over calendar years, both included."""
    years = np.arange(period.first, period.last + 1) // 12
    made = ((years >= first) & (years <= last)) * 1.0
    return made / made.sum()


def test_circa_of_five_years():
    """CCO: Baca, M. and others (2006), Cataloging Cultural Objects, section 4.2.3.2.

    Display date "ca. 1610"; earliest 1605, latest 1615.
    """
    phrase = phrase_of(even(PERIOD, 1605, 1615), PERIOD, 0.99, CIRCA[5])
    assert date_words(phrase, language("en"), "short") == "c. 1610"
    (only,) = phrase.phrases
    assert (only.first, only.last) == (month_number(1605, 1), month_number(1615, 12))


def test_circa_of_ten_years():
    """Object ID: Thornes, R. and others (1999), Introduction to Object ID, "Date or Period".

    Circa means ten years on either side of the date.
    """
    phrase = phrase_of(even(LONG, 1790, 1810), LONG, 0.99, CIRCA[10])
    assert date_words(phrase, language("en"), "short") == "c. 1800"
    (only,) = phrase.phrases
    assert (only.first, only.last) == (month_number(1790, 1), month_number(1810, 12))


PLAIN = """\
maker: Plain Works
product: instruments
invented: true
period: 1895-01/1975-12
components:
  body:
    features:
      top:
        ask: What is the top?
        states: {flat: flat, arched: arched}
        history: [{state: flat}]
"""


@pytest.mark.parametrize("years", [5, 10])
def test_the_note_prints_which_circa_it_means(tmp_path, years):
    """The two conventions disagree, so a note that says circa says which it follows."""
    (tmp_path / "plain.yaml").write_text(PLAIN, "utf-8")
    maker = dating.read_maker(tmp_path / "plain.yaml")
    paper = Paper(what="diary", not_before=1930 - years, not_after=1930 + years, trust=1)
    blank = Examination(instrument="P-1", maker="plain", documents=(paper,))
    note = note_of(dating.estimate(maker, blank), Wording(language("en"), 0.97, CIRCA[years]))
    assert note.statement.startswith("Built circa 1930 ")
    assert f"within {years} years" in note.date.sentences[0]
    assert CIRCA[years].source in note.date.sentences[0]


@pytest.mark.parametrize("number", range(1, 11))
@pytest.mark.parametrize("level", [0.5, 0.9, 0.99])
def test_dates_are_edtf(number, level):
    """ISO 8601-2:2019, level 2 (sets), read by a general-purpose library (edtf 5.0.2)."""
    maker = dating.read_maker("priors/marrowby.yaml")
    seen = dating.read_examination(f"demo_data/examinations/M-{number:03d}.yaml")
    date = dated(dating.estimate(maker, seen), Wording(language("en"), level))
    read = second_opinion(date.edtf)
    first = max(date.phrase.phrases[0].first, maker.period.first)
    last = min(date.phrase.phrases[-1].last, maker.period.last)
    assert read.lower_strict()[:2] == (first // 12, first % 12 + 1)
    assert read.upper_strict()[:2] == (last // 12, last % 12 + 1)


def test_the_scale_is_named_beside_its_words():
    """Mastrandrea, M. D. and others (2010): "very likely" begins at 90 %, "likely" at 66 %."""
    assert "IPCC (2010)" in PROBABILITY_SCALE
    maker = dating.read_maker("priors/marrowby.yaml")
    made = dating.estimate(maker, dating.read_examination("demo_data/examinations/M-001.yaml"))
    words = dict.fromkeys((0.9, 0.95), "very likely") | {0.66: "likely", 0.8: "likely"}
    for level, word in words.items():
        assert f"({word}, " in date_sentences(made, Wording(language("en"), level))[0]
