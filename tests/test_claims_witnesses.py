"""What dated instruments contribute to a claim, what explains them, and which few would turn it."""

from itertools import combinations

import numpy as np
import pytest

from dating.claims.evidence import Evidence
from dating.claims.examples import examples_of
from dating.claims.explanations import explanation_of
from dating.claims.files import Manuscript
from dating.claims.production import Production
from dating.claims.row_evidence import RowEvidence, _Search
from dating.claims.statements import Claim, Claims
from dating.claims.truth import all_true
from dating.evidence_cache import EvidenceCache
from dating.learning.layout import FLOOR
from dating.learning.prior import prior_draws
from tests.learning import ONE_RAMP, written

SWAPS = ONE_RAMP.replace("swapped: 0\n", "swapped: 0.1\n").replace("slip: 0\n", "slip: 0.06\n")
SWAPS = SWAPS.replace("replaced: 0\n", "replaced: 0.08\n")
ROWS = [
    ("early", "1930-02", 1, "metal"),
    ("doubted", "1931-02", 0.7, "metal"),
    ("old", "1932-03", 1, "wood"),
    ("wide", "1931", 1, "metal"),
    ("late", "1934-06", 1, "metal"),
    ("blank", "1932", 1, ""),
]
CLAIM = {"first_use": {"feature": "ends", "state": "metal", "not_before": "1932"}}


@pytest.fixture(scope="module")
def world(tmp_path_factory):
    maker, corpus = written(tmp_path_factory.mktemp("swaps"), SWAPS, ROWS)
    return maker, corpus, Production(maker, prior_draws(maker).thinned(64))


def claim_of(says=CLAIM):
    return Claim.model_validate({"claim": "c", "says": says})


class Slow:
    """A record of one feature in one draw, from the formulae, month by month."""

    def __init__(self, tables, reference, n):
        (state,) = reference.examination.seen["ends"].named()
        table, self.months = tables.features["ends"], range(len(tables.period))
        built = table.by_state()[table.states.index(state)]
        shape = (tables.draws, 1, len(tables.period))
        self.built = np.broadcast_to(built, shape)[n, 0].tolist()
        self.donor = np.broadcast_to(tables.donors["case"], shape)[n, 0].tolist()
        self.prior = tables.prior[n, 0].tolist()
        self.slip, self.later, self.count = float(table.slip[n]), float(table.replaced[n]), 2
        self.elsewhere = sum(self.donor[u] * sum(self.ways(u).values()) for u in self.months)

    def ways(self, t):
        """Give P(recorded, how) of a part that was built in a month."""
        right = 1 - self.later
        return {
            "stands": right * (1 - self.slip) * self.built[t],
            "slip": right * self.slip / self.count,
            "later_part": self.later / self.count,
        }

    def on(self, t):
        """Give P(recorded | month), with the chance of a swap."""
        return 0.9 * sum(self.ways(t).values()) + 0.1 * self.elsewhere


def explained_slowly(tables, reference):
    """Add up every way in which the record may have come about, one by one."""
    sums = dict.fromkeys(("wrong_date", "swapped", "later_part", "slip", "stands"), 0.0)
    elsewhere = float(reference.window @ tables.output)
    for n in range(tables.draws):
        slow = Slow(tables, reference, n)
        for t in slow.months:
            on_time = slow.prior[t] * reference.trust * reference.window[t]
            sums["swapped"] += on_time * 0.1 * slow.elsewhere
            for name, chance in slow.ways(t).items():
                sums[name] += on_time * 0.9 * chance
            sums["wrong_date"] += slow.prior[t] * (1 - reference.trust) * elsewhere * slow.on(t)
    return {name: value / sum(sums.values()) for name, value in sums.items()}


@pytest.mark.parametrize("place", range(5))
def test_explanations_are_what_adding_up_every_way_gives(world, place):
    maker, corpus, production = world
    reference, tables = corpus.references[place], production.tables
    weighing = EvidenceCache(maker, tables).weighing(reference.examination)
    told = explanation_of(reference, weighing, ["ends"])
    expected = explained_slowly(tables, reference)
    assert {name: getattr(told, name) for name in expected} == pytest.approx(expected, abs=1e-12)
    wide = explanation_of(reference, weighing.widened(), ["ends"])
    assert {name: getattr(wide, name) for name in expected} == pytest.approx(expected, abs=1e-9)


