"""Sides, spread, tails and coverage: false alarms are what is stated, and faults are named."""

import numpy as np
import pytest
from arviz_stats.ecdf_utils import ecdf_pit
from scipy.special import ndtr, ndtri
from scipy.stats import binom, kurtosistest, norm

from dating.calibration.faults import faults_of
from dating.calibration.groups import Coverage, MedianError, ReferenceGroup
from dating.calibration.uniformity import (
    FALSE_ALARMS,
    QUESTIONS,
    alarms_of,
    chances_of,
    uniformity_of,
)
from dating.words.trust import verdict_on

SETS = 1000
SIZES = (50, 150, 400)
ERROR = MedianError(4.0, 3.0, 5.0)


def scores(count, seed=7):
    return np.random.default_rng(seed).standard_normal((SETS, count))


def alarms(normal):
    """Alarms of symmetric posteriors, whose levels follow from the ranks; shape (question, set)."""
    ranks = ndtr(normal)
    return alarms_of(chances_of(ranks, np.abs(2 * ranks - 1)))


def outcome(normal):
    ranks = ndtr(normal)
    return faults_of(uniformity_of(ranks, np.abs(2 * ranks - 1)))


@pytest.mark.parametrize("count", SIZES)
@pytest.mark.parametrize("levels", ["of the ranks", "of their own"])
def test_false_alarms_are_what_is_stated(count, levels):
    """A thousand uniform sets of ranks and levels; between the binomial limits."""
    ranks = ndtr(scores(count))
    own = np.random.default_rng(8).random(ranks.shape)
    held = np.abs(2 * ranks - 1) if levels == "of the ranks" else own
    found = alarms_of(chances_of(ranks, held)).any(axis=0).sum()
    assert binom.ppf(0.001, SETS, 0.8 * FALSE_ALARMS) <= found
    assert found <= binom.ppf(0.999, SETS, FALSE_ALARMS)


@pytest.mark.parametrize("question", range(len(QUESTIONS)))
def test_chances_are_uniform_where_posteriors_are(question):
    ranks = ndtr(scores(150, seed=9))
    chances = chances_of(ranks, np.abs(2 * ranks - 1))[question]
    for level in (0.0125, 0.05, 0.25, 0.5, 0.9):
        found = (chances <= level).sum()
        assert binom.ppf(0.0005, SETS, level) <= found <= binom.ppf(0.9995, SETS, level)


def test_chances_are_the_textbooks():
    """Anscombe and Glynn (1983) in scipy for the kurtosis; Irwin and Hall, and Gauss, by hand."""
    normal = scores(150)[:40]
    sides, _, tails, coverage = chances_of(ndtr(normal), ndtr(normal))
    other = kurtosistest(normal, axis=1, alternative="greater").pvalue
    assert tails == pytest.approx(other, abs=0.02)
    mean = ndtr(normal).mean(axis=1)
    assert sides == pytest.approx(2 * norm.sf(abs(mean - 0.5) / np.sqrt(1 / 12 / 150)))
    assert coverage == pytest.approx(2 * norm.sf(abs(normal.mean(axis=1)) * np.sqrt(150)))


def shifted(normal):
    return normal + 0.3


def narrow(normal):
    return 1.4 * normal


def wide(normal):
    return normal / 1.4


def heavy(normal):
    """A Student t with three degrees of freedom, at the spread of a normal."""
    uniform = ndtr(normal)
    from scipy.stats import t  # noqa: PLC0415

    return t.ppf(uniform, 3) / np.sqrt(3)


