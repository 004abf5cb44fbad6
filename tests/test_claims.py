"""Claims of every kind agree with slow loops and with large simulations."""

import random
import warnings
from dataclasses import replace
from functools import cache
from itertools import product
from math import isclose, prod, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dating import Examination, InputError, Maker, estimate
from dating.advice import information_bits
from dating.claims.counts import chance_between, chance_of_none
from dating.claims.evidence import Evidence
from dating.claims.files import Manuscript
from dating.claims.further_evidence import _papers_on_instruments, _stated_by
from dating.claims.instruments import _over_pairs, joint_truth
from dating.claims.production import Production
from dating.claims.statements import Assertion, Claims
from dating.claims.strength import DrawChance, chance_from, factor_from
from dating.claims.truth import chance_true, needs_tables, quantity
from dating.claims.weighing import weigh_manuscript
from dating.evidence_cache import EvidenceCache
from dating.learning.learned import learned_tables
from dating.learning.levels import Correction
from dating.learning.prior import prior_draws
from dating.succession.run import compare
from tests.claims_enumeration import (
    MONTHS,
    Instrument,
    Told,
    dated_claims,
    invented_data,
    joint_of,
    month,
    numbers_made,
    poisson_binomial,
    simulated,
    states_of,
    stretch,
)

SEEDS = range(12)
EXACT = 1e-9


@cache
def production_of(seed, certain=False):
    """Give data, maker and all draws of the judgements of one invented maker."""
    data = invented_data(seed, certain)
    maker = Maker.model_validate(data)
    return data, maker, Production(maker, prior_draws(maker))


def few_of(seed, count, certain=False):
    data, maker, production = production_of(seed, certain)
    return data, maker, production.thinned(count)


def told(data, production):
    drawn = dict(zip(production.draws.numbers, production.draws.values.T, strict=True))
    return Told(data, drawn, production.draws.shares.tolist())


def saying(said):
    return Assertion.model_validate(said)


def combinations(data, rng, count=6):
    """Invent combinations of states, some of one variant."""
    states = states_of(data)
    grades = [None, *states.get("variants", [])]
    made = []
    for _ in range(count):
        features = rng.sample(list(states), rng.choice([1, 1, 2]))
        wanted = {f: rng.sample(states[f], rng.choice([1, 1, 2])) for f in features}
        made.append((wanted, rng.choice(grades)))
    return made


# Dates


@pytest.mark.parametrize("seed", SEEDS)
def test_dates_draw_by_draw(seed):
    data, _, production = few_of(seed, 256)
    slow = told(data, production)
    said = dated_claims(data, random.Random(seed))
    assert len(said) > 3
    for claim in said:
        fast = chance_true(saying(claim), production)
        assert not needs_tables(saying(claim))
        assert fast.tolist() == [slow.chance(claim, n) for n in slow.draws], claim


@pytest.mark.parametrize("seed", SEEDS)
def test_dates_against_a_simulation_of_the_judgements(seed):
    count = 3000
    data, _, production = production_of(seed)
    slow = Told(data, simulated(data, count, seed))
    said = dated_claims(data, random.Random(seed + 100))
    drawn = len(production.draws.values)
    for claim in random.Random(seed).sample(said, min(6, len(said))):
        fast = chance_true(saying(claim), production).mean()
        seen = np.mean([slow.chance(claim, n) for n in slow.draws])
        p = (fast * drawn + seen * count + 1) / (drawn + count + 2)
        error = sqrt(p * (1 - p) * (1 / drawn + 1 / count))
        assert abs(fast - seen) < 4 * error, claim


def test_the_simulation_meets_chances_that_are_neither_none_nor_all():
    """Otherwise the two tests above would compare noughts with noughts."""
    chances, kinds = [], {}
    for seed in SEEDS:
        data, _, production = production_of(seed)
        said = dated_claims(data, random.Random(seed + 100))
        chances += [chance_true(saying(claim), production).mean() for claim in said]
        for claim in said:
            ((kind, what),) = claim.items()
            kinds.setdefault(kind, set()).update(key for key, value in what.items() if value)
    bounds = {"feature", "state", "variant", "within", "not_before", "not_after"}
    assert kinds == {
        "first_use": bounds,
        "last_use": bounds,
        "changed_first": {"earlier", "later", "by"},
        "overlap": {"changeover", "shorter_than"},
    }
    assert sum(0.05 < chance < 0.95 for chance in chances) > len(chances) / 4


def test_a_lead_of_nothing_is_no_lead_unless_it_is_asked_for_in_months():
    """Two changeovers with one event and no lag start together: neither came before the other."""
    data = invented_data(0, certain=True)
    features = data["components"]["neck"]["features"]
    features["joint"]["history"] = [{"state": "one"}, {"state": "two", "with": "new works"}]
    features["nut"]["history"] = [{"state": "bone"}, {"state": "plastic", "with": "new works"}]
    maker = Maker.model_validate(data)
    production = Production(maker, prior_draws(maker).thinned(4))
    ways = [{"feature": "joint", "to": "two"}, {"feature": "nut", "to": "plastic"}]
    for earlier, later in (ways, ways[::-1]):
        order = {"earlier": earlier, "later": later}
        assert chance_true(saying({"changed_first": order}), production).tolist() == [0] * 4
    features["nut"]["history"][1]["lag"] = -2.5
    maker = Maker.model_validate(data)
    production = Production(maker, prior_draws(maker).thinned(4))
    order = {"earlier": ways[1], "later": ways[0]}
    for by, holds in ((0, 1), (2.5, 1), (2.6, 0)):
        told_order = saying({"changed_first": order | {"by": by}})
        assert chance_true(told_order, production).tolist() == [holds] * 4
    assert quantity(saying({"changed_first": order}), production).tolist() == [2.5] * 4


def test_of_all_variants_the_first_use_is_the_earliest_and_the_last_the_latest():
    """A state goes out where the changeover after it is over, here 0.75 months after its start."""
    data = with_grades(steady("1931-07"), "rising")
    feature = data["components"]["neck"]["features"]["joint"]
    del feature["history"]
    feature["states"] = ["old", "new", "late"]
    feature["by_variant"] = {
        grade: {
            "history": [
                {"state": "old"},
                {"state": "new", "first_use": came},
                {"state": "late", "first_use": went},
            ]
        }
        for grade, came, went in (
            ("plain", "1931-07", "1932-02"),
            ("concert", "1931-10", "1932-08"),
        )
    }
    maker = Maker.model_validate(data)
    production = Production(maker, prior_draws(maker).thinned(4))
    for variant, came, went in ((None, 6, 19.75), ("plain", 6, 13.75), ("concert", 9, 19.75)):
        use = {"feature": "joint", "state": "new", "variant": variant, "within": "1931"}
        for kind, expected in (("first_use", came), ("last_use", went)):
            assert quantity(saying({kind: use}), production).tolist() == [expected] * 4


