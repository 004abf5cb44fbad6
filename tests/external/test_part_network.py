"""Old stock and a shared lag against variable elimination in a Bayesian network.

An invented maker of ten months is written a second time as conditional probability tables, worked
out by hand from the words of the guide, and solved with pgmpy 1.1, ``VariableElimination``. A
component may be swapped or from old stock, two marks share the delay of a stock, and their dates
may be misread, of a later hand or of a later part. The delay has two possible lengths and the age
of old stock two, so that nothing is left to draws.
"""

import warnings

import numpy as np
import pytest

from dating import Examination, Maker, estimate

EXACT = {"rel": 0, "abs": 1e-10}
MONTHS, MARKS = np.arange(10), np.arange(-6, 18)
"""Build months, and months that a mark may state, up to that of the examination."""
DELAYS, SWAPPED, CHANCE, LAG = (0, 2), {"body": 0.12, "chassis": 0.2}, 0.3, {"coil": 1.5, "cone": 1}
REPLACED, DOUBT = {"coil": 0.1, "cone": 0.05}, {"coil": 0.03, "cone": 0.08}
SURE = {"replaced": 0}
SHARES = {"1930-01": {"turned": 1}, "1930-10": {"turned": 0.1, "bent": 0.9}}


def _delay(months, assessor):
    return {"shortest": months, "likely": months, "longest": months, "by": assessor}


def _mark(name):
    chances = {"replaced": REPLACED[name], "doubt": DOUBT[name]}
    return {"ask": "Which month?", "precision": "month", "lag": LAG[name], "stock": "bin"} | chances


def _component(name, **more):
    return {"swapped": SWAPPED[name], **more}


MAKER = {
    "maker": "Ossery Box Works",
    "product": "amplified lyres",
    "invented": True,
    "period": "1930-01/1930-10",
    "output": [
        {"during": "1930-01/1930-05", "made": 500},
        {"during": "1930-06/1930-10", "made": 1500},
    ],
    "stocks": {"bin": {"delay": [_delay(DELAYS[0], "A"), _delay(DELAYS[1], "B")]}},
    "components": {
        "body": _component(
            "body",
            old_stock={"chance": CHANCE, "age": 2.4},
            features={
                "foot": {
                    "ask": "Which foot?",
                    "states": ["turned", "bent"],
                    "slip": 0.04,
                    "shares_at": {
                        "1930-01": {"turned": 1},
                        "1930-10": {"turned": 0.1, "bent": 0.9},
                    },
                    **SURE,
                }
            },
            marks={"coil": _mark("coil")},
        ),
        "chassis": _component("chassis", marks={"cone": _mark("cone")}),
    },
}
SEEN = [
    {},
    {"foot": "bent"},
    {"coil": "1930-04", "cone": "1930-04"},
    {"coil": "1930-04", "cone": "1930-06", "foot": "turned"},
    {"coil": "1930-01", "cone": "1930-08", "foot": "bent"},
    {"coil": "1931-02", "cone": "1930-03", "foot": "turned"},
]


def output():
    return np.repeat([1 / 20, 3 / 20], 5)


def age():
    """P(whole months | old stock) of an age of 2.4 months: built any time within a month."""
    return np.array([0.6, 0.4])


def made():
    """P(made | swapped, month, donor, old, age), the first month standing for all before it."""
    table = np.zeros((10, 2, 10, 10, 2, 2))
    for month in MONTHS:
        for donor in MONTHS:
            table[donor, 1, month, donor] = 1
            table[month, 0, month, donor, 0] = 1
            for place, months in enumerate((2, 3)):
                table[max(month - months, 0), 0, month, donor, 1, place] = 1
    return table


def own():
    """P(own month | swapped, month, donor)."""
    table = np.zeros((10, 2, 10, 10))
    for month in MONTHS:
        table[month, 0, month, :] = 1
        table[month, 1, :, month] = 1
    return table


def foot():
    bent = 0.96 * 0.1 * MONTHS + 0.02
    return np.array([1 - bent, bent])


def mark(name):
    """P(month on it | own month, delay, of which kind): of the build, of a later part, in doubt."""
    table = np.zeros((len(MARKS), 10, 2, 3))
    for month in MONTHS:
        later = np.where(month <= MARKS, 1 / (18 - month), 0)
        table[:, month, :, 1] = later[:, None]
        inside = (MARKS >= 0) & (MARKS < 10)
        table[:, month, :, 2] = (0.8 * inside / 10 + 0.2 * later)[:, None]
        for place, delay in enumerate(DELAYS):
            whole, part = divmod(LAG[name] + delay, 1)
            before = month - MARKS
            table[:, month, place, 0] = (1 - part) * (before == whole) + part * (
                before == whole + 1
            )
    return table


