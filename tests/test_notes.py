"""Notes are worded by their rules, never stronger than the evidence, in every language."""

import datetime
import itertools
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

import dating
from dating.edtf import parse_edtf
from dating.months import Period, month_number
from dating.notes.languages import language, languages
from dating.notes.note import note_of
from dating.notes.phrasing import APART, CIRCA, EACH, MONTHWISE, DatePhrase, Phrase, phrase_of
from dating.notes.sale import IndexEntry, count_words, entry_of
from dating.notes.sentences import (
    APPARENT,
    DOUBTFUL,
    Wording,
    certainty,
    conflict_sentences,
    date_sentences,
    date_words,
    dated,
    part_sentences,
    settling_sentences,
    telling_looks,
    unseen_sentences,
)
from dating.reading import InputError

PERIOD = Period.parse("1923-03/1941-11")
NAMES = [f"M-{number:03d}" for number in range(1, 11)]
ENGLISH, GERMAN = language("en"), language("de")


@pytest.fixture(scope="module")
def maker():
    return dating.read_maker("priors/marrowby.yaml")


@pytest.fixture(scope="module")
def made(maker):
    """The estimate of each demo instrument."""
    read = (dating.read_examination(f"demo_data/examinations/{name}.yaml") for name in NAMES)
    return {seen.instrument: dating.estimate(maker, seen) for seen in read}


def spread(**parts):
    """A posterior over the period from months' labels (a for a-b stretches) and their masses."""
    made = np.zeros(len(PERIOD))
    for stretch, mass in parts.items():
        first, last = (month_number(*map(int, end.split("_")[1:])) for end in stretch.split("to"))
        made[first - PERIOD.first : last - PERIOD.first + 1] += mass / (last - first + 1)
    return made / made.sum()


def told(probabilities, level=0.9, circa=5):
    return phrase_of(probabilities, PERIOD, level, CIRCA[circa])


def said(probabilities, level=0.9, circa=5, words=ENGLISH, group="date"):
    return date_words(told(probabilities, level, circa), words, group)


def held(probabilities, phrase):
    months = range(PERIOD.first, PERIOD.last + 1)
    return sum(p for m, p in zip(months, probabilities, strict=True) if m in phrase)


# The forms of words ---------------------------------------------------------------------------

FORMS = [
    (spread(_1931_3to_1931_3=1), "in March 1931", "im März 1931"),
    (spread(_1931_3to_1931_8=1), "between March and August 1931", "zwischen März und August 1931"),
    (
        spread(_1930_11to_1931_8=1),
        "between November 1930 and July 1931",
        "zwischen November 1930 und Juli 1931",
    ),
    (spread(_1931_1to_1931_12=0.9, _1935_1to_1935_1=0.1), "in 1931", "im Jahr 1931"),
    (
        spread(_1930_2to_1932_11=1),
        "between February 1930 and August 1932",
        "zwischen Februar 1930 und August 1932",
    ),
    (spread(_1927_1to_1935_12=1), "between 1927 and 1935", "zwischen 1927 und 1935"),
    (
        spread(_1926_1to_1926_12=3, _1927_1to_1935_12=4, _1936_1to_1936_12=3),
        "circa 1931",
        "um 1931",
    ),
    (spread(_1923_3to_1929_9=1), "in or before 1929", "1929 oder früher"),
    (spread(_1935_5to_1941_11=1), "in or after 1935", "1935 oder später"),
    (
        spread(_1927_2to_1927_2=1, _1934_6to_1934_7=2),
        "in February 1927 or between June and July 1934",
        "im Februar 1927 oder zwischen Juni und Juli 1934",
    ),
    (
        np.full(len(PERIOD), 1 / len(PERIOD)),
        "at any time between March 1923 and November 1941",
        "irgendwann zwischen März 1923 und November 1941",
    ),
]


@pytest.mark.parametrize(("probabilities", "english", "german"), FORMS, ids=[f[1] for f in FORMS])
def test_every_form_of_words(probabilities, english, german):
    assert said(probabilities) == english
    assert said(probabilities, words=GERMAN) == german


