"""A mixture of latent variants, each with shares of its own that are smooth in time.

Instruments of one latent variant share what goes together whatever the date; given the variant and
the month, features are independent. The fit is by expectation and maximization (Dempster, Laird
and Rubin 1977): shares are kernel-weighted counts, drawn toward the variant's own average over
time, and that toward the average of all. Which pull and which smoothness is for
:mod:`dating.learning.latent.choice` to learn.

A fit to the corpus as it is knows nothing of its own uncertainty. So a corpus is fitted several
times with random weights of its instruments (the Bayesian bootstrap), and the fits stand beside
each other as draws do.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from dating.learning.latent.rows import UNSEEN, Rows

type Floats = NDArray[np.float64]

FITS = 16
"""Bootstrap fits that stand beside each other."""
MOST_STEPS = 50
_SETTLED = 1e-4
_CHUNK = 256


@dataclass(frozen=True)
class Settings:
    """How many latent variants there are, and how smooth they are.

    Parameters
    ----------
    variants : int
        How many.
    drift : float
        Reach of the kernel that smooths a variant's share of production, as a share of the period.
    bend : float
        Reach of the kernel that smooths the shares of states, as a share of the period.
    steady : float
        Instruments that the variant's own average over time is worth.
    pull : float
        Instruments that the average of all variants is worth.
    """

    variants: int = 1
    drift: float = 0.06
    bend: float = 0.12
    steady: float = 2.0
    pull: float = 1.0


@dataclass(frozen=True, eq=False)
class Mixture:
    """One fit.

    Parameters
    ----------
    settings : Settings
        How many latent variants, how smooth.
    weight : ndarray of float64, shape (cell, variant)
        P(latent variant | cell).
    shares : tuple of ndarray of float64, shape (state, cell, variant)
        P(state | cell, latent variant), by feature.
    """

    settings: Settings
    weight: Floats
    shares: tuple[Floats, ...]

    def likelihood(self, rows: Rows) -> Floats:
        """Give P(everything recorded | cell) of each instrument.

        Parameters
        ----------
        rows : Rows
            Instruments; what is stated of their dates is not used.

        Returns
        -------
        ndarray of float64, shape (row, cell)
            Latent variants are summed over.
        """
        unique, inverse = np.unique(rows.codes, axis=0, return_inverse=True)
        pairs = zip(rows.readings, self.shares, strict=True)
        read = [np.tensordot(weights, shares, 1) for weights, shares in pairs]
        made = np.empty((len(unique), len(self.weight)))
        for start in range(0, len(unique), _CHUNK):
            codes = unique[start : start + _CHUNK]
            product = np.repeat(self.weight[None], len(codes), axis=0)
            for column, table in enumerate(read):
                seen = codes[:, column] != UNSEEN
                product[seen] *= table[codes[seen, column]]
            made[start : start + _CHUNK] = product.sum(axis=2)
        return np.asarray(made[inverse.ravel()])


def fitted(
    rows: Rows, settings: Sequence[Settings], seed: int, fits: int = FITS
) -> tuple[Mixture, ...]:
    """Fit the mixture to several bootstraps of the corpus.

    Parameters
    ----------
    rows : Rows
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
        generator = np.random.default_rng((seed, fit))
        weights = np.bincount(place, weights=generator.exponential(size=len(rows)))
        own = settings[fit % len(settings)]
        return _Fitting(unlike, weights, own, generator).mixture()

    with ThreadPoolExecutor(os.cpu_count()) as pool:
        return tuple(pool.map(one, range(fits)))


def month_posterior(mixtures: tuple[Mixture, ...], rows: Rows) -> Floats:
    """Give P(cell | everything recorded), all fits taken together.

    Parameters
    ----------
    mixtures : tuple of Mixture
        Fits.
    rows : Rows
        Instruments; what is stated of their dates is not used.

    Returns
    -------
    ndarray of float64, shape (row, cell)
        Each row sums to one.
    """
    likelihood = sum((mixture.likelihood(rows) for mixture in mixtures), np.zeros(()))
    joint = likelihood * rows.prior
    return np.asarray(joint / joint.sum(axis=1, keepdims=True))


