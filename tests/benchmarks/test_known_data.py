"""One split of each table of known dates; ``known_data.py`` makes the table of five.

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
    MONTH_PEERS,
    line_of,
    means,
    ours,
)
from tests.benchmarks.known_tables import batches, computers, halves, planes

GROUP = "learning from half of a table of known dates and dating the other"


@pytest.mark.benchmark(group=GROUP)
@pytest.mark.parametrize("table", [planes, computers])
def test_ours_beside_general_purpose_peers(benchmark, capsys, table):
    _, mine, peers = beside(benchmark, capsys, table, CHEAP_PEERS)
    assert means([mine], "log_score") > max(means([made], "log_score") for made in peers.values())
    best = min(means([made], "crps") for made in peers.values())
    assert means([mine], "crps") <= CRPS_RATIO * best


@pytest.mark.benchmark(group=GROUP)
def test_ours_where_a_works_builds_in_batches(benchmark, capsys):
    """Fifteen years by the month: classifiers of months, and regression to the month."""
    half, mine, peers = beside(benchmark, capsys, batches, MONTH_PEERS)
    assert half.table.dates > 120
    assert len(half.test) == 1000
    for method, made in peers.items():
        assert means([mine], "log_score") >= means([made], "log_score"), method


def beside(benchmark, capsys, table, methods):
    """Ours and the peers on one split, with the figures printed; ours is calibrated."""
    half = halves(table(), 0)
    mine = benchmark.pedantic(ours, args=(half,), rounds=1)
    peers = {method: make(half) for method, make in methods.items()}
    with capsys.disabled():
        print()
        for method, made in {"ours": mine, **peers}.items():
            print(f"{half.table.name}: {line_of(method, made)}")
            benchmark.extra_info[method] = line_of(method, made)
    for level in LEVELS:
        chance = 3 * np.sqrt(level * (1 - level) / len(half.test))
        assert mine.scores.covered(level) == pytest.approx(level, abs=COVERAGE_OFF + chance)
    return half, mine, peers
