"""Instruments drawn from a maker file with every kind of trouble, and what is true of each.

A *world* is a maker file in which every uncertain date and length has been drawn. Instruments of
it are built, some with components made ahead or swapped in; parts are replaced, states misread,
dates misread or of a later hand, and the parts of a stock share its delay. All of it follows the
words of the guide, with the month tables of the world alone taken from the package.
"""

import copy
import datetime
from dataclasses import dataclass

import numpy as np

from dating import Examination, Maker
from dating.date_codes import week_bounds
from dating.likelihoods import mean_at
from dating.months import month_label
from dating.reading import read_yaml
from dating.stories import Fault
from dating.tabulation import month_tables

EXAMINED = datetime.date(1985, 6, 30)
LOOKS = {"seen": 0.69, "marks": 0.8, "measured": 0.4, "variant": 0.85}
STUDENT = 6


@dataclass(frozen=True)
class Drawn:
    """An instrument as it was examined, its month counted from the first, and its faults."""

    examination: Examination
    month: int
    faults: frozenset[Fault]


def changed(path, change=None):
    """Read a maker file as plain data, with a change made to it."""
    data = read_yaml(path).data
    if change is not None:
        change(data)
    return data


def world(data, rng, late=None):
    """Draw every uncertain date and length; an event may come some months later than judged."""
    maker, hidden = Maker.model_validate(copy.deepcopy(data)), copy.deepcopy(data)

    def drawn(judged):
        return float(judged.distribution().quantile(rng.random()))

    for name, event in maker.events.items():
        hidden["events"][name]["when"] = _day(drawn(event.when) + (late or {}).get(name, 0))
    for course, plain in _courses(maker, hidden):
        for regime, stated in zip(course.history or (), plain.get("history", ()), strict=True):
            if regime.first_use is not None:
                stated["first_use"] = _day(drawn(regime.first_use))
            if regime.lag is not None:
                stated["lag"] = drawn(regime.lag)
            if regime.overlap is not None:
                stated["overlap"] = max(drawn(regime.overlap), 0.0)
    return Maker.model_validate(hidden)


def of_another_shape(data):
    """Give all ramps the other shape, and one component in twenty some months of age."""
    for _, plain in _courses(Maker.model_validate(copy.deepcopy(data)), data):
        for regime in plain.get("history", ())[1:]:
            regime["shape"] = "linear" if regime.get("shape") == "logistic" else "logistic"
    for component in data["components"].values():
        age = {"shortest": 1, "likely": 4, "longest": 14}
        component.setdefault("old_stock", {"chance": 0.05, "age": age})


def _courses(maker, data):
    if maker.variants is not None:
        yield maker.variants, data["variants"]
    for part, component in maker.components.items():
        plain = data["components"][part]
        for name, feature in component.features.items():
            yield feature, plain["features"][name]
            for variant, course in feature.by_variant.items():
                yield course, plain["features"][name]["by_variant"][variant]
        for variant, courses in component.by_variant.items():
            for name, course in courses.items():
                yield course, plain["by_variant"][variant][name]


