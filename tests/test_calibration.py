"""Calibration: the sentence is right both ways, scores are what they say, nothing leaks."""

import json
import re
from dataclasses import replace
from functools import cache
from hashlib import sha256

import numpy as np
import pytest
import yaml
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from dating import estimate, read_maker
from dating.batch import posteriors
from dating.calibration.cross_validation import (
    Omissions,
    _log_sampled_likelihood,
    _smoothed_weights,
    dated_without,
)
from dating.calibration.groups import Coverage, MedianError, ReferenceGroup
from dating.calibration.scores import scores_of
from dating.calibration.uniformity import Departure, Uniformity
from dating.calibration.verdict import compared
from dating.cli.main import main
from dating.evidence_cache import EvidenceCache
from dating.learning.constants import constants_of
from dating.learning.files import read_draws, write_learned
from dating.learning.latent.fitting import fitted
from dating.learning.latent.mixture import Settings
from dating.learning.latent.rows import rows_of
from dating.learning.latent.variants import Latent
from dating.learning.learned import (
    Learned,
    learned_from,
    learned_tables,
)
from dating.learning.levels import Correction, learned_correction
from dating.learning.model import learning_model
from dating.learning.sampling import plan_of
from dating.words.calibration import calibration_text
from dating.words.record import as_record
from dating.words.text import as_text
from dating.words.trust import verdict_on
from tests.calibrating import (
    FREE_FORM,
    SIX_RAMPS,
    bumps,
    dated_as,
    drawn_months,
    month_text,
    one_ramp_learned,
    sharpened,
    six_ramps,
    tree_of,
)
from tests.learning import MAKER, ONE_RAMP, written

CORPORA = 12
EVERY = [3, pytest.param(CORPORA, marks=pytest.mark.long)]
LONG_TRUST = pytest.param(CORPORA, 2, marks=pytest.mark.long)


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


# The sentence ------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    """Give a corpus by its number, drawn as the maker file has it, with its posteriors."""

    @cache
    def drawn(seed):
        _, corpus = six_ramps(tmp_path_factory.mktemp("drawn"), 300, seed)
        return corpus, dated_without(corpus, None)

    return drawn


def outcomes(drawn, power, count):
    made = [
        compared(corpus, None, replace(dated, posterior=sharpened(dated.posterior, power)))
        for corpus, dated in map(drawn, range(count))
    ]
    return [verdict_on(each.groups.overall, each.uniformity).outcome for each in made]


@pytest.mark.parametrize(("count", "doubted"), [(3, 1), LONG_TRUST])
def test_posteriors_that_are_the_truth_may_be_trusted(drawn, count, doubted):
    """A calibrated maker is doubted in one case of twenty at most; three of twelve are rare."""
    assert outcomes(drawn, 1, count).count("may be trusted") >= count - doubted


@pytest.mark.parametrize("count", EVERY)
def test_sharpened_posteriors_are_too_sure(drawn, count):
    """A few strays among them may be taken for the cause in one case of twenty."""
    assert outcomes(drawn, 1.8, count).count("too sure") >= count - 1


@pytest.mark.parametrize("count", EVERY)
def test_flattened_posteriors_are_too_cautious(drawn, count):
    assert outcomes(drawn, 0.5, count) == ["too cautious"] * count


def test_posteriors_that_lean_are_told_from_trusted_ones(drawn):
    """Some dates before the middle of a symmetric posterior are mirrored: no set holds less."""
    corpus, _ = drawn(0)
    width = np.random.default_rng(1).uniform(3, 8, (1000, 1))
    posterior = sharpened(np.exp(-0.5 * ((np.arange(60) - 29.5) / width) ** 2), 1)
    months = drawn_months(posterior)
    turned = np.random.default_rng(5).random(len(months)) < 0.2
    leaning = np.where(turned & (months < 30), 59 - months, months)
    for dates, outcome in ((months, "may be trusted"), (leaning, "one-sided")):
        made = compared(corpus, None, dated_as(corpus, posterior, dates))
        assert verdict_on(made.groups.overall, made.uniformity).outcome == outcome
    assert made.scores.rank.mean() > 0.5
    assert made.uniformity.sides.alarm
    assert not made.uniformity.spread.alarm
    assert "the dates lie later than the posteriors say" in " ".join(calibration_text(made).split())


