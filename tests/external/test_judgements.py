"""Judgements against published formulae, other libraries and worked elicitations.

- Keelin, T. W. (2016), "The metalog distributions", *Decision Analysis* 13(4), 243-277,
  doi:10.1287/deca.2016.0338: the three-term metalog through a symmetric-percentile triplet
  (formulae from memory, borne out by the next).
- pymetalog 0.2.2 (least squares, three terms) and SciPy 1.18 (logistic, log-logistic).
- SHELF 1.12.0, overview vignette: fits of scaled beta distributions to quartiles; refitted here
  with PreliZ 0.28.
- Genest, C. and Zidek, J. V. (1986), *Statistical Science* 1(1), 114-135,
  doi:10.1214/ss/1177013825: the linear opinion pool (from memory).
"""

import importlib
import sys
from types import ModuleType

import numpy as np
import preliz
import pytest
from scipy import optimize, stats

from dating.judgement import FEASIBLE_SKEW, Certain, metalog_through, pooled

PROBABILITIES = [0.001, 0.01, 0.05, 0.1, 0.3, 0.5, 0.8, 0.95, 0.99, 0.999]
TRIPLES = [(2.0, 5.0, 9.0), (1.0, 4.5, 12.0), (30.0, 44.0, 52.0), (10.0, 10.5, 11.0)]


def moments(judgement):
    values, weights = judgement.nodes(fine=8)
    mean = weights @ values
    return mean, weights @ (values - mean) ** 2


# The metalog


def keelin_2016(triple, alpha):
    """Coefficients of the metalog through the alpha, 1/2 and 1 - alpha quantiles."""
    low, middle, high = triple
    ratio = (middle - low) / (high - low)
    log_odds = np.log((1 - alpha) / alpha)
    a2 = (high - low) / (2 * log_odds)
    a3 = (1 - 2 * ratio) * (high - low) / ((1 - 2 * alpha) * log_odds)
    return middle, a2, a3


@pytest.mark.parametrize("coverage", [0.9, 0.8, 0.5])
@pytest.mark.parametrize("triple", TRIPLES)
def test_three_term_formulae(triple, coverage):
    judgement = metalog_through(triple, coverage)
    a1, a2, a3 = keelin_2016(triple, (1 - coverage) / 2)
    y = np.array(PROBABILITIES)
    log_odds = np.log(y / (1 - y))
    wanted = a1 + a2 * log_odds + a3 * (y - 0.5) * log_odds
    assert judgement.quantile(y) == pytest.approx(wanted, rel=1e-12)
    assert judgement.cdf(wanted) == pytest.approx(y, rel=1e-9)


@pytest.fixture
def pymetalog(monkeypatch):
    """Import pymetalog without seaborn, which it loads for pictures and does not declare."""
    monkeypatch.setitem(sys.modules, "seaborn", ModuleType("seaborn"))
    return importlib.import_module("pymetalog")


@pytest.mark.parametrize(("kind", "bound"), [("point", "u"), ("span", "sl")])
@pytest.mark.parametrize("triple", TRIPLES)
def test_second_library(pymetalog, triple, kind, bound):
    """Unbounded for points in time, bounded below at zero for spans."""
    judgement = metalog_through(triple, coverage=0.9, kind=kind)
    fitted = pymetalog.metalog(
        x=list(triple),
        probs=[0.05, 0.5, 0.95],
        boundedness=bound,
        bounds=[0] if bound == "sl" else [0, 1],
        term_limit=3,
        term_lower_bound=2,
        fit_method="OLS",
    )
    wanted = pymetalog.qmetalog(fitted, y=PROBABILITIES, term=3)
    assert judgement.quantile(PROBABILITIES) == pytest.approx(wanted, rel=1e-9)
    assert judgement.cdf(wanted) == pytest.approx(PROBABILITIES, rel=1e-9)


@pytest.mark.parametrize("low", [3.0, 30.0])
def test_a_symmetric_point_is_logistic(low):
    judgement = metalog_through((low, low + 4, low + 8), coverage=0.9)
    logistic = stats.logistic(low + 4, 4 / np.log(19))
    x = np.linspace(low - 10, low + 20, 61)
    assert judgement.quantile(PROBABILITIES) == pytest.approx(logistic.ppf(PROBABILITIES))
    assert judgement.cdf(x) == pytest.approx(logistic.cdf(x), rel=1e-9)
    assert judgement.mean() == pytest.approx(logistic.mean())


def test_a_span_symmetric_in_its_logarithm_is_log_logistic():
    judgement = metalog_through((2.0, 6.0, 18.0), coverage=0.9, kind="span")
    fisk = stats.fisk(np.log(19) / np.log(3), scale=6)
    x = np.linspace(0.1, 60, 61)
    assert judgement.quantile(PROBABILITIES) == pytest.approx(fisk.ppf(PROBABILITIES))
    assert judgement.cdf(x) == pytest.approx(fisk.cdf(x), rel=1e-9)
    assert judgement.mean() == pytest.approx(fisk.mean(), rel=1e-6)


