"""Free-form shares and latent variants: silent until learned, then found, and summed over."""

import json
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st

import dating
from dating.calibration.scores import scores_of
from dating.learning.files import read_draws, write_learned
from dating.learning.latent import mixture as fitting
from dating.learning.latent.choice import chosen, fold_of
from dating.learning.latent.finding import found_in, levels_in
from dating.learning.latent.found import Latent, latent_from
from dating.learning.latent.mixture import Mixture, Settings, fitted, month_posterior
from dating.learning.latent.rows import Cells, Rows, rows_of
from dating.learning.layout import layout_of
from dating.learning.learned import (
    Learned,
    learned_from,
    learned_tables,
)
from dating.learning.levels import Correction, learned_correction
from dating.learning.sampling import learn, plan_of
from dating.words.learned import on_free_form
from dating.words.levels import on_latent
from tests.enumeration import Enumeration, mutual_information, normalised, ramp_in_month
from tests.inventing import invented_data
from tests.learning import written

SEEDS = st.integers(0, 10**6)
FEW = settings(max_examples=25)

FREE = """\
# Invented.
maker: Example Reed Works
product: concertinas
invented: true
period: 1930/1949
components:
  case:
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


# A world of two lines that nobody names -------------------------------------------------------


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


@pytest.fixture
def corpus_of(tmp_path):
    def corpus_of(rows):
        return written(tmp_path, FREE, rows, HEADER)

    return corpus_of


def flat_output(maker):
    return np.full(len(maker.period), 1 / len(maker.period))


def rows_in(made):
    maker, corpus = made
    return rows_of(corpus.references, maker, flat_output(maker))


# Before learning -----------------------------------------------------------------------------


@FEW
@given(SEEDS, st.data())
def test_free_form_features_say_nothing_before_learning(seed, data):
    maker, examination = invented_data(seed)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("dating.learning.learned.POINTS", 2)
        patch.setattr("dating.learning.learned.MOST_POINTS", 2)
        without = _dated(maker, examination)
        part = data.draw(st.sampled_from(sorted(maker["components"])))
        maker["components"][part]["features"]["free"] = {
            "ask": "Which?",
            "states": ["a", "b", "c"],
            "free_form": True,
            "slip": data.draw(st.sampled_from([0, 0.1])),
            "replaced": data.draw(st.sampled_from([0, 0.2])),
            "replacement": {"a": 0.9, "c": 0.1},
        }
        sight = data.draw(
            st.sampled_from(["a", {"one_of": ["b", "c"]}, {"state": "c", "sure": 0.7}])
        )
        examination["seen"]["free"] = sight
        made = _dated(maker, examination)
    if without is None:
        assert made is None
    else:
        assert made.probabilities == pytest.approx(without.probabilities, abs=1e-12)
        assert made.originality == pytest.approx(without.originality, abs=1e-12)


def _dated(maker, examination):
    """Date from plain data; None where no month allows what was seen."""
    try:
        return dating.estimate(
            dating.Maker.model_validate(maker), dating.Examination.model_validate(examination)
        )
    except dating.InputError as refusal:
        if "no month of the period" not in str(refusal):
            raise
        return None


COURSE = {"history": [{"state": "oak"}]}
RULES = {
    "with a history": ({"free_form": True, **COURSE}, "leave out history"),
    "with shares": (
        {"free_form": True, "shares_at": {"1930-01": {"oak": 1}}},
        "leave out history, shares_at",
    ),
    "with by_variant": ({"free_form": True, "by_variant": {"home": COURSE}}, "and by_variant"),
    "neither": ({}, "or free_form: true"),
    "neither, said": ({"free_form": False}, "or free_form: true"),
    "no truth": ({"free_form": "perhaps"}, "true or false is wanted here"),
}


@pytest.mark.parametrize(("keys", "message"), RULES.values(), ids=RULES)
def test_a_feature_is_free_form_or_has_a_course(tmp_path, keys, message):
    """Refused with the line of the feature or the key."""
    file = tmp_path / "x.yaml"
    file.write_text(
        "maker: X\nproduct: x\nperiod: 1930/1931\n"
        "variants: {states: [home, stage], shares_at: {1930-01: {home: 1}}}\n"
        "components:\n  case:\n    features:\n"
        f"      wood: {{ask: Which?, states: [oak], {json.dumps(keys)[1:-1]}}}\n",
        encoding="utf-8",
    )
    with pytest.raises(dating.InputError, match=message) as refusal:
        dating.read_maker(file)
    (problem,) = refusal.value.problems
    assert problem.line == 8
    assert problem.key.startswith("components.case.features.wood")


def test_a_component_gives_a_free_form_feature_no_course_by_variant(tmp_path):
    file = tmp_path / "x.yaml"
    file.write_text(
        "maker: X\nproduct: x\nperiod: 1930/1931\n"
        "variants: {states: [home, stage], shares_at: {1930-01: {home: 1}}}\n"
        "components:\n  case:\n"
        "    by_variant: {home: {wood: {history: [{state: oak}]}}}\n"
        "    features:\n      wood: {ask: Which?, states: [oak], free_form: true}\n",
        encoding="utf-8",
    )
    with pytest.raises(dating.InputError, match="leave out its course by_variant") as refusal:
        dating.read_maker(file)
    assert refusal.value.problems[0].line == 7


# Cells and rows ------------------------------------------------------------------------------


@given(st.integers(1, 200), st.sampled_from([1, 2, 5, 12]))
def test_cells_hold_every_month_once(months, width):
    cells = Cells(months, width)
    by_month = np.arange(1.0, months + 1)
    by_cell = [by_month[start : start + width].sum() for start in range(0, months, width)]
    assert cells.gathered(by_month).tolist() == by_cell
    assert len(cells) == len(by_cell)


@given(st.integers(1, 200), st.sampled_from([1, 2, 5, 12]))
def test_cells_are_spread_over_their_own_months(months, width):
    cells = Cells(months, width)
    weights = cells.spread()
    assert weights.shape == (len(cells), months)
    assert weights.sum(axis=0).tolist() == [1.0] * months
    of_month = np.arange(len(cells)) @ weights
    assert of_month.tolist() == [month // width for month in range(months)]


def test_rows_hold_what_is_recorded_and_stated(corpus_of):
    maker, corpus = corpus_of(DOUBTFUL)
    output = np.linspace(1, 3, 240) / np.linspace(1, 3, 240).sum()
    rows = rows_of(corpus.references, maker, output)
    assert rows.axis == Cells(240, 9)
    assert rows.features == tuple(STATES)
    stated = np.zeros((len(rows), rows.cells))
    stated[rows.pair_row, rows.pair_cell] = rows.pair_stated
    for row, reference in enumerate(corpus.references):
        for column, name in enumerate(STATES):
            weights = _weights(reference.examination.seen.get(name), STATES[name])
            code = rows.codes[row, column]
            assert (weights is None) == (code == -1)
            if weights is not None:
                assert rows.readings[column][code].tolist() == pytest.approx(weights)
        if reference.trust == 1:
            by_cell = rows.axis.gathered(reference.window * output) / rows.axis.gathered(output)
            assert stated[row] == pytest.approx(by_cell, abs=1e-5)
    trusts = {r.examination.instrument: r.trust for r in corpus.references}
    assert trusts["D-7"] == 0
    assert np.ptp(stated[6]) < 1e-12


def _weights(sight, states):
    """The examiner's weights from their definition; None where nothing is said."""
    if sight is None or sight.other is not None:
        return None
    if sight.one_of is not None:
        return [float(state in sight.one_of) for state in states]
    sure = 1.0 if sight.sure is None else sight.sure
    rest = (1 - sure) / (len(states) - 1)
    return [sure if state == sight.state else rest for state in states]


