"""Simulate the reference corpus of the invented maker Marrowby, and write down the truth.

Everything is invented. The tables below are the hidden history. It has the shape of the maker file
``priors/marrowby.yaml`` but not its numbers: the assessors are early here, late there and too sure
in places, as real ones are. ``marrowby_corpus.csv`` says what an examiner would know of the
instruments built by it, ``marrowby_truth.yaml`` what happened.

The same seed gives the same bytes, and fewer rows are the first of more::

    python demo_data/simulate_marrowby.py --seed 1931 --rows 400
"""

from __future__ import annotations

import argparse
import csv
import io
from pathlib import Path
from typing import Any

import yaml
from simulating import simulate

from dating.cells import columns_of
from dating.maker import Maker
from dating.months import month_label
from dating.reading import read_yaml, write_whole

HERE = Path(__file__).parent
PRIORS = HERE.parent / "priors" / "marrowby.yaml"

# The hidden history --------------------------------------------------------------------------

MADE = (1100, 600, 3600, 2200, 150, 9900, 1700)  # by the stretches of output in the maker file
EVENTS = {
    "supplier-fails": "1927-02-10",
    "supplier-returns": "1929-01-15",
    "second-works": "1931-09-01",
    "metal-shortage": "1939-03-10",
}
CHANGEOVERS = (
    # feature, variant, regime; first use, or months after its event; overlap in months; and where
    # start and overlap lie beside the assessors' 90 % (within, earlier, later, shorter, longer)
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

# The files -----------------------------------------------------------------------------------


def hidden_maker() -> Maker:
    """Put the hidden numbers into the shape of the maker file."""
    data = read_yaml(PRIORS).data
    features = {n: f for part in data["components"].values() for n, f in part["features"].items()}
    features["variants"] = data["variants"]
    for output, made in zip(data["output"], MADE, strict=True):
        output["made"] = made
    for name, when in EVENTS.items():
        data["events"][name]["when"] = when
    for name, variant, regime, start, overlap, *_ in CHANGEOVERS:
        course = features[name]["by_variant"][variant] if variant else features[name]
        start_key = "first_use" if isinstance(start, str) else "lag"
        course["history"][regime - 1] |= {start_key: start, "overlap": overlap}
    for (name, position), shares in SHARES.items():
        regime = features[name]["history"][position - 1]
        regime["by_variant" if "by_variant" in regime else "shares"] = shares
    features["fingerboard"]["by_variant"]["student"]["shares_at"] = FINGERBOARD
    for name, component in data["components"].items():
        component["swapped"] = SWAPPED[name]
        for mark in component.get("marks", ()):
            component["marks"][mark]["lag"] = LAGS[mark]
    for key, chances in (("slip", SLIPS), ("replaced", REPLACED)):
        for name, chance in chances.items():
            features[name][key] = chance
    return Maker.model_validate(data)


def history(maker: Maker) -> dict[str, Any]:
    """Write down the hidden history; months are counted from the start of the period."""
    first = maker.period.first
    event = {name: found.when.opinions[0].likely for name, found in maker.events.items()}
    changes = []
    for name, variant, number, _, overlap, *_ in CHANGEOVERS:
        courses = maker.variants if name == "variants" else maker.course_of(name, variant or None)
        regime = courses.history[number - 1]
        if regime.first_use is not None:
            at, after = regime.first_use.opinions[0].likely, {}
        else:
            lag = regime.lag.opinions[0].likely
            at, after = event[regime.event] + lag, {"with": regime.event, "lag": lag}
        change = {"feature": name, "variant": variant or None, "regime": number}
        change |= {"month": month_label(int(at)), "first_use": round(at - first, 3)}
        changes.append(change | {"overlap": overlap} | after)
    events = {
        name: {"when": EVENTS[name], "month": round(at - first, 3)} for name, at in event.items()
    }
    shares = [{"feature": n, "regime": r, "shares": s} for (n, r), s in SHARES.items()]
    return {
        "period": str(maker.period),
        "made": list(MADE),
        "events": events,
        "changeovers": changes,
        "shares": shares,
        "shares_at": {"fingerboard": {"student": FINGERBOARD}},
        "swapped": SWAPPED,
        "slip": {name: f.slip.value for name, (_, f) in maker.features().items()},
        "replaced": {name: f.replaced.value for name, (_, f) in maker.features().items()},
        "lags": LAGS,
    }


def corpus_text(maker: Maker, rows: list[dict[str, str]], by: str) -> str:
    """Write the corpus as CSV."""
    sheet = io.StringIO()
    sheet.write(f"# Invented: {by}.\n# maker: marrowby\n")
    columns = ["instrument", "built", "known_by", "trust", *columns_of(maker)]
    writer = csv.DictWriter(sheet, columns, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return sheet.getvalue()


def truth_text(maker: Maker, seed: int, instruments: dict[str, Any], by: str) -> str:
    """Write the hidden history and what happened to each instrument as YAML."""
    text = f"# Invented: {by}.\n# What happened behind marrowby_corpus.csv.\n"
    hidden = {"seed": seed, **history(maker)}
    text += yaml.safe_dump(hidden, sort_keys=False, default_flow_style=None, width=1000)
    lines = [
        f"  {name}: {yaml.safe_dump(truth, sort_keys=False, default_flow_style=True, width=1000)}"
        for name, truth in instruments.items()
    ]
    return text + "instruments:\n" + "".join(lines)


def main(arguments: list[str] | None = None) -> None:
    """Write the corpus and the truth."""
    parser = argparse.ArgumentParser(description="Simulate the Marrowby reference corpus.")
    parser.add_argument("--seed", type=int, default=1931, help="the same seed gives the same bytes")
    parser.add_argument("--rows", type=int, default=400, help="how many instruments")
    parser.add_argument("--out", type=Path, default=HERE, help="folder to write to")
    given = parser.parse_args(arguments)
    maker = hidden_maker()
    rows, instruments = simulate(maker, given.seed, given.rows)
    by = f"simulated by demo_data/simulate_marrowby.py --seed {given.seed} --rows {given.rows}"
    texts = {
        "marrowby_corpus.csv": corpus_text(maker, rows, by),
        "marrowby_truth.yaml": truth_text(maker, given.seed, instruments, by),
    }
    for name, text in texts.items():
        write_whole(given.out / name, text.encode())


if __name__ == "__main__":
    main()
