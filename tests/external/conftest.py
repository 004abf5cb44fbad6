"""A small invented maker written twice: as a maker file and as a Bayesian network.

The network is made of conditional probability tables alone, worked out by hand from the words
of the maker file; nothing in it comes from the package. It is solved with pgmpy 1.1. The event
has two possible dates, so that the package's draws of it fall evenly and leave no error.
"""

import warnings
from types import SimpleNamespace

import numpy as np
import pytest

from dating import Examination, Maker
from tests.certain import certain

MAKER = {
    "maker": "Ossery Lyre Works",
    "product": "lyres",
    "invented": True,
    "period": "1930-01/1930-12",
    "output": [
        {"during": "1930-01/1930-06", "made": 300},
        {"during": "1930-07/1930-12", "made": 600},
    ],
    "events": {
        "new-shop": {
            "what": "move to the new shop; two assessors, each certain of another month",
            "when": [
                {"earliest": "1930-04", "likely": "1930-04", "latest": "1930-04", "by": "A"},
                {"earliest": "1930-08", "likely": "1930-08", "latest": "1930-08", "by": "B"},
            ],
        }
    },
    "variants": {
        "states": ["plain", "concert"],
        "shares_at": {"1930-01": {"plain": 1.0}, "1930-12": {"plain": 0.45, "concert": 0.55}},
    },
    "components": {
        "neck": {
            "swapped": 0.15,
            "features": {
                "heel": {
                    "ask": "How does the neck meet the body?",
                    "states": ["dovetail", "dowelled", "screwed"],
                    "slip": 0.03,
                    "history": [
                        {"state": "dovetail"},
                        {"state": "dowelled", "first_use": "1930-03", "overlap": 4},
                        {"shares": {"dowelled": 0.3, "screwed": 0.7}, "with": "new-shop", "lag": 1},
                    ],
                },
                "nut": {
                    "ask": "What is the nut made of?",
                    "states": ["bone", "plastic"],
                    "slip": 0.02,
                    "replaced": 0.1,
                    "replacement": {"bone": 0.2, "plastic": 0.8},
                    "shares_at": {
                        "1930-01": {"bone": 0.9, "plastic": 0.1},
                        "1930-12": {"bone": 0.35, "plastic": 0.65},
                    },
                },
            },
        },
        "body": {
            "swapped": 0.08,
            "donors": [
                {"during": "1930-01/1930-04", "share": 0.7},
                {"during": "1930-05/1930-12", "share": 0.3},
            ],
            "features": {
                "binding": {
                    "ask": "What is the binding?",
                    "states": ["none", "white", "tortoise"],
                    "slip": 0.06,
                    "by_variant": {
                        "plain": {
                            "history": [
                                {"state": "none"},
                                {"state": "white", "with": "new-shop", "overlap": 2},
                            ]
                        },
                        "concert": {"shares_at": {"1930-01": {"white": 0.2, "tortoise": 0.8}}},
                    },
                },
                "label": {
                    "ask": "Which shape is the label?",
                    "states": ["round", "square"],
                    "slip": 0.01,
                    "history": [
                        {"state": "round"},
                        {"state": "square", "first_use": "1930-06-16"},
                    ],
                },
            },
        },
    },
}
MONTH = np.arange(12)
EVENT = np.array([3, 7])
VARIANTS = ["plain", "concert"]
STATES = {
    name: feature["states"]
    for component in MAKER["components"].values()
    for name, feature in component["features"].items()
}


