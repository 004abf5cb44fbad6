"""Maker file and draws turned into month tables.

A number that belongs to one changeover alone is averaged here, inside its own table. A number
that several features share (the date of an event, the history of the variants) is drawn, and
tables carry those draws, so that later steps can average jointly.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from functools import lru_cache

import numpy as np

from dating.arrays import Floats
from dating.distributions import OWN_RULES, Certain, Judgement, Pool
from dating.draws import scrambled_sobol
from dating.judgement import shifted
from dating.likelihoods import mean_at
from dating.maker import Component, Course, Feature, Maker, OldStock, Regime
from dating.quadrature import merged
from dating.ramps import between_anchors, mean_shares, month_shares, regimes, shares_after
from dating.tables import Blend, FeatureTable, MonthTables

REPLICATES = 8
POINTS = 16
MOST_POINTS = 1024
"""Draws of a replicate: at first, and at most."""
SEED = 1
VARIANTS = "variants"
TOLERATED_ERROR = 0.002
"""Standard error on one month's probability that the draws should stay below."""
LEVEL = 0.9
"""Level of the sets that are reported."""


@lru_cache(maxsize=32)
def month_tables(maker: Maker, points: int = POINTS, seed: int = SEED) -> MonthTables:
    """Turn a maker file into month tables; the last few are kept.

    Parameters
    ----------
    maker : Maker
        The maker file.
    points : int
        Draws in each of the eight replicates, a power of two.
    seed : int
        The same seed gives the same tables, bit for bit.

    Returns
    -------
    MonthTables
        With a single draw when no uncertain number is shared.
    """
    numbers = _shared_numbers(maker)
    if len(numbers) == 1:
        ((name, judged),) = numbers.items()
        values, weights, replicates = _two_rules(judged, points)
        draws = {name: values}
    else:
        replicates = REPLICATES if numbers else 1
        cube = scrambled_sobol(len(numbers), points if numbers else 1, replicates, seed)
        draws = {n: j.quantile(u) for (n, j), u in zip(numbers.items(), cube.T, strict=True)}
        weights = np.full(len(cube), 1 / len(cube))
    return _Tabulation(maker, draws, weights, replicates, seed).tables()


def tables_of_draws(maker: Maker, draws: Mapping[str, Floats], seed: int = SEED) -> MonthTables:
    """Turn draws of the uncertain numbers of a maker file into month tables.

    Parameters
    ----------
    maker : Maker
        The maker file.
    draws : mapping of str to ndarray of float64, shape (draw,)
        By the names that :func:`uncertain_numbers` gives; numbers that are not among them are
        averaged.
    seed : int
        What the draws were made from.

    Returns
    -------
    MonthTables
        All draws with the same weight.

    Examples
    --------
    >>> from dating.files import read_maker
    >>> maker = read_maker("priors/marrowby.yaml")
    >>> likely = {name: judged.quantile([0.5]) for name, judged in uncertain_numbers(maker).items()}
    >>> tables_of_draws(maker, likely).prior.shape
    (1, 2, 225)
    """
    count = max((len(values) for values in draws.values()), default=1)
    return _Tabulation(maker, draws, np.full(count, 1 / count), 1, seed).tables()


def uncertain_numbers(maker: Maker) -> dict[str, Judgement]:
    """Name every uncertain date and length: what instruments of a maker have in common.

    Dates are in months since the start of the period, and lengths in months.

    Examples
    --------
    >>> from dating.files import read_maker
    >>> numbers = uncertain_numbers(read_maker("priors/marrowby.yaml"))
    >>> len(numbers), "heel-joint, regime 2, first use" in numbers
    (49, True)
    """
    numbers = dict(_event_dates(maker))
    for label, course in _courses(maker):
        for position, regime in enumerate(_changeovers(course), start=2):
            for what, judged in _numbers_of(maker, regime).items():
                numbers[f"{label}, regime {position}, {what}"] = judged
    for name, stock in maker.stocks.items():
        if uses_of(maker, name):
            numbers[_stock(name)] = stock.delay.distribution()
    return {name: judged for name, judged in numbers.items() if not isinstance(judged, Certain)}


