"""The demo corpora are what their scripts write, and agree with the truth beside them."""

import datetime
from collections import Counter

import numpy as np
import pytest

from dating.judgement import shifted
from dating.likelihoods import mark_stretches
from dating.tabulation import month_tables
from tests.demos import DEMO, demo, tail

ROWS = {"marrowby": 400, "velquist": 200}
NAMES = list(ROWS)
CHANGEOVERS = [(name, change) for name in NAMES for change in demo(name).changeovers]
ALL = pytest.mark.parametrize("name", NAMES)

# The files


@ALL
def test_the_script_writes_the_committed_files(name, tmp_path):
    demo(name).script.main(["--out", str(tmp_path)])
    for file in demo(name).files:
        assert (tmp_path / file).read_bytes() == (DEMO / file).read_bytes()
        assert (DEMO / file).read_text("utf-8").startswith("# Invented: simulated by ")


@ALL
def test_another_seed_gives_others_and_fewer_rows_the_first_of_more(name, tmp_path):
    corpus = demo(name).files[0]

    def written(*arguments):
        demo(name).script.main(["--out", str(tmp_path), *arguments])
        return (tmp_path / corpus).read_text("utf-8").splitlines()

    few = written("--rows", "20")
    assert len(few) == 23
    assert few[1:] == (DEMO / corpus).read_text("utf-8").splitlines()[1:23]
    assert written("--rows", "20", "--seed", "2")[3:] != few[3:]


@ALL
def test_there_are_so_many_instruments_with_dates_of_every_kind(name):
    references, rows = demo(name).references, ROWS[name]
    assert len(references) == rows
    assert 0.5 < sum(r.month is not None for r in references) / rows < 0.7
    texts = [r.built.text for r in references]
    shapes = Counter("".join("9" if c.isdigit() else c for c in text) for text in texts)
    for shape, least in {
        "9999-99": 150, "9999-99-99": 20, "9999": 30, "999X": 3, "[9999-99,9999-99]": 10,
        "[9999-99..9999-99]": 20, "[..9999-99]": 5, "[9999-99..]": 2,
    }.items():  # fmt: skip
        assert shapes[shape] >= least * rows // 400, shape
    assert any((np.diff(np.flatnonzero(r.window)) > 1).any() for r in references)
    assert all(r.known_by for r in references)


@ALL
def test_about_a_third_was_not_examined_and_some_is_doubtful(name):
    references, judged = demo(name).references, demo(name).judged
    sights = [s for r in references for s in r.examination.seen.values()]
    assert 0.6 < len(sights) / (len(references) * len(judged.features())) < 0.7
    assert all(any(thing in r.examination.seen for r in references)
               for thing in judged.features())  # fmt: skip
    assert 0.01 < sum(s.sure is not None for s in sights) / len(sights) < 0.05
    assert 0.01 < sum(s.one_of is not None for s in sights) / len(sights) < 0.05
    assert any(s.other for s in sights)
    found = Counter(
        thing for r in references for thing in (*r.examination.marks, *r.examination.measured)
    )
    assert all(found[thing] >= 20 for thing in (*judged.marks(), *judged.measurements()))


# The hidden history beside the judgements


def beside(value, judgement, words):
    """Where a value lies beside the middle 90 % of a judgement."""
    low, high = judgement.quantile([0.05, 0.95])
    return words[0] if value < low - 1e-9 else words[1] if value > high + 1e-9 else "within"


@pytest.mark.parametrize(
    ("name", "change"),
    CHANGEOVERS,
    ids=[f"{name} {change[0]} {change[2]}" for name, change in CHANGEOVERS],
)
def test_hidden_changeovers_lie_beside_the_judgements_as_stated(name, change):
    thing, variant, number, _, overlap, start_lies, overlap_lies = change

    def regime(maker):
        course = maker.variants if thing == "variants" else maker.course_of(thing, variant or None)
        return course.history[number - 1]

    ours, theirs = regime(demo(name).hidden), regime(demo(name).judged)
    key = "first_use" if theirs.first_use is not None else "lag"
    start = getattr(ours, key).distribution().quantile([0.5])[0]
    said = getattr(theirs, key).distribution()
    assert beside(start, said, ("earlier", "later")) == start_lies
    assert beside(overlap, theirs.overlap.distribution(), ("shorter", "longer")) == overlap_lies
    assert ours.event == theirs.event


