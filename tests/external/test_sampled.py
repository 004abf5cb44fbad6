"""The estimate against a plain probabilistic program, sampled with PyMC 6.4.

One invented instrument: three features that share an uncertain event, two of them on a neck that
may have been swapped. The program samples the date of the event (a slice sampler, since ramps
have corners) and sums over the build month, so each posterior draw carries a posterior over
months; their mean is compared with the estimate. Tolerance: four standard errors, of the sampler
in each month (ArviZ 1.3) and of the estimate in its worst month.
"""

import logging

import arviz as az
import numpy as np
import pymc as pm
import pytest

from dating import Examination, Maker, estimate
from tests.certain import certain

MONTHS = 36
SPREAD = 6.0
"""The event: likely at month 18, 5 % and 95 % six months either side."""
OVERLAP = 4.0
SWAPPED = 0.2
FEATURES = {
    # component, months after the event, slip, whether the new state was seen
    "heel": ("neck", 0, 0.02, True),
    "nut": ("neck", 3, 0.03, False),
    "label": ("body", -2, 0.02, True),
}


def maker(shared):
    """The maker file; unshared, each changeover has a first use with the event's judgement."""
    components = {"neck": {"swapped": SWAPPED, "features": {}}, "body": {"features": {}}}
    for name, (part, lag, slip, _) in FEATURES.items():
        own = {"earliest": 12.0 + lag, "likely": 18.0 + lag, "latest": 24.0 + lag}
        first_use = {key: 1930 * 12 + value for key, value in own.items()}
        comes = {"with": "new-shop", "lag": lag} if shared else {"first_use": first_use}
        components[part]["features"][name] = {
            "ask": f"Which {name}?",
            "states": ["old", "new"],
            "slip": slip,
            "history": [{"state": "old"}, {"state": "new", **comes, "overlap": OVERLAP}],
        }
    when = {"earliest": "1931-01", "likely": "1931-07", "latest": "1932-01"}
    return Maker.model_validate(
        certain(
            {
                "maker": "Ossery Lyre Works",
                "product": "lyres",
                "invented": True,
                "period": "1930/1932",
                "events": {"new-shop": {"what": "move to the new shop", "when": when}},
                "components": components,
            }
        )
    )


def dated(shared):
    seen = {name: "new" if new else "old" for name, (*_, new) in FEATURES.items()}
    examination = {"instrument": "O-2", "maker": "ossery", "seen": seen}
    return estimate(maker(shared), Examination.model_validate(examination))


@pytest.fixture(scope="module")
def sampled():
    """Posterior mean of P(month | event) and its Monte-Carlo standard error, shape (month,)."""
    logging.getLogger("pymc").setLevel(logging.ERROR)
    month = np.arange(MONTHS)
    with pm.Model():
        event = pm.Logistic("event", mu=18, s=SPREAD / np.log(19))

        def area(x):
            """The ramp's integral up to x months after its start."""
            inside = pm.math.clip(x, 0, OVERLAP)
            return inside**2 / (2 * OVERLAP) + pm.math.maximum(x - OVERLAP, 0)

        likelihood = {"neck": 1.0, "body": 1.0}
        for part, lag, slip, new in FEATURES.values():
            start = event + lag
            share = area(month + 1 - start) - area(month - start)
            recorded = share if new else 1 - share
            likelihood[part] *= (1 - slip) * recorded + slip / 2
        neck = (1 - SWAPPED) * likelihood["neck"] + SWAPPED * likelihood["neck"].mean()
        joint = neck * likelihood["body"] / MONTHS
        pm.Potential("seen", pm.math.log(joint.sum()))
        pm.Deterministic("by month", joint / joint.sum())
        draws = pm.sample(
            draws=5000,
            tune=500,
            chains=4,
            cores=1,
            step=pm.Slice(),
            random_seed=7,
            progressbar=False,
        )
    assert float(az.ess(draws)["event"]) > 10_000
    assert float(az.rhat(draws)["event"]) < 1.01
    by_month = draws.posterior["by month"]
    return by_month.mean(("chain", "draw")).values, az.mcse(draws)["by month"].values


def distance(made, sampled):
    """The largest difference of a month, in units of the tolerance."""
    mean, error = sampled
    return np.max(np.abs(made.probabilities - mean) / (4 * np.hypot(error, made.errors.max())))


@pytest.mark.long
def test_the_shared_event_agrees_with_the_sampler(sampled):
    made = dated(shared=True)
    assert made.tables.draws > 1
    assert distance(made, sampled) < 1


@pytest.mark.long
def test_treating_the_event_as_independent_does_not(sampled):
    """Negative control: the same judgements, one for each feature."""
    made = dated(shared=False)
    assert made.tables.draws == 1
    assert distance(made, sampled) > 5


def test_the_tolerance_is_fine_enough_to_tell(sampled):
    mean, error = sampled
    assert mean.sum() == pytest.approx(1)
    assert 0 < error.max() < 0.001
