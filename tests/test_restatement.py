"""Learned draws stated as a maker file: what it says, what it keeps, and how its dates agree."""

import datetime as dt
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import kstest, norm

import dating
from dating.agreement import agreement_of
from dating.cli.main import main
from dating.files import read_maker
from dating.learning.division import divide_courses
from dating.learning.files import read_draws, write_learned
from dating.learning.health import Health
from dating.learning.latent.mixture import Mixture, Settings
from dating.learning.latent.time_cells import Cells
from dating.learning.latent.variants import Latent
from dating.learning.layout import NARROWEST, layout_of
from dating.learning.margins import (
    OPINIONS,
    Margin,
    lag_between,
    largest_gap,
    margin_of,
    margin_through,
)
from dating.learning.prior import prior_draws
from dating.learning.restatement import Basis, restate
from dating.learning.statement import round_shares
from dating.plausibility.maker import maker_warnings
from dating.splicing import fold_lines, read_in
from dating.tabulation import month_tables
from tests.calibrating import one_ramp_learned
from tests.learning import MAKER

GROUND = Basis("folder/corpus.csv", "0123456789abcdef" * 4, 40, dt.date(2026, 11, 30))
DEMO = "priors/marrowby.yaml"


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


# Quantiles -----------------------------------------------------------------------------------


@settings(max_examples=40)
@given(
    st.sampled_from(["date", "delay", "span"]),
    st.lists(st.floats(0, 300), min_size=3, max_size=3).map(sorted),
)
def test_a_margin_is_a_judgement_that_a_maker_file_may_state(kind, triple):
    shift = 1900 * 12 if kind == "date" else 0
    margin = margin_through(tuple(value + shift for value in triple), kind)
    said = margin.statement("corpus")
    said.pop("source")
    opinion = OPINIONS[kind].model_validate(said)
    assert opinion.triple() == pytest.approx(margin.triple, abs=1e-9)
    if triple[2] - triple[0] > 0.3:
        assert margin.triple[::2] == pytest.approx((triple[0] + shift, triple[2] + shift), abs=0.02)


def test_a_judgement_has_the_quantiles_of_the_draws():
    values = np.random.default_rng(1).gamma(4.0, 2.0, 4000)
    points = margin_of(values, "span").judgement.quantile([0.05, 0.5, 0.95])
    assert points == pytest.approx(np.quantile(values, [0.05, 0.5, 0.95]), abs=0.006)


@pytest.mark.parametrize("kind", ["delay", "span"])
def test_the_largest_gap_is_the_statistic_of_kolmogorov_and_smirnov(kind):
    """Held against scipy.stats.kstest, scipy 1.15 and later."""
    values = np.random.default_rng(2).gamma(4.0, 2.0, 300)
    margin = margin_of(values, kind)
    expected = kstest(values, margin.judgement.cdf).statistic
    assert largest_gap(values, margin.judgement) == pytest.approx(expected, abs=1e-12)


def test_event_and_lag_together_are_the_first_use():
    """For normal numbers the squares of the widths add up."""
    levels = [0.05, 0.5, 0.95]
    event = Margin("date", tuple(norm(23_000, 2).ppf(levels)))
    first_use = Margin("date", tuple(norm(23_006, 3).ppf(levels)))
    expected = norm(6, np.sqrt(9 - 4)).ppf(levels)
    assert lag_between(event, first_use).triple == pytest.approx(tuple(expected), abs=0.01)
    assert len(set(lag_between(first_use, event).triple)) == 1


@given(st.lists(st.floats(1e-6, 1), min_size=2, max_size=6))
def test_rounded_shares_sum_to_one_and_none_is_lost(weights):
    shares = {f"s{place}": weight / sum(weights) for place, weight in enumerate(weights)}
    told = round_shares(shares)
    assert sum(told.values()) == pytest.approx(1, abs=2e-6)
    assert all(share > 0 for share in told.values())
    assert all(told[name] == pytest.approx(share, abs=3e-4) for name, share in shares.items())


# Courses that variants share -----------------------------------------------------------------

