"""Posteriors of many rows of one table, a portion of them at a time."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cached_property
from importlib import import_module
from importlib.util import find_spec

import numpy as np

from dating.arrays import Booleans, Floats, Integers
from dating.batch import joint
from dating.batch.cell_evidence import CellEvidence
from dating.batch.codes import CodedTable
from dating.batch.joint import Factors, factors_of, in_pairs
from dating.batch.lanes import CLASSES, WIDTHS, Block, blocks_of, some_draws
from dating.batch.patterns import Patterns, distinct, evidence_of, patterns_in, vectors_needed
from dating.disagreement import impossible_pieces, impossible_words
from dating.engine import Weighing, standard_errors
from dating.evidence import pieces_of, swapped_chances
from dating.magnitudes import LEAST
from dating.maker import Maker
from dating.tables import MonthTables

type AddRows = Callable[[Factors, Integers, Floats, Floats], None]
type Spread = Callable[[Callable[[int, int], None], int], None]

CHUNK = 8_192
"""Rows that are dated at a time."""
ROOM = 256_000_000
"""Bytes that patterns, or sums over draws, of the rows dated at a time may take."""
ROWS = 256
"""Rows that a thread dates at a time."""


@dataclass(frozen=True, eq=False)
class Portion:
    """Rows that are dated at a time; those that say the same are dated once.

    Parameters
    ----------
    rows : ndarray of int64, shape (row,)
        The rows of the table.
    patterns : tuple of Patterns
        What the components of these rows show.
    examples : ndarray of int64, shape (distinct row,)
        A row of the portion for each that differs from the others.
    of_row : ndarray of int64, shape (row,)
        The distinct row of each.
    vectors : int
        Vectors over the lanes of a block that its patterns take, at most.
    """

    rows: Integers
    patterns: tuple[Patterns, ...]
    examples: Integers
    of_row: Integers
    vectors: int

    def fits(self, lanes: int) -> bool:
        """Whether there is room for the vectors of its patterns in blocks of so many lanes."""
        return self.vectors * 8 * lanes <= ROOM

    def __len__(self) -> int:
        """Return the number of distinct rows."""
        return len(self.examples)

    @property
    def numbers(self) -> list[Integers]:
        """The pattern of each component in each distinct row, shape (distinct row,) each."""
        parts = [each for each in self.patterns if each.component is not None]
        return [each.of_row[self.examples] for each in parts]

    @property
    def whole(self) -> Integers | None:
        """The pattern of the instrument as a whole in each, shape (distinct row,)."""
        if not self.patterns or self.patterns[-1].component is not None:
            return None
        return self.patterns[-1].of_row[self.examples]


@dataclass(frozen=True, eq=False)
class Posteriors:
    """Posteriors of some distinct rows.

    Parameters
    ----------
    posterior : ndarray of float64, shape (row, month)
        Nought where no month allows what was seen.
    errors : ndarray of float64, shape (row,)
        The largest standard error that the draws leave on a month.
    original : ndarray of float64, shape (row, component + 1)
        P(component is original), and that all are; empty where that is not asked for.
    problems : dict of int to str
        Why no month allows what was seen, by position among the rows.
    """

    posterior: Floats
    errors: Floats
    original: Floats
    problems: dict[int, str]


class RowDating:
    """Dates rows of one table with one set of draws.

    Parameters
    ----------
    maker : Maker
        The maker file.
    coded : CodedTable
        The table.
    tables : MonthTables
        Month tables of the maker.
    parts : bool
        Whether the chances that components are original are worked out.
    spread : callable
        Calls a function for parts of so many, on several threads perhaps.
    """

    def __init__(
        self, maker: Maker, coded: CodedTable, tables: MonthTables, *, parts: bool, spread: Spread
    ) -> None:
        self.maker, self.coded, self.tables = maker, coded, tables
        self.parts, self.spread = parts, spread
        self.swapped = swapped_chances(maker)
        self.cells = CellEvidence(maker, tables, self.places)
        self.add_rows = _add_rows() if tables.draws > 1 else joint.add_rows_without_draws

    @cached_property
    def places(self) -> Booleans:
        """The variants and months in which an instrument or a donor may have been built.

        Shape: (variant, month).
        """
        possible = (self.tables.prior > 0).any(axis=0)
        for name, donor in self.tables.donors.items():
            if self.swapped[name] or any(
                c.known for c in self.coded.columns if c.component == name
            ):
                possible = possible | (donor > 0).any(axis=0)
        if self.tables.ages:  # old stock may have been made in any month before
            possible = np.ones(possible.shape, dtype=bool)
        return np.asarray(possible)

    def portions(self, rows: Integers, chunk: int) -> Iterator[Portion]:
        """Cut rows into portions whose patterns and sums there is room for.

        Shapes: rows (row,).
        """
        a_row = 8 * len(self.tables.period) * self._classes
        most, start = min(chunk, max(1, ROOM // a_row)), 0
        while start < len(rows):
            portion = self._portion(rows[start : start + most])
            while len(portion) > 1 and not portion.fits(WIDTHS[-1]):
                most = -(-len(portion.rows) // 2)
                portion = self._portion(rows[start : start + most])
            yield portion
            start += len(portion.rows)

    def date(self, portion: Portion, keep: Callable[[int, int, Posteriors], None]) -> None:
        """Date the distinct rows of a portion, and hand them over some at a time."""
        sums = np.zeros((len(portion), len(self.tables.period), self._classes))
        width = in_pairs(portion.numbers, None, len(portion)).shape[1]
        parts = np.zeros((len(portion), width if self.parts else 0))
        replicates = np.zeros(self._classes, dtype=np.int64)
        for block, classes in self._blocks(portion):
            replicates[classes] = block.replicate
            self._add(portion, block, sums[:, :, classes], parts)

        def finish(first: int, last: int) -> None:
            some = slice(first, last)
            joint = _by_replicate(sums[some], replicates)
            keep(first, last, self._posteriors(portion, first, joint, parts[some]))

        self.spread(finish, len(portion))

    def _add(self, portion: Portion, block: Block, sums: Floats, parts: Floats) -> None:
        """Add what a block of draws gives; shapes as in :func:`dating.batch.joint.add_rows`."""
        factors, numbers = self._factors(portion, block), portion.numbers
        begun = [each + first for each, first in zip(numbers, factors.begins, strict=False)]
        whole = None if portion.whole is None else portion.whole + factors.begins[-1]
        patterns = in_pairs(begun, whole, len(portion))

        def add(first: int, last: int) -> None:
            some = slice(first, last)
            self.add_rows(factors, patterns[some], sums[some], parts[some])

        self.spread(add, len(portion))

    @property
    def _classes(self) -> int:
        """Sums that are kept of each row and month."""
        return 1 if self.tables.draws == 1 else -(-self.tables.replicates // CLASSES) * CLASSES

    def _portion(self, rows: Integers) -> Portion:
        patterns = tuple(patterns_in(self.coded, self.maker, rows))
        if not patterns:
            nothing = np.zeros(len(rows), dtype=np.int64)
            return Portion(rows, (), nothing[:1], nothing, 0)
        examples, of_row = distinct([p.of_row for p in patterns], [len(p) for p in patterns])
        return Portion(rows, patterns, examples, of_row, self._vectors(patterns))

    def _vectors(self, patterns: Sequence[Patterns]) -> int:
        """Count the vectors that patterns take; one each and place where these fit anyway."""
        if self.tables.draws == 1:
            return 0
        most = sum(map(len, patterns)) * np.count_nonzero(self.places)
        if most * 8 * WIDTHS[0] <= ROOM:
            return int(most)
        block = next(blocks_of(self.tables.draws, self.tables.replicates, CLASSES))
        return sum(vectors_needed(each, self.cells, block) for each in patterns)

    def _blocks(self, portion: Portion) -> Iterator[tuple[Block, slice]]:
        """Give blocks of draws, and the classes of the sums that each adds to."""
        tables = self.tables
        if tables.draws == 1:
            yield Block(np.zeros(1, int), np.ones(1, bool), np.zeros(1, int)), slice(0, 1)
            return
        widths = [width for width in WIDTHS if width < 2 * tables.draws]
        lanes = next((width for width in widths if portion.fits(width)), WIDTHS[-1])
        for block in blocks_of(tables.draws, tables.replicates, lanes):
            first = int(block.replicate[0]) // CLASSES * CLASSES
            yield block, slice(first, first + CLASSES)

    def _factors(self, portion: Portion, block: Block) -> Factors:
        """Work out the patterns of a portion in a block of draws."""
        tables, places = self.tables, self.places
        shape = (len(block.draw), *places.shape)

        def placed(array: Floats) -> Floats:
            some = np.broadcast_to(some_draws(array, block.draw), shape)
            return np.ascontiguousarray(some[:, places].T)

        evidence = []
        for each in portion.patterns:
            before = 0.0 if each.component is None else self.swapped[each.component]
            swapped = each.swapped(before)
            donor = placed(tables.donors[each.component]) if each.component else np.zeros((1, 1))
            evidence.append(evidence_of(each, self.cells, block, donor, swapped))
        month = np.broadcast_to(np.arange(places.shape[1]), places.shape)[places]
        return factors_of(placed(tables.prior) * block.used, month, evidence)

    def _posteriors(self, portion: Portion, first: int, sums: Floats, parts: Floats) -> Posteriors:
        """Turn sums into posteriors; the engine dates rows whose sums are too small for floats.

        Shapes: sums (row, month, replicate); parts (row, padded component + 1).
        """
        weights = sums.sum(axis=2)
        total = weights.sum(axis=1)
        lost = np.flatnonzero(~(total >= LEAST))
        total[lost] = 1.0
        posterior = weights / total[:, None]
        errors = standard_errors(sums).max(axis=1)
        original = self._original(portion, parts / total[:, None])
        problems = {}
        for place in lost.tolist():
            row = int(portion.rows[portion.examples[first + place]])
            weighing = self._weighing(row)
            if not weighing.evidence:
                posterior[place] = 0.0
                problems[place] = impossible_words(weighing, impossible_pieces(weighing))
                continue
            posterior[place] = weighing.by_month.sum(axis=0) / weighing.evidence
            errors[place] = weighing.standard_error().max()
            original[place] = _original_by_engine(weighing)[: original.shape[1]]
        return Posteriors(posterior, errors, original, problems)

    def _original(self, portion: Portion, parts: Floats) -> Floats:
        """Give the chances that components, and all, are original, shape (row, component + 1)."""
        if not self.parts:
            return np.empty((len(parts), 0))
        original = np.empty((len(parts), len(self.swapped) + 1))
        original[:, :-1] = 1 - np.array(list(self.swapped.values()))
        original[:, -1] = parts[:, -1]
        for place, name in enumerate(self.swapped):
            at = [n for n, each in enumerate(portion.patterns) if each.component == name]
            if at:
                original[:, place] = np.maximum(1 - parts[:, at[0]], 0.0)
            else:
                original[:, -1] *= 1 - self.swapped[name]
        return original

    def _weighing(self, row: int) -> Weighing:
        examination = self.coded.examination(row)
        pieces, _ = pieces_of(examination, self.maker, self.tables)
        return Weighing.of(self.tables, swapped_chances(self.maker, examination), pieces)


def _by_replicate(sums: Floats, replicates: Integers) -> Floats:
    """Add up classes of one replicate, shapes (row, month, class) and (row, month, replicate)."""
    count = int(replicates.max()) + 1
    if count == sums.shape[2]:
        return sums
    return np.stack([sums[:, :, replicates == each].sum(axis=2) for each in range(count)], axis=2)


def _original_by_engine(weighing: Weighing) -> Sequence[float]:
    """Give the chances that components, and all, are original."""
    each = [weighing.respond(name, part.fixed) for name, part in weighing.parts.items()]
    chances = [response.original.sum() / response.total.sum() for response in each]
    return [*chances, weighing.all_original() / weighing.evidence]


def _add_rows() -> AddRows:
    """Take the compiled loops where numba is installed."""
    if find_spec("numba") is None:
        return joint.add_rows
    compiled: AddRows = import_module("dating.batch.compiled").add_rows
    return compiled


def spread_over(threads: int, executor: ThreadPoolExecutor | None = None) -> Spread:
    """Make what calls a function for some rows at a time, on so many threads."""

    def spread(do: Callable[[int, int], None], count: int) -> None:
        step = max(1, min(ROWS, -(-count // (4 * threads))))
        parts = [(first, min(first + step, count)) for first in range(0, count, step)]
        if executor is None or len(parts) == 1:
            for part in parts:
                do(*part)
        else:
            for job in [executor.submit(do, *part) for part in parts]:
                job.result()

    return spread
