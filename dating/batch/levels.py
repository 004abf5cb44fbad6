"""The evidence of each distinct cell, worked out once and for some of the draws at a time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from math import exp

import numpy as np
from numpy.typing import NDArray

from dating.arrays import Floats
from dating.batch.codes import Column
from dating.evidence import pieces_of, sight_likelihoods
from dating.maker import Maker
from dating.tables import Blend, FeatureTable, MonthTables

KEPT_BYTES = 64_000_000
"""Evidence that is kept at most, in bytes, beside what one step needs."""


@dataclass(frozen=True, eq=False)
class Level:
    """The evidence of one cell.

    Parameters
    ----------
    has_draws : bool
        Whether it differs between draws.
    log_scale : float
        Natural logarithm of what the likelihood is divided by.
    likelihood : ndarray of float64, shape (draw, variant, month), or None
        Scaled so that its largest value is one; None where it is too large to be kept.
    """

    has_draws: bool
    log_scale: float
    likelihood: Floats | None


class Levels:
    """The evidence of every distinct cell of a table.

    Parameters
    ----------
    maker : Maker
        The maker file.
    tables : MonthTables
        Its month tables.
    """

    def __init__(self, maker: Maker, tables: MonthTables) -> None:
        self.maker, self.tables = maker, tables
        self._known: dict[tuple[Column, int], Level] = {}
        self._bytes = 0
        self._part = lru_cache(maxsize=1)(lambda start, stop: tables_between(tables, start, stop))

    def has_draws(self, column: Column, codes: Sequence[int]) -> NDArray[np.bool_]:
        """Say whether the evidence of each code differs between draws.

        Shape: (code,).
        """
        return np.array([code > 0 and self._level(column, code).has_draws for code in codes])

    def likelihoods(self, column: Column, codes: Sequence[int], draws: slice) -> Floats:
        """Give the evidence of several codes in some of the draws.

        Shape: (code, draw, variant, month).
        """
        ones = np.ones((1, 1, 1))
        each = [self._between(column, code, draws) if code else ones for code in codes]
        shape = np.broadcast_shapes(*(array.shape for array in each))
        return np.array([np.broadcast_to(array, shape) for array in each])

    def _level(self, column: Column, code: int) -> Level:
        key = (column, code)
        if key not in self._known and self._small(column):
            self._work_out_together(column)
        if key not in self._known:
            likelihood, log_scale = self._worked_out(column, code, self.tables)
            if self._bytes > KEPT_BYTES:
                self._known, self._bytes = {}, 0
            small = likelihood.nbytes <= KEPT_BYTES // 64 or len(likelihood) == 1
            self._bytes += likelihood.nbytes if small else 0
            self._known[key] = Level(len(likelihood) > 1, log_scale, likelihood if small else None)
        return self._known[key]

    def _small(self, column: Column) -> bool:
        """Whether a column is of one feature, and its cells can be worked out at once."""
        size = len(column.levels) * self.tables.prior[0].nbytes
        return self.tables.draws == 1 and bool(column.levels[0].seen) and size <= KEPT_BYTES // 64

    def _work_out_together(self, column: Column) -> None:
        ((name, _),) = column.levels[0].seen.items()
        sights = [sight for level in column.levels if (sight := level.seen[name]) is not None]
        likelihoods, log_scales = sight_likelihoods(name, sights, self.tables)
        for code, result in enumerate(zip(log_scales.tolist(), likelihoods, strict=True), start=1):
            self._known[column, code] = Level(False, *result)

    def _between(self, column: Column, code: int, draws: slice) -> Floats:
        level = self._level(column, code)
        if level.likelihood is not None:
            return level.likelihood[draws] if level.has_draws else level.likelihood
        tables = self._part(draws.start, draws.stop)
        likelihood, log_scale = self._worked_out(column, code, tables)
        return likelihood * exp(log_scale - level.log_scale)

    def _worked_out(self, column: Column, code: int, tables: MonthTables) -> tuple[Floats, float]:
        """Multiply the pieces of a level; there are several where there are several documents."""
        pieces, _ = pieces_of(column.levels[code - 1], self.maker, tables)
        likelihood, log_scale = np.ones((1, 1, 1)), 0.0
        for piece in pieces:
            likelihood, log_scale = likelihood * piece.likelihood, log_scale + piece.log_scale
        return likelihood, log_scale


def tables_between(tables: MonthTables, start: int, stop: int) -> MonthTables:
    """Keep some of the draws of month tables."""

    def some(array: Floats, axis: int = 0) -> Floats:
        if array.shape[axis] == 1:
            return array
        return array[(slice(None),) * axis + (slice(start, stop),)]

    def cut(table: FeatureTable) -> FeatureTable:
        return replace(
            table,
            blends=tuple(
                Blend(some(blend.regimes, 1), some(blend.shares, 1)) for blend in table.blends
            ),
            slip=some(table.slip),
            replaced=some(table.replaced),
            curves=None if table.curves is None else some(table.curves, 1),
        )

    return replace(
        tables,
        features={name: cut(table) for name, table in tables.features.items()},
        means={name: some(array) for name, array in tables.means.items()},
        spreads={name: some(array) for name, array in tables.spreads.items()},
        lags={n: replace(lag, quantiles=some(lag.quantiles)) for n, lag in tables.lags.items()},
    )
