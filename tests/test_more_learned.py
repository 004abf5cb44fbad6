"""Lags of marks, spreads of measurements and the output are learned, and estimates use them."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from dating import Examination, InputError, Maker, estimate, read_maker
from dating.distributions import Certain
from dating.judgement import metalog_through
from dating.learning.chains import chains_of
from dating.learning.coordinates import coordinates_of
from dating.learning.lags import lags_of
from dating.learning.layout import layout_of
from dating.learning.learned import learned_tables
from dating.learning.prior import prior_draws
from dating.learning.sampling import plan_of
from dating.learning.walk import cosine_walk
from dating.likelihoods import mark_likelihood, mark_likelihoods
from dating.months import month_label
from dating.words.file_summary import understood
from dating.words.quantities import on_output
from tests.learning import written

MONTHS = 60
MAKER = """\
# Invented.
maker: Example Reed Works
product: concertinas
invented: true
period: 1930/1934
output: learn
components:
  case:
    swapped: 0
    features:
      ends:
        ask: What are the ends made of?
        states: [wood, metal]
        slip: 0.02
        replaced: 0
        history:
          - state: wood
          - state: metal
            first_use: {earliest: 1931-01, likely: 1932-01, latest: 1933-06}
            overlap: {shortest: 2, likely: 6, longest: 14}
    marks:
      pencil: {ask: Is there a date?, lag: {shortest: 1, likely: 3, longest: 8},
               replaced: 0, doubt: 0}
      stamp: {ask: Is there a stamp?, lag: 1, replaced: 0, doubt: 0}
    measurements:
      width: {unit: mm, spread: 2, mean: {1930-01: 160, 1934-12: 150}, tails: normal, slip: 0}
