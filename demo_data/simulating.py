"""Instruments built by a hidden history, changed by time, and examined in part.

The history has the shape of a maker file in which nothing is uncertain. Instruments are built by
it, lose parts, swap parts and are examined in part; then their dates are stated more or less
precisely, and some are wrong. Each instrument has a generator of its own, so that fewer are the
first of more.
"""

from __future__ import annotations

import calendar
import datetime
import random
from dataclasses import dataclass, field
from statistics import NormalDist
from typing import Any

import numpy as np

from dating.cells import cells_of
from dating.date_codes import week_bounds
from dating.edtf import write_edtf
from dating.examination import Examination, Reading, Sight
from dating.likelihoods import mean_at
from dating.maker import Component, Feature, Maker, Mark, Measurement
from dating.months import month_label
from dating.tables import MonthTables
from dating.tabulation import month_tables

# What is examined and how dates are known ----------------------------------------------------

USUALLY, MARKS, MEASURED, VARIANT = 0.69, 0.6, 0.4, 0.85
SURE = 0.8
CELLS = {"plain": 0.94, "sure": 0.03, "one of": 0.025, "other": 0.005}
DATES = {
    "month": 0.52,
    "day": 0.09,
    "year": 0.14,
    "one of": 0.07,
    "range": 0.12,
    "decade": 0.02,
    "not after": 0.03,
    "not before": 0.01,
}
DOUBTED, TRUSTS = 0.12, (0.95, 0.9, 0.8, 0.7)
SHORT_YEAR = 0.5
"""How often a code gives the year by its last figure alone."""


@dataclass(frozen=True)
class Habits:
    """How the instruments of one maker are examined, and how their dates are known.

    Parameters
    ----------
    maker : str
        Name of the maker file.
    known_by : dict of str to tuple of str
        What each kind of date in ``DATES`` is known by.
    looked : dict of str to float
        How often a thing is examined, where that is not as usual.
    examined : int or None
        Month number of the examination, up to which parts were replaced; the maker's last month
        unless given.
    doubts : dict of str to float
        How often the date of a mark does not tell the build, by mark.
    """

    maker: str
    known_by: dict[str, tuple[str, ...]]
    looked: dict[str, float]
    examined: int | None = None
    doubts: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class World:
    """The hidden maker file and what follows from it."""

    maker: Maker
    habits: Habits
    tables: MonthTables
    shares: dict[str, np.ndarray]  # by feature: (state, variant or 1, month)


@dataclass(frozen=True)
class Instrument:
    """One instrument as it was built, changed and examined."""

    month: int
    variant: int
    origins: dict[str, tuple[int, int]]  # by component: month and variant it was built in
    ages: dict[str, int]  # by component of old stock: months that it was made ahead
    swapped: tuple[str, ...]
    replaced: tuple[str, ...]
    misread: tuple[str, ...]
    later: tuple[str, ...]  # marks on parts that were replaced
    examination: Examination


def world_of(maker: Maker, habits: Habits) -> World:
    """Tabulate the hidden history; nothing in it is uncertain, so there is one draw."""
    tables = month_tables(maker)
    shares = {name: table.by_state()[:, 0] for name, table in tables.features.items()}
    return World(maker, habits, tables, shares)


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
    ages = {part: age_of(rng, component) for part, component in world.maker.components.items()}
    made = {part: (max(at - ages[part], 0), of) for part, (at, of) in origins.items()}
    seen, replaced, misread = seen_on(world, rng, made)
    delays = delays_of(rng, world.maker, swapped)
    marks, later = {}, []
    for thing, (part, mark) in world.maker.marks().items():
        if rng.random() < world.habits.looked.get(thing, MARKS) * mark.found.value:
            delay = delays[part].get(mark.stock or "", 0.0)
            marks[thing], new = marked(rng, thing, world, made[part][0], delay)
            later += [thing] if new else []
    measured = {
        thing: reading(rng, measurement, world, made[part][0])
        for thing, (part, measurement) in world.maker.measurements().items()
        if rng.random() < MEASURED
    }
    grade = Sight(state=world.tables.variants[variant]) if rng.random() < VARIANT else None
    examination = Examination(
        instrument=name,
        maker=world.habits.maker,
        variant=grade,
        seen=seen,
        marks=marks,
        measured=measured,
    )
    aged = {part: age for part, age in ages.items() if age}
    changes = (tuple(swapped), tuple(replaced), tuple(misread), tuple(later))
    return Instrument(month, variant, origins, aged, *changes, examination)


def age_of(rng: random.Random, component: Component) -> int:
    """Draw by how many months a component was made ahead of its instrument."""
    stock = component.old_stock
    if stock is None or rng.random() >= stock.chance.value:
        return 0
    return int(stock.age.distribution().quantile(rng.random()))


def seen_on(
    world: World, rng: random.Random, made: dict[str, tuple[int, int]]
) -> tuple[dict[str, Sight], list[str], list[str]]:
    """Look at features: what is seen, which parts were replaced, and which were misread."""
    seen: dict[str, Sight] = {}
    replaced: list[str] = []
    misread: list[str] = []
    for thing, (part, feature) in world.maker.features().items():
        was, state, later = state_of(rng, feature, world.shares[thing], made[part])
        replaced += [thing] if later else []
        if rng.random() < world.habits.looked.get(thing, USUALLY):
            seen[thing] = sight(rng, list(feature.states), state)
            misread += [thing] if state != was else []
    return seen, replaced, misread


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


