"""Evidence far beyond the range of floats, against the slow loop in decimal numbers of any size."""

from decimal import MIN_EMIN, Decimal, localcontext
from math import log

import pytest

from dating import Examination, InputError, Maker, estimate, month_tables
from tests.enumeration import Enumeration, normalised

WITHIN = 1e-10


def close(expected):
    plain = [float(v) for v in expected] if isinstance(expected, list) else float(expected)
    return pytest.approx(plain, abs=WITHIN, rel=0)


def decimals(values):
    """Turn all numbers in nested lists into decimals, exactly."""
    return [decimals(v) for v in values] if isinstance(values, list) else Decimal(values)


class Exact(Enumeration):
    """The slow loop with forty digits and no bounds on exponents."""

    def __init__(self, maker, examination, tables):
        super().__init__(maker, examination, tables)
        self.weights, self.output = decimals(self.weights), decimals(self.output)
        self.variant_shares = decimals(self.variant_shares)
        self.swapped = {name: Decimal(rho) for name, rho in self.swapped.items()}
        self.donors = {name: decimals(donor) for name, donor in self.donors.items()}
        self.later = {name: Decimal(later) for name, later in self.later.items()}
        self.pieces = {n: (part, decimals(made)) for n, (part, made) in self.pieces.items()}

    def _density(self, measurement, reading):
        made, (anchor, mean) = [], next(iter(measurement.mean.items()))
        assert len(measurement.mean) == 2
        last, other = list(measurement.mean.items())[1]
        scale = Decimal(measurement.spread**2 + reading.within**2).sqrt()
        for t in self.months:
            u = Decimal(min(max(self.first + t - anchor, 0), last - anchor)) / Decimal(last - anchor)
            z = (Decimal(reading.value) - (1 - u) * Decimal(mean) - u * Decimal(other)) / scale
            made.append((-z * z / 2).exp())
        return made


@pytest.fixture(autouse=True)
def forty_digits(monkeypatch):
    monkeypatch.setattr("dating.estimates.POINTS", 2)
    monkeypatch.setattr("dating.estimates.MOST_POINTS", 2)
    with localcontext() as context:
        context.prec, context.Emin = 40, MIN_EMIN
        yield


def feature(slip, changed, overlap=0, **more):
    """A feature that changed at a month of 1950 or 1951, or so long after an event."""
    change = {"with": changed[0], "lag": changed[1]} if isinstance(changed, tuple) else {}
    change |= {} if change else {"first_use": changed}
    history = [{"state": "old"}, {"state": "new", "overlap": overlap, **change}]
    return {"ask": "Which?", "states": ["old", "new"], "slip": slip, "history": history, **more}


def instrument(components, period="1950-01/1951-12", documents=(), **more):
    """A maker file and an examination on which old and new states contradict each other."""
    maker = {"maker": "Example Works", "product": "lyres", "invented": True, "period": period}
    maker |= {"components": components, **more}
    names = [(part, name) for part, c in components.items() for name in c.get("features", {})]
    seen = {name: ("old", "new")[place % 2] for place, (_, name) in enumerate(names)}
    measured = {n: m.pop("reads") for c in components.values() for n, m in
                c.get("measurements", {}).items()}  # fmt: skip
    examination = {"instrument": "E-1", "maker": "example", "seen": seen, "measured": measured}
    examination["documents"] = list(documents)
    return Maker.model_validate(maker), Examination.model_validate(examination)


def many(count, slip, *changed, **more):
    return {f"f{slip}{n}": feature(slip, changed[n // 2 % len(changed)], **more)
            for n in range(count)}  # fmt: skip


def gauge(reads, first, last):
    mean = {"1950-01": first, "1951-12": last}
    return {"unit": "mm", "spread": 0.01, "mean": mean, "reads": reads}


EVENT = {"when": ["1950-04", "1950-11", "1951-08"], "what": "new works"}
OTHER = {"when": ["1950-08", "1951-01", "1951-09"], "what": "shortage"}
LATER = [{"state": "old"}, {"state": "new", "first_use": "1951-06"}]
CASES = {
    "one component": lambda: instrument(
        {"body": {"swapped": 0.05, "features": many(70, 1e-9, "1950-06", "1951-03")
            | many(6, 0.01, "1950-03", "1950-07", overlap=15)}}
    ),
    "many components": lambda: instrument(
        {f"part {n}": {"swapped": rho, "features": many(m, slip, "1950-06", "1951-03", overlap=1)}
         for n, (rho, m, slip) in enumerate(((0, 300, 0.01), (0.05, 20, 0.02), (1, 20, 0.03)))}
    ),
    "only together": lambda: instrument(
        {f"part {n}": {"features": {f"x{n}": feature(1e-9, ("1950-06", "1951-03")[n % 2])}}
         for n in range(72)}
    ),
    "draws": lambda: instrument(
        {"body": {"swapped": 0.3, "features": many(16, 1e-90, ("works", 0), ("shortage", 1))},
         "neck": {"swapped": 0.05, "features": many(16, 1e-80, ("works", 8), "1950-09")}},
        events={"works": EVENT, "shortage": OTHER},
    ),
    "one event and variants": lambda: instrument(
        {"body": {"swapped": 0.3, "features": many(
            8, 1e-190, ("works", 0), by_variant={"grand": {"history": LATER}})},
         "neck": {"swapped": 0.05, "features": many(8, 1e-180, ("works", 8), "1950-09")}},
        events={"works": EVENT},
        variants={"states": ["plain", "grand"], "shares_at": {"1950-01": {"plain": 1},
                  "1951-12": {"plain": 0.5, "grand": 0.5}}},
    ),
    "tails": lambda: instrument(
        {"body": {"swapped": 0.05, "measurements": {"depth": gauge(24, 26, 27),
                                                    "width": gauge(26, 22, 23.5)}},
         "neck": {"measurements": {"length": gauge(281, 280, 279)},
                  "features": many(20, 1e-9, "1950-06")}},
        documents=[{"what": "letter", "not_after": "1950-03", "trust": 1 - 1e-12},
                   {"what": "bill", "not_before": "1951-09", "trust": 1 - 1e-12}],
    ),
}  # fmt: skip


@pytest.fixture(params=CASES)
def both(request):
    maker, examination = CASES[request.param]()
    slow = Exact(maker, examination, month_tables(maker, 2))
    assert slow.evidence() < 2.0**-1074
    return estimate(maker, examination), slow


def test_what_underflows_is_dated_exactly(both):
    made, slow = both
    assert made.probabilities.tolist() == close(normalised(slow.by_month()))
    joint = slow.joint()
    assert list(made.variant_chances.values()) == close(
        normalised([sum(row) for row in joint]) if made.maker.variants else []
    )
    for part in list(made.maker.components)[:3]:
        assert made.originality[part] == close(slow.original(part) / slow.evidence())
