"""What must hold for every maker and examination: order, neutrality, limits, gain, sets."""

import copy

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from dating import Examination, InputError, Maker, estimate
from dating.months import Period
from dating.summaries import entropy_bits, equal_tailed, highest_density, mass_by_year
from tests.inventing import Inventor, invented_data

SEEDS = st.integers(0, 10**6)
FEW = settings(max_examples=40)
EXACT = 1e-12


@pytest.fixture(autouse=True, scope="module")
def few_draws():
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("dating.learning.learned.POINTS", 2)
        patch.setattr("dating.learning.learned.MOST_POINTS", 2)
        yield


def dated(maker, examination, **options):
    """Date an instrument from plain data; skip what no month allows."""
    try:
        return estimate(
            Maker.model_validate(maker), Examination.model_validate(examination), **options
        )
    except InputError as refusal:
        if "no month of the period" not in str(refusal):
            raise
        return assume(False)


def same(one, other, within=EXACT):
    assert one.probabilities == pytest.approx(other.probabilities, abs=within)
    for part, chance in one.originality.items():
        assert other.originality[part] == pytest.approx(chance, abs=within)


def features_of(maker):
    return {n: f for c in maker["components"].values() for n, f in c["features"].items()}


# Distributions


@FEW
@given(SEEDS)
def test_everything_that_is_a_distribution_sums_to_one(seed):
    made = dated(*invented_data(seed))
    assert made.probabilities.min() >= 0
    assert made.probabilities.sum() == pytest.approx(1, abs=EXACT)
    assert made.posterior.sizes == {"month": len(made.period)}
    assert float(made.years().sum()) == pytest.approx(1, abs=EXACT)
    assert made.component_months.sum("month").values == pytest.approx(1, abs=EXACT)
    if made.maker.variants:
        assert sum(made.variant_chances.values()) == pytest.approx(1, abs=EXACT)
    for chance in [*made.originality.values(), *made.replaced.values.tolist()]:
        assert 0 <= chance <= 1 + EXACT


@FEW
@given(SEEDS)
def test_states_of_every_feature_are_a_distribution_in_every_month(seed):
    made = dated(*invented_data(seed))
    for name in features_of(invented_data(seed)[0]):
        table = made.tables.feature(name)
        assert float(table.min()) >= 0
        assert table.sum("state").values == pytest.approx(1, abs=EXACT)


@FEW
@given(SEEDS, SEEDS)
def test_the_same_seed_gives_the_same_bits(seed, draws):
    first = dated(*invented_data(seed), seed=draws)
    again = dated(*invented_data(seed), seed=draws)
    assert (first.probabilities == again.probabilities).all()
    assert first.weighing.by_month.tobytes() == again.weighing.by_month.tobytes()
    assert [f.surprise for f in first.findings] == [f.surprise for f in again.findings]


# What must not matter


@FEW
@given(SEEDS, st.randoms(use_true_random=False))
def test_the_order_of_the_evidence_does_not_matter(seed, shuffler):
    maker, examination = invented_data(seed)
    turned = copy.deepcopy(examination)
    for group in ("seen", "marks", "measured"):
        turned[group] = dict(shuffler.sample(list(turned[group].items()), len(turned[group])))
    shuffler.shuffle(turned["documents"])
    same(dated(maker, examination), dated(maker, turned))


@FEW
@given(SEEDS)
def test_what_is_unlisted_unexamined_or_untrusted_changes_nothing(seed):
    maker, examination = invented_data(seed)
    bare = copy.deepcopy(examination)
    bare["documents"] = [paper for paper in bare["documents"] if paper["trust"] > 0]
    bare["seen"] = {n: s for n, s in bare["seen"].items() if _says_something(s)}
    told = copy.deepcopy(bare)
    told["documents"].append({"what": "rumour", "not_before": "1954", "trust": 0})
    for position, name in enumerate(features_of(maker)):
        if name not in bare["seen"]:
            told["seen"][name] = [{"other": "green"}, "not examined", None][position % 3]
    without, with_them = dated(maker, bare), dated(maker, told)
    same(without, with_them)
    assert len(without.findings) == len(with_them.findings) - 1


def _says_something(sight):
    return sight not in (None, "not examined") and not (
        isinstance(sight, dict) and "other" in sight
    )


@FEW
@given(SEEDS)
def test_renaming_the_states_changes_nothing(seed):
    maker, examination = invented_data(seed)
    words = {"one": "uno", "two": "two ", "three": "3", "four": "four: or so"}
    same(dated(maker, examination), dated(_renamed(maker, words), _renamed(examination, words)))


def _renamed(data, words):
    if isinstance(data, dict):
        return {words.get(key, key): _renamed(value, words) for key, value in data.items()}
    if isinstance(data, list):
        return [_renamed(value, words) for value in data]
    return words.get(data, data) if isinstance(data, str) else data


@FEW
@given(SEEDS)
def test_a_component_that_is_surely_swapped_is_silent_about_the_build(seed):
    """With certain shared numbers: else its evidence still speaks of those.

    Nor does the examiner know that it is original.
    """
    maker, examination = invented_data(seed)
    for event in maker["events"].values():
        event["when"] = "1952-06-11"
    for stock in maker.get("stocks", {}).values():
        stock["delay"] = 2
    maker.pop("variants", None) if _judged(maker) else None
    assume("variants" in maker or not _mentions(maker, "by_variant"))
    part, component = list(maker["components"].items())[-1]
    component["swapped"] = 1
    examination.get("parts", {}).pop(part, None)
    silent = copy.deepcopy(examination)
    for group, kind in (("seen", "features"), ("marks", "marks"), ("measured", "measurements")):
        silent[group] = {n: s for n, s in silent[group].items() if n not in component[kind]}
    if not maker.get("variants"):
        examination.pop("variant", None)
        silent.pop("variant", None)
    without, with_it = dated(maker, silent), dated(maker, examination)
    assert with_it.probabilities == pytest.approx(without.probabilities, abs=EXACT)
    assert with_it.originality[part] == 0


