"""One split of each public table; ``known_data.py`` makes the table of five.

Naive Bayes and the forest are tuned inside the training half; boosting takes one cheap setting,
near the best that full tuning found.
"""

import numpy as np
import pytest

from tests.benchmarks.known_data import (
    CHEAP_PEERS,
    COVERAGE_OFF,
    CRPS_RATIO,
    LEVELS,
    computers,
    halves,
    line_of,
    means,
    ours,
    planes,
)


@pytest.mark.benchmark(group="learning from half of a table of known dates and dating the other")
@pytest.mark.parametrize("table", [planes, computers])
def test_ours_beside_general_purpose_peers(benchmark, capsys, table):
    half = halves(table(), 0)
    mine = benchmark.pedantic(ours, args=(half,), rounds=1)
    peers = {method: make(half) for method, make in CHEAP_PEERS.items()}
    with capsys.disabled():
        print()
        for method, made in {"ours": mine, **peers}.items():
            print(f"{half.table.name}: {line_of(method, made)}")
            benchmark.extra_info[method] = line_of(method, made)
    for level in LEVELS:
        chance = 3 * np.sqrt(level * (1 - level) / len(half.test))
        assert mine.scores.covered(level) == pytest.approx(level, abs=COVERAGE_OFF + chance)
    assert means([mine], "log_score") > max(means([made], "log_score") for made in peers.values())
    best = min(means([made], "crps") for made in peers.values())
    assert means([mine], "crps") <= CRPS_RATIO * best
