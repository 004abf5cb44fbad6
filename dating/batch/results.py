"""What is kept of each posterior: the columns of the table that comes out."""

from __future__ import annotations

import os
from dataclasses import dataclass
from io import BytesIO
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from dating.arrays import Floats
from dating.maker import Maker
from dating.months import Period
from dating.reading import InputError, Problem, write_whole

if TYPE_CHECKING:
    import pandas as pd

    from dating.batch.codes import CodedTable


NUMBERS = ("mean", "mass", "entropy", "all_original", "standard_error")
MONTHS = ("mode", "median", "first", "last")
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True, eq=False)
class Summaries:
    """Summaries of the posteriors of many instruments.

    Parameters
    ----------
    months : ndarray of int32, shape (4, row)
        Positions of mode, median, first and last month of the set, from 0.
    stretches : ndarray of int32, shape (row,)
        How many stretches the set has; 0 where no month allows what was seen.
    numbers : ndarray of float64, shape (5, row)
        Mean, mass of the set, entropy, probability that all components are original, standard
        error.
    original : ndarray of float64, shape (component, row)
        P(component is original); no component where that is not asked for.
    years : ndarray of float64, shape (year, row)
        Mass of each calendar year.
    """

    months: NDArray[np.int32]
    stretches: NDArray[np.int32]
    numbers: Floats
    original: Floats
    years: Floats

    def put(self, rows: NDArray[np.integer], part: Summaries) -> None:
        """Copy the summaries of some rows; shape (row of the part,)."""
        for mine, theirs in (
            (self.months, part.months),
            (self.numbers, part.numbers),
            (self.original, part.original),
            (self.years, part.years),
        ):
            mine[:, rows] = theirs
        self.stretches[rows] = part.stretches

    def some(self, rows: slice | NDArray[np.integer]) -> Summaries:
        """Give some rows: a view of those of a slice, otherwise a copy; shape (row,)."""
        return Summaries(
            self.months[:, rows],
            self.stretches[rows],
            self.numbers[:, rows],
            self.original[:, rows],
            self.years[:, rows],
        )


def empty_summaries(maker: Maker, rows: int, *, parts: bool) -> Summaries:
    """Make room for the summaries of some rows.

    Arrays are a little longer than that, so that entries of one row do not all fall into the same
    part of a core's cache.
    """
    rows = (rows // 8 | 1) * 8 + 8
    return Summaries(
        months=np.empty((len(MONTHS), rows), dtype=np.int32),
        stretches=np.empty(rows, dtype=np.int32),
        numbers=np.empty((len(NUMBERS), rows)),
        original=np.empty((len(maker.components) if parts else 0, rows)),
        years=np.empty((len(maker.period.years()), rows)),
    )


def year_starts(period: Period) -> NDArray[np.int64]:
    """Give the position of the first month of each calendar year, and the end of the last.

    Shape: (year + 1,).
    """
    number = np.arange(period.first, period.last + 1)
    starts = np.flatnonzero(np.diff(number // 12, prepend=-1))
    return np.append(starts, len(number))


def as_table(
    coded: CodedTable,
    summaries: Summaries,
    maker: Maker,
    problems: dict[int, str],
    tolerated: float,
    *,
    parts: bool,
) -> pd.DataFrame:
    """Put summaries into a table."""
    import pandas as pd  # noqa: PLC0415

    axis = maker.period.axis().astype("datetime64[s]")
    lost = summaries.stretches == 0
    columns: dict[str, object] = {"instrument": coded.names}
    months, numbers = {}, {}
    for name, position in zip(MONTHS, summaries.months, strict=True):
        months[name] = axis[position]
        if lost.any():
            months[name][lost] = np.datetime64("NaT", "s")
    for name, values in zip(NUMBERS, summaries.numbers, strict=True):
        numbers[name] = values
    columns |= {name: months[name] for name in ("mode", "median")} | {"mean": numbers["mean"]}
    columns |= {name: months[name] for name in ("first", "last")}
    columns |= {"stretches": summaries.stretches, "mass": numbers["mass"]}
    if parts:
        columns["entropy"] = numbers["entropy"]
        for name, values in zip(maker.components, summaries.original, strict=True):
            columns[f"original {name}"] = values
        columns["all_original"] = numbers["all_original"]
    for year, values in zip(maker.period.years(), summaries.years, strict=True):
        columns[f"year {year}"] = values
    columns["standard_error"] = numbers["standard_error"]
    columns["converged"] = ~lost & (numbers["standard_error"] <= tolerated)
    messages, place = [None, *problems.values()], np.zeros(len(lost), dtype=np.int64)
    place[list(problems)] = np.arange(1, len(messages))
    columns["problem"] = pd.Series(messages, dtype="str").take(place).reset_index(drop=True)
    table = pd.DataFrame(columns, copy=False)
    if coded.index is not None:
        table.index = coded.index
    return table


def write_estimates(table: pd.DataFrame, path: str | os.PathLike[str]) -> None:
    """Write a table of estimates to a file, whole or not at all.

    In a CSV file months are written as in ``1931-04``, and an apostrophe stands before text that a
    spreadsheet would take for a formula (text that begins with ``=``, ``+``, ``-``, ``@``, a tab or
    a carriage return).

    Raises InputError when the file ends otherwise, or cannot be written.

    Examples
    --------
    >>> import tempfile, pathlib, pandas as pd
    >>> file = pathlib.Path(tempfile.mkdtemp(), "dates.csv")
    >>> write_estimates(pd.DataFrame({"instrument": ["=1+1"], "mean": [-2.5]}), file)
    >>> print(file.read_text(encoding="utf-8").strip())
    instrument,mean
    '=1+1,-2.5
    """
    ending = os.path.splitext(os.fspath(path))[1].lower()
    if ending == ".csv":
        text = _without_formulas(table).to_csv(index=False, date_format="%Y-%m")
        write_whole(path, text.encode())
    elif ending == ".parquet":
        stream = BytesIO()
        table.to_parquet(stream, index=False)
        write_whole(path, stream.getvalue())
    else:
        message = "a table is written as .csv or .parquet; name a file that ends so"
        raise InputError([Problem(os.fspath(path), None, "", message)])


def _without_formulas(table: pd.DataFrame) -> pd.DataFrame:
    import pandas as pd  # noqa: PLC0415

    def neutral(value: object) -> object:
        return f"'{value}" if isinstance(value, str) and value.startswith(_FORMULA) else value

    safe = table.rename(columns=neutral)
    for place, name in enumerate(safe.columns):
        column = safe.iloc[:, place]
        if not (pd.api.types.is_numeric_dtype(column) or column.dtype.kind in "bMm"):
            safe[name] = column.astype(object).map(neutral)
    return safe