# Shares


@pytest.mark.parametrize("seed", SEEDS)
def test_the_chance_of_a_combination_in_every_month(seed):
    data, _, production = few_of(seed, 8)
    slow, rng = told(data, production), random.Random(seed)
    inside = production.tables.output > 0
    for states, variant in combinations(data, rng, 4):
        fast = production.chance_of(states, variant)
        for n, t in product(slow.draws, np.flatnonzero(inside)):
            expected = slow.chance_of(states, variant, n, int(t))
            assert fast[n, t] == pytest.approx(expected, abs=1e-9)
        assert not fast[:, ~inside].any()


@pytest.mark.parametrize("seed", SEEDS)
def test_shares_of_production_draw_by_draw(seed):
    data, _, production = few_of(seed, 8)
    slow, rng = told(data, production), random.Random(seed)
    made = production.weights()
    for states, variant in combinations(data, rng):
        first, last = 3, rng.randint(8, 20)
        share = {"states": states, "variant": variant, "during": stretch(first, last)}
        at_least, tolerance = rng.choice([0.05, 0.3, 0.6]), rng.choice([0.05, 0.4])
        held = []
        for n in slow.draws:
            months = range(first, last + 1)
            among = [made[n, t] * slow.among(variant, n, t) for t in months]
            with_states = [
                among[t - first] * slow.combination(states, variant, n, t)
                if variant
                else made[n, t] * slow.chance_of(states, None, n, t)
                for t in months
            ]
            held.append(sum(with_states) / sum(among) if sum(among) else np.nan)
        held = np.array(held)
        said = saying({"share": share | {"at_least": at_least}})
        assert needs_tables(said)
        assert quantity(said, production) == pytest.approx(held, abs=1e-9, nan_ok=True)
        if not np.isnan(held).any():
            same(said, production, held >= at_least)
            said = saying({"share": share | {"was": "none", "tolerance": tolerance}})
            same(said, production, held <= tolerance)
            said = saying({"share": share | {"was": "all", "tolerance": tolerance}})
            same(said, production, held >= 1 - tolerance)


def same(said, production, expected):
    assert chance_true(said, production).tolist() == np.asarray(expected, float).tolist()


@pytest.mark.parametrize("seed", SEEDS)
def test_strict_shares_of_a_certain_maker(seed):
    """Not one instrument is excepted: a product over all that were made."""
    data, _, production = few_of(seed, 4, certain=True)
    slow, rng, made = told(data, production), random.Random(seed), numbers_made(data)
    assert production.numbers() == pytest.approx(np.array([made] * 4))
    for states, variant in combinations(data, rng, 12):
        if variant is not None:
            continue
        first = rng.randint(0, 12)
        last = rng.randint(first + 4, MONTHS - 1)
        chances = [slow.chance_of(states, None, 0, t) for t in range(first, last + 1)]
        numbers = made[first : last + 1]
        none = prod((1 - c) ** m for c, m in zip(chances, numbers, strict=True) if m)
        every = prod(c**m for c, m in zip(chances, numbers, strict=True) if m)
        share = {"states": states, "during": stretch(first, last)}
        for was, expected in (("none", none), ("all", every)):
            fast = chance_true(saying({"share": share | {"was": was}}), production)
            assert fast == pytest.approx([expected] * 4, rel=1e-6, abs=1e-12)


def test_a_certain_maker_has_strict_shares_of_chance_none_and_all():
    """States change outright, and in some months nothing was made: no nought times infinity."""
    data = steady("1931-07-01")
    for output in data["output"]:
        output["made"] = 40
    maker = Maker.model_validate(data)
    production = Production(maker, prior_draws(maker).thinned(4))
    cases = {
        (0, 5): (0.0, 1.0),  # before the change: all of the old state
        (10, 12): (1.0, 0.0),  # after it, production pausing in part of the stretch
        (0, 12): (0.0, 0.0),
    }
    for (first, last), (every_new, every_old) in cases.items():
        for state, expected in (("new", every_new), ("old", every_old)):
            share = {"states": {"joint": state}, "during": stretch(first, last)}
            with warnings.catch_warnings():
                warnings.simplefilter("error")
                every = chance_true(saying({"share": share | {"was": "all"}}), production)
                other = {"joint": "old" if state == "new" else "new"}
                none = saying({"share": share | {"was": "none", "states": other}})
                assert every.tolist() == [expected] * 4
                assert chance_true(none, production).tolist() == [expected] * 4


def steady(first_use):
    """Give a certain maker of one feature, whose production pauses for two months."""
    return {
        "maker": "Example Works",
        "product": "lyres",
        "invented": True,
        "period": stretch(0, MONTHS - 1),
        "output": [
            {"during": stretch(0, 10), "made": 44},
            {"during": stretch(13, 23), "made": 44},
        ],
        "components": {
            "neck": {
                "swapped": 0.2,
                "features": {
                    "joint": {
                        "ask": "Which?",
                        "states": ["old", "new"],
                        "slip": 0.02,
                        "history": [{"state": "old"}, {"state": "new", "first_use": first_use}],
                    }
                },
            }
        },
    }


def with_grades(data, concert):
    """Add two variants whose shares have no doubt: a table between pure anchors."""
    plain, other = {"rising": ("1930-12", "1933-01"), "late": ("1932-01", "1932-12")}[concert]
    anchors = {plain: {"plain": 1}, other: {"concert": 1}}
    return data | {"variants": {"states": ["plain", "concert"], "shares_at": anchors}}


def test_a_strict_share_of_one_variant_counts_the_instruments_of_that_variant():
    """P(none of the m instruments is both) = (1 - P(variant) P(state | variant)) ** m."""
    data = with_grades(steady("1931-01"), "rising")
    maker = Maker.model_validate(data)
    production = Production(maker, prior_draws(maker).thinned(4))
    share = {"states": {"joint": "new"}, "variant": "concert", "during": stretch(2, 4)}
    expected = prod((1 - (t + 1) / 25) ** 4 for t in (2, 3, 4))
    fast = chance_true(saying({"share": share | {"was": "none"}}), production)
    assert fast == pytest.approx([expected] * 4, rel=1e-6)


