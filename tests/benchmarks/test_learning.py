"""How long learning takes as the corpus grows, beside PyMC, and the whole command beside PyMC.

Run with ``python -m pytest tests/benchmarks/test_learning.py --override-ini addopts=
--benchmark-only -s``; ratios of processor time and whether targets are met are printed. With
``BENCHMARKS=full`` in the environment, 50,000 instruments and more draws are used, and the whole
command is run on the demo corpus, which takes about half an hour.

The growing corpora have 24 two-state features, 360 months and no events; all months are known.
Both ways are sampled by nutpie, one chain on one core. The peer has the same judgements, ramps and
slips, and is written in two ways: ``by row`` works out each feature's ramp at each instrument,
which is what one writes first; ``gathered`` tabulates the ramps by month and looks each up.

The whole command stands beside :func:`dating.learning.model.learning_model`, compiled and sampled
by nutpie as the command did before its log posterior was written by hand: four chains, 1,000 draws
for tuning and 1,000 kept at an acceptance of 0.99, which takes 82 steps a draw. Of these only a few
are taken, and their time is scaled.
"""

import os
import resource
import subprocess
import sys
import time
from dataclasses import dataclass

import arviz as az
import numpy as np
import nutpie
import pymc as pm
import pytensor.tensor as pt
import pytest

from dating.files import read_maker
from dating.learning.chains import TUNE, chains_of
from dating.learning.constants import constants_of
from dating.learning.corpus import read_corpus
from dating.learning.layout import CHANCE_DOUBT, FLOOR, NARROWEST
from dating.learning.model import learning_model
from dating.learning.sampling import ACCEPT, plan_of
from tests.learning_worlds import MONTHS, THROUGHOUT, planned

pytestmark = pytest.mark.filterwarnings("ignore")
FULL = os.environ.get("BENCHMARKS") == "full"
KINDS = 24 * [THROUGHOUT]
SETTINGS = {"chains": 1, "cores": 1, "seed": 1, "target_accept": ACCEPT, "progress_bar": False}
DRAWS = 1000 if FULL else 200
ROWS = (500, 5_000, 50_000) if FULL else (500, 5_000)
BEFORE_STEPS = 4 * 2_000 * 82
MAKER, CORPUS = "priors/marrowby.yaml", "demo_data/marrowby_corpus.csv"


@dataclass(frozen=True)
class Sampled:
    """Processor seconds of compiling and of sampling, leapfrog steps, and effective draws."""

    compiling: float
    sampling: float
    steps: int
    effective: float

    def per_second(self):
        return self.effective / (self.compiling + self.sampling)


def counts_model(plan):
    return learning_model(
        plan.layout, constants_of(plan.maker, plan.layout, plan.tables), plan.tally
    )


def row_model(plan, gathered):
    """The same model with a Bernoulli for each feature that was examined on each instrument."""
    names = list(plan.maker.features())
    cells = [
        (reference.month, names.index(name), sight.state == "new")
        for reference in plan.corpus.references
        for name, sight in reference.examination.seen.items()
    ]
    month, feature, new = np.array(cells).T
    with pm.Model() as model:
        numbers = list(plan.layout.numbers.values())
        z, z_slip = pm.Normal("z", shape=len(numbers)), pm.Normal("z slip", shape=len(names))
        value = judged_value(numbers, z)
        start, width = value[::2], pt.sqrt(value[1::2] ** 2 + NARROWEST**2)
        slip = pt.sigmoid(np.log(0.02 / 0.98) + CHANCE_DOUBT * z_slip)
        if gathered:
            months = np.arange(MONTHS)[:, None]
            share = (passed(months + 1, start, width) - passed(months, start, width))[
                month, feature
            ]
        else:
            begins, long = start[feature], width[feature]
            share = passed(month + 1, begins, long) - passed(month, begins, long)
        seen = (1 - slip[feature]) * share + slip[feature] / 2
        pm.Bernoulli("new", p=(seen * (1 - FLOOR) + FLOOR) / (1 + FLOOR), observed=new)
    return model


def judged_value(numbers, z):
    """Quantiles of the judgements at Phi(z): first uses as they stand, overlaps exponentiated."""
    location, scale, skew = (
        np.array([getattr(number, name) for number in numbers])
        for name in ("location", "scale", "skew")
    )
    p = 0.5 * pt.erfc(-z / np.sqrt(2))
    log_odds = pt.log(p) - pt.log(0.5 * pt.erfc(z / np.sqrt(2)))
    plain = location + (scale + skew * (p - 0.5)) * log_odds
    return pt.where(np.array([number.form == "log" for number in numbers]), pt.exp(plain), plain)


def passed(at, start, width):
    """Area under a linear ramp up to a point."""
    since = at - start
    return pt.clip(since, 0, width) ** 2 / (2 * width) + pt.maximum(since - width, 0)