def kinds(name):
    later, doubt = REPLACED[name], DOUBT[name]
    return np.array([(1 - later) * (1 - doubt), later, (1 - later) * doubt])


@pytest.fixture(scope="module")
def network():
    """``ask(node, seen)`` for the answer of the network."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "`pgmpy.estimators", FutureWarning)
        from pgmpy.factors.discrete import TabularCPD  # noqa: PLC0415
        from pgmpy.inference import VariableElimination  # noqa: PLC0415
        from pgmpy.models import DiscreteBayesianNetwork  # noqa: PLC0415

    def yes(chance):
        return np.array([1 - chance, chance]), ()

    swapped = {f"{part} swapped": yes(chance) for part, chance in SWAPPED.items()}
    tables = {
        "month": (output(), ()),
        "delay": yes(0.5),
        **swapped,
        "body donor": (output(), ()),
        "chassis donor": (output(), ()),
        "old": yes(CHANCE),
        "age": (age(), ()),
        "body month": (made(), ("body swapped", "month", "body donor", "old", "age")),
        "chassis month": (own(), ("chassis swapped", "month", "chassis donor")),
        "foot": (foot(), ("body month",)),
        "coil kind": (kinds("coil"), ()),
        "cone kind": (kinds("cone"), ()),
        "coil": (mark("coil"), ("body month", "delay", "coil kind")),
        "cone": (mark("cone"), ("chassis month", "delay", "cone kind")),
    }
    cards = {name: len(table) for name, (table, _) in tables.items()}
    graph = DiscreteBayesianNetwork(
        [(parent, name) for name, (_, parents) in tables.items() for parent in parents]
    )
    graph.add_nodes_from(tables)
    for name, (table, parents) in tables.items():
        if name in LAG:  # one more state for all other dates
            rest = np.maximum(1 - table.sum(axis=0, keepdims=True), 0)
            table = np.concatenate([table, rest])  # noqa: PLW2901
            cards[name] += 1
        values = table.reshape(cards[name], -1)
        sizes = [cards[parent] for parent in parents]
        graph.add_cpds(TabularCPD(name, cards[name], values, list(parents), sizes))
    graph.check_model()
    solver = VariableElimination(graph)

    def ask(node, seen):
        places = {"turned": 0, "bent": 1}
        evidence = {
            name: places[text] if name == "foot" else _month(text) - MARKS[0]
            for name, text in seen.items()
        }
        return solver.query([node], evidence=evidence, show_progress=False).values

    return ask


def _month(text):
    year, month = map(int, text.split("-"))
    return (year - 1930) * 12 + month - 1


@pytest.fixture(scope="module", params=SEEN, ids=lambda seen: "-".join(seen.values()) or "nothing")
def both(request, network):
    """The estimate, and ``ask(node)`` for the network's answer."""
    seen = dict(request.param)
    looks = {"seen": {"foot": seen["foot"]}} if "foot" in seen else {}
    looks["marks"] = {name: text for name, text in seen.items() if name in LAG}
    data = {"instrument": "O-1", "maker": "ossery", "examined": "1931-06-30", **looks}
    dated = estimate(Maker.model_validate(MAKER), Examination.model_validate(data))
    return dated, lambda node: network(node, seen)


def test_build_month(both):
    dated, ask = both
    assert dated.probabilities == pytest.approx(ask("month"), **EXACT)


def test_components_are_original(both):
    dated, ask = both
    for part in SWAPPED:
        assert dated.originality[part] == pytest.approx(ask(f"{part} swapped")[0], **EXACT)


def test_marks_are_of_a_later_part(both):
    dated, ask = both
    replaced = {f.piece.name: f.replaced for f in dated.findings if f.replaced is not None}
    assert set(replaced) == set(dated.examination.marks)
    for name, chance in replaced.items():
        assert chance == pytest.approx(ask(f"{name} kind")[1], **EXACT)


def test_the_delay_is_felt_by_both_marks(network):
    """What one mark says of the delay bears on the other: the shared part is at work."""
    seen = {"coil": "1930-02", "cone": "1930-02", "foot": "bent"}
    assert abs(network("delay", seen)[1] - 0.5) > 0.1
