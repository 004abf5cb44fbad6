"""Cases from the bench: what an experienced specialist accepts of each, and what not.

Each is one of the invented Velquist examinations, as numbers and as words.
"""

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from dating import estimate, read_examination, read_maker
from dating.cautions import CAUTIONS
from dating.cli.main import main
from dating.examination import Examination
from dating.maker import Maker
from dating.months import Period, month_label
from dating.reading import read_yaml
from dating.stories import Fault
from dating.words.stories import story_words
from dating.words.text import as_text

FOLDER = Path("demo_data/velquist_examinations")
PENCIL = Fault("chassis-pencil", "slip")


@cache
def maker():
    return read_maker("priors/velquist.yaml")


def path_of(name):
    return FOLDER / f"{name}.yaml"


@cache
def dated(name):
    return estimate(maker(), read_examination(path_of(name)))


@cache
def told(name):
    return words_of(dated(name))


def words_of(made):
    """What is told of an estimate, on one line."""
    return " ".join(as_text(made, 400).split())


def changed(name, **changes):
    """Date an examination with some of its entries changed."""
    data = read_yaml(path_of(name)).data
    return estimate(maker(), Examination.model_validate(data | changes))


def with_maker(change, name):
    """Date an examination by a maker file in which something is changed."""
    data = read_yaml("priors/velquist.yaml").data
    change(data)
    return estimate(Maker.model_validate(data), read_examination(path_of(name)))


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def section(text, title, following):
    return text.split(title, 1)[1].split(following, 1)[0]


def stretch_of(made, level=0.9):
    """First and last month of the only stretch of a set, as labels."""
    (stretch,) = made.highest_density(level).stretches
    return month_label(stretch.first), month_label(stretch.last)


def width(made, level=0.9):
    return sum(s.last - s.first + 1 for s in made.highest_density(level).stretches)


def own_between(made, component, months):
    """The probability that a component's own month lies in some months."""
    period, own = Period.parse(months), made.own_month(component)
    month = np.arange(made.period.first, made.period.last + 1)
    return own[(month >= period.first) & (month <= period.last)].sum()


# Early and clean


def test_early_and_clean_is_a_winter_some_months_wide():
    first, last = stretch_of(dated("V-001"))
    assert "1955-10" <= first <= "1955-12"
    assert "1956-02" <= last <= "1956-06"
    assert 4 <= width(dated("V-001")) <= 8
    assert dated("V-001").between("1955-10/1956-06") > 0.95
    assert dated("V-001").all_original > 0.95


def test_early_and_clean_takes_the_stock_delays_for_partly_one_story():
    """With three stocks of their own the same codes would claim to be independent."""

    def apart(data):
        coil = data["stocks"]["coil-bin"]
        data["stocks"] |= {"other-bin": coil, "third-bin": coil}
        data["components"]["cabinet"]["marks"]["speaker-code"]["stock"] = "other-bin"

    assert with_maker(apart, "V-001").entropy < dated("V-001").entropy - 0.05
    assert width(dated("V-001")) > 2


# In the middle


def test_in_the_middle_is_summer_to_autumn_of_the_move():
    first, last = stretch_of(dated("V-002"))
    assert "1959-05" <= first <= "1959-07"
    assert "1959-10" <= last <= "1960-01"
    assert 4 <= width(dated("V-002")) <= 8
    assert width(dated("V-002"), 0.5) > 1
    assert dated("V-002").all_original > 0.9


def test_in_the_middle_tells_of_the_move_and_which_features_stand_on_which_side():
    text = told("V-002")
    assert "Move to the new works, about June 1959" in text
    before = text[text.index("before the move") :] if "before the move" in text else ""
    after = text[text.index("after the move") :] if "after the move" in text else ""
    assert "chassis metal" in before
    assert "handle" in before
    assert "knobs" in after
    assert "board" in after


# A cabinet from another


def test_a_cabinet_from_another_has_a_date_of_its_own():
    made = dated("V-003")
    assert made.between("1956/1957") > 0.95
    assert made.originality["cabinet"] < 0.05
    assert min(made.originality[part] for part in ("chassis", "electronics")) > 0.9
    assert made.all_original < 0.05
    assert own_between(made, "cabinet", "1963/1967") > 0.95
    assert made.between("1958/1962") < 0.01


