"""Instruments side by side, held against enumeration of all their months, draw by draw."""

from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from dating import Examination, InputError, Maker, compare, estimate, read_corpus, read_maker
from dating.learning.prior import prior_draws
from dating.succession.joint_draws import joint_draws, tempered, weights_of
from dating.succession.joint_months import SAMPLES, JointMonths, TooEntangledError
from dating.succession.links import agreement, factors_of
from dating.succession.months_by_draw import months_by_draw
from dating.succession.pairs import pairs_of
from dating.succession.relations import Group, Relation
from dating.tabulation import month_tables, tables_of_draws, uncertain_numbers
from tests.certain import certain
from tests.enumeration import Enumeration
from tests.learning import MAKER as LEARNING_MAKER

MONTHS = 14
NAMES = ("A-1", "B-2", "C-3", "D-4")
CASES = {
    "nothing": [],
    "older": [({"older": {"instruments": ["A-1", "C-3"]}}, 0.9)],
    "older by": [
        ({"older": {"instruments": ["C-3", "B-2"], "at_least": 2, "at_most": 7}}, 1),
        ({"apart": {"instruments": ["A-1", "D-4"], "at_most": 3}}, 0.8),
    ],
    "a batch": [({"same_batch": {"instruments": ["A-1", "B-2", "D-4"], "within": 2}}, 0.7)],
    "a photograph": [
        ({"photographed": {"instruments": ["B-2", "C-3"], "date": "1931-07"}}, 0.95),
        ({"consecutive": {"instruments": ["A-1", "B-2", "C-3"], "within": 4}}, 0.85),
    ],
    "a ring": [
        ({"older": {"instruments": [a, b]}}, 0.9)
        for a, b in (("A-1", "B-2"), ("B-2", "C-3"), ("C-3", "D-4"), ("A-1", "D-4"))
    ],
}
SEEN = (
    {"ends": "metal", "label": "round", "strap": "black"},
    {"ends": "wood", "label": "square"},
    {"ends": "metal", "strap": "brown"},
    {"label": "square", "strap": "black"},
)
DRAWN = {
    "move": [3, 5, 8, 9],
    "ends, regime 2, first use": [2, 7, 4, 10],
    "ends, regime 2, overlap": [1, 3, 6, 0],
    "label, regime 2, lag": [0, 2, 1, 3],
    "strap, regime 2, overlap": [2, 2, 5, 1],
}


def month(number):
    return f"{1931 + number // 12}-{number % 12 + 1:02d}"


def judged(number):
    earliest, latest = month(max(number - 3, 0)), month(number + 3)
    return {"earliest": earliest, "likely": month(number), "latest": latest}


def maker_of(at=None):
    """A maker of three changeovers, or with what one draw says of its numbers."""
    span = {"shortest": 0.5, "likely": 2, "longest": 6}
    said = {name: numbers[at] for name, numbers in DRAWN.items()} if at is not None else {}
    first = said.get("ends, regime 2, first use")
    move = said.get("move")
    new = {"with": "move", "lag": said.get("label, regime 2, lag", span), "overlap": 2}
    strap = {"with": "move", "lag": 1, "overlap": said.get("strap, regime 2, overlap", span)}
    ends = {
        "first_use": judged(5) if first is None else month(first),
        "overlap": said.get("ends, regime 2, overlap", span),
    }

    def feature(old, newer, change, **rest):
        history = [{"state": old}, {"state": newer, **change}]
        return {"ask": "Which?", "states": [old, newer], "history": history, **rest}

    data = {
        "maker": "Example Reed Works",
        "product": "concertinas",
        "invented": True,
        "period": f"{month(0)}/{month(MONTHS - 1)}",
        "events": {"move": {"what": "a move", "when": judged(6) if move is None else month(move)}},
        "components": {
            "case": {
                "swapped": 0.1,
                "features": {
                    "ends": feature("wood", "metal", ends, slip=0.03),
                    "label": feature("round", "square", new, replaced=0.1),
                },
            },
            "bag": {"swapped": 0.05, "features": {"strap": feature("brown", "black", strap)}},
        },
    }
    return Maker.model_validate(certain(data))


def examinations(count):
    return [
        Examination.model_validate({"instrument": name, "maker": "example", "seen": seen})
        for name, seen in zip(NAMES[:count], SEEN, strict=False)
    ]


def relations(case):
    return [
        Relation.model_validate({**content, "source": "a letter", "trust": trust})
        for content, trust in CASES[case]
    ]


def joint_of(count, case, log_ratio):
    maker = maker_of()
    draws = {name: np.array(numbers, dtype=float) for name, numbers in DRAWN.items()}
    assert set(draws) == set(uncertain_numbers(maker))
    own = months_by_draw(maker, tables_of_draws(maker, draws), examinations(count))
    factors = [
        factor
        for number, relation in enumerate(relations(case))
        for factor in factors_of(relation, number, maker.period)
    ]
    return JointMonths(NAMES[:count], own, tuple(factors), log_ratio, least=0.0)


