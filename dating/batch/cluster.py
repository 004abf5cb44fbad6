"""Dask tables, dated lazily and one partition at a time."""

from __future__ import annotations

from typing import Any

import pandas as pd

from dating.batch.codes import check_columns, coded_frame
from dating.batch.many import Dating
from dating.learning.learned import Learned
from dating.maker import Maker


def estimate_lazily(
    maker: Maker,
    table: Any,
    learned: Learned | None,
    *,
    level: float,
    seed: int,
    chunk: int,
    parts: bool,
) -> Any:
    """Date a Dask table when it is computed.

    The maker file and what was learned are single tasks, which a cluster sends to each worker
    once. A partition is dated by one thread, as Dask runs partitions side by side.

    Parameters
    ----------
    maker : Maker
        The maker file.
    table : Dask DataFrame
        As :func:`dating.batch.estimate_many` takes it.
    learned : Learned or None
        What was learned from a corpus.
    level : float
        Level of the set that is reported.
    seed : int
        Seed of the draws.
    chunk : int
        Rows that are dated at a time, at most.
    parts : bool
        Whether the columns about parts and doubt are wanted.

    Returns
    -------
    Dask DataFrame
        With as many partitions.

    Raises
    ------
    InputError
        When there are columns that the maker file does not know; cells are read when the table
        is computed.
    """
    from dask.delayed import delayed  # noqa: PLC0415

    check_columns(table.columns, maker)
    settings: dict[str, Any] = {"level": level, "seed": seed, "chunk": chunk, "parts": parts}
    empty = dated(table._meta, maker, learned, **settings)
    return table.map_partitions(
        dated,
        delayed(maker, pure=False, traverse=False),
        delayed(learned, pure=False, traverse=False),
        **settings,
        meta=empty,
        enforce_metadata=False,
    )


def dated(
    frame: pd.DataFrame,
    maker: Maker,
    learned: Learned | None,
    *,
    level: float,
    seed: int,
    chunk: int,
    parts: bool,
) -> pd.DataFrame:
    """Date one partition.

    Parameters
    ----------
    frame : DataFrame
        The partition.
    maker : Maker
        The maker file.
    learned : Learned or None
        What was learned from a corpus.
    level : float
        Level of the set that is reported.
    seed : int
        Seed of the draws.
    chunk : int
        Rows that are dated at a time, at most.
    parts : bool
        Whether the columns about parts and doubt are wanted.

    Returns
    -------
    DataFrame
        As many rows.
    """
    coded = coded_frame(frame, maker)
    return Dating(
        maker,
        coded,
        level=level,
        learned=learned,
        seed=seed,
        chunk=chunk,
        parts=parts,
        threads=1,
    ).table()