LINES = """\
maker: Example Reed Works
product: concertinas
period: 1930/1934
variants: {states: [home, stage, choir], shares_at: {1930-01: {home: 0.5, stage: 0.3, choir: 0.2}}}
components:
  case:
    features:
      ends:
        ask: What are the ends made of?
        states: [wood, metal]
        history:   # of all
          - by_variant:
              home: {wood: 0.9, metal: 0.1}
              stage: {wood: 0.6, metal: 0.4}
              choir: {wood: 1, metal: 0}
          - {by_variant: {home: {metal: 1}, stage: {metal: 1}, choir: {wood: 0.5, metal: 0.5}},
              first_use: [1931-01, 1932-01, 1933-06]}   # by the ledger
        note: not in the ledger
"""
_NOTE = "        note: not"
_CHOIR = "        by_variant:\n          choir:\n            shares_at: {1930-01: {wood: 1}}\n"
BESIDE = LINES.replace(_NOTE, _CHOIR + _NOTE)
_CHOIR = "        by_variant: {choir: {shares_at: {1930-01: {wood: 1}}}}\n"
BESIDE_FLOW = LINES.replace(_NOTE, _CHOIR + _NOTE)
TABLE = LINES[: LINES.index("        history:")] + (
    "        shares_at: {1930-01: {wood: 0.9, metal: 0.1}, 1934-01: {metal: 1}}\n"
    "        by_variant: {choir: {history: [{state: wood}]}}\n"
)
FLOW = LINES[: LINES.index("      ends:")] + (
    "      ends: {ask: Which?, states: [wood, metal], history: [{by_variant: {home: {wood: 1}, "
    "stage: {wood: 0.5, metal: 0.5}, choir: {metal: 1}}}, {state: metal, first_use: 1932-01}]}\n"
)


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
@pytest.mark.parametrize("text", [LINES, BESIDE, BESIDE_FLOW, TABLE, FLOW])
def test_a_course_stated_for_each_variant_means_the_same(text, ends):
    text = text.replace("\n", ends)
    before = read_in(text, "example.yaml")
    after = read_in(divide_courses(before, text), "example.yaml")
    one, two = (month_tables(maker).features["ends"].by_state() for maker in (before, after))
    assert np.array_equal(one, two)
    courses = [after.course_of("ends", name) for name in after.variant_names()]
    assert len({id(course) for course in courses}) == 3
    assert not any(regime.by_variant for course in courses for regime in course.history or ())
    assert list(layout_of(after).numbers) == list(layout_of(before).numbers)


def test_comments_go_with_the_course():
    divided = divide_courses(read_in(LINES, "example.yaml"), LINES)
    assert divided.count("# of all") == divided.count("# by the ledger") == 3
    assert divided.count("note: not in the ledger") == 1


# The whole file ------------------------------------------------------------------------------


def stated(text, change=lambda learned: learned):
    maker = read_in(text, "example.yaml")
    return maker, restate(maker, text, change(prior_draws(maker)), GROUND)


@pytest.fixture(scope="module")
def demo():
    maker = read_maker(DEMO)
    text = Path(DEMO).read_text("utf-8")
    drawn = prior_draws(maker)
    apart = np.random.default_rng(5).permuted(drawn.values, axis=0)
    drawn = replace(drawn, values=apart)
    return maker, text, drawn, restate(maker, text, drawn, GROUND)


def test_every_learned_number_is_stated_with_the_corpus_as_its_source(demo):
    _, _, drawn, made = demo
    layout = layout_of(made.maker)
    for place, name in enumerate(drawn.numbers):
        values, judged = drawn.values[:, place], layout.numbers[name]
        if np.ptp(values) == 0 or name.endswith(", lag"):
            continue
        values = np.hypot(values, NARROWEST) if name.endswith("overlap") else values
        points = np.quantile(values, [0.05, 0.5, 0.95])
        assert judged.quantile([0.05, 0.95]) == pytest.approx(points[::2], abs=0.02), name
        assert all(opinion.source == ("corpus",) for opinion in layout.opinions[name])
    features = made.maker.features()
    for place, name in enumerate(features):
        if np.ptp(drawn.slip[:, place]) > 0:
            slip = features[name][1].slip
            assert slip.value == pytest.approx(drawn.slip[:, place].mean(), rel=0.006)
            assert slip.source == ("corpus",)
    mixed = layout.mixed
    expected = drawn.shares.mean(axis=0)
    assert layout.stated_shares[mixed] == pytest.approx(expected[mixed], abs=3e-4)
    assert made.maker.sources["corpus"].title == "Reference corpus corpus.csv"


