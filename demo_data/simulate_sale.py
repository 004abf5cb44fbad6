"""Simulate a sale of forty Marrowby lots from the hidden history, and write down the truth.

Everything is invented. The lots are built by the history in ``simulate_marrowby.py`` but are not in
its corpus: what the house's cataloguer saw of them stands in ``marrowby_sale.csv``, when each was
built and what was swapped or replaced in ``marrowby_sale_truth.yaml``. Some come with a dated
paper, of which a few are trusted less than fully. One lot was examined hardly at all.

The same seed gives the same bytes::

    python demo_data/simulate_sale.py --seed 40 --lots 40
"""

from __future__ import annotations

import argparse
import csv
import io
import random
from pathlib import Path
from typing import Any

import yaml
from simulate_marrowby import HABITS, hidden_maker
from simulating import simulate

from dating.cells import DOCUMENT_COLUMNS, columns_of
from dating.maker import Maker
from dating.months import month_label, month_number
from dating.reading import write_whole

HERE = Path(__file__).parent
PAPERS = ("dated photograph", "bill of sale in the case", "letter of the first owner")
PAPER, BEFORE, DOUBTED = 0.2, 0.25, 0.3
TITLES = {"student": "A student mandolin", "recital": "A recital mandolin with carved head"}
SCARCE = 17
"""The lot of which little was examined."""


def lots_of(maker: Maker, seed: int, count: int) -> tuple[list[dict[str, str]], dict[str, Any]]:
    """Give the rows of the sale, and what is true of each lot."""
    rows, instruments = simulate(maker, HABITS, seed, count)
    columns, lots, truths = columns_of(maker), [], {}
    for number, (row, truth) in enumerate(zip(rows, instruments.values(), strict=True), start=1):
        rng = random.Random(f"{seed} sale {number}")
        seen = {name: cell for name, cell in row.items() if name in columns}
        if number == SCARCE:
            seen = dict(list(seen.items())[:2])
        title = TITLES.get(row.get("variant", ""), "A mandolin")
        lot = {"lot": str(number), "title": title, "examined": "2026-09-14"}
        lots.append(lot | seen | paper(rng, truth["built"], maker))
        truths[str(number)] = {key: value for key, value in truth.items() if key != "date_wrong"}
    return lots, truths


def paper(rng: random.Random, built: str, maker: Maker) -> dict[str, str]:
    """Give a lot a dated paper now and then; what it says is true."""
    if rng.random() >= PAPER:
        return {}
    month = month_number(*map(int, built.split("-")))
    late = rng.random() >= BEFORE
    when = month + rng.randint(0, 30) if late else month - rng.randint(0, 30)
    cells = {"document": rng.choice(PAPERS)}
    cells["not_after" if late else "not_before"] = month_label(max(when, maker.period.first))
    return cells | ({"document_trust": "0.9"} if rng.random() < DOUBTED else {})


def sale_text(maker: Maker, lots: list[dict[str, str]], by: str) -> str:
    """Write the sale as CSV."""
    sheet = io.StringIO()
    sheet.write(f"# Invented: {by}.\n# maker: marrowby\n")
    columns = ["lot", "title", "examined", *columns_of(maker), *DOCUMENT_COLUMNS]
    writer = csv.DictWriter(sheet, columns, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(lots)
    return sheet.getvalue()


def truth_text(seed: int, truths: dict[str, Any], by: str) -> str:
    """Write what is true of each lot as YAML."""
    head = f"# Invented: {by}.\n# What happened behind marrowby_sale.csv, by lot.\nseed: {seed}\n"
    lines = [
        f'  "{lot}": {yaml.safe_dump(truth, sort_keys=False, default_flow_style=True, width=1000)}'
        for lot, truth in truths.items()
    ]
    return head + "lots:\n" + "".join(lines)


def main(arguments: list[str] | None = None) -> None:
    """Write the sale and the truth."""
    parser = argparse.ArgumentParser(description="Simulate a sale of Marrowby lots.")
    parser.add_argument("--seed", type=int, default=40, help="the same seed gives the same bytes")
    parser.add_argument("--lots", type=int, default=40, help="how many lots")
    parser.add_argument("--out", type=Path, default=HERE, help="folder to write to")
    given = parser.parse_args(arguments)
    maker = hidden_maker()
    lots, truths = lots_of(maker, given.seed, given.lots)
    by = f"simulated by demo_data/simulate_sale.py --seed {given.seed} --lots {given.lots}"
    write_whole(given.out / "marrowby_sale.csv", sale_text(maker, lots, by).encode())
    write_whole(given.out / "marrowby_sale_truth.yaml", truth_text(given.seed, truths, by).encode())


if __name__ == "__main__":
    main()
