"""Corpora from the demo's hidden history: learned intervals and estimates beside the truth."""

import importlib
import random
import sys
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

import dating
from dating.learning.comparison import judged_values
from dating.learning.health import health_of
from dating.learning.layout import layout_of
from dating.learning.learned import learned_from
from dating.learning.quantities import arrays_of
from dating.learning.sampling import learn, plan_of

DEMO = Path("demo_data")
sys.path.append(str(DEMO.resolve()))
simulate_marrowby = importlib.import_module("simulate_marrowby")
simulating = importlib.import_module("simulating")

ROWS, NEW = 400, 200
DRAWS = 300
TAILS = [0.05, 0.95]


@dataclass(frozen=True, eq=False)
class Outcome:
    """One corpus; arrays by changeover, or by new instrument."""

    held: np.ndarray  # (ramp,) the learned 90 % interval of the first use holds the truth
    learned_crps: np.ndarray  # (ramp,) CRPS of the learned first use, in months
    judged_crps: np.ndarray  # (ramp,) the same of the judged one
    crps: np.ndarray  # (2, instrument) CRPS in months, judged and learned
    pit: np.ndarray  # (2, instrument) randomised probability integral transform
    health: object


@cache
def judged():
    return dating.read_maker("priors/marrowby.yaml")


@cache
def hidden():
    maker = simulate_marrowby.hidden_maker()
    return maker, simulating.world_of(maker)


@cache
def true_changeovers():
    """True first uses and overlaps, in the order of the layout: as the hidden maker states them."""
    ours, theirs = layout_of(hidden()[0]), layout_of(judged())
    assert ours.ramp_names == theirs.ramp_names
    values = np.array([[float(judged.quantile(0.5)) for judged in ours.numbers.values()]])
    return ours.starts(values)[0], ours.overlaps(values)[0]


@cache
def judged_draws():
    layout = layout_of(judged())
    values = judged_values(layout)
    return layout.starts(values), layout.overlaps(values)


def holds(draws, truth):
    low, high = np.quantile(draws, TAILS, axis=0)
    return (low <= truth) & (truth <= high)


@cache
def judged_right():
    """Whether the judged 90 % of the first use, and of first use and overlap, hold the truth."""
    first_use, overlap = map(holds, judged_draws(), true_changeovers())
    return first_use, first_use & overlap


def corpus_of(folder, seed, rows=ROWS):
    """Simulate a corpus, write it, and read it back as a user's."""
    cells, _ = simulating.simulate(hidden()[0], seed, rows)
    text = simulate_marrowby.corpus_text(hidden()[0], cells, f"simulated, seed {seed}")
    file = Path(folder) / f"corpus_{seed}.csv"
    file.write_text(text, encoding="utf-8")
    return dating.read_corpus(file, judged())


def sample_crps(draws, truth):
    """E|X - truth| - E|X - X'| / 2 by column (Gneiting and Raftery 2007, equation 21)."""
    ordered = np.sort(draws, axis=0)
    count = len(ordered)
    weight = (2 * np.arange(1, count + 1) - count - 1)[:, None]
    spread = 2 * (weight * ordered).sum(axis=0) / count**2
    return np.abs(draws - truth).mean(axis=0) - spread / 2


def month_crps(probabilities, month):
    """Sum over months of (F - 1[truth <= t])^2, in months."""
    reached = np.arange(len(probabilities)) >= month
    return float(((np.cumsum(probabilities) - reached) ** 2).sum())


def outcome_of(folder, seed, *, rows=ROWS, new=NEW, draws=DRAWS):
    """Learn one simulated corpus, and date new instruments by judgement and by what was learned."""
    plan = plan_of(judged(), corpus_of(folder, seed, rows))
    tree = learn(plan, seed=seed, draws=draws)
    values = arrays_of(tree)["value"].reshape(-1, len(plan.layout.numbers))
    starts, (truth, _) = plan.layout.starts(values), true_changeovers()
    crps, pit = dated_both_ways(learned_from(tree), seed, new)
    return Outcome(
        held=holds(starts, truth),
        learned_crps=sample_crps(starts, truth),
        judged_crps=sample_crps(judged_draws()[0], truth),
        crps=crps,
        pit=pit,
        health=health_of(tree),
    )


def dated_both_ways(learned, seed, new):
    """CRPS and randomised PIT of new instruments, judged and learned."""
    crps, pit = np.zeros((2, new)), np.zeros((2, new))
    for count in range(new):
        rng = random.Random(f"new {seed} {count}")
        made = simulating.instrument(hidden()[1], rng, f"N-{count}")
        jitter = rng.random()
        for way, given in enumerate((None, learned)):
            p = dating.estimate(judged(), made.examination, learned=given).probabilities
            crps[way, count] = month_crps(p, made.month)
            pit[way, count] = p[: made.month].sum() + jitter * p[made.month]
    return crps, pit
