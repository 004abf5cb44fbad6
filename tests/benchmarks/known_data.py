"""Tables of things of known date (``known_tables``): ours beside general-purpose classifiers.

    python -m tests.benchmarks.known_data [planes|computers|batches|all] [--splits 5]

Each table is cut into halves at random. One half is learned from, the other is dated and scored.
Ours goes the way a user would: corpus as CSV, drafted maker file, ``learn``, ``posteriors``. The
peers get the same features as codes, ordered where they are numbers; what tunes them is chosen by
cross-validated log score inside the training half, as is how much of a uniform distribution is
mixed into their probabilities, for without any a log score may be infinite. Into ours 0.1 % of it
is mixed, fixed. Nothing is chosen on a test half.
"""

from __future__ import annotations

import argparse
import csv
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import product
from pathlib import Path

import numpy as np
from sklearn.ensemble import HistGradientBoostingClassifier, RandomForestClassifier
from sklearn.naive_bayes import CategoricalNB
from threadpoolctl import threadpool_limits

import dating
from dating.calibration.scores import Scores, scores_of
from dating.learning.drafting import draft
from dating.learning.learned import learned_from
from dating.learning.sampling import learn, plan_of
from tests.benchmarks.known_tables import Halves, batches, computers, halves, planes, state_order
from tests.benchmarks.month_models import MonthBoosting, MonthForest

LEVELS = (0.5, 0.8, 0.9)
COVERAGE_OFF = 0.025
CRPS_RATIO = 1.03
MIXED_INTO_OURS = 0.001
MIXED = (0.001, 0.003, 0.01, 0.03, 0.1)
FOLDS = 5
TREES = 300
BOOSTING_FOLDS = 3
RATES = (0.03, 0.1)
LEAVES = (4, 8, 16, 31)


@dataclass(frozen=True, eq=False)
class Made:
    """What one method made of one test half."""

    scores: Scores
    learned_in: float
    dated_in: float
    chosen: str


# Ours ----------------------------------------------------------------------------------------


