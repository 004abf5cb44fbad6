"""What is known of parts, marks that may be at fault, and stories where evidence clashes."""

import datetime
from math import log2

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from dating import Examination, Maker, estimate, read_examination, read_maker
from dating.batch import posteriors
from dating.date_codes import DateCodeError, readings_of
from dating.distributions import Certain
from dating.evidence import pieces_of
from dating.evidence_cache import EvidenceCache
from dating.judgement import metalog_through
from dating.likelihoods import mark_likelihood
from dating.notes.languages import language
from dating.notes.note import note_of
from dating.notes.sentences import Wording
from dating.notes.story_sentences import story_sentences
from dating.stories import Fault
from dating.tabulation import month_tables
from dating.words.later_parts import part_date
from dating.words.record import as_record
from dating.words.stories import story_words
from dating.words.text import as_text
from tests.certain import certain

WITHIN = 1e-6


def maker_with(components, period="1954-01/1966-12", **more):
    data = {"maker": "Example Works", "product": "lyres", "invented": True, "period": period}
    return Maker.model_validate(certain(data | {"components": components} | more))


def seen(maker, **records):
    data = {"instrument": "E-1", "maker": "example", "examined": "1980-06-15"} | records
    return estimate(maker, Examination.model_validate(data))


def change(first_use, **more):
    history = [{"state": "early"}, {"state": "late", "first_use": first_use}]
    return {"ask": "Which?", "states": ["early", "late"], "history": history, **more}


# Marks ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("triple", [(0.5, 2, 6), (1, 4, 11), (0, 1, 4), (0.1, 1, 20)])
def test_a_mark_of_one_day_is_convolved_exactly(triple):
    """Against adaptive quadrature of the lag's distribution function (QUADPACK, by scipy)."""
    lag, start = metalog_through(triple, 0.9, "span"), 3.4
    (exact,) = mark_likelihood([(start, start + 1 / 30)], lag, 24)
    for month in range(24):

        def reached(x, month=month):
            return float(lag.cdf(month + 1 - x) - lag.cdf(month - x))

        wanted, _ = quad(reached, start, start + 1 / 30, epsabs=1e-12, points=[start])
        assert exact[month] == pytest.approx(wanted, abs=1e-8)
    many, weights = lag.nodes(fine=54)
    assert len(many) > 3000
    by_nodes = [
        weights
        @ np.maximum(np.minimum(start + 1 / 30 + many, t + 1) - np.maximum(start + many, t), 0)
        for t in range(24)
    ]
    assert exact == pytest.approx(by_nodes, abs=1e-4)


def test_delays_move_a_mark_as_a_longer_lag_does():
    lag = metalog_through((1, 3, 8), 0.9, "span")
    delays = np.array([0.0, 0.37, 5.2])
    rows = mark_likelihood([(2.0, 2.25)], lag, 30, delays)
    for delay, row in zip(delays, rows, strict=True):
        (alone,) = mark_likelihood([(2.0 + delay, 2.25 + delay)], lag, 30)
        assert row == pytest.approx(alone, abs=1e-9)
    assert mark_likelihood([(2.0, 3.0)], Certain(1.0), 5, delays[:1]).tolist() == [[0, 0, 0, 1, 0]]


def coded(**more):
    mark = {
        "ask": "Which code?",
        "format": "source-date",
        "lag": [1, 2, 6],
        "replaced": 0.1,
        **more,
    }
    return {"body": {"features": {"foot": change("1960-01")}, "marks": {"code": mark}}}


def test_readings_out_of_reach_do_not_speak_for_a_later_part():
    """A one-figure year has readings long before the maker began; they count for nothing."""
    by_code = seen(maker_with(coded()), marks={"code": "312-514"})
    weeks = [r for r in readings_of("312-514", datetime.date(1980, 6, 15)) if r.year >= 1954]
    days = ",".join(f"{week.first_day}..{week.last_day}" for week in weeks)
    dated = coded()
    dated["body"]["marks"]["code"] |= {"format": "date"}
    by_date = seen(maker_with(dated), marks={"code": f"[{days}]"})
    assert by_code.posterior.values == pytest.approx(by_date.posterior.values, abs=1e-5)
    assert float(by_code.replaced[0]) == pytest.approx(float(by_date.replaced[0]), abs=1e-5)
    assert float(by_code.replaced[0]) < 0.1


