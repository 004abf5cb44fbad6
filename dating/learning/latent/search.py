"""From a corpus to free-form shares, latent variants and a correction of levels."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from dating.arrays import Floats
from dating.learning.corpus import Corpus
from dating.learning.latent.choice import chosen, fold_of
from dating.learning.latent.fitting import FITS, fitted
from dating.learning.latent.mixture import Mixture, Settings, month_posterior
from dating.learning.latent.rows import SightingRows, rows_of
from dating.learning.latent.time_cells import Cells
from dating.learning.latent.variants import Latent
from dating.learning.levels import Correction, learned_correction

FOLDS = 8
PLAIN_FITS = 64
"""Fits where there are no latent variants and nothing is sampled: they cost next to nothing."""


def found_in(
    corpus: Corpus,
    output: Floats,
    seed: int = 1,
    report: Callable[[str], None] = lambda _: None,
    plain_fits: int = PLAIN_FITS,
) -> Latent:
    """Find free-form shares and latent variants in a corpus.

    Shapes: output (month,).
    """
    rows = rows_of(corpus.references, corpus.maker, output)
    choice = chosen(rows, seed, report, plain_fits)
    mixtures = _fitted_finely(rows, choice.settings, seed)
    return Latent(rows.features, mixtures, rows.finer, choice.gain, choice.error)


def levels_in(corpus: Corpus, output: Floats, latent: Latent, seed: int = 1) -> Correction:
    """Learn a correction of levels where all evidence is free-form.

    Shapes: output (month,).
    """
    rows, fold = rows_of(corpus.references, corpus.maker, output), folds_of(corpus, seed)
    prior = rows.finer.gathered(output)
    by_cell = np.empty((len(rows), len(rows.finer)))
    for part, fit in enumerate(fold_fits(corpus, output, latent, seed)):
        in_fold = fold == part
        by_cell[in_fold] = month_posterior(fit.mixtures, rows.chosen(in_fold), prior)
    dated = np.array([reference.dated for reference in corpus.references])
    stated = np.array([reference.likelihood(output) for reference in corpus.references])
    return learned_correction(_by_month(by_cell, rows.finer, output)[dated], stated[dated])


def fold_fits(corpus: Corpus, output: Floats, latent: Latent, seed: int) -> list[Latent]:
    """Fit the same mixture with each fold of the corpus left out.

    Shapes: output (month,).
    """
    rows, fold = rows_of(corpus.references, corpus.maker, output), folds_of(corpus, seed)
    settings = [mixture.settings for mixture in latent.mixtures[:FITS]]
    fits = [
        _fitted_finely(rows.chosen(fold != part), settings, seed + part)
        for part in range(int(fold.max()) + 1)
    ]
    return [replace(latent, mixtures=mixtures, axis=rows.finer) for mixtures in fits]


def folds_of(corpus: Corpus, seed: int) -> NDArray[np.int64]:
    """Deal a corpus into folds.

    Shape: (instrument,).
    """
    count = len(corpus.references)
    return fold_of(count, min(FOLDS, count), seed)


def _fitted_finely(
    rows: SightingRows, settings: Sequence[Settings], seed: int
) -> tuple[Mixture, ...]:
    """Fit once for each of the settings, and give the fits on the finer cells."""
    along, most = rows.axis.interpolation(rows.finer), max(s.variants for s in settings)
    return tuple(
        mixture.interpolated(along).widened(most)
        for mixture in fitted(rows, settings, seed, len(settings))
    )


def _by_month(by_cell: Floats, cells: Cells, output: Floats) -> Floats:
    """Spread each cell over its months as the output is spread."""
    within = cells.gathered(output)[cells.of_month]
    share = np.divide(output, within, out=np.zeros_like(output), where=within > 0)
    return np.asarray(by_cell[:, cells.of_month] * share)