def plain_likelihood(mixture, reference, cell):
    """Sum over the latent variants of share times the product of what was seen."""
    total = 0.0
    for k in range(mixture.weight.shape[1]):
        term = mixture.weight[cell, k]
        for column, name in enumerate(STATES):
            weights = _weights(reference.examination.seen.get(name), STATES[name])
            if weights is not None:
                shares = mixture.shares[column][:, cell, k]
                term *= sum(r * share for r, share in zip(weights, shares, strict=True))
        total += term
    return total


def test_likelihood_and_posterior_of_a_mixture_are_plain_loops(corpus_of):
    maker, corpus = corpus_of(DOUBTFUL)
    rows = rows_of(corpus.references, maker, flat_output(maker))
    mixtures = fitted(rows, [Settings(3), Settings(2)], seed=1, fits=2)
    assert [mixture.settings.variants for mixture in mixtures] == [3, 2]
    by_row = month_posterior(mixtures, rows)
    for row, reference in enumerate(corpus.references):
        slow = [
            [plain_likelihood(mixture, reference, cell) for cell in range(rows.cells)]
            for mixture in mixtures
        ]
        for mixture, likelihood in zip(mixtures, slow, strict=True):
            assert mixture.likelihood(rows)[row] == pytest.approx(likelihood, rel=1e-12)
        joint = [sum(each) * p for each, p in zip(zip(*slow, strict=True), rows.prior, strict=True)]
        assert by_row[row] == pytest.approx(normalised(joint), rel=1e-12)


