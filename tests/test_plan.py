"""The plan for the bench: what looks tell together, what comes first, and what to beware of."""

import json
from itertools import product
from math import prod

import numpy as np
import pytest
from click.testing import CliRunner

import dating
from dating import Examination, InputError, Maker, estimate, month_tables
from dating.advice import information_bits, mark_answers
from dating.cautions import CAUTIONS
from dating.cli.main import main
from dating.examination import Sight
from dating.plan import TROUBLE, _counted, _joint, plan_of
from dating.words.plan import operation_words, plan_told
from dating.words.record import as_record
from dating.words.text import as_text
from tests.enumeration import Enumeration, mutual_information
from tests.inventing import invented_data

WITHIN = 1e-10
MOST = 18
"""Joint answers of an operation that the slow loop goes through."""


@pytest.fixture
def few_draws(monkeypatch):
    """Sixteen draws, as the slow loop goes through each; all of them, and all answers, count."""
    monkeypatch.setattr("dating.plan.MOST_ANSWERS", 4096)
    monkeypatch.setattr("dating.plan.MOST_AGED", 256)
    monkeypatch.setattr("dating.plan.MOST_DRAWS", 256)
    monkeypatch.setattr("dating.learning.learned.POINTS", 2)
    monkeypatch.setattr("dating.learning.learned.MOST_POINTS", 2)


def with_operation(seed):
    """Invent a maker whose first features need one operation; they were not looked at."""
    maker, seen = invented_data(seed)
    answers, opened = 1, []
    if "variants" in maker and seed % 2:
        maker["variants"]["look"] = {"operation": "lid off"}
        seen.pop("variant", None)
        answers = len(maker["variants"]["states"])
        opened.append("variant")
    components = list(maker["components"].values())
    for place in range(5):
        for component in components:
            name, feature = next(iter(list(component["features"].items())[place:]), (None, None))
            if name is not None and answers * len(feature["states"]) <= MOST:
                answers *= len(feature["states"])
                feature["look"] = {"operation": "lid off"}
                seen["seen"].pop(name, None)
                opened.append(name)
    return Maker.model_validate(maker), Examination.model_validate(seen), opened


def enumerated(slow, names):
    """Give P(answers, month) of several looks from the slow loop, row by row."""
    maker, groups = slow.maker, []
    for name in names:
        if name == "variant":
            states = [
                (
                    None,
                    [[[float(v == w)] * len(slow.months) for w in slow.variants]] * len(slow.draws),
                )
                for v in slow.variants
            ]
        else:
            part, feature = maker.features()[name]
            states = [
                (part, slow._feature(name, part, feature, Sight(state=state))[0])
                for state in feature.states
            ]
        groups.append(states)
    return [
        slow.by_month(extra={f"answer {place}": each for place, each in enumerate(answers)})
        for answers in product(*groups)
    ]


@pytest.mark.parametrize("seed", [1, 2, 3, 5, 7, 8, 9, 11, 13, 17, 20, 23])
@pytest.mark.usefixtures("few_draws")
def test_what_looks_tell_together_agrees_with_enumeration(seed):
    maker, examination, opened = with_operation(seed)
    slow = Enumeration(maker, examination, month_tables(maker, 2))
    if slow.evidence() == 0:
        with pytest.raises(InputError, match="no month of the period"):
            estimate(maker, examination)
        return
    made = estimate(maker, examination)
    (operation,) = [each for each in made.plan if each.name == "lid off"]
    assert {look.name for look in operation.looks} == set(opened)
    assert operation.counted == len(opened) >= 2
    wanted = mutual_information(enumerated(slow, opened))
    assert operation.bits == pytest.approx(wanted, abs=WITHIN, rel=0)


def test_the_enumerated_cases_have_swaps_draws_variants_and_several_components():
    cases = [with_operation(seed) for seed in (1, 2, 3, 5, 7, 8, 9, 11, 13, 17, 20, 23)]
    parts = [
        {maker.features()[n][0] for n in opened if n != "variant"} for maker, _, opened in cases
    ]
    assert sum(len(each) > 1 for each in parts) >= 4
    assert sum("variant" in opened for *_, opened in cases) >= 2
    assert sum(month_tables(maker, 2).draws > 1 for maker, *_ in cases) >= 4
    components = [list(maker.components.values()) for maker, *_ in cases]
    assert sum(any(c.swapped.value for c in each) for each in components) >= 4
    aged = [
        {
            maker.components[maker.features()[n][0]].old_stock is not None
            for n in opened
            if n != "variant"
        }
        for maker, _, opened in cases
    ]
    assert sum(True in each for each in aged) >= 3
    assert sum(len(each) == 2 for each in aged) >= 2