@ALL
def test_judgements_are_biased_and_too_narrow_in_places(name):
    judged, changeovers = demo(name).judged, demo(name).changeovers
    lies = Counter(change[5] for change in changeovers)
    assert lies["earlier"] >= {"marrowby": 3, "velquist": 1}[name]
    assert lies["later"] >= {"marrowby": 5, "velquist": 3}[name]
    assert lies["within"] > lies["earlier"] + lies["later"]
    assert any(change[6] == "longer" for change in changeovers)
    regimes = [r for f in judged.features() for v in judged.variant_names()
               for r in (judged.course_of(f, v).history or ())[1:]]  # fmt: skip
    assert len({id(r) for r in regimes}) + 2 == len(changeovers)  # two are the variants' own


@ALL
def test_changeovers_that_come_with_an_event_move_with_it(name):
    truth, judged = demo(name).truth, demo(name).judged
    events = {event: found["month"] for event, found in truth["events"].items()}
    linked = [change for change in truth["changeovers"] if "with" in change]
    assert {change["with"] for change in linked} == set(events)
    for change in linked:
        expected = events[change["with"]] + change["lag"]
        assert change["first_use"] == pytest.approx(expected, abs=0.002)
    for event, month in events.items():
        when = judged.events[event].when.distribution()
        low, high = shifted(when, -judged.period.first).quantile([0.05, 0.95])
        assert low < month < high


@ALL
def test_the_truth_file_says_what_the_script_says(name):
    truth, hidden = demo(name).truth, demo(name).hidden
    changes = {(c["feature"], c["variant"] or "", c["regime"]): c for c in truth["changeovers"]}
    assert list(changes) == [change[:3] for change in demo(name).changeovers]
    for thing, variant, number, start, overlap, *_ in demo(name).changeovers:
        change = changes[thing, variant, number]
        assert change["overlap"] == overlap
        assert demo(name).position(change["month"]) == int(change["first_use"])
        if isinstance(start, str):
            assert change["month"] == start[:7]
        else:
            assert change["lag"] == start
    slipped, chance = {"marrowby": ("fingerboard", 0.08), "velquist": ("resistors", 0.04)}[name]
    assert truth["slip"][slipped] == chance
    assert truth["swapped"] == {n: c.swapped.value for n, c in hidden.components.items()}


# The instruments beside the truth


@ALL
def test_every_instrument_has_its_truth(name):
    names = [r.examination.instrument for r in demo(name).references]
    expected = [f"R-{n:03d}" for n in range(1, ROWS[name] + 1)]
    assert names == list(demo(name).truth["instruments"]) == expected


@ALL
def test_stated_dates_hold_but_for_a_few_that_are_trusted_less(name):
    references, pairs, rows = demo(name).references, demo(name).pairs, ROWS[name]
    wrong = [r for r, told in pairs if told.get("date_wrong")]
    assert 2 * rows <= 400 * len(wrong) <= 15 * rows
    assert all(r.trust < 1 for r in wrong)
    assert 25 * rows <= 400 * sum(r.trust < 1 for r in references) <= 75 * rows
    for reference, told in pairs:
        if not told.get("date_wrong"):
            assert reference.window[demo(name).position(told["built"])] == 1
    assert any(r.window[demo(name).position(told["built"])] == 0 for r, told in pairs)


@ALL
def test_the_variant_is_never_misread(name):
    for reference, told in demo(name).pairs:
        if reference.examination.variant is not None:
            assert reference.examination.variant.state == told["variant"]


@ALL
def test_output_and_swaps_are_as_frequent_as_the_history_has_them(name):
    hidden, pairs, rows = demo(name).hidden, demo(name).pairs, ROWS[name]
    output = month_tables(hidden).output
    months = [demo(name).position(told["built"]) for _, told in pairs]
    built = np.bincount(months, minlength=len(output))
    for years in np.array_split(np.arange(len(output)), 8):
        assert tail(built[years].sum(), [output[years].sum()] * rows) > 1e-4
    swaps = Counter(part for _, told in pairs for part in told.get("swapped", {}))
    for part, component in hidden.components.items():
        assert tail(swaps[part], [component.swapped.value] * rows) > 1e-4
    replaced = Counter(thing for _, told in pairs for thing in told.get("replaced", []))
    for thing, (_, feature) in hidden.features().items():
        assert tail(replaced[thing], [feature.replaced.value] * rows) > 1e-4


