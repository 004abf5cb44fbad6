"""Small invented makers whose instruments can be drawn, for the tests of calibration."""

from itertools import product
from types import SimpleNamespace

import numpy as np

from dating.batch import posteriors
from dating.calibration.cross_validation import DatedReferences, Omissions
from dating.examination import Examination
from dating.learning.corpus import Reference
from dating.ramps import month_shares
from tests.learning import ONE_RAMP, one_ramp_rows, tree_with, written

MONTHS = 60
STARTS = (4, 12, 20, 28, 36, 44)
OVERLAP = 8
SLIP = 0.02

SIX_RAMPS = """\
# Invented.
maker: Example Reed Works
product: concertinas
invented: true
period: 1930/1934
components:
  case:
    swapped: 0
    features:
""" + "".join(
    f"""\
      f{number}:
        ask: Old or new?
        states: [old, new]
        slip: {SLIP}
        replaced: 0
        history:
          - state: old
          - {{state: new, first_use: {1930 + start // 12}-{start % 12 + 1:02d}, overlap: {OVERLAP}}}
"""
    for number, start in enumerate(STARTS)
)

FREE_FORM = """\
# Invented.
maker: Example Reed Works
product: concertinas
invented: true
period: 1930/1934
components:
  case:
    features:
      ends: {ask: What are the ends made of?, states: [wood, metal, horn], free_form: true}
      label: {ask: Which label is it?, states: [round, square], free_form: true}
"""


def month_text(month):
    return f"{1930 + month // 12}-{month % 12 + 1:02d}"


def six_ramps(folder, count, seed):
    """Instruments drawn exactly as the maker file has it; some sightings are missing."""
    generator = np.random.default_rng(seed)
    month = generator.integers(MONTHS, size=count)
    point = month + generator.random(count)
    seen = []
    for start in STARTS:
        new = point > start + OVERLAP * generator.random(count)
        slipped = generator.random(count) < SLIP
        new = np.where(slipped, generator.random(count) < 0.5, new)
        words = np.where(new, "new", "old")
        seen.append(np.where(generator.random(count) < 0.3, "", words))
    rows = [
        (f"S-{place}", month_text(m), 1, *states)
        for place, (m, states) in enumerate(
            zip(month.tolist(), zip(*seen, strict=True), strict=True)
        )
    ]
    header = "instrument,built,trust," + ",".join(f"f{n}" for n in range(len(STARTS)))
    return written(folder, SIX_RAMPS, rows, header)


def one_ramp_learned(folder, count=14, draws=4000, seed=3):
    """Draws of first use and overlap from an exact grid, and what the grid says with each left out.

    The last instrument is known to half a year only.
    """
    rows = [*one_ramp_rows(count - 1, seed=seed), ("C-half", "[1931-07..1931-12]", 1, "wood")]
    maker, corpus = written(folder, ONE_RAMP, rows)
    first, overlap = (grid.ravel() for grid in np.meshgrid(np.arange(14, 27, 0.25), [2, 5, 8, 11]))
    metal = month_shares(first, overlap.astype(float), MONTHS)
    metal = metal.reshape(len(first), MONTHS)
    read = [
        metal if r.examination.seen["ends"].state == "metal" else 1 - metal
        for r in corpus.references
    ]
    own = np.array([likely @ r.window for likely, r in zip(read, corpus.references, strict=True)])
    left_out = []
    for place, likely in enumerate(read):
        weights = np.prod(np.delete(own, place, axis=0), axis=0)
        left_out.append(weights @ likely / (weights @ likely).sum())
    weights = np.prod(own, axis=0)
    drawn = np.random.default_rng(seed).choice(len(first), draws, p=weights / weights.sum())
    tree = tree_of(maker, corpus, np.stack([first, overlap], axis=1)[drawn])
    return SimpleNamespace(maker=maker, corpus=corpus, tree=tree, left_out=np.array(left_out))


def tree_of(maker, corpus, values):
    """A result whose numbers have these draws, and which leaves all else as it is stated."""
    return tree_with(maker, {"value": values[None]}, corpus.fingerprint)


