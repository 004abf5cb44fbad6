"""An invented works that builds in batches, month by month over fifteen years.

Three lines are built side by side. A batch is of one line, takes one month or two and is followed
by a pause; what goes into it is settled when it begins. Parts that are bought in lots change every
few months, patterns now and then, and some states return after years. Within a batch some parts are
left over from the one before, and some records are slips. No month can be told from one feature;
many can be told from several together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

MONTHS = 180
LINES = 3
LEFT_OVER, SLIP = 0.06, 0.02


@dataclass(frozen=True)
class Part:
    """One feature: how many states it has, and the chance of another from month to month."""

    states: int
    changes: float


PARTS = {
    "back wood": Part(6, 0.15),
    "soundboard lot": Part(14, 0.35),
    "binding": Part(5, 0.1),
    "rosette": Part(8, 0.05),
    "tuner": Part(5, 0.04),
    "bridge": Part(4, 0.05),
    "lining paper": Part(10, 0.25),
    "stamp": Part(3, 0.02),
}
BY_LINE = ("rosette", "binding", "back wood")
"""Features of which each line has a course of its own."""


def built_in_batches(count, seed=1):
    """Give the months, from 0, and the recorded states by feature, of so many instruments."""
    generator = np.random.default_rng(seed)
    common = {name: _course(generator, part, 0) for name, part in PARTS.items()}
    made = [one for line in range(LINES) for one in _line(generator, line, common, count)]
    kept = generator.permutation(len(made))[:count]
    months = np.array([made[place][0] for place in kept])
    seen = np.array([made[place][1] for place in kept])
    for column, part in enumerate(PARTS.values()):
        slips = generator.random(count) < SLIP
        seen[slips, column] = generator.integers(part.states, size=int(slips.sum()))
    return months, {
        name: [f"{name} {state + 1}" for state in seen[:, column]]
        for column, name in enumerate(PARTS)
    }


def _line(generator, line, common, count):
    """Give more instruments of one line than are wanted: (month, states)."""
    own = {name: _course(generator, PARTS[name], line) for name in BY_LINE}
    month, before = int(generator.integers(3)), None
    while month < MONTHS:
        states = [(own.get(name) or common[name])[month] for name in PARTS]
        before = before or states
        lasts = int(generator.integers(1, 3))
        for _ in range(4 + int(generator.gamma(2.0, count / 180))):
            left_over = generator.random(len(states)) < LEFT_OVER
            built = min(month + int(generator.integers(lasts)), MONTHS - 1)
            yield built, np.where(left_over, before, states)
        before = states
        month += lasts + int(generator.integers(5))


def _course(generator, part, first):
    """The state with which a batch begins in each month; more often the next than an old one."""
    state, course = first % part.states, []
    for _ in range(MONTHS):
        if generator.random() < part.changes:
            step = 1 if generator.random() < 0.6 else int(generator.integers(1, part.states))
            state = (state + step) % part.states
        course.append(state)
    return course
