"""From a corpus to free-form shares, latent variants and a correction of levels."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from dating.learning.corpus import Corpus
from dating.learning.latent.choice import chosen, fold_of, left_out
from dating.learning.latent.found import Latent
from dating.learning.latent.mixture import FITS, fitted
from dating.learning.latent.rows import Cells, rows_of
from dating.learning.levels import Correction, learned_correction

type Floats = NDArray[np.float64]

FOLDS = 8


def found_in(
    corpus: Corpus,
    output: Floats,
    seed: int = 1,
    report: Callable[[str], None] = lambda _: None,
) -> Latent:
    """Find free-form shares and latent variants in a corpus.

    Parameters
    ----------
    corpus : Corpus
        Securely dated instruments; the maker file leaves shares of some features to be learned.
    output : ndarray of float64, shape (month,)
        Prior probability of each build month.
    seed : int
        Seed of folds and fits.
    report : callable
        Told in words what is being done.

    Returns
    -------
    Latent
        Variants only where they date instruments left out better.
    """
    rows = rows_of(corpus.references, corpus.maker, output)
    choice = chosen(rows, seed, report)
    mixtures = fitted(rows, choice.settings, seed)
    return Latent(rows.features, mixtures, rows.axis, choice.gain, choice.error)


def levels_in(corpus: Corpus, output: Floats, latent: Latent, seed: int = 1) -> Correction:
    """Learn a correction of levels where all evidence is free-form.

    Parameters
    ----------
    corpus : Corpus
        Securely dated instruments.
    output : ndarray of float64, shape (month,)
        Prior probability of each build month.
    latent : Latent
        What was found in the whole corpus; its settings are kept.
    seed : int
        Seed of folds and fits.

    Returns
    -------
    Correction
        What sets of stated levels held, of instruments left out of the fits.
    """
    rows = rows_of(corpus.references, corpus.maker, output)
    settings = [mixture.settings for mixture in latent.mixtures]
    by_cell = left_out(rows, settings, _folds(len(rows)), FITS, seed)
    dated = np.array([reference.dated for reference in corpus.references])
    stated = np.array([reference.likelihood(output) for reference in corpus.references])
    return learned_correction(_by_month(by_cell, rows.axis, output)[dated], stated[dated])


def fold_fits(corpus: Corpus, output: Floats, latent: Latent, seed: int) -> list[Latent]:
    """Fit the same mixture with each fold of the corpus left out.

    Parameters
    ----------
    corpus : Corpus
        The corpus.
    output : ndarray of float64, shape (month,)
        Prior probability of each build month.
    latent : Latent
        What was found in the whole corpus; its settings are kept.
    seed : int
        Seed of folds and fits.

    Returns
    -------
    list of Latent
        One for each fold of :func:`folds_of`.
    """
    rows, fold = rows_of(corpus.references, corpus.maker, output), folds_of(corpus, seed)
    settings = [mixture.settings for mixture in latent.mixtures]
    parts = range(int(fold.max()) + 1)
    return [
        replace(latent, mixtures=fitted(rows.chosen(fold != p), settings, seed + p)) for p in parts
    ]


def folds_of(corpus: Corpus, seed: int) -> NDArray[np.int64]:
    """Deal a corpus into folds.

    Parameters
    ----------
    corpus : Corpus
        The corpus.
    seed : int
        Seed of the deal.

    Returns
    -------
    ndarray of int64, shape (instrument,)
        The fold of each.
    """
    count = len(corpus.references)
    return fold_of(count, _folds(count), seed)


def _folds(count: int) -> int:
    return min(FOLDS, count)


def _by_month(by_cell: Floats, cells: Cells, output: Floats) -> Floats:
    """Spread each cell over its months as the output is spread."""
    cell = np.arange(len(output)) // cells.width
    within = cells.gathered(output)[cell]
    share = np.divide(output, within, out=np.zeros_like(output), where=within > 0)
    return np.asarray(by_cell[:, cell] * share)
