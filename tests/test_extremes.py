"""Evidence far beyond the range of floats, against the slow loop in decimal numbers of any size."""

from decimal import MIN_EMIN, Decimal, localcontext

import pytest

from dating import Examination, InputError, Maker, estimate, month_tables
from dating.batch import compiled, estimate_many, joint, rows
from dating.claims.instruments import joint_truth
from dating.claims.statements import Assertion
from dating.claims.strength import chance_from
from dating.evidence_cache import EvidenceCache
from tests.enumeration import Enumeration, mutual_information, normalised

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

    def _feature(self, name, part, feature, sight):
        likelihood, later = super()._feature(name, part, feature, sight)
        return decimals(likelihood), later

    def _density(self, measurement, reading):
        made, (anchor, mean) = [], next(iter(measurement.mean.items()))
        assert len(measurement.mean) == 2
        last, other = list(measurement.mean.items())[1]
        scale = Decimal(measurement.spread**2 + reading.within**2).sqrt()
        for t in self.months:
            u = Decimal(min(max(self.first + t - anchor, 0), last - anchor)) / Decimal(
                last - anchor
            )
            z = (Decimal(reading.value) - (1 - u) * Decimal(mean) - u * Decimal(other)) / scale
            made.append((-z * z / 2).exp())
        return made


@pytest.fixture(autouse=True)
def forty_digits(monkeypatch):
    monkeypatch.setattr("dating.learning.learned.POINTS", 2)
    monkeypatch.setattr("dating.learning.learned.MOST_POINTS", 2)
    with localcontext() as context:
        context.prec, context.Emin = 40, MIN_EMIN
        yield


def feature(slip, changed, overlap=0, **more):
    """A feature that changed at a month of 1950 or 1951, or so long after an event."""
    change = {"with": changed[0], "lag": changed[1]} if isinstance(changed, tuple) else {}
    change |= {} if change else {"first_use": changed}
    history = [{"state": "old"}, {"state": "new", "overlap": overlap, **change}]
    chances = {"slip": slip, "replaced": 0}
    return {"ask": "Which?", "states": ["old", "new"], **chances, "history": history, **more}


def instrument(components, period="1950-01/1951-12", documents=(), **more):
    """A maker file and an examination on which old and new states contradict each other."""
    maker = {"maker": "Example Works", "product": "lyres", "invented": True, "period": period}
    for component in components.values():
        component.setdefault("swapped", 0)
    maker |= {"components": components, **more}
    names = [(part, name) for part, c in components.items() for name in c.get("features", {})]
    seen = {name: ("old", "new")[place % 2] for place, (_, name) in enumerate(names)}
    gauges = {n: m for c in components.values() for n, m in c.get("measurements", {}).items()}
    measured = {n: {"value": m.pop("reads"), "confirmed": True} for n, m in gauges.items()}
    examination = {"instrument": "E-1", "maker": "example", "seen": seen, "measured": measured}
    examination["documents"] = list(documents)
    return Maker.model_validate(maker), Examination.model_validate(examination)