def found(**alarms):
    """What was found: alarms above or below what is expected, and how much each explains."""
    made = {
        name: Departure(1.0 + 0.3 * np.sign(alarms.get(name, 0)), 1.0, 0.5, abs(gain), gain != 0)
        for name in ("sides", "spread", "tails", "coverage")
        for gain in [alarms.get(name, 0)]
    }
    return Uniformity(200, 5, **made)


RIGHT, SHORT, OVER = (0.5, 0.5, 0.4, 0.6), (0.8, 0.7, 0.75, 0.85), (0.9, 0.97, 0.86, 0.94)


@pytest.mark.parametrize(
    ("coverage", "alarms", "outcome", "figure"),
    [
        ([RIGHT], {}, "may be trusted", "50.0 % lie in their 50 % sets"),
        ([RIGHT], {"sides": 9}, "one-sided", "dates lie later"),
        ([RIGHT], {"sides": -9}, "one-sided", "dates lie earlier"),
        ([RIGHT, SHORT, OVER], {"coverage": 9}, "too sure", "70.0 % lie in their 80 % sets"),
        ([RIGHT, OVER], {"coverage": -9}, "too cautious", "97.0 % lie in their 90 % sets"),
        ([RIGHT, OVER], {"coverage": -9, "spread": -8}, "too cautious", "0.70 times as far out"),
        ([SHORT, (0.9, 0.8, 0.86, 0.94)], {"coverage": 9}, "too sure", "80.0 % lie in their 90 %"),
        ([SHORT], {"spread": 9}, "too sure", "1.30 times as far out"),
        ([RIGHT], {"tails": 9, "spread": 8}, "heavy-tailed", "5 lie in the outermost 0.1 %"),
        ([SHORT], {"tails": 9, "coverage": 8}, "heavy-tailed", "5 lie in the outermost 0.1 %"),
        (
            [SHORT],
            {"tails": 8, "coverage": 9},
            "too sure",
            "; also, 5 lie in the outermost 0.1 %",
        ),
        ([OVER], {"tails": 9, "coverage": -8}, "heavy-tailed", "where 0.2 are expected"),
        ([SHORT], {"sides": 8, "coverage": 9}, "too sure", "; also, the dates lie later"),
        ([SHORT], {"sides": 9, "spread": 8}, "one-sided", "; also, 70.0 % lie in their 80 %"),
        ([SHORT], {"sides": 9, "spread": 8}, "one-sided", "trust neither where the sets lie"),
        ([(0.5, 0.4, 0.4, 0.6)], {}, "may be trusted", "40.0 % lie"),
    ],
)
def test_the_rule_of_the_sentence(coverage, alarms, outcome, figure):
    held, error = tuple(Coverage(*each) for each in coverage), MedianError(4.0, 3.0, 5.0)
    overall = ReferenceGroup("all", 200, held, error, 5.0, -3.0, 20.0)
    verdict = verdict_on(overall, found(**alarms))
    assert verdict.outcome == outcome
    assert figure in verdict.sentence
    assert verdict.sentence.count(".\n") == 0
    assert verdict.sentence.endswith(".")
    assert "200 instruments" in verdict.sentence


def test_dates_that_were_held_to_be_impossible_are_counted(drawn):
    corpus, _ = drawn(0)
    posterior = bumps(40)
    months = drawn_months(posterior)
    posterior[3] = np.eye(60)[(months[3] + 30) % 60]
    text = calibration_text(compared(corpus, None, dated_as(corpus, posterior, months)))
    assert "1 date was given no probability at all" in text
    posterior[3] = 0.999999 * posterior[3] + 0.000001 / 60
    text = calibration_text(compared(corpus, None, dated_as(corpus, posterior, months)))
    assert "no probability" not in text


# Scores ------------------------------------------------------------------------------------------


