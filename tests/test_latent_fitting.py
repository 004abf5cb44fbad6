"""Rows of a corpus, and mixtures fitted to them."""

from itertools import pairwise

import numpy as np
import pytest

from dating.learning.latent import fitting
from dating.learning.latent.fitting import bootstrap_weights, fitted
from dating.learning.latent.mixture import Mixture, Settings, month_posterior
from dating.learning.latent.rows import SightingRows, rows_of
from dating.learning.latent.time_cells import Cells, cells_between
from tests.enumeration import normalised
from tests.latent_worlds import (
    DOUBTFUL,
    FREE,
    HEADER,
    STATES,
    flat_output,
    rows_in,
    rows_together,
    true_curves,
    true_weight,
)
from tests.learning import written


@pytest.fixture
def corpus_of(tmp_path):
    def corpus_of(rows):
        return written(tmp_path, FREE, rows, HEADER)

    return corpus_of


# Cells and rows ------------------------------------------------------------------------------


def test_rows_hold_what_is_recorded_and_stated(corpus_of):
    maker, corpus = corpus_of(DOUBTFUL)
    output = np.linspace(1, 3, 240) / np.linspace(1, 3, 240).sum()
    rows = rows_of(corpus.references, maker, output)
    assert set(range(0, 241, 12)) <= set(rows.axis.edges)
    assert {15, 16, 28, 58, 121, 122} < set(rows.axis.edges)
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
    by_row = month_posterior(mixtures, rows, rows.prior)
    for row, reference in enumerate(corpus.references):
        slow = [
            [plain_likelihood(mixture, reference, cell) for cell in range(rows.cells)]
            for mixture in mixtures
        ]
        for mixture, likelihood in zip(mixtures, slow, strict=True):
            logs = mixture.log_likelihood(rows)[row]
            assert logs == pytest.approx(np.log(likelihood), rel=1e-12)
        joint = [sum(each) * p for each, p in zip(zip(*slow, strict=True), rows.prior, strict=True)]
        assert by_row[row] == pytest.approx(normalised(joint), rel=1e-12)


# Fitting -------------------------------------------------------------------------------------


def reached(mixture, rows, weights):
    """The weighted mean log-likelihood of sightings and dates."""
    likelihood = np.exp(mixture.log_likelihood(rows))
    joint = likelihood[rows.pair_row, rows.pair_cell] * rows.prior[rows.pair_cell]
    total = np.bincount(rows.pair_row, weights=joint * rows.pair_stated)
    return weights @ np.log(total) / weights.sum()


def spans(rows):
    """The months of each cell."""
    return [range(*cell) for cell in pairwise(rows.axis.edges)]


def plain_kernel(cell, other, reach):
    """Mean over the months of both cells."""
    near = [1 / (1 + ((a - b) / reach) ** 2) ** 2 for a in cell for b in other]
    return sum(near) / len(near)


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
    near_by = [[plain_kernel(a, b, 0.2 * 240) for b in spans(rows)] for a in spans(rows)]
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
                + sum(counts[s, other] * near_by[cell][other] for other in range(rows.cells))
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
    monkeypatch.setattr(SightingRows, "unlike", lambda rows: (rows, np.arange(len(rows))))
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
    assert rows.axis == Cells.even(240, 12)
    errors = errors_of(rows)
    assert {name for name, error in errors.items() if error > TOLERANCE[name]} == set()


# Bootstraps, cells and extremes --------------------------------------------------------------


def test_fits_come_in_pairs_in_which_what_weighs_much_in_one_weighs_little_in_the_other():
    first, second, third = (bootstrap_weights(4000, 3, fit) for fit in range(3))
    assert np.exp(-first) + np.exp(-second) == pytest.approx(1, abs=1e-9)
    assert abs(np.corrcoef(first, third)[0, 1]) < 0.05
    for weights in (first, second, third):
        assert weights.mean() == pytest.approx(1, abs=0.06)
        assert weights.var() == pytest.approx(1, abs=0.15)


def test_a_fit_with_some_variants_twice_is_the_same_fit(corpus_of):
    rows = rows_in(corpus_of(DOUBTFUL))
    (mixture,) = fitted(rows, [Settings(3)], seed=1, fits=1)
    wide = mixture.widened(8)
    assert wide.weight.shape[1] == 8
    assert wide.log_likelihood(rows) == pytest.approx(mixture.log_likelihood(rows), abs=1e-12)


def test_hundreds_of_features_are_taken_together_without_underflow():
    """Six hundred sightings, each of one chance in a thousand in one cell, in two thousand."""
    count, axis = 600, Cells.even(2, 1)
    share = np.array([[[0.001], [0.0005]], [[0.999], [0.9995]]])
    mixture = Mixture(Settings(), np.ones((2, 1)), (share,) * count)
    one = np.zeros(1, dtype=np.int64)
    rows = SightingRows(
        tuple(map(str, range(count))),
        (np.eye(2),) * count,
        np.zeros((1, count), dtype=np.int64),
        axis,
        axis,
        np.full(2, 0.5),
        one,
        one,
        np.ones(1),
    )
    (logs,) = mixture.log_likelihood(rows)
    assert logs == pytest.approx(count * np.log([0.001, 0.0005]))
    assert month_posterior([mixture], rows, rows.prior).tolist() == [[1.0, pytest.approx(0.0)]]


@pytest.mark.parametrize("most", [120, 80])
def test_what_is_learned_hardly_depends_on_how_finely_time_is_cut(corpus_of, monkeypatch, most):
    """Dates of months over twenty years, fitted by the month and in half or a third as many cells.

    Where cells are joined, shares lie on lines between them.
    """
    made = corpus_of(monthly(rows_together(400, 3)))
    fine = rows_in(made)
    assert len(fine.axis) > 180
    monkeypatch.setattr(
        "dating.learning.latent.rows.cells_between",
        lambda stretches, period: cells_between(stretches, period, most),
    )
    coarse = rows_in(made)
    assert len(coarse.axis) == most
    by_month = []
    for rows in (fine, coarse):
        (mixture,) = fitted(rows, [Settings(1, bend=0.1)], seed=1, fits=1)
        finely = mixture.interpolated(rows.axis.interpolation(rows.finer))
        by_month.append([shares[..., 0] @ rows.finer.spread() for shares in finely.shares])
    for one, other in zip(*by_month, strict=True):
        assert abs(one - other).max() < 0.015


def monthly(rows):
    """State the month of every date, spread over its year."""
    for place, (name, year, *rest) in enumerate(rows):
        yield (name, f"{year}-{place % 12 + 1:02d}", *rest)