# Bounds and approximations ------------------------------------------------------------------------


@pytest.fixture(scope="module")
def maker():
    return dating.read_maker("priors/marrowby.yaml")


@pytest.fixture(scope="module")
def made(maker):
    names = [f"M-{number:03d}" for number in range(1, 11)]
    return {
        name: estimate(maker, dating.read_examination(f"demo_data/examinations/{name}.yaml"))
        for name in names
    }


def test_together_looks_tell_no_less_than_the_best_and_no_more_than_there_is_to_know(made):
    several = 0
    for each in made.values():
        for operation in each.plan:
            assert operation.bits >= operation.looks[0].bits
            assert operation.bits <= each.entropy
            several += operation.counted > 1 and operation.bits > 1.01 * operation.looks[0].bits
    assert several >= 10


def certain(components, **more):
    """A maker without draws, variants and swaps: given the month, answers are independent."""
    told = {"maker": "Example Works", "product": "lyres", "period": "1950-01/1951-12"}
    unswapped = {name: {"swapped": 0} | component for name, component in components.items()}
    return Maker.model_validate(told | {"components": unswapped} | more)


def changed(first_use, **look):
    history = [{"state": "old"}, {"state": "new", "first_use": first_use, "overlap": 5}]
    told = {"ask": "Which?", "states": ["old", "new"], "history": history, "look": look}
    return told | {"slip": 0.1, "replaced": 0}


def dated(**more):
    told = {"ask": "A date?", "lag": 2, "doubt": 0, "replaced": 0}
    return told | {"look": {"operation": "lid off"}} | more


def blank():
    return Examination.model_validate({"instrument": "E-1", "maker": "example"})


def test_where_answers_are_independent_given_the_month_looks_tell_at_most_their_sum():
    features = {f"f{n}": changed(f"1950-{3 * n + 2:02d}", operation="lid off") for n in range(4)}
    (operation,) = estimate(certain({"body": {"features": features}}), blank()).plan
    apart = [look.bits for look in operation.looks]
    assert max(apart) * 1.1 < operation.bits < 0.9 * sum(apart)


@pytest.mark.parametrize("found", [{"found": 0.3}, {"found_at": {"1950-01": 0, "1951-12": 0.9}}])
def test_a_mark_counts_with_the_chance_that_there_is_one(monkeypatch, found):
    monkeypatch.setattr("dating.plan.LOSS", 0.0)
    features = {"f": changed("1950-10", operation="lid off")}
    body = {"features": features, "marks": {"m": dated(**found)}}
    made = estimate(certain({"body": body}), blank())
    (operation,) = made.plan
    states = made.tables.features["f"].recorded_states()[:, 0, 0]
    dates = mark_answers(made.maker, made.tables, "m")[:, 0, 0]
    assert dates.sum(axis=0) == pytest.approx(1)
    there = np.linspace(0, 0.9, 24) if "found_at" in found else np.full(24, 0.3)
    every = [*(dates * there), 1 - there]
    joint = np.concatenate([states * date for date in every]) * made.tables.output
    assert operation.bits == pytest.approx(information_bits(joint), abs=WITHIN, rel=0)
    alone = information_bits(states * made.tables.output)
    assert operation.bits > alone
    if "found" in found:
        both = information_bits(np.concatenate([states * d for d in dates]) * made.tables.output)
        assert operation.bits == pytest.approx(0.3 * both + 0.7 * alone, abs=WITHIN, rel=0)


def test_dates_of_parts_from_one_stock_are_partly_one_story():
    def bits(stock):
        marks = {f"m{n}": dated(lag=[0, 1, 2], stock=stock[n]) for n in range(2)}
        stocks = {name: {"delay": [0, 4, 11]} for name in stock}
        (operation,) = estimate(certain({"body": {"marks": marks}}, stocks=stocks), blank()).plan
        assert operation.counted == 2
        return operation.bits

    assert bits(("bin", "bin")) < 0.9 * bits(("bin", "shelf"))


