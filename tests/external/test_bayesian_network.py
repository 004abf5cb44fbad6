"""The estimate against variable elimination in a Bayesian network.

The same small maker is written as a network of conditional probability tables (see
``conftest.py``) and solved with pgmpy 1.1, ``VariableElimination``: swapped components with
donors of their own month and variant, a replaced part, slips, two features that share an
uncertain event, variants.
"""

import numpy as np
import pytest

from dating import estimate

EXACT = {"rel": 0, "abs": 1e-9}
SEEN = [
    {},
    {"nut": "plastic"},
    {"binding": "white"},
    {"heel": "screwed", "binding": "white"},
    {"heel": "dovetail", "nut": "bone", "binding": "tortoise", "label": "round"},
    {"heel": "dowelled", "nut": "plastic", "binding": "none", "label": "square"},
    {"heel": "screwed", "nut": "bone", "binding": "white", "label": "round"},
]


@pytest.fixture(params=SEEN, ids=lambda seen: "-".join(seen.values()) or "nothing")
def both(request, small_network):
    """The estimate, and ``ask(node)`` for the network's answer."""
    made = estimate(small_network.maker, small_network.examine(request.param))
    return made, lambda node: small_network.query(node, evidence=request.param)


def test_build_month(both):
    made, ask = both
    assert made.probabilities == pytest.approx(ask("month"), **EXACT)


def test_components_are_original(both):
    made, ask = both
    for part in ("neck", "body"):
        assert made.originality[part] == pytest.approx(ask(f"{part} swapped")[0], **EXACT)


def test_a_components_own_month(both):
    made, ask = both
    for part in ("neck", "body"):
        assert made.own_month(part) == pytest.approx(ask(f"{part} month"), **EXACT)


def test_variant(both):
    made, ask = both
    assert list(made.variant_chances.values()) == pytest.approx(ask("variant"), **EXACT)


def test_part_replaced(both):
    made, ask = both
    replaced = {f.piece.name: f.replaced for f in made.findings if f.replaced is not None}
    wanted = {"nut": ask("nut replaced")[1]} if "nut" in made.examination.seen else {}
    assert replaced == pytest.approx(wanted, **EXACT)


def test_an_unsure_examiner(small_network):
    """A doubtful state and one of several are virtual evidence on the recorded state."""
    seen = {
        "heel": {"state": "dowelled", "sure": 0.7},
        "binding": {"one_of": ["white", "tortoise"]},
        "label": "square",
    }
    made = estimate(small_network.maker, small_network.examine(seen))
    weights = {"heel": [0.15, 0.7, 0.15], "binding": [0, 1, 1]}
    ask = {"evidence": {"label": "square"}, "weights": weights}
    assert made.probabilities == pytest.approx(small_network.query("month", **ask), **EXACT)
    original = small_network.query("neck swapped", **ask)[0]
    assert made.originality["neck"] == pytest.approx(original, **EXACT)


def test_the_event_is_felt(small_network):
    """With the event known, the network answers otherwise: the shared doubt is at work."""
    seen = {"heel": "screwed", "binding": "none"}
    made = estimate(small_network.maker, small_network.examine(seen))
    late = small_network.query("month", evidence={**seen, "event": 1})
    assert np.abs(made.probabilities - late).max() > 0.01
