"""The free distribution of a threshold against published estimates from censored data.

Cells here are intervals (k - 1, k] between whole numbers, open on the left and closed on the right,
and so are the censoring intervals of the sources; the last cell is everything beyond the largest
number. Some programs take both ends as closed and return other masses from the same rows.

* Fay, M. P. and Shaw, P. A. (2010), *Journal of Statistical Software* 36(2), 1-34: the appendix has
  an estimate in rational numbers, section 4.1 the masses of the cosmesis data. Its log likelihood
  of -7.552945 was recomputed with numpy.
* Breast cosmesis: Finkelstein and Wolfe (1985), *Biometrics* 41, 933-945 (pages from memory);
  data from the R package MLEcens. The log likelihoods were recomputed with numpy.
* Menopause, current status by age: MacMahon and Worcestor (1966); Krailo and Pike (1983),
  *American Journal of Epidemiology* 117, 356-361; data from the R package MLEcens. No published
  estimate is known to us. It must equal weighted isotonic regression (Groeneboom and Wellner 1992,
  from memory), here scikit-learn's; the spot values were recomputed with numpy.
"""

import csv
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from sklearn.isotonic import IsotonicRegression

from dating.learning.thresholds import free_threshold

DATA = Path(__file__).parent / "data"


def rows_of(name):
    with open(DATA / name, encoding="utf-8") as stream:
        return list(csv.DictReader(stream))


def allowed_cells(rows, cells):
    """Which cells (k - 1, k], k from 1, lie within each interval (left, right]."""
    left = np.array([float(row["left_open"]) for row in rows])[:, None]
    right = np.array([float(row["right_closed"] or np.inf) for row in rows])[:, None]
    ends = np.arange(1, cells + 1)
    return ((ends > left) & (ends <= right)).astype(float)


def within(mass, intervals):
    """Mass in each interval (left, right]."""
    return np.array([mass[left:right].sum() for left, right in intervals])


def log_likelihood(allowed, mass):
    return np.log(allowed @ mass).sum()


def test_exact_rational_masses():
    """Two sevenths on (2, 3] and on (5, 6], three fourteenths on (9, 10] and on (10, 12]."""
    allowed = allowed_cells(rows_of("fay_shaw_example1.csv"), cells=14)
    mass = free_threshold(allowed, np.ones(len(allowed)))
    exact = [Fraction(2, 7), Fraction(2, 7), Fraction(3, 14), Fraction(3, 14)]
    found = within(mass, [(2, 3), (5, 6), (9, 10), (10, 12)])
    assert found == pytest.approx([float(share) for share in exact], abs=1e-9)
    assert mass.sum() == pytest.approx(1, abs=1e-12)
    assert log_likelihood(allowed, mass) == pytest.approx(-7.552945, abs=1e-6)


COSMESIS = {
    "Rad": (
        {
            (4, 5): 0.0463, (6, 7): 0.0334, (7, 8): 0.0887, (11, 12): 0.0708, (24, 25): 0.0926,
            (33, 34): 0.0818, (38, 40): 0.1209, (46, 48): 0.4656,
        },
        -58.06002,
    ),
    "RadChem": (
        {
            (4, 5): 0.0433, (5, 8): 0.0433, (11, 12): 0.0692, (16, 17): 0.1454, (18, 19): 0.1411,
            (19, 20): 0.1157, (24, 25): 0.0999, (30, 31): 0.0709, (35, 36): 0.1608,
            (44, 48): 0.0552, (48, 60): 0.0552,
        },
        -65.63696,
    ),
}  # fmt: skip


@pytest.mark.parametrize("group", COSMESIS)
def test_breast_cosmesis(group):
    published, likelihood = COSMESIS[group]
    rows = [row for row in rows_of("cosmesis.csv") if row["group"] == group]
    allowed = allowed_cells(rows, cells=61)
    mass = free_threshold(allowed, np.ones(len(rows)))
    assert within(mass, published) == pytest.approx(list(published.values()), abs=6e-5)
    assert log_likelihood(allowed, mass) == pytest.approx(likelihood, abs=1e-5)


def test_closed_left_ends_give_other_masses():
    """Negative control: the same rows with both ends closed."""
    published, _ = COSMESIS["Rad"]
    rows = [row for row in rows_of("cosmesis.csv") if row["group"] == "Rad"]
    for row in rows:
        row["left_open"] = float(row["left_open"]) - 1
    mass = free_threshold(allowed_cells(rows, cells=61), np.ones(len(rows)))
    assert np.abs(within(mass, published) - list(published.values())).max() > 0.002


def test_current_status_is_weighted_isotonic_regression():
    """A woman has reached menopause, of whatever cause, when her threshold is at most her age."""
    rows = rows_of("menopause_current_status.csv")
    ages = np.array([float(row["age_mid"]) for row in rows])
    reached = np.array([float(row["operative"]) + float(row["natural"]) for row in rows])
    total = np.array([float(row["n"]) for row in rows])
    assert total.sum() == 2423
    by_then = np.arange(len(ages) + 1) <= np.arange(len(ages))[:, None]
    allowed = np.vstack([by_then, ~by_then]).astype(float)
    weights = np.concatenate([reached, total - reached])
    mass = free_threshold(allowed[weights > 0], weights[weights > 0])
    curve = np.cumsum(mass)[:-1]
    isotonic = IsotonicRegression().fit_transform(ages, reached / total, sample_weight=total)
    assert curve == pytest.approx(isotonic, abs=1e-6)
    spots = {35.5: 0.0682, 36.5: 0.0682, 38.5: 0.1319, 41.5: 0.1319, 42.5: 0.2217, 44.5: 0.2217,
             48.5: 0.4625, 49.5: 0.5909}  # fmt: skip
    found = [curve[ages == age].item() for age in spots]
    assert found == pytest.approx(list(spots.values()), abs=6e-5)