def test_the_limit_of_feasibility():
    """|a3| / a2 < 1.66711 (Keelin 2016), found again as the least skew with a zero density."""

    def pull(y):
        return (y - 0.5) + y * (1 - y) * np.log(y / (1 - y))

    limit = 1 / -optimize.minimize_scalar(pull, bounds=(1e-6, 0.5), method="bounded").fun
    assert limit == pytest.approx(1.66711, abs=5e-6)
    assert limit == pytest.approx(FEASIBLE_SKEW, abs=5e-6)


@pytest.mark.parametrize("coverage", [0.9, 0.8, 0.5])
@pytest.mark.parametrize("side", [0, 1])
def test_feasible_up_to_the_limit_and_no_further(coverage, side):
    """The likely value's place r is feasible for k < r < 1 - k, k = (1 - 1.66711 (1/2 - a)) / 2."""
    k = (1 - 1.66711 * (0.5 - (1 - coverage) / 2)) / 2
    inside, outside = abs(side - k - 1e-4), abs(side - k + 1e-4)
    y = np.linspace(1e-4, 1 - 1e-4, 2001)
    assert (np.diff(metalog_through((0, inside, 1), coverage).quantile(y)) > 0).all()
    assert not metalog_through((0, inside, 1), coverage).halves
    assert metalog_through((0, outside, 1), coverage).halves
    a1, a2, a3 = keelin_2016((0, outside, 1), (1 - coverage) / 2)
    log_odds = np.linspace(-12, 12, 4001)
    skewed = a1 + (a2 + a3 * (1 / (1 + np.exp(-log_odds)) - 0.5)) * log_odds
    assert (np.diff(skewed) <= 0).any()


@pytest.mark.parametrize("triple", [(0, 1, 11), (0, 10.5, 11)])
def test_two_halves_are_halves_of_logistic_distributions(triple):
    """Against scipy.stats.logistic on either side of the median."""
    halves = metalog_through(triple)
    low, likely, high = triple
    spread = np.log(0.95 / 0.05)
    left = stats.logistic(likely, (likely - low) / spread)
    right = stats.logistic(likely, (high - likely) / spread)
    below, above = np.linspace(low - 3, likely, 60), np.linspace(likely, high + 30, 60)
    assert halves.cdf(below) == pytest.approx(left.cdf(below), abs=1e-12)
    assert halves.cdf(above) == pytest.approx(right.cdf(above), abs=1e-12)
    mean = left.expect(lb=-200, ub=likely) + right.expect(lb=likely, ub=400)
    assert halves.mean() == pytest.approx(mean, abs=1e-7)


# Worked elicitations


def shelf(quartiles):
    """Fit a scaled beta distribution on [0, 100] to quartiles, as SHELF does."""
    return preliz.quartile(preliz.BetaScaled(lower=0, upper=100), *quartiles, plot=False)


@pytest.mark.filterwarnings(r"ignore:\s*The expected masses:UserWarning")
@pytest.mark.parametrize(("kind", "apart"), [("point", 0.03), ("span", 0.016)])
def test_expert_a_keeps_nearly_the_published_belief(kind, apart):
    """SHELF 1.12.0, overview vignette: quartiles 25, 30, 35 as a beta(11.588, 26.7114).

    Other families, same quartiles: the distribution functions part by at most 0.03. A metalog
    is logistic here, with heavier tails than a beta, so it says a little less.
    """
    published = shelf((25, 30, 35))
    assert (published.alpha, published.beta) == pytest.approx((11.588, 26.7114), rel=1e-4)
    judgement = metalog_through((25, 30, 35), coverage=0.5, kind=kind)
    x = np.linspace(1, 99, 981)
    assert np.abs(judgement.cdf(x) - published.cdf(x)).max() < apart
    assert judgement.quantile(0.01) < published.ppf(0.01)
    assert judgement.quantile(0.99) > published.ppf(0.99)


@pytest.mark.filterwarnings(r"ignore:\s*The expected masses:UserWarning")
def test_expert_b_is_too_skewed_for_a_point():
    """SHELF 1.12.0, overview vignette: quartiles 30, 35, 50 as a beta(3.7651, 6.0008).

    That beta bends the quartiles, to 27.6, 37.7 and 48.7. A metalog never does: with 25 % and
    75 % at 30 and 50 it needs r > 0.2916; so as a point it is in two halves.
    """
    published = shelf((30, 35, 50))
    assert (published.alpha, published.beta) == pytest.approx((3.7651, 6.0008), rel=1e-4)
    assert published.ppf([0.25, 0.5, 0.75]) == pytest.approx([27.6, 37.7, 48.7], abs=0.06)
    halves = metalog_through((30, 35, 50), coverage=0.5)
    assert halves.halves
    assert halves.quantile([0.25, 0.5, 0.75]) == pytest.approx([30, 35, 50], abs=1e-12)
    judgement = metalog_through((30, 35, 50), coverage=0.5, kind="span")
    assert judgement.quantile([0.25, 0.5, 0.75]) == pytest.approx([30, 35, 50])