def slow_scores(posterior, month):
    """Scores of one posterior against one month, in plain loops."""
    crps, reached = 0.0, 0.0
    for place, chance in enumerate(posterior):
        reached += chance
        crps += (reached - (place >= month)) ** 2
    above = sum(p for p in posterior if p > posterior[month])
    level = sum(p for p in posterior if p == posterior[month])
    before, width, held = sum(posterior[:month]), 0, 0.0
    for chance in sorted(posterior, reverse=True):
        if held >= 0.9 - 1e-12:
            break
        held, width = held + chance, width + 1
    return crps, (above, above + level), (before, before + posterior[month]), width


def probabilities(months=8):
    """Posteriors with ties, zeros and steep places."""
    weights = st.sampled_from([0.0, 1.0, 1.0, 2.0, 5.0, 40.0])
    return arrays(float, months, elements=weights).filter(any).map(lambda w: w / w.sum())


@given(probabilities(), st.integers(0, 7), st.integers(0, 50))
def test_scores_are_what_a_loop_gives(posterior, month, seed):
    made = scores_of(posterior[None], np.eye(8)[month][None], seed)
    crps, (above, upto), (before, after), width = slow_scores(posterior.tolist(), month)
    assert made.crps[0] == pytest.approx(crps, abs=1e-12)
    assert made.width[0] == width
    assert above - 1e-12 <= made.level[0] <= upto + 1e-12
    assert before - 1e-12 <= made.rank[0] <= after + 1e-12
    if posterior[month] > 0:
        assert made.log_score[0] == pytest.approx(np.log(posterior[month]))


@given(probabilities(), st.lists(st.booleans(), min_size=8, max_size=8).filter(any))
def test_scores_are_possible(posterior, allowed):
    window = np.array(allowed, dtype=float)
    made = scores_of(posterior[None], window[None])
    assert -1e-12 <= made.level[0] <= 1 + 1e-9
    assert 0 <= made.rank[0] <= 1
    assert made.crps[0] >= 0
    assert made.log_score[0] <= 1e-9
    assert 1 <= made.width[0] <= 8
    if (posterior * window).sum() > 0:
        assert made.log_score[0] == pytest.approx(np.log(posterior @ window))


@pytest.mark.parametrize("stated", ["month", "half of the period"])
def test_levels_and_ranks_are_even_for_dates_from_the_posterior_itself(stated):
    posterior = np.array([0.3, 0.1, 0.3, 0.0, 0.05, 0.25])
    rows = np.repeat(posterior[None], 20_000, axis=0)
    months = drawn_months(rows, seed=7)
    window = np.eye(6)[months]
    if stated != "month":
        window = np.repeat(window.reshape(-1, 2, 3).sum(axis=2), 3, axis=1)
    made = scores_of(rows, window)
    for level in (0.1, 0.25, 0.5, 0.6, 0.9):
        within = 4.5 * np.sqrt(level * (1 - level) / len(rows))
        assert made.covered(level) == pytest.approx(level, abs=within)
        assert (made.rank <= level).mean() == pytest.approx(level, abs=within)


# Correction of levels ----------------------------------------------------------------------------


@st.composite
def corrections(draw):
    """Concave curves from 0 to 1."""
    steps = draw(arrays(float, 20, elements=st.floats(0, 1)).filter(lambda a: a.sum() > 1e-3))
    rises = np.sort(steps)[::-1] / steps.sum()
    return Correction(np.concatenate([[0.0], np.cumsum(rises)]), 100)


@given(corrections(), probabilities())
def test_correction_keeps_the_order_of_months_and_the_sum(correction, posterior):
    made = correction.apply(posterior)
    assert made.sum() == pytest.approx(1)
    assert (made >= -1e-12).all()
    ahead = posterior[:, None] > posterior[None, :]
    assert (made[:, None] - made[None, :])[ahead].min(initial=0.0) >= -1e-9


@given(corrections(), probabilities())
def test_correction_keeps_months_alike_that_were_alike(correction, posterior):
    made = correction.apply(posterior)
    alike = posterior[:, None] == posterior[None, :]
    assert np.abs(made[:, None] - made[None, :])[alike].max() <= 1e-9


