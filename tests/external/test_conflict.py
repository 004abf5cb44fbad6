"""The measure of conflict, recomputed by brute force.

Jensen, F. V., Chamberlain, B., Nordahl, T. and Jensen, F. (1991), "Analysis in HUGIN of data
conflict", *Uncertainty in Artificial Intelligence 6*, 519-528:
``conf(e_1..e_n) = log2 prod_i P(e_i) / P(e_1..e_n)``. The probabilities come from the network of
``conftest.py``, solved with pgmpy 1.1: one table of P(heel, nut, binding, label), summed.
"""

from itertools import product
from math import log2

import numpy as np
import pytest

from dating import estimate

BY_COMPONENT = {"neck": ("heel", "nut"), "body": ("binding", "label")}


@pytest.fixture(scope="module")
def chances(small_network):
    """``chances(seen)``: P(those states are recorded)."""
    states = small_network.states
    table = small_network.query(*states)

    def chance(seen):
        wanted = [
            range(len(names)) if name not in seen else [names.index(seen[name])]
            for name, names in states.items()
        ]
        return float(table[np.ix_(*wanted)].sum())

    return chance


def conflict(seen, chances):
    return sum(log2(chances({name: seen[name]})) for name in seen) - log2(chances(seen))


@pytest.fixture(scope="module")
def combinations(small_network):
    """Every examination in which all four features were seen: 36 of them."""
    states = small_network.states
    seen = [dict(zip(states, each, strict=True)) for each in product(*states.values())]
    return [(each, estimate(small_network.maker, small_network.examine(each))) for each in seen]


def test_overall_conflict(combinations, chances):
    found = [made.conflict.bits for _, made in combinations]
    wanted = [conflict(seen, chances) for seen, _ in combinations]
    assert found == pytest.approx(wanted, rel=0, abs=1e-9)
    assert min(wanted) < -0.5
    assert max(wanted) > 2


def test_conflict_within_a_component(combinations, chances):
    for seen, made in combinations:
        wanted = {
            part: conflict({name: seen[name] for name in names}, chances)
            for part, names in BY_COMPONENT.items()
        }
        assert made.conflict.by_component == pytest.approx(wanted, rel=0, abs=1e-9)


def test_surprise_of_each_piece(combinations, chances):
    """The conflict between one piece and all others taken together."""
    for seen, made in combinations:
        for finding in made.findings:
            name = finding.piece.name
            rest = {other: state for other, state in seen.items() if other != name}
            given_rest = chances(seen) / chances(rest)
            wanted = log2(chances({name: seen[name]}) / given_rest)
            assert finding.surprise == pytest.approx(wanted, rel=0, abs=1e-9)


def test_contradicting_pairs(combinations, chances):
    pairs = [
        (made.conflict.contradictions, seen)
        for seen, made in combinations
        if made.conflict.contradictions
    ]
    assert pairs
    for contradictions, seen in pairs:
        for pair in contradictions:
            names = (pair.piece.name, pair.other.name)
            wanted = conflict({name: seen[name] for name in names}, chances)
            assert pair.bits == pytest.approx(wanted, rel=0, abs=1e-9)