# Fitting -------------------------------------------------------------------------------------


def reached(mixture, rows, weights):
    """The weighted mean log-likelihood of sightings and dates."""
    joint = mixture.likelihood(rows)[rows.pair_row, rows.pair_cell] * rows.prior[rows.pair_cell]
    total = np.bincount(rows.pair_row, weights=joint * rows.pair_stated)
    return weights @ np.log(total) / weights.sum()


def test_the_first_step_of_a_fit_is_a_plain_loop(corpus_of, monkeypatch):
    """Counts spread over cells and doubtful states, drawn to averages, smoothed by a kernel."""
    _, corpus = made = corpus_of(DOUBTFUL)
    rows, settings = rows_in(made), Settings(1, bend=0.2, steady=1.5, pull=0.7)
    monkeypatch.setattr(fitting, "MOST_STEPS", 1)
    monkeypatch.setattr(
        fitting._Fitting, "_start", lambda run, generator: np.zeros((len(run.codes), 1))
    )
    (mixture,) = fitted(rows, [settings], seed=5, fits=1)
    weights = np.random.default_rng((5, 0)).exponential(size=len(rows))
    stated = np.zeros((len(rows), rows.cells))
    stated[rows.pair_row, rows.pair_cell] = rows.pair_stated
    for column, (name, states) in enumerate(STATES.items()):
        read = [
            _weights(reference.examination.seen.get(name), states)
            for reference in corpus.references
        ]
        seen = [row for row, r in enumerate(read) if r is not None]
        average = [
            0.5 + sum(weights[i] * read[i][s] / sum(read[i]) for i in seen)
            for s in range(len(states))
        ]
        average = normalised(average)
        counts = np.zeros((len(states), rows.cells))
        for i in seen:
            among = normalised([r * a for r, a in zip(read[i], average, strict=True)])
            when = normalised([p * q for p, q in zip(stated[i], rows.prior, strict=True)])
            for s, share in enumerate(among):
                for cell, chance in enumerate(when):
                    counts[s, cell] += weights[i] * share * chance
        own = normalised([0.7 * a + sum(each) for a, each in zip(average, counts, strict=True)])
        for cell in range(rows.cells):
            near = [
                1.5 * own[s]
                + sum(
                    counts[s, other] / (1 + ((cell - other) / (0.2 * rows.cells)) ** 2) ** 2
                    for other in range(rows.cells)
                )
                for s in range(len(states))
            ]
            found = mixture.shares[column][:, cell, 0].tolist()
            assert found == pytest.approx(normalised(near), rel=1e-10)


@pytest.mark.parametrize("variants", [1, 2, 5])
def test_each_step_of_the_fit_comes_nearer(corpus_of, monkeypatch, variants):
    """The steps are those of a smoothed and so not of an exact maximization: nearly no fall."""
    rows = rows_in(corpus_of([*DOUBTFUL, *rows_together(150, 3)]))
    weights = np.random.default_rng((5, 0)).exponential(size=len(rows))
    path = []
    for steps in range(1, 16):
        monkeypatch.setattr(fitting, "MOST_STEPS", steps)
        (mixture,) = fitted(rows, [Settings(variants)], seed=5, fits=1)
        path.append(reached(mixture, rows, weights))
    assert np.diff(path).min() > -0.002
    assert variants == 1 or path[-1] > path[0] + 0.02


@pytest.mark.parametrize("variants", [1, 2])
def test_instruments_that_are_alike_are_fitted_once_and_count_as_often(
    corpus_of, monkeypatch, variants
):
    rows = rows_in(corpus_of([*DOUBTFUL, *rows_together(600, 3)]))
    unlike, place = rows.unlike()
    assert len(unlike) < len(rows) / 2
    assert np.array_equal(unlike.codes[place], rows.codes)

    def start(run, generator):
        """A start that does not depend on which of two that are alike is picked."""
        first = run.rows.codes[run.rows.pair_row, 0] == 0
        return np.stack([first * 1.0, 1.0 - first], axis=1)[:, : run.settings.variants]

    monkeypatch.setattr(fitting._Fitting, "_start", start)
    (once,) = fitted(rows, [Settings(variants)], seed=2, fits=1)
    monkeypatch.setattr(Rows, "unlike", lambda rows: (rows, np.arange(len(rows))))
    (each,) = fitted(rows, [Settings(variants)], seed=2, fits=1)
    assert each.weight == pytest.approx(once.weight, abs=1e-9)
    for ours, theirs in zip(once.shares, each.shares, strict=True):
        assert theirs == pytest.approx(ours, abs=1e-9)