def test_looks_at_what_may_be_old_stock_are_counted_up_to_a_number_of_their_own(monkeypatch):
    features = {f"f{n}": changed(f"1950-{3 * n + 2:02d}", operation="lid off") for n in range(4)}
    old = {"chance": 0.3, "age": [1, 4, 9]}
    body = {"features": features, "old_stock": old}

    def plan(maker):
        (operation,) = estimate(maker, blank()).plan
        return operation

    aged, new = plan(certain({"body": body})), plan(certain({"body": {"features": features}}))
    assert aged.counted == new.counted == 4
    assert aged.bits < new.bits
    monkeypatch.setattr("dating.plan.MOST_AGED", 8)
    assert plan(certain({"body": body})).counted == 3
    assert plan(certain({"body": {"features": features}})).counted == 4


def test_dates_put_together_lose_as_little_as_is_said(made, monkeypatch):
    few = made["M-008"].plan
    monkeypatch.setattr("dating.plan.LOSS", 0.0)
    monkeypatch.setattr("dating.plan.MOST_ANSWERS", 10**6)
    looks = [look for look in made["M-008"].advice if look.name in {"heel-pencil", "bars"}]
    (exact,) = plan_of(made["M-008"].weighing, made["M-008"].maker, looks)
    (rough,) = [each for each in few if each.name == exact.name]
    assert rough.counted >= 2
    assert 0.97 * exact.bits <= rough.bits <= exact.bits + 0.03


def test_some_of_the_draws_suffice(made, monkeypatch):
    each = made["M-005"]
    names = {"end-block", "lining", "heel-joint", "neck-depth"}
    looks = [look for look in each.advice if look.name in names]
    (whole,) = plan_of(each.weighing, each.maker, looks)
    monkeypatch.setattr("dating.plan.MOST_DRAWS", 24)
    (some,) = plan_of(each.weighing, each.maker, looks)
    assert some.bits != whole.bits
    assert some.bits == pytest.approx(whole.bits, abs=0.02)
    answers = _counted(each.weighing, each.maker, looks)
    months = _joint(each.weighing, looks, answers).sum(axis=0) / each.weighing.evidence
    assert months == pytest.approx(each.probabilities, abs=1e-12)


def test_more_answers_than_are_weighed_leave_looks_uncounted(made, monkeypatch):
    each = made["M-005"]
    looks = [look for look in each.advice if look.kind == "feature" and look.operation]
    (all_,) = plan_of(each.weighing, each.maker, looks)
    assert all_.counted == len(looks) == 4
    counts = [len(each.maker.features()[look.name][1].states) for look in looks]
    monkeypatch.setattr("dating.plan.MOST_ANSWERS", prod(counts[:3]))
    (three,) = plan_of(each.weighing, each.maker, looks)
    assert three.counted == 3
    assert looks[0].bits < three.bits < all_.bits
    assert "3 most telling of its 4 looks" in operation_words(three)
    monkeypatch.setattr("dating.plan.MOST_ANSWERS", 1)
    (one,) = plan_of(each.weighing, each.maker, looks)
    assert (one.counted, one.bits) == (1, looks[0].bits)


def test_numbers_of_any_magnitude_give_the_same_plan(made):
    each = made["M-003"]
    plain = plan_of(each.weighing, each.maker, each.advice)
    wide = plan_of(each.weighing.widened(), each.maker, each.advice)
    assert [o.bits for o in wide] == pytest.approx([o.bits for o in plain], abs=1e-9)


@pytest.mark.usefixtures("few_draws")
def test_numbers_of_any_magnitude_give_the_same_plan_with_old_stock():
    maker, examination, _ = with_operation(2)
    assert any(component.old_stock for component in maker.components.values())
    each = estimate(maker, examination)
    plain = plan_of(each.weighing, each.maker, each.advice)
    wide = plan_of(each.weighing.widened(), each.maker, each.advice)
    assert [o.bits for o in wide] == pytest.approx([o.bits for o in plain], abs=1e-9)


# Order --------------------------------------------------------------------------------------------