def _shared_numbers(maker: Maker) -> dict[str, Judgement]:
    """Name the numbers that several features share: events used more than once, the variants'."""
    uses = Counter(regime.event for _, c in _courses(maker) for regime in _changeovers(c))
    own = _changeovers(maker.variants) if maker.variants else ()
    once = {
        name
        for name in maker.events
        if uses[name] < 2 and not any(regime.event == name for regime in own)
    }
    kinds = ("variants, ", *map(_stock, maker.stocks))
    return {
        name: judged
        for name, judged in uncertain_numbers(maker).items()
        if name not in once and (name in maker.events or name.startswith(kinds))
    }


class _Tabulation:
    """Builds the tables of one maker file from draws of some of its numbers."""

    def __init__(
        self,
        maker: Maker,
        draws: Mapping[str, Floats],
        weights: Floats,
        replicates: int,
        seed: int,
    ) -> None:
        self.maker, self.draws, self.weights = maker, draws, weights
        self.replicates, self.seed = replicates, seed
        self.months = len(maker.period)
        self.events = _event_dates(maker)
        self.labels = {id(course): label for label, course in _courses(maker)}
        self.count = len(weights)

    def tables(self) -> MonthTables:
        maker = self.maker
        output, variant_shares = _output(maker), self._variant_shares()
        prior = variant_shares * output * self.weights[:, None, None]
        donors = {
            name: variant_shares * _donors(maker, component, output)
            for name, component in maker.components.items()
        }
        means = {
            name: mean_at(measurement, maker.period)[None]
            for name, (_, measurement) in maker.measurements().items()
        }
        spreads = {
            name: np.array([measurement.spread])
            for name, (_, measurement) in maker.measurements().items()
        }
        return MonthTables(
            period=maker.period,
            output=output,
            variants=maker.variant_names(),
            latent=1,
            prior=prior,
            weights=self.weights,
            features={name: self._feature(name, f) for name, (_, f) in maker.features().items()},
            donors=donors,
            means=means,
            spreads=spreads,
            lags={},
            delays={
                name: self._delay(mark.stock)
                for name, (_, mark) in maker.marks().items()
                if mark.stock is not None
            },
            ages=ages_of(maker),
            shared=self.draws,
            draws=self.count,
            replicates=self.replicates,
            seed=self.seed,
        )

    def _delay(self, stock: str) -> Floats:
        """Give what a stock adds to the lags of its marks, shape (draw,)."""
        drawn = self.draws.get(_stock(stock))
        return (
            self.maker.stocks[stock].delay.distribution().quantile([0.5])
            if drawn is None
            else drawn
        )

    def _variant_shares(self) -> Floats:
        variants = self.maker.variants
        if variants is None:
            return np.ones((1, 1, self.months))
        shares = share_matrix(variants, tuple(variants.states), None)
        courses = self._regimes(variants)
        return np.asarray(np.einsum("rv,rdt->dvt", shares, courses))

    def _feature(self, name: str, feature: Feature) -> FeatureTable:
        states = tuple(feature.states)
        variants: tuple[str | None, ...] = self.maker.variant_names() or (None,)
        if not self.maker.depends_on_variant(name):
            variants = variants[:1]
        courses = [self.maker.course_of(name, variant) for variant in variants]
        regimes_of = {key: self._regimes(c) for key, c in {id(c): c for c in courses}.items()}
        blends = [
            Blend(regimes_of[id(course)], share_matrix(course, states, variant)[:, None])
            for course, variant in zip(courses, variants, strict=True)
        ]
        return FeatureTable(
            states,
            tuple(blends),
            slip=np.array([feature.slip.value]),
            replaced=np.array([feature.replaced.value]),
            replacement=replacement_shares(feature),
        )

    def _regimes(self, course: Course) -> Floats:
        if course.shares_at is not None:
            return self._anchored(course.shares_at)
        label = self.labels[id(course)]
        ramps = [
            self._ramp(f"{label}, regime {position}", regime)
            for position, regime in enumerate(_changeovers(course), start=2)
        ]
        return regimes(ramps, self.months)

    def _anchored(self, shares_at: Mapping[float, Mapping[str, float]]) -> Floats:
        anchors = sorted(anchor - self.maker.period.first for anchor in shares_at)
        return between_anchors(anchors, self.months)[:, None]

    def _ramp(self, label: str, regime: Regime) -> Floats:
        numbers = _numbers_of(self.maker, regime)
        drawn = any(f"{label}, {what}" in self.draws for what in numbers)
        if drawn or label.startswith(f"{VARIANTS}, "):
            return self._drawn_ramp(label, regime, numbers)
        overlap, months, shape = numbers["overlap"], self.months, regime.shape
        if regime.event is None:
            return mean_shares(numbers["first use"], overlap, months, shape)
        event, lag = self.events[regime.event], numbers["lag"]
        if regime.event in self.draws:
            return shares_after(self.draws[regime.event], lag, overlap, months, shape)
        if isinstance(event, Certain):
            return mean_shares(shifted(lag, event.value), overlap, months, shape)
        if isinstance(lag, Certain):
            return mean_shares(shifted(event, lag.value), overlap, months, shape)
        values, weights = event.nodes(fine=4)
        return weights @ shares_after(values, lag, overlap, months, shape)

    def _drawn_ramp(self, label: str, regime: Regime, numbers: dict[str, Judgement]) -> Floats:
        """Give a changeover of which every uncertain number is drawn, shape (draw, month)."""
        values = {what: self._drawn(f"{label}, {what}", judged) for what, judged in numbers.items()}
        if regime.event is None:
            start = values["first use"]
        else:
            start = values["lag"] + self._drawn(regime.event, self.events[regime.event])
        return month_shares(start, values["overlap"], self.months, regime.shape)

    def _drawn(self, name: str, judged: Judgement) -> Floats:
        """Give the draws of a number, or what is certain of it, shape (draw,)."""
        return self.draws[name] if name in self.draws else judged.quantile([0.5])