def enumerated(count, case, log_ratio):
    """Weigh every combination of months in every draw by plain loops."""
    known = relations(case)
    period = maker_of().period
    combinations = np.array(list(product(range(MONTHS), repeat=count)))
    chance = np.ones(len(combinations))
    for relation in known:
        places = [NAMES.index(name) for name in relation.content.instruments]
        holds = agreement(relation, combinations[:, places], period)
        chance = chance * (relation.trust * holds + 1 - relation.trust)
    total = np.zeros(len(combinations))
    for draw in range(len(log_ratio)):
        maker = maker_of(draw)
        tables = month_tables(maker)
        each = [np.array(Enumeration(maker, e, tables).by_month()) for e in examinations(count)]
        product_of = np.exp(log_ratio[draw]) * chance
        for place, by_month in enumerate(each):
            product_of = product_of * by_month[combinations[:, place]]
        total += product_of
    return combinations, total / total.sum()


RATIO = np.array([0.0, -0.4, 0.7, 0.2])


@pytest.mark.parametrize("case", sorted(CASES))
@pytest.mark.parametrize("count", [3, 4])
def test_dates_and_pairs_are_those_of_plain_loops(count, case):
    if any(name not in NAMES[:count] for r in relations(case) for name in r.content.instruments):
        pytest.skip("names an instrument that is not there")
    joint = joint_of(count, case, RATIO)
    combinations, chances = enumerated(count, case, RATIO)
    pairs = pairs_of(joint, joint.samples(joint.picked(64)))
    for place in range(count):
        dated = np.bincount(combinations[:, place], chances, MONTHS)
        assert joint.posterior[place] == pytest.approx(dated, abs=1e-10)
        for other in range(count):
            ahead = combinations[:, other] - combinations[:, place]
            assert pairs.older[place, other] == pytest.approx(chances[ahead > 0].sum(), abs=1e-10)
            if other != place:
                same = chances[ahead == 0].sum()
                assert pairs.same[place, other] == pytest.approx(same, abs=1e-10)


@pytest.mark.parametrize("case", sorted(CASES))
def test_samples_come_as_often_as_plain_loops_say(case):
    joint = joint_of(4, case, RATIO)
    combinations, chances = enumerated(4, case, RATIO)
    samples = joint.samples(joint.picked(SAMPLES), seed=7)
    for first in range(4):
        for second in range(first + 1, 4):
            ahead = combinations[:, second] - combinations[:, first]
            drawn = samples.months[:, second] - samples.months[:, first]
            for low, high in ((-20, -3), (-2, -1), (0, 0), (1, 2), (3, 20)):
                right = chances[(ahead >= low) & (ahead <= high)].sum()
                share = ((drawn >= low) & (drawn <= high)).mean()
                error = np.sqrt(right * (1 - right) / SAMPLES)
                assert share == pytest.approx(right, abs=5 * error + 1e-9)


def test_agreement_is_what_is_said_in_words():
    period = maker_of().period
    (older,) = relations("older")
    (by, apart) = relations("older by")
    (batch,) = relations("a batch")
    (photograph, consecutive) = relations("a photograph")

    def of(relation, *months):
        return agreement(relation, np.array([months]), period)[0]

    assert [of(older, 3, 4), of(older, 4, 4), of(older, 5, 4)] == [1, 0.5, 0]
    assert [of(by, 3, 4), of(by, 3, 5), of(by, 3, 10), of(by, 3, 11)] == [0, 1, 1, 0]
    assert [of(apart, 3, 6), of(apart, 6, 3), of(apart, 3, 7)] == [1, 1, 0]
    assert [of(batch, 3, 3, 3), of(batch, 3, 4, 3), of(batch, 5, 4, 3), of(batch, 6, 4, 3)] == [
        pytest.approx(share) for share in (1, 2 / 3, 1 / 3, 0)
    ]
    assert [of(photograph, 6, 6), of(photograph, 6, 7)] == [1, 0]
    assert [of(consecutive, 1, 2, 6), of(consecutive, 1, 1, 5), of(consecutive, 1, 6, 7)] == [
        1,
        0.5,
        0,
    ]


def test_a_shared_changeover_makes_the_two_dates_move_together():
    """Of two that differ in one changeover alone, dates overlap and yet the elder is known."""
    maker = maker_of()
    either = [
        Examination.model_validate({"instrument": name, "maker": "example", "seen": seen})
        for name, seen in (("A-1", {"ends": "wood"}), ("B-2", {"ends": "metal"}))
    ]
    together = compare(maker, either)
    first, second = (estimate(maker, each).probabilities for each in either)
    apart = first @ (1 - second.cumsum()) + 0.5 * first @ second
    assert together.pairs.first[0, 1] > apart + 0.01
    for name, each in zip(together.names, (first, second), strict=True):
        assert together.months_of(name) == pytest.approx(each, abs=0.02)