@pytest.mark.parametrize("of_variant", [False, True])
def test_where_nothing_was_made_a_tolerance_makes_no_difference(of_variant):
    data = with_grades(steady("1931-01"), "late" if of_variant else "rising")
    data["output"][0]["made"] = 44 if of_variant else 0
    maker = Maker.model_validate(data)
    production = Production(maker, prior_draws(maker).thinned(4))
    share = {"states": {"joint": "new"}, "during": stretch(0, 5)}
    share |= {"variant": "concert"} if of_variant else {}
    outright, mostly = (
        chance_true(saying({"share": share | {"was": "none", "tolerance": part}}), production)
        for part in (0, 0.1)
    )
    assert outright.tolist() == mostly.tolist()


# Numbers


@pytest.mark.parametrize("seed", SEEDS)
def test_numbers_made_by_a_certain_maker(seed):
    """Close only where certain and uncertain months do not mix; see the distribution below."""
    data, _, production = few_of(seed, 4, certain=True)
    slow, rng, made = told(data, production), random.Random(seed), numbers_made(data)
    for states, variant in combinations(data, rng):
        chances = [slow.chance_of(states, variant, 0, t) for t in range(MONTHS)]
        mean = sum(c * m for c, m in zip(chances, made, strict=True))
        said = {"states": states, "variant": variant}
        between = [max(0, round(mean * 0.9)), round(mean * 1.1)]
        number = saying({"made": said | {"between": between}})
        assert quantity(number, production) == pytest.approx([mean] * 4, rel=1e-6)
        fast = chance_true(number, production)
        exact = distribution(made, chances)
        expected = sum(exact[between[0] : between[1] + 1])
        assert fast == pytest.approx([expected] * 4, abs=0.02)


def distribution(made, chances):
    return poisson_binomial(
        [c for c, m in zip(chances, made, strict=True) for _ in range(round(m))]
    )


@pytest.mark.parametrize("between", [[0, 3], [9, 17], [17, 17], [17.2, 22.9], [30, 60]])
def test_numbers_in_a_stretch_of_whole_numbers_of_instruments(between):
    """The change falls in the middle of a stretch; four instruments a month."""
    data = with_grades(steady("1931-07-16"), "rising")
    maker = Maker.model_validate(data)
    production = Production(maker, prior_draws(maker).thinned(4))
    slow, made = told(data, production), numbers_made(data)
    said = {"states": {"joint": "new"}, "variant": "concert", "during": stretch(3, 15)}
    chances = [
        slow.chance_of({"joint": ["new"]}, "concert", 0, t) if 3 <= t <= 15 else 0
        for t in range(MONTHS)
    ]
    exact = distribution(made, chances)
    expected = sum(p for k, p in enumerate(exact) if between[0] <= k <= between[1])
    fast = chance_true(saying({"made": said | {"between": between}}), production)
    assert fast == pytest.approx([expected] * 4, abs=0.02)


def test_about_is_between_and_a_share_of_the_number_to_either_side():
    data, _, production = few_of(1, 4, certain=True)
    feature, states = next(iter(states_of(data).items()))
    said = {"states": {feature: states[0]}}
    for about, part in ((20, 0.5), (33, 0.1)):
        fast = saying({"made": said | {"about": about, "give_or_take": part}})
        ends = [about - about * part, about + about * part]
        other = saying({"made": said | {"between": ends}})
        assert fast.content.ends() == pytest.approx(tuple(ends))
        assert chance_true(fast, production) == pytest.approx(chance_true(other, production))


def test_survivors_are_a_share_of_what_was_made():
    data = steady("1930-12")
    maker = Maker.model_validate(data)
    production = Production(maker, prior_draws(maker))
    points = {"lowest": 0.1, "likely": 0.25, "highest": 0.5}
    said = {"states": {"joint": "new"}, "survival": points}
    chances = chance_true(saying({"made": said | {"between": [0, 22]}}), production)
    rng = np.random.default_rng(5)
    count = 40_000
    spread = np.log([p / (1 - p) for p in points.values()])
    uniform = rng.uniform(1e-9, 1 - 1e-9, count)
    odds = np.log(uniform / (1 - uniform))
    ends = spread[2] - spread[0]
    half, skew = np.log(19), 1 - 2 * (spread[1] - spread[0]) / ends
    log_odds = spread[1] + (ends / (2 * half) + skew * ends / (0.9 * half) * (uniform - 0.5)) * odds
    survived = rng.binomial(88, 1 / (1 + np.exp(-log_odds)))
    seen = np.mean(survived <= 22)
    error = sqrt(seen * (1 - seen) / count + chances.var() / len(chances))
    assert chances.mean() == pytest.approx(seen, abs=4 * error)


@pytest.mark.parametrize("states", ["new", ["new", "old"]])
def test_output_that_is_judged_is_drawn_from_its_judgement(states):
    data = steady("1930-12")
    data["output"][0]["made"] = [20, 60, 150]
    maker = Maker.model_validate(data)
    production = Production(maker, prior_draws(maker))
    judged = maker.output[0].made.distribution()
    made = production.numbers()[:, :11].sum(axis=1)
    for p in (0.05, 0.3, 0.5, 0.95):
        error = sqrt(p * (1 - p) / len(made))
        assert np.mean(made <= judged.quantile(p)) == pytest.approx(p, abs=4 * error)
    said = saying(
        {"made": {"states": {"joint": states}, "during": stretch(0, 10), "between": [0, 60]}}
    )
    assert chance_true(said, production).mean() == pytest.approx(0.5, abs=4 * 0.5 / 64)


# The distribution of numbers


