"""Mixtures fitted by expectation and maximization to bootstraps of a corpus.

Shares are kernel-weighted counts, drawn toward the variant's own average over time, and that toward
the average of all (Dempster, Laird and Rubin 1977 for the steps).

A fit to the corpus as it is knows nothing of its own uncertainty. So a corpus is fitted several
times with random weights of its instruments (the Bayesian bootstrap), and the fits stand beside
each other as draws do. They come in pairs: where one fit gives an instrument much weight, the other
gives it little, so that the pair together leans on no instrument by chance.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from dating.arrays import Floats
from dating.learning.latent.mixture import Mixture, Settings
from dating.learning.latent.rows import UNSEEN, SightingRows
from dating.learning.latent.smoothing import kernel, scattering

FITS = 16
"""Bootstrap fits that stand beside each other, in pairs; a multiple of sixteen."""
MOST_STEPS = 50
_SETTLED = 1e-4


def fitted(
    rows: SightingRows, settings: Sequence[Settings], seed: int, fits: int = FITS
) -> tuple[Mixture, ...]:
    """Fit the mixture to several bootstraps of the corpus.

    Parameters
    ----------
    rows : SightingRows
        Securely dated instruments.
    settings : sequence of Settings
        Taken in turn, fit by fit.
    seed : int
        Seed of weights and starts.
    fits : int
        How many.

    Returns
    -------
    tuple of Mixture
        One for each.

    References
    ----------
    Rubin, D. B. (1981). The Bayesian bootstrap. *Annals of Statistics* 9(1), 130-134.
    doi:10.1214/aos/1176345338
    Dempster, A. P., Laird, N. M. and Rubin, D. B. (1977). Maximum likelihood from incomplete data
    via the EM algorithm. *Journal of the Royal Statistical Society B* 39(1), 1-38.
    """
    unlike, place = rows.unlike()

    def one(fit: int) -> Mixture:
        weights = np.bincount(place, weights=bootstrap_weights(len(rows), seed, fit))
        generator = np.random.default_rng((seed, fit, 1))
        return _Fitting(unlike, weights, settings[fit % len(settings)], generator).mixture()

    with ThreadPoolExecutor(os.cpu_count()) as pool:
        return tuple(pool.map(one, range(fits)))


def bootstrap_weights(rows: int, seed: int, fit: int) -> Floats:
    """Draw the weights of the instruments in one fit of a Bayesian bootstrap.

    Parameters
    ----------
    rows : int
        How many instruments.
    seed, fit : int
        Seed, and the number of the fit. Fits 0 and 1, 2 and 3 and so on are antithetic: a weight at
        a quantile p of its distribution in one is at 1 - p in the other.

    Returns
    -------
    ndarray of float64, shape (row,)
        Exponential with mean one.

    References
    ----------
    Hammersley, J. M. and Morton, K. W. (1956). A new Monte Carlo technique: antithetic variates.
    *Mathematical Proceedings of the Cambridge Philosophical Society* 52(3), 449-475.
    doi:10.1017/S0305004100031455

    Examples
    --------
    >>> first, second = (bootstrap_weights(10_000, 1, fit) for fit in (0, 1))
    >>> round(float(np.corrcoef(first, second)[0, 1]), 2)
    -0.65
    """
    weights = np.random.default_rng((seed, fit // 2)).exponential(size=rows)
    if fit % 2:
        weights = -np.log(-np.expm1(-np.maximum(weights, 1e-12)))
    return np.asarray(weights)


class _Fitting:
    """One run of expectation and maximization."""

    def __init__(
        self,
        rows: SightingRows,
        weights: Floats,
        settings: Settings,
        generator: np.random.Generator,
    ) -> None:
        self.rows, self.weights, self.settings = rows, weights, settings
        self.of_pair = self.weights[rows.pair_row]
        self.log_stated = np.log(rows.pair_stated * rows.prior[rows.pair_cell])
        self.drift = scattering(rows.axis, settings.drift * rows.axis.months)
        self.bend = kernel(rows.axis, settings.bend * rows.axis.months)
        self.middles = rows.axis.middles / rows.axis.months
        self.little = 0.5 * rows.axis.widths[:, None] / rows.axis.months / settings.variants
        self.codes = rows.codes[rows.pair_row]
        self.first = np.searchsorted(rows.pair_row, np.arange(len(rows)))
        self.start = self._start(generator)
        self.averages = [self._average(column) for column in range(len(rows.features))]
        self.shares: list[Floats] = [
            np.repeat(average[:, None, None], settings.variants, axis=2)
            for average in self.averages
        ]

    def mixture(self) -> Mixture:
        log, before = self.start, -np.inf
        for step in range(MOST_STEPS):
            belonging, reached = self._belonging(log)
            if step > 5 and reached - before < _SETTLED:
                break
            before = reached
            log = self._maximized(belonging)
        return Mixture(self.settings, self.weight, tuple(self.shares))

    def _belonging(self, log: Floats) -> tuple[Floats, float]:
        """Give the weight of each pair in each variant, and the mean log-likelihood."""
        rows = self.rows
        log = log + self.log_stated[:, None]
        top = np.maximum.reduceat(log.max(axis=1), self.first)
        belonging = np.exp(log - top[rows.pair_row, None])
        total = np.add.reduceat(belonging.sum(axis=1), self.first)
        reached = float(self.weights @ (np.log(total) + top) / self.weights.sum())
        return belonging * (self.of_pair / total[rows.pair_row])[:, None], reached

    def _maximized(self, belonging: Floats) -> Floats:
        """Renew weights and shares; give the log-likelihood of each pair by variant."""
        rows = self.rows
        weight = self.drift @ (self._by_cell @ belonging) + self.little
        self.weight = weight / weight.sum(axis=1, keepdims=True)
        log = np.log(self.weight)[rows.pair_cell]
        for column, pairs in enumerate(self._seen_pairs):
            counts = self._counts(column, belonging)
            self.shares[column] = self._smoothed(counts, self.averages[column])
            read, codes = self.shares[column], self.codes[pairs, column]
            if len(rows.readings[column]) > len(read):
                read = np.tensordot(rows.readings[column], read, 1)
            if len(read) * rows.cells < len(pairs):
                log[pairs] += np.log(read)[codes, rows.pair_cell[pairs]]
            else:
                log[pairs] += np.log(read[codes, rows.pair_cell[pairs]])
        return log

    def _counts(self, column: int, belonging: Floats) -> Floats:
        """Count states by cell and variant, shape (state, cell, variant)."""
        readings = self.rows.readings[column]
        shape = (len(readings), self.rows.cells, self.settings.variants)
        counts = (self._by_reading[column] @ belonging).reshape(shape)
        states = readings.shape[1]
        sure = counts[:states]
        if len(readings) > states:
            doubtful, shares = readings[states:], np.broadcast_to(self.shares[column], sure.shape)
            among = doubtful[:, :, None, None] * shares
            among = among / among.sum(axis=1, keepdims=True)
            sure = sure + (among * counts[states:, None]).sum(axis=0)
        return sure

    def _smoothed(self, counts: Floats, average: Floats) -> Floats:
        settings = self.settings
        over_time = counts.sum(axis=1, keepdims=True)
        own = over_time + settings.pull * average[:, None, None]
        own = own / own.sum(axis=0)
        near = self.bend @ counts
        near += settings.steady * own
        near /= near.sum(axis=0)
        return near

    def _average(self, column: int) -> Floats:
        """Give the shares of the states over all instruments."""
        readings, codes = self.rows.readings[column], self.rows.codes[:, column]
        seen = codes != UNSEEN
        counts = np.bincount(codes[seen], weights=self.weights[seen], minlength=len(readings))
        shares = counts @ (readings / readings.sum(axis=1, keepdims=True)) + 0.5
        return np.asarray(shares / shares.sum())

    def _start(self, generator: np.random.Generator) -> Floats:
        """Start from instruments picked at random: each pair belongs to those it is like."""
        rows = self.rows
        many = self.settings.variants > len(rows)
        chance = self.weights / self.weights.sum()
        picked = generator.choice(len(rows), self.settings.variants, replace=many, p=chance)
        first = self.first[picked]
        unlike = (rows.codes[:, None] != rows.codes[picked][None]).sum(axis=2)[rows.pair_row]
        when = self.middles[rows.pair_cell]
        away = np.abs(when[:, None] - when[first])
        return np.asarray(-2.0 * unlike - 8.0 * away)

    @cached_property
    def _seen_pairs(self) -> list[NDArray[np.int64]]:
        columns = range(len(self.rows.features))
        return [np.flatnonzero(self.codes[:, column] != UNSEEN) for column in columns]

    @cached_property
    def _by_cell(self) -> Floats:
        from scipy.sparse import csr_array  # noqa: PLC0415

        pairs = len(self.rows.pair_row)
        places = (self.rows.pair_cell, np.arange(pairs))
        by_cell: Floats = csr_array((np.ones(pairs), places), shape=(self.rows.cells, pairs))
        return by_cell

    @cached_property
    def _by_reading(self) -> list[Floats]:
        from scipy.sparse import csr_array  # noqa: PLC0415

        rows, pairs, matrices = self.rows, len(self.rows.pair_row), []
        for column, seen in enumerate(self._seen_pairs):
            place = self.codes[seen, column] * rows.cells + rows.pair_cell[seen]
            shape = (len(rows.readings[column]) * rows.cells, pairs)
            matrices.append(csr_array((np.ones(len(seen)), (place, seen)), shape=shape))
        return matrices