@given(probabilities())
def test_no_correction_changes_nothing(posterior):
    same = Correction(np.linspace(0, 1, 501), 100)
    assert same.apply(posterior) == pytest.approx(posterior, abs=1e-12)


def test_a_correction_says_what_sets_of_a_level_hold():
    """The months of the 90 % set keep their places, and hold what the curve says."""
    posterior = bumps(1)[0]
    correction = learned_correction(
        sharpened(bumps(800), 2.0), np.eye(60)[drawn_months(bumps(800))]
    )
    most = np.argsort(-posterior)[:10]
    held = correction.apply(posterior)[most].sum()
    assert held == pytest.approx(correction.at(posterior[most].sum()), abs=1e-9)


def test_correction_learned_from_calibrated_posteriors_is_nearly_none():
    posterior = bumps(1500)
    correction = learned_correction(posterior, np.eye(60)[drawn_months(posterior)])
    assert correction.instruments == 1500
    for level in (0.25, 0.5, 0.8, 0.9):
        error = np.sqrt(level * (1 - level) / 1500)
        assert correction.at(level) == pytest.approx(level, abs=4 * error)


@pytest.mark.long
def test_correction_learned_from_overconfident_posteriors_restores_coverage():
    truth, again = bumps(1500), bumps(3000, seed=2)
    months, later = drawn_months(truth), drawn_months(again, seed=102)
    correction = learned_correction(sharpened(truth, 2.5), np.eye(60)[months])
    before = sharpened(again, 2.5)
    after = correction.apply(before)
    for level in (0.5, 0.8, 0.9):
        error = np.sqrt(level * (1 - level) * (1 / 1500 + 1 / 3000))
        assert scores_of(before, np.eye(60)[later]).covered(level) < level - 4 * error
        assert scores_of(after, np.eye(60)[later]).covered(level) == pytest.approx(
            level, abs=4 * error
        )


# Leaving out -------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def one_ramp(tmp_path_factory):
    return one_ramp_learned(tmp_path_factory.mktemp("one-ramp"))


def test_smoothed_weights_agree_with_learning_without_the_instrument(one_ramp):
    learned = learned_from(one_ramp.tree, most=4000)
    dated = dated_without(one_ramp.corpus, learned)
    seen = [reference.examination for reference in dated.references]
    kept_in = posteriors(one_ramp.maker, seen, learned).values

    def error(made):
        """Largest difference of the distribution functions, by instrument."""
        return np.abs(np.cumsum(made - one_ramp.left_out, axis=1)).max(axis=1)

    left_out, kept = error(dated.posterior), error(kept_in)
    assert len(seen) == len(one_ramp.left_out)
    assert left_out.max() < 0.02
    assert kept.max() > 0.035
    assert (left_out[kept > 0.005] < 0.4 * kept[kept > 0.005]).all()
    assert one_ramp.corpus.references[-1].window.sum() == 6
    assert left_out[-1] < 0.002 < kept[-1]


@pytest.mark.parametrize("likelihood", ["spread out", "two values", "one value"])
def test_weights_are_inverse_to_the_likelihood(likelihood):
    generator = np.random.default_rng(6)
    own = {
        "spread out": generator.uniform(0.2, 1, 1000),
        "two values": np.where(generator.random(1000) < 0.4, 0.2, 1.0),
        "one value": np.full(1000, 0.3),
    }[likelihood]
    weights, shaky = _smoothed_weights(np.log(own))
    assert weights == pytest.approx((1 / own) / (1 / own).sum(), rel=0.05)
    assert weights.sum() == pytest.approx(1)
    assert not shaky


def test_an_instrument_that_learning_leans_on_is_called_shaky(tmp_path):
    """One instrument is nearly impossible in some draws, so that its weights have a heavy tail."""
    rows = [("early", "1931-08", 1, "metal"), ("late", "1933-01", 1, "metal")]
    maker, corpus = written(tmp_path, ONE_RAMP, rows)
    short = np.linspace(0.01, 5, 512)
    values = np.stack([20 - short, np.full(512, 8.0)], axis=1)
    dated = dated_without(corpus, learned_from(tree_of(maker, corpus, values)))
    assert dated.shaky.tolist() == [True, False]


