"""A small invented maker and corpora of it, for the tests of learning."""

import numpy as np

from dating.files import read_maker
from dating.learning.corpus import read_corpus
from dating.learning.files import FORMAT
from dating.learning.parts import parts_dataset
from dating.learning.quantities import statements_of, variables_of

MAKER = """\
# Invented.
maker: Example Reed Works
product: concertinas
invented: true
period: 1930/1934
events:
  new-shop:
    what: move to a new shop
    when: {earliest: 1931-06, likely: 1932-01, latest: 1932-10}
components:
  case:
    swapped: 0.05
    features:
      ends:
        ask: What are the ends made of?
        states: [wood, metal]
        slip: 0.02
        replaced: 0
        history:
          - state: wood
          - {state: metal, with: new-shop, lag: 1, overlap: {shortest: 1, likely: 4, longest: 9}}
      label:
        ask: Which label is it?
        states: [round, square]
        slip: 0.02
        replaced: 0
        history:
          - state: round
          - {state: square, with: new-shop, lag: 0, overlap: 0}
    measurements:
      width:
        unit: mm
        spread: 2
        mean: {1930-01: 160, 1932-01: 158, 1934-12: 150}
        tails: 5
        slip: 0
  straps:
    swapped: 0
    measurements:
      length: {unit: mm, spread: 4, mean: {1930-01: 200, 1934-12: 230}, tails: normal, slip: 0}
    features:
      buckle:
        ask: Which buckle is it?
        states: [plain, roller, none]
        slip: 0.02
        replaced: 0.1
        history:
          - {shares: {plain: 0.8, none: 0.2}}
          - state: roller
            first_use: {earliest: 1931-01, likely: 1932-01, latest: 1933-06}
            overlap: 3
"""

ONE_RAMP = """\
# Invented.
maker: Example Reed Works
product: concertinas
invented: true
period: 1930/1934
components:
  case:
    swapped: 0
    features:
      ends:
        ask: What are the ends made of?
        states: [wood, metal]
        slip: 0
        replaced: 0
        history:
          - state: wood
          - state: metal
            first_use: {earliest: 1931-01, likely: 1932-01, latest: 1933-06}
            overlap: {shortest: 2, likely: 6, longest: 14}
"""


def written(folder, maker_text, rows, header="instrument,built,trust,ends"):
    """Write maker file and corpus, and read both."""
    (folder / "example.yaml").write_text(maker_text, encoding="utf-8")
    lines = [header, *(",".join(map(str, row)) for row in rows)]
    (folder / "corpus.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    maker = read_maker(folder / "example.yaml")
    return maker, read_corpus(folder / "corpus.csv", maker)


def one_ramp_rows(count, seed=1, first_use=20.0, overlap=5.0):
    """Instruments of known month whose ends change in a ramp."""
    generator = np.random.default_rng(seed)
    rows = []
    for number in range(count):
        month = int(generator.integers(60))
        new = month + generator.random() > first_use + overlap * generator.random()
        built = f"{1930 + month // 12}-{month % 12 + 1:02d}"
        rows.append((f"C-{number}", built, 1, "metal" if new else "wood"))
    return rows


def tree_with(maker, arrays, corpus_fingerprint):
    """A result as ``dating learn`` has it, with draws that come from elsewhere."""
    import xarray as xr  # noqa: PLC0415

    posterior = variables_of(maker, arrays) if arrays else xr.Dataset(coords=ONE_CHAIN_OF_EIGHT)
    sizes = tuple(posterior.sizes[name] for name in ("chain", "draw"))
    never = xr.Dataset({"diverging": (("chain", "draw"), np.zeros(sizes, dtype=bool))})
    groups = {"posterior": posterior, "sample_stats": never}
    groups["constant_data"] = statements_of(maker).merge(parts_dataset(maker))
    tree = xr.DataTree.from_dict(groups)
    tree.attrs.update(
        format=FORMAT,
        maker_fingerprint=maker.origin.fingerprint,
        corpus_fingerprint=corpus_fingerprint,
        seed=1,
    )
    return tree


ONE_CHAIN_OF_EIGHT = {"chain": np.arange(1), "draw": np.arange(8)}
