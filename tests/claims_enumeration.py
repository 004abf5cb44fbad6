"""Claims worked out slowly: plain loops over draws, instants, months, variants and swaps.

Written from what claims are said to mean, and from the plain data of a maker file, to hold
``dating.claims`` against. Taken as given, because other tests check them: the draws of the
numbers, the ramp of one month (:func:`tests.enumeration.ramp_in_month`), and for instruments the
numbers in the month tables.
"""

import random
from itertools import pairwise, product
from math import hypot, inf, log

import numpy as np
from scipy.stats import fisk

from dating import Maker
from dating.claims.references import claims_problems
from dating.claims.statements import Claims
from dating.distributions import Certain
from tests.enumeration import ramp_in_month

MONTHS = 24
FIRST = 1931 * 12
NARROWEST = 0.75  # months below which no drawn ramp gets (DEVELOPERS.md, Learning)


def month(position):
    """Write a position in the period as a month."""
    number = FIRST + position
    return f"{number // 12:04d}-{number % 12 + 1:02d}"


def stretch(first, last):
    return f"{month(first)}/{month(last)}"


# Makers ----------------------------------------------------------------------------------------


class Inventor:
    """Invents one small maker from one seed; a certain one has a single history."""

    def __init__(self, seed, certain=False):
        self.rng = random.Random(f"claims {seed} {certain}")
        self.certain = certain

    def maker(self):
        grades = self.rng.choice([[], ["plain", "concert"], ["plain", "concert"]])
        made = {
            "maker": "Example Works",
            "product": "lyres",
            "invented": True,
            "period": stretch(0, MONTHS - 1),
            "events": {"new works": {"what": "move", "when": self.date()}},
            "components": {
                "neck": {
                    "swapped": self.rng.choice([0.1, 0.4]),
                    "features": {
                        "joint": self.feature(["one", "two", "three"]),
                        "nut": self.feature(["bone", "plastic"]),
                    },
                },
                "body": {
                    "swapped": self.rng.choice([0, 0.05, 0.3]),
                    "donors": [
                        {"during": stretch(0, 11), "share": 0.25},
                        {"during": stretch(8, 23), "share": 0.75},
                    ],
                    "features": {
                        "back": self.by_variant(["birch", "maple"], grades),
                        "label": self.table(["round", "square"]),
                    },
                },
            },
        }
        if self.certain or self.rng.random() < 0.7:
            made["output"] = self.output()
        if grades:
            course = self.rng.choice([self.course, self.table_course])(grades)
            made["variants"] = {"states": grades, **course}
        return made

    def feature(self, states):
        course = self.course(states)
        return {"ask": "Which?", "states": states, "slip": 0.02, "replaced": 0.1, **course}

    def table(self, states):
        return {"ask": "Which?", "states": states, "slip": 0.05, **self.table_course(states)}

    def by_variant(self, states, grades):
        made = {"ask": "Which?", "states": states, "slip": 0.02}
        if not grades:
            return made | self.course(states)
        if self.rng.random() < 0.5:
            return made | {"by_variant": {grade: self.course(states) for grade in grades}}
        shares = {grade: self.shares(states) for grade in grades}
        second = {"by_variant": shares} | self.changeover()
        return made | {"history": [{"state": states[0]}, second]}

    def course(self, states):
        order = [states[k % len(states)] for k in range(self.rng.randint(2, 4))]
        regimes = [
            {"state": state} if self.rng.random() < 0.7 else {"shares": self.shares(states)}
            for state in order
        ]
        return {"history": [regimes[0], *(regime | self.changeover() for regime in regimes[1:])]}

    def table_course(self, states):
        anchors = sorted(self.rng.sample(range(-2, MONTHS + 2), 3))
        return {"shares_at": {month(anchor): self.shares(states) for anchor in anchors}}

    def shares(self, states):
        """Mixed shares are doubted, so a certain maker has pure ones."""
        if self.certain:
            return {self.rng.choice(states): 1}
        part = self.rng.choice([0.2, 0.5, 0.9])
        return {states[0]: part, states[-1]: 1 - part}

    def changeover(self):
        made = {"shape": "logistic"} if self.rng.random() < 0.3 else {}
        if self.rng.random() < 0.5:
            made |= {"with": "new works"} | ({"lag": self.lag()} if self.rng.random() < 0.8 else {})
        else:
            made["first_use"] = self.date()
        if self.rng.random() < 0.8:
            made["overlap"] = 0 if self.certain else self.rng.choice([0, 2, 5, [1, 3, 8]])
        return made

    def lag(self):
        """Certain lags above zero are doubted, so a certain maker has none."""
        return self.rng.choice([-1, 0, -2.5] if self.certain else [-2, 0, 1.5, [0, 1, 4]])

    def date(self):
        middle = self.rng.randint(4, MONTHS - 5)
        if self.certain or self.rng.random() < 0.3:
            return month(middle)
        return [month(middle - 3), month(middle), month(middle + 4)]

    def output(self):
        """Production pauses, and in some makers begins late."""
        stretches = self.rng.choice([[(0, 9), (12, 23)], [(2, 13), (14, 20)], [(0, 23)]])
        return [
            {"during": stretch(first, last), "made": self.number(last + 1 - first)}
            for first, last in stretches
        ]

    def number(self, months):
        """A certain maker makes a whole number in every month."""
        if self.certain:
            return months * self.rng.randint(1, 5)
        return self.rng.choice([self.rng.randint(5, 60), [20, 35, 70]])


