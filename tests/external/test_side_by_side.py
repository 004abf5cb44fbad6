"""Two instruments side by side against variable elimination in a Bayesian network.

The network of ``conftest.py`` is copied for each instrument; the copies share the date of the event
and nothing else, and what is known between the two is a node below their months. It is solved with
pgmpy 1.1, ``VariableElimination``.
"""

import warnings

import numpy as np
import pytest

from dating.succession.joint_months import JointMonths
from dating.succession.links import factors_of
from dating.succession.months_by_draw import months_by_draw
from dating.succession.pairs import pairs_of
from dating.succession.relations import Relation
from dating.tabulation import tables_of_draws, uncertain_numbers
from tests.external.conftest import EVENT, STATES, VARIANTS, conditional_tables

SEEN = ({"heel": "dowelled", "binding": "white"}, {"heel": "screwed", "label": "round"})
NAMES = ("O-1", "O-2")
TRUST = 0.8
MONTHS = 12


@pytest.fixture(scope="module")
def solver():
    """The network of both instruments with what is known between them."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "`pgmpy.estimators", FutureWarning)
        from pgmpy.factors.discrete import TabularCPD  # noqa: PLC0415
        from pgmpy.inference import VariableElimination  # noqa: PLC0415
        from pgmpy.models import DiscreteBayesianNetwork  # noqa: PLC0415

    tables = {}
    for number in (1, 2):
        for node, (table, parents) in conditional_tables().items():
            if node != "event" or number == 1:
                tables[_own(node, number)] = (table, tuple(_own(p, number) for p in parents))
    first, second = np.indices((MONTHS, MONTHS))
    holds = np.where(second - first > 0, 1.0, np.where(second == first, 0.5, 0.0))
    said = TRUST * holds + 1 - TRUST
    tables["known"] = (np.stack([said, 1 - said]), ("month 1", "month 2"))
    names = {"variant": VARIANTS, **STATES}
    cards = {node: len(table) for node, (table, _) in tables.items()}
    network = DiscreteBayesianNetwork(
        [(parent, node) for node, (_, parents) in tables.items() for parent in parents]
    )
    for node, (table, parents) in tables.items():
        states = {n: names.get(n[:-2], list(range(cards[n]))) for n in (node, *parents)}
        values = table.reshape(cards[node], -1)
        sizes = [cards[parent] for parent in parents]
        network.add_cpds(
            TabularCPD(node, cards[node], values, list(parents), sizes, state_names=states)
        )
    network.check_model()
    return VariableElimination(network)


def _own(node, number):
    return node if node == "event" else f"{node} {number}"


@pytest.fixture(params=[False, True], ids=["apart", "older"])
def both(request, solver, small_network):
    """The joint months, and P(month of the first, month of the second) of the network."""
    evidence = {
        f"{name} {number}": state
        for number, seen in enumerate(SEEN, start=1)
        for name, state in seen.items()
    }
    if request.param:
        evidence["known"] = 0
    found = solver.query(["month 1", "month 2"], evidence=evidence, show_progress=False)
    order = [found.variables.index(node) for node in ("month 1", "month 2")]
    maker = small_network.maker
    (name,) = uncertain_numbers(maker)
    tables = tables_of_draws(maker, {name: EVENT.astype(float)})
    examinations = [
        small_network.examine(seen).model_copy(update={"instrument": name})
        for name, seen in zip(NAMES, SEEN, strict=True)
    ]
    own = months_by_draw(maker, tables, examinations)
    older = {"older": {"instruments": list(NAMES)}, "source": "a letter", "trust": TRUST}
    factors = factors_of(Relation.model_validate(older), 1, maker.period) if request.param else []
    joint = JointMonths(NAMES, own, tuple(factors), np.zeros(2), least=0.0)
    return joint, found.values.transpose(order)


def test_dates(both):
    joint, right = both
    assert joint.posterior[0] == pytest.approx(right.sum(axis=1), abs=1e-10)
    assert joint.posterior[1] == pytest.approx(right.sum(axis=0), abs=1e-10)


def test_which_is_older(both):
    joint, right = both
    pairs = pairs_of(joint, joint.samples(joint.picked(8)))
    assert pairs.older[0, 1] == pytest.approx(np.triu(right, 1).sum(), abs=1e-10)
    assert pairs.older[1, 0] == pytest.approx(np.tril(right, -1).sum(), abs=1e-10)
    assert pairs.same[0, 1] == pytest.approx(np.trace(right), abs=1e-10)
