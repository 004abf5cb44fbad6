"""A mixture of latent variants, each with shares of its own that are smooth in time.

Instruments of one latent variant share what goes together whatever the date; given the variant and
the month, features are independent. :mod:`dating.learning.latent.fitting` fits it;
:mod:`dating.learning.latent.choice` chooses how many latent variants there are and how smooth.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import reduce

import numpy as np

from dating.arrays import Floats
from dating.learning.latent.rows import UNSEEN, SightingRows

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

    def log_likelihood(self, rows: SightingRows) -> Floats:
        """Give log P(everything recorded | cell) of each instrument.

        Shape: (row, cell).
        """
        unique, inverse = np.unique(rows.codes, axis=0, return_inverse=True)
        pairs = zip(rows.readings, self.shares, strict=True)
        read = [np.log(np.tensordot(weights, shares, 1)) for weights, shares in pairs]
        logs = np.empty((len(unique), len(self.weight)))
        for start in range(0, len(unique), _CHUNK):
            codes = unique[start : start + _CHUNK]
            total = np.repeat(np.log(self.weight)[None], len(codes), axis=0)
            for column, table in enumerate(read):
                seen = codes[:, column] != UNSEEN
                total[seen] += table[codes[seen, column]]
            top = total.max(axis=2)
            sums = np.exp(total - top[..., None]).sum(axis=2)
            logs[start : start + _CHUNK] = np.log(sums) + top
        return np.asarray(logs[inverse.ravel()])

    def interpolated(self, along: Floats) -> Mixture:
        """Give the same fit in other cells.

        Shapes: along (cell, other cell).
        """
        shares = tuple(along.T @ shares for shares in self.shares)
        return replace(self, weight=along.T @ self.weight, shares=shares)

    def widened(self, variants: int) -> Mixture:
        """Give the same fit with more latent variants, some of them alike."""
        own = np.arange(variants) % self.weight.shape[1]
        weight = self.weight[:, own] / np.bincount(own)[own]
        return replace(self, weight=weight, shares=tuple(s[..., own] for s in self.shares))


def month_posterior(mixtures: Sequence[Mixture], rows: SightingRows, prior: Floats) -> Floats:
    """Give P(cell | everything recorded), all fits taken together.

    Shapes: prior (cell,); gives (row, cell).
    """
    logs = reduce(np.logaddexp, (mixture.log_likelihood(rows) for mixture in mixtures))
    joint = np.exp(logs - logs.max(axis=1, keepdims=True)) * prior
    return np.asarray(joint / joint.sum(axis=1, keepdims=True))