@pytest.mark.parametrize("years", range(6, 23))
@pytest.mark.parametrize("circa", [5, 10])
def test_circa_stands_for_its_very_years(circa, years):
    """A stretch of another length is told by its own years, which are fewer."""
    long = Period.parse("1900/1960")
    probabilities = np.zeros(len(long))
    probabilities[20 * 12 : (20 + years) * 12] = 1 / (years * 12)
    phrase = phrase_of(probabilities, long, 0.999, CIRCA[circa])
    assert phrase.months == years * 12
    form = "circa" if years == 2 * circa + 1 else "years"
    assert (phrase.phrases[0].form, phrase.phrases[0].first) == (form, 1920 * 12)


def test_two_stretches_close_together_are_told_as_one():
    near = spread(_1930_1to_1930_1=1, _1930_12to_1930_12=1)
    far = spread(_1930_1to_1930_1=1, _1931_2to_1931_2=1)
    assert len(told(near).phrases) == 1
    assert len(told(far).phrases) == 2


@pytest.mark.parametrize("turned", [1, -1])
def test_each_of_two_stretches_must_hold_its_share(turned):
    slight = spread(_1930_1to_1930_2=1 - EACH + 0.01, _1936_1to_1936_2=EACH - 0.01)
    enough = spread(_1930_1to_1930_2=1 - EACH - 0.01, _1936_1to_1936_2=EACH + 0.01)
    assert len(told(slight[::turned], level=0.95).phrases) == 1
    assert len(told(enough[::turned], level=0.95).phrases) == 2


# Never stronger than the evidence -------------------------------------------------------------

LEVELS = st.sampled_from([0.5, 0.8, 0.9, 0.95])


@st.composite
def posteriors(draw):
    """Posteriors with one to three humps over a floor, some of them flat or cut off."""
    months = np.arange(len(PERIOD))
    made = np.full(len(PERIOD), draw(st.sampled_from([0.0, 1e-5, 1e-3])))
    for _ in range(draw(st.integers(1, 3))):
        centre, width = draw(st.integers(0, len(PERIOD) - 1)), draw(st.integers(1, 60))
        shape = np.exp(-0.5 * ((months - centre) / width) ** 2)
        if draw(st.booleans()):
            shape = (abs(months - centre) <= width) * 1.0
        made = made + draw(st.floats(0.05, 1.0)) * shape / shape.sum()
    return made / made.sum()


@given(posteriors(), LEVELS, st.sampled_from([5, 10]))
@settings(max_examples=150, deadline=None)
def test_the_words_claim_little_more_than_the_shortest_stretch(probabilities, level, circa):
    """No more than the stretch itself up to five years, and else to the ends of its years."""
    phrase = told(probabilities, level, circa)
    sums = np.concatenate([[0.0], np.cumsum(probabilities)])
    shortest = next(
        size
        for size in range(1, len(PERIOD) + 1)
        if (sums[size:] - sums[:-size]).max() >= level - 1e-9
    )
    if phrase.phrases[0].form == "whole":
        assert shortest + 22 >= level * len(PERIOD)
    else:
        assert phrase.months <= (shortest if shortest <= MONTHWISE else shortest + 22)


@given(posteriors(), LEVELS, st.sampled_from([5, 10]))
@settings(max_examples=150, deadline=None)
def test_the_words_hold_at_least_the_level(probabilities, level, circa):
    phrase = told(probabilities, level, circa)
    assert held(probabilities, phrase) >= level - 1e-9
    for first, second in itertools.pairwise(phrase.phrases):
        assert second.first - first.last > APART


@given(posteriors(), LEVELS, st.floats(0.001, 0.999))
@settings(max_examples=300, deadline=None)
def test_weaker_evidence_never_gets_narrower_words(probabilities, level, weaker):
    """Any share of the posterior given over to "any month alike" weakens the evidence."""
    blended = (1 - weaker) * probabilities + weaker / len(PERIOD)
    assert told(blended, level).months >= min(told(probabilities, level).months, len(PERIOD))