def test_a_part_younger_than_the_maker_is_told_with_its_own_date():
    made = seen(maker_with(coded()), marks={"code": "312-7233"}, seen={"foot": "late"})
    assert float(made.replaced[0]) == pytest.approx(1)
    assert part_date("code", made) == "week 33 of 1972, August 1972"
    without = seen(maker_with(coded()), seen={"foot": "late"})
    assert np.abs(made.probabilities - without.probabilities).sum() < 0.2
    assert "week 33 of 1972" in as_text(made)


def test_the_day_of_the_examination_bounds_later_parts():
    maker = maker_with(coded())
    made = seen(maker, marks={"code": "312-7233"}, examined="1975-01-01")
    assert float(made.replaced[0]) == pytest.approx(1)
    with pytest.raises(Exception, match="no possible reading"):
        seen(maker, marks={"code": "312-7233"}, examined="1971-01-01")


def test_the_suppliers_number_settles_how_a_code_is_read():
    text = "3126512"
    free = {(r.source, r.year) for r in readings_of(text, datetime.date(1980, 6, 15))}
    assert ("3126", 1955) in free
    made = seen(maker_with(coded(supplier_code="312")), marks={"code": text})
    assert made.between("1965-03/1965-12") > 0.85
    other = seen(maker_with(coded(supplier_code="77")), marks={"code": text})
    assert float(other.replaced[0]) == pytest.approx(1)


def test_a_digit_that_cannot_be_read_leaves_every_reading():
    every = {r for d in range(10) for r in _read(f"312-65{d}1")}
    assert set(readings_of("312-65?1", datetime.date(1980, 1, 1))) == every
    two = readings_of("[312-6511, 312-6521]", datetime.date(1980, 1, 1))
    assert {r.week for r in two} == {11, 21}
    with pytest.raises(DateCodeError, match="at most 2 digits"):
        readings_of("???-6511", datetime.date(1980, 1, 1))


def _read(code):
    try:
        return readings_of(code, datetime.date(1980, 1, 1))
    except DateCodeError:
        return ()


def test_a_date_long_before_the_maker_is_misread():
    dated = coded()
    dated["body"]["marks"]["code"] |= {"format": "date", "doubt": 0.02, "replaced": 0}
    made = seen(maker_with(dated), marks={"code": "1857-03-04"}, seen={"foot": "late"})
    without = seen(maker_with(dated), seen={"foot": "late"})
    assert made.probabilities == pytest.approx(without.probabilities, abs=WITHIN)
    assert "lies long before" in " ".join(as_text(made).split())


def test_absence_speaks_where_marks_came_in():
    found = {"1956-01": 0.0, "1964-01": 0.95}
    mark = {"ask": "Any date?", "lag": 1, "found_at": found}
    maker = maker_with({"body": {"marks": {"pencil": mark}}})
    made = seen(maker, marks={"pencil": "absent"})
    assert made.probabilities[0] > 5 * made.probabilities[-1]
    share = made.probabilities / made.probabilities[0]
    month = np.arange(made.period.first, made.period.last + 1)
    expected = 1 - np.interp(month, [1956 * 12, 1964 * 12], [0, 0.95])
    assert share == pytest.approx(expected / expected[0], abs=WITHIN)


def test_absence_says_nothing_where_every_instrument_has_the_mark():
    maker = maker_with({"body": {"marks": {"pencil": {"ask": "Any date?", "lag": 1}}}})
    made = seen(maker, marks={"pencil": "absent"})
    assert [item.name for item in made.neutral] == ["pencil"]


