"""The model worked out slowly: plain loops over draws, variants, months and donors.

Written from the formulae of the model and from the docstrings, not from the engine, to hold
the engine against. Three things are taken as given because other tests check them: draws of
the shared numbers, mean ramps of changeovers that are themselves uncertain, and a judgement's
distribution function, which is integrated here.
"""

from functools import lru_cache
from math import exp, gamma, log, log1p, log2, pi, sqrt

import numpy as np

from dating.date_codes import DateCodeError, read_date_code
from dating.edtf import parse_edtf
from dating.examination import Sight
from dating.judgement import Certain, shifted
from dating.months import day_position
from dating.ramps import mean_shares, shares_after


def ramp_in_month(a, d, t, shape):
    """Average the ramp with first use a and overlap d over [t, t + 1)."""
    if d == 0:
        return min(max(t + 1 - a, 0.0), 1.0)
    if shape == "logistic":
        scale = d / (2 * log(19))
        ends = [_softplus((x - a - d / 2) / scale) for x in (t, t + 1)]
        return _none_or_all(scale * (ends[1] - ends[0]))
    low, high = (min(max(x, t), t + 1) for x in (a, a + d))
    rising = ((high - a) ** 2 - (low - a) ** 2) / (2 * d)
    return rising + t + 1 - high


_PANELS = [0, 1e-4, 1e-3, 1e-2, 0.03, 0.1, 0.3, 0.6, *range(1, 200)]
_NODES, _NODE_WEIGHTS = np.polynomial.legendre.leggauss(32)


@lru_cache(maxsize=100_000)
def integral(judged, y):
    """Integrate a distribution function from 0 to y, which is E max(y - X, 0) for X >= 0."""
    if isinstance(judged, Certain):
        return max(y - judged.value, 0.0)
    if y <= 0:
        return 0.0
    edges = np.array([*(edge for edge in _PANELS if edge < y), y])
    half = np.diff(edges) / 2
    nodes = edges[:-1, None] + half[:, None] * (1 + _NODES)
    return float(half @ (judged.cdf(nodes) @ _NODE_WEIGHTS))


def overlap(a, b, c, d):
    """Give the length that [a, b) and [c, d) have in common."""
    return max(min(b, d) - max(a, c), 0.0)


def mutual_information(joint):
    """Return the bits that the rows of a joint distribution tell about its columns."""
    total = sum(map(sum, joint))
    rows = [sum(row) / total for row in joint]
    columns = [sum(column) / total for column in zip(*joint, strict=True)]
    return sum(
        p / total * log2(p / total / (rows[i] * columns[j]))
        for i, row in enumerate(joint)
        for j, p in enumerate(row)
        if p > 0
    )


def normalised(values):
    """Scale numbers to sum to one."""
    total = sum(values)
    return [value / total for value in values]