def _event_dates(maker: Maker) -> dict[str, Judgement]:
    """Give the dates of events, in months since the start of the period."""
    return {
        name: shifted(event.when.distribution(), -maker.period.first)
        for name, event in maker.events.items()
    }


def _numbers_of(maker: Maker, regime: Regime) -> dict[str, Judgement]:
    """Give the dates and lengths of a changeover, but for the date of its event."""
    overlap = regime.judged_overlap()
    if regime.first_use is None:
        return {"lag": regime.judged_lag(), "overlap": overlap}
    first_use = shifted(regime.first_use.distribution(), -maker.period.first)
    return {"first use": first_use, "overlap": overlap}


def stock_delays(maker: Maker, count: int, seed: int) -> dict[str, Floats]:
    """Draw the delays of shared stocks beside so many draws of something else.

    Each delay is drawn evenly over its judgement, in an order of its own. Shape of each: (draw,).

    Examples
    --------
    >>> from dating.files import read_maker
    >>> stock_delays(read_maker("priors/marrowby.yaml"), 512, seed=1)
    {}
    """
    even = (np.arange(count) + 0.5) / count
    delays: dict[str, Floats] = {}
    for place, (name, stock) in enumerate(maker.stocks.items()):
        order = np.random.default_rng((seed, place)).permutation(count)
        drawn = stock.delay.distribution().quantile(even[order])
        delays |= dict.fromkeys(uses_of(maker, name), drawn)
    return delays


def uses_of(maker: Maker, stock: str) -> tuple[str, ...]:
    """Name the marks whose parts lay in a stock."""
    return tuple(name for name, (_, mark) in maker.marks().items() if mark.stock == stock)


def _stock(name: str) -> str:
    return f"delay of {name}"


def ages_of(maker: Maker) -> dict[str, Floats]:
    """Give when components that may be old stock were made, by month of their instrument.

    With chance s a component is A months old, its age as judged; what would lie before the period
    counts as made in its first month. Shape of each: (month built, month made).

    Examples
    --------
    >>> from dating.files import read_maker
    >>> ages_of(read_maker("priors/marrowby.yaml"))
    {}
    """
    return {
        name: _ages(component.old_stock, len(maker.period))
        for name, component in maker.components.items()
        if component.old_stock is not None and component.old_stock.chance.value > 0
    }