# What the examiner knows ------------------------------------------------------------------------


def three_states():
    history = [
        {"state": "a"},
        {"state": "b", "first_use": "1957-01"},
        {"state": "c", "first_use": "1962-01"},
    ]
    return {"ask": "Which?", "states": ["a", "b", "c"], "history": history, "slip": 0.02}


def test_what_is_excluded_is_one_of_the_others():
    maker = maker_with({"body": {"features": {"cloth": three_states()}}})
    excluded = seen(maker, seen={"cloth": {"not": "b"}})
    others = seen(maker, seen={"cloth": {"one_of": ["a", "c"]}})
    assert excluded.probabilities.tolist() == others.probabilities.tolist()
    assert "not b" in as_text(excluded)


@pytest.mark.parametrize("known", ["replaced", "missing", "refinished", "altered"])
def test_what_is_known_not_to_be_of_the_build_is_no_evidence(known):
    maker = maker_with({"body": {"features": {"cloth": three_states(), "foot": change("1960-01")}}})
    made = seen(maker, seen={"cloth": {"state": "c", "known": known}, "foot": "early"})
    plain = seen(maker, seen={"foot": "early"})
    assert made.probabilities.tolist() == plain.probabilities.tolist()
    assert known in as_text(made)


@settings(deadline=None, max_examples=20)
@given(st.floats(0.01, 0.99), st.floats(0, 1))
def test_what_is_thought_of_a_component_moves_its_odds(before, sure):
    maker = maker_with({"body": {"swapped": before, "features": {"foot": change("1960-01")}}})
    made = seen(maker, parts={"body": {"original": True, "sure": sure}})
    odds = (1 - before) * sure, before * (1 - sure)
    assert made.originality["body"] == pytest.approx(odds[0] / sum(odds), abs=1e-9)


def test_a_component_known_not_to_belong_does_not_date():
    maker = maker_with(
        {
            "body": {"swapped": 0.02, "features": {"foot": change("1960-01")}},
            "neck": {"swapped": 0.02, "features": {"heel": change("1958-01")}},
        }
    )
    record = {"foot": "late", "heel": "early"}
    made = seen(maker, seen=record, parts={"body": {"original": False}})
    plain = seen(maker, seen={"heel": "early"})
    assert made.probabilities == pytest.approx(plain.probabilities, abs=1e-9)
    assert made.originality["body"] == 0


# Old stock --------------------------------------------------------------------------------------


def test_old_stock_speaks_for_the_month_in_which_it_was_made():
    foot = {"features": {"foot": change("1960-01")}, "old_stock": {"chance": 1, "age": 12}}
    made = seen(maker_with({"body": foot}), seen={"foot": "early"})
    assert made.between("1954-01/1960-12") == pytest.approx(1)
    own = made.own_month("body")
    assert own[:72].sum() == pytest.approx(1)
    assert made.originality["body"] == 1


def test_a_component_of_which_nothing_was_seen_is_as_old_as_it_may_be():
    foot = {"features": {"foot": change("1960-01")}, "old_stock": {"chance": 0.3, "age": [1, 4, 9]}}
    neck = {"features": {"heel": change("1958-01")}}
    made = seen(maker_with({"body": foot, "neck": neck}), seen={"heel": "early"})
    assert made.between("1954-01/1957-12") == pytest.approx(1)


# Stories ----------------------------------------------------------------------------------------


def clashing(slip=0.02):
    """Two features that no month allows together, on one component."""
    return maker_with(
        {
            "body": {
                "features": {
                    "foot": change("1956-01", slip=slip),
                    "edge": change("1964-01", slip=slip),
                }
            }
        }
    )