@pytest.mark.parametrize(("made", "chance"), [(7, 0.3), (40, 0.05), (25, 0.999), (1, 0.5)])
def test_numbers_of_equal_chance_are_binomial(made, chance):
    exact = poisson_binomial([chance] * made)
    parts = np.array([[made // 2, made - made // 2]], dtype=float)
    for low in range(made + 1):
        for high in range(low, made + 1):
            for ends in ((low, high), (low - 0.3, high + 0.7)):
                fast = chance_between(*ends, parts, np.full((1, 2), chance))
                assert fast == pytest.approx([sum(exact[low : high + 1])], abs=1e-9)


@pytest.mark.parametrize("seed", SEEDS)
def test_numbers_of_small_chances(seed):
    rng = np.random.default_rng(seed)
    made, chance = rng.integers(0, 30, (1, 12)), rng.uniform(0, 0.02, (1, 12))
    exact = distribution(made[0].tolist(), chance[0].tolist())
    for low, high in ((0, 0), (1, 3), (2, 2), (4, 300)):
        fast = chance_between(low, high, made.astype(float), chance)
        assert fast == pytest.approx([sum(exact[low : high + 1])], abs=1e-3)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize(("shape", "most"), [(1.0, 0.02), (0.4, 0.03)])
def test_numbers_of_mixed_chances(shape, most, seed):
    """The more chances lie near none and all at once, the rougher the matched binomial."""
    rng = np.random.default_rng(seed)
    made, chance = rng.integers(0, 12, (1, 12)), rng.beta(shape, shape, (1, 12))
    chance[0, :2] = 0, 1
    exact = distribution(made[0].tolist(), chance[0].tolist())
    mean = int((made * chance).sum())
    for low, high in ((0, mean), (mean, mean), (mean - 3, mean + 2), (mean + 1, 200), (0, 200)):
        fast = chance_between(low, high, made.astype(float), chance)
        assert fast == pytest.approx([sum(exact[max(low, 0) : high + 1])], abs=most)
    none = chance_of_none(made.astype(float), chance * 0.5)
    expected = prod((1 - c / 2) ** m for m, c in zip(made[0], chance[0], strict=True))
    assert none == pytest.approx([expected], rel=1e-9)


@pytest.mark.parametrize(
    ("made", "chance"),
    [
        ((20, 1), (1, 0.5)), ((60, 6), (1, 0.5)), ((1000, 6), (1, 0.5)), ((1000, 40), (1, 0.5)),
        ((6, 60), (0.9, 0.01)), ((100, 100), (0.99, 0.01)), ((1000, 100), (1, 0.1)),
    ],
)  # fmt: skip
def test_instruments_certain_to_count_beside_others(made, chance):
    exact = np.cumsum(distribution(made, chance))
    arrays = np.array([made], float), np.array([chance], float)
    fast = [chance_between(0, k, *arrays)[0] for k in range(sum(made) + 1)]
    assert fast == pytest.approx(exact, abs=0.02)


@pytest.mark.parametrize(
    ("made", "chance", "none"),
    [
        ([0, 0], [1, 1], 1), ([0, 3], [1, 0], 1), ([1, 3], [1, 0], 0), ([0.5, 0], [1, 0.5], 0),
        ([2, 3], [0, 0], 1), ([2, 3], [0.5, 0.1], 0.25 * 0.9**3),
    ],
)  # fmt: skip
def test_nothing_made_and_certain_chances(made, chance, none):
    arrays = np.array([made], float), np.array([chance], float)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert chance_of_none(*arrays) == pytest.approx([none], abs=0)
        assert chance_between(0, 1000, *arrays).tolist() == [1]
        if not any(m * c for m, c in zip(made, chance, strict=True)):
            assert chance_between(0, 0, *arrays).tolist() == [1]
            assert chance_between(1, 1000, *arrays).tolist() == [0]


# Instruments


def manuscript(maker, examinations, *claims):
    """Put claims, each a list of things said together, into a manuscript."""
    listed = [
        {"claim": f"C{k}", **({"says": said[0]} if len(said) == 1 else {"all_of": said})}
        for k, said in enumerate(claims)
    ]
    read = Claims.model_validate({"maker": "example", "claims": listed})
    return Manuscript(read, maker, examinations)


def chances(manuscript, learned):
    """Weigh claims without saying what would move them, which takes longer."""
    evidence = Evidence(manuscript, learned)
    made = []
    for claim in manuscript.claims.claims:
        sayings = claim.sayings()
        before = chance_from(*evidence.before(sayings))
        after = chance_from(*evidence.truth(sayings, evidence.examinations))
        made.append((before.value, after.value))
    return made


def examinations_of(data, rng):
    """Invent sightings on two instruments."""
    states = states_of(data)
    features = [name for name in states if name != "variants"]
    made = {}
    for name in ("E-1", "E-2"):
        chosen = rng.sample(features, 3)
        seen = {feature: rng.choice(states[feature]) for feature in chosen}
        examination = {"instrument": name, "maker": "example", "seen": seen}
        made[name] = Examination.model_validate(examination)
    return made


def seen_on(examination):
    return {name: sight.state for name, sight in examination.seen.items()}


CLAIMS = [
    ([{"built": {"instrument": "E-1", "within": stretch(4, 11)}}], (), (), (4, 11), None),
    ([{"original": {"instrument": "E-1"}}], ("neck", "body"), (), None, None),
    ([{"original": {"instrument": "E-2", "components": "neck"}}], (), ("neck",), None, None),
    (
        [
            {"built": {"instrument": "E-1", "within": stretch(4, 11)}},
            {"original": {"instrument": "E-1", "components": ["body", "neck"]}},
        ],
        ("neck", "body"), (), (4, 11), None,
    ),
    ([{"apart": {"instruments": ["E-1", "E-2"], "at_most": 3}}], (), (), None, "apart"),
    ([{"apart": {"instruments": ["E-2", "E-1"], "at_most": 0}}], (), (), None, "same"),
    ([{"older": {"instruments": ["E-1", "E-2"]}}], (), (), None, "older"),
    ([{"older": {"instruments": ["E-2", "E-1"]}}], (), (), None, "after"),
    (
        [
            {"older": {"instruments": ["E-1", "E-2"]}},
            {"apart": {"instruments": ["E-1", "E-2"], "at_most": 3}},
            {"built": {"instrument": "E-1", "within": stretch(4, 11)}},
            {"original": {"instrument": "E-2", "components": ["neck"]}},
        ],
        (), ("neck",), (4, 11), "before and apart",
    ),
    (
        [{"earliest_with": {
            "instrument": "E-1", "feature": "joint", "state": "old", "among": ["E-2"]
        }}],
        (), (), None, "no later",
    ),
]  # fmt: skip

PAIRS = {
    None: lambda _, __: True,
    "apart": lambda a, b: abs(a - b) <= 3,
    "same": lambda a, b: a == b,
    "older": lambda a, b: a < b,
    "after": lambda a, b: b < a,
    "no later": lambda a, b: a <= b,
    "before and apart": lambda a, b: 0 < b - a <= 3,
}


@pytest.mark.parametrize("seed", SEEDS)
def test_instruments_together_against_loops(seed):
    data, maker, production = few_of(seed, 8)
    tables = learned_tables(maker, production.draws)
    examinations = examinations_of(data, random.Random(seed))
    slow = [Instrument(data, tables, seen_on(e)) for e in examinations.values()]
    stock = EvidenceCache(maker, tables)
    weighings = {name: stock.weighing(e) for name, e in examinations.items()}
    every = [joint_of(slow, ((), ()), lambda _, __: True, n, 1 / 8) for n in range(8)]
    for said, original_1, original_2, within, pair in CLAIMS:
        true, weight = joint_truth([saying(one) for one in said], weighings)

        def holds(a, b, within=within, pair=pair):
            return (within is None or within[0] <= a <= within[1]) and PAIRS[pair](a, b)

        scale = weight.sum() / sum(every)  # what is weighed leaves out factors of all months
        for n in (0, 3, 7):
            expected = joint_of(slow, (original_1, original_2), holds, n, 1 / 8)
            assert true[n] == pytest.approx(expected * scale, rel=1e-9, abs=1e-15), said
            assert weight[n] == pytest.approx(every[n] * scale, rel=1e-9)


@pytest.mark.parametrize("seed", [2, 5])
def test_older_is_what_instruments_side_by_side_say(seed):
    """Closely in the same learned draws; roughly where claims doubt what is stated as a number."""
    data, maker, production = few_of(seed, 512)
    examinations = examinations_of(data, random.Random(seed))
    older = [{"older": {"instruments": ["E-1", "E-2"]}}]
    for learned, within in ((production.draws, 1e-9), (None, 0.05)):
        ((_, claimed),) = chances(manuscript(maker, examinations, older), learned)
        beside = compare(maker, tuple(examinations.values()), learned=learned)
        assert beside.joint.share == 1
        assert claimed == pytest.approx(beside.pairs.older[0, 1], abs=within)


def test_a_document_that_dates_them_is_named_for_the_earliest_known_too():
    data = steady(["1931-04", "1931-12", "1932-08"])
    seen = {"joint": "new"}
    two = {
        name: Examination.model_validate({"instrument": name, "maker": "example", "seen": seen})
        for name in ("E-1", "E-2")
    }
    claim = {"instrument": "E-1", "feature": "joint", "state": "new", "among": "E-2"}
    written = manuscript(Maker.model_validate(data), two, [{"earliest_with": claim}])
    (made,) = weigh_manuscript(written)
    assert "a document that dates E-2" in [look.what for look in made.looks]


@pytest.mark.parametrize("seed", SEEDS)
def test_claims_on_instruments_and_production_in_the_same_draws(seed):
    data, maker, production = few_of(seed, 8)
    tables = learned_tables(maker, production.draws)
    examinations = examinations_of(data, random.Random(seed))
    slow = Instrument(data, tables, seen_on(examinations["E-1"]))
    history = told(data, production)
    dated = random.Random(seed).choice(dated_claims(data, random.Random(seed + 7)))
    built = {"built": {"instrument": "E-1", "within": stretch(2, 14)}}
    together = manuscript(maker, examinations, [built, dated])
    ((_, after),) = chances(together, production.draws)
    true = every = 0.0
    for n in history.draws:
        by_month = slow.chances(n)
        true += sum(by_month[2:15]) * history.chance(dated, n)
        every += sum(by_month)
    assert after == pytest.approx(true / every, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("seed", SEEDS)
def test_one_instrument_alone_is_weighed_as_an_estimate_weighs_it(seed):
    data, maker, production = few_of(seed, 512)
    examinations = examinations_of(data, random.Random(seed))
    claims = [
        [{"built": {"instrument": "E-1", "within": stretch(4, 11)}}],
        [{"original": {"instrument": "E-1", "components": "neck"}}],
        [{"original": {"instrument": "E-1", "components": ["body"]}}],
        [{"original": {"instrument": "E-1"}}],
    ]
    for learned in (None, production.draws):
        made = weigh_manuscript(manuscript(maker, examinations, *claims), learned)
        alone = estimate(maker, examinations["E-1"], learned=learned)
        expected = [
            alone.between(stretch(4, 11)),
            alone.originality["neck"],
            alone.originality["body"],
            alone.all_original,
        ]
        few = learned is not None or len(alone.tables.weights) <= 128  # or it takes more
        within = EXACT if few else 0.01
        assert [one.posterior.value for one in made] == pytest.approx(expected, abs=within)


@pytest.mark.parametrize("seed", [1, 6])
def test_before_the_evidence_instruments_are_known_by_production_alone(seed):
    data, maker, _ = production_of(seed)
    examinations = examinations_of(data, random.Random(seed))
    output = Production(maker, prior_draws(maker).thinned(4)).tables.output.tolist()
    swapped = [part["swapped"] for part in data["components"].values()]
    months = range(MONTHS)
    made = weigh_manuscript(
        manuscript(
            maker,
            examinations,
            [{"built": {"instrument": "E-1", "within": stretch(4, 11)}}],
            [{"original": {"instrument": "E-1"}}],
            [{"apart": {"instruments": ["E-1", "E-2"], "at_most": 2}}],
            [{"older": {"instruments": ["E-1", "E-2"]}}],
        )
    )
    expected = [
        sum(output[4:12]),
        prod(1 - chance for chance in swapped),
        sum(output[a] * output[b] for a, b in product(months, months) if abs(a - b) <= 2),
        sum(output[a] * output[b] for a, b in product(months, months) if a < b),
    ]
    assert [one.prior.value for one in made] == pytest.approx(expected, rel=1e-9)


def test_what_depends_on_one_month_is_no_product_of_probabilities():
    """Negative control: an old joint is original if early, and swapped if late."""
    data = steady("1932-01")
    maker = Maker.model_validate(data)
    seen = {"joint": "old"}
    examination = Examination.model_validate(
        {"instrument": "E-1", "maker": "example", "seen": seen}
    )
    late = {"built": {"instrument": "E-1", "within": stretch(13, 23)}}
    original = {"original": {"instrument": "E-1"}}
    draws = prior_draws(maker).thinned(16)
    one, other, both = weigh_manuscript(
        manuscript(maker, {"E-1": examination}, [late], [original], [late, original]), draws
    )
    apart = one.posterior.value * other.posterior.value
    assert both.posterior.value < apart / 4
    slow = Instrument(data, learned_tables(maker, draws), seen)
    true = sum(sum(slow.chances(n, ("neck",))[13:24]) for n in slow.draws)
    every = sum(sum(slow.chances(n)) for n in slow.draws)
    assert both.posterior.value == pytest.approx(true / every, rel=1e-9)


def test_what_two_instruments_share_is_no_product_either():
    """Negative control: both show a state of uncertain first use, so both were built after it."""
    data = steady(["1931-04", "1931-12", "1932-08"])
    maker = Maker.model_validate(data)
    seen = {
        name: Examination.model_validate(
            {"instrument": name, "maker": "example", "seen": {"joint": "new"}}
        )
        for name in ("E-1", "E-2")
    }
    early = [{"built": {"instrument": name, "within": stretch(0, 10)}} for name in seen]
    one, other, both = weigh_manuscript(manuscript(maker, seen, early[:1], early[1:], early))
    apart = one.posterior.value * other.posterior.value
    assert both.posterior.value > 1.5 * apart


def test_no_month_that_allows_what_was_seen_is_refused():
    data = steady("1932-01")
    data["components"]["neck"]["swapped"] = 0
    data["components"]["neck"]["features"]["joint"] |= {"slip": 0, "replaced": 0}
    data["components"]["neck"]["features"]["joint"]["states"].append("never")
    maker = Maker.model_validate(data)
    examination = Examination.model_validate(
        {"instrument": "E-1", "maker": "example", "seen": {"joint": "never"}}
    )
    built = [{"built": {"instrument": "E-1", "within": stretch(0, 10)}}]
    with pytest.raises(InputError, match=r"no month of the period"):
        weigh_manuscript(manuscript(maker, {"E-1": examination}, built))


@pytest.mark.parametrize("count", [1, 2, 3])
def test_what_is_claimed_twice_is_claimed_once(count):
    """Any claim said twice over, and a claim with its opposite: P(A, A) = P(A), P(A, not A) = 0."""
    data, maker, production = few_of(2, 512)
    use = next(c for c in dated_claims(data, random.Random(2)) if "first_use" in c)
    built = {"built": {"instrument": "E-1", "within": stretch(2, 14)}}
    seen = examinations_of(data, random.Random(2))
    for said in (use, built):
        once, often = weigh_manuscript(
            manuscript(maker, seen, [said], [said] * (count + 1)), production.draws
        )
        assert often.posterior.value == pytest.approx(once.posterior.value, abs=1e-12)


@pytest.mark.parametrize(("second", "holds"), [([15, 18], 1), ([19, 40], 0)])
def test_a_number_claimed_twice_is_claimed_once(second, holds):
    data = steady("1931-01-16")
    data["components"]["neck"]["features"]["joint"]["history"][1]["overlap"] = 9
    maker = Maker.model_validate(data)
    made = {"states": {"joint": "new"}, "during": stretch(0, 7)}
    said = [{"made": made | {"between": between}} for between in ([15, 18], second)]
    once, both = weigh_manuscript(manuscript(maker, {}, said[:1], said))
    assert 0.05 < once.posterior.value < 0.95
    assert both.posterior.value == pytest.approx(once.posterior.value * holds, abs=1e-6)


def test_a_claim_on_one_instrument_is_corrected_as_an_estimate_is():
    data, maker, production = few_of(2, 512)
    examinations = examinations_of(data, random.Random(2))
    wider = Correction(np.linspace(0, 1, 501) ** 1.5, 60)
    learned = replace(production.draws, correction=wider)
    built = [{"built": {"instrument": "E-1", "within": stretch(4, 11)}}]
    (made,) = weigh_manuscript(manuscript(maker, examinations, built), learned)
    plain = estimate(maker, examinations["E-1"], learned=production.draws)
    alone = estimate(maker, examinations["E-1"], learned=learned)
    assert alone.between(stretch(4, 11)) != pytest.approx(plain.between(stretch(4, 11)), abs=0.01)
    assert made.posterior.value == pytest.approx(alone.between(stretch(4, 11)), abs=1e-9)


# Properties

FEW = settings(max_examples=60)
PLACES = st.integers(0, MONTHS - 1)


def probability(said, production):
    return chance_true(saying(said), production).mean()


@cache
def uses_of(seed):
    return [
        c for c in dated_claims(invented_data(seed), random.Random(seed)) if not c.keys() - USES
    ]


USES = {"first_use", "last_use"}


def bounded(use, **bound):
    ((kind, what),) = use.items()
    kept = {key: what[key] for key in ("feature", "state", "variant")}
    return {kind: kept | bound}


@FEW
@given(st.sampled_from(SEEDS), st.integers(0, 10**6), st.integers(1, MONTHS - 1))
def test_a_claim_and_its_opposite_sum_to_one(seed, place, at):
    _, _, production = production_of(seed)
    use = uses_of(seed)[place % len(uses_of(seed))]
    before = probability(bounded(use, not_after=month(at - 1)), production)
    after = probability(bounded(use, not_before=month(at)), production)
    assert before + after == pytest.approx(1, abs=1e-12)


@FEW
@given(st.sampled_from(SEEDS), st.integers(0, 10**6), st.lists(PLACES, min_size=4, max_size=4))
def test_a_wider_stretch_is_no_less_probable(seed, place, ends):
    data, maker, production = production_of(seed)
    a, b, c, d = sorted(ends)
    use = uses_of(seed)[place % len(uses_of(seed))]
    narrow, wide = (
        probability(bounded(use, within=stretch(*p)), production) for p in ((b, c), (a, d))
    )
    assert narrow <= wide
    assert wide <= probability(bounded(use, not_before=month(a)), production)
    draws = few_of(seed, 16)[2].draws
    seen = examinations_of(data, random.Random(place))
    built = [[{"built": {"instrument": "E-1", "within": stretch(*p)}}] for p in ((b, c), (a, d))]
    narrow, wide = chances(manuscript(maker, seen, *built), draws)
    assert narrow[0] <= wide[0] + 1e-12
    assert narrow[1] <= wide[1] + 1e-12


@FEW
@given(st.sampled_from(SEEDS), st.integers(0, 10**6), st.floats(0, 60), st.floats(0, 60))
def test_a_wider_range_of_numbers_is_no_less_probable(seed, place, one, other):
    data, _, production = few_of(seed, 16, certain=True)
    states, variant = combinations(data, random.Random(place), 1)[0]
    low, high = sorted((one, other))
    said = {"states": states, "variant": variant}
    narrow = chance_true(saying({"made": said | {"between": [low, high]}}), production)
    wide = chance_true(saying({"made": said | {"between": [low / 2, high + 3]}}), production)
    every = chance_true(saying({"made": said | {"between": [0, 1e6]}}), production)
    assert (narrow <= wide + 1e-12).all()
    assert every == pytest.approx(1, abs=1e-12)


TOGETHER = given(st.sampled_from(SEEDS), st.integers(0, 10**6), st.integers(2, 5))


@settings(max_examples=12)
@TOGETHER
def test_what_is_claimed_together_is_no_more_probable_than_any_part(seed, place, count):
    check_together(seed, place, count)


@pytest.mark.long
@FEW
@TOGETHER
def test_many_claims_together_are_no_more_probable_than_any_part(seed, place, count):
    check_together(seed, place, count)


def check_together(seed, place, count):
    data, maker, production = few_of(seed, 16)
    rng = random.Random(place)
    seen = examinations_of(data, rng)
    pool = [said for claim in CLAIMS for said in claim[0]] + dated_claims(data, rng)
    said = rng.sample(pool, count)
    each = manuscript(maker, seen, said, *([one] for one in said))
    together, *parts = chances(each, production.draws)
    about = set(each.claims.claims[0].instruments())
    if len(about) < 2:  # else a part rests on what was seen on fewer instruments
        for part in parts:
            assert together[1] <= part[1] + 1e-9
    evidence = Evidence(manuscript(maker, seen, said), production.draws)
    whole, weight = evidence.truth([saying(one) for one in said], seen)
    assert (whole <= weight + 1e-15).all()
    for left_out in range(count):
        some = [saying(one) for k, one in enumerate(said) if k != left_out]
        if {name for one in some for name in one.instruments()} == about:
            fewer, _ = evidence.truth(some, seen)
            assert (whole <= fewer + 1e-15).all()


@pytest.mark.parametrize("seed", SEEDS)
def test_nothing_seen_is_worth_a_factor_of_one(seed):
    data, maker, _ = production_of(seed)
    blank = {
        name: Examination.model_validate({"instrument": name, "maker": "example"})
        for name in ("E-1", "E-2")
    }
    dated = dated_claims(data, random.Random(seed))[:3]
    about = [[claim[0][0]] for claim in CLAIMS if len(claim[0]) == 1]
    mixed = [[about[0][0], dated[0]], [about[4][0], dated[1]]]
    made = weigh_manuscript(manuscript(maker, blank, *about, *mixed, *([one] for one in dated)))
    for one in made[: len(about) + len(mixed)]:
        assert one.posterior.value == pytest.approx(one.prior.value, rel=1e-9), one.claim
        assert one.factor is None
        assert not one.basis.has_evidence
    for one in made[len(about) + len(mixed) :]:
        assert one.factor is None
        assert one.prior == one.posterior
    for before, after in chances(
        manuscript(maker, blank, *([one] for one in dated)), prior_draws(maker)
    ):
        assert before == after


CHANCES = st.builds(
    DrawChance, st.floats(0.0, 1.0), st.floats(0.0, 0.1), st.sampled_from([1e-12, 1e-4, 1 / 34])
)


@FEW
@given(CHANCES, CHANCES)
def test_prior_and_posterior_exchanged_give_the_inverse_factor(prior, posterior):
    there, back = factor_from(prior, posterior), factor_from(posterior, prior)
    assert isclose(there.value * back.value, 1, rel_tol=1e-9)
    assert there.error == pytest.approx(back.error)
    wanted = ({""}, {"at least", "at most"}, {"not told"})
    assert {there.bound, back.bound} in wanted
    assert factor_from(prior, prior).value == 1


@FEW
@given(st.floats(0.01, 0.99), st.floats(0.01, 0.99))
def test_a_factor_turns_prior_odds_into_posterior_odds(before, after):
    factor = factor_from(DrawChance(before, 0, 1e-12), DrawChance(after, 0, 1e-12))
    odds = before / (1 - before) * factor.value
    assert odds / (1 + odds) == pytest.approx(after)
    assert factor.bound == ""


# Errors and bounds


@pytest.mark.parametrize(
    "seed", [*SEEDS[:3], *(pytest.param(seed, marks=pytest.mark.long) for seed in SEEDS[3:])]
)
def test_every_claim_of_dates_can_be_weighed(seed):
    data, maker, _ = production_of(seed)
    said = dated_claims(data, random.Random(seed))
    for one in weigh_manuscript(manuscript(maker, {}, *([claim] for claim in said))):
        assert 0 <= one.posterior.value <= 1
        assert not np.isnan([p for points in one.points for p in points]).any()


def test_a_claim_that_no_draw_makes_true_gives_a_bound():
    data = steady(["1931-04", "1931-12", "1932-08"])
    maker = Maker.model_validate(data)
    draws = prior_draws(maker)
    late = replace(draws, values=draws.values + 0.0)
    place = draws.numbers.index("joint, regime 2, first use")
    late.values[:, place] = 15.0
    use = {"feature": "joint", "state": "new"}
    early, after = weigh_manuscript(
        manuscript(
            maker,
            {},
            [{"first_use": use | {"not_after": "1931-12"}}],
            [{"first_use": use | {"not_before": "1932-01"}}],
        ),
        late,
    )
    count = len(draws.values)
    assert (early.posterior.value, after.posterior.value) == (0, 1)
    assert (early.factor.bound, after.factor.bound) == ("at most", "at least")
    least = 1 / (2 * count + 2)
    before = early.prior.value / (1 - early.prior.value)
    assert early.factor.value == pytest.approx(least / (1 - least) / before)
    assert after.factor.value == pytest.approx(1 / early.factor.value)


def test_the_error_of_a_chance_is_that_of_independent_draws():
    rng = np.random.default_rng(8)
    for p, count in ((0.5, 1600), (0.1, 6400)):
        made = [
            chance_from((rng.uniform(size=count) < p).astype(float), np.ones(count))
            for _ in range(300)
        ]
        spread = np.std([one.value for one in made])
        stated = np.sqrt(np.mean([one.error**2 for one in made]))
        assert stated == pytest.approx(spread, rel=0.15)
        assert spread == pytest.approx(sqrt(p * (1 - p) / count), rel=0.15)


def test_the_error_of_a_factor_is_that_of_its_decimal_logarithm():
    rng, count = np.random.default_rng(9), 1600
    prior = DrawChance(0.2, 0.0, 1e-12)
    made = [
        factor_from(prior, chance_from((rng.uniform(size=count) < 0.3) * 1.0, np.ones(count)))
        for _ in range(300)
    ]
    spread = np.std([np.log10(one.value) for one in made])
    assert np.sqrt(np.mean([one.error**2 for one in made])) == pytest.approx(spread, rel=0.15)


def test_graded_chances_are_told_from_none_far_below_one_in_the_number_of_draws():
    small = np.full(64, 1e-7)
    assert chance_from(small, np.ones(64)).least == 1e-12
    assert not chance_from(small, np.ones(64)).settled
    assert chance_from(np.zeros(64), np.ones(64)).least == pytest.approx(1 / 130)
    assert chance_from(np.zeros(64), np.ones(64)).settled
    weight = np.array([1.0] * 8 + [0.0] * 56)
    assert chance_from(np.zeros(64), weight).least == pytest.approx(1 / 18)


def test_a_row_of_several_and_the_earliest_of_several_are_sums_over_all_months():
    generator = np.random.default_rng(5)
    names = ["E-1", "E-2", "E-3", "E-4"]
    joint = [generator.random((3, 6)) for _ in names]
    row = {"older": {"instruments": ["E-3", "E-1", "E-4"]}}
    first = {
        "earliest_with": {
            "instrument": "E-2", "feature": "joint", "state": "old", "among": ["E-1", "E-3"]
        }
    }  # fmt: skip
    for said, holds in (
        (row, lambda a, _b, c, d: c < a < d),
        (first, lambda a, b, c, _d: b <= min(a, c)),
    ):
        right = [
            sum(
                joint[0][n, a] * joint[1][n, b] * joint[2][n, c] * joint[3][n, d]
                for a, b, c, d in product(range(6), repeat=4)
                if holds(a, b, c, d)
            )
            for n in range(3)
        ]
        assert _over_pairs([saying(said)], names, joint) == pytest.approx(right, rel=1e-12)


# What would help -------------------------------------------------------------------------------


def information(joint):
    """I(X; Y) in bits of a joint table, from its definition."""
    joint = joint / joint.sum()
    alone = joint.sum(axis=1, keepdims=True) * joint.sum(axis=0, keepdims=True)
    there = joint > 0
    return float((joint[there] * np.log2(joint[there] / alone[there])).sum())


@pytest.mark.parametrize("seed", range(4))
def test_what_a_document_tells_is_the_information_of_the_month_that_it_gives(seed):
    """Months of three instruments, tried in all ways: the claim and the month of one of them."""
    data, maker, production = few_of(seed, 8)
    parts = list(maker.components)
    rng = random.Random(seed)
    seen = [
        {f: rng.choice(list(feature.states)) for f, (_, feature) in maker.features().items()}
        for _ in range(3)
    ]
    slow = [Instrument(data, production.tables, each) for each in seen]
    stock = EvidenceCache(maker, production.tables)
    weighings = {
        name: stock.weighing(
            Examination.model_validate({"instrument": name, "maker": "m", "seen": each})
        )
        for name, each in zip("ABC", seen, strict=True)
    }
    said = [
        saying({"older": {"instruments": ["A", "B"]}}),
        saying({"apart": {"instruments": ["B", "C"], "at_most": 5}}),
        saying({"original": {"instrument": "A", "components": [parts[0]]}}),
    ]
    months = np.arange(MONTHS)
    older = months[:, None] < months[None, :]
    near = abs(months[:, None] - months[None, :]) <= 5
    expected = {name: np.zeros((MONTHS, 2)) for name in "ABC"}
    weight = production.tables.weights
    for n in range(len(weight)):
        kept = np.array(slow[0].chances(n, (parts[0],)))
        a, b, c = (np.array(one.chances(n)) for one in slow)
        true = kept[:, None, None] * b[None, :, None] * c * older[:, :, None] * near[None]
        every = a[:, None, None] * b[None, :, None] * c
        for axis, name in enumerate("ABC"):
            others = tuple(k for k in range(3) if k != axis)
            yes, whole = (table.sum(axis=others) / weight[n] ** 2 for table in (true, every))
            expected[name] += np.stack([yes, whole - yes], axis=1)
    for name, table in expected.items():
        yes, _ = joint_truth(said, weighings, (name,))
        every, _ = joint_truth([], weighings, (name,))
        yes, every = yes.sum(axis=0), every.sum(axis=0)
        made = np.stack([yes, every - yes], axis=1)
        assert information_bits(made) == pytest.approx(information(table), abs=1e-9)
        assert made / made.sum() == pytest.approx(table / table.sum(), abs=1e-9)


def test_a_document_is_named_with_what_it_tells():
    """Of a claim about one date it settles all; of two it tells what the month of one tells."""
    _, maker, _ = few_of(0, 8)
    seen = {
        name: Examination.model_validate({"instrument": name, "maker": "m", "seen": each})
        for name, each in (("A", {}), ("B", {}))
    }
    claims = Claims.model_validate(
        {
            "maker": "m",
            "claims": [
                {"claim": "one", "says": {"built": {"instrument": "A", "within": stretch(0, 11)}}},
                {"claim": "two", "says": {"older": {"instruments": ["A", "B"]}}},
            ],
        }
    )
    evidence = Evidence(Manuscript(claims, maker, seen))
    one, two = (list(_papers_on_instruments(claim, evidence)) for claim in claims.claims)
    (what,) = one
    yes, weight = evidence.truth(claims.claims[0].sayings(), seen)
    p = yes.sum() / weight.sum()
    assert what.what == "a document that dates A"
    assert what.bits == pytest.approx(-p * np.log2(p) - (1 - p) * np.log2(1 - p), abs=1e-9)
    assert [each.what[-1] for each in two] == ["A", "B"]
    yes, weight = evidence.truth(claims.claims[1].sayings(), seen)
    p = yes.sum() / weight.sum()
    settled = -p * np.log2(p) - (1 - p) * np.log2(1 - p)
    assert all(0.1 * settled < each.bits < 0.99 * settled for each in two)


def test_of_what_survives_the_number_that_survives_is_named():
    data, _, _ = few_of(0, 8, certain=True)
    state = states_of(data)["joint"][0]
    made = {"states": {"joint": state}, "between": [1, 5]}
    survival = {"lowest": 0.01, "likely": 0.05, "highest": 0.2}
    for more, words in (({}, "were made"), ({"survival": survival}, "survive")):
        assert _stated_by(saying({"made": made | more})).startswith(f"how many {words} with the")
