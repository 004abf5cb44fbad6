"""The demo makers, each with its hidden history, its corpus and the truth about it."""

import importlib
import sys
from functools import cache, cached_property
from pathlib import Path

import numpy as np
import yaml

from dating import read_corpus, read_maker
from dating.months import Period
from dating.tabulation import month_tables

DEMO = Path("demo_data")
sys.path.append(str(DEMO.resolve()))


class Demo:
    """One demo maker."""

    def __init__(self, name):
        self.name = name
        self.script = importlib.import_module(f"simulate_{name}")

    @property
    def files(self):
        return f"{self.name}_corpus.csv", f"{self.name}_truth.yaml"

    @cached_property
    def references(self):
        return read_corpus(DEMO / self.files[0]).references

    @cached_property
    def truth(self):
        return yaml.safe_load((DEMO / self.files[1]).read_text("utf-8"))

    @cached_property
    def judged(self):
        return read_maker(f"priors/{self.name}.yaml")

    @cached_property
    def hidden(self):
        return self.script.hidden_maker()

    @property
    def changeovers(self):
        return self.script.CHANGEOVERS

    def position(self, label):
        return Period.parse(label).first - self.judged.period.first

    @cached_property
    def pairs(self):
        told = self.truth["instruments"]
        return [(r, told[r.examination.instrument]) for r in self.references]

    def tails(self, maker):
        """Hold the recorded states of every feature against a history, year by year.

        A component from old stock is older than its instrument.
        """
        tables, variants = month_tables(maker), maker.variant_names()
        for name, (part, feature) in maker.features().items():
            shares = np.moveaxis(tables.features[name].by_state().mean(axis=1), 0, -1)
            recorded = recorded_shares(feature, shares)
            rows = []
            for reference, told in self.pairs:
                sight = reference.examination.seen.get(name)
                if sight is not None and sight.state is not None and sight.sure is None:
                    month = self.position(told.get("swapped", {}).get(part, told["built"]))
                    month = max(month - told.get("old_stock", {}).get(part, 0), 0)
                    grade = told.get("donor_variants", {}).get(part, told["variant"])
                    variant = min(variants.index(grade), len(recorded) - 1)
                    rows.append((month, sight.state, recorded[variant, month]))
            for first in range(0, len(maker.period), 12):
                near = [(state, row) for month, state, row in rows if first <= month < first + 12]
                for number, state in enumerate(feature.states):
                    if near:
                        seen = sum(other == state for other, _ in near)
                        yield name, first, tail(seen, [row[number] for _, row in near])


@cache
def demo(name):
    return Demo(name)


def tail(count, chances):
    """Probability of a count at least as far out, either way, when each has its own chance."""
    exact = np.ones(1)
    for chance in chances:
        exact = np.convolve(exact, [1 - chance, chance])
    return float(min(1.0, 2 * exact[: count + 1].sum(), 2 * exact[count:].sum()))


def recorded_shares(feature, shares):
    """``(1 - rho) [(1 - e) P(s) + e / S] + rho Q(s)``, states last."""
    slip, replaced, count = feature.slip.value, feature.replaced.value, len(feature.states)
    kinds = feature.replacement or dict.fromkeys(feature.states, 1 / count)
    later = np.array([kinds.get(state, 0.0) for state in feature.states])
    return (1 - replaced) * ((1 - slip) * shares + slip / count) + replaced * later
