"""Dask tables, dated lazily and one partition at a time."""

from __future__ import annotations

from typing import Any

import pandas as pd

from dating.batch.codes import check_columns, coded_frame
from dating.batch.many import TableDating
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

    Raises InputError when there are columns that the maker file does not know; cells are read when
    the table is computed.
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
    """Date one partition."""
    coded = coded_frame(frame, maker)
    return TableDating(
        maker,
        coded,
        level=level,
        learned=learned,
        seed=seed,
        chunk=chunk,
        parts=parts,
        threads=1,
    ).table()
