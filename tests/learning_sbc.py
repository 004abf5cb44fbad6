"""Simulation-based calibration of the learning: a small maker, its corpora, and ranks.

Talts, S., Betancourt, M., Simpson, D., Vehtari, A. and Gelman, A. (2018). Validating Bayesian
inference algorithms with simulation-based calibration. arXiv:1804.06788.

The truth is drawn from the judgements' own quantile functions and the stated doubts. Instruments
are then built, changed and examined step by step, never through the model's tables: a build passes
a changeover when its instant is beyond a threshold of its own. What they become goes through the
CSV file, the reader and the tally, as a user's corpus does, and is learned from as by `learn`, in
one chain.
"""

import csv
from dataclasses import dataclass

import numpy as np
from scipy import stats
from scipy.special import expit, logit, ndtr

from dating.distributions import Certain
from dating.files import read_maker
from dating.learning.chains import chains_of
from dating.learning.constants import constants_of
from dating.learning.corpus import read_corpus
from dating.learning.density import density_of
from dating.learning.gauges import MEAN_DOUBT, SPREAD_DOUBT
from dating.learning.lags import LAG_DOUBT, RATIO_DOUBT
from dating.learning.layout import CHANCE_DOUBT, FLOOR, NARROWEST, SHARE_DOUBT, layout_of
from dating.learning.tally import tally_of
from dating.learning.walk import DEVIATION, SCALE_DOUBT, STEP
from dating.months import month_label
from dating.tabulation import month_tables

MAKER = """\
# Invented.
maker: Example Reed Works
product: concertinas
invented: true
period: 1930/1933
output: learn
events:
  new-shop:
    what: move to a new shop
    when: {earliest: 1930-10, likely: 1931-04, latest: 1932-02}
variants:
  states: [home, stage]
  history:
    - state: home
    - shares: {home: 0.6, stage: 0.4}
      first_use: {earliest: 1930-02, likely: 1930-07, latest: 1931-03}
      overlap: {shortest: 1, likely: 3, longest: 8}
components:
  case:
    swapped: 0.1
    features:
      ends:
        ask: What are the ends made of?
        states: [wood, metal]
        slip: 0.03
        history:
          - state: wood
          - {state: metal, with: new-shop, lag: {shortest: 0, likely: 2, longest: 5},
             overlap: {shortest: 1, likely: 4, longest: 9}}
      label:
        ask: Which label is it?
        states: [round, square]
        slip: 0.03
        history:
          - state: round
          - {state: square, with: new-shop, lag: 0, shape: logistic,
             overlap: {shortest: 0, likely: 3, longest: 9}}
    measurements:
      width: {unit: mm, spread: 2, mean: {1930-01: 160, 1933-12: 150}}
    marks:
      pencil:
        {ask: Is there a date?, lag: {shortest: 0.5, likely: 2, longest: 6}, replaced: 0.05}
  straps:
    features:
      buckle:
        ask: Which buckle is it?
        states: [plain, roller, none]
        slip: 0.03
        replaced: 0.1
        replacement: {plain: 0.7, roller: 0.3}
        history:
          - shares: {plain: 0.7, none: 0.3}
          - state: roller
            first_use:
              - {earliest: 1930-08, likely: 1931-02, latest: 1931-10}
              - {earliest: 1931-06, likely: 1932-02, latest: 1932-12, weight: 2}
            overlap: 3
      strap:
        ask: Which strap is it?
        states: [brown, black]
        slip: 0.03
        by_variant:
          home:
            history:
              - state: brown
              - state: black
                first_use: {earliest: 1931-01, likely: 1932-01, latest: 1933-06}
                overlap: {shortest: 2, likely: 5, longest: 12}
          stage: {shares_at: {1930-01: {brown: 0.9, black: 0.1}, 1933-12: {brown: 0.3, black: 0.7}}}
    measurements:
      length: {unit: mm, spread: 4, mean: {1930-01: 200, 1933-12: 220}, tails: 5}
    marks:
      stamp: {ask: Is there a stamp?, lag: {shortest: 0, likely: 1, longest: 4}}
      tag: {ask: Is there a tag?, lag: 1}
"""
EVEN = MAKER.replace("output: learn\n", "")
"""The same with every month alike, which takes a third of the time."""
FIRST, MONTHS = 1930 * 12, 48
LOOKS = ("ends", "label", "buckle", "strap")
GRID = {"width": np.arange(135, 177, 2), "length": np.arange(160, 264, 4)}  # mm, a reading each
WITHIN = {"width": (0.0, 1.0), "length": (0.0,)}
LOOKED, SURE = 0.8, 0.8
ACCEPT = (0.9, 0.95, 0.975)
WINDOWS = {  # each a partition of the period
    "year": ("1930", "1931", "1932", "1933"),
    "last figure odd or even": ("[1930,1932]", "[1931,1933]"),
    "end not known": ("[..1931-06]", "[1931-07..]"),
}
KINDS = (  # rows of a corpus: how many, of which window, of what trust, whether the variant is seen
    (110, "month", 1.0, "seen"),
    (6, "year", 1.0, "seen"),
    (6, "last figure odd or even", 1.0, "seen"),
    (4, "end not known", 1.0, "seen"),
    (6, "month", 0.8, "seen"),
    (6, "month", 1.0, "not seen"),
    (4, "year", 1.0, "sure"),
    (6, "undated", 1.0, "seen"),
)
MARKS = ("pencil", "stamp", "tag")
COLUMNS = ["instrument", "built", "trust", "variant", *LOOKS, *GRID, *MARKS]


