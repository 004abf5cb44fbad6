"""The second demo maker: its file has what it shows, and each examination is readable."""

from functools import cache
from pathlib import Path

import pytest
from click.testing import CliRunner

from dating import estimate, find_maker, read_examination, read_maker
from dating.cautions import CAUTIONS
from dating.cli.main import main

ROOT = Path(__file__).parents[1]
MAKER_FILE = ROOT / "priors" / "velquist.yaml"
EXAMINATIONS = sorted((ROOT / "demo_data" / "velquist_examinations").glob("*.yaml"))
NAMES = [path.stem for path in EXAMINATIONS]
OPERATIONS = {"", "back off", "chassis out", "speaker out"}


@cache
def maker():
    return read_maker(MAKER_FILE)


def things():
    """Everything that can be looked at, with its component."""
    named = {**maker().features(), **maker().marks(), **maker().measurements()}
    return [(name, part, thing.look) for name, (part, thing) in named.items()]


# The maker file


def test_it_says_that_it_is_invented():
    assert MAKER_FILE.read_text("utf-8").startswith("# Invented throughout")
    assert maker().invented
    assert str(maker().period) == "1954-03/1967-08"


def test_it_has_its_components_features_marks_and_measurements():
    assert list(maker().components) == ["chassis", "cabinet", "electronics"]
    assert all(component.swapped.value > 0 for component in maker().components.values())
    assert 16 <= len(maker().features()) <= 20
    coded = [mark for _, mark in maker().marks().values() if mark.format == "source-date"]
    assert len(coded) == 3
    assert all(len(mark.supplier_code) == 1 for mark in coded)
    assert len({mark.supplier_code for mark in coded}) == 3
    assert len(maker().measurements()) == 2


def test_two_parts_wait_in_one_bin_and_a_chassis_may_be_old_stock():
    shared = [name for name, (_, mark) in maker().marks().items() if mark.stock == "coil-bin"]
    assert shared == ["transformer-code", "speaker-code"]
    assert maker().components["chassis"].old_stock is not None


def test_a_move_a_new_supplier_and_two_lines_for_a_year():
    assert set(maker().events) == {"move", "new-supplier"}
    assert maker().variant_names() == ("old line", "new line")
    history = maker().variants.history
    assert history[1].event == "move"
    assert len(history[1].shares) == 2
    assert history[0].state == "old line"
    assert history[2].state == "new line"


def test_two_assessors_disagree_on_some_dates():
    several = [
        judged.opinions
        for _, feature in maker().features().values()
        for regime in feature.history or ()
        for judged in (regime.first_use, regime.lag)
        if judged is not None and len(judged.opinions) > 1
    ]
    assert len(several) >= 3
    joint = maker().features()["corner-joint"][1].history[1].first_use.opinions
    assert joint[0].latest < joint[1].earliest


def test_every_source_is_used():
    text = MAKER_FILE.read_text("utf-8").split("output:", 1)[1]
    assert [name for name in maker().sources if name not in text] == []


def test_looks_inside_are_grouped_and_name_what_can_hurt():
    assert {look.operation for _, _, look in things()} == OPERATIONS
    for name, _, look in things():
        assert look.how, name
        assert bool(look.operation) == (look.invasive != "none"), name
        if look.operation:
            assert {"mains", "stored charge", "hot glass"} <= set(look.hazards), name
    assert set(maker().materials) == {"mains transformer", "capacitors", "valves", "lead solder"}


def test_the_pencil_has_no_stated_doubt_and_check_says_what_is_taken():
    assert "doubt" not in maker().marks()["chassis-pencil"][1].model_fields_set
    others = [mark for name, (_, mark) in maker().marks().items() if name != "chassis-pencil"]
    assert all("doubt" in mark.model_fields_set for mark in others)
    answer = CliRunner().invoke(main, ["check", str(MAKER_FILE)])
    assert answer.exit_code == 0, answer.output
    words = " ".join(answer.output.split())
    assert "doubt 0.02 of chassis-pencil" in words
    for name in ("valve-sockets", "wiring", "resistors"):
        assert name in words


# The examinations


def test_there_are_ten_examinations():
    assert [f"V-{number:03d}" for number in range(1, 11)] == NAMES


@pytest.mark.parametrize("name", NAMES)
def test_examination_says_that_it_is_invented_and_what_it_teaches(name):
    path = ROOT / "demo_data" / "velquist_examinations" / f"{name}.yaml"
    assert path.read_text("utf-8").startswith("# Invented. Teaches: ")
    examined = read_examination(path)
    assert examined.invented
    assert examined.instrument == name
    assert examined.examined.year == 2026
    assert find_maker(examined).resolve() == MAKER_FILE
    assert f"| {name} |" in (ROOT / "demo_data" / "README.md").read_text("utf-8")


def test_v010_what_is_known_without_a_state():
    path = ROOT / "demo_data" / "velquist_examinations" / "V-010.yaml"
    made = estimate(maker(), read_examination(path))
    assert [neutral.name for neutral in made.neutral] == ["knobs"]
    assert made.between("1960/1962") > 0.9
    assert made.originality["electronics"] > 0.95
    assert made.variant_chances["new line"] > 0.95


def test_cautions_are_the_usual_ones():
    assert all(hazard in CAUTIONS for _, _, look in things() for hazard in look.hazards)