def test_stories_are_the_terms_of_the_sum():
    """Seen early and late: one of the two was misread, and by hand each with its probability."""
    made = seen(clashing(), seen={"foot": "early", "edge": "late"})
    by_faults = {frozenset(story.faults): story.probability for story in made.stories}
    foot, edge = Fault("foot", "slip"), Fault("edge", "slip")
    months, early, late = 156, 24, 36  # of the period, before 1956, from 1964 on
    right, wrong = 0.98, 0.02 / 2
    one, other, both = early * right * wrong, late * right * wrong, months * wrong * wrong
    total = one + other + both
    assert set(by_faults) == {frozenset({edge}), frozenset({foot})}
    assert sum(by_faults.values()) == pytest.approx(1, abs=1e-12)
    assert by_faults[frozenset({edge})] == pytest.approx(one / total, abs=both / total + 1e-12)
    assert by_faults[frozenset({foot})] == pytest.approx(other / total, abs=both / total + 1e-12)
    text = as_text(made)
    assert text.index("contradicts itself") < text.index("EDTF")
    assert "edge misread" in text


def test_a_story_has_its_own_date():
    made = seen(clashing(), seen={"foot": "early", "edge": "late"})
    months = {story.faults[0].name: story.months for story in made.stories}
    assert months["edge"].stretches[0].first == made.period.first
    assert months["foot"].stretches[-1].last == made.period.last


def test_stories_of_what_floats_cannot_hold_know_old_stock():
    """So many misreadings that their probability lies below 2^-900, on a component made ahead."""
    names = [f"f{number}" for number in range(72)]
    early = {name: change("1956-01", slip=1e-9) for name in names}
    body = {"features": early | {"edge": change("1964-01", slip=0.02)}, "swapped": 0.05}
    body["old_stock"] = {"chance": 0.1, "age": [1, 4, 9]}
    neck = {"features": {f"n{number}": change("1964-01", slip=1e-9) for number in range(72)}}
    maker = maker_with({"body": body, "neck": neck})
    record = {name: "early" if int(name[1:]) % 2 else "late" for name in names}
    record |= {f"n{number}": "early" if number % 2 else "late" for number in range(72)}
    made = seen(maker, seen=record | {"edge": "late"})
    assert made.weighing.is_wide
    assert sum(story.probability for story in made.stories) <= 1 + 1e-9
    assert made.second_looks
    assert as_text(made)


def test_what_agrees_needs_no_story():
    made = seen(clashing(), seen={"foot": "early", "edge": "early"})
    assert made.stories == ()
    assert made.second_looks == ()


def test_no_fault_and_no_story_is_a_clash_all_the_same():
    made = seen(
        maker_with(
            {
                "body": {
                    "features": {
                        "foot": change("1956-01", slip=1e-9),
                        "edge": change("1964-01", slip=1e-9),
                    }
                }
            }
        ),
        seen={"foot": "early", "edge": "late"},
    )
    assert len(made.stories) == 2


def test_a_second_look_is_valued_like_any_other():
    made = seen(clashing(), seen={"foot": "early", "edge": "late"})
    looks = {look.name: look for look in made.second_looks}
    assert set(looks) == {"foot", "edge"}
    for finding in made.findings:
        look = looks[finding.piece.name]
        rest = made.weighing.left_out[finding.piece.name]
        at_fault = made.weighing.at_fault(finding.piece, rest)
        assert look.at_fault == pytest.approx(at_fault, abs=1e-12)
        chance = look.at_fault
        entropy = -chance * log2(chance) - (1 - chance) * log2(1 - chance)
        assert 0 < look.bits <= entropy + 1e-12


@pytest.mark.parametrize("number", range(1, 11))
def test_all_that_is_told_of_a_story_is_a_share_of_one(number):
    file = f"demo_data/velquist_examinations/V-{number:03d}.yaml"
    made = estimate(read_maker("priors/velquist.yaml"), read_examination(file))
    chances = [story.probability for story in made.stories]
    assert sum(chances) <= 1 + 1e-9
    assert chances == sorted(chances, reverse=True)
    assert 0 <= made.nothing_replaced <= made.all_original + 1e-12