def test_the_first_use_behind_an_event_is_what_was_drawn(demo):
    *_, made = demo
    lags = [gap for name, gap in made.gaps.items() if name.endswith(", lag")]
    assert len(lags) > 5
    assert max(lags) < 0.06


def test_what_was_not_learned_stays_as_it_is_written(demo):
    maker, text, _, made = demo
    kept = set(made.text.splitlines())
    gone = [line for line in text.splitlines() if line not in kept]
    words = ("likely", "overlap", "slip:", "replaced:", "shares", "mean:", "source:", "when:")
    words = (*words, "spread:", "lag:")
    inner = ("none: 0", "student: {", "recital: {", ": {pearwood", "1941-06: {", "first_use:")
    inner = (*inner, "by_variant:", "weight:")
    assert all(any(word in line for word in (*words, *inner)) for line in gone)
    for key in ("period", "output", "materials", "note"):
        assert getattr(made.maker, key) == getattr(maker, key)
    for name, (_, feature) in maker.features().items():
        now = made.maker.features()[name][1]
        told = ("ask", "look", "states", "materials", "replacement", "note")
        assert [getattr(now, key) for key in told] == [getattr(feature, key) for key in told]
    for name, (_, mark) in maker.marks().items():
        now = made.maker.marks()[name][1]
        assert now.model_copy(update={"lag": mark.lag}) == mark
    assert max(map(len, made.text.splitlines())) <= 130


def test_it_reads_with_no_warning_that_was_not_there_before(demo):
    maker, _, _, made = demo
    told = [[w.message for w in maker_warnings(each)] for each in (maker, made.maker)]
    assert told[0] == told[1]


def test_dates_agree_where_the_numbers_are_independent(demo):
    """Judgements are drawn one by one, so that their margins are all there is to lose."""
    maker, _, drawn, made = demo
    files = sorted(Path("demo_data/examinations").glob("M-00[135].yaml"))
    seen = [dating.read_examination(file) for file in files]
    agreement = agreement_of(maker, drawn.thinned(256), made.maker, seen)
    assert agreement.median < 0.04
    assert agreement.largest < 0.12


def test_the_head_says_where_it_comes_from(demo):
    _, text, _, made = demo
    head = made.text[: made.text.index(text.splitlines()[0])].rstrip()
    words = " ".join(line.removeprefix("#").strip() for line in head.splitlines())
    assert all(line.startswith("# ") for line in head.splitlines())
    for part in ("corpus.csv (40 dated instruments, fingerprint 0123456789ab)", "marrowby.yaml",
                 "on 2026-11-30", f"by more than {made.widest[1]:.2f} ({made.widest[0]})",
                 "neither the corpus nor the draws", "How the learned numbers go together",
                 "an opinion with a probability, never a certificate"):  # fmt: skip
        assert part in words


def test_a_second_learning_names_its_corpus_apart():
    _, made = stated(MAKER)
    _, again = stated(made.text)
    assert list(again.maker.sources) == ["corpus", "corpus-2"]
    assert again.maker.events["new-shop"].when.sources() == ("corpus-2",)


LABEL = MAKER[MAKER.index("          - state: round") : MAKER.index("    measurements:\n")]
TABLE_OF_LABELS = "          1930-01: {round: 0.8, square: 0.2}\n          1934-12: {square: 1}\n"
UNSTATED = (
    MAKER.replace("        replaced: 0\n", "        source: ledger\n", 1)
    .replace("        slip: 0.02\n        replaced: 0\n        history:", "        shares_at:", 1)
    .replace("        slip: 0.02\n        replaced: 0.1\n", "        note: worn\n", 1)
    .replace(LABEL, TABLE_OF_LABELS, 1)
    .replace("events:\n", "sources: {ledger: {title: A ledger}}\nevents:\n", 1)
)


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
def test_chances_that_were_assumed_become_entries_of_their_features(ends):
    """A feature keeps its own source; one whose table was learned names the corpus too."""
    text = UNSTATED.replace("\n", ends)
    maker = read_in(text, "example.yaml")
    learned = prior_draws(maker)
    made = restate(maker, text, learned, GROUND)
    features = made.maker.features()
    for place, (name, (_, feature)) in enumerate(features.items()):
        for key in ("slip", "replaced"):
            chance, drawn = getattr(feature, key), getattr(learned, key)[:, place]
            assert np.ptp(drawn) > 0, (name, key)
            assert key in feature.model_fields_set
            assert chance.value == pytest.approx(drawn.mean(), rel=0.006)
            assert chance.source == ("corpus",)
    sources = {name: feature.source for name, (_, feature) in features.items()}
    assert sources == {"ends": ("ledger",), "label": ("corpus",), "buckle": ()}
    assert features["buckle"][1].note == "worn"
    added = [line for line in made.text.splitlines() if "replaced: {value: 0.0" in line]
    assert len(added) == 3