"""
HEADER = "instrument,built,ends,pencil,width"


@pytest.fixture(scope="module")
def maker(tmp_path_factory):
    file = tmp_path_factory.mktemp("maker") / "example.yaml"
    file.write_text(MAKER, encoding="utf-8")
    return read_maker(file)


def label(month):
    return month_label(1930 * 12 + int(month))


# Lags ------------------------------------------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from([(1, 3, 8), (0, 1, 4), (0.5, 2, 6), (2, 2.5, 3.25)]),
    st.floats(-10, 55),
    st.sampled_from([1 / 31, 1.0, 12.0]),
)
def test_marks_are_as_likely_by_quantiles_as_by_the_judgement(triple, start, length):
    """Two rules of one integral; that by nodes has steps where a stretch is a day."""
    judged = metalog_through(triple, kind="span")
    lag = one_lag(triple)
    stretch = [(start, start + length)]
    ours = mark_likelihoods(stretch, lag.judged[None], lag.reached, MONTHS)[0]
    (theirs,) = mark_likelihood(stretch, judged, MONTHS)
    assert ours.sum() <= length + 1e-9
    assert ours == pytest.approx(theirs, abs=0.04 * length)


def one_lag(triple):
    data = {"maker": "A", "product": "lyres", "period": "1930/1934", "components": {"case": {}}}
    data["components"]["case"]["marks"] = {"date": {"ask": "A date?", "lag": list(triple)}}
    (lag,) = lags_of(Maker.model_validate(data))
    return lag


@given(st.floats(0.2, 5), st.floats(0.4, 2.5))
def test_quantiles_move_together(median, ratio):
    lag = one_lag((0, 2, 5))
    moved = lag.quantiles(np.array([median]), np.array([ratio]))[0]
    assert (np.diff(moved) >= 0).all()
    assert np.interp(0.5, lag.reached, moved) == pytest.approx(median, rel=0.02)
    assert moved[lag.judged == 0].tolist() == [0.0]
    some = lag.judged > 0.01
    logs = np.log(moved[some] / median)
    np.testing.assert_allclose(logs, ratio * np.log(lag.judged[some] / 2), rtol=1e-9, atol=1e-12)


def test_a_lag_of_one_number_stands(maker):
    pencil, stamp = lags_of(maker)
    assert (pencil.learned, stamp.learned) == (True, False)
    same = stamp.quantiles(np.array([7.0]), np.array([2.0]))[0]
    found = mark_likelihoods([(3.0, 4.0)], same[None], stamp.reached, 9)[0]
    (exact,) = mark_likelihood([(3.0, 4.0)], Certain(1.0), 9)
    np.testing.assert_allclose(found, exact, atol=1e-12)


# What the mode of a corpus says -------------------------------------------------------------------


def rows_with(count, lag, spread, seed=1, months=None):
    """Instruments of known month; marks made a lag before, and widths about their mean."""
    generator = np.random.default_rng(seed)
    rows = []
    for place in range(count):
        month = int(generator.integers(12, 60)) if months is None else int(months[place])
        marked = month + generator.random() - lag * np.exp(0.3 * generator.standard_normal())
        width = 160 - 10 * month / 59 + spread * generator.standard_normal()
        ends = "metal" if month > 27 else "wood"
        rows.append((f"C-{place}", label(month), ends, label(marked), f"{width:.2f}"))
    return rows


def mode_of(folder, rows, text=MAKER):
    density = plan_of(*written(folder, text, rows, HEADER)).density
    mode = coordinates_of(density).centre[None, None]
    return {name: values[0, 0] for name, values in density.quantities(mode).items()}


@pytest.mark.parametrize(("lag", "spread"), [(1.5, 1.0), (6.0, 4.0)])
def test_lags_and_spreads_are_learned_from_the_corpus(tmp_path, lag, spread):
    """Judged are a lag of three months, and a spread of 2 mm."""
    found = mode_of(tmp_path, rows_with(120, lag, spread))
    assert found["lag"] == pytest.approx([lag, 1.0], rel=0.12)
    assert found["spread"] == pytest.approx([spread], rel=0.15)
    assert found["lag_ratio"][0] < 0.8
    assert found["lag_ratio"][1] == 1.0


# Output -----------------------------------------------------------------------------------------


def test_the_walk_is_a_random_walk():
    """Steps of the walk alone are independent, with one and the same standard deviation."""
    walk = cosine_walk(24)
    logs = walk.cosines * walk.reach
    steps = np.diff(logs, axis=0)
    np.testing.assert_allclose(steps @ steps.T, np.eye(23), atol=1e-12)
    generator = np.random.default_rng(1)
    shares = walk.shares(np.ones((5, 2)), generator.standard_normal((5, 23)))
    np.testing.assert_allclose(shares.sum(axis=1), 1.0, rtol=1e-12)


def test_long_periods_have_cells_of_several_months():
    walk = cosine_walk(500)
    assert walk.cosines.shape == (500, 166)
    assert (walk.cosines[0] == walk.cosines[2]).all()
    assert (walk.cosines[2] != walk.cosines[3]).any()


def batches(count=400, seed=2):
    """Two months of work in every nine; nothing in between."""
    generator = np.random.default_rng(seed)
    working = np.flatnonzero(np.arange(MONTHS) % 9 < 2)
    return working, generator.choice(working, count)


def learned_output(folder, months):
    rows = rows_with(len(months), 3.0, 2.0, months=months)
    density = plan_of(*written(folder, MAKER, rows, HEADER)).density
    chain = chains_of(density, draws=150, accept=0.9, seed=1, count=1)
    return density.quantities(chain.unknowns)["output_share"][0]


@pytest.mark.long
def test_production_in_batches_comes_through(tmp_path):
    working, months = batches()
    output = learned_output(tmp_path, months).mean(axis=0)
    flat = len(working) / MONTHS
    assert flat < 0.25
    assert output[working].sum() > 0.9
    even = np.random.default_rng(3).integers(MONTHS, size=400)
    output = learned_output(tmp_path, even).mean(axis=0)
    assert output[working].sum() == pytest.approx(flat, abs=0.06)


def test_an_estimate_uses_the_learned_output_lag_and_spread(maker):
    """By a loop over draws, from the formulae."""
    learned = prior_draws(maker).thinned(8)
    seen = Examination.model_validate(
        {"instrument": "E", "maker": "example", "marks": {"pencil": "1932-03"},
         "measured": {"width": {"value": 156, "within": 1}}}
    )  # fmt: skip
    total = np.zeros(MONTHS)
    (lag, _), month = lags_of(maker), np.arange(MONTHS)
    for draw in range(8):
        quantiles = lag.quantiles(*learned.lags[draw : draw + 1, 0].T)[0]
        generator = np.random.default_rng(draw)
        made = 26 + generator.random(200_000)
        made += np.interp(generator.random(200_000), lag.reached, quantiles)
        marked = np.bincount(made.astype(int).clip(0, 999), minlength=1000)[:MONTHS] / 200_000
        mean = np.interp(month, [0, 59], learned.means[draw])
        scale = np.hypot(learned.spreads[draw, 0], 1)
        total += learned.output[draw] * marked * norm.pdf(156, mean, scale)
    made = estimate(maker, seen, learned=learned)
    np.testing.assert_allclose(made.posterior.values, total / total.sum(), atol=0.004)
    assert made.tables.output == pytest.approx(learned.output.mean(axis=0))


def test_what_was_learned_says_how_busy_the_months_were(maker):
    learned = prior_draws(maker).thinned(8)
    uneven = np.where(np.arange(MONTHS) < 6, 0.11, 0.34 / 54)
    (sentence,) = on_output(maker, replace(learned, output=np.tile(uneven, (8, 1))))
    assert "made in the 5 busiest of 60 months" in sentence
    assert "a fair sample of what was made" in sentence
    assert on_output(maker, replace(learned, output=np.zeros((8, 0)))) == []
    assert learned_tables(maker, learned).output.sum() == pytest.approx(1.0)


def test_output_may_be_left_to_be_learned(maker, tmp_path):
    assert (maker.output, maker.learns_output) == ((), True)
    assert layout_of(maker).walk is not None
    (tmp_path / "a.yaml").write_text(MAKER, encoding="utf-8")
    assert "output: left to be learned" in understood(tmp_path / "a.yaml")
    (tmp_path / "a.yaml").write_text(MAKER.replace("learn", "lern"), encoding="utf-8")
    with pytest.raises(InputError, match="a list of stretches, or learn") as refusal:
        read_maker(tmp_path / "a.yaml")
    (problem,) = refusal.value.problems
    assert (problem.line, problem.key) == (6, "output")


def test_output_alone_is_learned_from_dates_alone(tmp_path):
    """Nothing else is open: one feature that never changed, and no measurement."""
    text = MAKER.partition("components:")[0] + (
        "components:\n  case:\n    features:\n      ends: {ask: Which ends?, states: [wood, metal],"
        " free_form: true}\n"
    )
    working, months = batches(100)
    rows = [(f"C-{k}", label(month), "wood") for k, month in enumerate(months)]
    plan = plan_of(*written(tmp_path, text, rows, "instrument,built,ends"))
    assert plan.layout.is_open
    assert not plan.all_free_form
    density = plan.density
    assert list(density.blocks) == ["z output scale", "z output"]
    chain = chains_of(density, draws=100, accept=0.9, seed=1, count=1)
    output = density.quantities(chain.unknowns)["output_share"][0].mean(axis=0)
    assert output[working].sum() > 0.7