VARIANTS = """\
variants:
  states: [plain, concert]
  history:
    - state: plain
    - shares: {plain: 0.6, concert: 0.4}
      first_use: {earliest: 1930-06, likely: 1931-06, latest: 1932-06}
      overlap: 3
"""
MARKS = """\
    marks:
      pencil: {ask: Is there a date?, lag: {shortest: 1, likely: 2, longest: 5}, replaced: 0.05}
      stamp: {ask: Is there a stamp?, lag: {shortest: 0, likely: 2, longest: 4}}
"""
SIGHTINGS = [
    ("A", "1930-05", 1, "concert", "wood", "round", "plain", 159.5, ""),
    ("B", "1933-02", 1, "plain", "metal", "square", "roller", "153 within 1.5", 220),
    ("C", "1932-03", 1, "", "metal", "round", "", "", ""),
    ("D", "1932", 1, "concert (0.8)", "wood", "square", "none", 149, "207 within 3"),
    ("E", '"[1931-01,1931-09..1931-12]"', 1, "plain", "metal", "", "plain | roller", "", 190),
    ("F", "1934-06", 1, "other: odd", "metal (0.7)", "square", "other: cord", 170, ""),
]


@pytest.mark.filterwarnings("ignore::FutureWarning", "ignore::UserWarning")
def test_weights_are_of_the_likelihood_that_was_sampled(tmp_path):
    """The learning's own model of the corpus, at points of its variables."""
    header = "instrument,built,trust,variant,ends,label,buckle,width,length,pencil,stamp"
    marks = ["1931-03", "", "1931-02-11", "1934", "", "1930-02"]
    rows = [(*row, marks[k % 6], marks[k % 5]) for k, row in enumerate(SIGHTINGS)]
    text = MAKER.replace("    measurements:\n", MARKS + "    measurements:\n", 1) + VARIANTS
    maker, corpus = written(tmp_path, text, rows, header)
    plan = plan_of(maker, corpus)
    model = learning_model(plan.layout, constants_of(maker, plan.layout, plan.tables), plan.tally)
    names = {"values": "value", "shares": "share", "slip": "slip", "replaced": "replaced"}
    names |= {"means": "mean", "spreads": "spread", "medians": "lag", "ratios": "lag_ratio"}
    wanted = [*(model[name] for name in names.values()), sum(model.potentials)]
    wanted = model.replace_rvs_by_values(wanted)
    at = model.compile_fn(wanted, inputs=model.value_vars, on_unused_input="ignore")
    generator, points = np.random.default_rng(2), []
    for _ in range(8):
        values = model.initial_point().items()
        points.append(at({k: 0.4 * generator.normal(size=v.shape) for k, v in values}))
    *found, logs = (np.array(each) for each in zip(*points, strict=True))
    arrays_ = dict(zip(names, found, strict=True))
    lags = np.stack([arrays_.pop("medians"), arrays_.pop("ratios")], axis=-1)
    learned = Learned("", "", tuple(plan.layout.numbers), seed=1, lags=lags, **arrays_)
    stock = EvidenceCache(maker, learned_tables(maker, learned))
    own = [
        _log_sampled_likelihood(stock.weighing(r.examination), r, learned, maker)
        for r in corpus.references
    ]
    total = np.sum(own, axis=0)
    assert total - total[0] == pytest.approx(logs - logs[0], abs=1e-8)
    assert min(np.ptp(each) for each in own) > 0.01


