"""Instruments built by a hidden history, changed by time, and examined in part.

The history has the shape of a maker file in which nothing is uncertain. Instruments are built by
it, lose parts, swap parts and are examined in part; then their dates are stated more or less
precisely, and some are wrong. Each instrument has a generator of its own, so that fewer are the
first of more.
"""

from __future__ import annotations

import calendar
import random
from dataclasses import dataclass
from statistics import NormalDist
from typing import Any

import numpy as np

from dating.cells import cells_of
from dating.edtf import write_edtf
from dating.examination import Examination, Reading, Sight
from dating.likelihoods import mean_at
from dating.maker import Feature, Maker, Mark, Measurement
from dating.months import month_label
from dating.tables import MonthTables
from dating.tabulation import month_tables

# What is examined and how dates are known ----------------------------------------------------

LOOKED = {"label": 0.35, "end-block": 0.5, "nut": 0.6, "plate-date": 0.15}
USUALLY, MARKS, MEASURED, VARIANT = 0.69, 0.6, 0.4, 0.85
SURE = 0.8
CELLS = {"plain": 0.94, "sure": 0.03, "one of": 0.025, "other": 0.005}
DATES = {
    "month": (0.52, ("week in the pay book", "dated bill in the case", "letter with delivery")),
    "day": (0.09, ("day in the pay book",)),
    "year": (0.14, ("year engraved at its presentation", "dealer's stock list of the year")),
    "one of": (0.07, ("last figure of the year not legible",)),
    "range": (0.12, ("between two letters of the first owner", "order and delivery both known")),
    "decade": (0.02, ("owner's family",)),
    "not after": (0.03, ("dated photograph",)),
    "not before": (0.01, ("dated drawing of the pattern",)),
}
DOUBTED, TRUSTS = 0.12, (0.95, 0.9, 0.8, 0.7)


@dataclass(frozen=True)
class World:
    """The hidden maker file and what follows from it."""

    maker: Maker
    tables: MonthTables
    shares: dict[str, np.ndarray]  # by feature: (state, variant or 1, month)


@dataclass(frozen=True)
class Instrument:
    """One instrument as it was built, changed and examined."""

    month: int
    variant: int
    origins: dict[str, tuple[int, int]]  # by component: month and variant it was built in
    swapped: tuple[str, ...]
    replaced: tuple[str, ...]
    misread: tuple[str, ...]
    examination: Examination


def world_of(maker: Maker) -> World:
    """Tabulate the hidden history; nothing in it is uncertain, so there is one draw."""
    tables = month_tables(maker)
    shares = {name: table.by_state()[:, 0] for name, table in tables.features.items()}
    return World(maker, tables, shares)


# One instrument ------------------------------------------------------------------------------


def pick(rng: random.Random, weights: Any) -> int:
    """Choose a position with the given weights."""
    edges = np.cumsum(weights)
    return min(int(np.searchsorted(edges, rng.random() * edges[-1], "right")), len(edges) - 1)


def built(rng: random.Random, weights: np.ndarray) -> tuple[int, int]:
    """Draw month and variant from weights of shape (variant, month)."""
    variant, month = divmod(pick(rng, weights.ravel()), weights.shape[1])
    return month, variant


def instrument(world: World, rng: random.Random, name: str) -> Instrument:
    """Build one instrument, let time pass, and examine it."""
    month, variant = built(rng, world.tables.prior[0])
    origins, swapped = {}, []
    for part, component in world.maker.components.items():
        donor = built(rng, world.tables.donors[part][0])
        swapped += [part] if rng.random() < component.swapped.value else []
        origins[part] = donor if part in swapped else (month, variant)
    seen, replaced, misread = {}, [], []
    for thing, (part, feature) in world.maker.features().items():
        was, state, later = state_of(rng, feature, world.shares[thing], origins[part])
        replaced += [thing] if later else []
        if rng.random() < LOOKED.get(thing, USUALLY):
            seen[thing] = sight(rng, list(feature.states), state)
            misread += [thing] if state != was else []
    marks = {
        thing: marked(rng, mark, world, origins[part][0])
        for thing, (part, mark) in world.maker.marks().items()
        if rng.random() < LOOKED.get(thing, MARKS) * mark.found.value
    }
    measured = {
        thing: reading(rng, measurement, world, origins[part][0])
        for thing, (part, measurement) in world.maker.measurements().items()
        if rng.random() < MEASURED
    }
    grade = Sight(state=world.tables.variants[variant]) if rng.random() < VARIANT else None
    examination = Examination(
        instrument=name, maker="marrowby", variant=grade, seen=seen, marks=marks, measured=measured
    )
    changes = (tuple(swapped), tuple(replaced), tuple(misread))
    return Instrument(month, variant, origins, *changes, examination)


