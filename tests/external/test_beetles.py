"""Maximum likelihood through a logistic changeover: mortality of beetles by dose.

Data of Bliss (1935), *Annals of Applied Biology* 22, 134-167, as in Dobson, *An Introduction to
Generalized Linear Models*: log10 dose, beetles exposed and killed, read in the documentation of the
R packages glmx and investr. Dobson prints the logit coefficients -60.72 and 34.27 (from memory);
to three decimals they and the deviance were recomputed with statsmodels 0.15.

A dose x stands at SCALE x months; a changeover of overlap d with middle m has the slope
SCALE 2 ln 19 / d and the intercept -m times that. SCALE makes a month a point.
"""

import csv
from math import log
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.special import xlogy

from dating.ramps import month_shares

SCALE = 10_000.0
with open(Path(__file__).parent / "data" / "bliss_beetles.csv", encoding="utf-8") as stream:
    ROWS = [[float(cell) for cell in row.values()] for row in csv.DictReader(stream)]
DOSE, N, KILLED = np.array(ROWS).T


def log_likelihood(middle, overlap, shape):
    """Of all doses, binomial constant dropped; middle and overlap in units of dose."""
    first_use = SCALE * (middle - overlap / 2 - DOSE) + 0.5
    share = month_shares(first_use, np.full(len(DOSE), SCALE * overlap), 1, shape)[:, 0]
    return (xlogy(KILLED, share) + xlogy(N - KILLED, 1 - share)).sum()


def fitted(shape):
    """Intercept, slope and deviance at the maximum."""
    made = minimize(
        lambda at: -log_likelihood(at[0], at[1], shape),
        x0=[1.78, 0.2],
        method="Nelder-Mead",
        options={"xatol": 1e-9, "fatol": 1e-10, "maxiter": 2000},
    )
    middle, overlap = made.x
    slope = 2 * log(19) / overlap
    seen = KILLED / N
    saturated = (xlogy(KILLED, seen) + xlogy(N - KILLED, 1 - seen)).sum()
    assert made.success
    return -middle * slope, slope, 2 * (saturated + made.fun)


def test_logit_coefficients_and_deviance():
    intercept, slope, deviance = fitted("logistic")
    assert intercept == pytest.approx(-60.717, abs=0.001)
    assert slope == pytest.approx(34.270, abs=0.001)
    assert deviance == pytest.approx(11.232, abs=0.001)


def test_a_linear_ramp_fits_otherwise():
    """Negative control: another shape has another deviance."""
    assert abs(fitted("linear")[2] - 11.232) > 0.1
