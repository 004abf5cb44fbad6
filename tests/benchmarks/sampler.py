"""The demo's model written straight in PyMC: every uncertain number sampled, the month summed out.

This is what one would write without the project's engine. It covers what the demo maker file
uses: histories and tables of shares, events, variants, slip, replacement, swaps, documents and
measurements. It shares with the project only the reading of the files and the judgements' quantile
functions.
"""

import logging

import numpy as np
import pymc as pm
import pytensor.tensor as pt
from scipy.special import ndtr

GRID = np.linspace(-6.0, 6.0, 2401)
STEEP = 2 * np.log(19)


class Straight:
    """Builds the PyMC model of one examination; ``by month`` is P(month | draw)."""

    def __init__(self, maker, examination):
        self.maker, self.examination = maker, examination
        self.months = np.arange(len(maker.period))
        self.variants = maker.variant_names() or (None,)
        self.numbers = {}

    def model(self):
        with pm.Model() as model:
            output = self.output()
            shares = self.variant_shares()
            known = self.known_variants()
            per_variant = [shares[v] * known[v] * output for v in range(len(self.variants))]
            for name, component in self.maker.components.items():
                likelihood = self.component(name, component, shares, output)
                per_variant = [p * like for p, like in zip(per_variant, likelihood, strict=True)]
            joint = sum(per_variant) * self.documents()
            pm.Potential("seen", pt.log(joint.sum()))
            pm.Deterministic("by month", joint / joint.sum())
        return model

    def output(self):
        made = np.zeros(len(self.months))
        for stretch in self.maker.output:
            first = stretch.during.first - self.maker.period.first
            months = len(stretch.during)
            made[first : first + months] += stretch.made.distribution().mean() / months
        return made / made.sum() if made.sum() else np.full(len(made), 1 / len(made))

    def number(self, name, judged):
        """An uncertain number: the judgement's quantile function of a standard normal's chance."""
        if judged is None:
            return 0.0
        if name not in self.numbers:
            table = judged.distribution().quantile(ndtr(GRID))
            if np.ptp(table) == 0:
                self.numbers[name] = table[0]
            else:
                z = pm.Normal(name)
                at = pt.clip((z + 6.0) / 12.0 * (len(GRID) - 1), 0.0, len(GRID) - 2.000001)
                cell = pt.cast(pt.floor(at), "int64")
                values = pt.as_tensor(table)
                self.numbers[name] = values[cell] + (at - cell) * (values[cell + 1] - values[cell])
        return self.numbers[name]

    def ramp(self, name, regime):
        if regime.event is not None:
            start = self.number(f"event {regime.event}", self.maker.events[regime.event].when)
            start = start + self.number(f"{name} lag", regime.lag)
        else:
            start = self.number(f"{name} first use", regime.first_use)
        start = start - self.maker.period.first
        overlap = self.number(f"{name} overlap", regime.overlap)
        return self.area(self.months + 1 - start, overlap, regime.shape) - self.area(
            self.months - start, overlap, regime.shape
        )

    @staticmethod
    def area(x, overlap, shape):
        if isinstance(overlap, float) and overlap == 0:
            return pt.maximum(x, 0.0)
        if shape == "logistic":
            scale = overlap / STEEP
            return scale * pt.softplus((x - overlap / 2) / scale)
        overlap = pt.maximum(overlap, 1e-6)
        return pt.clip(x, 0.0, overlap) ** 2 / (2 * overlap) + pt.maximum(x - overlap, 0.0)

    def course(self, name, course, weights, variant):
        """P(what was recorded | month) before slip: weights by state."""
        if course.shares_at is not None:
            anchors = sorted(course.shares_at)
            values = [
                sum(course.shares_at[a].get(s, 0) * w for s, w in weights.items()) for a in anchors
            ]
            return np.interp(self.months + self.maker.period.first, anchors, values)
        reached, total = 1.0, 0.0
        regimes = course.history
        for position, regime in enumerate(regimes):
            if position:
                reached = reached * self.ramp(f"{name} {position}", regime)
            later = position + 1
            stays = 1 - self.ramp(f"{name} {later}", regimes[later]) if later < len(regimes) else 1
            share = sum(regime.shares_of(variant).get(s, 0) * w for s, w in weights.items())
            total = total + reached * stays * share
        return total

    def variant_shares(self):
        if self.maker.variants is None:
            return [1.0]
        return [
            self.course("variants", self.maker.variants, {variant: 1.0}, None)
            for variant in self.variants
        ]

    def known_variants(self):
        sight = self.examination.variant
        if sight is None:
            return [1.0] * len(self.variants)
        return [1.0 if variant in sight.named() else 0.0 for variant in self.variants]

    def component(self, name, component, shares, output):
        evidence = []
        for variant in self.variants:
            product = 1.0
            for feature in component.features:
                sight = self.examination.seen.get(feature)
                if sight is not None and sight.other is None:
                    product = product * self.feature(feature, component, sight, variant)
            for measure, number in component.measurements.items():
                reading = self.examination.measured.get(measure)
                if reading is not None:
                    product = product * self.measured(number, reading)
            evidence.append(product)
        swapped = component.swapped.value
        donor = sum(
            (s * self.donors(component, output) * e).sum()
            for s, e in zip(shares, evidence, strict=True)
        )
        return [(1 - swapped) * e + swapped * donor for e in evidence]

    def donors(self, component, output):
        if not component.donors:
            return output
        made = np.zeros(len(output))
        for donors in component.donors:
            first = donors.during.first - self.maker.period.first
            made[first : first + len(donors.during)] += donors.share / len(donors.during)
        return made

    def feature(self, name, component, sight, variant):
        feature, states = component.features[name], list(component.features[name].states)
        weights = dict.fromkeys(sight.named(), 1.0)
        if sight.sure is not None:
            rest = (1 - sight.sure) / (len(states) - 1)
            weights = {s: sight.sure if s == sight.state else rest for s in states}
        course = self.maker.course_of(name, variant)
        label = name if course is feature else f"{name} of {variant}"
        built = self.course(label, course, weights, variant)
        slip, replaced = feature.slip.value, feature.replaced.value
        uniform = dict.fromkeys(states, 1 / len(states))
        later = sum((feature.replacement or uniform).get(s, 0) * w for s, w in weights.items())
        misread = slip * sum(weights.values()) / len(states)
        return (1 - replaced) * ((1 - slip) * built + misread) + replaced * later

    def measured(self, number, reading):
        anchors = sorted(number.mean)
        at = self.months + self.maker.period.first
        mean = np.interp(at, anchors, [number.mean[a] for a in anchors])
        scale = np.hypot(number.spread, reading.within)
        z = (reading.value - mean) / scale
        if number.tails is None:
            return np.exp(-(z**2) / 2)
        return (1 + z**2 / number.tails) ** (-(number.tails + 1) / 2)

    def documents(self):
        total = np.ones(len(self.months))
        at = self.months + self.maker.period.first
        for paper in self.examination.documents:
            allowed = np.ones(len(at), dtype=bool)
            if paper.not_after is not None:
                day = paper.not_after.upper
                allowed &= at <= day.year * 12 + day.month - 1
            if paper.not_before is not None:
                day = paper.not_before.lower
                allowed &= at >= day.year * 12 + day.month - 1
            total *= paper.trust * allowed + 1 - paper.trust
        return total


def sampled(maker, examination, *, draws, chains=2, seed=1):
    """Sample the straight model; returns the draws as ArviZ holds them."""
    logging.getLogger("pymc").setLevel(logging.ERROR)
    with Straight(maker, examination).model():
        return pm.sample(
            draws=draws,
            tune=draws,
            chains=chains,
            cores=chains,
            random_seed=seed,
            target_accept=0.9,
            progressbar=False,
        )