@ALL
def test_states_are_as_frequent_as_the_hidden_ramps_have_them(name):
    pairs, rows = demo(name).pairs, ROWS[name]
    found = np.array([chance for *_, chance in demo(name).tails(demo(name).hidden)])
    assert len(found) > 500
    assert found.min() > 0.01 / len(found)
    assert np.mean(found < 0.05) < 0.05
    assert 20 * rows < 400 * sum("misread" in told for _, told in pairs) < 120 * rows


@ALL
def test_the_judgements_do_not_explain_the_corpus(name):
    found = [(thing, chance) for thing, _, chance in demo(name).tails(demo(name).judged)]
    beyond = {thing for thing, chance in found if chance < 0.01 / len(found)}
    assert (
        beyond >= {"marrowby": {"heel-joint", "bars"}, "velquist": {"rectifier", "lettering"}}[name]
    )


# Coded parts of the second maker


def velquist_marks(thing):
    """Each code, or date, with what is true of its instrument."""
    for reference, told in demo("velquist").pairs:
        text = reference.examination.marks.get(thing)
        if text is not None:
            yield text, told


DAY = datetime.date(2026, 6, 1)
CODES = {"transformer-code": "9047", "speaker-code": "9312", "potentiometer-code": "9188"}


@pytest.mark.parametrize("thing", CODES)
def test_codes_name_their_supplier_and_a_week_of_either_length(thing):
    texts = [text for text, _ in velquist_marks(thing)]
    assert {text.split("-")[0] for text in texts} == {CODES[thing]}
    assert {len(text.split("-")[1]) for text in texts} == {3, 4}


@pytest.mark.parametrize("thing", CODES)
def test_codes_of_the_build_lie_before_it_and_those_of_later_parts_after(thing):
    new = demo("velquist")
    period, (_, mark) = new.judged.period, new.judged.marks()[thing]
    late = 0
    for text, told in velquist_marks(thing):
        part = new.judged.marks()[thing][0]
        built = new.position(told.get("swapped", {}).get(part, told["built"]))
        built = max(built - told.get("old_stock", {}).get(part, 0), 0)
        last = mark_stretches(text, mark, period, DAY)[-1]
        first = mark_stretches(text, mark, period, DAY)[0]
        if thing in told.get("later_marks", []):
            late += 1
            assert last[1] > built
        elif thing not in new.script.HABITS.doubts:
            assert first[0] < built + 1
    expected = new.hidden.marks()[thing][1].replaced.value
    assert tail(late, [expected] * len(list(velquist_marks(thing)))) > 1e-4


def test_parts_from_one_bin_were_late_together():
    new, bin_ = demo("velquist"), ("transformer-code", "speaker-code")
    waits = []
    for reference, told in new.pairs:
        marks = reference.examination.marks
        plain = not {"later_marks", "swapped", "old_stock"} & set(told)
        if plain and all(marks.get(thing) for thing in bin_):
            waits.append([wait(marks[thing], thing, new, told) for thing in bin_])
    waits = np.array([pair for pair in waits if max(pair) < 40])  # the rest tell no build
    assert len(waits) > 20
    assert np.corrcoef(waits.T)[0, 1] > 0.3


def wait(text, thing, new, told):
    """Months from the last reading of a code before the build to the build."""
    built = new.position(told["built"])
    stretches = mark_stretches(text, new.judged.marks()[thing][1], new.judged.period, DAY)
    return min(built + 0.5 - start for start, _ in stretches if start < built + 1)


def test_some_chassis_come_from_old_stock():
    aged = [told["old_stock"] for _, told in demo("velquist").pairs if "old_stock" in told]
    assert all(set(ages) == {"chassis"} for ages in aged)
    chance = demo("velquist").hidden.components["chassis"].old_stock.chance.value
    assert tail(len(aged), [chance] * 200) > 1e-4
    assert not any("old_stock" in told for _, told in demo("marrowby").pairs)