@pytest.mark.parametrize(
    ("spoil", "question", "name"),
    [
        (shifted, "sides", "one-sided"),
        (narrow, "spread", "too sure"),
        (wide, "spread", "too cautious"),
        (heavy, "tails", "heavy-tailed"),
    ],
)
def test_each_fault_is_found_by_its_own_question(spoil, question, name):
    """At 150 instruments in eight of ten sets at least, at 400 in nearly all; and named so."""
    own = QUESTIONS.index(question)
    powers = [alarms(spoil(scores(count)))[own].mean() for count in SIZES]
    assert powers == sorted(powers)
    assert powers[1] > 0.8
    assert powers[2] > 0.98
    named = [outcome(spoil(row)) for row in scores(400)[:25]]
    assert sum(found[:1] == (name,) for found in named) >= 22


def test_what_leans_is_not_called_too_wide_or_narrow_for_that():
    found = alarms(shifted(scores(400)))
    for question in ("spread", "tails"):
        assert found[QUESTIONS.index(question)].mean() < 0.05


def test_one_point_beyond_a_band_is_no_fault():
    """Ranks that bunch up in one place, and leave the band of their distribution function there."""
    ranks = (np.arange(437) + 0.5) / 437
    ranks[30:61] = 0.069 + 0.0001 * np.arange(31)
    _, reached, low, high = ecdf_pit(ranks, 0.95, 1000, rng=np.random.default_rng(1))
    assert ((reached < low) | (reached > high)).any()
    assert ranks.mean() == pytest.approx(0.5, abs=0.005)
    assert faults_of(uniformity_of(ranks, np.abs(2 * ranks - 1))) == ()


def test_holm_is_stepped_by_hand():
    chances = np.array([[0.012, 0.013], [0.2, 0.001], [0.016, 0.3], [0.04, 0.02]])
    assert alarms_of(chances).T.tolist() == [[True, False, True, False], [True, True, False, True]]


@pytest.mark.parametrize(
    ("shift", "scale", "words"),
    [
        (0.0, 1.0, "can be trusted"),
        (0.4, 1.0, "the dates lie later than the posteriors say (mean rank 0."),
        (-0.4, 1.0, "the dates lie earlier than the posteriors say (mean rank 0."),
        (0.0, 1.5, "times as far out as stated; expect stated dates to be wrong more often"),
        (0.0, 0.6, "times as far out as stated; the stated sets are wider than needed."),
    ],
)
def test_the_sentence_gives_the_figures_that_decide(shift, scale, words):
    ranks = ndtr(ndtri((np.arange(200) + 0.5) / 200) * scale + shift)
    levels = np.abs(2 * ranks - 1)
    held = float((levels <= 0.9).mean())
    group = ReferenceGroup("all", 200, (Coverage(0.9, held, 0.855, 0.94),), ERROR, 5.0, -3.0, 20.0)
    sentence = verdict_on(group, uniformity_of(ranks, levels)).sentence
    assert words in sentence
    assert "of 200 instruments dated as if undated" in sentence
    assert sentence.endswith(".")
    assert sentence.count(".\n") == 0


def test_dates_far_outside_are_counted():
    normal = ndtri((np.arange(200) + 0.5) / 200)
    normal[[0, 1, 198, 199]] = -9, -8, 8, 9
    ranks = ndtr(normal)
    found = uniformity_of(ranks, np.abs(2 * ranks - 1))
    group = ReferenceGroup("all", 200, (Coverage(0.9, 0.9, 0.855, 0.94),), ERROR, 5.0, -3.0, 20.0)
    verdict = verdict_on(group, found)
    assert verdict.outcome == "heavy-tailed"
    assert "4 lie in the outermost 0.1 % of the posterior" in verdict.sentence
    assert "where 0.2 are expected" in verdict.sentence


@pytest.mark.parametrize(("scale", "faults"), [(1.05, ()), (1.1, ("too sure",))])
def test_trifles_are_no_fault_however_many_instruments_show_them(scale, faults):
    ranks = ndtr(scale * ndtri((np.arange(5000) + 0.5) / 5000))
    found = uniformity_of(ranks, np.abs(2 * ranks - 1))
    assert found.spread.chance < 1e-4
    assert faults_of(found) == faults
