"""The invented demo: the maker file has what it shows, each examination teaches its lesson."""

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from dating import estimate, find_maker, read_examination, read_maker
from dating.cautions import HAZARDS
from dating.months import Period

ROOT = Path(__file__).parents[1]
MAKER_FILE = ROOT / "priors" / "marrowby.yaml"
EXAMINATIONS = sorted((ROOT / "demo_data" / "examinations").glob("M-*.yaml"))
NAMES = [path.stem for path in EXAMINATIONS]


@cache
def maker():
    return read_maker(MAKER_FILE)


@cache
def examined(name):
    return read_examination(ROOT / "demo_data" / "examinations" / f"{name}.yaml")


@cache
def dated(name):
    return estimate(maker(), examined(name))


def dated_without(name, **changes):
    """Date an examination with some of its entries taken out or changed."""
    return estimate(maker(), examined(name).model_copy(update=changes))


def without_features(name, *features):
    kept = {key: sight for key, sight in examined(name).seen.items() if key not in features}
    return dated_without(name, seen=kept)


def finding(made, name):
    return next(found for found in made.findings if found.piece.name == name)


def width(months):
    return sum(stretch.last - stretch.first + 1 for stretch in months.stretches)


def courses():
    """Every course of states in the maker file, with its component."""
    for part, component in maker().components.items():
        for feature in component.features.values():
            for course in (feature, *feature.by_variant.values()):
                yield part, course
        for each in component.by_variant.values():
            for course in each.values():
                yield part, course


def regimes():
    return [(part, regime) for part, course in courses() for regime in course.history or ()]


# The maker file


def test_maker_file_says_that_it_is_invented():
    first = MAKER_FILE.read_text(encoding="utf-8").splitlines()[0]
    assert first.startswith("# Invented")
    assert maker().invented


def test_maker_file_has_its_components_and_features():
    assert list(maker().components) == ["neck", "body", "soundboard", "hardware"]
    assert len(maker().features()) >= 14
    part, heel = maker().features()["heel-joint"]
    assert part == "neck"
    assert list(heel.states) == ["dovetail", "dowelled", "screwed"]


def test_maker_file_has_marks_and_measurements():
    assert len(maker().marks()) >= 3
    assert maker().marks()["heel-pencil"][0] == "neck"
    assert maker().measurements()["neck-depth"][0] == "neck"
    assert {mark.format for _, mark in maker().marks().values()} == {"date"}


def test_move_of_works_touches_every_component():
    assert len(maker().events) >= 3
    moved = {part for part, regime in regimes() if regime.event == "second-works"}
    assert moved == set(maker().components)
    linked = {regime.event for _, regime in regimes() if regime.event}
    assert linked == set(maker().events)


def test_maker_file_has_share_tables_and_variants():
    assert any(course.shares_at for _, course in courses())
    assert maker().variant_names() == ("student", "recital")
    assert maker().variants is not None
    assert len(maker().variants.history or ()) > 1
    assert any(component.by_variant for component in maker().components.values())


def test_three_assessors_are_pooled_and_disagree_about_celluloid_binding():
    binding = maker().course_of("binding", "student")
    opinions = binding.history[1].first_use.opinions
    assert [opinion.by[-1] for opinion in opinions] == ["A", "B", "C"]
    first, second = opinions[:2]
    assert second.likely - first.likely == 24
    assert first.latest < second.earliest


def test_pooled_binding_keeps_both_opinions_visible():
    pool = maker().course_of("binding", "student").history[1].first_use.distribution()
    a, b, _ = (o.distribution() for o in _binding_opinions())
    middle = (float(a.quantile(0.5)) + float(b.quantile(0.5))) / 2
    near = pool.cdf(middle + 1) - pool.cdf(middle - 1)
    for peak in (float(a.quantile(0.5)), float(b.quantile(0.5))):
        assert pool.cdf(peak + 1) - pool.cdf(peak - 1) > 1.5 * near


def _binding_opinions():
    return maker().course_of("binding", "student").history[1].first_use.opinions


def test_a_state_comes_back_after_the_supplier_returns():
    for name in ("position-dots", "tuner-plate"):
        history = maker().features()[name][1].history
        assert history[0].state == history[2].state != history[1].state
        assert history[2].event == "supplier-returns"


def test_three_states_are_in_use_at_once():
    history = maker().features()["back-wood"][1].history
    shares = history[1].shares_of("student")
    assert len(shares) == 3
    assert min(shares.values()) > 0.1


def test_maker_file_shows_every_form_of_number():
    changes = [regime for _, regime in regimes()]
    judged = [j for r in changes for j in (r.first_use, r.lag, r.overlap) if j is not None]
    opinions = [o for j in judged for o in j.opinions]
    opinions += [o for event in maker().events.values() for o in event.when.opinions]
    assert {regime.shape for regime in changes} == {"linear", "logistic"}
    assert any(len(set(opinion.triple())) == 1 for opinion in opinions)
    assert any(opinion.coverage != 0.9 for opinion in opinions)
    features = [feature for _, feature in maker().features().values()]
    assert all(feature.slip.value > 0 for feature in features)
    assert any(feature.replacement for feature in features)
    assert maker().components["hardware"].donors


def test_uncertain_numbers_name_their_source():
    for _, regime in regimes():
        for judged in (regime.first_use, regime.lag, regime.overlap):
            for opinion in judged.opinions if judged is not None else ():
                assert opinion.source or regime.source
    for event in maker().events.values():
        assert all(opinion.source or event.source for opinion in event.when.opinions)
    assert all(output.source for output in maker().output)


