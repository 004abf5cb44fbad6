"""Simulate the reference corpus of the invented maker Velquist, and write down the truth.

Everything is invented. The tables below are the hidden history. It has the shape of the maker file
``priors/velquist.yaml`` but not its numbers: the assessors are early here, late there and too sure
in places, as real ones are. Coded parts wait in a common bin, some chassis come from old stock, and
later parts date from any time up to the day of examination. ``velquist_corpus.csv`` says what an
examiner would know of the amplifiers built by it, ``velquist_truth.yaml`` what happened.

The same seed gives the same bytes, and fewer rows are the first of more::

    python demo_data/simulate_velquist.py --seed 1959 --rows 200
"""

from __future__ import annotations

from typing import Any

from hidden_history import Changeover, History, maker_of, write_corpus
from simulating import Habits

from dating.maker import Maker
from dating.months import month_number

# The hidden history --------------------------------------------------------------------------

MADE = (340, 1450, 2300, 2000, 260)  # by the stretches of output in the maker file
EVENTS = {"move": "1959-07-06", "new-supplier": "1962-04-10"}
CHANGEOVERS: tuple[Changeover, ...] = (
    ("variants", "", 2, 1.5, 3.0, "within", "longer"),
    ("variants", "", 3, "1960-08-15", 4.0, "within", "longer"),
    ("chassis-metal", "", 2, 6.0, 6.0, "within", "within"),
    ("fuse-holder", "", 2, "1961-02-10", 6.0, "within", "within"),
    ("smoothing-capacitors", "", 2, "1959-08-20", 10.0, "later", "within"),
    ("valve-sockets", "", 2, "1965-02-10", 9.0, "within", "within"),
    ("wiring", "old line", 2, 2.0, 5.0, "within", "longer"),
    ("covering", "", 2, "1956-08-10", 12.0, "within", "within"),
    ("covering", "", 3, "1963-03-10", 7.0, "within", "within"),
    ("knobs", "", 2, 1.0, 4.0, "within", "within"),
    ("handle", "", 2, 6.0, 8.0, "within", "within"),
    ("lettering", "", 2, "1958-08-10", 6.0, "within", "within"),
    ("lettering", "", 3, "1964-08-10", 9.0, "later", "within"),
    ("badge", "", 2, "1960-05-20", 9.0, "earlier", "within"),
    ("badge", "", 3, "1966-03-10", 6.0, "within", "longer"),
    ("corner-joint", "", 2, "1964-06-10", 8.0, "within", "within"),
    ("back-panel", "", 2, "1964-11-20", 10.0, "within", "within"),
    ("speaker-frame", "", 2, 4.0, 6.0, "within", "within"),
    ("board", "", 2, 2.0, 6.0, "within", "within"),
    ("rectifier", "", 2, "1962-02-10", 9.0, "later", "within"),
    ("coupling-capacitors", "", 2, 3.0, 7.0, "within", "within"),
    ("resistors", "", 2, "1956-11-20", 12.0, "within", "within"),
)
SHARES: dict[tuple[str, int], Any] = {  # feature and regime
    ("variants", 2): {"old line": 0.4, "new line": 0.6},
    ("covering", 2): {"cream": 0.3, "tweed": 0.7},
    ("valve-sockets", 2): {"moulded": 0.35, "ceramic": 0.65},
}
HISTORY = History(
    made=MADE,
    events=EVENTS,
    changeovers=CHANGEOVERS,
    shares=SHARES,
    swapped={"chassis": 0.005, "cabinet": 0.06, "electronics": 0.07},
    slips={"valve-sockets": 0.05, "resistors": 0.04},
    replaced={
        "knobs": 0.2,
        "coupling-capacitors": 0.3,
        "valve-sockets": 0.0,
        "wiring": 0.0,
        "resistors": 0.0,
        "speaker-code": 0.2,
    },
    lags={
        "transformer-code": [0.5, 2.5, 8],
        "chassis-pencil": [0, 1, 4],
        "speaker-code": [0.5, 2, 7],
        "baffle-pencil": [0, 1, 4],
        "potentiometer-code": [1, 5, 16],
    },
    delays={"coil-bin": [0, 3, 11]},
    old_stock={"chassis": 0.06},
)
HABITS = Habits(
    maker="velquist",
    looked={"wiring": 0.5, "resistors": 0.5, "baffle-pencil": 0.3, "speaker-frame": 0.6},
    known_by={
        "month": ("week in the order book", "dated bill in the case", "letter with delivery"),
        "day": ("day in the order book",),
        "year": ("year on a club's inventory plate", "dealer's stock list of the year"),
        "one of": ("last figure of the year not legible",),
        "range": ("between two letters of the first owner", "order and delivery both known"),
        "decade": ("owner's family",),
        "not after": ("dated photograph",),
        "not before": ("dated drawing of the pattern",),
    },
    examined=month_number(2026, 6),
    doubts={"chassis-pencil": 0.03, "baffle-pencil": 0.03, "transformer-code": 0.02},
)


# The files -----------------------------------------------------------------------------------


def hidden_maker() -> Maker:
    """Put the hidden numbers into the shape of the maker file."""
    return maker_of(HISTORY, HABITS.maker)


def main(arguments: list[str] | None = None) -> None:
    """Write the corpus and the truth."""
    write_corpus(HISTORY, HABITS, seed=1959, rows=200, arguments=arguments)


if __name__ == "__main__":
    main()
