"""Claims of known truth, weighed after a small corpus: are they true as often as is said?

The truth is one draw of the judgements. A dozen dated instruments are built and examined by it; all
other draws are weighed by the probability of what was seen (importance sampling, Robert and Casella
2004, *Monte Carlo Statistical Methods*, 2nd edition, section 3.3), and random claims are judged by
them. The truth of a claim about a number is drawn, since chance is left in it.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from dating.claims.production import Production
from dating.claims.statements import Assertion
from dating.claims.strength import chance_from
from dating.claims.truth import chance_true
from dating.files import read_maker
from dating.learning.prior import prior_draws
from dating.months import month_label
from tests.learning_sbc import FIRST, MAKER, MONTHS

OUTPUT = """\
output:
  - {during: 1930/1931, made: {fewest: 200, likely: 300, most: 500}}
  - {during: 1932/1933, made: {fewest: 400, likely: 600, most: 800}}
"""
INSTRUMENTS, LOOKED = 12, 0.7
CHANGEOVERS = (
    {"feature": "variants", "to": "stage"},
    {"feature": "ends", "to": "metal"},
    {"feature": "label", "to": "square"},
    {"feature": "buckle", "to": "roller"},
    {"feature": "strap", "to": "black", "variant": "home"},
)
EDGES = np.array([0.0, 0.05, 0.2, 0.35, 0.5, 0.65, 0.8, 0.95, 1.0 + 1e-9])


@dataclass(frozen=True)
class Claimed:
    """Probabilities given to random claims, whether they were true, and of which truth."""

    given: np.ndarray  # (claim,)
    true: np.ndarray  # (claim,)
    replicate: np.ndarray  # (claim,)


def production_in(folder):
    """Joint draws of a small maker whose output is judged."""
    text = MAKER.replace("output: learn\n", OUTPUT, 1)
    (folder / "example.yaml").write_text(text, encoding="utf-8")
    maker = read_maker(folder / "example.yaml")
    return Production(maker, prior_draws(maker)).thinned()


def weights_of(production, place, generator):
    """Build and examine a dozen instruments by one draw; weigh all others by what was seen."""
    tables = production.tables
    among = tables.prior / tables.prior.sum(axis=1, keepdims=True)
    seen = {
        name: np.stack([table.seen(row)[0] for row in np.eye(len(table.states))])
        for name, table in tables.features.items()
    }
    weight = np.ones(len(production.draws.values))
    for _ in range(INSTRUMENTS):
        month = generator.choice(MONTHS, p=tables.output)
        variant = generator.choice(2, p=among[place, :, month])
        likelihood = among[:, :, month].copy()
        for by_state in seen.values():
            if generator.random() < LOOKED:
                each = np.broadcast_to(by_state, (*by_state.shape[:2], 2, MONTHS))[..., month]
                p = each[:, place, variant]
                likelihood = likelihood * each[generator.choice(len(p), p=p / p.sum())]
        weight *= likelihood.sum(axis=1)
    weight[place] = 0.0
    return weight


def random_claim(generator):
    """One claim about production, of any kind."""
    way, other = generator.choice(len(CHANGEOVERS), 2, replace=False)
    way, other = CHANGEOVERS[way], CHANGEOVERS[other]
    month = month_label(FIRST + int(generator.integers(4, MONTHS - 2)))
    later = month_label(FIRST + int(generator.integers(30, MONTHS)))
    use = {**{k: v for k, v in way.items() if k != "to"}, "state": way["to"]}
    states = {} if way["feature"] == "variants" else {way["feature"]: way["to"]}
    kinds = [
        {"first_use": {**use, "not_before": month}},
        {"first_use": {**use, "not_after": month}},
        {"changed_first": {"earlier": way, "later": other, "by": int(generator.integers(0, 6))}},
        {"overlap": {"changeover": way, "shorter_than": float(generator.integers(1, 9))}},
    ]
    if states:
        stretch = f"1930-06/{later}"
        share = {"states": states, "during": stretch}
        about = {"about": float(generator.integers(50, 700)), "give_or_take": 0.4}
        kinds += [
            {"share": {**share, "at_least": float(generator.uniform(0.1, 0.9))}},
            {"share": {"states": states, "during": f"1930-01/{month}", "was": "none"}},
            {"made": {"states": states, "during": stretch, **about}},
        ]
    return Assertion.model_validate(kinds[generator.integers(len(kinds))])


def claims_simulated(production, replicates, each=12):
    """Weigh random claims after random corpora of random truths."""
    given, true, of = [], [], []
    for seed in range(replicates):
        generator = np.random.default_rng((seed, 3))
        place = int(generator.integers(len(production.draws.values)))
        weight = weights_of(production, place, generator)
        for _ in range(each):
            held = chance_true(random_claim(generator), production)
            given.append(chance_from(held * weight, weight).value)
            true.append(generator.random() < held[place])
            of.append(seed)
    return Claimed(np.array(given), np.array(true), np.array(of))


def reliability(made, given=None):
    """By bin of the given probability: how many, the mean given, the share true, and its error.

    Claims of one truth hang together, so that the error is taken from truth to truth.
    """
    given = made.given if given is None else given
    rows = []
    for low, high in pairwise(EDGES):
        here = (given >= low) & (given < high)
        gap = np.where(here, made.true - given, 0.0)
        by_truth = np.bincount(made.replicate, weights=gap)
        count = int(here.sum())
        if count:
            error = np.sqrt((by_truth**2).sum()) / count
            rows.append((low, count, given[here].mean(), made.true[here].mean(), error))
    return rows
