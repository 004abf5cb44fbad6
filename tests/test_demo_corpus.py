"""The demo corpus is what its script writes, and agrees with the truth that stands beside it."""

import importlib
import sys
from collections import Counter
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import yaml

from dating import read_corpus, read_maker
from dating.judgement import shifted
from dating.months import Period
from dating.tabulation import month_tables

DEMO = Path("demo_data")
sys.path.append(str(DEMO.resolve()))
simulate_marrowby = importlib.import_module("simulate_marrowby")


@cache
def corpus():
    return read_corpus(DEMO / "marrowby_corpus.csv")


@cache
def truth():
    return yaml.safe_load((DEMO / "marrowby_truth.yaml").read_text("utf-8"))


@cache
def hidden():
    return simulate_marrowby.hidden_maker()


@cache
def judged():
    return read_maker("priors/marrowby.yaml")


def position(label):
    return Period.parse(label).first - judged().period.first


# The files


def test_the_script_writes_the_committed_files(tmp_path):
    simulate_marrowby.main(["--out", str(tmp_path)])
    for name in ("marrowby_corpus.csv", "marrowby_truth.yaml"):
        assert (tmp_path / name).read_bytes() == (DEMO / name).read_bytes()
        assert (DEMO / name).read_text("utf-8").startswith("# Invented: simulated by ")


def test_another_seed_gives_others_and_fewer_rows_the_first_of_more(tmp_path):
    def written(*arguments):
        simulate_marrowby.main(["--out", str(tmp_path), *arguments])
        return (tmp_path / "marrowby_corpus.csv").read_text("utf-8").splitlines()

    few = written("--rows", "20")
    assert len(few) == 23
    assert few[1:] == (DEMO / "marrowby_corpus.csv").read_text("utf-8").splitlines()[1:23]
    assert written("--rows", "20", "--seed", "2")[3:] != few[3:]


def test_there_are_four_hundred_instruments_with_dates_of_every_kind():
    references = corpus().references
    assert len(references) == 400
    assert 0.5 < sum(r.month is not None for r in references) / 400 < 0.7
    texts = [r.built.text for r in references]
    shapes = Counter("".join("9" if c.isdigit() else c for c in text) for text in texts)
    for shape, least in {
        "9999-99": 150, "9999-99-99": 20, "9999": 30, "999X": 3, "[9999-99,9999-99]": 10,
        "[9999-99..9999-99]": 20, "[..9999-99]": 5, "[9999-99..]": 2,
    }.items():  # fmt: skip
        assert shapes[shape] >= least, shape
    assert any((np.diff(np.flatnonzero(r.window)) > 1).any() for r in references)
    assert all(r.known_by for r in references)


def test_about_a_third_was_not_examined_and_some_is_doubtful():
    sights = [s for r in corpus().references for s in r.examination.seen.values()]
    assert 0.6 < len(sights) / (400 * len(judged().features())) < 0.7
    assert all(any(name in r.examination.seen for r in corpus().references)
               for name in judged().features())  # fmt: skip
    assert 0.01 < sum(s.sure is not None for s in sights) / len(sights) < 0.05
    assert 0.01 < sum(s.one_of is not None for s in sights) / len(sights) < 0.05
    assert any(s.other for s in sights)
    found = Counter(
        name
        for r in corpus().references
        for name in (*r.examination.marks, *r.examination.measured)
    )
    assert all(found[name] >= 20 for name in (*judged().marks(), *judged().measurements()))


# The hidden history beside the judgements


def beside(value, judgement, words):
    """Where a value lies beside the middle 90 % of a judgement."""
    low, high = judgement.quantile([0.05, 0.95])
    return words[0] if value < low - 1e-9 else words[1] if value > high + 1e-9 else "within"


@pytest.mark.parametrize(
    "change", simulate_marrowby.CHANGEOVERS, ids=lambda change: f"{change[0]} {change[2]}"
)
def test_hidden_changeovers_lie_beside_the_judgements_as_stated(change):
    name, variant, number, _, overlap, start_lies, overlap_lies = change

    def regime(maker):
        course = maker.variants if name == "variants" else maker.course_of(name, variant or None)
        return course.history[number - 1]

    ours, theirs = regime(hidden()), regime(judged())
    key = "first_use" if theirs.first_use is not None else "lag"
    start = getattr(ours, key).distribution().quantile([0.5])[0]
    said = getattr(theirs, key).distribution()
    assert beside(start, said, ("earlier", "later")) == start_lies
    assert beside(overlap, theirs.overlap.distribution(), ("shorter", "longer")) == overlap_lies
    assert ours.event == theirs.event


def test_judgements_are_biased_and_too_narrow_in_places():
    lies = Counter(change[5] for change in simulate_marrowby.CHANGEOVERS)
    assert lies["earlier"] >= 3
    assert lies["later"] >= 5
    assert lies["within"] > lies["earlier"] + lies["later"]
    places = [(name, variant) for name, variant, *_ in simulate_marrowby.CHANGEOVERS]
    regimes = [r for f in judged().features() for v in judged().variant_names()
               for r in (judged().course_of(f, v).history or ())[1:]]  # fmt: skip
    assert len({id(r) for r in regimes}) + 2 == len(places)  # two are the variants' own