def test_unsound_draws_free_form_features_and_corrected_levels_are_told():
    free = MAKER.replace(
        "        slip: 0.02\n        replaced: 0.1\n        history:\n"
        "          - {shares: {plain: 0.8, none: 0.2}}\n          - state: roller\n"
        "            first_use: {earliest: 1931-01, likely: 1932-01, latest: 1933-06}\n"
        "            overlap: 3\n",
        "        free_form: true\n",
    )
    assert "free_form" in free
    bad = Health(1.2, 30.0, 3, "z")
    _, made = stated(free, lambda learned: replace(learned, health=bad))
    assert made.text.startswith("# Not to be relied on: the draws are not sound (3 divergent")
    assert "buckle says nothing without" in " ".join(made.losses)
    assert made.maker.features()["buckle"][1].free_form
    assert made.maker.sources["corpus"].kind == "learned"


FREE = """\
maker: Example Reed Works
product: concertinas
draft: true
period: 1930/1949
components:
  case:
    features:
      ends: {ask: Which?, states: [wood, metal, '1e5'], slip: 0.02, free_form: true}
      strap:
        ask: Which strap?
        states: [plain, roller]
        slip:
          value: 0.02
        free_form: true
"""


def free_form(variants):
    """Two bootstrap fits whose shares go from one state to the other, in cells of half a year."""
    maker = read_in(FREE, "example.yaml")
    at, shares = np.linspace(-3, 3, 40), []
    for states in (3, 2):
        late = 1 / (1 + np.exp(-at - 0.5 * np.arange(variants)[:, None]))
        rows = [1 - late, 0.9 * late, 0.1 * late] if states == 3 else [1 - late, late]
        shares.append(np.moveaxis(np.array(rows), 1, 2))
    weight = np.full((40, variants), 1 / variants)
    fits = tuple(Mixture(Settings(variants=variants), weight, tuple(shares)) for _ in range(2))
    latent = Latent(("ends", "strap"), fits, Cells.even(240, 6), 0.1, 0.1)
    return maker, replace(prior_draws(maker).thinned(16), latent=latent)


def test_free_form_shares_are_stated_by_year_where_nothing_ties_them():
    maker, learned = free_form(1)
    made = restate(maker, FREE, learned, GROUND)
    ends = made.maker.features()["ends"][1]
    assert not ends.free_form
    assert not made.maker.draft
    assert (ends.slip.value, ends.replaced.value) == (0, 0)
    assert 5 < len(ends.shares_at) < 22
    assert "stated by year" in " ".join(made.losses)
    assert not [w for w in maker_warnings(made.maker) if "of ends" in w.message]
    seen = [
        {"ends": ends, "strap": strap}
        for ends in ("wood", "metal", "1e5")
        for strap in ("plain", "roller")
    ]
    known = {"instrument": "X", "maker": "example"}
    seen = [dating.Examination.model_validate({**known, "seen": each}) for each in seen]
    assert agreement_of(maker, learned, made.maker, seen).largest < 0.02


def test_free_form_shares_that_latent_variants_tie_stay_to_be_learned():
    maker, learned = free_form(2)
    made = restate(maker, FREE, learned, GROUND)
    assert made.maker.draft
    assert all(feature.free_form for _, feature in made.maker.features().values())
    assert "ends, strap say nothing without the learned file" in " ".join(made.losses)


def test_a_shared_value_or_a_comment_within_a_judgement_is_refused():
    shared = MAKER.replace("slip: 0.02", "slip: &some 0.02", 1).replace(
        "slip: 0.02", "slip: *some", 1
    )
    with pytest.raises(dating.InputError, match=r"line \d+: a value is shared by an anchor"):
        stated(shared)
    when = "when: {earliest: 1931-06, likely: 1932-01, latest: 1932-10}"
    lists = "when:\n      - {earliest: 1931-06, likely: 1932-01, latest: 1932-10} # A\n"
    lists += "      - {earliest: 1931-06, likely: 1932-02, latest: 1932-10}"
    with pytest.raises(dating.InputError, match="comment"):
        stated(MAKER.replace(when, lists))
    _, made = stated(MAKER.replace(when, lists.replace(" # A", "")))
    assert "when: {earliest: 1931-" in made.text


