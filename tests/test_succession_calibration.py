"""Groups of known truth side by side: are pairs, ranks and dates right as often as is said?

The truth of each group is one draw of the demo maker's judgements; its instruments are built and
examined by it. Pairs of one group share that draw, so they do not err independently: errors are
those between groups.
"""

import numpy as np
import pytest

from dating import compare, estimate, read_maker
from dating.months import Period
from tests.succession_worlds import group_of, true_numbers

BANDS = ((0.5, 0.6), (0.6, 0.7), (0.7, 0.8), (0.8, 0.9), (0.9, 0.95), (0.95, 1.01))
LEVEL = 0.9


def outcome(maker, seed, count, within=None):
    """Compare one group: what was said of each pair and is so, and of ranks and dates."""
    generator = np.random.default_rng(seed)
    numbers = true_numbers(maker, generator)
    examinations, months = group_of(maker, numbers, count, generator, within)
    made = compare(maker, examinations)
    at = months + generator.random(count)
    first, second = np.triu_indices(count, 1)
    ranks = at.argsort().argsort() + 1
    ranges = [made.rank_ranges[name] for name in made.names]
    chances = made.rank.values
    apart = np.array([estimate(maker, each).probabilities for each in examinations])
    separate = apart @ (1 - apart.cumsum(axis=1)).T + apart @ apart.T / 2
    return {
        "stated": made.pairs.first[first, second],
        "separate": separate[first, second],
        "true": (at[first] < at[second]).astype(float),
        "ranked": [low <= rank <= high for rank, (low, high) in zip(ranks, ranges, strict=True)],
        "rank mass": [
            row[low - 1 : high].sum() for row, (low, high) in zip(chances, ranges, strict=True)
        ],
        "dated": [
            made.highest_density(name).mass > 0
            and made.period.first + month in _months(made.highest_density(name))
            for name, month in zip(made.names, months, strict=True)
        ],
        "date mass": [made.highest_density(name).mass for name in made.names],
    }


def _months(found):
    return {m for stretch in found.stretches for m in range(stretch.first, stretch.last + 1)}


def excess(outcomes, held, stated):
    """Sum of what held less what was stated, in standard errors."""
    return _in_errors([(o[held], o[stated]) for o in outcomes])


def band_excess(outcomes, low, high):
    """The same for pairs stated within a band, turned so that the likelier comes first."""
    each = []
    for o in outcomes:
        stated = np.maximum(o["stated"], 1 - o["stated"])
        right = np.where(o["stated"] >= 0.5, o["true"], 1 - o["true"])
        here = (stated >= low) & (stated < high)
        each.append((right[here], stated[here]))
    return _in_errors(each)


def _in_errors(groups):
    """The error is that between groups, or of independent trials where that is larger."""
    sums = [np.sum(np.subtract(held, stated)) for held, stated in groups]
    trials = sum(np.sum(np.multiply(stated, np.subtract(1, stated))) for _, stated in groups)
    return np.sum(sums) / max(np.std(sums) * np.sqrt(len(sums)), np.sqrt(trials))


def log_score(outcome, key):
    """Mean binary logarithm of the probability given to what was so."""
    given = np.where(outcome["true"] > 0, outcome[key], 1 - outcome[key])
    return float(np.log2(np.clip(given, 1e-9, 1)).mean())


def gain(outcomes):
    """Gain in log score over dates put together apart, by pair, in standard errors."""
    each = [log_score(o, "stated") - log_score(o, "separate") for o in outcomes]
    return np.mean(each) / (np.std(each) / np.sqrt(len(each)))


@pytest.mark.long
def test_a_few_groups_are_right_as_often_as_is_said():
    maker = read_maker("priors/marrowby.yaml")
    outcomes = [outcome(maker, 1000 + seed, 8) for seed in range(24)]
    assert abs(band_excess(outcomes, 0.5, 1.01)) < 3.5
    assert abs(excess(outcomes, "ranked", "rank mass")) < 3.5
    assert abs(excess(outcomes, "dated", "date mass")) < 3.5
    assert np.mean([held for o in outcomes for held in o["ranked"]]) >= LEVEL - 0.03


@pytest.mark.slow
def test_two_hundred_groups_of_twelve_are_right_as_often_as_is_said():
    maker = read_maker("priors/marrowby.yaml")
    outcomes = [outcome(maker, seed, 12) for seed in range(200)]
    for low, high in BANDS:
        assert abs(band_excess(outcomes, low, high)) < 3.5, (low, high)
    assert abs(excess(outcomes, "ranked", "rank mass")) < 3.5
    assert abs(excess(outcomes, "dated", "date mass")) < 3.5
    assert np.mean([held for o in outcomes for held in o["ranked"]]) >= LEVEL
    assert gain(outcomes) > 0


@pytest.mark.slow
def test_near_an_event_dates_put_together_apart_are_worse():
    maker = read_maker("priors/marrowby.yaml")
    near = Period.parse("1929-10/1932-09")
    outcomes = [outcome(maker, 5000 + seed, 12, near) for seed in range(60)]
    assert gain(outcomes) > 3
    for low, high in BANDS:
        assert abs(band_excess(outcomes, low, high)) < 3.5, (low, high)
    apart = [{**o, "stated": o["separate"]} for o in outcomes]
    assert max(abs(band_excess(apart, low, high)) for low, high in BANDS) > 3.5
