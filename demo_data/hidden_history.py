"""A hidden history: what a maker truly did, in the shape of its maker file, and the files it gives.

The numbers of a maker file are replaced by others in which nothing is uncertain. The corpus says
what an examiner would know of the instruments built by them, the truth file what happened.
"""

from __future__ import annotations

import argparse
import csv
import io
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml
from simulating import Habits, simulate

from dating.cells import columns_of
from dating.maker import Maker
from dating.months import month_label
from dating.reading import read_yaml, write_whole

HERE = Path(__file__).parent
PRIORS = HERE.parent / "priors"

type Changeover = tuple[str, str, int, str | float, float, str, str]
"""Feature, variant, regime; first use, or months after its event; overlap in months; and where
start and overlap lie beside the assessors' 90 % (within, earlier, later, shorter, longer)."""


@dataclass(frozen=True)
class History:
    """The hidden numbers.

    Parameters
    ----------
    made : tuple of float
        How many were made, by the stretches of output in the maker file.
    events : dict of str to str
        The day of each event.
    changeovers : tuple of Changeover
        All of them, in the order of the maker file.
    shares : dict of (str, int) to dict
        Shares that differ from the maker file, by feature and regime.
    shares_at : dict of str to dict
        Tables of shares, by feature and variant.
    swapped : dict of str to float
        By component.
    slips, replaced : dict of str to float
        By feature or mark, where they differ from the maker file.
    lags : dict of str to list
        Of each mark.
    delays : dict of str to list
        Of each stock.
    old_stock : dict of str to float
        How often a component came from old stock, by component.
    """

    made: tuple[float, ...]
    events: dict[str, str]
    changeovers: tuple[Changeover, ...]
    shares: dict[tuple[str, int], Any]
    swapped: dict[str, float]
    slips: dict[str, float]
    replaced: dict[str, float]
    lags: dict[str, list[float]]
    shares_at: dict[str, dict[str, Any]] = field(default_factory=dict)
    delays: dict[str, list[float]] = field(default_factory=dict)
    old_stock: dict[str, float] = field(default_factory=dict)


def maker_of(history: History, name: str) -> Maker:
    """Put the hidden numbers into the shape of the maker file."""
    data = read_yaml(PRIORS / f"{name}.yaml").data
    parts = data["components"]
    features = {n: f for part in parts.values() for n, f in part["features"].items()}
    marks = {n: m for part in parts.values() for n, m in part.get("marks", {}).items()}
    features["variants"] = data["variants"]
    for output, made in zip(data["output"], history.made, strict=True):
        output["made"] = made
    for event, when in history.events.items():
        data["events"][event]["when"] = when
    for feature, variant, regime, start, overlap, *_ in history.changeovers:
        course = features[feature]["by_variant"][variant] if variant else features[feature]
        start_key = "first_use" if isinstance(start, str) else "lag"
        course["history"][regime - 1] |= {start_key: start, "overlap": overlap}
    for (feature, position), shares in history.shares.items():
        regime = features[feature]["history"][position - 1]
        regime["by_variant" if "by_variant" in regime else "shares"] = shares
    for feature, by_variant in history.shares_at.items():
        for variant, table in by_variant.items():
            features[feature]["by_variant"][variant]["shares_at"] = table
    for part, chance in history.swapped.items():
        parts[part]["swapped"] = chance
    for mark, lag in history.lags.items():
        marks[mark]["lag"] = lag
    for stock, delay in history.delays.items():
        data["stocks"][stock]["delay"] = delay
    for part, chance in history.old_stock.items():
        parts[part]["old_stock"]["chance"] = chance
    for key, chances in (("slip", history.slips), ("replaced", history.replaced)):
        for thing, chance in chances.items():
            (features | marks)[thing][key] = chance
    return Maker.model_validate(data)


def as_truth(history: History, maker: Maker) -> dict[str, Any]:
    """Write down the hidden history; months are counted from the start of the period."""
    first = maker.period.first
    event = {name: found.when.opinions[0].likely for name, found in maker.events.items()}
    changes = []
    for name, variant, number, _, overlap, *_ in history.changeovers:
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
        name: {"when": history.events[name], "month": round(at - first, 3)}
        for name, at in event.items()
    }
    shares = [{"feature": n, "regime": r, "shares": s} for (n, r), s in history.shares.items()]
    truth = {
        "period": str(maker.period),
        "made": list(history.made),
        "events": events,
        "changeovers": changes,
        "shares": shares,
        "shares_at": history.shares_at,
        "swapped": history.swapped,
        "slip": {name: f.slip.value for name, (_, f) in maker.features().items()},
        "replaced": {name: f.replaced.value for name, (_, f) in maker.features().items()},
        "lags": history.lags,
        "delays": history.delays,
        "old_stock": history.old_stock,
    }
    return {key: value for key, value in truth.items() if value}


def corpus_text(maker: Maker, name: str, rows: list[dict[str, str]], by: str) -> str:
    """Write the corpus as CSV."""
    sheet = io.StringIO()
    sheet.write(f"# Invented: {by}.\n# maker: {name}\n")
    columns = ["instrument", "built", "known_by", "trust", *columns_of(maker)]
    writer = csv.DictWriter(sheet, columns, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return sheet.getvalue()


def truth_text(name: str, hidden: dict[str, Any], instruments: dict[str, Any], by: str) -> str:
    """Write the hidden history and what happened to each instrument as YAML."""
    text = f"# Invented: {by}.\n# What happened behind {name}_corpus.csv.\n"
    text += yaml.safe_dump(hidden, sort_keys=False, default_flow_style=None, width=1000)
    lines = [
        f"  {each}: {yaml.safe_dump(truth, sort_keys=False, default_flow_style=True, width=1000)}"
        for each, truth in instruments.items()
    ]
    return text + "instruments:\n" + "".join(lines)


def write_corpus(
    history: History, habits: Habits, seed: int, rows: int, arguments: list[str] | None
) -> None:
    """Write the corpus and the truth, as many rows and with the seed that are asked for."""
    name = habits.maker
    parser = argparse.ArgumentParser(description=f"Simulate the {name} reference corpus.")
    parser.add_argument("--seed", type=int, default=seed, help="the same seed gives the same bytes")
    parser.add_argument("--rows", type=int, default=rows, help="how many instruments")
    parser.add_argument("--out", type=Path, default=HERE, help="folder to write to")
    given = parser.parse_args(arguments)
    maker = maker_of(history, name)
    cells, instruments = simulate(maker, habits, given.seed, given.rows)
    by = f"simulated by demo_data/simulate_{name}.py --seed {given.seed} --rows {given.rows}"
    hidden = {"seed": given.seed, **as_truth(history, maker)}
    texts = {
        f"{name}_corpus.csv": corpus_text(maker, name, cells, by),
        f"{name}_truth.yaml": truth_text(name, hidden, instruments, by),
    }
    for file, text in texts.items():
        write_whole(given.out / file, text.encode())