def test_fits_are_distributions_and_the_seed_settles_them(corpus_of):
    rows = rows_in(corpus_of([*DOUBTFUL, *rows_together(60, 3)]))
    first, again, other = (fitted(rows, [Settings(3)], seed, fits=2) for seed in (4, 4, 5))
    for one, same, another in zip(first, again, other, strict=True):
        assert np.array_equal(one.weight, same.weight)
        assert abs(one.weight - another.weight).max() > 0.01
        assert one.weight.sum(axis=1) == pytest.approx(1)
        for ours, theirs in zip(one.shares, same.shares, strict=True):
            assert np.array_equal(ours, theirs)
            assert ours.min() > 0
            assert ours.sum(axis=0) == pytest.approx(1)
    assert abs(first[0].weight - first[1].weight).max() > 0.01


TOLERANCE = {"wood": 0.06, "leather": 0.08, "screw": 0.07, "clasp": 0.10, "weight": 0.08}
"""Largest mean absolute errors in 40 simulated corpora (seeds 0 to 39), rounded up."""


def errors_of(rows):
    """Mean absolute error of the curves of two latent variants, and of their weight."""
    curves, weight = true_curves(), true_weight()
    off = {name: [] for name in TOLERANCE}
    for mixture in fitted(rows, [Settings(2)], seed=1, fits=8):
        brown = mixture.shares[1][0].mean(axis=0)
        order = [0, 1] if brown[0] > brown[1] else [1, 0]
        for name, shares in zip(STATES, mixture.shares, strict=True):
            found = np.swapaxes(shares[:, :, order], 1, 2)
            off[name].append(abs(found - curves[name]).mean())
        off["weight"].append(abs(mixture.weight[:, order[1]] - weight).mean())
    return {name: float(np.mean(each)) for name, each in off.items()}


def test_known_curves_are_recovered(corpus_of):
    rows = rows_in(corpus_of(rows_together(1500, 1)))
    assert rows.axis == Cells(240, 12)
    errors = errors_of(rows)
    assert {name for name, error in errors.items() if error > TOLERANCE[name]} == set()


# How many latent variants --------------------------------------------------------------------


def words_on(rows, choice):
    mixtures = fitted(rows, choice.settings, 1, fits=1)
    return on_latent(Latent(rows.features, mixtures, rows.axis, choice.gain, choice.error))


def test_what_goes_together_is_found(corpus_of):
    """In 12 corpora of this kind, seeds 0 to 11, it was found in 10."""
    rows = rows_in(corpus_of(rows_together(700, 1)))
    choice = chosen(rows)
    assert choice.settings[0].variants > 1
    assert choice.gain > 2 * choice.error > 0
    assert "2 latent variants stand behind the 4 free-form features" in words_on(rows, choice)
    assert chosen(rows).settings == choice.settings


@pytest.mark.parametrize(
    ("rows", "better"),
    [(rows_apart(700, 1), False), (rows_together(40, 1), False), (rows_apart(300, 0), True)],
    ids=["each for itself", "too few to tell", "better by less than two standard errors"],
)
def test_what_does_not_go_together_is_not_found(corpus_of, rows, better):
    """In 20 corpora of 700, each feature for itself, and in 8 of 40 nothing was ever found."""
    rows = rows_in(corpus_of(list(rows)))
    choice = chosen(rows)
    assert {settings.variants for settings in choice.settings} == {1}
    assert (choice.gain > 0) == better
    assert "no latent variants behind the 4 free-form features" in words_on(rows, choice)


@given(st.integers(1, 60), st.integers(1, 9), SEEDS)
def test_folds_are_of_nearly_equal_size(rows, folds, seed):
    counts = np.bincount(fold_of(rows, folds, seed), minlength=folds)
    assert counts.sum() == rows
    assert np.ptp(counts) <= 1


# Levels --------------------------------------------------------------------------------------