@dataclass(frozen=True)
class Marked:
    """A mark as it is read, and whether its part was replaced later."""

    text: str
    later: bool


def delays_of(rng: random.Random, maker: Maker, swapped: list[str]) -> dict[str, dict[str, float]]:
    """Draw the delay of each stock, once for the instrument and once for each donor."""

    def drawn() -> dict[str, float]:
        return {
            name: float(stock.delay.distribution().quantile(rng.random()))
            for name, stock in maker.stocks.items()
        }

    whole = drawn()
    return {part: drawn() if part in swapped else whole for part in maker.components}


def marked(
    rng: random.Random, name: str, world: World, month: int, delay: float
) -> tuple[str, bool]:
    """Read a mark: some months before the build, unless another date took its place.

    A later part dates from any month of the period, or, where the day of examination is known, of
    the time from the build until then. A date that does not tell the build may be any.
    """
    period, examined = world.maker.period, world.habits.examined
    mark = world.maker.marks()[name][1]
    at = month + rng.random() - delay - float(mark.lag.distribution().quantile(rng.random()))
    later = rng.random() < mark.replaced.value
    first, last = (0, len(period)) if examined is None else (month, examined - period.first)
    if later:
        at = first + rng.random() * (last - first)
    doubt = world.habits.doubts.get(name, 0.0)
    if doubt and rng.random() < doubt:
        at = rng.random() * last
    return written(rng, mark, period.first + at), later


def written(rng: random.Random, mark: Mark, at: float) -> str:
    """Write a point in time, in months, as finely as the mark tells it."""
    number, share = divmod(at, 1)
    year, calendar_month = divmod(int(number), 12)
    day = int(share * calendar.monthrange(year, calendar_month + 1)[1]) + 1
    if mark.format == "source-date":
        return code_of(rng, mark, datetime.date(year, calendar_month + 1, day))
    return month_label(int(number)) + (f"-{day:02d}" if mark.precision == "day" else "")


def code_of(rng: random.Random, mark: Mark, day: datetime.date) -> str:
    """Write the source-date code of the week in which a day lies."""
    sunday = day - datetime.timedelta(days=day.isoweekday() % 7)
    year = (sunday + datetime.timedelta(days=3)).year
    week = (sunday - week_bounds(year, 1)[0]).days // 7 + 1
    figures = f"{year:04d}"[-1 if rng.random() < SHORT_YEAR else -2 :]
    return f"{mark.supplier_code[0]}-{figures}{week:02d}"


def reading(rng: random.Random, measurement: Measurement, world: World, month: int) -> Reading:
    """Measure: the mean of the month, the spread of production, the error of measuring."""
    z = [NormalDist().inv_cdf(1 - rng.random()) for _ in range(8)]
    spread = measurement.spread * z[0] / (sum(x * x for x in z[2:]) / 6) ** 0.5
    within = rng.choice([0.0, 0.2, 0.3])
    mean = float(mean_at(measurement, world.maker.period)[month])
    return Reading(value=round(mean + spread + within * z[1], 1), within=within)


# How its date is known -----------------------------------------------------------------------


def stated_date(rng: random.Random, number: int, habits: Habits) -> tuple[str, str]:
    """State a month, given as month number, more or less precisely; and say how it is known."""
    kind = list(DATES)[pick(rng, list(DATES.values()))]
    label, known_by = month_label(number), rng.choice(habits.known_by[kind])
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
    number = world.maker.period.first + (elsewhere if wrong else month)
    text, known_by = stated_date(rng, number, world.habits)
    cells = {"built": text, "known_by": known_by, "trust": "" if trust == 1 else f"{trust:g}"}
    return cells, wrong


# All of them --------------------------------------------------------------------------------


def simulate(
    maker: Maker, habits: Habits, seed: int, rows: int
) -> tuple[list[dict[str, str]], dict[str, Any]]:
    """Simulate the rows of the corpus and the truth about each instrument."""
    world = world_of(maker, habits)
    cells, truth = [], {}
    for count in range(1, rows + 1):
        rng, name = random.Random(f"{seed} {count}"), f"R-{count:03d}"
        made = instrument(world, rng, name)
        date, wrong = dated(rng, world, made.month)
        cells.append(cells_of(made.examination) | date)
        truth[name] = truth_of(world, made, wrong)
    return cells, truth


def truth_of(world: World, made: Instrument, wrong: bool) -> dict[str, Any]:
    """Say what happened to an instrument; of later marks only where they are followed up."""
    first, variants = world.maker.period.first, world.tables.variants
    donors = {part: month_label(first + made.origins[part][0]) for part in made.swapped}
    grades = {part: variants[made.origins[part][1]] for part in made.swapped}
    extras: dict[str, Any] = {"swapped": donors, "donor_variants": grades}
    extras |= {"replaced": list(made.replaced), "misread": list(made.misread)}
    extras |= {"old_stock": made.ages}
    extras |= {"later_marks": list(made.later) if world.habits.examined else []}
    extras |= {"date_wrong": wrong}
    built = {"built": month_label(first + made.month), "variant": variants[made.variant]}
    return built | {key: value for key, value in extras.items() if value}
