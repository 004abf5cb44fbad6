"""Small invented makers, and for each of them every kind of file that a person writes."""

from __future__ import annotations

import csv
import random
from dataclasses import dataclass
from pathlib import Path

from tests.use.commands import DEMO, dating, success

LYRES = """\
# Invented.
maker: Example Lyre Works
product: lyres
invented: true
period: 1930-01/1934-12
output:
  - {during: 1930-01/1931-12, made: [300, 400, 600]}
  - {during: 1932-01/1934-12, made: 900}
events:
  new-shop:
    what: move to a new shop
    when: {earliest: 1931-06, likely: 1932-01, latest: 1932-10, by: assessor A}
components:
  body:
    swapped: 0.02
    features:
      ends:
        ask: What are the ends made of?
        states: [wood, metal, horn]
        slip: 0.02
        replaced: 0.01
        history:
          - state: wood
          - state: metal
            first_use: {earliest: 1931-01, likely: 1931-08, latest: 1932-03, by: assessor A}
            overlap: {shortest: 2, likely: 4, longest: 9, by: assessor A}
          - state: horn
            first_use: {earliest: 1933-06, likely: 1933-10, latest: 1934-03, by: assessor A}
            overlap: 2
      label:
        ask: Which label is it?
        states: [round, square]
        slip: 0.02
        replaced: 0.05
        history:
          - state: round
          - {state: square, with: new-shop, lag: 1, overlap: 3}
    marks:
      pencil: {ask: "Is there a date?", lag: [0, 1, 4], replaced: 0.02, doubt: 0.02}
    measurements:
      depth: {unit: mm, spread: 0.5, slip: 0.01, mean: {1930-01: 23.5, 1934-12: 21.0}}
"""
LYRE = """\
instrument: L-1
maker: lyres
examined: 2026-03-02
by: assessor A
seen:
  ends: metal
  label: {state: round, sure: 0.8}
marks: {pencil: 1932-02}
measured: {depth: {value: 22.4, within: 0.2}}
documents:
  - {what: bill of sale, not_after: 1933-06, trust: 0.95}
"""
OTHER = "instrument: L-2\nmaker: lyres\nseen: {ends: wood, label: round}\n"
CLAIMS = """\
maker: lyres
examinations: [L-1.yaml, L-2.yaml]
claims:
  - claim: metal
    sentence: Metal came in before the middle of 1932.
    says: {first_use: {feature: ends, state: metal, not_after: 1932-06}}
  - claim: half
    sentence: Half of all lyres of 1932 have metal ends.
    says: {share: {states: {ends: metal}, during: 1932, at_least: 0.5}}
  - claim: apart
    sentence: The two lyres were built within a year.
    says: {apart: {instruments: [L-1, L-2], at_most: 12}}
"""
CLAIMS_SHEET = """\
# maker: lyres
claim,kind,sentence,place,feature,state,not_after,during,was
metal,first_use,Metal came in early.,page 1,ends,metal,1932-06,,
none,share,No lyre of 1930 had metal ends.,page 2,ends,metal,,1930,none
"""
SALE = """\
# maker: lyres
lot,title,ends,label,depth,document,not_after,document_trust
1,A lyre,metal,round,22.4,letter,1933,0.9
2,Another,wood | metal,,23.1 within 0.2,,,
"""

INSTRUMENTS = "instrument,ends,label\nL-1,metal,round\nL-2,wood,\n"

BELLOWS = """\
# Invented.
maker: Example Reed Works
product: concertinas
invented: true
period: 1930/1934
components:
  case:
    features:
      ends:
        ask: What are the ends made of?
        states: [wood, metal]
        slip: 0.02
        history:
          - state: wood
          - state: metal
            first_use: {earliest: 1931-01, likely: 1932-01, latest: 1933-06}
            overlap: {shortest: 2, likely: 6, longest: 14}
"""