def invented_data(seed, certain=False):
    """Return the maker of one seed as plain data."""
    return Inventor(seed, certain).maker()


def states_of(data):
    """List the states of every feature, and of the variants."""
    each = {
        name: list(feature["states"])
        for component in data["components"].values()
        for name, feature in component["features"].items()
    }
    return each | ({"variants": data["variants"]["states"]} if "variants" in data else {})


def valid(maker, said):
    """Keep what is claimed where the maker file can answer it."""
    claims = Claims.model_validate({"maker": "example", "claims": [{"claim": "A", "says": said}]})
    return not claims_problems(claims, maker, ())


def dated_claims(data, rng):
    """Invent claims of first and last uses, orders and overlaps that this maker can answer."""
    maker = Maker.model_validate(data)
    variants = [None, *data.get("variants", {"states": []})["states"]]
    ways, said = [], []
    for feature, states in states_of(data).items():
        for state, variant in product(states, variants):
            place = {"feature": feature, "variant": variant}
            way = place | {"to": state}
            if valid(maker, {"overlap": {"changeover": way, "shorter_than": 1}}):
                ways.append(way)
            for kind in ("first_use", "last_use"):
                first, last = sorted(rng.sample(range(2, MONTHS - 2), 2))
                bound = rng.choice(
                    [
                        {"within": stretch(first, last)},
                        {"not_before": month(first)},
                        {"not_after": stretch(first, last)},
                    ]
                )
                use = {kind: place | {"state": state} | bound}
                said += [use] if valid(maker, use) else []
    said += [{"overlap": {"changeover": way, "shorter_than": 3.0}} for way in ways]
    if len(ways) > 1:
        for by in (0, 0, 2.5):
            early, late = rng.sample(ways, 2)
            said.append({"changed_first": {"earlier": early, "later": late, "by": by}})
    return said


# Production ------------------------------------------------------------------------------------


