"""Simulate the reference corpus of the invented maker Marrowby, and write down the truth.

Everything is invented. The tables below are the hidden history. It has the shape of the maker file
``priors/marrowby.yaml`` but not its numbers: the assessors are early here, late there and too sure
in places, as real ones are. ``marrowby_corpus.csv`` says what an examiner would know of the
instruments built by it, ``marrowby_truth.yaml`` what happened.

The same seed gives the same bytes, and fewer rows are the first of more::

    python demo_data/simulate_marrowby.py --seed 1931 --rows 400
"""

from __future__ import annotations

from typing import Any

from hidden_history import Changeover, History, maker_of, write_corpus
from simulating import Habits

from dating.maker import Maker

# The hidden history --------------------------------------------------------------------------

MADE = (1100, 600, 3600, 2200, 150, 9900, 1700)  # by the stretches of output in the maker file
EVENTS = {
    "supplier-fails": "1927-02-10",
    "supplier-returns": "1929-01-15",
    "second-works": "1931-09-01",
    "metal-shortage": "1939-03-10",
}
CHANGEOVERS: tuple[Changeover, ...] = (
    ("variants", "", 2, "1925-12-10", 8.0, "within", "within"),
    ("variants", "", 3, 5.0, 9.0, "within", "longer"),
    ("heel-joint", "", 2, "1930-11-05", 7.0, "later", "within"),
    ("heel-joint", "", 3, 1.0, 4.0, "later", "longer"),
    ("head-joint", "", 2, 4.0, 7.0, "within", "within"),
    ("position-dots", "", 2, 2.5, 4.0, "within", "longer"),
    ("position-dots", "", 3, 3.0, 5.0, "within", "longer"),
    ("position-dots", "", 4, "1936-05-20", 15.0, "within", "within"),
    ("nut", "", 2, "1934-01-20", 20.0, "within", "within"),
    ("nut", "", 3, 11.0, 9.0, "later", "longer"),
    ("back-wood", "", 2, "1932-06-10", 12.0, "earlier", "within"),
    ("lining", "", 2, 0.5, 3.0, "within", "within"),
    ("end-block", "", 2, "1925-10-12", 10.0, "earlier", "within"),
    ("end-block", "", 3, "1935-10-10", 5.0, "within", "longer"),
    ("binding", "student", 2, "1933-11-08", 9.0, "within", "within"),
    ("binding", "recital", 2, "1932-11-20", 6.0, "within", "longer"),
    ("label", "", 2, 3.0, 5.0, "within", "longer"),
    ("label", "", 3, "1940-04-20", 2.0, "later", "longer"),
    ("bars", "", 2, "1928-03-10", 6.0, "within", "within"),
    ("bars", "", 3, "1935-10-10", 18.0, "later", "longer"),
    ("ring", "", 2, "1930-03-20", 7.0, "within", "within"),
    ("ring", "", 3, "1937-11-15", 9.0, "within", "longer"),
    ("finish", "", 2, 2.0, 6.0, "within", "within"),
    ("guard", "", 2, "1924-12-10", 8.0, "within", "within"),
    ("guard", "", 3, 9.0, 6.0, "earlier", "longer"),
    ("tuner-plate", "", 2, 1.5, 4.0, "within", "longer"),
    ("tuner-plate", "", 3, 2.0, 4.0, "within", "longer"),
    ("tuner-plate", "", 4, "1934-12-05", 5.0, "within", "within"),
    ("tuner-buttons", "", 2, 5.0, 9.0, "within", "longer"),
    ("tuner-buttons", "", 3, 4.0, 8.0, "within", "longer"),
    ("plating", "", 2, 2.0, 8.0, "within", "within"),
    ("tailpiece", "", 2, 6.0, 6.0, "within", "within"),
    ("tailpiece", "", 3, 8.0, 12.0, "later", "longer"),
)
SHARES: dict[tuple[str, int], Any] = {  # feature and regime
    ("variants", 2): {"student": 0.66, "recital": 0.34},
    ("heel-joint", 3): {"dowelled": 0.35, "screwed": 0.65},
    ("bars", 3): {"three": 0.5, "slanted": 0.5},
    ("ring", 2): {"inlaid": 0.35, "transfer": 0.65},
    ("back-wood", 2): {
        "student": {"birch": 0.6, "maple": 0.1, "mahogany": 0.3},
        "recital": {"maple": 0.55, "mahogany": 0.45},
    },
}
FINGERBOARD = {  # of the student grade; rosewood came and went earlier than the survey has it
    "1923-03": {"pearwood": 0.9, "rosewood": 0.1},
    "1928-01": {"pearwood": 0.7, "rosewood": 0.3},
    "1933-06": {"pearwood": 0.25, "rosewood": 0.7, "beech": 0.05},
    "1937-06": {"pearwood": 0.05, "rosewood": 0.35, "beech": 0.6},
    "1941-06": {"beech": 1.0},
}
SWAPPED = {"neck": 0.06, "body": 0.02, "soundboard": 0.02, "hardware": 0.09}
SLIPS = {"head-joint": 0.06, "fingerboard": 0.08, "finish": 0.05, "plating": 0.04, "guard": 0.04}
REPLACED = {"nut": 0.2, "tuner-plate": 0.22, "tuner-buttons": 0.15, "finish": 0.05}
LAGS = {"heel-pencil": [0, 1.5, 6], "back-stamp": [0.5, 2, 6], "plate-date": [2, 6, 14]}
HABITS = Habits(
    maker="marrowby",
    looked={"label": 0.35, "end-block": 0.5, "nut": 0.6, "plate-date": 0.15},
    known_by={
        "month": ("week in the pay book", "dated bill in the case", "letter with delivery"),
        "day": ("day in the pay book",),
        "year": ("year engraved at its presentation", "dealer's stock list of the year"),
        "one of": ("last figure of the year not legible",),
        "range": ("between two letters of the first owner", "order and delivery both known"),
        "decade": ("owner's family",),
        "not after": ("dated photograph",),
        "not before": ("dated drawing of the pattern",),
    },
)

HISTORY = History(
    made=MADE,
    events=EVENTS,
    changeovers=CHANGEOVERS,
    shares=SHARES,
    shares_at={"fingerboard": {"student": FINGERBOARD}},
    swapped=SWAPPED,
    slips=SLIPS,
    replaced=REPLACED,
    lags=LAGS,
)

# The files -----------------------------------------------------------------------------------


def hidden_maker() -> Maker:
    """Put the hidden numbers into the shape of the maker file."""
    return maker_of(HISTORY, HABITS.maker)


def main(arguments: list[str] | None = None) -> None:
    """Write the corpus and the truth."""
    write_corpus(HISTORY, HABITS, seed=1931, rows=400, arguments=arguments)


if __name__ == "__main__":
    main()