def lyre_rows(number: int = 16) -> str:
    """Write a corpus of lyres."""
    rng = random.Random(7)
    rows = []
    for row in range(1, number + 1):
        month = rng.randrange(60)
        ends = ["wood", "metal", "horn"][(month > 20) + (month > 46)]
        label, depth = "square" if month > 26 else "round", 23.5 - month / 24
        built = f"{1930 + month // 12}-{month % 12 + 1:02d}"
        rows.append(
            f"R-{row},{built},bill,{rng.choice(['', '', '', '0.9'])},{ends},{label},{depth:.1f}"
        )
    head = ["# maker: lyres", "instrument,built,known_by,trust,ends,label,depth"]
    return "\n".join([*head, *rows]) + "\n"


def lyre_files(folder: Path) -> Path:
    """Write every kind of file about lyres into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    texts = {
        "lyres.yaml": LYRES,
        "L-1.yaml": LYRE,
        "L-2.yaml": OTHER,
        "claims.yaml": CLAIMS,
        "claims.csv": CLAIMS_SHEET,
        "sale.csv": SALE,
        "instruments.csv": INSTRUMENTS,
        "corpus.csv": lyre_rows(),
    }
    for name, text in texts.items():
        (folder / name).write_text(text, "utf-8")
    return folder


@dataclass(frozen=True)
class Works:
    """A small maker with its files, and what was learned of it."""

    folder: Path
    feature: str
    states: tuple[str, str]
    learning: str

    @property
    def learned(self) -> tuple[str, ...]:
        return ("--learned", "learned.nc")


def works(folder: Path, feature: str, states: tuple[str, str], product: str) -> Works:
    """Write what a person writes about a maker whose file and corpus stand in the folder; learn."""
    early, late = states
    for name, state in (("A", early), ("B", late)):
        text = f"instrument: {name}\nmaker: maker\nseen: {{{feature}: {state}}}\n"
        (folder / f"{name}.yaml").write_text(text, "utf-8")
    sale = f"# maker: maker\nlot,title,{feature}\n1,A {product},{early}\n2,Another,{late}\n"
    (folder / "sale.csv").write_text(sale, "utf-8")
    answer = success(
        dating(
            *("learn", "maker.yaml", "corpus.csv", "--out", "learned.nc", "--report", "r.html"),
            *("--draws", "10", "--insist"),
            cwd=folder,
        )
    )
    return Works(folder, feature, states, answer.words)


def concertina_works(folder: Path) -> Works:
    """Write a maker of one feature with one changeover, and a corpus."""
    (folder / "maker.yaml").write_text(BELLOWS, "utf-8")
    rng = random.Random(1)
    rows = ["# maker: maker", "instrument,built,ends"]
    for row in range(1, 25):
        month = rng.randrange(60)
        state = "metal" if month > 26 + rng.randrange(8) else "wood"
        rows.append(f"R-{row},{1930 + month // 12}-{month % 12 + 1:02d},{state}")
    (folder / "corpus.csv").write_text("\n".join(rows) + "\n", "utf-8")
    return works(folder, "ends", ("wood", "metal"), "concertina")


def drafted_works(folder: Path) -> Works:
    """Draft a maker from some rows and columns of the demo corpus."""
    lines = (DEMO / "marrowby_corpus.csv").read_text("utf-8").splitlines()
    rows = list(csv.DictReader(line for line in lines if line[:1] != "#"))[:40]
    with (folder / "corpus.csv").open("w", newline="", encoding="utf-8") as file:
        file.write("# maker: maker\n")
        writer = csv.DictWriter(
            file, ["instrument", "built", "heel-joint", "finish"], extrasaction="ignore"
        )
        writer.writeheader()
        writer.writerows(rows)
    success(dating("draft", "corpus.csv", "--out", "maker.yaml", "--name", "Draft", cwd=folder))
    return works(folder, "finish", ("varnish", "lacquer"), "mandolin")