def simulated(data, count, seed):
    """Draw every number of a maker file at random, each from its own judgement."""
    maker, rng = Maker.model_validate(data), np.random.default_rng(seed)

    def from_judgement(judged):
        return judged.quantile(rng.uniform(1e-12, 1, count))

    def length(judged):
        """A length stated as one number above zero is log-logistic, 1.6449 / 2 wide at 95 %."""
        if isinstance(judged, Certain) and judged.value > 0:
            return fisk(c=log(19) / (1.6449 * 0.5), scale=judged.value).rvs(count, random_state=rng)
        return from_judgement(judged)

    numbers = {
        f"event {name}": from_judgement(event.when.distribution()) - FIRST
        for name, event in maker.events.items()
    }
    for label, course in _courses(data):
        if "history" not in course:
            continue
        read = type(maker.features()["joint"][1]).model_validate(
            {"ask": "Which?", "states": ["-"], "history": course["history"]}
        )
        for k, regime in enumerate(read.history[1:], start=2):
            name = f"{label}, regime {k}"
            zero = Certain(0.0)
            numbers[f"{name}, overlap"] = length(
                regime.overlap.distribution() if regime.overlap else zero
            )
            if regime.event is None:
                judged = regime.first_use.distribution()
                numbers[f"{name}, first use"] = from_judgement(judged) - FIRST
            else:
                numbers[f"{name}, lag"] = length(regime.lag.distribution() if regime.lag else zero)
    return numbers


def _courses(data):
    """List all courses in the order in which shares are drawn, with their labels."""
    made = []
    if "variants" in data:
        made.append(("variants", data["variants"]))
    grades = data["variants"]["states"] if "variants" in data else []
    for component in data["components"].values():
        for name, feature in component["features"].items():
            if grades and _differs(feature):
                apart = feature.get("by_variant", {})
                made += [(f"{name} of {grade}", apart.get(grade, feature)) for grade in grades]
            else:
                made.append((name, feature))
    return made


def _differs(feature):
    in_regimes = any("by_variant" in regime for regime in feature.get("history", ()))
    return "by_variant" in feature or in_regimes


