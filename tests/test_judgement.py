"""Judgements: three quantiles honoured, lopsided ones in two halves, pooling."""

import random
import tracemalloc

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from dating import Examination, Maker, estimate, month_tables
from dating.judgement import (
    FEASIBLE_SKEW,
    Certain,
    JudgementError,
    Metalog,
    Pool,
    metalog_through,
    pooled,
    shifted,
)
from dating.quadrature import merged

COVERAGES = st.sampled_from([0.5, 0.8, 0.9, 0.95])


def edge(coverage):
    """Give the least share of the way from lowest to highest at which likely may lie."""
    return (1 - FEASIBLE_SKEW * coverage / 2) / 2


@st.composite
def judgements(draw):
    """Draw feasible quantiles of a plain, logarithmic or cut judgement."""
    coverage = draw(COVERAGES)
    margin = edge(coverage) + 0.01
    ratio = draw(st.floats(margin, 1 - margin))
    form = draw(st.sampled_from(["plain", "log", "cut at zero"]))
    if form == "plain":
        low, wide = draw(st.floats(-50, 50)), draw(st.floats(0.1, 200))
        return (low, low + ratio * wide, low + wide), coverage, "point"
    if form == "cut at zero":
        high = draw(st.floats(0.1, 60))
        return (0.0, ratio * high, high), coverage, "span"
    low, factor = draw(st.floats(0.1, 20)), draw(st.floats(1.05, 12))
    return (low, low * factor**ratio, low * factor), coverage, "span"


@given(judgements())
def test_the_three_quantiles_are_honoured(judged):
    triple, coverage, kind = judged
    tail = (1 - coverage) / 2
    made = metalog_through(triple, coverage, kind)
    assert made.quantile([tail, 0.5, 1 - tail]) == pytest.approx(triple, rel=1e-12, abs=1e-12)
    assert made.cdf(triple) == pytest.approx([tail, 0.5, 1 - tail], abs=1e-10)


@given(judgements())
def test_quantile_and_cdf_invert_each_other_and_rise(judged):
    made = metalog_through(*judged)
    p = np.linspace(1e-6, 1 - 1e-6, 101)
    x = made.quantile(p)
    assert (np.diff(x) >= 0).all()
    above = x > 0 if made.form == "cut at zero" else np.full(len(x), True)
    assert made.cdf(x[above]) == pytest.approx(p[above], abs=1e-9)


@given(judgements())
def test_spans_are_never_negative(judged):
    made = metalog_through(*judged)
    if judged[2] == "span":
        assert made.quantile([1e-12, 1e-3]).min() >= 0
        assert made.cdf([-1e-9, -5.0]).tolist() == [0, 0]


def test_no_length_at_all_has_the_chance_that_was_stated():
    made = metalog_through((0, 3, 8), 0.8, "span")
    assert made.cdf(0.0) == pytest.approx(0.1, abs=1e-12)
    assert made.quantile([0.02, 0.1]).tolist() == pytest.approx([0, 0], abs=1e-12)


def test_equal_values_mean_certainty():
    made = metalog_through((4.0, 4.0, 4.0))
    assert made == Certain(4.0)
    assert made.quantile([0.1, 0.9]).tolist() == [4, 4]
    assert made.cdf([3.9, 4.0]).tolist() == [0, 1]
    assert made.mean() == 4
    assert made.excess([3.0, 6.0]).tolist() == [0, 2]


# Refusals


@pytest.mark.parametrize("triple", [(5, 3, 9), (5, 10, 9), (9, 5, 1)])
def test_values_out_of_order_are_refused(triple):
    with pytest.raises(JudgementError, match="ascend"):
        metalog_through(triple)


def test_a_negative_span_is_refused():
    with pytest.raises(JudgementError, match="cannot be negative, found -1"):
        metalog_through((-1, 2, 4), kind="span")


@st.composite
def lopsided(draw):
    """Draw quantiles through which no smooth judgement runs."""
    (low, _, high), coverage, kind = draw(judgements())
    off = draw(st.floats(0.05, 0.98)) * edge(coverage)
    ratio = draw(st.sampled_from([off, 1 - off]))
    if kind == "span" and low > 0:
        return (low, low * (high / low) ** ratio, high), coverage, kind
    return (low, low + ratio * (high - low), high), coverage, kind


