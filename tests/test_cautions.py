"""Cautions follow what every instrument has and what was seen on this one, and nothing else."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dating import InputError, read_examination, read_maker
from dating.cautions import CAUTIONS, HAZARDS, MATERIALS, Material, caution_text, materials_in
from dating.notes.handling_cautions import cautions_for

MAKER = """\
maker: Example Works
product: lyres
period: 1923-03/1928-11
materials: [strings]
components:
  neck:
    features:
      dots:
        ask: What are the dots?
        states: {pearl: shell, white: flat white, wood: dyed}
        materials: {pearl: [shell], white: [celluloid]}
        history: [{state: pearl}, {state: white, first_use: 1925-01}]
      board:
        ask: What is the board?
        states: [rosewood, beech]
        materials: {rosewood: [rosewood]}
        history: [{state: rosewood}, {state: beech, first_use: 1926-01}]
  chassis:
    materials: [valves, mains transformer, capacitors]
    features:
      cloth:
        ask: Which cloth?
        states: [brown, grey]
        history: [{state: brown}, {state: grey, first_use: 1926-01}]
"""
ALWAYS = ["mains", "stored charge", "hot glass", "string tension"]


def made(tmp_path, seen="", maker=MAKER):
    (tmp_path / "small.yaml").write_text(maker, encoding="utf-8")
    (tmp_path / "E-1.yaml").write_text(f"instrument: E-1\nmaker: small\n{seen}", encoding="utf-8")
    return read_maker(tmp_path / "small.yaml"), read_examination(tmp_path / "E-1.yaml")


def because(cautions):
    return {caution.key: caution.because for caution in cautions}


def test_what_was_not_examined_is_not_claimed(tmp_path):
    unseen = because(cautions_for(*made(tmp_path)))
    assert list(unseen) == ALWAYS
    assert unseen["string tension"] == ("lyres: strings",)
    assert unseen["mains"] == ("chassis: valves", "chassis: mains transformer")
    assert unseen["stored charge"] == ("chassis: valves", "chassis: capacitors")
    said = because(cautions_for(*made(tmp_path, "seen: {dots: not examined, board: }")))
    assert said == unseen


@pytest.mark.parametrize(
    ("seen", "expected"),
    [
        ("dots: white", {"celluloid": ("dots: white (celluloid)",)}),
        ("dots: {state: white, sure: 0.6}", {"celluloid": ("dots: white (celluloid)",)}),
        ("dots: wood", {}),
        ("board: rosewood", {"protected wood": ("board: rosewood",)}),
        (
            "dots: {one_of: [pearl, white]}",
            {"celluloid": ("dots: white (celluloid)",), "shell": ("dots: pearl (shell)",)},
        ),
        ("dots: {other: green Celluloid}", {"celluloid": ("dots: green Celluloid",)}),
        ("dots: {other: eggshell white}", {}),
    ],
)
def test_cautions_follow_what_was_seen(tmp_path, seen, expected):
    found = because(cautions_for(*made(tmp_path, f"seen: {{{seen}}}")))
    assert {key: why for key, why in found.items() if key not in ALWAYS} == expected


def test_each_hazard_once_and_in_order(tmp_path):
    seen = "seen: {board: rosewood, dots: {one_of: [white, pearl]}}"
    cautions = cautions_for(*made(tmp_path, seen))
    keys = [caution.key for caution in cautions]
    assert keys == [hazard for hazard in HAZARDS if hazard in keys]
    assert len(set(keys)) == len(keys)
    assert all(caution.words == CAUTIONS[caution.key] for caution in cautions)


@given(st.permutations(["strings", "celluloid", "ivory", "valves"]))
def test_order_in_the_file_does_not_matter(tmp_path_factory, order):
    listed = MAKER.replace("[strings]", f"[{', '.join(order)}]")
    cautions = cautions_for(*made(tmp_path_factory.mktemp("order"), maker=listed))
    assert [caution.key for caution in cautions] == [*ALWAYS, "celluloid", "ivory"]


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ("white: [celluloid]", "wite: [celluloid]", 11, ["no such state", "wite", "white"]),
        ("white: [celluloid]", "white: [celuloid]", 11, ["celuloid", "celluloid"]),
        ("[strings]", "[string]", 4, ["string", "strings"]),
        ("[valves,", "[valve,", 19, ["valve", "valves"]),
        ("[strings]", "strings", 4, ["list"]),
    ],
)
def test_mistakes_in_materials_are_located(tmp_path, old, new, line, words):
    with pytest.raises(InputError) as refusal:
        made(tmp_path, maker=MAKER.replace(old, new))
    (problem,) = refusal.value.problems
    assert problem.line == line
    assert "materials" in problem.key
    for word in words:
        assert word in str(problem)


def test_every_hazard_has_words_and_every_material_a_hazard():
    assert list(CAUTIONS) == list(HAZARDS)
    assert set(MATERIALS) == set(Material.__value__.__args__)
    assert all(set(hazards) <= set(HAZARDS) and hazards for hazards in MATERIALS.values())


def test_every_caution_gives_way_to_law_or_to_trained_hands():
    gives_way = re.compile(r"local law|licensed practice|someone (qualified|trained)")
    assert [key for key, words in CAUTIONS.items() if not gives_way.search(words)] == []
    restricted = ("protected wood", "ivory", "tortoiseshell", "shell")
    assert all("CITES" in CAUTIONS[key] and "local law" in CAUTIONS[key] for key in restricted)


def test_cautions_are_joined_with_the_words_of_the_maker_file():
    both = caution_text(("lead", "celluloid"), "two screws are long")
    assert both == "; ".join([CAUTIONS["lead"], CAUTIONS["celluloid"], "two screws are long"])
    assert caution_text(()) == ""


def test_materials_are_found_in_free_words_as_whole_words():
    assert materials_in("lead-solder, OLD  finish") == ("old finish", "lead solder")
    assert materials_in("ivory-coloured") == ("ivory",)
    assert materials_in("shells and valve") == ()


def test_the_demo_names_materials_that_its_states_show():
    maker = read_maker("priors/marrowby.yaml")
    by_state = {
        (name, state): materials
        for name, (_, feature) in maker.features().items()
        for state, materials in feature.materials.items()
    }
    assert by_state["position-dots", "celluloid"] == ("celluloid",)
    assert by_state["guard", "shell"] == ("tortoiseshell",)
    named = {state for _, state in by_state}
    assert all(
        (name, "celluloid") in by_state
        for name, (_, feature) in maker.features().items()
        if "celluloid" in feature.states
    )
    assert "none" not in named
