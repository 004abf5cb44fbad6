"""Makers and examinations invented at random, one for each seed, with every kind of evidence.

Everything is small, so that a slow enumeration can follow: 18 to 40 months, a few features.
Most numbers are certain; in about a third of the makers some are judged.
"""

import calendar
import datetime as dt
import random
from math import inf

from dating import Examination, Maker


class Inventor:
    """Invents one maker and one examination from one seed."""

    def __init__(self, seed):
        self.rng = random.Random(seed)
        self.more = random.Random(f"more {seed}")
        self.start = 1951 * 12 + self.rng.randrange(24)
        self.months = self.rng.randint(18, 40)
        self.judged = self.rng.random() < 0.3
        self.variants = [f"grade {c}" for c in "ABC"[: self.rng.choice([0, 0, 2, 2, 3])]]
        self.events = {}
        self.uses = {}

    def maker(self):
        """Invent a maker file as plain data."""
        self._invent_events()
        made = {
            "maker": "Example Works",
            "product": "lyres",
            "invented": True,
            "period": f"{self.month(0)}/{self.month(self.months - 1)}",
            "events": self.events,
            "components": {
                part: self.component(part) for part in ("body", "neck", "case")[: self.some(1, 3)]
            },
        }
        if self.often(0.7):
            made["output"] = self.output()
        if self.variants:
            made["variants"] = {"states": self.variants, **self.course(self.variants, own=False)}
        return self.furthered(made)

    def examination(self, maker):
        """Invent an examination of an instrument of this maker, as plain data."""
        seen, marks, measured = {}, {}, {}
        for component in maker["components"].values():
            for name, feature in component["features"].items():
                seen[name] = self.sight(list(feature["states"]))
            for name, mark in component["marks"].items():
                marks[name] = self.mark_text(mark) if self.often(0.7) else "not examined"
            for name in component["measurements"]:
                measured[name] = self.reading() if self.often(0.7) else None
        made = {
            "instrument": "E-1",
            "maker": "example",
            "seen": {name: sight for name, sight in seen.items() if sight != "left out"},
            "marks": marks,
            "measured": measured,
            "documents": [self.document() for _ in range(self.some(0, 2))],
        }
        if self.variants and self.often(0.4):
            made["variant"] = self.sight(self.variants)
            if made["variant"] == "left out":
                del made["variant"]
        return self.doubted(made, maker)

    # What lives longer, and what is known ----------------------------------------------------

    def furthered(self, maker):
        """Add stocks, old stock, doubts and chances that nobody states to a maker file."""
        rng = self.more
        for component in maker["components"].values():
            if rng.random() < 0.3:
                age = rng.choice([3, [1, 4, 9], {"shortest": 0, "likely": 2, "longest": 12}])
                component["old_stock"] = {"chance": rng.choice([0.05, 0.3, 1]), "age": age}
            for feature in component["features"].values():
                for key in ("slip", "replaced"):
                    if rng.random() < 0.2:
                        feature.pop(key, None)
            for mark in component["marks"].values():
                self._further_mark(mark, maker)
            for measurement in component["measurements"].values():
                if rng.random() < 0.6:
                    measurement["slip"] = rng.choice([0, 0.02, 0.3])
        return maker

    def _further_mark(self, mark, maker):
        rng = self.more
        if rng.random() < 0.6:
            mark["doubt"] = rng.choice([0, 0.02, 0.2])
        if rng.random() < 0.3:
            mark["found"] = rng.choice([0.3, 0.9])
        elif rng.random() < 0.3:
            mark["found_at"] = {self.month(2): 0.2, self.month(self.months - 4): 0.9}
        if mark.get("format") == "source-date" and rng.random() < 0.6:
            mark["supplier_code"] = rng.choice(["113", ["7", "113"], 114])
        if rng.random() < 0.4:
            delay = rng.choice([2, [0, 2, 6], [1, 2, 3]])
            maker.setdefault("stocks", {}).setdefault("bin", {"delay": delay})
            mark["stock"] = "bin"

    def doubted(self, examination, maker):
        """Add what the examiner knows to an examination."""
        rng = self.more
        for name in list(examination["seen"]):
            part = next(p for p in maker["components"].values() if name in p["features"])
            states = part["features"][name]["states"]
            if rng.random() < 0.1 and len(states) > 1:
                examination["seen"][name] = {"not": rng.choice([states[0], states[1:]])}
            elif rng.random() < 0.05:
                examination["seen"][name] = {"known": rng.choice(["replaced", "missing"])}
        for name, text in examination["marks"].items():
            if text.startswith("113-") and rng.random() < 0.4:
                examination["marks"][name] = text[:-1] + "?"
            elif rng.random() < 0.15:
                examination["marks"][name] = "absent"
        for name, reading in examination["measured"].items():
            if isinstance(reading, dict) and rng.random() < 0.5:
                examination["measured"][name] = {**reading, "confirmed": True}
        if rng.random() < 0.7:
            examination["examined"] = self.day(rng.choice([5, self.months, self.months + 40, 700]))
        if rng.random() < 0.3:
            known = {"original": rng.random() < 0.5, "sure": rng.choice([0.6, 0.9, 1])}
            examination["parts"] = {rng.choice(list(maker["components"])): known}
        return examination

    # Plain choices ---------------------------------------------------------------------------

    def often(self, chance):
        return self.rng.random() < chance

    def some(self, low, high):
        return self.rng.randint(low, high)

    def of(self, *choices):
        return self.rng.choice(choices)

    def month(self, position):
        number = self.start + position
        return f"{number // 12:04d}-{number % 12 + 1:02d}"

    def day(self, position):
        year, month = divmod(self.start + position, 12)
        longest = calendar.monthrange(year, month + 1)[1]
        return f"{self.month(position)}-{self.some(1, longest):02d}"

    def inside(self):
        return self.some(0, self.months - 1)

    def stretch(self):
        first, last = sorted((self.inside(), self.inside()))
        return f"{self.month(first)}/{self.month(last)}"

    def chance(self):
        value = self.of(0, 0.01, 0.02, 0.1, 0.3)
        return value if self.often(0.7) else {"value": value, "by": "assessor A"}

    def shares(self, states):
        cuts = sorted(self.some(0, 20) for _ in states[1:])
        parts = [b - a for a, b in zip([0, *cuts], [*cuts, 20], strict=True)]
        return {state: part / 20 for state, part in zip(states, parts, strict=True) if part}

    # Judgements ------------------------------------------------------------------------------

    def date(self, uncertain):
        middle = self.some(1, self.months - 2)
        if not uncertain:
            return self.of(self.month, self.day)(middle)
        return self.opinions(
            ("earliest", "likely", "latest"),
            lambda: (
                self.month(middle - self.some(3, 5)),
                self.day(middle),
                self.month(middle + self.some(4, 6)),
            ),
        )

    def span(self, uncertain):
        if not uncertain:
            return self.of(0, 1, 2.5, 4, 9)
        return self.opinions(
            ("shortest", "likely", "longest"),
            lambda: self.of((1, 3, 8), (0, 3, 6), (2, 2.5, 3.25)),
        )

    def opinions(self, keys, triple):
        one = list(triple())
        if self.often(0.4):
            return one
        each = [
            dict(zip(keys, triple(), strict=True)) | {"coverage": self.of(0.8, 0.9)}
            for _ in range(self.some(1, 2))
        ]
        each[0]["weight"] = 2
        return each[0] if len(each) == 1 else each

    def _invent_events(self):
        for name, shared in (("new works", True), ("shortage", False), ("supplier", False)):
            uncertain = self.often(0.5) and (shared or self.judged)
            self.events[name] = {"what": name, "when": self.date(uncertain)}
            self.uses[name] = inf if shared or not uncertain else 1

    # The maker file --------------------------------------------------------------------------

    def output(self):
        cut = self.some(2, self.months - 2)
        bounds = [(0, cut - 1), (cut, self.months - 1)] if self.often(0.7) else [(1, cut)]
        return [
            {
                "during": f"{self.month(first)}/{self.month(last)}",
                "made": [100, 200, 450] if self.judged else self.some(0, 30) + 1,
            }
            for first, last in bounds
        ]

    def component(self, part):
        states = ["one", "two", "three", "four"]
        features = {f"{part} {i}": self.feature(states[: self.some(1, 4)]) for i in range(3)}
        if part == "body":
            features |= {f"body {i}": self.moved(states[:2]) for i in (3, 4)}
        made = {
            "swapped": self.of(0, 0.05, 0.05, 0.3, 0.9, 1),
            "features": features,
            "marks": {f"{part} mark": self.mark()} if self.often(0.6) else {},
            "measurements": {f"{part} depth": self.measurement()} if self.often(0.6) else {},
        }
        if self.often(0.4):
            made["donors"] = [
                {"during": self.stretch(), "share": 0.25},
                {"during": self.stretch(), "share": 0.75},
            ]
        free = {n: f for n, f in features.items() if "by_variant" not in f}
        if self.variants and free and self.often(0.4):
            name = self.of(*free)
            course = self.course(list(free[name]["states"]))
            made["by_variant"] = {self.of(*self.variants): {name: course}}
        return made

    def feature(self, states):
        made = {"ask": "Which?", "states": states, "slip": self.chance()}
        made["replaced"] = self.chance()
        if self.often(0.5):
            made["replacement"] = self.shares(states)
        if not self.variants or self.often(0.6):
            return made | self.course(states)
        if self.often(0.5):
            return made | {"by_variant": {v: self.course(states) for v in self.variants}}
        only = self.of(*self.variants)
        return made | self.course(states) | {"by_variant": {only: self.course(states)}}

    def moved(self, states):
        """Invent a feature that changes with the new works, which so moves at least two."""
        change = {"state": states[1], "with": "new works", "lag": self.lag("new works")}
        history = [{"state": states[0]}, change | {"overlap": self.of(0, 2)}]
        return {"ask": "Which?", "states": states, "slip": self.chance(), "history": history}

    def course(self, states, own=True):
        if self.often(0.2):
            anchors = sorted(self.rng.sample(range(-3, self.months + 3), self.some(1, 4)))
            return {"shares_at": {self.month(a): self.shares(states) for a in anchors}}
        length = self.some(1, 4)
        order = [states[i % len(states)] for i in range(length)]  # with two states, a reversion
        regimes = [self.regime(states, state, own) for state in order]
        return {"history": [regimes[0], *(r | self.changeover() for r in regimes[1:])]}

    def regime(self, states, state, own):
        if own and self.variants and self.often(0.2):
            return {"by_variant": {v: self.shares(states) for v in self.variants}}
        return {"state": state} if self.often(0.7) else {"shares": self.shares(states)}

    def changeover(self):
        made = {"shape": "logistic"} if self.often(0.3) else {}
        if self.often(0.8):
            made["overlap"] = self.span(self.judged and self.often(0.5))
        event = self.of(*self.events)
        if self.often(0.6) and self.uses[event] > 0:
            self.uses[event] -= 1
            made["with"] = event
            if self.often(0.7):
                made["lag"] = self.lag(event)
        else:
            made["first_use"] = self.date(self.judged and self.often(0.6))
        return made

    def lag(self, event):
        if self.judged and event == "new works" and self.often(0.3):
            return [-1, 2, 6]
        return self.of(-2, 0, 1.5, 3)

    def mark(self):
        lag = self.of(0, 1, 2.5, [0, 1, 4], {"shortest": 1, "likely": 2, "longest": 8})
        made = {"ask": "Any date?", "lag": lag, "replaced": self.of(0, 0.02, 0.3)}
        if self.often(0.3):
            made["format"] = "source-date"
        return made

    def measurement(self):
        anchors = sorted(self.rng.sample(range(self.months), self.some(1, 3)))
        made = {
            "unit": "mm",
            "spread": self.of(0.5, 1, 3),
            "mean": {self.month(a): self.some(17, 24) for a in anchors},
        }
        return made | ({"tails": self.of(2.5, 4, 30)} if self.often(0.4) else {})

    # The examination -------------------------------------------------------------------------

    def sight(self, states):
        state = self.of(*states)
        several = self.rng.sample(states, self.some(1, len(states)))
        return self.of(
            "left out",
            "not examined",
            state,
            state,
            state,
            {"state": state, "sure": self.of(0.5, 0.8, 1)},
            {"one_of": several},
            {"other": "something else"},
        )

    def mark_text(self, mark):
        at = self.some(-2, self.months - 2)
        if mark.get("format") == "source-date":
            when = dt.date.fromisoformat(self.day(self.some(1, self.months - 2)))
            return f"113-{when.year % 10}{min(when.timetuple().tm_yday // 7 + 1, 52):02d}"
        return self.of(
            self.day(at),
            self.month(at),
            self.month(at)[:4],
            f"[{self.month(at)},{self.month(at + 1)},{self.day(at + 7)}]",
            f"[{self.month(at)}..{self.month(at + 2)}]",
        )

    def reading(self):
        value = self.some(150, 260) / 10
        return value if self.often(0.4) else {"value": value, "within": self.of(0, 0.4, 2)}

    def document(self):
        bound = self.of(self.month, self.day)(self.inside())
        made = {"what": "letter", "trust": self.of(0, 0.5, 0.95, 0.95, 1)}
        made[self.of("not_before", "not_after")] = self.of(bound, bound, bound[:4])
        return made


def invented_data(seed):
    """Return the maker and the examination of one seed as plain data."""
    inventor = Inventor(seed)
    maker = inventor.maker()
    return maker, inventor.examination(maker)


def invented(seed):
    """Return the maker and the examination of one seed, validated."""
    maker, examination = invented_data(seed)
    return Maker.model_validate(maker), Examination.model_validate(examination)
