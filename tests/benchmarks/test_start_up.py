"""How long the command takes to start, beside importing numpy, pandas and xarray."""

import statistics
import subprocess
import sys
import time

import pytest

PEER = "import numpy, pandas, xarray"
COMMAND = "from dating.cli.main import main; main()"
ROUNDS = 7


def run(code, *arguments):
    subprocess.run([sys.executable, "-c", code, *arguments], check=True, capture_output=True)


@pytest.fixture(scope="module")
def peer():
    def once():
        started = time.perf_counter()
        run(PEER)
        return time.perf_counter() - started

    once()
    return statistics.median(once() for _ in range(ROUNDS))


@pytest.mark.benchmark(group="start-up")
@pytest.mark.parametrize(
    "arguments",
    [["--help"], ["estimate", "demo_data/examinations/M-001.yaml"]],
    ids=["help", "whole estimate"],
)
def test_start_up_beside_the_imports(benchmark, peer, arguments):
    benchmark.pedantic(run, args=(COMMAND, *arguments), rounds=ROUNDS, warmup_rounds=1)
    ratio = benchmark.stats["median"] / peer
    benchmark.extra_info["of the time to import numpy, pandas and xarray"] = round(ratio, 2)
    print(f"\n{arguments[0]} / import of numpy, pandas, xarray: {ratio:.2f}", end="")