def test_changeovers_that_come_with_an_event_move_with_it():
    events = {name: found["month"] for name, found in truth()["events"].items()}
    linked = [change for change in truth()["changeovers"] if "with" in change]
    assert {change["with"] for change in linked} == set(events)
    for change in linked:
        expected = events[change["with"]] + change["lag"]
        assert change["first_use"] == pytest.approx(expected, abs=0.002)
    for name, month in events.items():
        when = judged().events[name].when.distribution()
        low, high = shifted(when, -judged().period.first).quantile([0.05, 0.95])
        assert low < month < high


def test_the_truth_file_says_what_the_script_says():
    changes = {(c["feature"], c["variant"] or "", c["regime"]): c for c in truth()["changeovers"]}
    assert list(changes) == [change[:3] for change in simulate_marrowby.CHANGEOVERS]
    for name, variant, number, start, overlap, *_ in simulate_marrowby.CHANGEOVERS:
        change = changes[name, variant, number]
        assert change["overlap"] == overlap
        assert position(change["month"]) == int(change["first_use"])
        if isinstance(start, str):
            assert change["month"] == start[:7]
        else:
            assert change["lag"] == start
    assert truth()["slip"]["fingerboard"] == 0.08
    assert truth()["swapped"] == {n: c.swapped.value for n, c in hidden().components.items()}


# The instruments beside the truth


def pairs():
    return [(r, truth()["instruments"][r.examination.instrument]) for r in corpus().references]


def test_every_instrument_has_its_truth():
    names = [r.examination.instrument for r in corpus().references]
    assert names == list(truth()["instruments"]) == [f"R-{n:03d}" for n in range(1, 401)]


def test_stated_dates_hold_but_for_a_few_that_are_trusted_less():
    wrong = [r for r, told in pairs() if told.get("date_wrong")]
    assert 2 <= len(wrong) <= 15
    assert all(r.trust < 1 for r in wrong)
    assert 25 <= sum(r.trust < 1 for r in corpus().references) <= 75
    for reference, told in pairs():
        if not told.get("date_wrong"):
            assert reference.window[position(told["built"])] == 1
    assert any(r.window[position(told["built"])] == 0 for r, told in pairs())


def test_the_variant_is_never_misread():
    for reference, told in pairs():
        if reference.examination.variant is not None:
            assert reference.examination.variant.state == told["variant"]


def test_output_and_swaps_are_as_frequent_as_the_history_has_them():
    output = month_tables(hidden()).output
    built = np.bincount([position(told["built"]) for _, told in pairs()], minlength=len(output))
    for years in np.array_split(np.arange(len(output)), 8):
        assert tail(built[years].sum(), [output[years].sum()] * 400) > 1e-4
    swaps = Counter(part for _, told in pairs() for part in told.get("swapped", {}))
    for part, component in hidden().components.items():
        assert tail(swaps[part], [component.swapped.value] * 400) > 1e-4
    replaced = Counter(name for _, told in pairs() for name in told.get("replaced", []))
    for name, (_, feature) in hidden().features().items():
        assert tail(replaced[name], [feature.replaced.value] * 400) > 1e-4


def tail(count, chances):
    """Probability of a count at least as far out, either way, when each has its own chance."""
    exact = np.ones(1)
    for chance in chances:
        exact = np.convolve(exact, [1 - chance, chance])
    return float(min(1.0, 2 * exact[: count + 1].sum(), 2 * exact[count:].sum()))


def recorded_shares(feature, shares):
    """``(1 - rho) [(1 - e) P(s) + e / S] + rho Q(s)``, states last."""
    slip, replaced, count = feature.slip.value, feature.replaced.value, len(feature.states)
    kinds = feature.replacement or dict.fromkeys(feature.states, 1 / count)
    later = np.array([kinds.get(state, 0.0) for state in feature.states])
    return (1 - replaced) * ((1 - slip) * shares + slip / count) + replaced * later


def tails(maker):
    """Hold the recorded states of every feature against a history, year by year."""
    tables, variants = month_tables(maker), maker.variant_names()
    for name, (part, feature) in maker.features().items():
        shares = np.moveaxis(tables.features[name].by_state().mean(axis=1), 0, -1)
        recorded = recorded_shares(feature, shares)
        rows = []
        for reference, told in pairs():
            sight = reference.examination.seen.get(name)
            if sight is not None and sight.state is not None and sight.sure is None:
                month = position(told.get("swapped", {}).get(part, told["built"]))
                grade = told.get("donor_variants", {}).get(part, told["variant"])
                variant = min(variants.index(grade), len(recorded) - 1)
                rows.append((month, sight.state, recorded[variant, month]))
        for first in range(0, len(maker.period), 12):
            near = [(state, row) for month, state, row in rows if first <= month < first + 12]
            for number, state in enumerate(feature.states):
                if near:
                    seen = sum(other == state for other, _ in near)
                    yield name, first, tail(seen, [row[number] for _, row in near])


def test_states_are_as_frequent_as_the_hidden_ramps_have_them():
    found = np.array([chance for *_, chance in tails(hidden())])
    assert len(found) > 500
    assert found.min() > 0.01 / len(found)
    assert np.mean(found < 0.05) < 0.05
    assert 20 < sum("misread" in told for _, told in pairs()) < 120


def test_the_judgements_do_not_explain_the_corpus():
    found = [(name, chance) for name, _, chance in tails(judged())]
    beyond = {name for name, chance in found if chance < 0.01 / len(found)}
    assert beyond >= {"heel-joint", "bars"}
