"""A world of two lines that nobody names, for the tests of free-form shares."""

import numpy as np

from dating.learning.latent.rows import rows_of

FREE = """\
# Invented.
maker: Example Reed Works
product: concertinas
invented: true
period: 1930/1949
components:
  case:
    swapped: 0
    features:
      wood: {ask: Which wood?, states: [oak, ash, elm], free_form: true}
      leather: {ask: Which leather?, states: [brown, black], free_form: true}
      screw: {ask: Which screw?, states: [round, flat], free_form: true}
      clasp: {ask: Which clasp?, states: [hook, stud], free_form: true}
"""
STATES = {
    "wood": ("oak", "ash", "elm"),
    "leather": ("brown", "black"),
    "screw": ("round", "flat"),
    "clasp": ("hook", "stud"),
}
YEARS = 20
HEADER = ",".join(["instrument", "built", "trust", *STATES])


def true_curves():
    """P(state | year) in each of two latent variants, shape (state, variant, year), smooth.

    Wood and leather tell the lines apart; screw and clasp change in both, but not at one time.
    """
    late = np.linspace(0, 1, YEARS)
    oak = np.array([0.9 - 0.3 * late, 0.05 + 0.1 * late])
    ash = np.array([0.05 + 0.2 * late, 0.85 - 0.5 * late])
    first = {
        "leather": [0.9 + 0 * late, 0.1 + 0.2 * late],
        "screw": [_falling(late, 0.25), _falling(late, 0.7)],
        "clasp": [_falling(late, 0.75), _falling(late, 0.3)],
    }
    made = {name: np.array([p, 1 - np.array(p)]) for name, p in first.items()}
    return {"wood": np.array([oak, ash, 1 - oak - ash])} | made


def _falling(late, middle):
    return 0.05 + 0.9 / (1 + np.exp((late - middle) / 0.1))


def true_weight():
    """P(second latent variant | year)."""
    return 0.3 + 0.4 * np.linspace(0, 1, YEARS)


def rows_together(count, seed):
    """Instruments of known year; everything follows one of two lines."""
    generator = np.random.default_rng(seed)
    curves, weight = true_curves(), true_weight()
    for number in range(count):
        year = int(generator.integers(YEARS))
        line = int(generator.random() < weight[year])
        seen = [generator.choice(STATES[n], p=curves[n][:, line, year]) for n in STATES]
        yield (f"C-{number}", 1930 + year, 1, *seen)


def rows_apart(count, seed):
    """The same shares in every year, each feature drawn for itself."""
    generator = np.random.default_rng(seed)
    curves, second = true_curves(), true_weight()
    for number in range(count):
        year = int(generator.integers(YEARS))
        among = np.array([1 - second[year], second[year]])
        seen = [generator.choice(STATES[n], p=curves[n][:, :, year] @ among) for n in STATES]
        yield (f"C-{number}", 1930 + year, 1, *seen)


DOUBTFUL = [
    ("D-1", "1931-04", 1, "oak", "brown", "round", "hook"),
    ("D-2", "1931-04", 0.8, "ash", "", "flat", "hook"),
    ("D-3", '"[1932-05..1934-10]"', 1, "oak | elm", "brown", "", "stud"),
    ("D-4", "[1946..]", 0.5, "ash (0.8)", "black (0.6)", "round", "hook"),
    ("D-5", '"[1930-01,1949-12]"', 0.95, "other: cork", "", "", ""),
    ("D-6", "1940-02", 1, "elm", "black | brown", "flat", "stud (0.3)"),
    ("D-7", "1940-11", 0, "elm", "brown", "flat", "stud"),
    *(
        (f"E-{n}", 1930 + n, 1, ("oak", "ash", "elm")[n % 3], "brown", "", "hook")
        for n in range(13)
    ),
]


def flat_output(maker):
    return np.full(len(maker.period), 1 / len(maker.period))


def rows_in(made):
    maker, corpus = made
    return rows_of(corpus.references, maker, flat_output(maker))
