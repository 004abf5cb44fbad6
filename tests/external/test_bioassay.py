"""A logistic changeover as a published dose-response curve.

Bioassay data of Racine, Grieve, Fluehler and Smith (1986), *Applied Statistics* 35, 93-150 (from
memory), as in Gelman et al. (2013), *Bayesian Data Analysis*, third edition, section 3.7 (from
memory); data read in the repository avehtari/Bayesian-Workflow, ``bioassay/bioassay.R``. Deaths
y ~ Binomial(n, 1 / (1 + exp(-(alpha + beta x)))) at log dose x.

* Log likelihood at (alpha, beta) = (3, 9), binomial constant dropped: -9.49154, from
  ``test-bioassay.R`` in the repository avehtari/BDA_course_Aalto.
* Means and standard deviations of alpha and beta under a flat prior on the book's box
  (-5, 10) x (-10, 40), and quantiles of the midpoint m = -alpha / beta given beta > 0 (which has a
  probability of 0.999996): recomputed with numpy on a grid of 1500 x 2500 points. m has no finite
  moments, so nothing is said of its mean.

A dose x stands at SCALE x months. A changeover passes 5 % at its first use and 95 % an overlap
later, so beta = SCALE 2 ln 19 / overlap, and its midpoint is half an overlap after its first use.
SCALE is so large that a month is a point: averaging over it moves no share by more than 1e-5. Each
dose is put at the middle of the one month that is worked out, by shifting the first use.
"""

import csv
from math import log
from pathlib import Path

import numpy as np
import pymc as pm
import pytensor.tensor as pt
import pytest
from scipy.special import xlog1py, xlogy

from dating.learning.model import ramp_shares
from dating.ramps import month_shares

SCALE = 1000.0
MIDPOINT = {0.025: -0.2758, 0.05: -0.2438, 0.5: -0.1118, 0.95: 0.0502, 0.975: 0.1035}
MEANS, DEVIATIONS = [1.313, 11.613], [1.100, 5.711]
TOLERANCE = 0.005
with open(Path(__file__).parent / "data" / "bda3_bioassay.csv", encoding="utf-8") as stream:
    ROWS = [[float(cell) for cell in row.values()] for row in csv.DictReader(stream)]
DOSE, N, DEATHS = np.array(ROWS).T


def changeover(alpha, beta):
    """First use and overlap, in months, of the curve alpha + beta x."""
    overlap = SCALE * 2 * log(19) / beta
    return SCALE * -alpha / beta - overlap / 2, overlap


def log_likelihood(alpha, beta, shape="logistic"):
    """Of the four doses, with shares from the project's own ramp; binomial constant dropped."""
    first_use, overlap = changeover(alpha, beta)
    total = 0.0
    for dose, n, deaths in zip(DOSE, N, DEATHS, strict=True):
        share = month_shares(first_use - SCALE * dose + 0.5, overlap, 1, shape)[..., 0]
        total = total + xlogy(deaths, share) + xlog1py(n - deaths, -share)
    return total


def grid(shape="logistic"):
    """Cell middles over the box with beta > 0, and their posterior weights under a flat prior."""
    alpha = -5 + 15 * (np.arange(600) + 0.5) / 600
    beta = 40 * (np.arange(800) + 0.5) / 800
    both = np.array([axis.ravel() for axis in np.meshgrid(alpha, beta)])
    total = log_likelihood(*both, shape)
    weight = np.exp(total - total.max())
    return both, weight / weight.sum()


def midpoint_quantiles(both, weight):
    midpoint = -both[0] / both[1]
    order = np.argsort(midpoint)
    return np.interp(list(MIDPOINT), np.cumsum(weight[order]), midpoint[order])


def test_log_likelihood_at_a_published_point():
    assert float(log_likelihood(np.array(3.0), np.array(9.0))) == pytest.approx(-9.49154, abs=1e-5)


def test_posterior_by_a_grid():
    both, weight = grid()
    mean = both @ weight
    assert mean == pytest.approx(MEANS, abs=0.002)
    assert np.sqrt((both - mean[:, None]) ** 2 @ weight) == pytest.approx(DEVIATIONS, abs=0.002)
    found = midpoint_quantiles(both, weight)
    assert found == pytest.approx(list(MIDPOINT.values()), abs=TOLERANCE)


def test_a_linear_ramp_does_not_agree():
    """Negative control: the same grid with the other shape of changeover."""
    found = midpoint_quantiles(*grid("linear"))
    assert np.abs(found - list(MIDPOINT.values())).max() > 3 * TOLERANCE


def sampled():
    """Draws of alpha and beta through the graph of the project's ramps."""
    with pm.Model():
        alpha = pm.Uniform("alpha", -5, 10)
        beta = pm.Uniform("beta", 0, 40)
        first_use, overlap = changeover(alpha, beta)
        starts = first_use - SCALE * DOSE + 0.5
        logistic = np.full(len(DOSE), True)
        shares = ramp_shares(starts, pt.tile(overlap, len(DOSE)), logistic, 1)[:, 0]
        pm.Binomial("deaths", n=N, p=pt.clip(shares, 1e-9, 1 - 1e-9), observed=DEATHS)
        draws = pm.sample(
            draws=10_000,
            tune=1_000,
            chains=4,
            cores=2,
            target_accept=0.9,
            random_seed=1,
            progressbar=False,
            nuts_sampler="nutpie",
        )
    assert int(draws["sample_stats"]["diverging"].sum()) == 0
    return [draws["posterior"][name].values.ravel() for name in ("alpha", "beta")]


@pytest.mark.long
@pytest.mark.filterwarnings("ignore::FutureWarning", "ignore::UserWarning")
def test_posterior_by_sampling():
    """Some 25,000 effective draws: three standard errors are 0.02, 0.1, and 0.004 for quantiles."""
    alpha, beta = sampled()
    inner = [0.05, 0.5, 0.95]
    found = np.quantile(-alpha / beta, inner)
    assert found == pytest.approx([MIDPOINT[p] for p in inner], abs=TOLERANCE)
    assert alpha.mean() == pytest.approx(MEANS[0], abs=0.03)
    assert beta.mean() == pytest.approx(MEANS[1], abs=0.15)
    assert [alpha.std(), beta.std()] == pytest.approx(DEVIATIONS, rel=0.03)