def test_what_is_free_and_safe_comes_first_then_what_is_worth_its_trouble(made):
    for each in made.values():
        free = [operation.is_free for operation in each.plan]
        assert free == sorted(free, reverse=True)
        worth = [o.bits / TROUBLE[o.invasive] for o in each.plan if not o.is_free]
        assert worth == sorted(worth, reverse=True)
    free, *others = made["M-005"].plan
    assert (free.name, free.invasive) == ("", "none")
    assert max(other.bits for other in others) > free.bits
    assert [o.name for o in others][:2] == ["strings slackened", "tuner plate loose"]


def test_trouble_can_outweigh_what_is_told():
    def order(invasive):
        features = {
            "little": changed("1951-08", operation="lid off", invasive="low"),
            "much": changed("1951-01", operation="back off", invasive=invasive),
        }
        plan = estimate(certain({"body": {"features": features}}), blank()).plan
        assert {o.name: o.bits for o in plan}["back off"] > {o.name: o.bits for o in plan}[
            "lid off"
        ]
        return [operation.name for operation in plan]

    assert order("low") == ["back off", "lid off"]
    assert order("high") == ["lid off", "back off"]


def test_where_nothing_has_to_be_done_first_each_degree_stands_for_itself():
    degrees = {"1951-11": "none", "1951-01": "low", "1951-02": "low", "1951-03": "high"}
    features = {month: changed(month, invasive=degree) for month, degree in degrees.items()}
    plan = estimate(certain({"body": {"features": features}}), blank()).plan
    assert [(o.name, o.invasive, len(o.looks)) for o in plan] == [
        ("", "none", 1),
        ("", "low", 2),
        ("", "high", 1),
    ]
    assert plan[1].bits > 4 * plan[0].bits


def test_an_operation_is_as_invasive_as_the_most_invasive_of_its_looks():
    features = {
        "f1": changed("1951-01", operation="back off", invasive="low"),
        "f2": changed("1950-11", operation="back off", invasive="high"),
        "f3": changed("1950-08", operation="back off"),
    }
    (operation,) = estimate(certain({"body": {"features": features}}), blank()).plan
    assert operation.invasive == "high"


# Cautions -----------------------------------------------------------------------------------------


def cautioned(look, component=(), of_maker=(), elsewhere=()):
    body = {"features": {"f": changed("1951-01", **look)}, "materials": list(component)}
    other = {"features": {}, "materials": list(elsewhere)}
    maker = certain({"body": body, "cabinet": other}, materials=list(of_maker))
    made = estimate(maker, blank())
    (operation,) = made.plan
    (look,) = made.advice
    assert sorted(operation.cautions) == sorted(look.cautions)
    assert look.caution == "; ".join(look.cautions)
    return list(look.cautions)


MAINS = CAUTIONS["mains"]


@pytest.mark.parametrize("look", [{"operation": "chassis out"}, {"invasive": "low"}])
@pytest.mark.parametrize("where", ["component", "of_maker", "elsewhere"])
def test_no_look_into_what_has_a_mains_transformer_is_without_its_caution(look, where):
    assert cautioned(look, **{where: ["mains transformer"]}) == [MAINS]
    assert cautioned({}, **{where: ["mains transformer"]}) == []


def test_materials_bring_their_hazards_once_beside_those_of_the_look():
    look = {"operation": "chassis out", "hazards": ["lead", "mains"], "caution": "heavy"}
    told = cautioned(look, ["valves"], ["mains transformer"], ["old finish"])
    hazards = ["lead", "mains", "stored charge", "hot glass"]
    assert sorted(told[:-1]) == sorted(CAUTIONS[hazard] for hazard in hazards)
    assert told[-1] == "heavy"


def test_every_output_shows_the_cautions_that_materials_bring(tmp_path):
    (tmp_path / "example.yaml").write_text(
        json.dumps(
            {
                "maker": "Example Works",
                "product": "amplifiers",
                "period": "1950-01/1951-12",
                "components": {
                    "chassis": {
                        "materials": ["mains transformer", "capacitors"],
                        "features": {"f": changed("1951-01", operation="chassis out")},
                    }
                },
            }
        )
    )
    (tmp_path / "E-1.yaml").write_text("instrument: E-1\nmaker: example\n")
    for form in ("text", "json", "yaml"):
        shown = run("estimate", tmp_path / "E-1.yaml", "--as", form)
        words = " ".join(shown.stdout.split())
        assert MAINS in words, form
        assert CAUTIONS["stored charge"] in words, form
    made = estimate(
        dating.read_maker(tmp_path / "example.yaml"),
        dating.read_examination(tmp_path / "E-1.yaml"),
    )
    tree = made.to_datatree()
    assert MAINS in str(tree["advice"]["caution"].values[0])
    assert MAINS in str(tree["plan"]["caution"].values[0])