def features(count, slip, *changed, **more):
    return {f"f{slip}{n}": feature(slip, changed[n // 2 % len(changed)], **more)
            for n in range(count)}  # fmt: skip


def gauge(reads, first, last):
    mean = {"1950-01": first, "1951-12": last}
    certain = {"slip": 0, "tails": "normal"}
    return {"unit": "mm", "spread": 0.01, "mean": mean, "reads": reads, **certain}


EVENT = {"when": ["1950-04", "1950-11", "1951-08"], "what": "new works"}
OTHER = {"when": ["1950-08", "1951-01", "1951-09"], "what": "shortage"}
LATER = [{"state": "old"}, {"state": "new", "first_use": "1951-06"}]
CASES = {
    "one component": lambda: instrument(
        {"body": {"swapped": 0.05, "features": features(70, 1e-9, "1950-06", "1951-03")
            | features(6, 0.01, "1950-03", "1950-07", overlap=15)}}
    ),
    "many components": lambda: instrument(
        {f"part {n}": {"swapped": rho,
                       "features": features(m, slip, "1950-06", "1951-03", overlap=n)}
         for n, (rho, m, slip) in enumerate(((0, 300, 0.01), (0.05, 20, 0.02), (1, 20, 0.03)))}
    ),
    "only together": lambda: instrument(
        {f"part {n}": {"features": {f"x{n}": feature(1e-9, ("1950-06", "1951-03")[n % 2])}}
         for n in range(72)}
    ),
    "draws": lambda: instrument(
        {"body": {"swapped": 0.3, "features": features(16, 1e-90, ("works", 0), ("shortage", 1))},
         "neck": {"swapped": 0.05, "features": features(16, 1e-80, ("works", 8), "1950-09")}},
        events={"works": EVENT, "shortage": OTHER},
    ),
    "one event and variants": lambda: instrument(
        {"body": {"swapped": 0.3, "features": features(
            8, 1e-190, ("works", 0), by_variant={"grand": {"history": LATER}})},
         "neck": {"swapped": 0.05, "features": features(8, 1e-180, ("works", 8), "1950-09")}},
        events={"works": EVENT},
        variants={"states": ["plain", "grand"], "shares_at": {"1950-01": {"plain": 1},
                  "1951-12": {"plain": 0.5, "grand": 0.5}}},
    ),
    "tails": lambda: instrument(
        {"body": {"swapped": 0.05, "measurements": {"depth": gauge(24, 26, 27),
                                                    "width": gauge(26, 22, 23.5)}},
         "neck": {"measurements": {"length": gauge(281, 280, 279)},
                  "features": features(20, 1e-9, "1950-06")}},
        documents=[{"what": "letter", "not_after": "1950-03", "trust": 1 - 1e-12},
                   {"what": "bill", "not_before": "1951-09", "trust": 1 - 1e-12}],
    ),
}  # fmt: skip


def check(made, slow):
    """Hold all that an estimate tells against the slow loop."""
    everything = slow.evidence()
    assert everything < 2.0**-1074
    assert made.probabilities.tolist() == close(normalised(slow.by_month()))
    if made.maker.variants:
        by_variant = normalised([sum(row) for row in slow.joint()])
        assert list(made.variant_chances.values()) == close(by_variant)
    for part in list(made.maker.components)[:2]:
        assert made.originality[part] == close(slow.original(part) / everything)
        assert made.own_month(part).tolist() == close(normalised(slow.own_months(part)))
    if len(slow.pieces) > 100:  # every pair of them would be looked at
        return
    apart = sum(bits(slow.evidence([name])) for name in slow.pieces)
    assert made.conflict.bits == pytest.approx(apart - bits(everything), abs=1e-7)
    left = made.weighing.left_out
    for finding in made.findings[:: max(len(made.findings) // 3, 1)]:
        name = finding.piece.name
        rest = slow.by_month(slow.without(name))
        assert (left[name] / left[name].sum()).tolist() == close(normalised(rest))
        surprise = bits(slow.evidence([name])) + bits(sum(rest)) - bits(everything)
        assert finding.surprise == pytest.approx(surprise, abs=1e-7)
        if finding.replaced is not None:
            assert finding.replaced == close(slow.replaced(name))


def bits(value):
    return float(value.ln() / Decimal(2).ln())


@pytest.mark.parametrize("case", CASES)
def test_what_floats_cannot_hold_is_weighed_exactly(case):
    maker, examination = CASES[case]()
    check(estimate(maker, examination), Exact(maker, examination, month_tables(maker, 2)))


def test_advice_beside_evidence_that_floats_cannot_hold():
    maker, examination = CASES["draws"]()
    opened = {n: s for n, s in examination.seen.items() if not n.endswith("7")}
    examination = examination.model_copy(update={"seen": opened})
    made, slow = estimate(maker, examination), Exact(maker, examination, month_tables(maker, 2))
    given = {advice.name: advice for advice in made.advice}
    assert set(given) == set(maker.features()) - set(opened)
    for name, advice in given.items():
        by_month, by_origin = slow.answers(name)
        plain = [[float(p / slow.evidence()) for p in row] for row in by_month]
        assert advice.bits == close(mutual_information(plain))
        assert list(advice.answers.values()) == close([sum(row) for row in plain])
        origins = [[float(p / slow.evidence()) for p in row] for row in by_origin]
        assert advice.originality_bits == close(mutual_information(origins))


def test_what_is_impossible_is_named_among_what_is_only_improbable():
    components = {"body": {"features": features(70, 1e-9, "1950-06", "1951-03")}}
    components["neck"] = {"features": features(2, 0, "1950-09")}
    with pytest.raises(InputError, match=r"allows together: f00 \(old\); f01 \(new\)"):
        estimate(*instrument(components))


def test_instruments_each_of_which_rules_out_the_draws_of_the_other():
    """One is new though early, the other old though late: of the event only tails are left."""
    body = {"body": {"features": features(2, 1e-300, ("works", 0))}}
    maker, _ = instrument(body, events={"works": EVENT})
    seen = {}
    for name, state, bound in (("A", "new", {"not_after": "1950-10"}),
                               ("B", "old", {"not_before": "1951-02"})):  # fmt: skip
        data = {"instrument": name, "maker": "example"}
        data["seen"] = dict.fromkeys(maker.features(), state)
        papers = [{"what": "bill", "trust": 1, **bound}]
        seen[name] = Examination.model_validate(data | {"documents": papers})
    tables = month_tables(maker, 2)
    stock = EvidenceCache(maker, tables)
    within = {"built": {"instrument": "A", "within": "1950-01/1950-07"}}
    weighings = {name: stock.weighing(each) for name, each in seen.items()}
    chance = chance_from(*joint_truth([Assertion.model_validate(within)], weighings))
    first, second = (Exact(maker, each, tables) for each in seen.values())
    true = every = 0
    for weight, (one,), (two,) in zip(first.weights, first._by_draw(None), second._by_draw(None),
                                      strict=True):  # fmt: skip
        true += sum(one[:7]) * sum(two) / weight if weight else 0
        every += sum(one) * sum(two) / weight if weight else 0
    assert every < 2.0**-1074
    assert chance.value == close(true / every)


@pytest.mark.parametrize("add_rows", [joint.add_rows, compiled.add_rows])
@pytest.mark.parametrize("case", ["many components", "draws", "tails"])
def test_a_whole_table_agrees_with_single_estimates(case, add_rows, monkeypatch):
    monkeypatch.setattr(rows, "_add_rows", lambda: add_rows)
    monkeypatch.setattr("dating.learning.learned.POINTS", 2)
    monkeypatch.setattr("dating.learning.learned.MOST_POINTS", 2)
    maker, examination = CASES[case]()
    plain = examination.model_copy(update={"instrument": "E-2", "seen": {}, "measured": {}})
    dated = estimate_many(maker, [examination, plain, examination])
    for (_, row), seen in zip(dated.iterrows(), (examination, plain, examination), strict=True):
        made = estimate(maker, seen)
        for year, mass in zip(maker.period.years(), made.years().values, strict=True):
            assert row[f"year {year}"] == close(mass)
        for part, chance in made.originality.items():
            assert row[f"original {part}"] == close(chance)
        assert row["all_original"] == close(made.all_original)
        assert row["entropy"] == pytest.approx(made.entropy, abs=1e-9)
        assert row["standard_error"] == close(made.errors.max())
        assert row["mass"] == close(made.highest_density().mass)
        assert row["stretches"] == len(made.highest_density().stretches)