@given(lopsided())
def test_a_lopsided_judgement_keeps_its_three_quantiles(judged):
    triple, coverage, kind = judged
    tail = (1 - coverage) / 2
    halves = metalog_through(triple, coverage, kind)
    assert halves.halves
    assert halves.quantile([tail, 0.5, 1 - tail]) == pytest.approx(triple, rel=1e-9, abs=1e-9)
    assert halves.cdf(triple) == pytest.approx([tail, 0.5, 1 - tail], abs=1e-9)
    p = np.linspace(0.001, 0.999, 999)
    assert (np.diff(halves.quantile(p)) >= 0).all()


@given(lopsided())
def test_the_nodes_of_two_halves_have_the_right_moments(judged):
    halves = metalog_through(*judged)
    values, weights = halves.nodes(4)
    width = judged[0][2] - judged[0][0]
    cap = judged[0][2] + width
    likely, high = judged[0][1:]
    cuts = [x for x in (high, likely + 8 * (high - likely)) if x < cap]
    below = quad(lambda x: float(halves.cdf(x)), likely, cap, points=cuts, limit=200)[0]
    below += float(halves.excess(judged[0][1]))
    assert weights @ np.maximum(cap - values, 0) == pytest.approx(below, abs=2e-3 * width)
    assert float(halves.excess(cap)) == pytest.approx(below, abs=1e-6 * width)


@pytest.mark.parametrize("likely", [0, 11])
def test_half_the_belief_at_one_value_is_refused(likely):
    with pytest.raises(JudgementError, match=f"half the belief would lie at {likely} alone"):
        metalog_through((0, likely, 11))


def test_a_mean_without_bound_is_refused():
    with pytest.raises(JudgementError, match="without bound"):
        metalog_through((1, 100, 10_000), kind="span").mean()


# Integrals


@given(judgements(), st.floats(0.02, 0.98))
def test_excess_is_the_integral_of_the_distribution_function(judged, p):
    made = metalog_through(*judged)
    x = float(made.quantile(p))
    start = float(made.quantile(1e-12)) if made.form == "plain" else 0.0
    cuts = [q for q in made.quantile([0.01, 0.5]).tolist() if start < q < x]
    area = quad(lambda y: float(made.cdf(y)), start, x, points=cuts or None, limit=200)[0]
    width = judged[0][2] - judged[0][0]
    within = 1e-7 if made.form == "plain" else 1e-4
    assert float(made.excess(x)) == pytest.approx(area, abs=within * width)


@pytest.mark.parametrize(
    ("triple", "kind"),
    [((2, 5, 9), "point"), ((-3, 0, 2), "point"), ((1, 4, 12), "span"), ((0, 3, 6), "span")],
)
def test_mean_is_the_integral_of_the_quantile_function(triple, kind):
    made = metalog_through(triple, kind=kind)
    mean = quad(lambda p: float(made.quantile(p)), 0, 1, limit=200)[0]
    assert made.mean() == pytest.approx(mean, abs=1e-6)


@given(judgements(), st.sampled_from([1, 4]))
def test_nodes_are_a_distribution_with_the_right_moments(judged, fine):
    made = metalog_through(*judged)
    values, weights = made.nodes(fine)
    assert weights.sum() == pytest.approx(1, abs=1e-12)
    assert weights.min() > 0
    assert (np.diff(values) >= 0).all()
    width = judged[0][2] - judged[0][0]
    if made.form == "plain":
        assert weights @ values == pytest.approx(made.mean(), abs=1e-4 * width)
    below = weights @ (values <= made.quantile(0.5))
    assert below == pytest.approx(0.5, abs=0.15 / fine)


# Several assessors


EARLY, LATE = metalog_through((2, 4, 6)), metalog_through((20, 25, 31))


def test_a_pool_is_a_mixture_so_disagreement_stays_visible():
    both = pooled([EARLY, LATE], [1, 3])
    assert isinstance(both, Pool)
    x = np.linspace(-5, 45, 41)
    assert both.cdf(x) == pytest.approx(0.25 * EARLY.cdf(x) + 0.75 * LATE.cdf(x), abs=1e-15)
    assert both.excess(x) == pytest.approx(0.25 * EARLY.excess(x) + 0.75 * LATE.excess(x))
    assert both.mean() == pytest.approx(0.25 * EARLY.mean() + 0.75 * LATE.mean())
    assert both.cdf(15) - both.cdf(9) < 0.005


