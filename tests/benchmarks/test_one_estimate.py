"""How long one estimate takes, beside sampling the same model of the same instrument with PyMC.

Run with ``python -m pytest tests/benchmarks --override-ini addopts= --benchmark-only``. The ratio
stands in the column of extra information and is printed.
"""

import time

import arviz as az
import numpy as np
import pytest

import dating
from tests.benchmarks.sampler import sampled

DRAWS = 300


@pytest.fixture(scope="module")
def instrument():
    maker = dating.read_maker("priors/marrowby.yaml")
    return maker, dating.read_examination("demo_data/examinations/M-001.yaml")


def everything(maker, examination):
    """The estimate with its summaries, what each piece says, and all advice."""
    made = dating.estimate(maker, examination)
    made.highest_density(0.9), made.highest_density(0.5), made.entropy, made.originality
    return made, made.findings, made.conflict, made.advice


@pytest.mark.benchmark(group="one estimate with summaries and advice")
@pytest.mark.filterwarnings("ignore")
def test_estimate_beside_sampling(benchmark, instrument):
    started = time.perf_counter()
    draws = sampled(*instrument, draws=DRAWS)
    peer = time.perf_counter() - started
    made, *_ = benchmark(everything, *instrument)
    by_month = draws.posterior["by month"].mean(("chain", "draw")).values
    benchmark.extra_info["sampling, compilation included, takes this many times as long"] = round(
        peer / benchmark.stats["median"]
    )
    benchmark.extra_info["ESS of the sampler, least"] = round(
        float(az.ess(draws).to_dataset().to_array().min())
    )
    print(f"\nsampling / estimate: {peer / benchmark.stats['median']:,.0f} times", end="")
    assert np.abs(by_month - made.probabilities).sum() / 2 < 0.05


@pytest.mark.benchmark(group="one estimate, from the maker file's text on")
def test_read_and_tabulate(benchmark):
    def cold():
        dating.month_tables.cache_clear()
        maker = dating.read_maker("priors/marrowby.yaml")
        examination = dating.read_examination("demo_data/examinations/M-001.yaml")
        return dating.estimate(maker, examination).probabilities

    assert benchmark(cold).sum() == pytest.approx(1)