def _judged(maker):
    return any(
        isinstance(regime.get(key), list | dict)
        for regime in maker.get("variants", {}).get("history", [])
        for key in ("first_use", "overlap", "lag")
    )


def _mentions(data, key):
    if isinstance(data, dict):
        return key in data or any(_mentions(value, key) for value in data.values())
    return isinstance(data, list) and any(_mentions(value, key) for value in data)


@FEW
@given(SEEDS)
def test_spans_of_zero_are_the_limit_of_short_spans(seed):
    maker, examination = invented_data(seed)
    at_once, soon = _with_spans(maker, 0), _with_spans(maker, 1e-7)
    same(dated(at_once, examination), dated(soon, examination), within=1e-5)


def _with_spans(data, length):
    """Replace every overlap and lag; slips keep what is impossible from deciding alone."""
    if isinstance(data, dict):
        made = {key: _with_spans(value, length) for key, value in data.items()}
        spans = {key: length for key in ("overlap", "lag") if key in made}
        return made | spans | ({"slip": 0.05} if "slip" in made else {})
    if isinstance(data, list):
        return [_with_spans(value, length) for value in data]
    return data


# What one more look brings


@FEW
@given(SEEDS)
def test_one_more_look_never_costs_and_brings_what_advice_says(seed):
    """Date again with each answer: the entropy falls on average, by the bits of the advice."""
    maker, examination = invented_data(seed)
    now = dated(maker, examination)
    looks = [advice for advice in now.advice if advice.kind in ("feature", "variant")]
    for advice in looks[:3]:
        expected = 0.0
        for answer, chance in advice.answers.items():
            told = copy.deepcopy(examination)
            if advice.kind == "variant":
                told["variant"] = answer
            else:
                told["seen"][advice.name] = answer
            if chance > 1e-13:
                expected += chance * dated(maker, told).entropy
        assert expected <= now.entropy + EXACT
        assert now.entropy - expected == pytest.approx(advice.bits, abs=1e-9)
    assert [a.bits for a in now.advice] == sorted((a.bits for a in now.advice), reverse=True)


@FEW
@given(SEEDS)
def test_what_was_examined_is_not_advised_again(seed):
    maker, examination = invented_data(seed)
    made = dated(maker, examination)
    examined = {piece.name for piece in made.pieces} | {n.name for n in made.neutral}
    advised = {advice.name for advice in made.advice}
    assert not examined & advised
    model = made.maker
    everything = [*model.features(), *model.marks(), *model.measurements()]
    assert set(everything) <= examined | advised


def test_what_is_settled_already_is_not_settled_again():
    """Two papers that bound alike: each adds nothing to the other, and no infinities meet."""
    maker, _ = invented_data(3)
    maker.pop("output", None)
    paper = {"what": "letter", "not_after": maker["period"][:7], "trust": 1}
    examination = {"instrument": "E-1", "maker": "example", "documents": [paper, paper]}
    made = estimate(*(m.model_validate(d) for m, d in ((Maker, maker), (Examination, examination))))
    assert [finding.weight for finding in made.findings] == [0, 0]
    assert [finding.shift for finding in made.findings] == [0, 0]


# Sets of months


@st.composite
def posteriors(draw):
    weights = draw(st.lists(st.one_of(st.just(0.0), st.floats(1e-6, 1)), min_size=1, max_size=60))
    assume(sum(weights) > 0)
    probabilities = np.array(weights) / sum(weights)
    return probabilities, Period(23000, 23000 + len(weights) - 1)


@given(posteriors(), st.floats(0.01, 0.99))
def test_equal_tails_leave_no_more_than_half_on_either_side(posterior, level):
    probabilities, period = posterior
    (stretch,) = equal_tailed(probabilities, period, level).stretches
    before = probabilities[: stretch.first - period.first].sum()
    after = probabilities[stretch.last + 1 - period.first :].sum()
    assert max(before, after) <= (1 - level) / 2 + 1e-9


@given(posteriors())
def test_entropy_lies_between_certainty_and_ignorance(posterior):
    probabilities, period = posterior
    assert -EXACT <= entropy_bits(probabilities) <= np.log2(len(probabilities)) + 1e-9
    assert mass_by_year(probabilities, period).sum() == pytest.approx(1)


@pytest.mark.parametrize("level", [0, 1, -0.2, 1.5])
def test_a_level_is_neither_none_nor_all(level):
    period, flat = Period(23000, 23009), np.full(10, 0.1)
    for make in (highest_density, equal_tailed):
        with pytest.raises(ValueError, match="both excluded"):
            make(flat, period, level)
    with pytest.raises(ValueError, match="both excluded"):
        estimate(*_smallest(), level=level)


def _smallest():
    inventor = Inventor(0)
    maker = inventor.maker()
    return Maker.model_validate(maker), Examination(instrument="E-1", maker="example")


def test_before_anything_is_seen_the_posterior_is_the_prior():
    made = estimate(*_smallest())
    assert made.probabilities == pytest.approx(made.tables.output, abs=EXACT)
    assert made.findings == ()
    for name, component in made.maker.components.items():
        assert made.originality[name] == pytest.approx(1 - component.swapped.value)
