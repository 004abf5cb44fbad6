"""A whole table of the demo maker at once, beside naive Bayes and a loop of single posteriors.

Run with ``python -m pytest tests/benchmarks/test_batch.py --override-ini addopts=
--benchmark-only -s``; figures and ratios are printed, of the processor and in one run. The table
is the demo corpus, drawn from again, each cell blank with a chance of 0.15, so that nearly every
row differs from all others. Ours goes from a table of text to dates alone (mode, median, mean, set
and its stretches and mass, years) with as many draws as each row needs; a second line has it with
everything in the result. The peer goes from arrays of codes to mode, mean, set and years. With
``BENCHMARKS=full`` in the environment there are 20,000 rows and not 4,000, and memory is measured
up to 200,000.
"""

import os
import subprocess
import sys
import time
from functools import partial

import numpy as np
import pandas as pd
import pytest
from sklearn.naive_bayes import CategoricalNB

import dating
from dating import estimate_many
from dating.batch import joint
from dating.batch.results import year_starts
from dating.batch.rows import _add_rows
from dating.evidence_cache import EvidenceCache
from dating.learning.prior import prior_draws
from dating.tabulation import month_tables

FULL = os.environ.get("BENCHMARKS") == "full"
ROWS = 20_000 if FULL else 4_000
MANY = 200_000 if FULL else 40_000
ROUNDS = 3
PEER_ROWS = 20_000
BLANK = 0.15
BYTES_A_ROW = 1_024
"""What an added row may take beside table and result; its posterior alone would be 1,800."""
JOINT_ROWS, JOINT_DRAWS = 1_000, 64
CORPUS = "demo_data/marrowby_corpus.csv"


def peer_summaries(model, codes, starts, level=0.9):
    """Mode, mean, first and last month of the set and mass of each year, in parts."""
    made = []
    for start in range(0, len(codes), PEER_ROWS):
        p = model.predict_proba(codes[start : start + PEER_ROWS])
        down = np.sort(p, axis=1)[:, ::-1]
        needed = (np.cumsum(down, axis=1) < level).sum(axis=1)
        inside = p >= np.take_along_axis(down, needed[:, None], axis=1)
        last = p.shape[1] - 1 - inside[:, ::-1].argmax(axis=1)
        years = np.add.reduceat(p, starts[:-1], axis=1)
        made.append(
            (p.argmax(axis=1), p @ np.arange(p.shape[1]), inside.argmax(axis=1), last, years)
        )
    return made


def demo_rows(rows, seed=1):
    """The demo corpus drawn from again, some cells blank; the months of those that have one."""
    generator = np.random.default_rng(seed)
    table = pd.read_csv(CORPUS, comment="#", dtype=str, keep_default_na=False)
    frame = table.iloc[generator.integers(len(table), size=rows)].reset_index(drop=True)
    frame = frame.drop(columns=["known_by", "trust"])
    for name in frame.columns.difference(["instrument", "built"]):
        frame.loc[generator.random(rows) < BLANK, name] = ""
    return frame.drop(columns="built")


def codes_of(frame, maker):
    """Codes by row and feature, 0 where nothing was seen or it is not one state."""
    features = maker.features().items()
    return np.array(
        [pd.Categorical(frame[name], list(one.states)).codes + 1 for name, (_, one) in features]
    ).T


def told(benchmark, words, ratio, met=None):
    benchmark.extra_info[words] = round(ratio, 2)
    verdict = "" if met is None else f" ({'met' if met else 'not met'})"
    print(f"\n{words}: {ratio:.2f}{verdict}", end="")


def timed(do):
    begun = time.perf_counter()
    do()
    return time.perf_counter() - begun


def timed_twice(do):
    """Seconds on the clock, and of the processor."""
    begun = time.process_time()
    clock = timed(do)
    return clock, time.process_time() - begun


def checked(benchmark, words, ratio, aim, least):
    """Print a ratio beside what is aimed at, and assert what it must not fall below."""
    told(benchmark, f"{words}, {aim:g} aimed at", ratio, ratio >= aim)
    assert ratio >= least


@pytest.fixture(scope="module")
def maker():
    return dating.read_maker("priors/marrowby.yaml")


@pytest.fixture(scope="module")
def peer(maker):
    """Naive Bayes over the features of the demo, fitted to as many rows as there are months."""
    generator, months = np.random.default_rng(2), len(maker.period)
    built = np.concatenate([np.arange(months), generator.integers(months, size=PEER_ROWS - months)])
    categories = [len(one.states) + 1 for _, one in maker.features().values()]
    model = CategoricalNB(min_categories=categories)
    return model.fit(codes_of(demo_rows(PEER_ROWS, seed=2), maker), built)


def loop(maker, examinations):
    """Posteriors one at a time, each different sighting worked out once."""
    cache = EvidenceCache(maker, month_tables(maker))
    return [cache.weighing(examination).by_month.sum(axis=0) for examination in examinations]