@FEW
@given(SEEDS, st.floats(0.3, 4), st.floats(0.3, 4))
def test_a_correction_keeps_the_order_of_months_and_the_sum(seed, first, second):
    generator = np.random.default_rng(seed)
    posterior = generator.dirichlet(np.full(20, 0.3), 5)
    held = np.sort(generator.beta(first, second, 501))
    held = np.concatenate([[0], np.cumsum(np.sort(np.diff(held, prepend=0))[::-1])])
    made = Correction(held / held[-1], 5).apply(posterior)
    assert made.sum(axis=1) == pytest.approx(1, abs=1e-12)
    order = np.argsort(-posterior, axis=1)
    assert np.diff(np.take_along_axis(made, order, axis=1), axis=1).max() <= 1e-12


@pytest.mark.parametrize("power", [0.5, 1.0])
def test_levels_are_corrected_to_what_they_held(power):
    """Dates are drawn from posteriors, which then are made too wide, or left as they are."""
    generator = np.random.default_rng(3)
    true = generator.dirichlet(np.full(12, 0.4), 3000)
    month = (true.cumsum(axis=1) < generator.random(3000)[:, None]).sum(axis=1)
    stated = true**power / (true**power).sum(axis=1, keepdims=True)
    correction = learned_correction(stated, np.eye(12)[month])
    held, after = (
        scores_of(each, np.eye(12)[month]) for each in (stated, correction.apply(stated))
    )
    for level in (0.5, 0.8, 0.9):
        assert correction.at(level) == pytest.approx(held.covered(level), abs=0.03)
        assert after.covered(level) == pytest.approx(level, abs=0.03)
    assert (abs(held.covered(0.5) - 0.5) > 0.05) == (power != 1.0)


# Dating with what was found ------------------------------------------------------------------

MANY = """\
# Invented.
maker: Example Reed Works
product: concertinas
invented: true
period: 1930/1931
output: [{during: 1930, made: 100}, {during: 1931, made: 300}]
events:
  new-shop:
    what: move to a new shop
    when: {earliest: 1930-06, likely: 1930-09, latest: 1931-02}
variants:
  states: [home, stage]
  history:
    - {shares: {home: 0.8, stage: 0.2}}
    - {shares: {home: 0.3, stage: 0.7}, with: new-shop, overlap: 5}
components:
  case:
    swapped: 0.2
    donors: [{during: 1930, share: 1}]
    features:
      wood: {ask: Which wood?, states: [oak, ash, elm], free_form: true, replaced: 0.1}
      ends:
        ask: Which ends?
        states: [plain, cut]
        slip: 0.03
        replaced: 0.05
        replacement: {cut: 1}
        history:
          - state: plain
          - {state: cut, with: new-shop, lag: 1, overlap: {shortest: 1, likely: 3, longest: 6}}
    marks:
      pencil: {ask: Any date?, lag: {shortest: 0, likely: 1, longest: 4}, replaced: 0.02}
  straps:
    features:
      leather: {ask: Which?, states: [brown, black], free_form: true}
      screw: {ask: Which?, states: [round, flat], free_form: true}
      edge:
        ask: Which edge?
        states: [raw, sewn]
        slip: 0.02
        by_variant:
          home: {history: [{shares: {raw: 0.9, sewn: 0.1}}]}
          stage: {history: [{state: raw}, {state: sewn, first_use: 1930-11, overlap: 3}]}
"""
SEEN = {"wood": "ash", "leather": {"one_of": ["brown", "black"]}, "ends": "cut", "edge": "sewn"}
DOUBT = {"wood": {"state": "oak", "sure": 0.6}, "screw": {"other": "square"}}
MORE = {
    "marks": {"pencil": "1930-08"},
    "documents": [{"what": "bill", "not_before": "1930-05", "trust": 0.9}],
}
EXAMINED = {
    "nothing": {},
    "features": {"seen": SEEN},
    "all": {"seen": SEEN, **MORE},
    "doubt and a variant": {"seen": SEEN | DOUBT, "variant": "stage", **MORE},
    "an unsure variant": {"seen": {"wood": "elm"}, "variant": {"state": "home", "sure": 0.7}},
}
DRAWS, FITS, LATENT = 8, 2, 3


@pytest.fixture(scope="module")
def many(tmp_path_factory):
    file = tmp_path_factory.mktemp("many") / "many.yaml"
    file.write_text(MANY, encoding="utf-8")
    return dating.read_maker(file)


def some_latent(seed=1, width=5, latent=LATENT):
    """Fits with arbitrary weights and shares."""
    generator = np.random.default_rng(seed)
    axis = Cells(24, width)
    mixtures = tuple(
        Mixture(
            Settings(latent),
            generator.dirichlet(np.ones(latent), len(axis)),
            tuple(
                np.moveaxis(generator.dirichlet(np.full(n, 0.7), (len(axis), latent)), -1, 0)
                for n in (3, 2, 2)
            ),
        )
        for _ in range(FITS)
    )
    return Latent(("wood", "leather", "screw"), mixtures, axis, 0.1, 0.01)