@pytest.fixture(scope="session")
def small_network():
    """The maker, ``examine(seen)`` for an examination, and the network with its solver."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "`pgmpy.estimators", FutureWarning)
        from pgmpy.factors.discrete import TabularCPD  # noqa: PLC0415
        from pgmpy.inference import VariableElimination  # noqa: PLC0415
        from pgmpy.models import DiscreteBayesianNetwork  # noqa: PLC0415

    tables = conditional_tables()
    cards = {name: len(table) for name, (table, _) in tables.items()}
    names = {"variant": VARIANTS, **STATES}
    network = DiscreteBayesianNetwork(
        [(parent, name) for name, (_, parents) in tables.items() for parent in parents]
    )
    for name, (table, parents) in tables.items():
        states = {node: names.get(node, list(range(cards[node]))) for node in (name, *parents)}
        values = table.reshape(cards[name], -1)
        sizes = [cards[parent] for parent in parents]
        network.add_cpds(
            TabularCPD(name, cards[name], values, list(parents), sizes, state_names=states)
        )
    network.check_model()
    solver = VariableElimination(network)

    def query(*wanted, evidence=None, weights=None):
        """P(wanted | evidence), axes in the order asked for; weights are virtual evidence."""
        doubts = [
            TabularCPD(node, cards[node], np.c_[w], state_names={node: names[node]})
            for node, w in (weights or {}).items()
        ]
        found = solver.query(
            list(wanted),
            evidence=evidence or {},
            virtual_evidence=doubts or None,
            show_progress=False,
        )
        order = [found.variables.index(node) for node in wanted]
        return found.values.transpose(order)

    def examine(seen):
        return Examination.model_validate({"instrument": "O-1", "maker": "ossery", "seen": seen})

    maker = Maker.model_validate(certain(MAKER))
    return SimpleNamespace(maker=maker, states=STATES, examine=examine, query=query)


def conditional_tables():
    """Each node's table, axes (state, *parents), and the names of its parents."""
    output = np.repeat([1 / 18, 2 / 18], 6)
    concert = 0.05 * MONTH
    of_variant = np.array([1 - concert, concert])
    tables = {
        "month": (output, ()),
        "variant": (of_variant, ("month",)),
        "event": (np.array([0.5, 0.5]), ()),
        "nut replaced": (np.array([0.9, 0.1]), ()),
    }
    early_donors = np.repeat([0.7 / 4, 0.3 / 8], [4, 8])
    for part, swapped, donor in (("neck", 0.15, output), ("body", 0.08, early_donors)):
        tables |= {
            f"{part} swapped": (np.array([1 - swapped, swapped]), ()),
            f"{part} donor": (donor, ()),
            f"{part} month": (either(12), (f"{part} swapped", "month", f"{part} donor")),
        }
    tables |= {
        "donor variant": (of_variant, ("body donor",)),
        "body variant": (either(2), ("body swapped", "variant", "donor variant")),
        "heel": (heel(), ("neck month", "event")),
        "nut": (nut(), ("neck month", "nut replaced")),
        "binding": (binding(), ("body month", "body variant", "event")),
        "label": (label(), ("body month",)),
    }
    return tables


def either(size):
    """The instrument's own value when not swapped, the donor's when swapped."""
    same = np.eye(size)
    own, donor = same[:, :, None], same[:, None, :]
    return np.stack(np.broadcast_arrays(own, donor), axis=1)


def misread(shares, slip):
    return (1 - slip) * shares + slip / len(shares)


def heel():
    dowels = np.array([0, 0, 1 / 8, 3 / 8, 5 / 8, 7 / 8, 1, 1, 1, 1, 1, 1])[:, None]
    screws = 0.7 * (MONTH[:, None] >= EVENT + 1)
    shares = np.broadcast_arrays(1 - dowels, dowels * (1 - screws), dowels * screws)
    return misread(np.array(shares), 0.03)


def nut():
    bone = 0.9 - 0.05 * MONTH
    original = misread(np.array([bone, 1 - bone]), 0.02)
    later = np.broadcast_to([[0.2], [0.8]], original.shape)
    return np.stack([original, later], axis=-1)


def binding():
    since = MONTH[:, None] - EVENT
    white = np.select([since < 0, since == 0, since == 1], [0, 0.25, 0.75], 1.0)
    plain = np.array([1 - white, white, 0 * white])
    concert = np.broadcast_to(np.array([0, 0.2, 0.8])[:, None, None], plain.shape)
    return misread(np.stack([plain, concert], axis=2), 0.06)


def label():
    square = np.select([MONTH < 5, MONTH == 5], [0, 0.5], 1.0)
    return misread(np.array([1 - square, square]), 0.01)
