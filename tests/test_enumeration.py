"""The engine against slow enumeration, over many invented makers and examinations."""

from math import log2

import numpy as np
import pytest

from dating import InputError, estimate, month_tables
from tests.enumeration import Enumeration, mutual_information, normalised
from tests.inventing import invented, invented_data

WITHIN = 2e-10
"""The likelihood of a mark is within 2e-12; evidence that clashes magnifies that."""
FEW, MANY = 44, 220
BRANCHING = {0, 4, 22, 31}
"""Few of the makers, but most of the time: their loops branch the most."""
TELLING = {60}
"""An open feature that moves with an event, on a component that may be old stock."""


def marked(seed):
    if seed >= FEW and seed not in TELLING:
        return pytest.param(seed, marks=pytest.mark.slow)
    return pytest.param(seed, marks=pytest.mark.long) if seed in BRANCHING else seed


SEEDS = [marked(seed) for seed in range(MANY)]
KINDS = [
    "'shape': 'logistic'", "'overlap': 0", "'overlap': [", "'shares'", "'shares_at'", "'with'",
    "'lag': [", "'lag': 2.5", "'by_variant'", "'variants'", "'donors'", "'swapped': 1", "'slip'",
    "'replacement'", "'source-date'", "'tails'", "'within'", "'not_before'", "'not_after'",
    "'trust': 0,", "'trust': 1,", "'one_of'", "'sure'", "'other'", "'not examined'", "'output'",
    "'variant'", "113-", "..", "'weight': 2",
]  # fmt: skip


def close(values):
    return pytest.approx(values, abs=WITHIN, rel=0)


@pytest.fixture
def few_draws(monkeypatch):
    """Sixteen draws: the definition of the average is the same, the loops are shorter."""
    monkeypatch.setattr("dating.learning.learned.POINTS", 2)
    monkeypatch.setattr("dating.learning.learned.MOST_POINTS", 2)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.usefixtures("few_draws")
def test_engine_agrees_with_enumeration(seed):
    maker, examination = invented(seed)
    slow = Enumeration(maker, examination, month_tables(maker, 2))
    if slow.evidence() == 0:
        with pytest.raises(InputError, match="no month of the period"):
            estimate(maker, examination)
        return
    made = estimate(maker, examination)
    check_posterior(made, slow)
    check_each_piece(made, slow)
    if seed % 4 == 0:
        check_advice(made, slow)


def check_posterior(made, slow):
    joint = slow.joint()
    assert made.probabilities.tolist() == close(normalised(slow.by_month()))
    assert list(made.variant_chances.values()) == close(
        normalised([sum(row) for row in joint]) if made.maker.variants else []
    )
    for part in made.maker.components:
        assert made.originality[part] == close(slow.original(part) / slow.evidence())
        assert made.own_month(part).tolist() == close(normalised(slow.own_months(part)))


def check_each_piece(made, slow):
    left = made.weighing.left_out
    assert set(left) == set(slow.pieces)
    alone = {name: slow.evidence([name]) for name in slow.pieces}
    for finding in made.findings:
        name = finding.piece.name
        rest = slow.by_month(slow.without(name))
        assert (left[name] / left[name].sum()).tolist() == close(normalised(rest))
        given_rest = slow.evidence() / sum(rest)
        assert finding.surprise == pytest.approx(log2(alone[name] / given_rest), abs=1e-9)
        if np.max(slow.later[name]) > 0:
            assert finding.replaced == close(slow.replaced(name))
        else:
            assert finding.replaced is None
    together = sum(map(log2, alone.values())) - log2(slow.evidence())
    assert made.conflict.bits == pytest.approx(together, abs=1e-9)
    for part, bits in made.conflict.by_component.items():
        here = [name for name, (component, _) in slow.pieces.items() if component == part]
        apart = sum(log2(alone[name]) for name in here)
        assert bits == pytest.approx(apart - log2(slow.evidence(here)), abs=1e-9)


def check_advice(made, slow):
    given = {advice.name: advice for advice in made.advice}
    open_features = [n for n in made.maker.features() if made.examination.seen.get(n) is None]
    assert set(open_features) == {n for n, advice in given.items() if advice.kind == "feature"}
    for name in open_features:
        by_month, by_origin = slow.answers(name)
        assert given[name].bits == close(mutual_information(by_month))
        assert list(given[name].answers.values()) == close(normalised([sum(r) for r in by_month]))
        if given[name].originality_bits is not None:
            assert given[name].originality_bits == close(mutual_information(by_origin))
    if made.maker.variants and made.examination.variant is None:
        assert given["variant"].bits == close(mutual_information(slow.joint()))


def test_the_invented_cases_hold_every_kind_of_evidence():
    cases = [str(invented_data(seed)) for seed in range(FEW)]
    assert [kind for kind in KINDS if sum(kind in case for case in cases) < 3] == []
    models = [invented(seed)[0] for seed in range(FEW)]
    assert sum(bool(month_tables(maker, 2).shared) for maker in models) > 8