def test_every_source_is_used():
    text = MAKER_FILE.read_text(encoding="utf-8").split("output:", 1)[1]
    assert [name for name in maker().sources if name not in text] == []


def test_looks_name_their_hazards():
    things = [*maker().features().values(), *maker().marks().values()]
    things += maker().measurements().values()
    assert all(thing.look.how for _, thing in things)
    named = {hazard for _, thing in things for hazard in thing.look.hazards}
    of_materials = {"hot glass", "protected wood", "ivory", "tortoiseshell", "shell"}
    assert named == set(HAZARDS) - {"mains", "stored charge"} - of_materials


# The examinations


def test_there_are_ten_examinations():
    assert [f"M-{number:03d}" for number in range(1, 11)] == NAMES


@pytest.mark.parametrize("name", NAMES)
def test_examination_says_that_it_is_invented_and_what_it_teaches(name):
    first = (ROOT / "demo_data" / "examinations" / f"{name}.yaml").read_text("utf-8")
    assert first.startswith("# Invented. Teaches: ")
    made = examined(name)
    assert made.invented
    assert made.instrument == name
    assert made.examined is not None
    assert made.examined.year == 2026
    assert find_maker(made).resolve() == MAKER_FILE
    assert f"| {name} |" in (ROOT / "demo_data" / "README.md").read_text("utf-8")


@pytest.mark.parametrize("name", NAMES)
def test_estimate_has_converged(name):
    assert dated(name).errors.max() <= 0.002
    assert dated(name).probabilities.sum() == pytest.approx(1)


def test_m001_everything_agrees():
    made = dated("M-001")
    assert min(made.originality.values()) > 0.95
    assert made.conflict.bits < 0
    assert made.conflict.contradictions == ()
    assert 6 <= width(made.highest_density(0.9)) <= 36
    assert made.between("1929-06/1931-12") > 0.9
    assert len(made.advice) >= 8
    assert next(a.name for a in made.advice if a.kind == "feature") == "ring"


def test_m002_stays_wide_at_the_move_of_works():
    made = dated("M-002")
    assert len(made.pieces) >= 9
    assert 9 <= width(made.highest_density(0.9)) <= 24
    assert made.between("1923-03/1931-06") > 0.1
    assert made.between("1931-11/1941-11") > 0.1
    assert made.conflict.contradictions == ()


def test_m003_neck_comes_from_a_later_instrument():
    made = dated("M-003")
    assert made.originality["neck"] < 0.05
    assert min(made.originality[part] for part in ("body", "soundboard", "hardware")) > 0.95
    own = made.own_month("neck")
    mean = made.period.first + float(own @ np.arange(len(own)))
    assert mean > made.median + 36
    neck = maker().components["neck"].features
    rest = dated_without("M-003", seen=_without_component(neck), measured={})
    assert abs(rest.median - made.median) <= 2


def _without_component(features):
    return {key: sight for key, sight in examined("M-003").seen.items() if key not in features}


def test_m004_tuners_were_replaced():
    made = dated("M-004")
    plate = finding(made, "tuner-plate")
    assert plate.replaced > 0.8
    assert made.originality["hardware"] > 0.9
    assert abs(plate.shift) <= 1
    assert plate.alone_median > made.highest_density(0.9).stretches[-1].last
    assert all(
        found.replaced < 0.3 for found in made.findings if found is not plate and found.replaced
    )


def test_m005_almost_nothing_examined():
    made = dated("M-005")
    assert len(made.pieces) == 2
    assert width(made.highest_density(0.9)) > 144
    open_looks = {advice.name for advice in made.advice}
    assert {"heel-joint", "label", "heel-pencil", "neck-depth", "variant"} <= open_looks
    assert made.advice[0].bits > 1


def test_m006_document_cuts_the_posterior():
    made, bare = dated("M-006"), dated_without("M-006", documents=())
    assert bare.between("1933-01/1941-11") > 0.5
    assert 0 < made.between("1933-01/1941-11") < 0.1
    assert bare.median - made.median >= 12
    assert made.highest_density(0.9).stretches[-1].last == Period.parse("1932-12").last


def test_m007_names_the_two_that_contradict_each_other():
    made = dated("M-007")
    pairs = [{found.piece.name, found.other.name} for found in made.conflict.contradictions]
    assert pairs == [{"lining", "end-block"}]
    assert made.conflict.contradictions[0].bits > 3
    assert made.conflict.by_component["body"] > 3
    assert without_features("M-007", "end-block").conflict.contradictions == ()


def test_m008_unlisted_state_is_flagged_and_neutral():
    made = dated("M-008")
    assert [(neutral.name, neutral.observation) for neutral in made.neutral] == [
        ("binding", "other: green celluloid")
    ]
    bare = without_features("M-008", "binding")
    np.testing.assert_array_equal(made.probabilities, bare.probabilities)


def test_m009_features_choose_between_two_readings_of_a_year():
    alone = dated_without("M-009", seen={}, variant=None)
    early, late = "1928-05/1928-11", "1933-05/1933-11"
    assert min(alone.between(early), alone.between(late)) > 0.3
    assert len(finding(dated("M-009"), "heel-pencil").alone.stretches) == 2
    assert dated("M-009").between(late) > 0.95
    assert len(dated("M-009").highest_density(0.9).stretches) == 1


def test_m010_falls_into_two_stretches():
    made = dated("M-010")
    first, second = made.highest_density(0.9).stretches
    assert min(first.mass, second.mass) > 0.25
    away = Period.parse("1928-01")
    assert first.last < away.first < second.first
    assert made.between("1927-10/1928-10") < 0.05
    best = next(advice for advice in made.advice if advice.kind == "feature")
    assert best.name == "bars"
    assert best.bits > 0.5