def test_a_cabinet_from_another_is_told():
    text = section(told("V-003"), "DO THE PARTS BELONG TOGETHER?", "WHAT EACH OBSERVATION SAYS")
    assert "cabinet" in text.split("original", 1)[0]
    assert "did not belong to this instrument originally" in text
    assert "no component swapped <1 %" in text


# A loudspeaker later than all else

LATER = {"9312-6533": "August 1965", "9312-7214": "April 1972"}


def late_speaker(code):
    data = read_yaml(path_of("V-004")).data
    return changed("V-004", marks=data["marks"] | {"speaker-code": code})


@pytest.mark.parametrize("code", LATER)
def test_a_later_loudspeaker_does_not_move_the_date(code):
    made = late_speaker(code)
    without = read_yaml(path_of("V-004")).data["marks"]
    without.pop("speaker-code")
    plain = changed("V-004", marks=without)
    assert made.between("1958") > 0.95
    assert abs(made.median - plain.median) <= 1
    assert np.abs(made.probabilities - plain.probabilities).sum() < 0.05
    finding = next(f for f in made.findings if f.piece.name == "speaker-code")
    assert finding.replaced > 0.9
    assert made.originality["cabinet"] > 0.9


@pytest.mark.parametrize("code", LATER)
def test_a_later_loudspeaker_was_itself_made_when_its_code_says(code):
    assert LATER[code] in words_of(late_speaker(code))


def test_a_later_loudspeaker_is_not_refused():
    for command in (["estimate"], ["check"]):
        answer = run(*command, path_of("V-004"))
        assert answer.exit_code == 0, answer.output
        assert "no possible reading" not in answer.output


# A contradiction


def test_a_contradiction_is_two_stories():
    made = dated("V-005")
    stories = made.stories
    assert len(stories) >= 2
    assert sum(story.probability for story in stories) <= 1 + 1e-9
    assert stories[0].probability < 0.9
    assert PENCIL in stories[0].faults
    first = stories[0].months.stretches
    assert month_label(first[0].first) >= "1963-01"
    assert month_label(first[-1].last) <= "1967-08"
    rebuilt = next(story for story in stories if PENCIL not in story.faults)
    assert 0.05 < rebuilt.probability < stories[0].probability
    assert all(month_label(s.first)[:4] == "1957" for s in rebuilt.months.stretches)
    assert Fault("electronics", "swapped") in rebuilt.faults


def test_a_contradiction_has_no_headline_of_over_nine_in_ten():
    made = dated("V-005")
    late, early = made.between("1963/1967"), made.between("1957")
    assert 0.05 < early < late < 0.9


def test_a_contradiction_tells_both_stories_and_first_of_all_to_look_again():
    text = told("V-005")
    for story in dated("V-005").stories[:2]:
        assert story_words(story, dated("V-005")) in text
    assert "look again" in text.lower()
    again = text[text.lower().index("look again") :].split(".  ")[0][:400]
    assert "pencil" in again
    assert "receipt" in again


def test_a_contradiction_turns_on_the_doubt_of_the_pencil():
    """Nobody states a doubt: without one 1957 is sure, and a small one brings the other story."""

    def early(doubt):
        def state(data):
            data["components"]["chassis"]["marks"]["chassis-pencil"]["doubt"] = doubt

        return with_maker(state, "V-005").between("1956/1958")

    assert early(0) > 0.99
    assert 0.1 < early(0.01) < 0.3
    assert 0.04 < early(0.03) < 0.12
    assert early(0.02) == pytest.approx(dated("V-005").between("1956/1958"))


# Rebuilt


def test_rebuilt_is_of_1957_with_later_electronics_and_knobs():
    made = dated("V-006")
    assert made.between("1957-05/1958-02") > 0.9
    assert made.between("1959/1967") < 0.05
    assert made.originality["electronics"] < 0.05
    assert own_between(made, "electronics", "1964/1965") > 0.9
    assert made.originality["cabinet"] > 0.9
    knobs = next(f for f in made.findings if f.piece.name == "knobs")
    assert knobs.replaced > 0.9


def test_rebuilt_names_the_chassis_metal_and_the_pencil_on_it():
    text = section(told("V-006"), "CONTRADICTIONS", "WHAT TO LOOK AT NEXT")
    assert "chassis metal" in text
    assert "chassis pencil" in text
    again = told("V-006").lower()
    assert "look again" in again
    again = again[again.index("look again") :][:300]
    assert "chassis metal" in again
    assert "pencil" in again