def _ages(old: OldStock, months: int) -> Floats:
    """Give P(made in u | built in t), shape (t, u)."""
    age = old.age.distribution()
    whole = np.diff(age.excess(np.arange(-1.0, months + 1)), n=2)  # P(age of k months)
    made = np.zeros((months, months))
    for month in range(months):
        made[month, month::-1] = whole[: month + 1]
        made[month, 0] += 1 - whole[: month + 1].sum()
    chance = old.chance.value
    return np.asarray(chance * made + (1 - chance) * np.eye(months))


def replacement_shares(feature: Feature) -> Floats:
    """Give the shares of the states among later replacements; uniform unless stated.

    Shape: (state,).
    """
    states = tuple(feature.states)
    if feature.replacement is None:
        return np.full(len(states), 1 / len(states))
    return np.array([feature.replacement.get(state, 0.0) for state in states])


def _two_rules(judged: Judgement, points: int) -> tuple[Floats, Floats, int]:
    """Give a quadrature rule over one shared number as two rules, one after the other.

    Each takes every other node, so that the two stand for each other's replicate: what they
    differ by is more than the error of both together. A member that is certain is in both. Where
    there are many members, the nodes of each rule are merged, so that draws do not grow with them.
    """
    members = judged.members if isinstance(judged, Pool) else (judged,)
    shares = judged.weights if isinstance(judged, Pool) else (1.0,)
    fine = max(points // 4, 1)
    rules: list[list[tuple[Floats, Floats]]] = [[], []]
    for member, share in zip(members, shares, strict=True):
        values, weights = member.nodes(fine)
        if len(values) == 1:
            values, weights = np.repeat(values, 2), np.repeat(weights / 2, 2)
        elif len(values) % 2:
            values, weights = np.append(values, values[-1]), np.append(weights, 0.0)
        for start, rule in enumerate(rules):
            rule.append((values[start::2], share * weights[start::2]))
    most = OWN_RULES * (28 * fine + 1)
    two = []
    for rule in rules:
        places, masses = (np.concatenate(each) for each in zip(*rule, strict=True))
        two.append(merged(places, masses, most))
    length = max(len(values) for values, _ in two)
    values = np.concatenate([np.pad(v, (0, length - len(v)), mode="edge") for v, _ in two])
    return values, np.concatenate([np.pad(w, (0, length - len(w))) for _, w in two]), 2


def _changeovers(course: Course) -> tuple[Regime, ...]:
    return (course.history or ())[1:]


def _courses(maker: Maker) -> Iterator[tuple[str, Course]]:
    """Give every course once, with its name: of the feature, and the variant whose own it is."""
    if maker.variants is not None:
        yield VARIANTS, maker.variants
    for name in maker.features():
        known: set[int] = set()
        for variant in maker.variant_names() or (None,):
            course = maker.course_of(name, variant)
            if id(course) not in known:
                yield (f"{name} of {variant}" if known else name), course
            known.add(id(course))


def share_matrix(course: Course, states: tuple[str, ...], variant: str | None) -> Floats:
    """Give the shares of the states in each regime, or at each anchor in ascending order.

    Shape: (regime, state).
    """
    if isinstance(course, Feature) and course.free_form:
        return np.full((1, len(states)), 1 / len(states))
    if course.shares_at is not None:
        rows = [course.shares_at[anchor] for anchor in sorted(course.shares_at)]
    else:
        rows = [regime.shares_of(variant) for regime in course.history or ()]
    return np.array([[row.get(state, 0.0) for state in states] for row in rows])


def _output(maker: Maker) -> Floats:
    """Spread the expected output evenly inside each stretch; uniform when there is none."""
    rate = np.zeros(len(maker.period))
    for output in maker.output:
        first = output.during.first - maker.period.first
        inside = slice(first, first + len(output.during))
        rate[inside] += output.made.distribution().mean() / len(output.during)
    return rate / rate.sum() if rate.sum() > 0 else np.full(len(rate), 1 / len(rate))


def _donors(maker: Maker, component: Component, output: Floats) -> Floats:
    if not component.donors:
        return output
    period, months = maker.period, np.zeros(len(output))
    for donors in component.donors:
        first, last = max(donors.during.first, period.first), min(donors.during.last, period.last)
        months[first - period.first : last - period.first + 1] += donors.share / (last - first + 1)
    return months / months.sum()