def test_rows_are_as_likely_in_each_draw_as_a_slow_loop_says(world):
    """Of one feature on one component, learning and the engine have the same swap."""
    _, corpus, production = world
    tables, rows = production.tables, RowEvidence(corpus, production, ["ends"])
    assert rows.places == (0, 1, 2, 3, 4)
    for row, place in enumerate(rows.places):
        reference = corpus.references[place]
        stated = reference.likelihood(tables.output).tolist()
        for n in range(tables.draws):
            slow = Slow(tables, reference, n)
            on = [(1 - FLOOR) * slow.on(t) + FLOOR for t in slow.months]
            expected = sum(slow.prior[t] * stated[t] * on[t] for t in slow.months)
            assert rows.logs[row, n] == pytest.approx(np.log(expected), abs=1e-9)


def test_bits_are_the_ratio_of_two_averages(world):
    _, corpus, production = world
    rows = RowEvidence(corpus, production, ["ends"])
    true = all_true(claim_of().sayings(), production)
    bits = rows.bits(true)
    for row in range(len(rows.places)):
        likelihood = np.exp(rows.logs[row])
        ratio = likelihood[true == 1].mean() / likelihood[true == 0].mean()
        assert bits[row] == pytest.approx(np.log2(ratio))
    names = [corpus.references[place].examination.instrument for place in rows.places]
    by_name = dict(zip(names, bits, strict=True))
    assert by_name["old"] > 0.3
    assert by_name["wide"] < -0.3
    assert abs(by_name["late"]) < 0.1
    assert rows.bits(np.zeros_like(true)) is None


@pytest.mark.parametrize("bound", ["1931-11", "1932", "1932-03", "1932-05"])
def test_the_fewest_that_turn_a_claim_are_those_that_trying_all_finds(world, bound):
    _, corpus, production = world
    rows = RowEvidence(corpus, production, ["ends"])
    claim = claim_of({"first_use": {**CLAIM["first_use"], "not_before": bound}})
    true = all_true(claim.sayings(), production)
    search = _Search(rows.logs, true)
    for size in (1, 2):
        for chosen in combinations(range(len(rows.places)), size):
            weights = 1 / np.exp(rows.logs[list(chosen)]).prod(axis=0)
            assert search.without(chosen) == pytest.approx((weights @ true) / weights.sum())
    turning = rows.turning(true)
    sides = [
        (size, search.without(chosen))
        for size in (1, 2)
        for chosen in combinations(range(len(rows.places)), size)
    ]
    turned = [size for size, chance in sides if (chance > 0.5) == (true.mean() <= 0.5)]
    fewest = min(turned, default=None)
    assert (fewest is not None) == (turning.turned and len(turning.references) < 3)
    if fewest is not None:
        assert len(turning.references) == fewest
        extreme = max if search.upwards else min
        best = extreme(chance for size, chance in sides if size == fewest)
        assert turning.chance == pytest.approx(best)
    assert rows.turning(np.ones_like(true)) is None


def test_what_a_slip_or_a_swap_explains_is_no_evidence(tmp_path):
    """The early one cannot be of the build, and of the wide one that is doubtful."""
    rows = [("early", "1930-02", 1, "metal"), ("near", "1931-11", 1, "metal"), *ROWS[2:4]]
    maker, corpus = written(tmp_path, SWAPS, rows)
    claim = claim_of()
    evidence = Evidence(Manuscript(Claims(maker="m", claims=(claim,)), maker, {}))
    made = examples_of(claim, corpus, evidence)
    weighty = [(each.side, each.name) for each in made if each.is_weighty]
    assert weighty == [("against", "near"), ("for", "old")]
    wide, idle = (each for each in made if not each.is_weighty)
    assert (wide.name, idle.side, idle.name) == ("wide", "against", "early")
    assert wide.bits > 1 > 10 * abs(idle.bits) / 3
    assert idle.explanation.stands < 0.02
    assert 0.4 < wide.explanation.stands < 0.5
    assert idle.explanation.swapped > idle.explanation.later_part > idle.explanation.slip