@given(posteriors(), LEVELS, LEVELS)
@settings(max_examples=100, deadline=None)
def test_a_higher_level_never_gets_narrower_words(probabilities, one, other):
    """Except from words that claim no less of the period than their level."""
    low, high = (told(probabilities, level) for level in sorted([one, other]))
    assert high.months >= low.months or low.phrases[0].form == "whole"


@given(posteriors(), LEVELS)
@settings(max_examples=40, deadline=None)
def test_no_form_claims_fewer_months(probabilities, level):
    """Held against every single stretch of months and of whole years there is."""
    chosen = told(probabilities, level)
    sums = np.concatenate([[0], np.cumsum(probabilities)])
    for size in range(1, min(chosen.months, MONTHWISE + 1)):
        assert (sums[size:] - sums[:-size]).max() < level


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("level", [0.5, 0.9])
def test_the_statement_says_what_the_words_hold(made, name, level):
    estimate = made[name]
    wording = Wording(ENGLISH, level)
    date = dated(estimate, wording)
    assert date.chance == pytest.approx(held(estimate.probabilities, date.phrase))
    assert ENGLISH.percent(date.chance) in date_sentences(estimate, wording)[0]
    allowed = parse_edtf(date.edtf)
    inside = [
        any(first <= m <= last for first, last in allowed.month_stretches)
        for m in range(PERIOD.first, PERIOD.last + 1)
    ]
    assert float(estimate.probabilities[inside].sum()) == pytest.approx(date.chance)


def test_the_certainty_word_is_that_of_the_level(made):
    """Wider words hold more than the level, and sound no surer."""
    wide = made["M-005"]
    assert dated(wide, Wording(ENGLISH)).chance > 0.915
    assert "(very likely, 92 %)" in date_sentences(wide, Wording(ENGLISH))[0]
    assert dated(wide, Wording(ENGLISH, 0.895)).chance > 0.9
    assert "(likely, " in date_sentences(wide, Wording(ENGLISH, 0.895))[0]
    assert "(likely, " in date_sentences(wide, Wording(ENGLISH, 0.8))[0]


@pytest.mark.parametrize("name", NAMES)
def test_no_certainty_word_is_above_that_of_its_level(made, name):
    for level in (0.66, 0.7, 0.75, 0.8, 0.85, 0.89):
        sentence = date_sentences(made[name], Wording(ENGLISH, level))[0]
        assert "(likely, " in sentence or "maker's whole period" in sentence


@pytest.mark.parametrize(
    ("chance", "word"),
    # Mastrandrea et al. (2010), IPCC guidance note, table 1: the bounds of each term
    [(0.99, "virtually certain"), (0.9, "very likely"), (0.66, "likely"), (0.5, "about as likely")],
)
def test_certainty_words_are_those_of_the_scale(chance, word):
    assert certainty(chance, ENGLISH).startswith(word)
    assert not certainty(chance - 0.01, ENGLISH).startswith(word) or chance == 0.5


# Parts, contradictions, what was not examined, what would settle more -------------------------


def test_a_part_of_another_instrument_is_named_with_its_own_date(made):
    sentences = part_sentences(made["M-003"], Wording(ENGLISH))
    assert sentences[0].startswith(
        "The neck apparently came from a later instrument, built between 1934 and 1939"
    )
    assert made["M-003"].originality["neck"] < 1 - APPARENT


def test_a_replaced_part_is_named(made):
    sentences = part_sentences(made["M-004"], Wording(ENGLISH))
    assert "Later replacement of the tuner plate: very likely (94 %)." in sentences


def test_nothing_is_said_against_parts_that_agree(made):
    estimate = made["M-001"]
    assert max(1 - chance for chance in estimate.originality.values()) < DOUBTFUL
    (sentence,) = part_sentences(estimate, Wording(ENGLISH))
    assert sentence.startswith("Nothing seen suggests that any part")


def with_swap(estimate, name, chance):
    """Date the same instrument where another share of a part is swapped."""
    maker = estimate.maker
    part = maker.components[name]
    swapped = part.swapped.model_copy(update={"value": chance})
    parts = maker.components | {name: part.model_copy(update={"swapped": swapped})}
    return dating.estimate(maker.model_copy(update={"components": parts}), estimate.examination)


