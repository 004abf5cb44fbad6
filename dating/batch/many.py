"""A whole table of examinations dated as one computation."""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING, Any

import numpy as np

from dating.arrays import Floats
from dating.batch.block_summaries import keep_dates
from dating.batch.codes import CodedTable, coded_examinations, coded_frame, coded_sheet
from dating.batch.results import Summaries, as_table, empty_summaries, year_starts
from dating.batch.rows import CHUNK, Portion, Posteriors, RowDating, spread_over
from dating.examination import Examination
from dating.learning.learned import Learned, draws_of, rounds_of, tables_for
from dating.maker import Maker
from dating.reading import InputError, Problem
from dating.sheets import is_sheet
from dating.standard_input import StandardInput
from dating.tabulation import LEVEL, SEED, TOLERATED_ERROR

if TYPE_CHECKING:
    import pandas as pd
    import xarray as xr

type Table = pd.DataFrame | str | os.PathLike[str] | Sequence[Examination]

_TINY = 1e-300


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
        ``variant`` and every feature, mark, measurement and component, with the cells of
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
    estimates = TableDating(maker, coded, **settings).table()
    if allow_unlisted:
        estimates.attrs["unlisted"] = {name: dict(cells) for name, cells in coded.unlisted.items()}
    return estimates


def posteriors(
    maker: Maker,
    examinations: Sequence[Examination],
    learned: Learned | xr.DataTree | None = None,
) -> xr.DataArray:
    """Date many instruments of one maker.

    Parameters
    ----------
    maker : Maker
        The maker file.
    examinations : sequence of Examination
        What was seen on each.
    learned : DataTree or Learned, optional
        What was learned from a corpus, as :func:`dating.learn` and :func:`dating.read_learned` give
        it.

    Returns
    -------
    DataArray of float64, dimensions (instrument, month)
        The posteriors that :func:`dating.estimate` gives one by one, with 128 draws of shared
        numbers where nothing was learned; not-a-number where no month allows what was seen. Months
        are ``datetime64``, each its first day.

    Raises
    ------
    InputError
        When an examination names what the maker file does not know, or what was learned is of
        another maker file or rests on draws that were set aside.
    TypeError
        When what was learned is something else.

    Examples
    --------
    >>> from dating import read_examination, read_maker
    >>> maker = read_maker("priors/marrowby.yaml")
    >>> seen = [read_examination(f"demo_data/examinations/M-00{n}.yaml") for n in (1, 3)]
    >>> posteriors(maker, seen).sum("month").values.round(9).tolist()
    [1.0, 1.0]
    """
    import xarray as xr  # noqa: PLC0415

    learned, period = draws_of(learned, maker), maker.period
    coded, tables = coded_examinations(examinations, maker), tables_for(maker, learned)
    dating = RowDating(maker, coded, tables, parts=False, spread=spread_over(1))
    arrays = np.empty((len(coded), len(period)))
    for portion in dating.portions(np.arange(len(coded)), CHUNK):
        of_distinct = np.empty((len(portion), len(period)))

        def keep(first: int, last: int, dated: Posteriors) -> None:
            of_distinct[first:last] = _corrected(dated.posterior, learned)  # noqa: B023

        dating.date(portion, keep)
        arrays[portion.rows] = of_distinct[portion.of_row]
    arrays[~arrays.any(axis=1)] = np.nan
    return xr.DataArray(
        arrays,
        dims=("instrument", "month"),
        coords={
            "instrument": [examination.instrument for examination in examinations],
            "month": period.axis().astype("datetime64[s]"),
        },
        name="posterior",
        attrs={"units": "probability"},
    )


