"""Facts of the trade: what an experienced eye concludes, the estimate must conclude.

Every fact here is common practice, no source. Makers and instruments are invented.
"""

import pytest

from dating import Examination, InputError, Maker, estimate
from tests.certain import certain


def maker(period, components):
    return Maker.model_validate(
        certain(
            {
                "maker": "Dunmere Sound",
                "product": "electric dulcimers",
                "invented": True,
                "period": period,
                "components": {
                    name: {"features": features} for name, features in components.items()
                },
            }
        )
    )


def feature(states, **course):
    return {"ask": "What is to be seen?", "states": states, **course}


def changes(old, new, *, first_use, overlap, slip):
    """A feature that passes from one state to another once."""
    history = [{"state": old}, {"state": new, "first_use": first_use, "overlap": overlap}]
    return feature([old, new], history=history, slip=slip)


def dated(made_by, **seen):
    seen = {name.replace("_", "-"): state for name, state in seen.items()}
    examination = {"instrument": "D-1", "maker": "dunmere", "seen": seen}
    return estimate(made_by, Examination.model_validate(examination))


# Slotted screws gave way to cross-recess ones in the course of a single year, 1952: an
# instrument with both kinds was made in that year (common practice, no source).


def screws(slip):
    change = changes("slotted", "cross", first_use="1952-01", overlap=12, slip=slip)
    return maker("1946/1959", {"body": {"plate-screws": change, "cover-screws": change}})


@pytest.mark.parametrize(("plate", "cover"), [("slotted", "cross"), ("cross", "slotted")])
def test_both_kinds_of_screw_date_to_the_year_of_the_change(plate, cover):
    made = dated(screws(slip=0), plate_screws=plate, cover_screws=cover)
    assert made.between("1952") == pytest.approx(1, abs=1e-12)
    assert made.between("1952-05/1952-08") > made.between("1952-01/1952-04")


def test_one_kind_of_screw_says_only_before_or_after():
    old = dated(screws(slip=0), plate_screws="slotted", cover_screws="slotted")
    new = dated(screws(slip=0), plate_screws="cross", cover_screws="cross")
    assert old.between("1953/1959") == pytest.approx(0, abs=1e-12)
    assert new.between("1946/1951") == 0
    assert max(old.between("1952"), new.between("1952")) < 0.1


def test_a_rare_misreading_leaves_the_year_of_both_kinds_likeliest():
    made = dated(screws(slip=0.005), plate_screws="slotted", cover_screws="cross")
    assert made.between("1952") > 0.7
    assert made.mode // 12 == 1952


# A dark plastic part turned white, and flush pole pieces became raised ones, in 1954: either old
# state means a build before the end of that year (common practice, no source).


def plastics():
    cover = changes("dark", "white", first_use="1954-01", overlap=6, slip=0.01)
    poles = changes("flush", "raised", first_use="1954-04", overlap=6, slip=0.01)
    return maker("1948/1961", {"pickup": {"bobbin": cover, "pole-pieces": poles}})


@pytest.mark.parametrize("seen", [{"bobbin": "dark"}, {"pole_pieces": "flush"}])
def test_either_old_state_means_before_the_change(seen):
    made = dated(plastics(), **seen)
    assert made.between("1955/1961") < 0.01
    assert made.between("1948/1953") > 0.9


def test_two_old_states_are_surer_than_either():
    both = dated(plastics(), bobbin="dark", pole_pieces="flush")
    alone = [dated(plastics(), bobbin="dark"), dated(plastics(), pole_pieces="flush")]
    late = [made.between("1955/1961") for made in alone]
    assert both.between("1955/1961") < min(late) / 50
    assert both.between("1948/1953") >= max(made.between("1948/1953") for made in alone)
    assert both.conflict.bits < 0


def test_the_new_states_mean_after_the_change():
    made = dated(plastics(), bobbin="white", pole_pieces="raised")
    assert made.between("1948/1953") < 1e-3


# A wiring channel is absent in the first of three successive production stages, present in some
# instruments of the second, and in all of the third: without it, not the third stage; with it,
# not the first (common practice, no source).

FIRST, SECOND, THIRD = "1950-01/1950-04", "1950-05/1950-08", "1950-09/1950-12"
BY_HISTORY = {
    "history": [
        {"state": "absent"},
        {"shares": {"absent": 0.4, "present": 0.6}, "first_use": "1950-05"},
        {"state": "present", "first_use": "1950-09"},
    ]
}
BY_TABLE = {
    "shares_at": {
        "1950-01": {"absent": 1.0},
        "1950-04": {"absent": 1.0},
        "1950-05": {"absent": 0.4, "present": 0.6},
        "1950-08": {"absent": 0.4, "present": 0.6},
        "1950-09": {"present": 1.0},
        "1950-12": {"present": 1.0},
    }
}


def stages(course, slip=0.0):
    channel = feature(["absent", "present"], **course, slip=slip)
    return maker("1950", {"body": {"channel": channel}})


@pytest.mark.parametrize("course", [BY_HISTORY, BY_TABLE], ids=["history", "table"])
def test_the_channel_rules_out_a_stage(course):
    without = dated(stages(course), channel="absent")
    found = [without.between(stage) for stage in (FIRST, SECOND, THIRD)]
    assert found == pytest.approx([1 / 1.4, 0.4 / 1.4, 0])
    assert found[2] == 0
    having = dated(stages(course), channel="present")
    found = [having.between(stage) for stage in (FIRST, SECOND, THIRD)]
    assert found == pytest.approx([0, 0.6 / 1.6, 1 / 1.6])
    assert found[0] == 0


def test_a_misreading_may_allow_the_stage_again():
    made = dated(stages(BY_HISTORY, slip=0.02), channel="absent")
    assert 0 < made.between(THIRD) < 0.01


def test_a_document_of_the_excluded_stage_cannot_stand_beside_the_channel():
    examination = {
        "instrument": "D-2",
        "maker": "dunmere",
        "seen": {"channel": "absent"},
        "documents": [{"what": "works card", "not_before": "1950-09", "trust": 1}],
    }
    with pytest.raises(InputError, match="no month of the period"):
        estimate(stages(BY_HISTORY), Examination.model_validate(examination))