@dataclass(frozen=True)
class Truth:
    """One draw of everything that is learned."""

    normals: dict[str, float]  # of which the numbers are quantiles
    numbers: dict[str, float]
    shares: dict[tuple[str, int], dict[str, float]]  # by course and regime or anchor
    slip: dict[str, float]
    replaced: dict[str, float]
    means: dict[str, np.ndarray]
    spreads: dict[str, float]
    lags: dict[str, tuple[float, float]]  # median, and ratio
    scales: np.ndarray  # of the output, shape (2,)
    amplitudes: np.ndarray
    output: np.ndarray  # share of each month


def drawn_truth(maker, generator):
    """Draw from the judgements and from the stated doubts."""
    normal = generator.standard_normal
    layout = layout_of(maker)
    judged = layout.numbers
    normals = {name: float(normal()) for name in judged}
    numbers = {name: float(judged[name].quantile(ndtr(z))) for name, z in normals.items()}
    strap = maker.features()["strap"][1].by_variant["stage"].shares_at
    mixed = {
        ("variants", 2): {"home": 0.6, "stage": 0.4},
        ("buckle", 1): {"plain": 0.7, "none": 0.3},
    }
    mixed |= {("strap", place): strap[at] for place, at in enumerate(sorted(strap), start=1)}
    features = {name: feature for name, (_, feature) in maker.features().items()}

    scales, amplitudes, output = drawn_output(layout, normal)

    def chance(stated):
        return float(expit(logit(stated) + CHANCE_DOUBT * normal())) if stated > 0 else 0.0

    return Truth(
        normals=normals,
        numbers=numbers,
        shares={key: _moved(stated, normal) for key, stated in mixed.items()},
        slip={name: chance(feature.slip.value) for name, feature in features.items()},
        replaced={name: chance(feature.replaced.value) for name, feature in features.items()},
        means={
            name: np.array([m.mean[at] + MEAN_DOUBT * m.spread * normal() for at in sorted(m.mean)])
            for name, (_, m) in maker.measurements().items()
        },
        spreads={g.name: g.spread * np.exp(SPREAD_DOUBT * normal()) for g in layout.gauges},
        lags={
            lag.mark: (lag.median * np.exp(LAG_DOUBT * normal()), np.exp(RATIO_DOUBT * normal()))
            if lag.learned
            else (lag.median, 1.0)
            for lag in layout.lags
        },
        scales=scales,
        amplitudes=amplitudes,
        output=output,
    )