def some_learned(maker, latent, seed=1):
    """Draws around the judgements, with shares and chances that differ from draw to draw."""
    generator, layout = np.random.default_rng(seed), layout_of(maker)
    values = [judged.quantile(generator.random(DRAWS)) for judged in layout.numbers.values()]
    depth = max(len(track.shares) for track in layout.tracks)
    shares = np.zeros((DRAWS, len(layout.tracks), depth, 2))
    for place, track in enumerate(layout.tracks):
        moved = track.shares * np.exp(generator.normal(size=(DRAWS, *track.shares.shape)))
        shares[:, place, : len(track.shares)] = moved / moved.sum(axis=-1, keepdims=True)
    features = len(maker.features())
    return Learned(
        maker_fingerprint=maker.origin.fingerprint,
        corpus_fingerprint="",
        numbers=tuple(layout.numbers),
        values=np.array(values).T,
        shares=shares,
        slip=generator.random((DRAWS, features)) * 0.1,
        replaced=generator.random((DRAWS, features)) * 0.1,
        means=np.zeros((DRAWS, 0)),
        seed=1,
        latent=latent,
    )


class Slow(Enumeration):
    """Draws, variants, latent variants, donors and months, one by one.

    A variant here is a pair: the name, and the number of the latent variant.
    """

    def __init__(self, maker, examination, learned):
        self.learned, self.latent = learned, learned.latent
        self.tracks = [(track.name, track.variant) for track in layout_of(maker).tracks]
        weights = np.full(DRAWS, 1 / DRAWS)
        super().__init__(maker, examination, SimpleNamespace(shared={}, weights=weights))

    @property
    def variants(self):
        return [(name, k) for name in self.named for k in range(self.latent.variants)]

    @variants.setter
    def variants(self, names):
        self.named = names

    def mixture(self, n):
        return self.latent.mixtures[n // (DRAWS // FITS)]

    def at(self, by_cell, t):
        """What holds in the cell of a month."""
        return float(by_cell[t // self.latent.axis.width])

    def number(self, name, n):
        return float(self.learned.values[n, self.learned.numbers.index(name)])

    def ramp(self, label, regime, n, t):
        start = (
            self.number(f"event {regime.event}", n) + self.number(f"{label}, lag", n)
            if regime.event
            else self.number(f"{label}, first use", n)
        )
        overlap = (self.number(f"{label}, overlap", n) ** 2 + 0.75**2) ** 0.5
        return ramp_in_month(start, overlap, t, "linear")

    def built(self, name, variant, course, n, t):
        """P(state | t) of one course in one draw."""
        label = name if variant is None else f"{name} of {variant}"
        place = self.tracks.index((name, variant))
        total, reached = np.zeros(2), 1.0
        for j in range(len(course.history)):
            goes_on = 0.0
            if j + 1 < len(course.history):
                goes_on = self.ramp(f"{label}, regime {j + 2}", course.history[j + 1], n, t)
            total += reached * (1 - goes_on) * self.learned.shares[n, place, j]
            reached *= goes_on
        return total

    def _variant_shares(self):
        made = []
        for n in self.draws:
            rows = []
            for name, k in self.variants:
                row = []
                for t in self.months:
                    named = self.built("variants", None, self.maker.variants, n, t)
                    weight = self.at(self.mixture(n).weight[:, k], t)
                    row.append(named[self.named.index(name)] * weight)
                rows.append(row)
            made.append(rows)
        return made

    def _feature(self, name, part, feature, sight):
        states = list(feature.states)
        r = self._weights(sight, states)
        place = list(self.maker.features()).index(name)
        made = []
        for n in self.draws:
            rows = []
            for variant, k in self.variants:
                row = []
                for t in self.months:
                    if feature.free_form:
                        shares = self.mixture(n).shares[self.latent.features.index(name)]
                        p = [self.at(shares[s, :, k], t) for s in range(len(states))]
                        row.append(sum(a * b for a, b in zip(r, p, strict=True)))
                        continue
                    own = variant if feature.by_variant else None
                    share = self.built(name, own, feature.course_of(variant), n, t)
                    e, rho = self.learned.slip[n, place], self.learned.replaced[n, place]
                    q = feature.replacement or {state: 1 / len(states) for state in states}
                    row.append(
                        sum(
                            r[s] * (1 - rho) * ((1 - e) * share[s] + e / len(states))
                            + r[s] * rho * q.get(state, 0.0)
                            for s, state in enumerate(states)
                        )
                    )
                rows.append(row)
            made.append(rows)
        return made, 0.0

    def _weights(self, sight, states):
        if isinstance(states[0], tuple):
            by_name = super()._weights(sight, self.named)
            return [by_name[self.named.index(name)] for name, _ in states]
        return super()._weights(sight, states)

    def by_name(self):
        """P(evidence, named variant, month): latent variants summed over."""
        joint, many = self.joint(), self.latent.variants
        return [
            [sum(column) for column in zip(*joint[start : start + many], strict=True)]
            for start in range(0, len(joint), many)
        ]


def examined(**more):
    return dating.Examination.model_validate({"instrument": "X", "maker": "many", **more})


def close(values):
    return pytest.approx(values, abs=1e-10, rel=0)


@pytest.mark.parametrize("seen", EXAMINED.values(), ids=EXAMINED)
def test_dating_sums_over_draws_variants_latent_variants_donors_and_months(many, seen):
    learned = some_learned(many, some_latent())
    made = dating.estimate(many, examined(**seen), learned=learned)
    slow = Slow(many, examined(**seen), learned)
    assert made.probabilities.tolist() == close(normalised(slow.by_month()))
    assert made.variant_chances == close(
        dict(zip(["home", "stage"], normalised([sum(row) for row in slow.by_name()]), strict=True))
    )
    for part in many.components:
        assert made.originality[part] == close(slow.original(part) / slow.evidence())
        assert made.own_month(part).tolist() == close(normalised(slow.own_months(part)))


def test_advice_is_the_gain_of_each_look_that_is_left(many):
    learned = some_learned(many, some_latent())
    examination = examined(seen={"ends": "cut", "leather": "black"})
    given = {
        advice.name: advice for advice in dating.estimate(many, examination, learned=learned).advice
    }
    slow = Slow(many, examination, learned)
    assert set(given) == {"wood", "screw", "edge", "pencil", "variant"}
    for name in ("wood", "screw", "edge"):
        by_month, by_origin = slow.answers(name)
        assert given[name].bits == close(mutual_information(by_month))
        assert list(given[name].answers.values()) == close(
            normalised([sum(row) for row in by_month])
        )
        if name == "wood":
            assert given[name].originality_bits == close(mutual_information(by_origin))
    assert given["variant"].bits == close(mutual_information(slow.by_name()))


def test_ramps_beside_free_form_features_are_as_they_were(many):
    learned = some_learned(many, some_latent())
    tables = learned_tables(many, learned)
    alone = learned_tables(many, replace(learned, latent=None))
    for name in ("ends", "edge"):
        by_state, before = (t.features[name].by_state() for t in (tables, alone))
        assert by_state.shape[2] == (before.shape[2] if name == "ends" else 2 * LATENT)
        for k in range(LATENT if name == "edge" else 1):
            here = by_state[:, :, k::LATENT] if name == "edge" else by_state
            assert np.array_equal(here, before)
    only = examined(seen={"ends": "cut", "edge": "sewn"}, **MORE)
    made, before = (
        dating.estimate(many, only, learned=each)
        for each in (learned, replace(learned, latent=None))
    )
    assert made.probabilities == pytest.approx(before.probabilities, abs=1e-12)
    assert made.variant_chances == pytest.approx(before.variant_chances, abs=1e-12)


def test_many_at_once_are_as_one_by_one(many):
    learned = some_learned(many, some_latent())
    learned = replace(learned, correction=Correction(np.linspace(0, 1, 501) ** 0.8, 50))
    seen = [examined(**each) for each in EXAMINED.values()]
    made = dating.posteriors(many, seen, learned)
    for row, examination in zip(made.values, seen, strict=True):
        alone = dating.estimate(many, examination, learned=learned)
        assert row == pytest.approx(alone.probabilities, abs=1e-9)


@FEW
@given(st.sampled_from([1, 2, 7, 12]), st.integers(1, 4), SEEDS)
def test_tables_hold_distributions_whatever_was_found(many, width, latent, seed):
    learned = some_learned(many, some_latent(seed, width, latent), seed)
    tables = learned_tables(many, learned)
    assert tables.prior.shape == (DRAWS, 2 * latent, 24)
    assert tables.prior.sum() == pytest.approx(1)
    for name in many.features():
        assert tables.feature(name).sum("state").values == pytest.approx(1)
    for donor in tables.donors.values():
        assert donor.sum(axis=(1, 2)) == pytest.approx(1)


# Files ---------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    """A small corpus, learned from once."""
    rows = [*DOUBTFUL, *rows_together(50, 2)]
    maker, corpus = written(tmp_path_factory.mktemp("found"), FREE, rows, HEADER)
    plan = plan_of(maker, corpus)
    return SimpleNamespace(maker=maker, corpus=corpus, plan=plan, tree=learn(plan, seed=3))


def test_where_nothing_else_is_open_nothing_is_sampled(found):
    learned = learned_from(found.tree)
    assert learned.numbers == ()
    assert learned.latent.features == tuple(STATES)
    assert learned.correction.instruments == len(found.corpus.references)


def test_beside_other_features_levels_are_left_to_calibrate(tmp_path):
    width = "    measurements: {width: {unit: mm, spread: 2, mean: {1930-01: 160, 1949-12: 150}}}\n"
    plan = plan_of(*written(tmp_path, FREE + width, rows_together(60, 1), HEADER))
    learned = learned_from(learn(plan, seed=3))
    assert learned.correction is None
    assert "dating calibrate --correct" in " ".join(on_free_form(learned))


def test_shares_alone_are_learned_where_no_date_is_uncertain(found):
    """As for variants in shares that were counted: there are tracks, and no numbers."""
    dims = ("chain", "draw")
    posterior = xr.Dataset(
        {
            "value": ((*dims, "number"), np.zeros((2, 8, 0))),
            "share": ((*dims, "track", "regime", "state"), np.full((2, 8, 1, 1, 2), 0.5)),
        },
        {"number": np.array([], dtype=str)},
    )
    tree = found.tree.copy()
    tree["posterior"] = xr.DataTree(posterior)
    learned = learned_from(tree)
    assert learned.numbers == ()
    assert learned.values.shape == (16, 0)
    assert learned.shares.shape == (16, 1, 1, 2)


def test_what_was_found_comes_back_from_its_file(found, tmp_path):
    write_learned(found.tree, tmp_path / "found.nc")
    before, after = learned_from(found.tree), read_draws(tmp_path / "found.nc", found.maker)
    for name in ("features", "axis", "gain", "error", "variants"):
        assert getattr(after.latent, name) == getattr(before.latent, name)
    for one, other in zip(before.latent.mixtures, after.latent.mixtures, strict=True):
        assert one.settings == other.settings
        assert np.array_equal(one.weight, other.weight)
        assert all(map(np.array_equal, one.shares, other.shares))
    assert np.array_equal(before.correction.held, after.correction.held)
    assert after.correction.instruments == before.correction.instruments
    seen = [reference.examination for reference in found.corpus.references[:9]]
    ours, theirs = (dating.posteriors(found.maker, seen, one) for one in (before, after))
    assert np.array_equal(ours, theirs)


def test_the_settings_of_every_fit_come_back():
    latent = some_latent()
    mixtures = (
        replace(latent.mixtures[0], settings=Settings(LATENT, 0.01, 0.02, 3.0, 4.0)),
        latent.mixtures[1],
    )
    again = latent_from(replace(latent, mixtures=mixtures).dataset())
    assert [m.settings for m in again.mixtures] == [m.settings for m in mixtures]
    assert again.features == latent.features
    assert again.axis == latent.axis


def test_dating_with_what_was_found_is_the_mixture_itself(found):
    learned = replace(learned_from(found.tree), correction=None)
    rows = rows_of(found.corpus.references, found.maker, found.plan.tables.output)
    by_cell = month_posterior(learned.latent.mixtures, rows)
    by_month = dating.posteriors(
        found.maker, [reference.examination for reference in found.corpus.references], learned
    ).values
    assert rows.axis.width > 1
    assert rows.axis.gathered(by_month) == pytest.approx(by_cell, abs=1e-5)


def test_the_seed_settles_what_is_found(found):
    output = found.plan.tables.output
    first, other = (found_in(found.corpus, output, seed) for seed in (3, 4))
    levels = [levels_in(found.corpus, output, one, seed) for one, seed in ((first, 3), (other, 4))]
    kept = learned_from(found.tree)
    assert all(
        np.array_equal(one.weight, same.weight)
        for one, same in zip(first.mixtures, kept.latent.mixtures, strict=True)
    )
    assert np.array_equal(levels[0].held, kept.correction.held)
    assert not np.array_equal(levels[1].held, kept.correction.held)
