"""The verdict on a corpus is the one that new instruments of the same maker would give.

Corpora of 150 to 400 instruments with one kind of fault each, or none. The true word is found by
the same statistics on 20,000 new instruments, where chance hardly matters: a fault counts from the
departures on that ``MATTERS`` states. Strengths are those that a corpus of such a size can show.
"""

from collections import Counter

import numpy as np
import pytest

from dating.calibration.faults import faults_of
from dating.calibration.scores import scores_of
from dating.calibration.uniformity import uniformity_of
from tests.calibrating import (
    drawn_months,
    pattern_posteriors,
    sharpened,
    six_ramp_patterns,
    varied,
)

NEW = 20_000
SIZES = (150, 200, 250, 300, 400)
STEPS = 10
KINDS = ("none", "too sure", "too cautious", "early", "late", "heavy-tailed")


def word(posterior, month, seed):
    """The first word of the verdict, and the side of those that lean."""
    scores = scores_of(posterior, np.eye(posterior.shape[1])[month], seed)
    uniformity = uniformity_of(scores.rank, scores.level)
    (first, *_) = (*faults_of(uniformity), "none")
    if first == "one-sided":
        return "late" if uniformity.sides.above else "early"
    return first


class OfTheEngine:
    """Six ramps: posteriors from the maker file and the batch, dates from another history."""

    def __init__(self, folder):
        wide = {"overlap": 24, "slip": 0.15}
        self.stated = {8: pattern_posteriors(folder), 24: pattern_posteriors(folder, **wide)}

    def draw(self, kind, strength, generator, count):
        """Strength runs from 0, what a corpus can just show, to 1."""
        truth = {
            "none": {},
            "too sure": {"behind": 4 + 3 * strength},
            "too cautious": {"stated": 24, "slip": 0.0, "overlap": 14 - 13 * strength},
            "early": {"late": -2.5 - 2.5 * strength},
            "late": {"late": 2.5 + 2.5 * strength},
            "heavy-tailed": {"wrong": 0.06 + 0.08 * strength},
        }[kind]
        month, pattern = six_ramp_patterns(generator, count, **truth)
        return self.stated[truth.get("stated", 8)][pattern], month


class OfShapes:
    """Posteriors of many shapes, dates drawn from them; then either is spoiled."""

    def draw(self, kind, strength, generator, count):
        """Strength runs from 0, what a corpus can just show, to 1."""
        posterior = varied(generator, count)
        month = drawn_months(posterior, generator)
        power = {"too sure": 1.7 + 1.3 * strength, "too cautious": 0.6 - 0.25 * strength}
        late = {"early": -2 - round(2 * strength), "late": 2 + round(2 * strength)}
        wrong = 0.06 + 0.08 * strength if kind == "heavy-tailed" else 0.0
        strays = generator.integers(posterior.shape[1], size=count)
        month = np.where(generator.random(count) < wrong, strays, month + late.get(kind, 0))
        month = month.clip(0, posterior.shape[1] - 1)
        return sharpened(posterior, power.get(kind, 1.0)), month


@pytest.fixture(scope="module")
def worlds(tmp_path_factory):
    return {"engine": OfTheEngine(tmp_path_factory.mktemp("stated")), "shapes": OfShapes()}


def words_of(world, kind, strength, corpora, *, sizes=SIZES, new=NEW):
    """The true word, and that of each corpus."""
    generator = np.random.default_rng([KINDS.index(kind), round(100 * strength)])
    true = word(*world.draw(kind, strength, generator, new), 1)
    drawn = (world.draw(kind, strength, generator, sizes[n % len(sizes)]) for n in range(corpora))
    return true, [word(*each, seed) for seed, each in enumerate(drawn)]


@pytest.mark.slow
@pytest.mark.parametrize("name", ["engine", "shapes"])
def test_nine_verdicts_of_ten_are_what_new_instruments_show(worlds, name):
    """Fifty corpora of each kind; in every kind, and so together."""
    for kind in KINDS:
        found = Counter()
        for strength in np.linspace(0, 1, STEPS):
            true, words = words_of(worlds[name], kind, float(strength), 50 // STEPS)
            assert true == kind
            found.update(words)
        print(f"{name}, {kind}: {dict(found)}")
        assert found.total() == 50
        assert found[kind] >= 45


@pytest.mark.parametrize("name", ["engine", "shapes"])
@pytest.mark.parametrize("kind", KINDS)
def test_strong_faults_are_named_as_new_instruments_show_them(worlds, name, kind):
    """A lean or a few strays make sets hold too few dates, and are not called too sure for that."""
    true, words = words_of(worlds[name], kind, 0.7, 5, sizes=(400,), new=5000)
    assert true == kind
    assert words.count(kind) >= 4