def drawn_output(layout, normal):
    """Scales, amplitudes and share of each month; every month alike where none is learned."""
    if layout.walk is None:
        return np.zeros(0), np.zeros(0), np.full(MONTHS, 1 / MONTHS)
    scales = np.array([STEP, DEVIATION]) * np.exp(SCALE_DOUBT * normal(2))
    amplitudes = normal(len(layout.walk.reach))
    return scales, amplitudes, layout.walk.shares(scales[None], amplitudes[None])[0]


def _moved(stated, normal):
    weighed = {state: share * np.exp(SHARE_DOUBT * normal()) for state, share in stated.items()}
    return {state: w / sum(weighed.values()) for state, w in weighed.items()}


class Simulator:
    """Builds, changes and examines the instruments of one truth."""

    def __init__(self, maker, truth, generator):
        self.maker, self.truth, self.generator = maker, truth, generator
        self.lags = {lag.mark: lag for lag in layout_of(maker).lags}

    def rows(self):
        kinds = [kind for count, *kind in KINDS for _ in range(count)]
        return [self.row(place, *kind) for place, kind in enumerate(kinds)]

    def row(self, place, window, trust, grade):
        month = self.generator.choice(MONTHS, p=self.truth.output)
        stated = month if self.generator.random() < trust else self.month()
        variant = self.looked_at(("home", "stage"), self.variant(month))
        cells = {"instrument": f"C-{place}", "built": self.built(window, stated), "trust": trust}
        if grade == "seen":
            cells["variant"] = variant
        elif grade == "sure":
            right = self.generator.random() < SURE
            other = "stage" if variant == "home" else "home"
            cells["variant"] = f"{variant if right else other} ({SURE})"
        for name in LOOKS:
            if self.generator.random() < LOOKED:
                cells[name] = self.sight(name, month, variant)
        for name in GRID:
            if self.generator.random() < LOOKED / 2:
                cells[name] = self.measured(name, month)
        for name in MARKS:
            if self.generator.random() < LOOKED / 2:
                cells[name] = self.mark(name, month)
        return [cells.get(column, "") for column in COLUMNS]

    def month(self):
        """Any month, as wrong dates and donors have it."""
        return int(self.generator.integers(MONTHS))

    def built(self, window, month):
        if window in {"month", "undated"}:
            return month_label(FIRST + month) if window == "month" else ""
        year = month // 12
        part = {"year": year, "last figure odd or even": year % 2, "end not known": month >= 18}
        return WINDOWS[window][part[window]]

    def passed(self, month, start, overlap, logistic=False):
        """Whether an instant of the month is past the threshold of this instrument."""
        overlap, share = np.hypot(overlap, NARROWEST), self.generator.random()
        within = 0.5 + logit(share) / (2 * np.log(19)) if logistic else share
        return bool(month + self.generator.random() > start + overlap * within)

    def choose(self, shares):
        return str(self.generator.choice(list(shares), p=list(shares.values())))

    def variant(self, month):
        n = self.truth.numbers
        start, overlap = n["variants, regime 2, first use"], n["variants, regime 2, overlap"]
        past = self.passed(month, start, overlap)
        return self.choose(self.truth.shares["variants", 2]) if past else "home"

    def as_built(self, name, month, variant):
        n, shares = self.truth.numbers, self.truth.shares
        if name in {"ends", "label"}:
            label = f"{name}, regime 2"
            start = n["event new-shop"] + n[f"{label}, lag"]
            past = self.passed(month, start, n[f"{label}, overlap"], name == "label")
            return {"ends": ("wood", "metal"), "label": ("round", "square")}[name][past]
        if name == "buckle":
            start, overlap = n["buckle, regime 2, first use"], n["buckle, regime 2, overlap"]
            past = self.passed(month, start, overlap)
            return "roller" if past else self.choose(shares["buckle", 1])
        if variant == "home":
            label = "strap of home, regime 2"
            past = self.passed(month, n[f"{label}, first use"], n[f"{label}, overlap"])
            return "black" if past else "brown"
        later = self.generator.random() < month / (MONTHS - 1)
        return self.choose(shares["strap", 1 + later])

    def sight(self, name, month, variant):
        """Swap (feature by feature, as the model has it), replace, misread; then look."""
        part, feature = self.maker.features()[name]
        if self.generator.random() < self.maker.components[part].swapped.value:
            month = self.month()
        state, states = self.as_built(name, month, variant), tuple(feature.states)
        if self.generator.random() < self.truth.replaced[name]:
            state = self.choose(
                feature.replacement or dict.fromkeys(feature.states, 1 / len(feature.states))
            )
        elif self.generator.random() < self.truth.slip[name]:
            state = str(self.generator.choice(states))
        doubt = self.generator.random()
        if doubt < 0.1:
            right = self.generator.random() < SURE
            others = [other for other in states if other != state]
            return f"{self.looked_at(states, state if right else self.choose_one(others))} ({SURE})"
        if doubt < 0.2 and name == "buckle":
            alike = "plain | roller"
            return self.looked_at((alike, "none"), "none" if state == "none" else alike)
        return self.looked_at(states, state)

    def choose_one(self, names):
        return str(self.generator.choice(names))

    def looked_at(self, outcomes, outcome):
        """The floor: one record in a thousand for each outcome is anything."""
        count = len(outcomes)
        anything = count * FLOOR / (1 - FLOOR + count * FLOOR)
        return self.choose_one(outcomes) if self.generator.random() < anything else outcome

    def measured(self, name, month):
        part, measurement = self.maker.measurements()[name]
        if self.generator.random() < self.maker.components[part].swapped.value:
            month = self.month()
        anchors = [at - FIRST for at in sorted(measurement.mean)]
        mean = np.interp(month, anchors, self.truth.means[name])
        within = float(self.generator.choice(WITHIN[name]))
        z = (GRID[name] - mean) / np.hypot(self.truth.spreads[name], within)
        freedom = measurement.tails
        law = (
            np.exp(-(z**2) / 2) if freedom is None else (1 + z**2 / freedom) ** (-(freedom + 1) / 2)
        )
        value = self.generator.choice(GRID[name], p=law / law.sum())
        return f"{value} within {within:g}" if within else f"{value}"

    def mark(self, name, month):
        """Swap, or make the mark later; else it was made a lag before an instant of the month."""
        part, mark = self.maker.marks()[name]
        if self.generator.random() < self.maker.components[part].swapped.value:
            month = self.month()
        lag, (median, ratio) = self.lags[name], self.truth.lags[name]
        quantiles = lag.quantiles(np.array([median]), np.array([ratio]))[0]
        behind = np.interp(self.generator.random(), lag.reached, quantiles)
        made = int(np.floor(month + self.generator.random() - behind))
        replaced = self.generator.random() < mark.replaced.value
        anything = self.generator.random() < FLOOR
        return month_label(FIRST + (self.month() if replaced or anything else made))