class Enumeration:
    """Everything about one instrument, by loops.

    ``pieces`` holds, by name, the component and the likelihood by draw, variant and month of
    each piece of evidence; ``later`` the part of it that a later replacement explains.
    """

    def __init__(self, maker, examination, tables):
        self.maker, self.examination = maker, examination
        self.first = maker.period.first
        self.months = range(maker.period.last - maker.period.first + 1)
        self.shared = {name: values.tolist() for name, values in tables.shared.items()}
        self.weights = tables.weights.tolist()
        self.draws = range(len(self.weights))
        self.variants = list(maker.variants.states) if maker.variants else [None]
        self.output = self._output()
        self.variant_shares = self._variant_shares()
        self.swapped = {name: c.swapped.value for name, c in maker.components.items()}
        for name, known in examination.parts.items():
            right = known.sure if known.original else 1 - known.sure
            before = self.swapped[name]
            whole = before * (1 - right) + (1 - before) * right
            self.swapped[name] = before * (1 - right) / whole if whole else 1 - right
        self.ages = {name: self._ages(c.old_stock) for name, c in maker.components.items()}
        self.months_before = {name: self._months_before(name) for name in maker.components}
        self.donors = {name: self._donors(c) for name, c in maker.components.items()}
        self.pieces, self.later = {}, {}
        self._see_everything()

    # What comes out --------------------------------------------------------------------------

    def joint(self, names=None, extra=None):
        """Give P(evidence, variant, month) for the pieces named (all of them unless given)."""
        return [
            [sum(cell) for cell in zip(*by_draw, strict=True)]
            for by_draw in zip(*self._by_draw(names, extra), strict=True)
        ]

    def by_month(self, names=None, extra=None):
        """Give P(evidence, month)."""
        return [sum(column) for column in zip(*self.joint(names, extra), strict=True)]

    def evidence(self, names=None):
        """Give P(evidence) for the pieces named."""
        return sum(self.by_month(names))

    def without(self, name):
        """Name all pieces but one."""
        return [other for other in self.pieces if other != name]

    def original(self, component, extra=None):
        """Give P(evidence, component original)."""
        return sum(map(sum, self._split(component, extra)[0]))

    def own_months(self, component):
        """Give P(evidence, the component's own build month)."""
        original, swapped = self._split(component)
        return [a + b for a, b in zip(map(sum, original), map(sum, swapped), strict=True)]

    def replaced(self, name):
        """Give P(the part was replaced later | everything)."""
        part, later = self.pieces[name][0], self.later[name]
        by_month = later if isinstance(later, list) else [later for _ in self.months]
        pieces = self.pieces
        self.pieces = {**pieces, name: (part, self._everywhere(by_month))}
        total = self.evidence()
        self.pieces = pieces
        return total / self.evidence()

    def answers(self, name):
        """Give P(answer, evidence, month) and P(answer, evidence, original) of an open feature."""
        part, feature = self.maker.features()[name]
        by_month, by_origin = [], []
        for state in feature.states:
            likelihood, _ = self._feature(name, part, feature, Sight(state=state))
            extra = {"the answer": (part, likelihood)}
            total = self.by_month(extra=extra)
            original = self.original(part, extra)
            by_month.append(total)
            by_origin.append([original, max(sum(total) - original, 0)])
        return by_month, by_origin

    # The formulae ----------------------------------------------------------------------------

    def _by_draw(self, names, extra=None, leave=None):
        """Give pi(t) P(v | t) W(t, v) prod_c L_c(t, v) times the draw's weight."""
        pieces = {n: p for n, p in self.pieces.items() if names is None or n in names}
        pieces |= extra or {}
        factors = {
            part: self._component_likelihood(part, pieces)
            for part in self.maker.components
            if part != leave and any(component == part for component, _ in pieces.values())
        }
        whole = [likelihood for component, likelihood in pieces.values() if component is None]
        made = []
        for n in self.draws:
            rows = []
            for v in range(len(self.variants)):
                row = []
                for t in self.months:
                    p = self.output[t] * self.variant_shares[n][v][t] * self.weights[n]
                    for factor in (*factors.values(), *whole):
                        p *= factor[n][v][t]
                    row.append(p)
                rows.append(row)
            made.append(rows)
        return made

    def _component_likelihood(self, part, pieces):
        """Give L = (1 - rho) A + rho sum_{u, w} q(u) P(w | u) A(u, w)."""
        rho = self.swapped[part]
        made = []
        for n in self.draws:
            evidence = self._evidence_on(part, pieces, n)
            donor = 0
            for w in range(len(self.variants)):
                for u in self.months:
                    donor += self.donors[part][u] * self.variant_shares[n][w][u] * evidence[w][u]
            built = [[self._built(part, row, t) for t in self.months] for row in evidence]
            made.append([[(1 - rho) * b + rho * donor for b in row] for row in built])
        return made

    def _ages(self, old):
        """Give P(A = k months) as a list by k, and the chance of old stock."""
        if old is None:
            return 0.0, [1.0]
        age = old.age.distribution()
        reached = [integral(age, k) for k in range(-1, len(self.months) + 2)]
        return old.chance.value, [
            reached[k + 2] - 2 * reached[k + 1] + reached[k] for k in range(len(self.months))
        ]

    def _built(self, part, by_own_month, t):
        """Give sum_u P(made in u | built in t) A(u)."""
        return sum(share * by_own_month[u] for u, share in self.months_before[part][t].items())

    def _months_before(self, part):
        """Give P(made in u | built in t) by t and u; older than the period counts as its first."""
        chance, ages = self.ages[part]
        if not chance:
            return [{t: 1} for t in self.months]
        made = []
        for t in self.months:
            row = {t: 1 - chance}
            for k in range(t + 1):
                row[t - k] = row.get(t - k, 0.0) + chance * ages[k]
            row[0] += chance * (1 - sum(ages[: t + 1]))
            made.append(row)
        return made

    def _evidence_on(self, part, pieces, n):
        """Give A(t, v): the product of what was seen on a component, in one draw."""
        made = [[1 for _ in self.months] for _ in self.variants]
        for component, likelihood in pieces.values():
            if component == part:
                for v in range(len(self.variants)):
                    for t in self.months:
                        made[v][t] *= likelihood[n][v][t]
        return made

    def _split(self, part, extra=None):
        """Give P(evidence, own month, original) and (…, swapped), by own month and draw."""
        rho = self.swapped[part]
        pieces = self.pieces | (extra or {})
        rest = self._by_draw(None, extra, leave=part)
        original = [[0 for _ in self.draws] for _ in self.months]
        swapped = [[0 for _ in self.draws] for _ in self.months]
        for n in self.draws:
            evidence = self._evidence_on(part, pieces, n)
            elsewhere = sum(map(sum, rest[n]))
            for v in range(len(self.variants)):
                for t in self.months:
                    a, q = evidence[v][t], self.donors[part][t] * self.variant_shares[n][v][t]
                    for month in self.months:
                        share = self.months_before[part][month].get(t, 0)
                        original[t][n] += (1 - rho) * rest[n][v][month] * share * a
                    swapped[t][n] += rho * elsewhere * q * a
        return original, swapped

    # The maker file --------------------------------------------------------------------------

    def _output(self):
        if not self.maker.output:
            return [1 / len(self.months) for _ in self.months]
        made = [0.0 for _ in self.months]
        for output in self.maker.output:
            during = range(output.during.first, output.during.last + 1)
            for month in during:
                made[month - self.first] += output.made.distribution().mean() / len(during)
        return normalised(made)

    def _donors(self, component):
        if not component.donors:
            return self.output
        made = [0.0 for _ in self.months]
        for donors in component.donors:
            during = [
                u
                for u in self.months
                if donors.during.first <= self.first + u <= donors.during.last
            ]
            for u in during:
                made[u] += donors.share / len(during)
        return normalised(made)

    def _variant_shares(self):
        if self.maker.variants is None:
            return [[[1.0 for _ in self.months]] for _ in self.draws]
        return [
            [
                [self._share(self.maker.variants, None, v, regimes, t) for t in self.months]
                for v in self.variants
            ]
            for regimes in (self._regimes(self.maker.variants, n, True) for n in self.draws)
        ]

    def _regimes(self, course, n, of_variants=False):
        """Give P(regime | t) as regime by month; for a table of shares, nothing."""
        ramps = [
            self._ramp(regime, n, f"variants, regime {number}" if of_variants else None)
            for number, regime in enumerate(course.history or (), start=1)
            if number > 1
        ]
        reached = [1.0 for _ in self.months]
        made = []
        for ramp in ramps:
            made.append([r * (1 - f) for r, f in zip(reached, ramp, strict=True)])
            reached = [r * f for r, f in zip(reached, ramp, strict=True)]
        return [*made, reached]

    def _ramp(self, regime, n, label):
        zero = Certain(0.0)
        overlap = regime.overlap.distribution() if regime.overlap else zero
        lag = regime.lag.distribution() if regime.lag else zero
        if regime.event is None:
            start = shifted(regime.first_use.distribution(), -self.first)
        else:
            event = shifted(self.maker.events[regime.event].when.distribution(), -self.first)
            if regime.event in self.shared:
                event = Certain(self.shared[regime.event][n])
        if label is not None:
            overlap = self._drawn(overlap, f"{label}, overlap", n)
            lag = self._drawn(lag, f"{label}, lag", n)
            if regime.event is None:
                start = self._drawn(start, f"{label}, first use", n)
        if regime.event is not None:
            moved = shifted(lag, event.value) if isinstance(event, Certain) else None
            start = moved or shifted(event, lag.value)
        if isinstance(start, Certain) and isinstance(overlap, Certain):
            return [ramp_in_month(start.value, overlap.value, t, regime.shape) for t in self.months]
        if regime.event in self.shared:
            events = np.array(self.shared[regime.event])
            return shares_after(events, lag, overlap, len(self.months), regime.shape)[n].tolist()
        return mean_shares(start, overlap, len(self.months), regime.shape).tolist()

    def _drawn(self, judged, name, n):
        return judged if isinstance(judged, Certain) else Certain(self.shared[name][n])

    def _share(self, course, variant, state, regimes, t):
        """Give P(s | t) = sum_j P(regime j | t) share_j(s), or the table's share at t."""
        if course.shares_at is None:
            return sum(
                regimes[j][t] * regime.shares_of(variant).get(state, 0.0)
                for j, regime in enumerate(course.history)
            )
        anchors = sorted(course.shares_at)
        month, row = self.first + t, lambda anchor: course.shares_at[anchor].get(state, 0.0)
        if month <= anchors[0]:
            return row(anchors[0])
        if month >= anchors[-1]:
            return row(anchors[-1])
        left = max(a for a in anchors if a <= month)
        right = min(a for a in anchors if a > month)
        u = (month - left) / (right - left)
        return (1 - u) * row(left) + u * row(right)

    # The examination -------------------------------------------------------------------------

    def _see_everything(self):
        maker, seen = self.maker, self.examination
        for name, (part, feature) in maker.features().items():
            sight = seen.seen.get(name)
            if sight is not None and sight.other is None and sight.known is None:
                self._note(name, part, *self._feature(name, part, feature, sight))
        for name, (part, mark) in maker.marks().items():
            text = seen.marks.get(name)
            sure = text == "absent" and mark.found_at is None and mark.found.value == 1
            if text is not None and not sure:
                self._note(name, part, *self._mark(name, mark, text))
        for name, (part, measurement) in maker.measurements().items():
            reading = seen.measured.get(name)
            if reading is not None and (reading.confirmed or not self._gross(measurement, reading)):
                density = self._density(measurement, seen.measured[name])
                self._note(name, part, self._everywhere(density), 0.0)
        if seen.variant is not None and seen.variant.other is None and seen.variant.known is None:
            weights = self._weights(seen.variant, self.variants)
            likelihood = [[[w for _ in self.months] for w in weights] for _ in self.draws]
            self._note("variant", None, likelihood, 0.0)
        for number, paper in enumerate(seen.documents, start=1):
            self._note(f"document {number}", None, self._everywhere(self._paper(paper)), 0.0)

    def _note(self, name, part, likelihood, later):
        self.pieces[name] = (part, likelihood)
        self.later[name] = later

    def _everywhere(self, by_month):
        """Repeat a likelihood that depends on the month alone."""
        return [[by_month for _ in self.variants] for _ in self.draws]

    def _weights(self, sight, states):
        """Give r(s): one for each state named; a confidence shares its rest among the others."""
        if sight.excluded is not None:
            return [float(state not in sight.excluded) for state in states]
        if sight.one_of is not None:
            return [float(state in sight.one_of) for state in states]
        if sight.sure is None or len(states) == 1:
            return [float(state == sight.state) for state in states]
        doubt = (1 - sight.sure) / (len(states) - 1)
        return [sight.sure if state == sight.state else doubt for state in states]

    def _feature(self, name, part, feature, sight):
        """Give sum_s r(s) {(1 - rho) [(1 - e) P(s | t) + e / S] + rho Q(s)}."""
        states = list(feature.states)
        weights = self._weights(sight, states)
        e, rho = feature.slip.value, feature.replaced.value
        q = feature.replacement or {state: 1 / len(states) for state in states}
        later = sum(r * rho * q.get(s, 0.0) for r, s in zip(weights, states, strict=True))
        made = []
        for n in self.draws:
            rows = []
            for variant in self.variants:
                course = self._course(name, part, feature, variant)
                regimes = self._regimes(course, n)
                row = []
                for t in self.months:
                    p = later
                    for r, s in zip(weights, states, strict=True):
                        share = self._share(course, variant, s, regimes, t)
                        p += r * (1 - rho) * ((1 - e) * share + e / len(states))
                    row.append(p)
                rows.append(row)
            made.append(rows)
        return made, later

    def _course(self, name, part, feature, variant):
        """Return what is said of a variant: by the component, by the feature, or of all."""
        of_component = self.maker.components[part].by_variant.get(variant, {})
        return of_component.get(name) or feature.by_variant.get(variant, feature)

    def _mark(self, name, mark, text):
        """Give f(t) {(1 - rho) [(1 - d) sum_x P(t <= x + lag < t + 1) + d u] + rho later(t)}.

        ``later`` is the share of the time from t to the examination that the date may lie in; u is
        four fifths of the share of the period, and one fifth of ``later``; f is the chance that
        there is a mark.
        """
        rho, doubt = mark.replaced.value, mark.doubt.value
        found = [self._found(mark, self.first + t) for t in self.months]
        if text == "absent":
            return self._everywhere([1 - f for f in found]), [rho * (1 - f) for f in found]
        day = max(self.examination.day, parse_edtf(self.maker.period.labels()[-1]).upper)
        ends, expected = self._ends(mark, text, day)
        ordinal = [(a, type(a).fromordinal(b.toordinal() + 1)) for a, b in ends]
        stretches = [
            (day_position(a) - self.first, day_position(b) - self.first) for a, b in ordinal
        ]
        until = day_position(type(day).fromordinal(day.toordinal() + 1)) - self.first
        later = [
            rho * found[t] * sum(overlap(a, b, t, until) for a, b in stretches) / (until - t)
            for t in self.months
        ]
        length = len(self.months)
        early = all(b <= 0 for _, b in stretches)
        inside = sum(b - a if early else overlap(a, b, 0, length) for a, b in stretches) / length
        wrong = [
            (1 - rho)
            * doubt
            * (
                0.8 * inside
                + 0.2 * sum(overlap(a, b, t, until) for a, b in stretches) / (until - t)
            )
            for t in self.months
        ]
        lag, likelihood = mark.lag.distribution(), []
        for n in self.draws:
            delay = self._delay(mark, n)
            row = []
            for t in self.months:
                p = 0.0
                for start, stop in stretches if expected else []:
                    for end, sign in ((start + delay, 1), (stop + delay, -1)):
                        p += sign * (integral(lag, t + 1 - end) - integral(lag, t - end))
                row.append(found[t] * ((1 - rho) * (1 - doubt) * p + wrong[t]) + later[t])
            likelihood.append([row for _ in self.variants])
        return likelihood, later

    def _ends(self, mark, text, day):
        """Give first and last day of each candidate, and whether the supplier may be the one."""
        if mark.format != "source-date":
            return set(parse_edtf(text).stretches), True
        readings = []
        for digit in range(10) if "?" in text else [0]:
            try:
                readings += read_date_code(text.replace("?", str(digit)), latest=day)
            except DateCodeError:
                continue
        expected = [r for r in readings if not mark.supplier_code or r.source in mark.supplier_code]
        return {(r.first_day, r.last_day) for r in expected or readings}, bool(expected)

    def _found(self, mark, month):
        if mark.found_at is None:
            return mark.found.value
        anchors = sorted(mark.found_at)
        month = min(max(month, anchors[0]), anchors[-1])
        left = max(a for a in anchors if a <= month)
        right = min(a for a in anchors if a >= month)
        u = 0.0 if left == right else (month - left) / (right - left)
        return (1 - u) * mark.found_at[left] + u * mark.found_at[right]

    def _delay(self, mark, n):
        if mark.stock is None:
            return 0.0
        judged = self.maker.stocks[mark.stock].delay.distribution()
        return (
            judged.value
            if isinstance(judged, Certain)
            else self.shared[f"delay of {mark.stock}"][n]
        )

    def _means(self, measurement):
        anchors = sorted(measurement.mean)
        means = []
        for t in self.months:
            month = min(max(self.first + t, anchors[0]), anchors[-1])
            left = max(a for a in anchors if a <= month)
            right = min(a for a in anchors if a >= month)
            u = 0.0 if left == right else (month - left) / (right - left)
            means.append((1 - u) * measurement.mean[left] + u * measurement.mean[right])
        return means

    def _gross(self, measurement, reading):
        """Say whether a reading lies more than eight spreads from every mean."""
        scale = sqrt(measurement.spread**2 + reading.within**2)
        means = self._means(measurement)
        low, high = min(means) - 8 * scale, max(means) + 8 * scale
        return not low <= reading.value <= high

    def _density(self, measurement, reading):
        """Give (1 - e) times a Student t density around the mean, and e times a wide normal one."""
        scale = sqrt(measurement.spread**2 + reading.within**2)
        means, e = self._means(measurement), measurement.slip.value
        wide = 10 * ((max(means) - min(means)) / 2 + scale)
        z = (reading.value - (max(means) + min(means)) / 2) / wide
        slip = exp(-z * z / 2) / (wide * sqrt(2 * pi))
        made = []
        for mean in means:
            z, nu = (reading.value - mean) / scale, measurement.tails
            constant = gamma((nu + 1) / 2) / (gamma(nu / 2) * sqrt(nu * pi) * scale)
            made.append((1 - e) * constant * (1 + z * z / nu) ** (-(nu + 1) / 2) + e * slip)
        return made

    def _paper(self, paper):
        """Give r 1[allowed] + (1 - r); the month of the bound is allowed whole."""
        made = []
        for label in self.maker.period.labels():
            late = paper.not_after is not None and label > paper.not_after.upper.isoformat()[:7]
            early = paper.not_before is not None and label < paper.not_before.lower.isoformat()[:7]
            made.append((1 - paper.trust) + (0.0 if late or early else paper.trust))
        return made


def _softplus(z):
    return max(z, 0.0) + log1p(exp(-abs(z)))


def _none_or_all(share):
    """Take a share within 1e-11 of none or all as that, which is the rule for rounding."""
    return 0.0 if share < 1e-11 else 1.0 if share > 1 - 1e-11 else share