def free_form(folder, unique):
    """Free-form shares of a corpus in which one instrument alone has ends of horn."""
    generator = np.random.default_rng(4)
    months = generator.integers(60, size=120).tolist()
    ends = ["metal" if m + 15 * generator.normal() > 30 else "wood" for m in months]
    labels = ["square" if m + 5 * generator.normal() > 40 else "round" for m in months]
    rows = [
        (f"L-{n}", month_text(m), 1, e, b)
        for n, (m, e, b) in enumerate(zip(months, ends, labels, strict=True))
    ]
    rows[7] = ("L-7", month_text(unique), 1, "horn", "")
    maker, corpus = written(folder, FREE_FORM, rows, "instrument,built,trust,ends,label")
    rows = rows_of(corpus.references, maker, np.full(60, 1 / 60))
    latent = Latent(rows.features, fitted(rows, [Settings()], 1), rows.axis, 0.0, 0.0)
    nothing = np.zeros((latent.fits, 2))
    learned = Learned(
        maker_fingerprint=maker.origin.fingerprint,
        corpus_fingerprint=corpus.fingerprint,
        numbers=(),
        values=np.zeros((latent.fits, 0)),
        shares=np.zeros((latent.fits, 0, 0, 0)),
        slip=nothing,
        replaced=nothing,
        means=np.zeros((latent.fits, 0)),
        seed=1,
        latent=latent,
    )
    return maker, corpus, learned


def test_folds_leave_the_instrument_out_of_free_form_shares(tmp_path):
    """What is dated without itself does not know its own date, however telling its state."""
    made = []
    for unique in (5, 50):
        maker, corpus, learned = free_form(tmp_path, unique)
        seen = corpus.references[7].examination
        told = posteriors(maker, [seen], learned).values[0]
        made.append((told, dated_without(corpus, learned).posterior[7]))
    (early, early_out), (late, late_out) = made
    assert late_out == pytest.approx(early_out, abs=1e-12)
    assert abs((early - late) @ np.arange(60)) > 10


def test_judgements_alone_leave_nothing_out(drawn):
    corpus, dated = drawn(0)
    seen = [reference.examination for reference in dated.references]
    assert dated.posterior == pytest.approx(posteriors(corpus.maker, seen).values, abs=1e-12)


def test_what_cannot_be_judged_is_passed_over_and_counted(tmp_path):
    rows = [
        ("a", "1931-08", 1, "metal"),
        ("b", "1931-08", 0.9, "metal"),
        ("c", "[1931-01..1932-01]", 1, "metal"),
        ("d", "[1931-01..1931-12]", 1, "metal"),
        ("e", "[..1932]", 0.9, "metal"),
        ("f", "1933", 1, ""),
    ]
    _, corpus = written(tmp_path, ONE_RAMP, rows)
    dated = dated_without(corpus, None)
    assert [r.examination.instrument for r in dated.references] == ["a", "d", "f"]
    assert dated.passed_over == Omissions(doubted=2, wide=1, impossible=0)


def test_instruments_that_no_month_allows_are_passed_over(tmp_path):
    steps = "      f{}: {{ask: Old?, states: [old, new], slip: 0, replaced: 0, history: {}}}\n"
    history = "[{state: old}, {state: new, first_use: 1932-01}]"
    text = SIX_RAMPS.split("      f0:")[0] + steps.format(0, history) + steps.format(1, history)
    rows = [("a", "1931-08", 1, "old", "old"), ("b", "1931-08", 1, "old", "new")]
    _, corpus = written(tmp_path, text, rows, "instrument,built,trust,f0,f1")
    assert dated_without(corpus, None).passed_over == Omissions(0, 0, 1)


# The command -------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    """Maker file, corpus and what was learned from it, on disk."""
    folder = tmp_path_factory.mktemp("files")
    made = one_ramp_learned(folder, count=30, draws=512)
    write_learned(made.tree, folder / "learned.nc")
    (folder / "x.yaml").write_text("instrument: X\nmaker: example\nseen: {ends: metal}\n")
    return folder


def calibrated(folder, *more):
    learned = ("--learned", folder / "learned.nc")
    return run("calibrate", folder / "example.yaml", folder / "corpus.csv", *learned, *more)


def widest(shown):
    """Measure the text; commands that are offered are not broken."""
    lines = [line for line in shown.output.splitlines() if not line.startswith("    dating ")]
    return max(map(len, lines))