@pytest.mark.benchmark(group="rows of the demo maker to mode, mean, set and years")
def test_rows_of_the_demo_beside_naive_bayes_and_a_loop(benchmark, maker, peer):
    frame = demo_rows(ROWS)
    codes, starts = codes_of(frame, maker), year_starts(maker.period)
    examinations = [r.examination for r in dating.read_corpus(CORPUS, maker).references]
    runs = {
        "naive Bayes": (partial(peer_summaries, peer, codes, starts), ROWS),
        "dates alone": (partial(estimate_many, maker, frame, parts=False), ROWS),
        "everything": (partial(estimate_many, maker, frame), ROWS),
        "a loop of single posteriors": (partial(loop, maker, examinations), len(examinations)),
    }
    estimate_many(maker, frame)  # what is compiled and tabulated on first use
    each = {name: [] for name in runs}
    for name, (do, rows) in [*runs.items()] * ROUNDS:
        each[name].append(timed_twice(do)[1] / rows)
    benchmark.pedantic(runs["dates alone"][0], rounds=1)
    a_row = {name: min(times) for name, times in each.items()}
    for name, seconds in a_row.items():
        told(benchmark, f"microseconds of the processor a row, {name}", seconds * 1e6)
    told(benchmark, "dates alone / naive Bayes", a_row["dates alone"] / a_row["naive Bayes"])
    gain = a_row["a loop of single posteriors"] / a_row["dates alone"]
    checked(benchmark, "a loop / dates alone", gain, 10, 4)


@pytest.mark.benchmark(group="rows of the demo maker, compiled beside NumPy")
def test_compiled_beside_numpy(benchmark, monkeypatch, maker):
    frame = demo_rows(1_000)
    times = {}
    for name, add_rows in {"compiled": _add_rows(), "numpy": joint.add_rows}.items():
        monkeypatch.setattr("dating.batch.rows._add_rows", lambda add_rows=add_rows: add_rows)
        run = partial(estimate_many, maker, frame, parts=False)
        run()
        times[name] = min(timed_twice(run)[1] for _ in range(ROUNDS))
    benchmark.pedantic(run, rounds=1)
    checked(benchmark, "NumPy / compiled", times["numpy"] / times["compiled"], 3, 1.5)


MEASURE = """
import sys
from tests.benchmarks.test_batch import demo_rows
from dating import estimate_many, read_maker
def kilobytes(key):
    with open("/proc/self/status") as stream:
        return next(int(line.split()[1]) for line in stream if line.startswith(key))
maker = read_maker("priors/marrowby.yaml")
frame = demo_rows(int(sys.argv[1]))
estimate_many(maker, frame.iloc[:1000], parts=False)
with open("/proc/self/clear_refs", "w") as stream:
    stream.write("5")  # the peak starts anew
before = kilobytes("VmRSS")
dated = estimate_many(maker, frame, parts=False)
print((kilobytes("VmHWM") - before) * 1024 - int(dated.memory_usage().sum()))
"""


def extra_bytes(rows):
    """Peak memory beside the table and its result, in a process of its own."""
    made = subprocess.run(
        [sys.executable, "-c", MEASURE, str(rows)], check=True, capture_output=True, text=True
    )
    return int(made.stdout)


@pytest.mark.benchmark(group="memory")
def test_memory_does_not_grow_with_the_rows(benchmark):
    few = extra_bytes(ROWS)
    more = benchmark.pedantic(extra_bytes, args=(MANY,), rounds=1)
    a_row = (more - few) / (MANY - ROWS)
    print(f"\nbeside table and result: {few / 1e6:.0f} MB at {ROWS:,} rows, ", end="")
    print(f"{more / 1e6:.0f} MB at {MANY:,}", end="")
    words = f"bytes for each added row, at most {BYTES_A_ROW}"
    told(benchmark, words, a_row, a_row <= BYTES_A_ROW)
    assert a_row <= BYTES_A_ROW


@pytest.mark.benchmark(group="two worker processes beside one, draws summed over")
def test_two_workers_beside_one(benchmark, maker):
    dd = pytest.importorskip("dask.dataframe")
    distributed = pytest.importorskip("distributed")
    learned = prior_draws(maker).thinned(JOINT_DRAWS)
    frame = demo_rows(JOINT_ROWS)
    times = {}
    for workers in (1, 2):
        with (
            distributed.LocalCluster(
                n_workers=workers, threads_per_worker=1, processes=True, dashboard_address=None
            ) as cluster,
            distributed.Client(cluster),
        ):
            table = dd.from_pandas(frame, npartitions=8)
            # With another seed a cluster cannot give a result it still has; draws are the same.
            lazy = [estimate_many(maker, table, learned=learned, seed=seed) for seed in range(4)]
            lazy[0].partitions[:2].compute()  # what is imported and compiled on first use
            each = [timed(lazy[seed].compute) for seed in (1, 2)]
            if workers == 2:
                dated = benchmark.pedantic(lazy[3].compute, rounds=1)
        times[workers] = min(each)
    assert (dated["standard_error"] > 0).all()
    cores = len(os.sched_getaffinity(0))
    if cores < 2:
        pytest.skip(f"two workers need two cores, and there are {cores}")
    checked(benchmark, "one worker / two", times[1] / times[2], 1.6, 0.5)