def _day(month):
    whole = int(np.floor(month))
    first = datetime.date(whole // 12, whole % 12 + 1, 1)
    return (first + datetime.timedelta(days=int((month - whole) * 28))).isoformat()


class Workshop:
    """Builds and examines instruments of one world."""

    def __init__(self, maker, rng):
        self.maker, self.rng, self.tables = maker, rng, month_tables(maker)
        self.first, self.months = maker.period.first, len(maker.period)
        self.until = EXAMINED.year * 12 + EXAMINED.month - self.first

    def instrument(self, name):
        rng, maker = self.rng, self.maker
        self.faults = set()
        month, variant = self.built(self.tables.prior[0])
        delays = {name: self.months_of(stock.delay) for name, stock in maker.stocks.items()}
        looks = {"seen": {}, "marks": {}, "measured": {}}
        for part, component in maker.components.items():
            made, of = self.component(part, component, month, variant)
            for thing, feature in component.features.items():
                state = self.state(thing, feature, made, of)
                if rng.random() < LOOKS["seen"]:
                    looks["seen"][thing] = state
            for thing, mark in component.marks.items():
                seen = rng.random() < LOOKS["marks"] * mark.found.value
                text = self.mark(thing, mark, made, delays.get(mark.stock, 0.0))
                looks["marks"] |= {thing: text} if seen else {}
            for thing, measurement in component.measurements.items():
                seen, reading = (
                    rng.random() < LOOKS["measured"],
                    self.reading(thing, measurement, made),
                )
                looks["measured"] |= {thing: reading} if seen else {}
        if maker.variants is not None and rng.random() < LOOKS["variant"]:
            looks["variant"] = self.tables.variants[variant]
        data = {"instrument": name, "maker": "drawn", "invented": True, "examined": EXAMINED}
        examination = Examination.model_validate(data | looks)
        return Drawn(examination, month, frozenset(self.faults))

    def happens(self, chance):
        return self.rng.random() < chance.value

    def months_of(self, judged):
        return float(judged.distribution().quantile(self.rng.random()))

    def built(self, weights):
        place = self.rng.choice(weights.size, p=(weights / weights.sum()).ravel())
        return int(place % weights.shape[1]), int(place // weights.shape[1])

    def component(self, part, component, month, variant):
        """Month and variant in which a component was made."""
        if self.happens(component.swapped):
            self.faults.add(Fault(part, "swapped"))
            return self.built(self.tables.donors[part][0])
        stock = component.old_stock
        if stock is not None and self.happens(stock.chance):
            made = int(np.floor(month + self.rng.random() - self.months_of(stock.age)))
            if max(made, 0) != month:
                self.faults.add(Fault(part, "old stock"))
            return max(made, 0), variant
        return month, variant

    def state(self, thing, feature, made, variant):
        states = list(feature.states)
        if self.happens(feature.replaced):
            self.faults.add(Fault(thing, "replaced"))
            kinds = feature.replacement or dict.fromkeys(states, 1.0)
            weights = np.array(list(kinds.values())) / sum(kinds.values())
            return str(self.rng.choice(list(kinds), p=weights))
        if self.happens(feature.slip):
            self.faults.add(Fault(thing, "slip"))
            return str(self.rng.choice(states))
        shares = self.tables.features[thing].by_state()[:, 0]
        weights = shares[:, min(variant, shares.shape[1] - 1), made]
        return str(self.rng.choice(states, p=weights / weights.sum()))

    def mark(self, thing, mark, made, delay):
        rng = self.rng
        at = made + rng.random() - delay - self.months_of(mark.lag)
        if self.happens(mark.replaced):
            self.faults.add(Fault(thing, "replaced"))
            at = made + rng.random() * (self.until - made)
        elif self.happens(mark.doubt):
            self.faults.add(Fault(thing, "slip"))
            later = made + rng.random() * (self.until - made)
            at = later if rng.random() < 0.2 else rng.random() * self.months
        return self.written(mark, self.first + at)

    def written(self, mark, at):
        whole = int(np.floor(at))
        first = datetime.date(whole // 12, whole % 12 + 1, 1)
        days = (datetime.date((whole + 1) // 12, (whole + 1) % 12 + 1, 1) - first).days
        day = first + datetime.timedelta(days=int((at - whole) * days))
        if mark.format == "date":
            return month_label(whole) + (f"-{day.day:02d}" if mark.precision == "day" else "")
        sunday = day - datetime.timedelta(days=day.isoweekday() % 7)
        year = (sunday + datetime.timedelta(days=3)).year
        week = (sunday - week_bounds(year, 1)[0]).days // 7 + 1
        figures = f"{year:04d}"[-1 if self.rng.random() < 0.5 else -2 :]
        return f"{mark.supplier_code[0]}-{figures}{week:02d}"

    def reading(self, thing, measurement, made):
        means, within = mean_at(measurement, self.maker.period), 0.1
        scale = np.hypot(measurement.spread, within)
        value = means[made] + scale * self.rng.standard_t(STUDENT)
        if self.happens(measurement.slip):
            self.faults.add(Fault(thing, "slip"))
            middle, reach = (means.max() + means.min()) / 2, (means.max() - means.min()) / 2
            value = middle + 10 * (reach + scale) * self.rng.standard_normal()
        return {"value": round(float(value), 3), "within": within, "confirmed": True}