class Harness:
    """The small maker, and what is learned of it from corpora."""

    def __init__(self, folder, text=MAKER):
        (folder / "example.yaml").write_text(text, encoding="utf-8")
        self.folder, self.maker = folder, read_maker(folder / "example.yaml")
        self.layout, self.tables = layout_of(self.maker), month_tables(self.maker)
        self.constants = constants_of(self.maker, self.layout, self.tables)

    def tally(self, rows):
        file = self.folder / "corpus.csv"
        with open(file, "w", encoding="utf-8", newline="") as stream:
            csv.writer(stream).writerows([COLUMNS, *rows])
        return tally_of(read_corpus(file, self.maker), self.layout, self.tables.output)

    def arrays_of_truth(self, truth):
        """The truth in the form of the model's quantities."""
        width = max(len(track.states) for track in self.layout.tracks)
        share = np.zeros((len(self.layout.tracks), 2, width))
        for place, track in enumerate(self.layout.tracks):
            share[place, : len(track.shares), : len(track.states)] = track.shares
            for regime in (1, 2):
                drawn = truth.shares.get((track.name, regime), {})
                if drawn and track.variant != "home":
                    share[place, regime - 1, : len(track.states)] = [
                        drawn.get(state, 0.0) for state in track.states
                    ]
        return {
            "value": np.array(list(truth.numbers.values())),
            "share": share,
            "slip": np.array(list(truth.slip.values())),
            "replaced": np.array(list(truth.replaced.values())),
            "mean": np.concatenate(list(truth.means.values())),
            "spread": np.array(list(truth.spreads.values())),
            "lag": np.array([median for median, _ in truth.lags.values()]),
            "lag_ratio": np.array([ratio for _, ratio in truth.lags.values()]),
            "output_scale": truth.scales,
            "output_share": truth.output if len(truth.scales) else truth.scales,
        }

    def unknowns_of_truth(self, truth):
        """The truth in the form of the density's unknowns; for shares, through their logarithms."""
        stated, mixed = self.layout.stated_shares, self.layout.mixed
        numbers = self.layout.numbers.items()
        arrays, constants = self.arrays_of_truth(truth), self.constants
        moved = np.log(arrays["share"][mixed] / stated[mixed])
        unknowns = [
            [truth.normals[n] for n, judged in numbers if not isinstance(judged, Certain)],
            np.linalg.lstsq(self.layout.contrasts, moved)[0],
        ]
        for name, chances in (("slip", constants.slip), ("replaced", constants.replaced)):
            doubted = (chances > 0) & (chances < 1)
            change = logit(arrays[name][doubted]) - logit(chances[doubted])
            unknowns.append(change / CHANCE_DOUBT)
        for gauge in self.layout.gauges:
            unknowns.append((truth.means[gauge.name] - gauge.stated) / (MEAN_DOUBT * gauge.spread))
        for gauge in self.layout.gauges:
            unknowns.append([np.log(truth.spreads[gauge.name] / gauge.spread) / SPREAD_DOUBT])
        for lag in self.layout.lags:
            median, ratio = truth.lags[lag.mark]
            if lag.learned:
                unknowns.append([np.log(median / lag.median) / LAG_DOUBT])
                unknowns.append([np.log(ratio) / RATIO_DOUBT])
        if len(truth.scales):
            unknowns.append(np.log(truth.scales / [STEP, DEVIATION]) / SCALE_DOUBT)
        return np.concatenate([*unknowns, truth.amplitudes])

    def quantities(self, arrays):
        """Everything that is ranked, by name; the arrays are led by a draw."""
        values, starts = arrays["value"], self.layout.starts(arrays["value"])
        judged = self.layout.numbers.items()
        found = {n: values[:, k] for k, (n, j) in enumerate(judged) if not isinstance(j, Certain)}
        for place, (name, ramp) in enumerate(
            zip(self.layout.ramp_names, self.layout.ramps, strict=True)
        ):
            if ramp.lag is not None and not isinstance(list(judged)[ramp.lag][1], Certain):
                found[f"{name}, event and lag"] = starts[:, place]
        for place, track in enumerate(self.layout.tracks):
            for regime, stated in enumerate(track.shares):
                if (stated > 0).sum() > 1:
                    state = int(np.flatnonzero(stated)[0])
                    name = f"share of {track.states[state]}, {track.name} {regime + 1}"
                    found[name] = arrays["share"][:, place, regime, state]
        features = list(self.maker.features())
        found |= {f"slip of {name}": arrays["slip"][:, k] for k, name in enumerate(features)}
        found["replaced, buckle"] = arrays["replaced"][:, features.index("buckle")]
        for place, name in enumerate(self.layout.anchor_names):
            found[f"mean of {name}"] = arrays["mean"][:, place]
        for place, gauge in enumerate(self.layout.gauges):
            found[f"spread of {gauge.name}"] = arrays["spread"][:, place]
        for place, lag in enumerate(self.layout.lags):
            if lag.learned:
                found[f"lag of {lag.mark}"] = arrays["lag"][:, place]
                found[f"ratio of {lag.mark}"] = arrays["lag_ratio"][:, place]
        return found | self.of_output(arrays) | {"log likelihood": arrays["log likelihood"]}

    def of_output(self, arrays):
        """What is ranked of the output, where it is learned."""
        if self.layout.walk is None:
            return {}
        found = {}
        for place, name in enumerate(("step", "deviation")):
            found[f"output, {name}"] = arrays["output_scale"][:, place]
        for year in range(4):
            share = arrays["output_share"][:, 12 * year : 12 * year + 12].sum(axis=1)
            found[f"output of {1930 + year}"] = share
        return found | {"output of 1931-06": arrays["output_share"][:, 17]}

    def replicate(self, seed, *, draws, kept, simulator=Simulator):
        """Draw a truth and a corpus, learn it, and set the truth beside the draws that are kept."""
        generator = np.random.default_rng(seed)
        truth = drawn_truth(self.maker, generator)
        tally = self.tally(simulator(self.maker, truth, generator).rows())
        density = density_of(self.layout, self.constants, tally)
        for accept in ACCEPT:  # as `learn` does, a divergence is answered by a higher acceptance
            chain = chains_of(density, draws=draws, accept=accept, seed=seed, count=1)
            if not chain.health.divergences:
                break
        at = np.linspace(0, draws - 1, kept).round().astype(int)
        drawn = density.quantities(chain.unknowns[:, at])
        drawn = {name: values[0] for name, values in drawn.items()}
        log_prior = density.log_prior(chain.unknowns[0, at])
        drawn["log likelihood"] = chain.stats["logp"].values[0, at] - log_prior
        true, unknowns = self.arrays_of_truth(truth), self.unknowns_of_truth(truth)
        for name, values in density.quantities(unknowns[None, None]).items():
            np.testing.assert_allclose(values[0, 0], true[name], atol=1e-3, err_msg=name)
        true["log likelihood"] = density(unknowns)[0] - density.log_prior(unknowns)
        ours = self.quantities(drawn)
        theirs = self.quantities({name: np.asarray(v)[None] for name, v in true.items()})
        return Replicate(
            names=tuple(ours),
            draws=np.stack(list(ours.values()), axis=1),
            truth=np.array([value[0] for value in theirs.values()]),
            divergences=int(chain.stats["diverging"].sum()),
        )


@dataclass(frozen=True, eq=False)
class Replicate:
    """What was true of one corpus, and what was learned from it."""

    names: tuple[str, ...]
    draws: np.ndarray  # (draw, quantity)
    truth: np.ndarray  # (quantity,)
    divergences: int


def ranks_of(replicates, seed=1):
    """Rank of each truth among its draws, shape (replicate, quantity); ties are broken by lot."""
    draws = np.stack([replicate.draws for replicate in replicates])
    truth = np.stack([replicate.truth for replicate in replicates])[:, None]
    below, equal = (draws < truth).sum(axis=1), (draws == truth).sum(axis=1)
    return below + np.random.default_rng(seed).integers(0, equal + 1)


def chances_of(ranks, kept, bins):
    """Chi-square p-value by quantity that its ranks are uniform on 0, ..., kept."""
    assert (kept + 1) % bins == 0
    counts = np.array([np.bincount(r * bins // (kept + 1), minlength=bins) for r in ranks.T])
    return stats.chisquare(counts, axis=1).pvalue
