"""The estimate against a naive Bayes classifier with months as classes.

Without swaps, slips, replacements and uncertain changeovers the model is naive Bayes. The
reference is scikit-learn 1.9, ``CategoricalNB``, fitted on a weighted census of the production:
every month with every combination of states, weighted by how many were made so.
"""

from itertools import product

import numpy as np
import pytest
from sklearn.naive_bayes import CategoricalNB

from dating import Examination, Maker, estimate
from dating.months import Period
from tests.certain import certain

PERIOD = Period.parse("1931-01/1932-12")
STATES = {
    "bridge": ["ebony", "maple", "walnut"],
    "tuners": ["open", "closed"],
    "cord": ["silk", "cotton", "nylon", "gut"],
}
COMPONENTS = {"bridge": "body", "cord": "body", "tuners": "head"}
COMBINATIONS = list(product(*STATES.values()))


@pytest.fixture(scope="module")
def shares():
    """P(state | month) by feature, shape (month, state), and the output, shape (month,)."""
    generator = np.random.default_rng(20)
    made = {
        name: generator.dirichlet(np.ones(len(states)), size=len(PERIOD))
        for name, states in STATES.items()
    }
    return made, generator.integers(20, 200, size=len(PERIOD))


@pytest.fixture(scope="module")
def maker(shares):
    tables, output = shares
    components = {part: {"features": {}} for part in COMPONENTS.values()}
    for name, states in STATES.items():
        by_month = zip(PERIOD.labels(), tables[name].tolist(), strict=True)
        components[COMPONENTS[name]]["features"][name] = {
            "ask": f"Which {name}?",
            "states": states,
            "shares_at": {month: dict(zip(states, row, strict=True)) for month, row in by_month},
        }
    made = [
        {"during": month, "made": count}
        for month, count in zip(PERIOD.labels(), output.tolist(), strict=True)
    ]
    return Maker.model_validate(
        certain(
            {
                "maker": "Brill and Daughters",
                "product": "bowed zithers",
                "invented": True,
                "period": str(PERIOD),
                "output": made,
                "components": components,
            }
        )
    )


@pytest.fixture(scope="module")
def classifier(shares):
    """Fitted on one row for each month and combination of states."""
    tables, output = shares
    codes = np.array(list(product(*[range(len(states)) for states in STATES.values()])))
    joint = np.ones((len(PERIOD), len(codes)))
    for column, table in enumerate(tables.values()):
        joint *= table[:, codes[:, column]]
    months = np.repeat(np.arange(len(PERIOD)), len(codes))
    weights = (output[:, None] * joint).ravel()
    return CategoricalNB(alpha=1e-12, force_alpha=True).fit(
        np.tile(codes, (len(PERIOD), 1)), months, sample_weight=weights
    )


def test_every_combination_of_states(maker, classifier):
    for seen, row in ((dict(zip(STATES, each, strict=True)), each) for each in COMBINATIONS):
        codes = [[STATES[name].index(state) for name, state in seen.items()]]
        examination = {"instrument": "B-1", "maker": "brill", "seen": seen}
        made = estimate(maker, Examination.model_validate(examination))
        wanted = classifier.predict_proba(codes)[0]
        assert made.probabilities == pytest.approx(wanted, rel=0, abs=1e-9), row


def test_nothing_seen_gives_the_classes_prior(maker, classifier):
    made = estimate(maker, Examination.model_validate({"instrument": "B-2", "maker": "brill"}))
    assert made.probabilities == pytest.approx(np.exp(classifier.class_log_prior_), abs=1e-12)