def test_what_was_learned_from_these_instruments_is_not_counted_twice(tmp_path):
    maker_file, sheet = tmp_path / "example.yaml", tmp_path / "group.csv"
    maker_file.write_text(LEARNING_MAKER, encoding="utf-8")
    sheet.write_text(
        "# maker: example.yaml\ninstrument,built,ends,label\n"
        "E-1,[1930..1934],wood,round\nE-2,[1930..1934],metal,round\nE-3,1933,metal,square\n",
        encoding="utf-8",
    )
    maker = read_maker(maker_file)
    corpus = read_corpus(sheet, maker)
    three = [reference.examination for reference in corpus.references]
    drawn = prior_draws(maker)
    apart = compare(maker, three, learned=drawn)
    assert apart.learned_from == ()
    assert apart.joint.effective < len(apart.joint.weights) - 1
    same = compare(maker, three, learned=replace(drawn, corpus_fingerprint=corpus.fingerprint))
    assert same.learned_from == ("E-1", "E-2", "E-3")
    assert same.joint.effective == pytest.approx(len(same.joint.weights))
    assert same.joint.months == pytest.approx(apart.joint.months)


def test_draws_move_to_where_the_evidence_is():
    """A normal likelihood in one number's score has a posterior that is known."""
    maker = maker_of()
    name = "ends, regime 2, first use"
    number = uncertain_numbers(maker)[name]

    def likelihood(numbers):
        scores = np.log(number.cdf(numbers[name])) - np.log1p(-number.cdf(numbers[name]))
        return -0.5 * ((scores - 4.0) / 0.05) ** 2

    draws = joint_draws(maker, likelihood, size=256, most=4096, seed=3)
    weights = weights_of(draws.log_ratio + likelihood(draws.numbers))
    plain = np.linspace(1e-9, 1 - 1e-9, 2_000_001)
    scores = np.log(plain) - np.log1p(-plain)
    right = np.exp(-0.5 * ((scores - 4.0) / 0.05) ** 2)
    mean = (right * plain).sum() / right.sum()
    assert weights @ number.cdf(draws.numbers[name]) == pytest.approx(mean, abs=2e-4)
    assert len(weights) < 4096


def test_evidence_counts_in_part_where_too_few_draws_would_be_left():
    logs = np.linspace(0, 500, 400)
    weights, share = tempered(np.zeros(400), logs, least=100)
    assert 0 < share < 1
    assert 1 / (weights**2).sum() == pytest.approx(100, abs=1)
    assert tempered(np.zeros(400), np.zeros(400), least=100)[1] == 1.0


def test_what_is_too_much_to_sum_is_counted_in_samples(monkeypatch):
    """With tables of one month alone allowed, a ring is counted, and within its own error."""
    monkeypatch.setattr("dating.succession.joint_months.LARGEST", MONTHS**2)
    joint = joint_of(4, "a ring", RATIO)
    assert joint.is_counted
    combinations, chances = enumerated(4, "a ring", RATIO)
    pairs = pairs_of(joint, joint.samples(joint.picked(SAMPLES)))
    for first in range(4):
        dated = np.bincount(combinations[:, first], chances, MONTHS)
        assert joint.posterior[first] == pytest.approx(dated, abs=0.03)
        for second in range(4):
            if first != second:
                ahead = combinations[:, second] - combinations[:, first]
                error = pairs.error[first, second]
                assert 0 < error < 0.006
                assert pairs.older[first, second] == pytest.approx(
                    chances[ahead > 0].sum(), abs=5 * error
                )


def test_what_no_samples_can_reach_is_refused(monkeypatch):
    monkeypatch.setattr("dating.succession.joint_months.LARGEST", MONTHS - 1)
    joint = joint_of(4, "a photograph", RATIO)
    with pytest.raises(TooEntangledError, match="A-1, B-2, C-3"):
        joint.weights.any()


def test_a_statement_about_an_instrument_that_is_not_there_is_refused():
    group = Group.model_validate(
        {
            "maker": "example",
            "known": [{"older": {"instruments": ["A-1", "B-3"]}, "source": "a letter"}],
        }
    )
    with pytest.raises(InputError, match=r"B-3.*\n.*B-2") as refused:
        compare(maker_of(), examinations(3), group=group)
    assert len(refused.value.problems) == 1


def test_an_instrument_that_comes_twice_is_refused():
    with pytest.raises(InputError, match="comes twice"):
        compare(maker_of(), [*examinations(3), examinations(1)[0]])


def test_what_cannot_be_so_with_what_was_seen_is_refused():
    """A batch of one month is certain, and so is that the two were built in different halves."""
    maker = maker_of()
    papers = ({"not_after": "1931-03", "trust": 1}, {"not_before": "1931-09", "trust": 1})
    each = [
        Examination.model_validate(
            {"instrument": name, "maker": "example", "documents": [{"what": "a bill", **paper}]}
        )
        for name, paper in zip(NAMES, papers, strict=False)
    ]
    said = {"apart": {"instruments": ["A-1", "B-2"], "at_most": 3}, "source": "x"}
    group = {"maker": "example", "known": [{**said, "trust": 1}]}
    with pytest.raises(InputError, match="no months allow this"):
        compare(maker, each, group=Group.model_validate(group))
    group = {"maker": "example", "known": [{**said, "trust": 0.9}]}
    made = compare(maker, each, group=Group.model_validate(group))
    (effect,) = made.effects
    assert effect.clashes
    assert effect.before == effect.after == 0