@pytest.mark.filterwarnings(r"ignore:\s*The expected masses:UserWarning")
def test_the_consensus():
    """SHELF 1.12.0: consensus quartiles 25, 30, 40, published beta with 5 % and 95 % at 15.2, 51.2.

    The beta misses the quartiles by up to 1.3; the metalog has them exactly and puts the skew
    into the tails, so both its outer quantiles lie above the published ones.
    """
    published = shelf((25, 30, 40))
    assert published.ppf([0.05, 0.95]) == pytest.approx([15.2, 51.2], abs=0.05)
    judgement = metalog_through((25, 30, 40), coverage=0.5)
    assert judgement.quantile([0.25, 0.5, 0.75]) == pytest.approx([25, 30, 40])
    assert published.ppf([0.25, 0.5, 0.75]) == pytest.approx([25, 30, 40], abs=1.3)
    assert (judgement.quantile([0.05, 0.95]) > [15.2, 51.2]).all()


def test_quartiles_of_a_proportion():
    """SHELF 1.12.0, Dirichlet vignette: quartiles .50, .55, .60 give Beta(24.88927, 20.4087)."""
    published = stats.beta(24.88927, 20.4087)
    judgement = metalog_through((0.50, 0.55, 0.60), coverage=0.5)
    x = np.linspace(0, 1, 1001)
    assert np.abs(judgement.cdf(x) - published.cdf(x)).max() < 0.03


def test_pert_keeps_its_mean_and_nearly_its_spread():
    """Beta-PERT 1926, 1930, 1942 is 1926 + 16 Beta(2, 4): mean 1931.333, sd 2.851.

    PERT's own three values are a mode and two hard ends, not quantiles; the judgement runs
    through the 5 %, 50 % and 95 % quantiles of the distribution they stand for.
    """
    pert = stats.beta(2, 4, loc=1926, scale=16)
    triple = pert.ppf([0.05, 0.5, 0.95])
    assert triple == pytest.approx([1927.22, 1931.02, 1936.52], abs=0.005)
    mean, variance = moments(metalog_through(tuple(triple), coverage=0.9))
    assert mean == pytest.approx(1931.333, abs=0.02)
    assert np.sqrt(variance) == pytest.approx(2.851, rel=0.02)


# Pooling


@pytest.fixture
def two_assessors():
    """N(1928, 2^2) and N(1934, 4^2), each by its 5 %, 50 % and 95 % quantiles."""
    normals = [stats.norm(1928, 2), stats.norm(1934, 4)]
    members = [metalog_through(tuple(normal.ppf([0.05, 0.5, 0.95]))) for normal in normals]
    return pooled(members, [1, 1]), normals


def test_linear_pool_of_two_normals(two_assessors):
    """The pool has mean 1931.0 and variance 19.0: (4 + 16) / 2 within, 9 between the assessors.

    A metalog stands for each normal, and a logistic with the same 5 % and 95 % quantiles has
    1.027 times its variance; so the part within grows by that factor and 9 stays.
    """
    pool, normals = two_assessors
    mean, variance = moments(pool)
    logistic = (np.pi * stats.norm.ppf(0.95) / (np.sqrt(3) * np.log(19))) ** 2
    assert pool.mean() == pytest.approx(1931.0)
    assert mean == pytest.approx(1931.0)
    assert variance == pytest.approx(9 + 10 * logistic, rel=1e-4)
    assert variance == pytest.approx(19.0, rel=0.015)
    x = np.linspace(1915, 1950, 701)
    mixture = np.mean([normal.cdf(x) for normal in normals], axis=0)
    assert np.abs(pool.cdf(x) - mixture).max() < 0.012


def test_the_pool_is_linear_and_not_logarithmic(two_assessors):
    """Only assessor B allows years past 1937, so the pool's 95 % is B's 90 %: 1939.1.

    The logarithmic pool of the same two, of mean 1929.2 and variance 6.4, has 1933.4.
    """
    pool, (_, later) = two_assessors
    assert pool.quantile(0.95) == pytest.approx(later.ppf(0.9), abs=0.25)


def test_quantiles_of_the_pool(two_assessors):
    pool, _ = two_assessors
    assert pool.cdf(pool.quantile(PROBABILITIES)) == pytest.approx(PROBABILITIES, rel=1e-9)


def test_pooled_chances_of_a_happening():
    """Chances .9 and .6 pool to .75: that the changeover had begun by 1931."""
    sure = metalog_through((1926, 1929, 1931), coverage=0.8)
    doubtful = metalog_through((1930.5, 1930.75, 1931), coverage=0.2)
    assert sure.cdf(1931) == pytest.approx(0.9)
    assert doubtful.cdf(1931) == pytest.approx(0.6)
    assert pooled([sure, doubtful], [1, 1]).cdf(1931) == pytest.approx(0.75)
    assert pooled([sure, doubtful], [2, 1]).cdf(1931) == pytest.approx(0.8)


def test_certain_assessors_pool_to_a_mixture_of_points():
    pool = pooled([Certain(1928.0), Certain(1934.0)], [1, 1])
    assert moments(pool) == pytest.approx((1931.0, 9.0))
    assert pool.cdf([1927.9, 1928, 1933.9, 1934]).tolist() == [0, 0.5, 0.5, 1]