def test_the_demo_has_each_caution_of_an_operation_once(made):
    for each in made.values():
        for operation in each.plan:
            assert len(set(operation.cautions)) == len(operation.cautions)
            wanted = {caution for look in operation.looks for caution in look.cautions}
            assert set(operation.cautions) == wanted
        for look in each.advice:
            if look.operation or look.invasive != "none":
                assert CAUTIONS["string tension"] in look.cautions


# Skipping and words -------------------------------------------------------------------------------


def run(*arguments):
    return CliRunner().invoke(main, list(map(str, arguments)))


def test_what_cannot_be_done_today_is_left_out_of_the_plan_alone(made):
    each = made["M-005"]
    rest = each.skip("strings slackened")
    assert [o.name for o in each.plan if o.name != "strings slackened"] == [
        o.name for o in rest.plan
    ]
    assert [o.bits for o in rest.plan] == [
        o.bits for o in each.plan if o.name != "strings slackened"
    ]
    assert rest.advice == each.advice
    assert rest.skip("tuner plate loose").not_today == ("strings slackened", "tuner plate loose")
    assert not any(o.name == "strings slackened" for o in rest.skip("tuner plate loose").plan)


def test_an_operation_that_no_look_has_is_refused_with_the_nearest(made):
    with pytest.raises(InputError) as refusal:
        made["M-005"].skip("string slackened", "tuner plate loose", "back off")
    first, second = refusal.value.problems
    assert (first.found, first.nearest) == ("'string slackened'", "strings slackened")
    assert first.allowed == "strings slackened, tailpiece cover off, tuner plate loose"
    assert second.found == "'back off'"


def test_the_command_leaves_out_what_cannot_be_done_today():
    file, lowered = "demo_data/examinations/M-005.yaml", ("--not-today", "strings slackened")
    plain, rest = run("estimate", file), run("estimate", file, *lowered)
    assert "First: strings slackened; how invasive: low." in plain.stdout
    assert "First: strings slackened" not in rest.stdout
    assert "Not today: strings slackened." in rest.stdout
    both = run("estimate", file, *lowered, "--not-today", "tuner plate loose", "--as", "json")
    record = json.loads(both.stdout)
    assert record["not_today"] == ["strings slackened", "tuner plate loose"]
    assert [each["operation"] for each in record["plan"]] == [""]
    wrong = run("estimate", file, "--not-today", "strings slack")
    assert wrong.exit_code == 2
    assert "nearest:  strings slackened" in wrong.stderr


def test_few_looks_and_few_operations_are_told(made):
    for each in made.values():
        told = plan_told(each)
        assert 1 <= len(told) <= 3
        assert sum(len(looks) for _, looks in told) <= 6
        for operation, looks in told:
            assert looks == tuple(look for look in operation.looks if look in looks)
            assert looks[0] == operation.looks[0]


def test_the_text_shows_each_operation_with_its_looks(made):
    each = made["M-005"]
    words = " ".join(as_text(each).split())
    for operation, looks in plan_told(each):
        start = words.index(operation_words(operation))
        for look in looks:
            start = words.index(f"{look.bits:.2f} bits {look.name.replace('-', ' ')}:", start)
    assert words.count(CAUTIONS["string tension"]) == 2


def test_the_record_has_the_plan_as_it_is(made):
    each = made["M-008"]
    record = as_record(each)
    assert [
        (o["operation"], o["invasive"], o["gain"], o["counted"], tuple(o["cautions"]))
        for o in record["plan"]
    ] == [(o.name, o.invasive, o.bits, o.counted, o.cautions) for o in each.plan]
    by_name = {look["name"]: look["operation"] for look in record["look_next"]}
    for operation in record["plan"]:
        assert {by_name[name] for name in operation["looks"]} == {operation["operation"]}
