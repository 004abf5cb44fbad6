"""The evidence of distinct cells, parted into what all draws agree on and what they do not.

Cells of most features say the same in all draws in most months: only near a changeover whose date
is drawn do they differ. So a cell is kept as one number for each month and variant, and, only where
draws differ, a vector over the draws of a block.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp
from typing import cast

import numpy as np

from dating.arrays import Booleans, Floats, Integers, Positions
from dating.batch.codes import Column
from dating.batch.lanes import Block, feature_at, readings_at
from dating.evidence import pieces_of, state_weights
from dating.maker import Maker
from dating.tables import MonthTables


@dataclass(frozen=True, eq=False)
class Cells:
    """The evidence of some cells in one block of draws.

    Parameters
    ----------
    fixed : ndarray of float64, shape (cell, place)
        P(cell | place) where draws agree, 1 where they do not. A place is a month and a variant.
    vector : ndarray of int64, shape (cell, place)
        Which vector the cell is multiplied by; 0 for none.
    vectors : ndarray of float64, shape (vector, lane)
        P(cell | place) in each draw; the first is ones.
    """

    fixed: Floats
    vector: Integers
    vectors: Floats


class CellEvidence:
    """Works out the evidence of the cells of one table.

    Parameters
    ----------
    maker : Maker
        The maker file.
    tables : MonthTables
        Its month tables.
    places : ndarray of bool, shape (variant, month)
        The months and variants that are not impossible.
    """

    def __init__(self, maker: Maker, tables: MonthTables, places: Booleans) -> None:
        self.maker, self.tables, self.places = maker, tables, places
        self._months: dict[str, Positions] = {}
        self._without_draws: dict[tuple[Column, int], Floats] = {}

    def cells(self, column: Column, codes: Sequence[int], block: Block) -> Cells:
        """Give the evidence of some codes of a column; code 0 says nothing.

        Shapes: codes (cell,).
        """
        telling = [code for code in codes if code]
        fixed, varying, months = self._likelihoods(column, telling, block)
        differs = np.zeros((*fixed.shape[:2], self.places.shape[1]), dtype=bool)
        differs[:, :, months] = (varying != varying[:, :1]).any(axis=1)
        vector = np.zeros(differs.shape, dtype=np.int64)
        vector[differs] = np.arange(1, np.count_nonzero(differs) + 1)
        vectors = np.moveaxis(varying, 1, -1)[differs[:, :, months]]
        rows = np.flatnonzero(codes)

        def placed[Array: Floats | Integers](array: Array, nothing: int) -> Array:
            whole = np.broadcast_to(array, (len(array), *self.places.shape))
            full = np.full((len(codes), np.count_nonzero(self.places)), nothing, dtype=array.dtype)
            full[rows] = whole[:, self.places]
            return cast(Array, full)

        ones = np.ones((1, len(block.draw)))
        wide = np.broadcast_to(vectors, (len(vectors), len(block.draw)))
        fixed = placed(np.where(differs, 1.0, fixed), 1)
        return Cells(fixed, placed(vector, 0), np.concatenate([ones, wide]))

    def built(self, evidence: Floats, ages: Floats) -> Floats:
        """Turn evidence by a component's own month into evidence by that of its instrument.

        Shapes: evidence (pattern, place, lane), ages (month built, month made); gives the same as
        evidence. All months are among the places.
        """
        months = len(ages)
        by_month = evidence.reshape(len(evidence), -1, months, evidence.shape[2])
        return np.asarray(np.einsum("tu,pvul->pvtl", ages, by_month, optimize=True)).reshape(
            evidence.shape
        )

    def _likelihoods(
        self, column: Column, codes: Sequence[int], block: Block
    ) -> tuple[Floats, Floats, Positions]:
        """Give the evidence of codes in one draw, and in all where draws may differ.

        Shapes: one (code, variant, month), all (code, lane, variant, some month), some month.
        """
        if column.feature is None:
            every = self._readings(column, codes, block)
            return every[:, 0], every, np.arange(every.shape[3])
        table, months = self.tables.features[column.feature], self._varying(column.feature)
        sights = [column.levels[code - 1].seen[column.feature] for code in codes]
        weights = np.array([state_weights(s, table.states) for s in sights if s is not None])
        weights = weights.reshape(len(codes), len(table.states))
        one = feature_at(table, block.draw[:1], slice(None)).seen(weights)[0][:, 0]
        return one, feature_at(table, block.draw, months).seen(weights)[0], months

    def _varying(self, feature: str) -> Positions:
        """Find the months in which draws of a feature differ."""
        if feature not in self._months:
            table = self.tables.features[feature]
            differs = np.zeros(len(self.tables.period), dtype=bool)
            numbers = [
                table.slip,
                table.replaced,
                *(np.moveaxis(b.shares, 1, 0) for b in table.blends),
            ]
            if any((array != array[:1]).any() for array in numbers):
                differs[:] = True
            curves = [b.regimes for b in table.blends]
            for array in curves if table.curves is None else [table.curves]:
                others = tuple(range(array.ndim - 1))
                differs |= (array != array[:, :1]).any(axis=others)
            self._months[feature] = np.flatnonzero(differs)
        return self._months[feature]

    def _readings(self, column: Column, codes: Sequence[int], block: Block) -> Floats:
        """Give the evidence of cells of other columns, shape (code, lane, variant, month)."""
        tables = readings_at(self.tables, block.draw)
        each = [self._reading(column, code, tables) for code in codes]
        shape = np.broadcast_shapes((1, 1, len(tables.period)), *(array.shape for array in each))
        return np.array([np.broadcast_to(array, shape) for array in each]).reshape(-1, *shape)

    def _reading(self, column: Column, code: int, tables: MonthTables) -> Floats:
        """Give the evidence of one such cell, shape (lane, variant, month)."""
        key = (column, code)
        if key in self._without_draws:
            return self._without_draws[key]
        product = np.ones((1, 1, 1))
        for piece in pieces_of(column.levels[code - 1], self.maker, tables)[0]:
            product = product * (piece.likelihood * exp(piece.log_scale))
        if len(product) == 1:
            self._without_draws[key] = product
        return product