def sampled_by_hand(plan):
    begun = time.process_time()
    density = plan.density
    density(np.zeros(density.size))
    ready = time.process_time()
    chains = chains_of(density, draws=DRAWS, accept=ACCEPT, seed=1, count=1)
    done = time.process_time()
    steps = float(chains.stats["n_steps"].mean()) * (min(TUNE, DRAWS) + DRAWS)
    return Sampled(ready - begun, done - ready, round(steps), chains.health.ess)


def sampled(model, *, draws=DRAWS, **more):
    begun = time.process_time()
    compiled = nutpie.compile_pymc_model(model)
    ready = time.process_time()
    made = nutpie.sample(compiled, tune=draws, draws=draws, **SETTINGS, **more)
    done = time.process_time()
    groups = ("warmup_sample_stats", "sample_stats")
    steps = sum(int(made[group]["n_steps"].values.sum()) for group in groups)
    effective = float(az.ess(made["posterior"].to_dataset()[["z"]])["z"].min())
    return Sampled(ready - begun, done - ready, steps, effective)


def scaled(model, like):
    """A sampler of the same posterior from the time of a few steps: as many steps, as effective."""
    few = sampled(model, draws=20, maxdepth=5)
    return Sampled(few.compiling, few.sampling / few.steps * like.steps, like.steps, like.effective)


@pytest.fixture(scope="module")
def plans(tmp_path_factory):
    return {rows: planned(tmp_path_factory.mktemp("rows"), KINDS, rows) for rows in ROWS}


def told(benchmark, words, ratio, met):
    benchmark.extra_info[words] = round(ratio, 2)
    print(f"\n{words}: {ratio:.2f} ({'met' if met else 'not met'})", end="")


@pytest.mark.benchmark(group="learning: sampling as the corpus grows")
def test_sampling_many_beside_few(benchmark, plans):
    few = sampled_by_hand(plans[min(ROWS)])
    many = benchmark.pedantic(sampled_by_hand, args=(plans[max(ROWS)],), rounds=1)
    ratio = (many.sampling / many.steps) / (few.sampling / few.steps)
    told(benchmark, f"a step at {max(ROWS):,} / {min(ROWS)}, at most 1.3", ratio, ratio <= 1.3)


@pytest.mark.benchmark(group="learning: effective draws a second beside one row an instrument")
@pytest.mark.parametrize("rows", ROWS)
def test_counts_beside_rows(benchmark, plans, rows):
    counts = benchmark.pedantic(sampled_by_hand, args=(plans[rows],), rounds=1)
    told(benchmark, f"effective draws a second at {rows:,}", counts.per_second(), met=True)
    least = {500: 1, 5_000: 5, 50_000: 40}[rows]
    for gathered, way in ((False, "worked out by row"), (True, "gathered from a table")):
        model = row_model(plans[rows], gathered)
        whole = FULL and rows < 50_000
        peer = sampled(model) if whole else scaled(model, counts)
        ratio = counts.per_second() / peer.per_second()
        how = "sampled whole" if whole else "scaled from few steps"
        said = f"effective draws a second, ours / {way} at {rows:,} ({how}), at least {least}"
        told(benchmark, said, ratio, ratio >= least)
    benchmark.extra_info["least ESS of counts"] = round(counts.effective)


@pytest.mark.skipif(not FULL, reason="several minutes; BENCHMARKS=full")
@pytest.mark.benchmark(group="learning: the whole command on the demo corpus")
def test_the_whole_command_beside_the_model_in_pymc(benchmark, tmp_path):
    command = [sys.executable, "-m", "dating", "learn", MAKER, CORPUS, "--out"]

    def learn():
        subprocess.run([*command, tmp_path / "learned.nc"], check=True, capture_output=True)

    learn()  # numba compiles once
    (tmp_path / "learned.nc").unlink()
    begun = children_seconds()
    benchmark.pedantic(learn, rounds=1)
    ours = children_seconds() - begun
    maker = read_maker(MAKER)
    plan = plan_of(maker, read_corpus(CORPUS, maker))
    foretold = plan.processor_seconds() / ours
    told(benchmark, "foretold / taken, within 1.5", foretold, 1 / 1.5 <= foretold <= 1.5)
    few = sampled(counts_model(plan), draws=20, maxdepth=5)
    before = few.compiling + few.sampling / few.steps * BEFORE_STEPS
    told(benchmark, "as before / whole command, at least 25", before / ours, before / ours >= 25)
    benchmark.extra_info["processor seconds of the whole command"] = round(ours)


def children_seconds():
    """Processor seconds of the processes that have ended."""
    usage = resource.getrusage(resource.RUSAGE_CHILDREN)
    return usage.ru_utime + usage.ru_stime