def test_long_lines_are_folded_between_keys_and_others_left():
    text = "a: {one: {x: 1, y: 2}, two: 2, three: 3}\nb: {one: 1, two: 2, three: 3, four: 4444}\n"
    folded = fold_lines(text, before=[text.splitlines()[1]], width=30)
    assert folded.splitlines()[0] == "a: {one: {x: 1, y: 2}, two: 2,"
    assert folded.splitlines()[1] == "    three: 3}"
    assert folded.splitlines()[2] == text.splitlines()[1]


# The command ---------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    folder = tmp_path_factory.mktemp("small")
    made = one_ramp_learned(folder, draws=512)
    write_learned(made.tree, folder / "learned.nc")
    return folder


def order(folder, *more):
    files = (folder / "example.yaml", folder / "corpus.csv")
    return ("learn", *files, "--learned", folder / "learned.nc", *more)


@pytest.mark.filterwarnings("ignore::UserWarning")
def test_the_command_states_what_a_file_holds(small, tmp_path):
    out = tmp_path / "stated.yaml"
    done = run(*order(small, "--maker-out", out))
    assert done.exit_code == 0, done.output
    said = " ".join(done.output.split())
    assert "14 instruments of the corpus treated as undated: total variation 0.0" in said
    assert "The file loses the links between the learned numbers" in said
    maker = read_maker(small / "example.yaml")
    learned = read_draws(small / "learned.nc", maker, 100_000)
    opinion = read_maker(out).features()["ends"][1].history[1].first_use.opinions[0]
    since = np.array(opinion.triple()) - maker.period.first
    assert since == pytest.approx(np.quantile(learned.values[:, 0], [0.05, 0.5, 0.95]), abs=0.02)
    before = out.read_bytes()
    refused = run(*order(small, "--maker-out", out))
    assert refused.exit_code == 2
    assert "the maker file would replace it" in " ".join(refused.output.split())
    assert out.read_bytes() == before


WRONG = {
    "nothing to write": ((), "say what to write"),
    "no YAML": (("--maker-out", "x.csv"), "ends in .yaml"),
    "no folder": (("--maker-out", "none/x.yaml"), "the folder does not exist"),
    "both": (("--maker-out", "x.yaml", "--out", "x.nc"), "does no sampling"),
}


@pytest.mark.parametrize(("more", "words"), WRONG.values(), ids=WRONG)
def test_wrong_usage(small, tmp_path, monkeypatch, more, words):
    monkeypatch.chdir(tmp_path)
    refused = run(*order(small, *more))
    assert refused.exit_code == 2
    assert words in " ".join(refused.output.split())
    assert not list(tmp_path.iterdir())


def test_another_corpus_is_refused(small, tmp_path):
    text = (small / "corpus.csv").read_text("utf-8")
    (tmp_path / "corpus.csv").write_text(text + "\n", "utf-8")
    files = (small / "example.yaml", tmp_path / "corpus.csv", "--learned", small / "learned.nc")
    refused = run("learn", *files, "--maker-out", tmp_path / "x.yaml")
    assert refused.exit_code == 1
    assert "learned from another state of the corpus" in " ".join(refused.output.split())
    assert not (tmp_path / "x.yaml").exists()


def test_what_cannot_be_rewritten_is_told_before_sampling(small, tmp_path):
    text = (small / "example.yaml").read_text("utf-8")
    text = text.replace("slip: 0\n        replaced: 0", "slip: &none 0\n        replaced: *none")
    assert "*none" in text
    (tmp_path / "example.yaml").write_text(text, "utf-8")
    files = (tmp_path / "example.yaml", small / "corpus.csv")
    out = ("--out", tmp_path / "x.nc", "--maker-out", tmp_path / "x.yaml")
    refused = run("learn", *files, *out)
    assert refused.exit_code == 1
    assert "shared by an anchor" in refused.output
    assert [path.name for path in tmp_path.iterdir()] == ["example.yaml"]