@pytest.mark.parametrize(
    ("wanted", "opening"),
    [
        (0.30, "Whether the parts belong together depends"),
        (0.36, "The originality of the neck is an open"),
        (0.63, "The originality of the neck is an open"),
        (0.69, "The neck apparently came"),
        (0.99, "The neck apparently came"),
    ],
)
def test_the_words_for_a_part_follow_its_probability(made, wanted, opening):
    estimate = made["M-003"]
    chance = estimate.maker.components["neck"].swapped.value
    original = estimate.originality["neck"]
    factor = (1 - original) / original * (1 - chance) / chance
    odds = wanted / (1 - wanted) / factor
    again = with_swap(estimate, "neck", odds / (1 + odds))
    assert 1 - again.originality["neck"] == pytest.approx(wanted, abs=0.01)
    assert part_sentences(again, Wording(ENGLISH))[0].startswith(opening)


def test_contradictions_are_named(made):
    (sentence,) = conflict_sentences(made["M-007"], Wording(ENGLISH))
    assert "Contradiction between end block (three-ply) and lining (bent strip)" in sentence
    assert conflict_sentences(made["M-001"], Wording(GERMAN)) == [
        "Was gesehen wurde, passt zueinander."
    ]


def test_everything_that_was_not_examined_is_listed(made, maker):
    for name in NAMES:
        estimate = made[name]
        words = " ".join(unseen_sentences(estimate, Wording(ENGLISH)))
        seen = {piece.name for piece in estimate.pieces} | {n.name for n in estimate.neutral}
        parts = {piece.component for piece in estimate.pieces}
        parts |= {neutral.component for neutral in estimate.neutral}
        for group in (maker.features(), maker.marks(), maker.measurements()):
            for thing, (part, _) in group.items():
                listed = thing.replace("-", " ") in words.split("Recorded")[0]
                if thing not in seen:
                    assert listed or (part not in parts and part in words), (name, thing)
    assert "not weighed" in " ".join(unseen_sentences(made["M-008"], Wording(ENGLISH)))


def test_looks_that_would_settle_more_are_named_with_their_share(made):
    estimate = made["M-005"]
    first, second = telling_looks(estimate)
    sentences = settling_sentences(estimate, Wording(ENGLISH))
    assert first.name.replace("-", " ") in sentences[0]
    assert ENGLISH.percent(second.bits / estimate.entropy) in sentences[1]


# Languages ------------------------------------------------------------------------------------


def test_two_languages_are_complete():
    assert languages() == ["de", "en"]
    assert GERMAN.texts.keys() == ENGLISH.texts.keys()
    same = {key for key, text in ENGLISH.texts.items() if text == GERMAN.texts[key]}
    assert {key for key in same if len(ENGLISH.texts[key].split()) > 2} <= {"record.level"}


def test_styles_of_dates():
    day = datetime.date(1931, 2, 17)
    assert ENGLISH.day(day) == "17 February 1931"
    assert language("en", "american").day(day) == "February 17, 1931"
    assert language("en", "american").percent(0.934) == "93%"
    assert (language("en", "american").code, ENGLISH.code, GERMAN.code) == ("en-US", "en", "de")
    assert GERMAN.day(day) == "17. Februar 1931"
    assert GERMAN.number(1234.5, 1) == "1.234,5"


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("words", [ENGLISH, GERMAN], ids=["en", "de"])
def test_every_note_is_filled_and_says_that_it_is_an_opinion(made, name, words):
    note = note_of(made[name], Wording(words))
    told = str(note)
    assert "{" not in told.replace("[{", "")
    assert note.opinion == words.texts["opinion"]
    assert note.invented == words.texts["record.invented"]
    assert note.language == words.code


