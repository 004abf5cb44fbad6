"""Ramps against numerical integration of the formula, and against brute-force averaging."""

from math import log

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.special import expit
from scipy.stats import qmc

from dating.judgement import Certain, metalog_through, pooled
from dating.ramps import between_anchors, mean_shares, month_shares, regimes, shares_after

MONTHS = 30
SHAPES = ["linear", "logistic"]
DATE = metalog_through((8, 12, 17), kind="point")
NARROW = metalog_through((11.5, 12.1, 12.6), kind="point")
LAG = metalog_through((-2, 1, 3), kind="point")
SPAN = metalog_through((1, 4, 10), kind="span")
SHORT = metalog_through((0, 1, 2.5), kind="span")
LOPSIDED = metalog_through((10, 11, 20))
TWO_MINDS = pooled([metalog_through((4, 5, 7)), metalog_through((18, 20, 25))], [1, 2])


def ramp(x, first, overlap, shape):
    """Give the formula at an instant: 0 to 1 over the overlap, or 5 % to 95 %."""
    if overlap == 0:
        return float(x >= first)
    if shape == "linear":
        return min(max((x - first) / overlap, 0.0), 1.0)
    return expit(2 * log(19) * ((x - first) / overlap - 0.5))


def averaged(first, overlap, shape):
    """Average the ramps of many first uses and overlaps over each month."""
    return month_shares(first, overlap, MONTHS, shape).mean(axis=0)


def brute(*judgements):
    """Give many quasi-random values of each judgement."""
    cube = qmc.Sobol(len(judgements), scramble=True, rng=7).random(2**15)
    return [judged.quantile(column) for judged, column in zip(judgements, cube.T, strict=True)]


@pytest.mark.parametrize("shape", SHAPES)
@given(first=st.floats(-40, 40), overlap=st.one_of(st.just(0.0), st.floats(0.05, 50)))
def test_month_shares_integrate_the_ramp(shape, first, overlap):
    made = month_shares(first, overlap, months=6, shape=shape)
    for month in range(6):
        cuts = [x for x in (first, first + overlap / 2, first + overlap) if month < x < month + 1]
        wanted = quad(ramp, month, month + 1, args=(first, overlap, shape), points=cuts or None)[0]
        assert made[month] == pytest.approx(wanted, abs=1e-9)


@pytest.mark.parametrize("shape", SHAPES)
def test_many_draws_at_once_are_each_alone(shape):
    first, overlap = np.array([1.5, 3.0, -7.0]), np.array([0.0, 2.0, 40.0])
    made = month_shares(first, overlap, 8, shape)
    for row, a, d in zip(made, first, overlap, strict=True):
        assert (row == month_shares(a, d, 8, shape)).all()


@given(first=st.floats(-5, 35))
def test_a_step_is_the_limit_of_short_overlaps(first):
    step = month_shares(first, 0.0, MONTHS)
    for shape in SHAPES:
        short = month_shares(first, 1e-6, MONTHS, shape)
        assert short == pytest.approx(step, abs=1e-5)
        soon = metalog_through((0, 5e-7, 1e-6), kind="span")
        assert mean_shares(Certain(first), soon, MONTHS, shape) == pytest.approx(step, abs=1e-4)
    assert step.sum() == pytest.approx(np.clip(MONTHS - max(first, 0), 0, MONTHS))


def test_far_from_the_ramp_shares_are_exactly_none_or_all():
    """No rounding noise: it would stand for evidence where nothing else is possible."""
    made = month_shares(np.linspace(3.01, 3.99, 57), 2.3, MONTHS)
    assert (made[:, :3] == 0).all()
    assert (made[:, 7:] == 1).all()
    uncertain = mean_shares(Certain(3.37), metalog_through((1, 2, 3)), MONTHS)
    assert set(uncertain[:3]) == {0.0}
    assert uncertain[-1] == 1


