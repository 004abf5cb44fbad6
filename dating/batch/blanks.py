"""Rows that kernels leave blank, dated one at a time by the engine.

A row is left blank where its total is so small that floats may have lost something: either no month
allows what was seen, and the row says why, or the engine dates it with numbers of any magnitude.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dating.batch.block_summaries import keep_dates
from dating.batch.codes import CodedTable
from dating.batch.results import Summaries, empty_summaries, year_starts
from dating.disagreement import impossible_pieces, impossible_words
from dating.engine import Weighing
from dating.evidence import pieces_of
from dating.learning.learned import Learned
from dating.maker import Maker
from dating.summaries import entropy_bits
from dating.tables import MonthTables


@dataclass(frozen=True, eq=False)
class Blanks:
    """Dates the blank rows of one table.

    Parameters
    ----------
    maker : Maker
        The maker file.
    coded : CodedTable
        The table.
    level : float
        Level of the set that is reported.
    learned : Learned or None
        What was learned from a corpus.
    parts : bool
        Whether originality and entropy are worked out.
    """

    maker: Maker
    coded: CodedTable
    level: float
    learned: Learned | None
    parts: bool

    def date(
        self, tables: MonthTables, rows: NDArray[np.int64], summaries: Summaries
    ) -> dict[int, str]:
        """Date some rows; rows alike are dated once.

        Shapes: rows (row,).
        """
        known: dict[tuple[int, ...], Summaries | str] = {}
        problems = {}
        for row in rows.tolist():
            key = tuple(int(c.at(slice(row, row + 1))[0]) for c in self.coded.columns)
            if key not in known:
                known[key] = self._one(tables, row)
            outcome = known[key]
            if isinstance(outcome, str):
                problems[row] = outcome
            else:
                summaries.put(np.array([row]), outcome)
        return problems

    def _one(self, tables: MonthTables, row: int) -> Summaries | str:
        """Date one row, or say why no month allows what was seen."""
        swapped = {name: part.swapped.value for name, part in self.maker.components.items()}
        pieces, _ = pieces_of(self.coded.examination(row), self.maker, tables)
        weighing = Weighing.of(tables, swapped, pieces)
        if not weighing.evidence:
            return impossible_words(weighing, impossible_pieces(weighing))
        summaries = empty_summaries(self.maker, 1, parts=self.parts).some(slice(0, 1))
        posterior = weighing.by_month.sum(axis=0) / weighing.evidence
        if self.learned is not None:
            posterior = self.learned.corrected(posterior)
        keep_dates(summaries, posterior[None], year_starts(self.maker.period), self.level)
        summaries.numbers[4] = weighing.standard_error().max()
        if self.parts:
            summaries.numbers[2] = entropy_bits(posterior)
            summaries.numbers[3] = weighing.all_original() / weighing.evidence
            for place, (name, part) in enumerate(weighing.parts.items()):
                here = weighing.respond(name, part.fixed)
                summaries.original[place] = here.original.sum() / here.total.sum()
        return summaries