@pytest.mark.parametrize("words", [ENGLISH, GERMAN], ids=["en", "de"])
def test_circa_is_explained_wherever_it_is_said(made, words):
    means = words.say("statement.circa", years=5, source=CIRCA[5].source)
    wide = note_of(made["M-005"], Wording(words, 0.76))
    assert words.say("date.circa", year=1933) in wide.statement
    assert means in wide.date.sentences
    for estimate in made.values():
        assert means not in note_of(estimate, Wording(words)).date.sentences


def own(tmp_path, change):
    text = yaml.safe_load(Path("dating/notes/languages/de.yaml").read_text("utf-8"))
    change(text)
    path = tmp_path / "xx.yaml"
    path.write_text(yaml.safe_dump(text, allow_unicode=True), encoding="utf-8")
    return path


def test_a_language_of_ones_own(tmp_path):
    path = own(tmp_path, lambda text: text["date"].update(circa="gegen {year}"))
    assert language(path).say("date.circa", year=1931) == "gegen 1931"


@pytest.mark.parametrize(
    ("change", "wrong"),
    [
        (lambda text: text["date"].pop("circa"), "date.circa is missing"),
        (lambda text: text["date"].update(cirka="x"), "nearest:  date.circa"),
        (lambda text: text["date"].update(circa="um {jahr}"), "other places than in English"),
        (lambda text: text["date"].update(circa="um {year.real}"), "other places than in English"),
        (lambda text: text["date"].update(circa="um {year!r}"), "other places than in English"),
        (lambda text: text["date"].update(circa="um {year"), "other places than in English"),
        (lambda text: text["date"].update(circa=1931), "text is expected here"),
        (lambda text: text.update(months=["Januar"]), "twelve months"),
        (lambda text: text["cautions"].pop("lead"), "cautions.lead is missing"),
    ],
)
def test_a_language_that_is_not_complete_is_refused(tmp_path, change, wrong):
    with pytest.raises(InputError, match=wrong) as caught:
        language(own(tmp_path, change))
    assert "xx.yaml" in str(caught.value)


def test_an_unknown_language_is_refused():
    with pytest.raises(InputError, match="nearest"):
        language("en-gb")


# Rules, and the index of a sale ---------------------------------------------------------------


def test_lots_are_flagged_by_the_rules(made):
    flags = {
        name: set(entry_of(estimate, Wording(ENGLISH), name, "").why)
        for name, estimate in made.items()
    }
    texts = ENGLISH.texts
    assert texts["sale.flags.parts"] in flags["M-003"]
    assert texts["sale.flags.conflict"] in flags["M-007"]
    assert texts["sale.flags.two"] in flags["M-010"]
    assert texts["sale.flags.wide"] in flags["M-005"]
    assert texts["sale.flags.little"] in flags["M-005"]
    assert flags["M-009"] == set()


def test_the_index_counts_lots():
    entry = IndexEntry("1", "a", "1931", 0.9, "1931", 0.9, (), "lot-1")
    entries = (entry, replace(entry, why=("wide",)), replace(entry, failed=True, chance=None))
    words = count_words(entries, ENGLISH)
    assert words.startswith("Lots: 3. For a second look: 1. Could not be read: 1.")


def test_phrases_count_their_months():
    phrase = DatePhrase((Phrase("month", 1, 1), Phrase("months", 20, 23)))
    assert phrase.months == 5
    assert [month in phrase for month in (1, 2, 20, 23, 24)] == [True, False, True, True, False]


@pytest.mark.parametrize("words", [ENGLISH, GERMAN], ids=["en", "de"])
def test_the_notes_of_the_examiner_reach_the_document(made, words):
    rows = dict(note_of(made["M-004"], Wording(words)).record.rows)
    noted = rows[words.texts["record.notes"]]
    for text in ("only a glue shadow", "a second set of screw holes", "came with the plates"):
        assert text in noted
    assert words.texts["record.notes"] not in dict(
        note_of(made["M-003"], Wording(words)).record.rows
    )


def test_no_document_prints_the_owner(made, maker):
    estimate = made["M-001"]
    owned = estimate.examination.model_copy(update={"owner": "owner of the lot"})
    note = note_of(dating.estimate(maker, owned), Wording(ENGLISH))
    assert "owner of the lot" not in str(note)
