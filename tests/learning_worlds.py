"""Makers with many two-state features, and corpora of instruments whose month is known.

Each feature goes from ``old`` to ``new`` in one changeover. What is seen of it, and when, is what
makes learning hard: nothing at all, only old ones, a gap, or a clean step.
"""

import csv
from dataclasses import dataclass

import numpy as np

from dating.files import read_maker
from dating.learning.corpus import read_corpus
from dating.learning.sampling import plan_of
from dating.months import month_label

FIRST, MONTHS = 1920 * 12, 360
HEAD = """\
# Invented.
maker: Example Reed Works
product: concertinas
invented: true
period: 1920/1949
events:
  new-shop: {what: move to a new shop, when: {earliest: 1933-06, likely: 1934-06, latest: 1936-01}}
components:
  case:
    swapped: 0
    features:
"""
FEATURE = """\
      {name}:
        ask: Which kind is it?
        states: [old, new]
        slip: {slip}
        replaced: 0
        history:
          - state: old
          - {{state: new, {begins}, overlap: {overlap}, shape: {shape}}}
"""
LOOKED = 2 / 3


@dataclass(frozen=True)
class Kind:
    """A way in which a feature is seen."""

    seen: str
    slip: float = 0.02
    overlap: str = "{shortest: 1, likely: 4, longest: 14}"
    shape: str = "linear"
    event: bool = False


THROUGHOUT = Kind("throughout")
HARD = {
    "never": Kind("never"),
    "never, after an event": Kind("never", event=True),
    "never, overlap down to none": Kind(
        "never", overlap="{shortest: 0, likely: 3, longest: 10}", shape="logistic"
    ),
    "tight gap": Kind("tight"),
    "wide gap": Kind("wide"),
    "before only": Kind("before"),
    "none within 60 months": Kind("far"),
}
EVENT = Kind("throughout", event=True, shape="logistic")
STRESS = [*HARD.values(), EVENT, EVENT, *(24 - len(HARD) - 2) * [THROUGHOUT]]


def is_seen(seen, since):
    """Whether a feature is examined on an instrument that many months after its changeover."""
    return {
        "never": False,
        "wide": abs(since) > 9,
        "before": since < 0,
        "far": abs(since) > 60,
    }.get(seen, True)


def maker_text(kinds, changes):
    """The maker file; judgements are over two years wide and miss the truth a little."""
    made = HEAD
    for place, (kind, change) in enumerate(zip(kinds, changes, strict=True)):
        early, likely, late = (month_label(FIRST + int(change) + by) for by in (-12, 2, 16))
        begins = f"first_use: {{earliest: {early}, likely: {likely}, latest: {late}}}"
        if kind.event:
            begins = "with: new-shop, lag: {shortest: 0, likely: 2, longest: 6}"
        made += FEATURE.format(
            name=f"f-{place:02d}",
            slip=kind.slip,
            begins=begins,
            overlap=kind.overlap,
            shape=kind.shape,
        )
    return made


def corpus_rows(kinds, changes, count, seed):
    """Instruments of known month; ``tight`` and ``wide`` change in a step, others in a ramp."""
    generator = np.random.default_rng(seed)
    for number in range(count):
        month = int(generator.integers(MONTHS))
        cells = []
        for kind, change in zip(kinds, changes, strict=True):
            since = month - change
            looked = generator.random() < LOOKED and is_seen(kind.seen, since)
            overlap = 0 if kind.seen in {"tight", "wide"} else 5 * generator.random()
            new = since + (generator.random() if overlap else 0) >= overlap
            if generator.random() < kind.slip and kind.seen == "throughout":
                new = generator.random() < 0.5
            cells.append(("old", "new")[int(new)] if looked else "")
        yield [f"C-{number}", month_label(FIRST + month), *cells]


def planned(folder, kinds, count, seed=1):
    """Write and read maker file and corpus, ready to be learned from."""
    changes = np.linspace(100, 260, len(kinds)).round()
    changes[[kind.event for kind in kinds]] = 176
    (folder / "example.yaml").write_text(maker_text(kinds, changes), encoding="utf-8")
    maker = read_maker(folder / "example.yaml")
    header = ["instrument", "built", *(f"f-{place:02d}" for place in range(len(kinds)))]
    with open(folder / "corpus.csv", "w", encoding="utf-8", newline="") as stream:
        csv.writer(stream).writerows([header, *corpus_rows(kinds, changes, count, seed)])
    return plan_of(maker, read_corpus(folder / "corpus.csv", maker))