def kernel(cells: int, reach: float) -> Floats:
    """Give the weights of a heavy-tailed kernel between all cells.

    Parameters
    ----------
    cells : int
        How many cells.
    reach : float
        Distance, in cells, at which the weight has fallen to a quarter.

    Returns
    -------
    ndarray of float64, shape (cell, cell)
        ``(1 + (distance / reach)^2)^-2``, a Student t with three degrees of freedom.

    Examples
    --------
    >>> kernel(3, 1.0).round(2).tolist()
    [[1.0, 0.25, 0.04], [0.25, 1.0, 0.25], [0.04, 0.25, 1.0]]
    """
    distance = np.subtract.outer(np.arange(cells), np.arange(cells))
    return np.asarray((1 + (distance / max(reach, 0.3)) ** 2) ** -2.0)


class _Fitting:
    """One run of expectation and maximization."""

    def __init__(
        self, rows: Rows, weights: Floats, settings: Settings, generator: np.random.Generator
    ) -> None:
        self.rows, self.weights, self.settings = rows, weights, settings
        self.of_pair = self.weights[rows.pair_row]
        self.log_stated = np.log(rows.pair_stated * rows.prior[rows.pair_cell])
        drift = kernel(rows.cells, settings.drift * rows.cells)
        self.drift = drift / drift.sum(axis=0)
        self.bend = kernel(rows.cells, settings.bend * rows.cells)
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
        made = np.exp(log - top[rows.pair_row, None])
        total = np.add.reduceat(made.sum(axis=1), self.first)
        reached = float(self.weights @ (np.log(total) + top) / self.weights.sum())
        return made * (self.of_pair / total[rows.pair_row])[:, None], reached

    def _maximized(self, belonging: Floats) -> Floats:
        """Renew weights and shares; give the log-likelihood of each pair by variant."""
        rows, variants = self.rows, self.settings.variants
        made = self.drift @ (self._by_cell @ belonging) + 0.5 / (rows.cells * variants)
        self.weight = made / made.sum(axis=1, keepdims=True)
        log = np.log(self.weight)[rows.pair_cell]
        for column, held in enumerate(self._held):
            counts = self._counts(column, belonging)
            self.shares[column] = self._smoothed(counts, self.averages[column])
            read, codes = self.shares[column], self.codes[held, column]
            if len(rows.readings[column]) > len(read):
                read = np.tensordot(rows.readings[column], read, 1)
            if len(read) * rows.cells < len(held):
                log[held] += np.log(read)[codes, rows.pair_cell[held]]
            else:
                log[held] += np.log(read[codes, rows.pair_cell[held]])
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
        made = counts @ (readings / readings.sum(axis=1, keepdims=True)) + 0.5
        return np.asarray(made / made.sum())

    def _start(self, generator: np.random.Generator) -> Floats:
        """Start from instruments picked at random: each pair belongs to those it is like."""
        rows = self.rows
        many = self.settings.variants > len(rows)
        chance = self.weights / self.weights.sum()
        picked = generator.choice(len(rows), self.settings.variants, replace=many, p=chance)
        first = self.first[picked]
        unlike = (rows.codes[:, None] != rows.codes[picked][None]).sum(axis=2)[rows.pair_row]
        away = np.abs(rows.pair_cell[:, None] - rows.pair_cell[first][None])
        return np.asarray(-2.0 * unlike - away * 8.0 / rows.cells)

    @cached_property
    def _held(self) -> list[NDArray[np.int64]]:
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

        rows, pairs, made = self.rows, len(self.rows.pair_row), []
        for column, held in enumerate(self._held):
            place = self.codes[held, column] * rows.cells + rows.pair_cell[held]
            shape = (len(rows.readings[column]) * rows.cells, pairs)
            made.append(csr_array((np.ones(len(held)), (place, held)), shape=shape))
        return made
