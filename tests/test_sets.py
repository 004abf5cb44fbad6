"""Which months a highest-density set has, for one posterior and for a block of them."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from dating.batch.block_summaries import keep_dates
from dating.batch.results import Summaries, year_starts
from dating.months import Period
from dating.summaries import ALIKE, NEARLY, highest_density

FIRST = 23000
LEVELS = st.floats(0.01, 0.99)
LONG = Period.parse("1923-03/1941-11")
WITHIN = 1e-6
"""Share by which a probability may miss a bound before the test looks, for rounding."""


@st.composite
def posteriors(draw):
    """Any probabilities, many of them none or alike."""
    chance = st.one_of(st.just(0.0), st.sampled_from([0.25, 0.45, 0.9, 1.0]), st.floats(1e-6, 1))
    weights = np.array(draw(st.lists(chance, min_size=1, max_size=60)))
    assume(weights.sum() > 0)
    return weights / weights.sum(), Period(FIRST, FIRST + len(weights) - 1)


def marked(months, period):
    return np.array([month in months for month in range(period.first, period.last + 1)])


def last_needed(probabilities, level):
    """The largest probability such that the months that have it or more hold the level."""
    enough = [p for p in probabilities if probabilities[probabilities >= p].sum() >= level - 1e-12]
    return max(enough)


def holes(inside):
    """Stretches of months left out that have months of the set on either side."""
    return [
        slice(before + 1, after)
        for before, after in pairwise(np.flatnonzero(inside))
        if after > before + 1
    ]


@given(posteriors(), LEVELS)
def test_a_set_holds_its_level_in_ordered_disjoint_stretches(posterior, level):
    made = highest_density(*posterior, level)
    assert made.mass >= level - 1e-9
    edges = [edge for s in made.stretches for edge in (s.first, s.last + 1)]
    assert edges == sorted(edges)
    assert len(set(edges)) == len(edges)
    inside = marked(made, posterior[1])
    assert made.months == inside.sum() == sum(s.last - s.first + 1 for s in made.stretches)
    assert posterior[0][inside].sum() == pytest.approx(made.mass)


@given(posteriors(), LEVELS)
def test_what_is_left_out_is_clearly_less_probable(posterior, level):
    probabilities, period = posterior
    inside = marked(highest_density(*posterior, level), period)
    least = (1 - ALIKE) * last_needed(probabilities, level)
    assert (probabilities[~inside] < least * (1 + WITHIN)).all()


@given(posteriors(), LEVELS)
def test_a_set_has_the_months_that_are_alike_and_those_of_short_holes(posterior, level):
    probabilities, period = posterior
    inside = marked(highest_density(*posterior, level), period)
    least = (1 - ALIKE) * last_needed(probabilities, level)
    alike = inside & (probabilities >= least * (1 - WITHIN))
    closed = np.zeros_like(inside)
    for hole in holes(alike):
        if inside[hole].any():
            assert hole.stop - hole.start <= 2
            assert (probabilities[hole] >= NEARLY * least * (1 - WITHIN)).all()
            closed[hole] = True
    assert (inside == (alike | closed)).all()


@given(posteriors(), LEVELS)
def test_no_hole_of_one_or_two_months_is_nearly_as_probable(posterior, level):
    probabilities, period = posterior
    least = NEARLY * (1 - ALIKE) * last_needed(probabilities, level)
    for hole in holes(marked(highest_density(*posterior, level), period)):
        short = hole.stop - hole.start <= 2
        assert not (short and (probabilities[hole] > least * (1 + WITHIN)).all())


@given(posteriors(), LEVELS, LEVELS)
def test_sets_are_nested_in_level(posterior, one, other):
    low, high = sorted((one, other))
    small, large = (
        marked(highest_density(*posterior, level), posterior[1]) for level in (low, high)
    )
    assert (large | ~small).all()


@given(st.integers(1, 60), st.integers(0, 20), st.integers(0, 20), LEVELS, st.floats(0, 0.09))
def test_a_flat_stretch_is_never_cut_up(months, before, after, level, ripple):
    """Not even where its months differ by less than what counts as alike."""
    weights = np.zeros(before + months + after)
    weights[before : before + months] = 1 - ripple * (np.arange(months) % 2)
    period = Period(FIRST, FIRST + len(weights) - 1)
    (stretch,) = highest_density(weights / weights.sum(), period, level).stretches
    assert (stretch.first, stretch.last) == (FIRST + before, FIRST + before + months - 1)


@pytest.mark.parametrize(
    ("hole", "stretches"),
    [([0.46], 1), ([0.44], 2), ([0.46, 0.46], 1), ([0.46, 0.44], 2), ([0.46, 0.46, 0.46], 2)],
)
def test_a_hole_closes_from_half_of_the_least_probability(hole, stretches):
    weights = np.array([1.0, 1, 1, *hole, 1, 1, 1])
    period = Period(FIRST, FIRST + len(weights) - 1)
    assert len(highest_density(weights / weights.sum(), period, 0.5).stretches) == stretches


@pytest.mark.parametrize(("beside", "months"), [(0.91, 4), (0.9, 4), (0.89, 3)])
def test_a_month_is_alike_to_nine_tenths(beside, months):
    weights = np.array([1.0, 1, 1, beside, 0.1])
    made = highest_density(weights / weights.sum(), Period(FIRST, FIRST + 4), 0.5)
    assert made.months == months


@st.composite
def blocks(draw):
    """Posteriors of one to three hills over a long period, some of them flat or ragged."""
    months, seed = len(LONG), draw(st.integers(0, 2**32 - 1))
    generator = np.random.default_rng(seed)
    weights = np.zeros((24, months))
    for _ in range(draw(st.integers(1, 3))):
        middles, widths = generator.uniform(0, months, (24, 1)), generator.uniform(0.5, 50, (24, 1))
        far = np.abs(np.arange(months) - middles) / widths
        hill = np.where(generator.random((24, 1)) < 0.3, far < 1, np.exp(-0.5 * far**2))
        weights += hill * generator.random((24, 1))
    ragged = draw(st.sampled_from([0, 0.05, 0.3, 1]))
    weights *= np.exp(ragged * generator.standard_normal(weights.shape))
    if draw(st.booleans()):
        weights = np.round(weights, 1)
    if draw(st.booleans()):
        weights *= generator.random(weights.shape) < 0.1
    weights[weights.sum(axis=1) == 0] = 1
    return weights / weights.sum(axis=1, keepdims=True)


@given(blocks(), st.floats(0.05, 0.99))
@settings(deadline=None, max_examples=200)
def test_a_block_of_posteriors_has_the_sets_of_each(block, level):
    starts, rows = year_starts(LONG), len(block)
    kept = Summaries(
        np.zeros((4, rows), dtype=np.int32),
        np.zeros(rows, dtype=np.int32),
        np.zeros((5, rows)),
        np.zeros((0, rows)),
        np.zeros((len(starts) - 1, rows)),
    )
    assert not len(keep_dates(kept, block, starts, level))
    for row, probabilities in enumerate(block):
        made = highest_density(probabilities, LONG, level)
        ends = made.stretches[0].first - LONG.first, made.stretches[-1].last - LONG.first
        assert (*kept.months[2:, row].tolist(), kept.stretches[row]) == (*ends, len(made.stretches))
        assert kept.numbers[1, row] == pytest.approx(made.mass, abs=1e-12)