@pytest.mark.long
def test_text_begins_with_the_answer_and_keeps_to_80_columns():
    shown = run("calibrate", "priors/marrowby.yaml", "demo_data/marrowby_corpus.csv")
    assert shown.exit_code == 0
    assert shown.output.startswith("One-sided: of 306 instruments dated as if undated, ")
    lines = shown.output.splitlines()
    commands = [line for line in lines if line.startswith("    dating ")]
    assert [command.split()[1] for command in commands] == ["learn", "calibrate"]
    assert widest(shown) <= 80
    said = " ".join(shown.output.split())
    assert (
        "Not used: 53 with a date that is not fully trusted, 41 with a date wider than a year."
        in said
    )
    assert "R-193" in said
    assert "tailpiece, October 1931 to April 1932: its changeovers may be dated too early" in said
    assert "invented" in said


def test_text_says_what_was_left_out(files):
    shown = calibrated(files)
    assert widest(shown) <= 80
    said = " ".join(shown.output.split())
    assert re.match(r"[A-Z][a-z -]+: of 30 instruments dated as if undated, ", said)
    assert "Smoothed weights of the draws leave each instrument out of what was learned" in said
    assert "of 30 the weights are unreliable" in said
    assert "The levels are not recalibrated." in said


def test_json_carries_every_instrument_and_where_it_comes_from(files):
    record = json.loads(calibrated(files, "--as", "json").output)
    assert len(record["instruments"]) == record["overall"]["instruments"] == 30
    levels = np.array([each["level"] for each in record["instruments"]])
    for covered in record["overall"]["coverage"]:
        assert covered["held"] == pytest.approx((levels <= covered["level"]).mean())
        assert covered["right"] == (covered["low"] <= covered["held"] <= covered["high"])
    assert record["verdict"]["sentence"] in " ".join(calibrated(files).output.split())
    corpus = record["provenance"]["corpus"]
    assert corpus["sha256"] == sha256((files / "corpus.csv").read_bytes()).hexdigest()
    maker = record["provenance"]["maker_file"]
    assert maker["sha256"] == sha256((files / "example.yaml").read_bytes()).hexdigest()
    tests = record["tests"]
    assert tests["false_alarms"] == 0.05
    for name in ("sides", "spread", "tails", "coverage"):
        assert {"value", "expected", "chance", "gain", "alarm"} == set(tests[name])
    mean = np.mean([each["rank"] for each in record["instruments"]])
    assert tests["sides"]["value"] == pytest.approx(mean)
    trusted = not any(tests[name]["alarm"] for name in ("sides", "spread", "tails", "coverage"))
    assert (record["verdict"]["outcome"] == "may be trusted") == trusted
    assert len(record["ranks"]["point"]) == len(record["ranks"]["low"]) == 31
    assert {"crps", "log_score", "width", "level", "rank"} <= set(record["units"])


@pytest.mark.parametrize("ending", ["svg", "png"])
def test_the_picture_is_drawn_reproducibly_and_described(files, tmp_path, ending):
    first, second = tmp_path / f"a.{ending}", tmp_path / f"b.{ending}"
    shown = calibrated(files, "--picture", first)
    assert shown.exit_code == 0
    calibrated(files, "--picture", second)
    assert first.read_bytes() == second.read_bytes()
    sentence = " ".join(re.split("WHAT WOULD|HOW OFTEN", shown.output)[0].split())
    assert sentence.encode() in first.read_bytes()


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--picture", "a.jpg"], "no such format of picture"),
        (["--correct", "b.nc"], "--learned"),
        (["--learned", "none.nc", "--correct", "no/such/folder/b.nc"], "the folder does not exist"),
        (["--learned", "none.nc"], "there is no such file"),
    ],
)
def test_what_cannot_be_done_is_refused(tmp_path, arguments, said):
    corpus = "demo_data/marrowby_corpus.csv"
    arguments = [a if a.startswith("--") else tmp_path / a for a in arguments]
    refused = run("calibrate", "priors/marrowby.yaml", corpus, *arguments)
    assert refused.exit_code in {1, 2}
    assert said in " ".join(refused.output.split())
    assert "Traceback" not in refused.output
    assert list(tmp_path.iterdir()) == []