# Averages over what is uncertain


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("overlap", [Certain(0.0), Certain(0.025), Certain(5.0), SPAN, SHORT])
@pytest.mark.parametrize("first", [Certain(11.3), DATE, NARROW, LOPSIDED, TWO_MINDS])
def test_mean_shares_agree_with_brute_force(first, overlap, shape):
    made = mean_shares(first, overlap, MONTHS, shape)
    assert made == pytest.approx(averaged(*brute(first, overlap), shape), abs=2e-4)


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("overlap", [Certain(3.0), SPAN])
@pytest.mark.parametrize("lag", [Certain(1.5), LAG])
def test_shares_after_an_event_agree_with_brute_force(lag, overlap, shape):
    events = np.array([4.25, 11.0, 19.8, -6.0, 44.0])
    made = shares_after(events, lag, overlap, MONTHS, shape)
    delays, lengths = brute(lag, overlap)
    for event, row in zip(events, made, strict=True):
        assert row == pytest.approx(averaged(event + delays, lengths, shape), abs=2e-4)


@pytest.mark.parametrize("shape", SHAPES)
def test_certain_judgements_are_the_plain_ramp(shape):
    plain = month_shares(6.7, 3.1, MONTHS, shape)
    assert mean_shares(Certain(6.7), Certain(3.1), MONTHS, shape) == pytest.approx(plain)
    after = shares_after(np.array([5.0]), Certain(1.7), Certain(3.1), MONTHS, shape)
    assert after[0] == pytest.approx(plain)


@given(st.floats(2, 20), st.floats(0.5, 8), st.floats(0.3, 0.7), st.sampled_from(SHAPES))
def test_mean_shares_rise_from_none_to_all(low, width, ratio, shape):
    first = metalog_through((low, low + ratio * width, low + width))
    for overlap in (Certain(0.0), Certain(2.0), SPAN):
        made = mean_shares(first, overlap, 80, shape)
        assert (np.diff(made) >= -1e-9).all()
        assert made.min() >= 0
        assert made.max() <= 1


def test_a_pool_of_first_uses_shows_both():
    made = mean_shares(TWO_MINDS, Certain(0.0), MONTHS)
    assert made[12] == pytest.approx(1 / 3, abs=0.01)


# Regimes and anchors


@given(
    st.lists(st.tuples(st.floats(-20, 50), st.floats(0, 30), st.sampled_from(SHAPES)), max_size=5)
)
def test_regimes_are_always_a_distribution(changes):
    made = regimes([month_shares(a, d, MONTHS, shape) for a, d, shape in changes], MONTHS)
    assert made.shape == (len(changes) + 1, 1, MONTHS)
    assert made.min() >= 0
    assert made.sum(axis=0) == pytest.approx(np.ones((1, MONTHS)))


def test_a_regime_is_reached_only_through_the_one_before():
    """The second changeover cannot come before the first, whatever its date says."""
    late, early = month_shares(10.0, 0.0, 20), month_shares(5.0, 0.0, 20)
    made = regimes([late, early], 20)[:, 0]
    assert made[0].tolist() == [1.0] * 10 + [0.0] * 10
    assert made[1].tolist() == [0.0] * 20
    assert made[2].tolist() == [0.0] * 10 + [1.0] * 10


def test_regimes_mix_ramps_with_and_without_draws():
    with_draws = month_shares(np.array([3.0, 6.5]), np.array([0.0, 2.0]), 12)
    alone = month_shares(8.0, 3.0, 12)
    made = regimes([with_draws, alone], 12)
    assert made.shape == (3, 2, 12)
    assert made[2] == pytest.approx(with_draws * alone)


@given(
    st.lists(st.integers(-5, 25), min_size=1, max_size=5, unique=True),
    st.integers(1, 20),
)
def test_anchors_are_joined_by_straight_lines(anchors, months):
    anchors = sorted(anchors)
    heights = np.arange(len(anchors)) ** 2.0
    weights = between_anchors(anchors, months)
    assert weights.sum(axis=0) == pytest.approx(np.ones(months))
    assert heights @ weights == pytest.approx(np.interp(np.arange(months), anchors, heights))