class Told:
    """What a maker file and draws of its numbers tell of production.

    Parameters
    ----------
    data : dict
        The maker file.
    numbers : dict of str to list
        Draws of every number.
    shares : ndarray, shape (draw, course, regime, state)
        Draws of shares; without them only dates can be told.
    """

    def __init__(self, data, numbers, shares=None):
        self.data, self.shares = data, shares
        self.numbers = {name: np.asarray(values).tolist() for name, values in numbers.items()}
        self.draws = range(len(next(iter(self.numbers.values()))))
        self.courses = dict(_courses(data))
        self.states = states_of(data)
        self.grades = data["variants"]["states"] if "variants" in data else [None]

    # Dates -----------------------------------------------------------------------------------

    def chance(self, said, n):
        """Give one or nought: whether what is claimed of dates is true in one draw."""
        ((kind, what),) = said.items()
        if kind in {"first_use", "last_use"}:
            first, last = self.uses(what["feature"], what["state"], what["variant"], n)
            return float(_within(first if kind == "first_use" else last, what))
        if kind == "changed_first":
            early, late = (self.changeover(what[key], n)[0] for key in ("earlier", "later"))
            return float(late - early >= what["by"] if what["by"] else late > early)
        way = what["changeover"]
        label, k = self.step(way)
        return float(self.numbers[f"{label}, regime {k}, overlap"][n] < what["shorter_than"])

    def uses(self, feature, state, variant, n):
        """Give the first and the last instant at which a state is built, over all variants asked.

        Between two instants at which something begins or ends nothing changes, so it is enough to
        look at one instant in each gap.
        """
        found = []
        for label in self.labels(feature, variant):
            ramps = self.ramps(label, n)
            ends = sorted({-1e6, 1e6, *(x for start, end in ramps for x in (start, end))})
            for left, right in pairwise(ends):
                if self.built_at(label, state, ramps, (left + right) / 2):
                    found.append((-inf if left == -1e6 else left, inf if right == 1e6 else right))
        return min((a for a, _ in found), default=inf), max((b for _, b in found), default=-inf)

    def built_at(self, label, state, ramps, instant):
        """Say whether any regime that has the state is built at an instant."""
        for j, regime in enumerate(self.courses[label]["history"]):
            has = self.stated(regime, label).get(state, 0) > 0
            reached = all(instant > start for start, _ in ramps[:j])
            left = j < len(ramps) and instant > ramps[j][1]
            if has and reached and not left:
                return True
        return False

    def stated(self, regime, label):
        if "state" in regime:
            return {regime["state"]: 1}
        return regime["shares"] if "shares" in regime else regime["by_variant"][_grade(label)]

    def labels(self, feature, variant):
        exact = [label for label in self.courses if label == feature]
        grades = self.grades if variant is None else [variant]
        return exact or [f"{feature} of {grade}" for grade in grades]

    def ramps(self, label, n):
        """Give start and end of every changeover of a course, in one draw."""
        return [
            (start, start + overlap)
            for start, overlap, _ in (
                self.ramp(label, k, n) for k in range(2, len(self.courses[label]["history"]) + 1)
            )
        ]

    def ramp(self, label, k, n):
        regime, name = self.courses[label]["history"][k - 1], f"{label}, regime {k}"
        overlap = hypot(self.numbers[f"{name}, overlap"][n], NARROWEST)
        if "with" in regime:
            start = self.numbers[f"event {regime['with']}"][n] + self.numbers[f"{name}, lag"][n]
        else:
            start = self.numbers[f"{name}, first use"][n]
        return start, overlap, regime.get("shape", "linear")

    def step(self, way):
        """Find the regime that brings in a state which the one before did not have."""
        found = [
            (label, k)
            for label in self.labels(way["feature"], way["variant"])
            for k, (before, regime) in enumerate(pairwise(self.courses[label]["history"]), start=2)
            if self.stated(regime, label).get(way["to"], 0) > 0
            and not self.stated(before, label).get(way["to"], 0) > 0
        ]
        (one,) = found
        return one

    def changeover(self, way, n):
        return self.ramp(*self.step(way), n)

    # Shares and numbers ----------------------------------------------------------------------

    def regimes(self, label, n, t):
        """Give P(regime | month) of a course, or the weights of the anchors of a table."""
        course = self.courses[label]
        if "shares_at" in course:
            return _between(sorted(map(_position, course["shares_at"])), t)
        made, reached = [], 1.0
        for k in range(2, len(course["history"]) + 1):
            past = ramp_in_month(*self.ramp(label, k, n)[:2], t, self.ramp(label, k, n)[2])
            made.append(reached * (1 - past))
            reached *= past
        return [*made, reached]

    def share(self, label, state, n, t):
        """Give P(state | month) of a course, from the drawn shares of its regimes."""
        place = list(self.courses).index(label)
        column = self.states[label.split(" of ")[0]].index(state)
        shares = [row[column] for row in self.shares[n][place]]
        return sum(p * s for p, s in zip(self.regimes(label, n, t), shares, strict=False))

    def among(self, grade, n, t):
        """Give P(variant | month)."""
        return 1.0 if grade is None else self.share("variants", grade, n, t)

    def combination(self, states, grade, n, t):
        """Give P(all of these features have one of the states | variant, month)."""
        made = 1.0
        for feature, names in states.items():
            if feature == "variants":
                made *= grade in names
            else:
                (label,) = self.labels(feature, grade)
                made *= sum(self.share(label, state, n, t) for state in names)
        return made

    def chance_of(self, states, variant, n, t):
        """Give P(combination, variant | month)."""
        grades = self.grades if variant is None else [variant]
        return sum(
            self.among(grade, n, t) * self.combination(states, grade, n, t) for grade in grades
        )


def _grade(label):
    return label.split(" of ")[1]


def _within(at, use):
    for key in ("within", "not_before", "not_after"):
        if use.get(key):
            ends = [_position(end) for end in use[key].split("/")]
            first, after = ends[0], ends[-1] + 1
            return {
                "within": first <= at < after,
                "not_before": at >= first,
                "not_after": at < after,
            }[key]
    raise AssertionError("no bound")


def _position(label):
    year, number = map(int, label.split("-"))
    return year * 12 + number - 1 - FIRST


def _between(anchors, t):
    """Give the weights of anchors in a month: linear between, constant outside."""
    weights = [0.0] * len(anchors)
    if t <= anchors[0]:
        weights[0] = 1.0
    elif t >= anchors[-1]:
        weights[-1] = 1.0
    else:
        right = next(k for k, anchor in enumerate(anchors) if anchor > t)
        u = (t - anchors[right - 1]) / (anchors[right] - anchors[right - 1])
        weights[right - 1], weights[right] = 1 - u, u
    return weights