def _coded(table: Any, maker: Maker, allow_unlisted: bool) -> CodedTable:
    import pandas as pd  # noqa: PLC0415

    if isinstance(table, pd.DataFrame):
        return coded_frame(table, maker, allow_unlisted=allow_unlisted)
    if not isinstance(table, str | os.PathLike):
        return coded_examinations(table, maker)
    file = os.fspath(table)
    ending = os.path.splitext(file)[1].lower()
    if is_sheet(table) or isinstance(table, StandardInput):
        return coded_sheet(table, maker, allow_unlisted=allow_unlisted)
    if ending != ".parquet":
        message = "a table is a .parquet file or a sheet; name a file that ends so"
        raise InputError([Problem(file, None, "", message)])
    try:
        frame = pd.read_parquet(file)
    except FileNotFoundError:
        raise InputError([Problem(file, None, "", "there is no such file")]) from None
    except (OSError, ValueError) as error:
        message = f"not a Parquet file that can be read ({type(error).__name__})"
        raise InputError([Problem(file, None, "", message)]) from None
    return coded_frame(frame, maker, file, allow_unlisted=allow_unlisted)


class TableDating:
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
        self.threads = threads or cores()
        self.starts = year_starts(maker.period)

    def table(self) -> pd.DataFrame:
        """Date all rows; then with twice the draws those that have not converged, and so on."""
        rows = np.arange(len(self.coded))
        summaries = empty_summaries(self.maker, len(rows), parts=self.parts)
        problems: dict[int, str] = {}
        with ThreadPoolExecutor(self.threads) as executor:
            spread = spread_over(self.threads, executor if self.threads > 1 else None)
            for tables in rounds_of(self.maker, self.learned, self.seed) if len(rows) else ():
                dating = RowDating(self.maker, self.coded, tables, parts=self.parts, spread=spread)
                for portion in dating.portions(rows, self.chunk):
                    self._date(dating, portion, summaries, problems)
                rows = rows[summaries.numbers[4, rows] > TOLERATED_ERROR]
                if not len(rows):
                    break
        summaries = summaries.some(slice(0, len(self.coded)))
        return as_table(
            self.coded, summaries, self.maker, problems, TOLERATED_ERROR, parts=self.parts
        )

    def _date(
        self, dating: RowDating, portion: Portion, summaries: Summaries, problems: dict[int, str]
    ) -> None:
        """Date a portion, and keep the summaries of its rows."""
        of_distinct = empty_summaries(self.maker, len(portion), parts=self.parts)
        why: dict[int, str] = {}

        def keep(first: int, last: int, dated: Posteriors) -> None:
            self._summarize(of_distinct.some(slice(first, last)), dated)
            why.update({first + place: words for place, words in dated.problems.items()})

        dating.date(portion, keep)
        summaries.put(portion.rows, of_distinct.some(portion.of_row))
        places = portion.of_row.tolist()
        named = zip(portion.rows.tolist(), places, strict=True)
        problems |= {row: why[place] for row, place in named if place in why}

    def _summarize(self, summaries: Summaries, dated: Posteriors) -> None:
        """Keep the summaries of some posteriors; nothing where no month is possible."""
        posterior = _corrected(dated.posterior, self.learned)
        lost = keep_dates(summaries, posterior, self.starts, self.level)
        summaries.numbers[4] = dated.errors
        if self.parts:
            summaries.numbers[2] = entropies(posterior)
            summaries.numbers[3] = dated.original[:, -1]
            summaries.original[:] = dated.original[:, :-1].T
        summaries.stretches[lost] = 0
        summaries.months[:, lost] = 0
        for numbers in (summaries.numbers, summaries.original, summaries.years):
            numbers[:, lost] = np.nan


def _corrected(posterior: Floats, learned: Learned | None) -> Floats:
    """Correct the levels of posteriors where that is due; shape (row, month)."""
    if learned is not None:
        possible = posterior.any(axis=1)
        posterior[possible] = learned.corrected(posterior[possible])
    return posterior


def entropies(posterior: Floats) -> Floats:
    """Sum -p log2 p over months.

    Shapes: posterior (row, month); gives (row,).
    """
    logs = np.log2(np.maximum(posterior, _TINY))
    return np.asarray(-np.vecdot(posterior, logs) + 0.0)


def cores() -> int:
    """Count the cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
