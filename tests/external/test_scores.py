"""Scores and bands against published formulae and against scoringrules, scipy and ArviZ.

CRPS: Gneiting, T. and Raftery, A. E. (2007). Strictly proper scoring rules, prediction, and
estimation. *Journal of the American Statistical Association* 102(477), 359-378: equation 21 gives
E|X - x| - E|X - X'| / 2 (there with the opposite sign), and the closed form for a normal. Values of
scoringrules 0.11 are asked for when the test runs.

Bands: central 95 % of the binomial distribution; the figures are computed from its definition with
Python's own integers, and from scipy 1.18.

Ranks: Saeilynoja, T., Buerkner, P.-C. and Vehtari, A. (2022). Graphical test for discrete
uniformity and its applications in goodness-of-fit evaluation and multiple sample comparison.
*Statistics and Computing* 32:32. doi:10.1007/s11222-022-10090-6; bands of ArviZ 1.3.
"""

from fractions import Fraction
from math import comb, erf, exp, pi, sqrt

import numpy as np
import pytest
import scoringrules

from dating.calibration.scores import scores_of
from dating.calibration.verdict import compared
from tests.calibrating import dated_as, six_ramps

FINE = 1000
"""Cells for each unit of the continuous variable."""


def crps(density, low, high, truth):
    """CRPS of a density cut into cells, each with its mass in its middle."""
    middles = low + (np.arange(round((high - low) * FINE)) + 0.5) / FINE
    mass = density(middles)
    window = np.zeros(len(middles))
    window[round((truth - low) * FINE)] = 1.0
    return scores_of((mass / mass.sum())[None], window[None]).crps[0] / FINE


@pytest.mark.parametrize(
    ("truth", "published"), [(0.0, 0.233695), (1.0, 0.602441), (2.0, 1.452792)]
)
def test_crps_of_a_normal(truth, published):
    """The closed form of Gneiting and Raftery (2007), and scoringrules."""
    below, density = 0.5 * (1 + erf(truth / sqrt(2))), exp(-(truth**2) / 2) / sqrt(2 * pi)
    closed = truth * (2 * below - 1) + 2 * density - 1 / sqrt(pi)
    assert closed == pytest.approx(published, abs=5e-7)
    assert scoringrules.crps_normal(truth, 0.0, 1.0) == pytest.approx(closed, abs=1e-12)
    made = crps(lambda x: np.exp(-(x**2) / 2), -8.0, 8.0, truth)
    assert made == pytest.approx(closed, abs=1e-3)


def test_crps_of_an_even_distribution():
    """From 0 to 1: x^2 - x + 1/3, by integrating (F - 1[x <= t])^2."""
    closed = 0.3**2 - 0.3 + 1 / 3
    assert closed == pytest.approx(0.123333, abs=5e-7)
    assert scoringrules.crps_uniform(0.3, 0.0, 1.0) == pytest.approx(closed, abs=1e-12)
    assert crps(np.ones_like, 0.0, 1.0, 0.3) == pytest.approx(closed, abs=1e-3)


def test_crps_of_a_discrete_distribution():
    """Every truth under one distribution, with E|X - x| - E|X - X'| / 2."""
    chance, cell = np.array([0.1, 0.2, 0.4, 0.2, 0.1]), np.arange(5)
    apart = np.abs(np.subtract.outer(cell, cell))
    formula = apart @ chance - chance @ apart @ chance / 2
    assert formula == pytest.approx([1.4, 0.6, 0.2, 0.6, 1.4])
    made = scores_of(np.repeat(chance[None], 5, axis=0), np.eye(5)).crps
    assert made == pytest.approx(formula, abs=1e-12)


@pytest.mark.parametrize("months", [3, 24, 227])
def test_crps_of_any_posterior_is_that_of_its_months_with_weights(months):
    """Scoringrules scores an ensemble; here its members are the months."""
    generator = np.random.default_rng(months)
    posterior = generator.dirichlet(np.full(months, 0.3), size=50)
    truth = generator.integers(months, size=50)
    members = np.repeat(np.arange(float(months))[None], 50, axis=0)
    peer = scoringrules.crps_ensemble(truth, members, ens_w=posterior, estimator="nrg")
    made = scores_of(posterior, np.eye(months)[truth]).crps
    assert made == pytest.approx(peer, abs=1e-10)


def binomial_band(count, level):
    """The smallest numbers with at least 2.5 % and 97.5 % of a binomial distribution below."""
    chance, total, ends = Fraction(level), Fraction(0), []
    for held in range(count + 1):
        total += comb(count, held) * chance**held * (1 - chance) ** (count - held)
        while len(ends) < 2 and total >= (Fraction("0.025"), Fraction("0.975"))[len(ends)]:
            ends.append(held / count)
    return tuple(ends)


@pytest.fixture(scope="module")
def any_corpus(tmp_path_factory):
    return six_ramps(tmp_path_factory.mktemp("any"), 10, 1)[1]


def compared_with(any_corpus, count):
    even = np.full((count, 60), 1 / 60)
    months = np.random.default_rng(3).integers(60, size=count)
    return compared(any_corpus, None, dated_as(any_corpus, even, months))


@pytest.mark.parametrize(
    ("count", "level", "computed"),
    [
        (100, "0.8", (0.72, 0.88)),
        (1000, "0.5", (0.469, 0.531)),
        (1000, "0.8", (0.775, 0.824)),
        (1000, "0.9", (0.881, 0.918)),
    ],
)
def test_bands_of_coverage_are_exactly_binomial(any_corpus, count, level, computed):
    assert binomial_band(count, level) == pytest.approx(computed, abs=1e-12)
    covered = {c.level: c for c in compared_with(any_corpus, count).groups.overall.coverage}
    made = covered[float(level)]
    assert (made.low, made.high) == pytest.approx(computed, abs=1e-12)


def test_the_band_of_ranks_holds_even_ranks_together(any_corpus):
    """Of even samples about 95 % lie within the band at every point."""
    made = compared_with(any_corpus, 200)
    points, generator, inside = made.ranks, np.random.default_rng(8), 0
    for _ in range(2000):
        sample = np.sort(generator.random(200))
        reached = np.searchsorted(sample, points, side="right") / 200
        inside += ((reached >= made.low) & (reached <= made.high))[1:-1].all()
    assert inside / 2000 == pytest.approx(0.95, abs=0.025)
    assert made.reached[1:-1] == pytest.approx(
        [(made.scores.rank <= point).mean() for point in points[1:-1]], abs=1e-12
    )
