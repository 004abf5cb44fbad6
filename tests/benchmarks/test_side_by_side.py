"""Three hundred instruments side by side, beside dating them one by one.

Run with ``python -m pytest tests/benchmarks/test_side_by_side.py --override-ini addopts=
--benchmark-only -s``; times are of the processor and in one run. Pairs, row, neighbours, what
decides them and further looks are all worked out.
"""

import time

import pytest

import dating

INSTRUMENTS = 300
MOST = 10
"""Times the time of dating them that the comparison may take."""


def everything(maker, examinations):
    """The comparison with all that is derived from it."""
    made = dating.compare(maker, examinations)
    return made.arrangement, made.neighbours, made.differences, made.looks, made.rank_ranges


@pytest.mark.benchmark(group="three hundred instruments side by side")
def test_side_by_side_beside_dating_them(benchmark):
    maker = dating.read_maker("priors/marrowby.yaml")
    corpus = dating.read_corpus("demo_data/marrowby_corpus.csv", maker)
    examinations = [reference.examination for reference in corpus.references[:INSTRUMENTS]]
    dating.month_tables(maker)
    started = time.process_time()
    for examination in examinations:
        dating.estimate(maker, examination).highest_density()
    apart = time.process_time() - started
    started = time.process_time()
    benchmark.pedantic(everything, (maker, examinations), rounds=1)
    ratio = (time.process_time() - started) / apart
    benchmark.extra_info["times the time of dating them"] = round(ratio, 1)
    print(f"\nside by side / one by one ({apart:.1f} s): {ratio:.1f} times", end="")
    assert ratio < MOST
