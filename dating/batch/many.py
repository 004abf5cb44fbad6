"""A whole table of examinations dated as one computation."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from functools import partial
from importlib import import_module
from importlib.util import find_spec
from types import ModuleType
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from dating.batch import blocks
from dating.batch.blanks import Blanks
from dating.batch.blocks import Work
from dating.batch.buffers import ByMonthOfYear, PatternPool
from dating.batch.codes import CodedTable, coded_examinations, coded_frame, coded_sheet
from dating.batch.levels import Levels
from dating.batch.patterns import Patterns, patterns_of
from dating.batch.results import Summaries, as_table, empty_summaries, year_starts
from dating.batch.shared import SharedSums
from dating.examination import Examination
from dating.learning.learned import Learned, draws_of, rounds_of
from dating.maker import Maker
from dating.reading import InputError, Problem
from dating.standard_input import StandardInput
from dating.tables import MonthTables
from dating.tabulation import LEVEL, SEED, TOLERATED_ERROR

if TYPE_CHECKING:
    import pandas as pd
    import xarray as xr

type Table = pd.DataFrame | str | os.PathLike[str] | Sequence[Examination]
type Rows = slice | NDArray[np.int64]
type DateRows = Callable[[Work, Summaries, int, int], None]

CHUNK = 16_384
POOL_BYTES = 256_000_000
"""Room for tables of patterns, in bytes."""
GROUP_BYTES = 64_000_000
"""Room for sums over the draws, in bytes."""
_FEWEST = 256
"""Rows that are worth a thread of their own."""


def estimate_many(
    maker: Maker,
    table: Any,
    *,
    level: float = LEVEL,
    learned: Learned | xr.DataTree | None = None,
    seed: int = SEED,
    chunk: int = CHUNK,
    parts: bool = True,
    allow_unlisted: bool = False,
) -> Any:
    """Date a whole table of examinations of one maker.

    Each row gets what :func:`dating.estimate` gives for it. What the cells of one component say
    together is worked out once for all rows that agree in them, and posteriors are summarized as
    soon as they are made, so that memory does not grow with the number of rows beyond the table
    and its result. With numba installed the rows are dated by a compiled kernel.

    Parameters
    ----------
    maker : Maker
        The maker file.
    table : DataFrame, path, Dask DataFrame or sequence of Examination
        One instrument a row, in columns ``instrument`` (the index where there is none),
        ``variant`` and every feature, mark and measurement, with the cells of
        :mod:`dating.cells`; and one document in ``document``, ``not_before``, ``not_after`` and
        ``document_trust``. Columns may be left out; a cell that is blank or missing was not
        examined. Categorical columns are quickest. A path ends in ``.csv`` or ``.parquet``.
    level : float
        Level of the highest-density set, between 0 and 1.
    learned : DataTree or Learned, optional
        What was learned from a corpus, as :func:`dating.learn` and :func:`dating.read_learned` give
        it; its joint draws then take the place of the judgements.
    seed : int
        Seed of the draws.
    chunk : int
        Rows that are dated at a time, at most; it changes no result.
    parts : bool
        Whether the columns about parts and doubt are wanted: ``entropy``, ``original NAME`` and
        ``all_original``. Without them a stock of hundreds of thousands, of which only dates are
        wanted, takes about half the time.
    allow_unlisted : bool
        Take a state that the maker file does not list for one that says nothing; how often each
        stands in each column is then in ``attrs["unlisted"]``. Not for Dask tables.

    Returns
    -------
    DataFrame or Dask DataFrame
        One row each, in the order given, with the index of the table: ``instrument``; ``mode``
        and ``median`` (datetime64, first day of the month); ``mean`` (float, months since the
        start of the period, 0 for its first month); ``first`` and ``last`` month of the
        highest-density set, its ``stretches`` and its ``mass``; ``entropy`` in bits; ``original
        NAME`` for each component and ``all_original``; ``year YYYY``, the probability of each
        calendar year; ``standard_error``, the largest that the draws leave on a month, and
        whether it is at most 0.002 (``converged``); ``problem``, which says why where no month
        allows what was seen: the rest of the row is then missing.

    Raises
    ------
    InputError
        With one problem for each distinct thing wrong with the table, located at the row (of a
        CSV file, the line) and column where it first stands. From a Dask table, unknown columns
        raise at once, and cells when they are computed. Also when what was learned is of another
        maker file, or rests on draws that were set aside.
    ValueError
        When the level is not between 0 and 1, the chunk is not positive, or unlisted states are to
        be allowed in a Dask table.
    TypeError
        When what was learned is something else.

    Examples
    --------
    >>> import pandas as pd
    >>> from dating import read_maker
    >>> maker = read_maker("priors/marrowby.yaml")
    >>> seen = pd.DataFrame({"instrument": ["M-1"], "heel-joint": ["dowelled | screwed"]})
    >>> dated = estimate_many(maker, seen)
    >>> bool(dated.loc[0, "mass"] >= 0.9)
    True
    """
    if not 0 < level < 1:
        raise ValueError(f"a level lies between 0 and 1, both excluded; found {level:g}")
    if chunk < 1:
        raise ValueError(f"a chunk has at least one row; found {chunk}")
    learned = draws_of(learned, maker)
    settings: dict[str, Any]
    if type(table).__module__.startswith("dask"):
        from dating.batch.cluster import estimate_lazily  # noqa: PLC0415

        if allow_unlisted:
            raise ValueError("unlisted states are not counted in a Dask table; compute it first")

        settings = {"level": level, "seed": seed, "chunk": chunk, "parts": parts}
        return estimate_lazily(maker, table, learned, **settings)
    settings = {"level": level, "learned": learned, "seed": seed, "chunk": chunk, "parts": parts}
    coded = _coded(table, maker, allow_unlisted)
    estimates = Dating(maker, coded, **settings).table()
    if allow_unlisted:
        estimates.attrs["unlisted"] = {name: dict(cells) for name, cells in coded.unlisted.items()}
    return estimates


def _coded(table: Any, maker: Maker, allow_unlisted: bool) -> CodedTable:
    import pandas as pd  # noqa: PLC0415

    if isinstance(table, pd.DataFrame):
        return coded_frame(table, maker, allow_unlisted=allow_unlisted)
    if not isinstance(table, str | os.PathLike):
        return coded_examinations(table, maker)
    file = os.fspath(table)
    ending = os.path.splitext(file)[1].lower()
    if ending == ".csv" or isinstance(table, StandardInput):
        return coded_sheet(table, maker, allow_unlisted=allow_unlisted)
    if ending != ".parquet":
        message = "a table is a .csv or a .parquet file; name a file that ends so"
        raise InputError([Problem(file, None, "", message)])
    try:
        frame = pd.read_parquet(file)
    except FileNotFoundError:
        raise InputError([Problem(file, None, "", "there is no such file")]) from None
    except (OSError, ValueError) as error:
        message = f"not a Parquet file that can be read ({type(error).__name__})"
        raise InputError([Problem(file, None, "", message)]) from None
    return coded_frame(frame, maker, file, allow_unlisted=allow_unlisted)


class Dating:
    """Dates one coded table, with more draws for the rows that need them.

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
    seed : int
        Seed of the draws.
    chunk : int
        Rows that are dated at a time, at most.
    parts : bool
        Whether originality and entropy are worked out.
    threads : int, optional
        How many; as many as there are cores unless given.
    """

    def __init__(
        self,
        maker: Maker,
        coded: CodedTable,
        *,
        level: float,
        learned: Learned | None,
        seed: int,
        chunk: int,
        parts: bool,
        threads: int | None = None,
    ) -> None:
        self.maker, self.coded, self.level = maker, coded, level
        self.learned, self.seed, self.chunk, self.parts = learned, seed, chunk, parts
        self.summaries = empty_summaries(maker, len(coded), parts=parts).some(slice(0, len(coded)))
        corrects = learned is not None and learned.correction is not None
        self.kernels = _quickest()
        self.date_rows: DateRows = blocks.date_rows if corrects else self.kernels.date_rows
        self.threads = threads or _cores()
        self.executor: ThreadPoolExecutor | None = None
        self.before: list[Future[None]] = []
        self.running: list[Future[None]] = []

    def table(self) -> pd.DataFrame:
        """Date all rows."""
        if self.threads == 1:
            return self._table()
        with ThreadPoolExecutor(self.threads) as self.executor:
            return self._table()

    def _table(self) -> pd.DataFrame:
        problems: dict[int, str] = {}
        blanks = Blanks(self.maker, self.coded, self.level, self.learned, self.parts)
        for tables, rows in self._rounds():
            self._date(tables, rows)
            blank = np.arange(len(self.coded))[rows]
            blank = blank[self.summaries.stretches[rows] == 0]
            problems |= blanks.date(tables, blank, self.summaries)
        return as_table(
            self.coded, self.summaries, self.maker, problems, TOLERATED_ERROR, parts=self.parts
        )

    def _rounds(self) -> Iterator[tuple[MonthTables, Rows]]:
        """Give all rows, then with twice the draws those that have not converged, and so on."""
        rows: Rows = slice(0, len(self.coded))
        for tables in rounds_of(self.maker, self.learned, self.seed):
            yield tables, rows
            rows = np.flatnonzero(self.summaries.numbers[4] > TOLERATED_ERROR)
            if not len(rows):
                return

    def _date(self, tables: MonthTables, rows: Rows) -> None:
        levels = Levels(self.maker, tables)
        variants, months = tables.prior.shape[1], len(tables.period)
        room = max(POOL_BYTES // (8 * variants * months), 64)
        pool = PatternPool(room, variants, months, self._order(tables))
        patterns = patterns_of(self.coded, levels, pool, self.kernels, self._spread_if_idle)
        shared = SharedSums(tables, patterns, pool, self.kernels.accumulate, self._spread)
        count = self._at_a_time(patterns, shared, room)
        total = rows.stop if isinstance(rows, slice) else len(rows)
        for start, stop in _portions(total, count):
            part = slice(start, stop) if isinstance(rows, slice) else rows[start:stop]
            # These are coded and tabulated while threads still date those before them.
            work = self._work(patterns, shared, part, stop - start)
            self._finish(self.before)
            self.before, self.running = self.running, []
            self._begin(work, part, stop - start)
        self._finish_all()

    def _order(self, tables: MonthTables) -> ByMonthOfYear | None:
        """Give the order of months in tables that is quickest, where kernels know it."""
        if self.date_rows is blocks.date_rows or tables.draws > 1 or tables.prior.shape[1] > 1:
            return None
        return ByMonthOfYear(tables.period.first % 12, len(tables.period))

    def _begin(self, work: Work, part: Rows, count: int) -> None:
        """Begin to date some rows."""
        if isinstance(part, slice):
            self.running = self._jobs(
                partial(self.date_rows, work, self.summaries.some(part)), count
            )
            return
        summaries = empty_summaries(self.maker, count, parts=self.parts).some(slice(0, count))
        self.running = self._jobs(partial(self.date_rows, work, summaries), count)
        self._finish(self.running)
        self.summaries.put(part, summaries)

    def _finish_all(self) -> None:
        """Wait for all rows that are being dated."""
        self._finish(self.before)
        self._finish(self.running)

    @staticmethod
    def _finish(jobs: list[Future[None]]) -> None:
        for job in jobs:
            job.result()
        jobs.clear()

    def _at_a_time(self, patterns: Sequence[Patterns], shared: SharedSums, room: int) -> int:
        """Say how many rows may be dated at a time, whatever patterns they have."""
        count = self.chunk
        if shared.bytes_a_group:
            count = min(count, max(1, GROUP_BYTES // shared.bytes_a_group))
        while count > 1 and sum(each.at_most(count) for each in patterns) >= room:
            count //= 2
        return count

    def _work(
        self, patterns: Sequence[Patterns], shared: SharedSums, rows: Rows, count: int
    ) -> Work:
        """Find the patterns of some rows."""
        if sum(each.at_most(count) for each in patterns) > shared.pool.left:
            self._finish_all()
            shared.pool.clear()
            for each in patterns:
                each.clear()
        slots = np.zeros((blocks.padded(len(patterns)), count), dtype=np.int32)
        for row_slots, each in zip(slots, patterns, strict=False):
            row_slots[:] = each.slots(rows)
        names = list(self.maker.components)
        return Work(
            pool=shared.pool,
            slots=slots,
            places=np.array(
                [
                    -1 if each.component is None else names.index(each.component)
                    for each in patterns
                ],
                dtype=np.int64,
            ),
            groups=shared.groups(slots[: len(patterns)]),
            unswapped=np.array([1 - part.swapped.value for part in self.maker.components.values()]),
            starts=year_starts(self.maker.period),
            level=self.level,
            learned=self.learned,
            parts=self.parts,
        )

    def _jobs(self, do: Callable[[int, int], None], count: int) -> list[Future[None]]:
        """Do something for parts of a count, on several threads where that is worth it."""
        step = max(_FEWEST, -(-count // (4 * self.threads)))
        parts = [(first, min(first + step, count)) for first in range(0, count, step)]
        if self.executor is not None and len(parts) > 1:
            return [self.executor.submit(do, *part) for part in parts]
        for part in parts:
            do(*part)
        return []

    def _spread(self, do: Callable[[int, int], None], count: int) -> None:
        """Do the same, and wait for it."""
        for job in self._jobs(do, count):
            job.result()

    def _spread_if_idle(self, do: Callable[[int, int], None], count: int) -> None:
        """Do it on threads that have nothing to do, and otherwise here."""
        if self.before or self.running:
            do(0, count)
        else:
            self._spread(do, count)


def _portions(total: int, most: int) -> Iterator[tuple[int, int]]:
    """Cut rows into portions, the first ones smaller so that threads have work soon."""
    start, count = 0, max(1, most // 4)
    while start < total:
        stop = min(start + count, total)
        yield start, stop
        start, count = stop, min(2 * count, most)


def _cores() -> int:
    """Count the cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _quickest() -> ModuleType:
    """Take the compiled kernels where numba is installed."""
    return blocks if find_spec("numba") is None else import_module("dating.batch.compiled")