def numbers_made(data):
    """Give the certain number made in each month."""
    made = [0.0] * MONTHS
    for output in data["output"]:
        first, last = map(_position, output["during"].split("/"))
        for t in range(first, last + 1):
            made[t] += output["made"] / (last + 1 - first)
    return made


def poisson_binomial(chances):
    """Give the distribution of the number of successes, by dynamic programming."""
    made = [1.0]
    for chance in chances:
        longer = [0.0] * (len(made) + 1)
        for k, p in enumerate(made):
            longer[k] += p * (1 - chance)
            longer[k + 1] += p * chance
        made = longer
    return made


# Instruments -----------------------------------------------------------------------------------


class Instrument:
    """P(evidence, month, which components are original) of one instrument, draw by draw.

    Parameters
    ----------
    data : dict
        The maker file.
    tables : MonthTables
        Its numbers.
    seen : dict of str to str
        States that were seen.
    """

    def __init__(self, data, tables, seen):
        self.components, self.seen = data["components"], seen
        self.tables = tables
        self.prior = tables.prior.tolist()
        self.draws = range(len(self.prior))
        self.grades = range(len(self.prior[0]))
        self.likelihoods = {name: self._likelihood(name, seen[name]) for name in seen}

    def _likelihood(self, name, state):
        """P(recorded | draw, variant, month), slips and later replacements included."""
        table = self.tables.features[name]
        k, count = table.states.index(state), len(table.states)
        built = np.broadcast_to(
            table.by_state()[k], (len(self.draws), len(self.grades), MONTHS)
        ).tolist()
        slip, replaced = table.slip.tolist(), table.replaced.tolist()
        later = float(table.replacement[k])
        return [
            [
                [
                    (1 - replaced[n]) * ((1 - slip[n]) * p + slip[n] / count) + replaced[n] * later
                    for p in row
                ]
                for row in built[n]
            ]
            for n in self.draws
        ]

    def on(self, part, n, v, t):
        """P(everything seen on a component | it was built in a month, as a variant)."""
        made = 1.0
        for name in self.components[part]["features"]:
            if name in self.likelihoods:
                made *= self.likelihoods[name][n][v][t]
        return made

    def chances(self, n, original=()):
        """Give P(evidence, month, these components original) in one draw, with its weight."""
        parts = list(self.components)
        foreign = {part: self._from_donor(part, n) for part in parts}
        made = [0.0] * MONTHS
        for t, v in product(range(MONTHS), self.grades):
            own = {part: self.on(part, n, v, t) for part in parts}
            for swaps in product([False, True], repeat=len(parts)):
                if any(swap and part in original for swap, part in zip(swaps, parts, strict=True)):
                    continue
                p = self.prior[n][v][t]
                for swap, part in zip(swaps, parts, strict=True):
                    rho = self.components[part]["swapped"]
                    p *= rho * foreign[part] if swap else (1 - rho) * own[part]
                made[t] += p
        return made

    def _from_donor(self, part, n):
        donors = np.broadcast_to(
            self.tables.donors[part], (len(self.draws), len(self.grades), MONTHS)
        )[n]
        return sum(
            float(donors[v][t]) * self.on(part, n, v, t) for v in self.grades for t in range(MONTHS)
        )


def joint_of(instruments, sayings, holds, n, weight):
    """Sum P(evidence on all, months) in one draw over the months for which a claim holds.

    ``sayings`` names the components of each instrument that are claimed to be original; ``holds``
    says of months, one for each instrument, whether all the rest is true.
    """
    each = [one.chances(n, original) for one, original in zip(instruments, sayings, strict=True)]
    total = 0.0
    for months in product(range(MONTHS), repeat=len(instruments)):
        if holds(*months):
            p = weight
            for chances, t in zip(each, months, strict=True):
                p *= chances[t] / weight
            total += p
    return total