def test_rebuilt_says_what_follows_if_either_is_misread():
    looks = {look.name: look for look in dated("V-006").second_looks}
    assert {"chassis-metal", "chassis-pencil"} <= set(looks)
    assert looks["chassis-pencil"].at_fault < 0.05
    assert looks["chassis-metal"].at_fault > 0.95
    metal = looks["chassis-metal"].right.stretches
    assert any(month_label(stretch.last) >= "1959" for stretch in metal)


# Only a photograph


def test_only_a_photograph_is_before_about_1963():
    made = dated("V-007")
    (stretch,) = made.highest_density(0.9).stretches
    assert stretch.first == made.period.first
    assert "1962-01" <= month_label(stretch.last) <= "1963-12"
    assert width(made) > 84
    text = section(told("V-007"), "WHEN IT WAS BUILT", "DO THE PARTS BELONG TOGETHER?")
    assert "before about 1963" in text


def test_only_a_photograph_begins_with_looks_that_cost_nothing():
    text = told("V-007").split("WHAT TO LOOK AT NEXT", 1)[1]
    places = [text.index(words) for words in ("lettering", "cabinet depth", "badge")]
    assert "back off" in text
    assert max(places) < text.index("back off")
    first = dated("V-007").plan[0]
    assert not first.name
    assert first.invasive == "none"
    assert {"lettering", "cabinet-depth", "badge"} <= {look.name for look in first.looks}


def test_only_a_photograph_has_no_look_inside_without_its_cautions():
    opened = [operation for operation in dated("V-007").plan if operation.name]
    assert {operation.name for operation in opened} == {"back off", "chassis out", "speaker out"}
    for operation in opened:
        words = " ".join(operation.cautions)
        for hazard in ("mains", "stored charge"):
            assert CAUTIONS[hazard] in words, operation.name
    assert all(
        CAUTIONS["mains"] in a.caution for a in dated("V-007").advice if a.invasive != "none"
    )


# Impossible


def test_the_impossible_is_a_warning_at_check_and_a_clash_at_estimate():
    answer = run("check", path_of("V-008"))
    assert answer.exit_code == 0, answer.output
    assert "the maker began in March 1954" in " ".join(answer.output.split())
    answer = run("estimate", path_of("V-008"))
    assert answer.exit_code == 0, answer.output
    text = " ".join(answer.output.split())
    assert "photograph" in section(text, "CONTRADICTIONS", "WHAT TO LOOK AT NEXT")
    assert dated("V-008").between("1956/1959") > 0.8


# A slip of the pen


def test_a_slip_of_the_pen_is_no_evidence_until_it_is_confirmed():
    made = dated("V-009")
    assert [neutral.name for neutral in made.neutral] == ["cabinet-depth"]
    bare = changed("V-009", measured={})
    np.testing.assert_array_equal(made.probabilities, bare.probabilities)
    confirmed = changed("V-009", measured={"cabinet-depth": {"value": 24.1, "confirmed": True}})
    assert "cabinet-depth" in {piece.name for piece in confirmed.pieces}
    assert confirmed.neutral == ()


def test_a_slip_of_the_pen_is_told_with_what_would_fit():
    expected = "24.1 is 72 spreads from any month; 241 would fit (10 times)"
    assert expected in told("V-009")
    assert expected in " ".join(run("check", path_of("V-009")).output.split())
    evidence = section(told("V-009"), "WHAT EACH OBSERVATION SAYS", "CONTRADICTIONS")
    assert "cabinet depth: 24.1" not in evidence
    assert "confirmed" in evidence


def test_a_slip_of_the_pen_does_not_agree_with_the_rest():
    text = section(told("V-009"), "CONTRADICTIONS", "WHAT MAY BE A MISTAKE")
    assert "The observations agree" not in text
    assert "24.1" not in text
    assert "cabinet depth" not in text


def test_a_neck_depth_of_229_is_a_slip_as_well():
    slip = {"neck-depth": {"value": 229, "within": 0.2}}
    data = read_yaml("demo_data/examinations/M-001.yaml").data | {"measured": slip}
    made = estimate(read_maker("priors/marrowby.yaml"), Examination.model_validate(data))
    assert [neutral.name for neutral in made.neutral] == ["neck-depth"]
    assert "22.9 would fit (a tenth)" in words_of(made)
