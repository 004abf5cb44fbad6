"""Corrected levels: months keep their order, and sets hold what they state."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dating.calibration.scores import scores_of
from dating.learning.levels import Correction, learned_correction

SEEDS = st.integers(0, 10**6)
FEW = settings(max_examples=25)


# Levels --------------------------------------------------------------------------------------


@FEW
@given(SEEDS, st.floats(0.3, 4), st.floats(0.3, 4))
def test_a_correction_keeps_the_order_of_months_and_the_sum(seed, first, second):
    generator = np.random.default_rng(seed)
    posterior = generator.dirichlet(np.full(20, 0.3), 5)
    held = np.sort(generator.beta(first, second, 501))
    held = np.concatenate([[0], np.cumsum(np.sort(np.diff(held, prepend=0))[::-1])])
    made = Correction(held / held[-1], 5).apply(posterior)
    assert made.sum(axis=1) == pytest.approx(1, abs=1e-12)
    order = np.argsort(-posterior, axis=1)
    assert np.diff(np.take_along_axis(made, order, axis=1), axis=1).max() <= 1e-12


@pytest.mark.parametrize("power", [0.5, 1.0])
def test_levels_are_corrected_to_what_they_held(power):
    """Dates are drawn from posteriors, which then are made too wide, or left as they are."""
    generator = np.random.default_rng(3)
    true = generator.dirichlet(np.full(12, 0.4), 3000)
    month = (true.cumsum(axis=1) < generator.random(3000)[:, None]).sum(axis=1)
    stated = true**power / (true**power).sum(axis=1, keepdims=True)
    correction = learned_correction(stated, np.eye(12)[month])
    held, after = (
        scores_of(each, np.eye(12)[month]) for each in (stated, correction.apply(stated))
    )
    for level in (0.5, 0.8, 0.9):
        assert correction.at(level) == pytest.approx(held.covered(level), abs=0.03)
        assert after.covered(level) == pytest.approx(level, abs=0.03)
    assert (abs(held.covered(0.5) - 0.5) > 0.05) == (power != 1.0)
