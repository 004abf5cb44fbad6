"""Sobol points against SciPy's, and their scrambling."""

import numpy as np
import pytest
from scipy.stats import kstest, qmc

from dating import Examination, Maker, estimate
from dating.draws import MOST_NUMBERS, scrambled_sobol, sobol

UNCERTAIN = ["1931-02", "1931-09", "1932-06"]


def in_gray_code_order(points):
    index = np.arange(len(points))
    return points[index ^ (index >> 1)]


def test_points_are_those_of_scipy_bit_for_bit():
    assert MOST_NUMBERS == 64
    theirs = qmc.Sobol(MOST_NUMBERS, scramble=False, bits=30).random(1024)
    assert (in_gray_code_order(sobol(MOST_NUMBERS, 1024)) == theirs).all()


@pytest.mark.parametrize("numbers", [1, 7, 64])
@pytest.mark.parametrize("points", [1, 32, 256])
def test_each_replicate_has_one_point_in_every_stratum(numbers, points):
    draws = scrambled_sobol(numbers, points, replicates=3, seed=5)
    assert draws.shape == (3 * points, numbers)
    for replicate in draws.reshape(3, points, numbers):
        strata = np.sort(np.floor(replicate * points), axis=0)
        assert (strata == np.arange(points)[:, None]).all()


def test_first_two_numbers_fill_every_elementary_rectangle():
    draws = scrambled_sobol(2, 64, replicates=1, seed=9)
    for across in (2, 4, 8, 16, 32):
        cells = np.floor(draws * [across, 64 // across]).astype(int)
        assert len({tuple(cell) for cell in cells}) == 64


def test_scrambled_points_are_uniform_and_inside_the_open_cube():
    draws = scrambled_sobol(3, 1, replicates=2000, seed=2)
    assert draws.min() > 0
    assert draws.max() < 1
    for column in draws.T:
        assert kstest(column, "uniform").pvalue > 1e-3


def test_replicates_are_independent_and_the_seed_settles_them():
    first, again, other = (scrambled_sobol(4, 16, 4, seed) for seed in (1, 1, 2))
    assert (first == again).all()
    assert (first != other).all()
    assert len(np.unique(first)) == first.size


def test_means_converge_faster_than_by_chance():
    """Error of the mean of a smooth function: far below 1 / sqrt(1024) times its spread."""
    draws = scrambled_sobol(5, 1024, replicates=8, seed=3)
    means = np.prod(2 * draws, axis=1).reshape(8, 1024).mean(axis=1)
    assert means.mean() == pytest.approx(1, abs=0.01)
    assert means.std() < 0.02
    assert means.std() > 0


def test_no_numbers_give_points_without_coordinates():
    assert scrambled_sobol(0, 4, 2, seed=1).shape == (8, 0)


@pytest.mark.parametrize("points", [0, 3, 100, -4])
def test_points_must_be_a_power_of_two(points):
    with pytest.raises(ValueError, match=f"power of two, found {points}"):
        scrambled_sobol(2, points, 1, seed=1)


def test_too_many_numbers_are_refused():
    with pytest.raises(ValueError, match=r"at most 64 .* found 65"):
        scrambled_sobol(65, 8, 1, seed=1)


def feature_with(*events):
    """A feature whose states come one after the other, each with an event."""
    history = [{"state": "old"}, *({"state": event, "with": event} for event in events)]
    states = ["old", *events]
    return {"ask": "Which?", "states": states, "slip": 0.01, "history": history}


def dated(events, seed):
    """Date an instrument of which two features came with each of some events."""
    features = {f"{e} {n}": feature_with(e) for e in events for n in ("first", "second")}
    maker = Maker.model_validate(
        {
            "maker": "Example Works",
            "product": "lyres",
            "period": "1930/1933",
            "events": {e: {"what": "move", "when": when} for e, when in events.items()},
            "components": {"body": {"features": features}},
        }
    )
    seen = {name: name.split()[0] for name in features}
    examination = {"instrument": "E-1", "maker": "example", "seen": seen}
    return estimate(maker, Examination.model_validate(examination), seed=seed)


def moved_works(seed, when=UNCERTAIN):
    """Two shared numbers, which are drawn."""
    return dated({"works": when, "tools": when}, seed)


def test_one_shared_number_is_summed_over_and_not_drawn(monkeypatch):
    """To the tails: a rule sixteen times as fine changes no month by a hundredth of it."""
    made, again = (dated({"works": UNCERTAIN}, seed) for seed in (1, 2))
    assert np.array_equal(made.probabilities, again.probabilities)
    assert made.tables.weights.sum() == pytest.approx(1)
    assert 0 < made.errors.max() < 1e-3
    monkeypatch.setattr("dating.learning.learned.POINTS", 256)
    fine = dated({"works": UNCERTAIN}, 1)
    assert fine.tables.draws > 15 * made.tables.draws
    assert made.probabilities == pytest.approx(fine.probabilities, rel=1e-2)
    assert np.abs(made.probabilities - fine.probabilities).max() < 1e-4


def test_the_standard_error_is_that_of_the_spread_over_seeds():
    made = [moved_works(seed) for seed in range(40)]
    spread = np.std([one.probabilities for one in made], axis=0, ddof=1)
    stated = np.sqrt(np.mean([one.errors**2 for one in made], axis=0))
    assert spread.max() > 1e-5
    moved = spread > 0.2 * spread.max()
    assert moved.sum() > 5
    ratio = stated[moved] / spread[moved]
    assert 0.75 < np.sqrt(np.mean(ratio**2)) < 1.35
    assert ratio.min() > 0.5
    assert ratio.max() < 2


def test_assessors_who_are_certain_of_different_dates_leave_no_error():
    """Both dates are in both rules: the sum over them is exact, and says so."""
    when = [dict.fromkeys(("earliest", "likely", "latest"), d) for d in ("1931-03", "1932-06")]
    made = dated({"works": when}, seed=1)
    assert made.converged
    assert made.errors.max() < 1e-12
    assert sorted(set(made.tables.shared["works"])) == [14, 29]


def test_without_shared_uncertainty_nothing_is_drawn():
    first, second = (moved_works(seed, when="1931-09") for seed in (1, 2))
    assert first.tables.draws == 1
    assert (first.errors == 0).all()
    assert (first.probabilities == second.probabilities).all()