def test_parts_of_a_piece_add_up():
    """What is of the build, of a later part, and a slip is all of what was seen."""
    maker = read_maker("priors/velquist.yaml")
    for number in range(1, 11):
        file = f"demo_data/velquist_examinations/V-{number:03d}.yaml"
        pieces, _ = pieces_of(read_examination(file), maker, month_tables(maker))
        for piece in pieces:
            whole = piece.built + piece.later + piece.slipped
            assert whole == pytest.approx(np.asarray(piece.likelihood), abs=1e-12)


@pytest.mark.parametrize("code", ["en", "de"])
def test_a_note_tells_the_stories_beside_the_date(code):
    file = "demo_data/velquist_examinations/V-005.yaml"
    made = estimate(read_maker("priors/velquist.yaml"), read_examination(file))
    wording = Wording(language(code))
    note = note_of(made, wording)
    told = story_sentences(made, wording.language)
    assert note.date.sentences[: len(told)] == tuple(told)
    assert len(told) == 1 + len(made.stories)
    assert wording.language.texts["stories.parts"] in note.sections[0].sentences
    chances = [wording.language.percent(story.probability) for story in made.stories]
    assert all(words.startswith(chance) for words, chance in zip(told[1:], chances, strict=True))


def test_the_picture_and_the_record_tell_the_stories():
    file = "demo_data/velquist_examinations/V-005.yaml"
    made = estimate(read_maker("priors/velquist.yaml"), read_examination(file))
    label = made.plot().get_label()
    record = as_record(made)
    assert "contradicts itself" in label
    for story, told in zip(made.stories, record["stories"], strict=True):
        assert told["supposes"] == story_words(story, made)
        assert told["supposes"] in label
        assert told["faults"] == [{"name": f.name, "kind": f.kind} for f in story.faults]
    assert [each["name"] for each in record["look_again"]] == [
        look.name for look in made.second_looks
    ]


# Tables, and evidence worked out once ---------------------------------------------------------


def known_things(**more):
    """A code of a later part, and a foot that is known to be replaced."""
    maker = maker_with(
        {
            "body": {"swapped": 0.1, "features": {"cloth": three_states()}},
            "neck": {"swapped": 0.2, **coded()["body"]},
        }
    )
    data = {"instrument": "E-1", "maker": "example", "examined": "1975-06-15"}
    data |= {"seen": {"cloth": {"state": "c", "known": "replaced"}, "foot": "early"}}
    return maker, Examination.model_validate(data | {"marks": {"code": "312-7233"}} | more)


def test_a_table_takes_the_day_of_examination_and_what_is_known_of_a_feature():
    maker, examination = known_things()
    later = examination.model_copy(update={"examined": datetime.date(1990, 1, 1)})
    rows = posteriors(maker, [examination, later])
    for each, row in zip((examination, later), rows.values, strict=True):
        assert row == pytest.approx(estimate(maker, each).probabilities, abs=1e-12)
    assert np.abs(np.diff(rows.values, axis=0)).max() > 1e-6


@pytest.mark.parametrize("known", [{"original": False}, {"original": True, "sure": 0.7}])
def test_a_table_takes_what_is_known_of_components(known):
    maker, plain = known_things()
    maker, examination = known_things(parts={"neck": known})
    rows = posteriors(maker, [examination, plain])
    for each, row in zip((examination, plain), rows.values, strict=True):
        assert row == pytest.approx(estimate(maker, each).probabilities, abs=1e-12)
    assert np.abs(np.diff(rows.values, axis=0)).max() > 1e-6


def test_evidence_worked_out_once_is_that_of_the_estimate():
    maker, examination = known_things(parts={"neck": {"original": False, "sure": 0.8}})
    weighing = EvidenceCache(maker, month_tables(maker)).weighing(examination)
    made = estimate(maker, examination)
    shares = weighing.by_month.sum(axis=0) / weighing.evidence
    assert shares == pytest.approx(made.probabilities, abs=1e-12)
    assert weighing.parts["neck"].swapped == made.weighing.parts["neck"].swapped