def state_of(
    rng: random.Random, feature: Feature, shares: np.ndarray, origin: tuple[int, int]
) -> tuple[str, str, bool]:
    """Give the state there is, the state that is read, and whether the part was replaced."""
    states, (month, variant) = list(feature.states), origin
    if rng.random() < feature.replaced.value:
        kinds = feature.replacement or dict.fromkeys(states, 1.0)
        state = list(kinds)[pick(rng, list(kinds.values()))]
        return state, state, True
    state = states[pick(rng, shares[:, min(variant, shares.shape[1] - 1), month])]
    slipped = rng.random() < feature.slip.value
    return state, rng.choice(states) if slipped else state, False


def sight(rng: random.Random, states: list[str], state: str) -> Sight:
    """Write down what was read, now and then with a doubt."""
    kind = list(CELLS)[pick(rng, list(CELLS.values()))]
    another = rng.choice([name for name in states if name != state])
    if kind == "sure":
        return Sight(state=state if rng.random() < SURE else another, sure=SURE)
    if kind == "one of":
        return Sight(one_of=tuple(name for name in states if name in {state, another}))
    return Sight(other="not like any of these") if kind == "other" else Sight(state=state)


def marked(rng: random.Random, mark: Mark, world: World, month: int) -> str:
    """Date a part some time before the instrument was built, or at any time when replaced."""
    period = world.maker.period
    at = month + rng.random() - float(mark.lag.distribution().quantile(rng.random()))
    if rng.random() < mark.replaced.value:
        at = rng.random() * len(period)
    number, share = divmod(period.first + at, 1)
    year, calendar_month = divmod(int(number), 12)
    day = int(share * calendar.monthrange(year, calendar_month + 1)[1]) + 1
    return month_label(int(number)) + (f"-{day:02d}" if mark.precision == "day" else "")


def reading(rng: random.Random, measurement: Measurement, world: World, month: int) -> Reading:
    """Measure: the mean of the month, the spread of production, the error of measuring."""
    z = [NormalDist().inv_cdf(1 - rng.random()) for _ in range(8)]
    spread = measurement.spread * z[0] / (sum(x * x for x in z[2:]) / 6) ** 0.5
    within = rng.choice([0.0, 0.2, 0.3])
    mean = float(mean_at(measurement, world.maker.period)[month])
    return Reading(value=round(mean + spread + within * z[1], 1), within=within)


# How its date is known -----------------------------------------------------------------------


def stated_date(rng: random.Random, number: int) -> tuple[str, str]:
    """State a month, given as month number, more or less precisely; and say how it is known."""
    kind = list(DATES)[pick(rng, [chance for chance, _ in DATES.values()])]
    label, known_by = month_label(number), rng.choice(DATES[kind][1])
    first = number - rng.randrange(10)
    last = number + rng.randrange(2, 10)
    other = number + 12 * rng.choice([-5, -2, 2, 3, 5])
    text = {
        "month": label,
        "day": f"{label}-{rng.randrange(1, 29):02d}",
        "year": label[:4],
        "one of": write_edtf(sorted([(number, number), (other, other)])),
        "range": write_edtf([(first, last)]),
        "decade": f"{label[:3]}X",
        "not after": f"[..{month_label(number + rng.randrange(30))}]",
        "not before": f"[{month_label(number - rng.randrange(30))}..]",
    }
    return text[kind], known_by


def dated(rng: random.Random, world: World, month: int) -> tuple[dict[str, str], bool]:
    """Give the cells of the date, and whether it is wrong: then it says nothing of the month."""
    trust = rng.choice(TRUSTS) if rng.random() < DOUBTED else 1.0
    wrong = rng.random() >= trust
    elsewhere, _ = built(rng, world.tables.prior[0])
    text, known_by = stated_date(rng, world.maker.period.first + (elsewhere if wrong else month))
    cells = {"built": text, "known_by": known_by, "trust": "" if trust == 1 else f"{trust:g}"}
    return cells, wrong


# All of them --------------------------------------------------------------------------------


def simulate(maker: Maker, seed: int, rows: int) -> tuple[list[dict[str, str]], dict[str, Any]]:
    """Simulate the rows of the corpus and the truth about each instrument."""
    world = world_of(maker)
    cells, truth = [], {}
    for count in range(1, rows + 1):
        rng, name = random.Random(f"{seed} {count}"), f"R-{count:03d}"
        made = instrument(world, rng, name)
        date, wrong = dated(rng, world, made.month)
        cells.append(cells_of(made.examination) | date)
        label = month_label(world.maker.period.first + made.month)
        truth[name] = {"built": label, "variant": world.tables.variants[made.variant]}
        donors = {
            p: month_label(world.maker.period.first + made.origins[p][0]) for p in made.swapped
        }
        variants = {p: world.tables.variants[made.origins[p][1]] for p in made.swapped}
        extras = {"swapped": donors, "donor_variants": variants, "replaced": list(made.replaced)}
        extras |= {"misread": list(made.misread), "date_wrong": wrong}
        truth[name] |= {key: value for key, value in extras.items() if value}
    return cells, truth
