"""How many latent variants there are, and how smooth their shares."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dating.learning.latent import choice
from dating.learning.latent.choice import chosen, fold_of
from dating.learning.latent.fitting import FITS, bootstrap_weights, fitted
from dating.learning.latent.variants import Latent
from dating.words.levels import on_latent
from tests.latent_worlds import FREE, HEADER, rows_apart, rows_in, rows_together
from tests.learning import written

SEEDS = st.integers(0, 10**6)


@pytest.fixture
def corpus_of(tmp_path):
    def corpus_of(rows):
        return written(tmp_path, FREE, rows, HEADER)

    return corpus_of


# How many latent variants --------------------------------------------------------------------


def words_on(rows, choice):
    mixtures = fitted(rows, choice.settings, 1, fits=1)
    return on_latent(Latent(rows.features, mixtures, rows.axis, choice.gain, choice.error))


@pytest.mark.long
def test_what_goes_together_is_found(corpus_of):
    """In four corpora of this kind, seeds 0 to 3, it was found in all: two variants, or four."""
    rows = rows_in(corpus_of(rows_together(700, 1)))
    choice = chosen(rows)
    assert {settings.variants for settings in choice.settings} <= {2, 4}
    assert choice.gain > 2 * choice.error > 0
    assert "latent variants explain the 4 free-form features" in words_on(rows, choice)


@pytest.mark.parametrize(
    ("rows", "better"),
    [(rows_apart(700, 1), False), (rows_together(40, 1), True)],
    ids=["each for itself", "better by less than two standard errors"],
)
def test_what_does_not_go_together_is_not_found(corpus_of, rows, better):
    """In 8 corpora of 700, each feature for itself, nothing was ever found.

    Of 40 that do go together, two corpora of 8 were enough to tell.
    """
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


def test_each_fit_takes_what_scores_best_as_its_instruments_weigh(corpus_of, monkeypatch):
    """Two reaches date about as well, each other instruments: fits differ in which they take."""
    rows = rows_in(corpus_of(rows_together(40, 1)))
    halves = np.where(np.arange(40) % 2, 1.0, -1.0)

    def scores(settings, _):
        return np.where(settings.bend < 0.1, halves, -halves) - 9.0 * (settings.variants > 1)

    monkeypatch.setattr(choice, "left_out", lambda rows, settings, *rest: settings[0])
    monkeypatch.setattr(choice, "log_scores", scores)
    fine = []
    for fit, settings in enumerate(chosen(rows, seed=4).settings):
        weights = bootstrap_weights(40, 4, fit)
        assert (settings.bend < 0.1) == (weights @ halves > 0)
        fine.append(settings.bend < 0.1)
    assert len(fine) == FITS
    assert 0 < sum(fine) < FITS