def test_quantiles_of_a_pool_invert_its_distribution_function():
    both = pooled([EARLY, LATE, Certain(12.0)], [1, 2, 1])
    p = np.array([0.05, 0.2, 0.3, 0.45, 0.5, 0.7, 0.95])
    x = both.quantile(p)
    assert (np.diff(x) >= 0).all()
    assert (both.cdf(x) >= p - 1e-9).all()
    assert (both.cdf(x - 1e-6) < p).all()
    assert x[2] == x[3] == 12


def test_nodes_of_a_pool_carry_its_weights():
    values, weights = pooled([Certain(1.0), LATE], [3, 1]).nodes()
    assert weights.sum() == pytest.approx(1)
    assert weights[values == 1.0].sum() == pytest.approx(0.75)


def test_a_pool_of_one_is_that_one():
    assert pooled([EARLY], [7]) is EARLY


@settings(max_examples=20)
@given(st.floats(-30, 30))
def test_shifting_moves_every_quantile(by):
    p = np.array([0.05, 0.3, 0.5, 0.95])
    for judgement in (Certain(3.0), EARLY, pooled([EARLY, LATE], [1, 1])):
        moved = shifted(judgement, by)
        assert type(moved) is type(judgement)
        assert moved.quantile(p) == pytest.approx(judgement.quantile(p) + by, abs=1e-9)


def test_a_metalog_can_be_compared_and_hashed():
    assert metalog_through((2, 5, 9)) == metalog_through((2, 5, 9))
    assert isinstance(hash(metalog_through((2, 5, 9))), int)
    assert isinstance(metalog_through((2, 5, 9)), Metalog)


def shared_event(assessors):
    """An estimate in which two features move with an event that so many assessors judge."""
    rng, opinions = random.Random(5), []
    for number in range(assessors):
        likely = 1935 * 12 + rng.randint(-40, 40)
        keys = zip(("earliest", "likely", "latest"), (-12, 0, 20), strict=True)
        when = {key: f"{(likely + by) // 12}-{(likely + by) % 12 + 1:02d}" for key, by in keys}
        opinions.append({**when, "by": f"assessor {number}"})
    history = [{"state": "old"}, {"state": "new", "with": "works", "overlap": 3}]
    feature = {"ask": "Which?", "states": ["old", "new"], "slip": 0.01, "history": history}
    data = {"maker": "Example Works", "product": "lyres", "period": "1925-01/1944-12"}
    data["events"] = {"works": {"what": "new works", "when": opinions}}
    data["components"] = {"body": {"features": {"joint": feature, "lining": feature}}}
    seen = {"instrument": "E-1", "maker": "example", "seen": {"joint": "new", "lining": "old"}}
    maker = Maker.model_validate(data)
    tracemalloc.start()
    made = estimate(maker, Examination.model_validate(seen))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return made, peak


def test_memory_does_not_grow_with_the_assessors_of_a_shared_event():
    few, many = shared_event(2)[1], shared_event(300)[1]
    assert many < 6 * few


def test_many_assessors_are_dated_as_if_each_kept_nodes_of_their_own(monkeypatch):
    merged = shared_event(14)[0].probabilities
    monkeypatch.setattr("dating.tabulation.OWN_RULES", 14)
    month_tables.cache_clear()
    assert merged == pytest.approx(shared_event(14)[0].probabilities, abs=1e-6)
    month_tables.cache_clear()


def test_merged_nodes_integrate_cubics_and_keep_who_stands_apart():
    rng = np.random.default_rng(3)
    values = np.append(rng.normal(size=5000), [40.0, 41.0])
    weights = np.full(len(values), 1 / len(values))
    nodes, shares = merged(values, weights, 200)
    assert len(nodes) <= 200
    for power in range(4):
        assert shares @ nodes**power == pytest.approx(weights @ values**power, rel=1e-10)
    assert nodes[-3:].max() == pytest.approx(41.0)
    assert shares[nodes > 20].sum() == pytest.approx(2 / 5002)
