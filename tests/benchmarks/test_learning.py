"""How long learning takes as the corpus grows, beside PyMC with one likelihood row an instrument.

Run with ``python -m pytest tests/benchmarks/test_learning.py --override-ini addopts=
--benchmark-only -s``; ratios and whether targets are met are printed. With ``BENCHMARKS=full`` in
the environment, 50,000 instruments and more draws are used, which takes about half an hour.

The maker has 24 two-state features, 360 months and no events; all months are known. Both ways are
sampled by nutpie, one chain on one core. The peer has the same judgements, ramps and slips, and is
written in two ways: ``by row`` works out each feature's ramp at each instrument, which is what one
writes first; ``gathered`` tabulates the ramps by month and looks each instrument up.
"""

import os
import time
from dataclasses import dataclass

import arviz as az
import numpy as np
import nutpie
import pymc as pm
import pytensor.tensor as pt
import pytest

from dating.learning.constants import constants_of
from dating.learning.layout import CHANCE_DOUBT, FLOOR, NARROWEST
from dating.learning.model import learning_model
from dating.learning.sampling import ACCEPT
from tests.learning_worlds import MONTHS, THROUGHOUT, planned

pytestmark = pytest.mark.filterwarnings("ignore")
FULL = os.environ.get("BENCHMARKS") == "full"
KINDS = 24 * [THROUGHOUT]
SETTINGS = {"chains": 1, "cores": 1, "seed": 1, "target_accept": ACCEPT, "progress_bar": False}
DRAWS, ROUNDS = (1000, 3) if FULL else (200, 1)
ROWS = (500, 5_000, 50_000) if FULL else (500, 5_000)


@dataclass(frozen=True)
class Sampled:
    """Seconds of compiling and of sampling, leapfrog steps, and effective draws."""

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


def sampled(model, *, draws=DRAWS, **more):
    begun = time.perf_counter()
    compiled = nutpie.compile_pymc_model(model)
    ready = time.perf_counter()
    made = nutpie.sample(compiled, tune=draws, draws=draws, **SETTINGS, **more)
    done = time.perf_counter()
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
    models = {rows: counts_model(plans[rows]) for rows in (min(ROWS), max(ROWS))}
    compiled = {rows: nutpie.compile_pymc_model(model) for rows, model in models.items()}
    times = {rows: [] for rows in models}

    def sample(rows):
        begun = time.perf_counter()
        made = nutpie.sample(compiled[rows], tune=DRAWS, draws=DRAWS, **SETTINGS)
        times[rows].append(time.perf_counter() - begun)
        return made

    for _ in range(ROUNDS):
        sample(min(ROWS))
        sample(max(ROWS))
    benchmark.pedantic(sample, args=(max(ROWS),), rounds=1)
    ratio = np.median(times[max(ROWS)]) / np.median(times[min(ROWS)])
    told(benchmark, f"sampling {max(ROWS):,} / {min(ROWS)}, at most 1.3", ratio, ratio <= 1.3)


@pytest.mark.benchmark(group="learning: effective draws a second beside one row an instrument")
@pytest.mark.parametrize("rows", ROWS[1:])
def test_counts_beside_rows(benchmark, plans, rows):
    counts = benchmark.pedantic(sampled, args=(counts_model(plans[rows]),), rounds=1)
    least = 5 if rows == 5_000 else 40
    for gathered, way in ((False, "worked out by row"), (True, "gathered from a table")):
        model = row_model(plans[rows], gathered)
        whole = FULL and rows == 5_000
        peer = sampled(model) if whole else scaled(model, counts)
        ratio = counts.per_second() / peer.per_second()
        how = "sampled whole" if whole else "scaled from few steps"
        said = f"effective draws a second, counts / {way} at {rows:,} ({how}), at least {least}"
        told(benchmark, said, ratio, ratio >= least)
    benchmark.extra_info["least ESS of counts"] = round(counts.effective)
    benchmark.extra_info["compiling, s"] = round(counts.compiling, 1)