def ours(half):
    """Draft, learn and date, as a user would."""
    table = half.table
    with tempfile.TemporaryDirectory() as folder:
        corpus, file = Path(folder) / "corpus.csv", Path(folder) / "drafted.yaml"
        started = time.perf_counter()
        _write_corpus(half, corpus)
        file.write_text(draft(corpus, "Example Works"), encoding="utf-8")
        maker = dating.read_maker(file)
        learned = learned_from(learn(plan_of(maker, dating.read_corpus(corpus, maker))))
        learned_in = time.perf_counter() - started
    started = time.perf_counter()
    seen = [_examination(half, maker, row) for row in half.test]
    by_month = dating.posteriors(maker, seen, learned).values
    first = _first_date(table)
    months = np.arange(maker.period.first, maker.period.last + 1)
    by_date = np.zeros((len(by_month), table.dates))
    for place, month in enumerate(months):
        by_date[:, month // table.step - first] += by_month[:, place]
    dated_in = time.perf_counter() - started
    latent = learned.latent
    chosen = f"{latent.variants} latent variants, {len(learned.values)} draws"
    return _scored(half, mixed(by_date, MIXED_INTO_OURS), learned_in, dated_in, chosen)


def _first_date(table):
    """The number that months divided by the step have at date 0."""
    year, _, month = table.built[int(table.when.argmin())].partition("-")
    return (int(year) * 12 + int(month or 1) - 1) // table.step


def _write_corpus(half, path):
    with open(path, "w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream)
        writer.writerow(["instrument", "built", *half.features])
        for row in half.train:
            seen = [values[row] for values in half.features.values()]
            writer.writerow([f"n{row}", half.table.built[row], *seen])


def _examination(half, maker, row):
    seen = {}
    for name, (_, feature) in maker.features().items():
        value = str(half.features[name][row])
        seen[name] = value if value in feature.states else {"other": value}
    return dating.Examination.model_validate(
        {"instrument": f"n{row}", "maker": "drafted", "seen": seen}
    )


# The peers -----------------------------------------------------------------------------------


def bayes(alpha):
    """Naive Bayes over categories."""

    def make(half):
        counts = [len(states) + 1 for states in half.states.values()]
        return CategoricalNB(alpha=alpha, min_categories=counts)

    return make


def forest(leaf):
    """Random forest."""

    def make(half):
        return RandomForestClassifier(TREES, min_samples_leaf=leaf, random_state=0, n_jobs=-1)

    return make


def boosting(rate, leaves, steps, least=20):
    """Gradient boosting on histograms; features that are no numbers are categories.

    Without the penalty the leaves of rare dates run away, and the log score with them.
    """

    def make(half):
        named = [any(state_order(s)[0] for s in states) for states in half.states.values()]
        return HistGradientBoostingClassifier(
            learning_rate=rate,
            max_leaf_nodes=leaves,
            max_iter=steps,
            min_samples_leaf=least,
            l2_regularization=1.0,
            categorical_features=named,
            early_stopping=False,
            random_state=0,
        )

    return make


def naive_bayes(half):
    """The best of several pseudo-counts."""
    return best_of(half, bayes, [{"alpha": alpha} for alpha in (0.01, 0.03, 0.1, 0.3, 1.0, 3.0)])


def random_forest(half):
    """The best of several sizes of leaf."""
    return best_of(half, forest, [{"leaf": leaf} for leaf in (1, 2, 3, 5, 10)])


def gradient_boosting(half):
    """The best of several rates and sizes of tree, each stopped early."""
    started = time.perf_counter()
    tried = []
    for rate, leaves in product(RATES, LEAVES):
        scores = staged_scores(half, boosting(rate, leaves, round(10 / rate)))
        step, place = np.unravel_index(scores.argmax(), scores.shape)
        tried.append((scores.max(), rate, leaves, int(step) + 1, MIXED[place]))
    _, rate, leaves, steps, share = max(tried)
    model = boosting(rate, leaves, steps)(half)
    return refitted(half, model, share, started, f"rate {rate}, {leaves} leaves, {steps} steps")


def cheap_boosting(half):
    """One setting near the best of full tuning; only the mixing is chosen."""
    return best_of(half, boosting, [{"rate": 0.1, "leaves": 8, "steps": 40}], folds=2)


def boosting_of_few(half):
    """Where a date has few instruments: how many a leaf has at least is chosen as well."""
    tried = [{"leaves": 8, "steps": s, "least": n} for s in (20, 40) for n in (2, 5, 20)]
    return best_of(half, boosting, [{"rate": 0.1, **settings} for settings in tried], folds=2)


def staged_scores(half, make):
    """Cross-validated log score after each step, with each share of a uniform distribution."""
    fold, total = folds_of(half, BOOSTING_FOLDS), 0.0
    for part in range(BOOSTING_FOLDS):
        fit, held = half.train[fold != part], half.train[fold == part]
        model = make(half).fit(half.codes(fit), half.table.when[fit])
        stages = model.staged_predict_proba(half.codes(held))
        total = total + np.array(
            [
                mixing_scores(widened(model, made, half.table.dates), half.table.when[held])
                for made in stages
            ]
        ) * len(held)
    return total / len(half.train)


def forest_of_months(half):
    """The best of several sizes of leaf and blurs."""
    grid = [{"leaf": leaf, "blur": blur} for leaf in (1, 3) for blur in (0.3, 1.0, 3.0)]
    return best_of(half, lambda **settings: lambda _: MonthForest(**settings), grid, folds=2)


def boosting_of_months(half):
    """The best of several sizes of tree and blurs."""
    named = [any(state_order(s)[0] for s in states) for states in half.states.values()]

    def family(leaves, blur):
        return lambda _: MonthBoosting(leaves, blur, named)

    grid = [{"leaves": leaves, "blur": blur} for leaves in (8, 31) for blur in (0.5, 1.5)]
    return best_of(half, family, grid, folds=2)


METHODS: dict[str, Callable[[Halves], Made]] = {
    "ours": ours,
    "naive Bayes": naive_bayes,
    "random forest": random_forest,
    "gradient boosting": gradient_boosting,
}
CHEAP_PEERS = {
    "naive Bayes": naive_bayes,
    "random forest": random_forest,
    "gradient boosting": cheap_boosting,
}
MONTH_PEERS = {
    **CHEAP_PEERS,
    "gradient boosting": boosting_of_few,
    "forest of months": forest_of_months,
    "boosting of months": boosting_of_months,
}
"""Where dates are many months, these may also be told as numbers."""


def best_of(half, family, grid, folds=FOLDS):
    """Choose by cross-validated log score inside the training half, and fit to all of it."""
    started = time.perf_counter()
    fold = folds_of(half, folds)
    tried = []
    for settings in grid:
        made = np.zeros((len(half.train), half.table.dates))
        for part in range(folds):
            fit, held = half.train[fold != part], half.train[fold == part]
            model = family(**settings)(half).fit(half.codes(fit), half.table.when[fit])
            made[fold == part] = dated(model, half, held)
        share, score = mixture(made, half.table.when[half.train])
        tried.append((score, share, settings))
    _, share, settings = max(tried, key=lambda each: each[0])
    said = ", ".join(f"{name} {value}" for name, value in settings.items())
    return refitted(half, family(**settings)(half), share, started, said)


def refitted(half, model, share, started, said):
    """Fit to the whole training half, date the other half and score it."""
    model.fit(half.codes(half.train), half.table.when[half.train])
    learned_in = time.perf_counter() - started
    started = time.perf_counter()
    made = mixed(dated(model, half, half.test), share)
    dated_in = time.perf_counter() - started
    return _scored(half, made, learned_in, dated_in, f"{said}, {share:.1%} uniform")


def folds_of(half, folds):
    """Deal the training half into folds."""
    return np.random.default_rng(0).permutation(len(half.train)) % folds


def dated(model, half, rows):
    """Probabilities over all dates."""
    return widened(model, model.predict_proba(half.codes(rows)), half.table.dates)


def widened(model, made, dates):
    """Give a column to dates that the model has not seen."""
    wide = np.zeros((len(made), dates))
    wide[:, model.classes_] = made
    return wide


def mixture(made, when):
    """Choose the share of a uniform distribution with the best log score."""
    scores = mixing_scores(made, when)
    place = int(np.argmax(scores))
    return MIXED[place], scores[place]


def mixing_scores(made, when):
    """Mean log score with each share of a uniform distribution."""
    held = made[np.arange(len(when)), when]
    return [float(np.log((1 - share) * held + share / made.shape[1]).mean()) for share in MIXED]


def mixed(made, share):
    """Mix in a uniform distribution."""
    return (1 - share) * made + share / made.shape[1]


# Scores --------------------------------------------------------------------------------------


def _scored(half, made, learned_in, dated_in, chosen):
    window = np.eye(half.table.dates)[half.table.when[half.test]]
    return Made(scores_of(made, window), learned_in, dated_in, chosen)


def line_of(method, made):
    """One line of figures."""
    scores = made.scores
    covered = " ".join(f"{scores.covered(level):.3f}" for level in LEVELS)
    return (
        f"{method:<18} {covered}  crps {scores.crps.mean():.3f}  log score "
        f"{scores.log_score.mean():+.3f}  learned in {made.learned_in:.1f} s, dated in "
        f"{made.dated_in:.2f} s  ({made.chosen})"
    )


def summary(table, made):
    """The mean over the splits of every method, and the targets.

    ``made`` holds a list of what was made of each split, by method.
    """
    yield f"{table.name}: means over {len(made['ours'])} splits; crps in {table.unit}"
    for method, each in made.items():
        covered = " ".join(f"{covered_on_average(each, level):.3f}" for level in LEVELS)
        log_score = means(each, "log_score")
        spread = np.std([m.scores.log_score.mean() for m in each])
        yield (
            f"  {method:<18} {covered}  crps {means(each, 'crps'):.3f}  log score {log_score:+.3f} "
            f"(sd between splits {spread:.3f})  learned in "
            f"{np.mean([m.learned_in for m in each]):.0f} s, dated in "
            f"{np.mean([m.dated_in for m in each]):.1f} s"
        )
    for target, met in targets(made).items():
        yield f"  {target}: {'met' if met else 'not met'}"


def targets(made) -> dict[str, bool]:
    """Whether ours is calibrated, and as sharp as the best peer."""
    peers = [each for method, each in made.items() if method != "ours"]
    mine = made["ours"]
    off = {level: covered_on_average(mine, level) - level for level in LEVELS}
    said = ", ".join(f"{level:.0%} {gap:+.3f}" for level, gap in off.items())
    found = {
        f"coverage within {COVERAGE_OFF} ({said})": max(map(abs, off.values())) <= COVERAGE_OFF
    }
    if peers:
        log_score, best = means(mine, "log_score"), max(means(p, "log_score") for p in peers)
        found[f"log score better than the best peer's ({best:+.3f})"] = log_score > best
        ratio = means(mine, "crps") / min(means(p, "crps") for p in peers)
        found[f"crps at most {CRPS_RATIO} of the best peer's ({ratio:.3f})"] = ratio <= CRPS_RATIO
    return found


def means(each, score):
    """Mean over instruments, then splits."""
    return float(np.mean([getattr(made.scores, score).mean() for made in each]))


def covered_on_average(each, level):
    """Share of dates in their sets of a level, mean over splits."""
    return float(np.mean([made.scores.covered(level) for made in each]))


def run(tables, splits) -> Iterator[str]:
    """Every method on every split, ours first; then the tables."""
    made = {table.name: {} for table in tables}
    for method, make in METHODS.items():
        for table in tables:
            for split in range(splits):
                found = make(halves(table, split))
                made[table.name].setdefault(method, []).append(found)
                yield f"{table.name} {split}: {line_of(method, found)}"
    for table in tables:
        yield from summary(table, made[table.name])


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    known = {"planes": planes, "computers": computers, "batches": batches}
    parser.add_argument("table", nargs="?", default="all", choices=[*known, "all"])
    parser.add_argument("--splits", type=int, default=5)
    asked = parser.parse_args()
    names = known if asked.table == "all" else [asked.table]
    with threadpool_limits(limits=1):
        for line in run([known[name]() for name in names], asked.splits):
            print(line, flush=True)


if __name__ == "__main__":
    main()