def dated_as(corpus, posterior, months):
    """Posteriors that are simply stated, of instruments on which nothing was seen."""
    blank = Examination.model_validate({"instrument": "X", "maker": "example"})
    windows = np.eye(posterior.shape[1])[months]
    built = corpus.references[0].built
    references = tuple(Reference(2, blank, built, window, "", 1.0) for window in windows)
    none = np.zeros(len(references), dtype=bool)
    return DatedReferences(references, posterior, posterior, none, Omissions(0, 0, 0))


def drawn_months(posterior, seed=101):
    """Draw a month from each posterior."""
    place = np.random.default_rng(seed).random((len(posterior), 1))
    return (np.cumsum(posterior, axis=1) < place).sum(axis=1).clip(max=posterior.shape[1] - 1)


def sharpened(posterior, power):
    """Raise posteriors to a power: above one they grow too sure, below too cautious."""
    made = posterior**power
    return made / made.sum(axis=1, keepdims=True)


def bumps(count, seed=1, months=MONTHS):
    """Posteriors of different widths, each a bump."""
    generator = np.random.default_rng(seed)
    middle = generator.uniform(0, months, (count, 1))
    width = generator.uniform(2, 8, (count, 1))
    made = np.exp(-0.5 * ((np.arange(months) - middle) / width) ** 2)
    return made / made.sum(axis=1, keepdims=True)


def pattern_posteriors(folder, overlap=OVERLAP, slip=SLIP):
    """Posteriors of everything that can be seen with six ramps, as the batch gives them.

    In the order of :func:`six_ramp_patterns`, shape (pattern, month). Overlap and slip are those
    that the maker file states; ramps keep their middles.
    """
    text = SIX_RAMPS.replace(f"slip: {SLIP}", f"slip: {slip}")
    text = text.replace(f"overlap: {OVERLAP}}}", f"overlap: {overlap}}}")
    header = "instrument,built,trust," + ",".join(f"f{n}" for n in range(len(STARTS)))
    maker, _ = written(folder, text, [("S-0", "1931-08", 1, *["new"] * len(STARTS))], header)
    seen = [
        {f"f{n}": state for n, state in enumerate(pattern) if state}
        for pattern in product(("", "old", "new"), repeat=len(STARTS))
    ]
    examinations = [
        Examination.model_validate({"instrument": "X", "maker": "example", "seen": each})
        for each in seen
    ]
    return posteriors(maker, examinations).values


def six_ramp_patterns(generator, count, *, stated=OVERLAP, **truth):
    """Draw months and what was seen, by a truth that may differ from what the maker file states.

    ``overlap`` and ``slip`` are the true ones; ``behind`` is the spread in months of how old the
    parts of one instrument are, all alike; ``late`` is by how many months changeovers come later
    than stated; ``wrong`` is the share of dates in the corpus that say nothing.
    """
    overlap, slip = truth.get("overlap", OVERLAP), truth.get("slip", SLIP)
    month = generator.integers(MONTHS, size=count)
    point = month + generator.random(count) - truth.get("late", 0.0)
    point += truth.get("behind", 0.0) * generator.standard_normal(count)
    pattern = np.zeros(count, dtype=int)
    for start in STARTS:
        new = point > start + stated / 2 + overlap * (generator.random(count) - 0.5)
        new = np.where(generator.random(count) < slip, generator.random(count) < 0.5, new)
        pattern = 3 * pattern + np.where(generator.random(count) < 0.3, 0, 1 + new)
    wrong = generator.random(count) < truth.get("wrong", 0.0)
    return np.where(wrong, generator.integers(MONTHS, size=count), month), pattern


def varied(generator, count, months=120):
    """Posteriors with one top or two, narrow and wide, on a low floor, shape (count, months)."""
    axis = np.arange(months)
    middle = generator.uniform(10, months - 10, (count, 1))
    width = np.exp(generator.uniform(np.log(2.5), np.log(12), (count, 1)))
    apart = generator.choice([-1, 1], (count, 1)) * generator.uniform(15, 40, (count, 1))
    second = np.where(generator.random((count, 1)) < 0.25, generator.random((count, 1)), 0.0)
    made = np.exp(-0.5 * ((axis - middle) / width) ** 2) + 1e-4
    made += second * np.exp(-0.5 * ((axis - np.clip(middle + apart, 5, months - 5)) / width) ** 2)
    return made / made.sum(axis=1, keepdims=True)