def test_a_result_of_another_corpus_is_refused(files, tmp_path):
    other = tmp_path / "other.csv"
    other.write_bytes((files / "corpus.csv").read_bytes() + b"C-more,1931-05,1,wood\n")
    learned = ("--learned", files / "learned.nc")
    refused = run("calibrate", files / "example.yaml", other, *learned)
    assert refused.exit_code == 1
    assert "learned from another state of the corpus" in refused.output
    assert str(other) in refused.output


def test_too_few_instruments_are_refused(tmp_path):
    rows = [(f"C-{n}", "1931-08", 1, "metal") for n in range(9)]
    written(tmp_path, ONE_RAMP, rows)
    refused = run("calibrate", tmp_path / "example.yaml", tmp_path / "corpus.csv")
    assert refused.exit_code == 1
    assert "only 9 instruments have a trusted date" in refused.output


def test_a_corrected_copy_carries_its_correction_into_estimates(files, tmp_path):
    before = (files / "learned.nc").read_bytes()
    copy = tmp_path / "corrected.nc"
    shown = calibrated(files, "--correct", copy)
    assert shown.exit_code == 0
    assert (files / "learned.nc").read_bytes() == before
    maker = read_maker(files / "example.yaml")
    plain, corrected = read_draws(files / "learned.nc", maker), read_draws(copy, maker)
    correction = corrected.correction
    assert plain.correction is None
    assert correction.instruments == 30
    assert (corrected.values == plain.values).all()
    said = " ".join(shown.output.split())
    assert f"There a 90 % set is restated as {100 * correction.at(0.9):.1f} %" in said

    estimate = ("estimate", files / "x.yaml", "--maker", files / "example.yaml")
    text = " ".join(run(*estimate, "--learned", copy).output.split())
    assert "Levels were recalibrated on 30 dated instruments left out of learning" in text
    assert f"held {100 * correction.at(0.9):.0f} % of the dates." in text
    record = json.loads(run(*estimate, "--learned", copy, "--as", "json").output)
    assert record["correction"]["held"]["0.9"] == pytest.approx(correction.at(0.9))
    as_yaml = yaml.safe_load(run(*estimate, "--learned", copy, "--as", "yaml").output)
    assert as_yaml["correction"] == record["correction"]
    uncorrected = run(*estimate, "--learned", files / "learned.nc")
    assert "corrected" not in uncorrected.output
    bare = json.loads(run(*estimate, "--learned", files / "learned.nc", "--as", "json").output)
    assert (bare["correction"], bare["latent"]) == (None, None)

    again = run(
        "calibrate",
        files / "example.yaml",
        files / "corpus.csv",
        "--learned",
        copy,
        "--correct",
        tmp_path / "again.nc",
        "--as",
        "json",
    )
    assert json.loads(again.stdout)["correction"] == record["correction"]
    twice = read_draws(tmp_path / "again.nc", maker).correction
    assert twice.curve == pytest.approx(correction.curve, abs=1e-12)
    assert "Levels were recalibrated on 30" in " ".join(
        run(
            "calibrate", files / "example.yaml", files / "corpus.csv", "--learned", copy
        ).output.split()
    )


def test_estimates_name_the_latent_variants_behind_free_form_features(tmp_path):
    maker, corpus, learned = free_form(tmp_path, 5)
    seen = corpus.references[0].examination
    alone = estimate(maker, seen, learned=learned)
    assert "The corpus supports no latent variants behind the 2 free-form features." in " ".join(
        as_text(alone).split()
    )
    rows = rows_of(corpus.references, maker, np.full(60, 1 / 60))
    two = replace(
        learned.latent, mixtures=fitted(rows, [Settings(variants=2)], 1), gain=0.123, error=0.04
    )
    made = estimate(maker, seen, learned=replace(learned, latent=two))
    assert "2 latent variants explain the 2 free-form features" in " ".join(as_text(made).split())
    assert "gain 0.12 in mean log score (standard error 0.04)" in " ".join(as_text(made).split())
    latent = as_record(made)["latent"]
    assert (latent["variants"], latent["features"]) == (2, ["ends", "label"])
    assert latent["log_score_gain"] == 0.123
