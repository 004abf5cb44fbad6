"""The free-form part of a corpus as arrays: readings, and the cells of time they may belong to.

What was recorded becomes a *reading*: a weight for each state. The first readings of a feature are
its states themselves; doubtful sightings add readings of their own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dating.arrays import Floats, Positions
from dating.evidence import state_weights
from dating.examination import Examination
from dating.learning.corpus import Reference
from dating.learning.latent.time_cells import Cells, MonthRange, cells_between
from dating.maker import Maker

UNSEEN = -1
_ANY_MONTH = 1e-6
"""Prior probability left to months in which, by the maker file, nothing was made."""


@dataclass(frozen=True, eq=False)
class SightingRows:
    """The free-form sightings of some dated instruments.

    Parameters
    ----------
    features : tuple of str
        Names of the free-form features.
    readings : tuple of ndarray of float64, shape (reading, state)
        Weights of the states in each reading, by feature.
    codes : ndarray of int64, shape (row, feature)
        The reading of each instrument; -1 where it was not examined.
    axis : Cells
        The cells of time.
    finer : Cells
        The same cut into months, but not where dates are stated no more finely.
    prior : ndarray of float64, shape (cell,)
        Prior probability of each cell.
    pair_row, pair_cell : ndarray of int64, shape (pair,)
        The cells that each instrument may have been built in.
    pair_stated : ndarray of float64, shape (pair,)
        P(stated date | cell), up to a factor that is the same for all cells.
    """

    features: tuple[str, ...]
    readings: tuple[Floats, ...]
    codes: Positions
    axis: Cells
    finer: Cells
    prior: Floats
    pair_row: Positions
    pair_cell: Positions
    pair_stated: Floats

    @property
    def cells(self) -> int:
        """How many cells of time there are."""
        return len(self.axis)

    def __len__(self) -> int:
        """Count the instruments."""
        return len(self.codes)

    def chosen(self, rows: NDArray[np.bool_]) -> SightingRows:
        """Keep some of the instruments.

        Shapes: rows (row,).
        """
        places = np.cumsum(rows) - 1
        pairs = rows[self.pair_row]
        return SightingRows(
            self.features,
            self.readings,
            self.codes[rows],
            self.axis,
            self.finer,
            self.prior,
            places[self.pair_row[pairs]],
            self.pair_cell[pairs],
            self.pair_stated[pairs],
        )

    def unlike(self) -> tuple[SightingRows, Positions]:
        """Keep one of each set of instruments that show the same and are dated the same.

        Shape: place (row,).
        """
        dates = np.split(np.arange(len(self.pair_row)), self._first()[1:])
        known: dict[bytes, int] = {}
        keys = [
            b"/".join((codes.tobytes(), self.pair_cell[p].tobytes(), self.pair_stated[p].tobytes()))
            for codes, p in zip(self.codes, dates, strict=True)
        ]
        place = np.array([known.setdefault(key, len(known)) for key in keys])
        is_first = np.zeros(len(self), dtype=bool)
        is_first[np.unique(place, return_index=True)[1]] = True
        return self.chosen(is_first), place

    def _first(self) -> Positions:
        return np.searchsorted(self.pair_row, np.arange(len(self)))


def free_form_features(maker: Maker) -> dict[str, tuple[str, ...]]:
    """Name the features whose shares are left to be learned, with their states."""
    return {n: tuple(f.states) for n, (_, f) in maker.features().items() if f.free_form}


def rows_of(references: Sequence[Reference], maker: Maker, output: Floats) -> SightingRows:
    """Turn dated instruments into arrays.

    Shapes: output (month,).
    """
    features, stretches = free_form_features(maker), stretches_of(references)
    cells = cells_between(stretches, maker.period)
    examinations = [reference.examination for reference in references]
    readings, codes = _coded(examinations, features)
    output = output * (1 - _ANY_MONTH) + _ANY_MONTH / len(output)
    prior = cells.gathered(output)
    stated = np.array([reference.likelihood(output) for reference in references])
    by_cell = cells.gathered(stated * output) / prior
    pair_row, pair_cell = np.nonzero(by_cell)
    return SightingRows(
        tuple(features),
        readings,
        codes,
        cells,
        cells.finer(stretches),
        prior,
        pair_row,
        pair_cell,
        by_cell[pair_row, pair_cell],
    )


def stretches_of(references: Sequence[Reference]) -> list[MonthRange]:
    """List the stretches of months that are stated of instruments."""
    stretches: list[MonthRange] = []
    for reference in references:
        if reference.dated and reference.trust:
            steps = np.diff(reference.window, prepend=0, append=0)
            ends = zip(np.flatnonzero(steps > 0), np.flatnonzero(steps < 0), strict=True)
            stretches += [(int(start), int(stop)) for start, stop in ends]
    return stretches


def _coded(
    examinations: list[Examination], features: dict[str, tuple[str, ...]]
) -> tuple[tuple[Floats, ...], Positions]:
    codes = np.full((len(examinations), len(features)), UNSEEN)
    readings = []
    for column, (name, states) in enumerate(features.items()):
        known = {tuple(row): place for place, row in enumerate(np.eye(len(states)).tolist())}
        for row, examination in enumerate(examinations):
            sight = examination.seen.get(name)
            if sight is not None and not sight.is_neutral:
                key = tuple(state_weights(sight, states).tolist())
                codes[row, column] = known.setdefault(key, len(known))
        readings.append(np.array(list(known)))
    return tuple(readings), codes
