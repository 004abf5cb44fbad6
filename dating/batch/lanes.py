"""Draws taken a block at a time, side by side in lanes, with the replicates running fastest.

A block has one of a few numbers of lanes, which lets a compiled loop over them be unrolled. The
lanes of one remainder by :data:`CLASSES` belong to one replicate, so that sums over a replicate's
draws are sums over every eighth lane.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from dating.arrays import Booleans, Floats, Integers
from dating.tables import Blend, FeatureTable, MonthTables

CLASSES = 8
"""Remainders of a lane's number, each of which belongs to one replicate."""
UNROLLED = 128
"""Lanes that a compiled loop takes at a time where blocks are wide enough."""
WIDTHS = (8 * UNROLLED, UNROLLED, 32)
"""Lanes of a block: the fewer rows there are, the wider."""


@dataclass(frozen=True, eq=False)
class Block:
    """Some draws, side by side.

    Parameters
    ----------
    draw : ndarray of int64, shape (lane,)
        The draw in each lane.
    used : ndarray of bool, shape (lane,)
        Lanes that are not filling only.
    replicate : ndarray of int64, shape (class,)
        The replicate that the lanes of each class belong to.
    """

    draw: Integers
    used: Booleans
    replicate: Integers


def blocks_of(draws: int, replicates: int, lanes: int) -> Iterator[Block]:
    """Cut draws, the replicates one after the other, into blocks.

    Examples
    --------
    >>> (block,) = blocks_of(draws=32, replicates=2, lanes=32)
    >>> block.draw[:10].tolist(), block.replicate.tolist()
    ([0, 16, 1, 17, 2, 18, 3, 19, 4, 20], [0, 1, 0, 1, 0, 1, 0, 1])
    """
    length, lane = draws // replicates, np.arange(lanes)
    for first in range(0, replicates, CLASSES):
        count = min(replicates - first, CLASSES)
        beside = CLASSES // count
        replicate = first + lane[:CLASSES] % count
        of_lane = lane // CLASSES * beside + lane % CLASSES // count
        spare = lane % CLASSES >= beside * count
        for start in range(0, length, lanes // CLASSES * beside):
            place = start + of_lane
            used = (place < length) & ~spare
            draw = np.where(used, replicate[lane % CLASSES] * length + place, 0)
            yield Block(draw, used, np.where(spare[:CLASSES], first, replicate))


def some_draws(array: Floats, draws: Integers, axis: int = 0) -> Floats:
    """Keep some of the draws of an array that may have a single one for all of them.

    Shapes: draws (draw,).
    """
    return array if array.shape[axis] == 1 else array.take(draws, axis)


def feature_at(table: FeatureTable, draws: Integers, months: Integers | slice) -> FeatureTable:
    """Keep some of the draws and months of the table of a feature.

    Shapes: draws (draw,), months (month,).
    """
    curves = None
    if table.curves is not None:
        curves = some_draws(table.curves, draws, 1)[..., months]
    return replace(
        table,
        blends=tuple(
            Blend(
                some_draws(each.regimes, draws, 1)[..., months], some_draws(each.shares, draws, 1)
            )
            for each in table.blends
        ),
        slip=some_draws(table.slip, draws),
        replaced=some_draws(table.replaced, draws),
        curves=curves,
    )


def readings_at(tables: MonthTables, draws: Integers) -> MonthTables:
    """Keep some of the draws of what marks and measurements are read by.

    Shapes: draws (draw,).
    """
    lags = tables.lags.items()
    return replace(
        tables,
        means={name: some_draws(array, draws) for name, array in tables.means.items()},
        spreads={name: some_draws(array, draws) for name, array in tables.spreads.items()},
        delays={name: some_draws(array, draws) for name, array in tables.delays.items()},
        lags={name: replace(lag, quantiles=some_draws(lag.quantiles, draws)) for name, lag in lags},
    )
