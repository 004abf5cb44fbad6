"""Lots of a sale side by side: the nearest in the row from which a lot is surely told apart."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import xarray as xr

from dating.arrays import Floats
from dating.learning.learned import Learned
from dating.maker import Maker
from dating.notes.lots import Lot, Lots
from dating.notes.sentences import Wording, certainty
from dating.reading import InputError
from dating.succession.comparison import Comparison
from dating.succession.run import compare
from dating.tabulation import SEED

SURE = 0.66
"""Probability of being built earlier, or later, from which a note speaks of another lot."""


@dataclass(frozen=True)
class LotNeighbour:
    """The nearest lot in the row from which a lot is surely told apart.

    Parameters
    ----------
    lot : str
        The neighbour's number.
    earlier : bool
        Whether the lot was probably built in an earlier month than its neighbour; else in a later.
    chance : float
        Probability of that.
    """

    lot: str
    earlier: bool
    chance: float


def lot_neighbours(
    lots: Lots, *, learned: Learned | None = None, seed: int = SEED
) -> dict[str, LotNeighbour]:
    """Compare the lots of a sale, and give those a neighbour that are surely told apart from one.

    Lots that could not be read, and those of which no month allows what was seen, are left out.
    Raises InputError when what was learned does not fit the maker file; ValueError when there are
    more lots than can be compared.
    """
    comparison = _compared(lots.maker, [lot for lot in lots.lots if lot.examination], learned, seed)
    return {} if comparison is None else nearest_neighbours(comparison.row, comparison.older)


def nearest_neighbours(row: Sequence[str], older: xr.DataArray) -> dict[str, LotNeighbour]:
    """Choose for each in a row the nearest other from which it is surely told apart, if any.

    On each side of it the nearest is looked for, and of the two the surer is chosen.

    Examples
    --------
    >>> chances = [[0.0, 0.5, 0.7], [0.4, 0.0, 0.88], [0.2, 0.1, 0.0]]
    >>> names = {"instrument": ["7", "14", "2"], "other": ["7", "14", "2"]}
    >>> older = xr.DataArray(chances, names, ("instrument", "other"))
    >>> nearest_neighbours(["7", "14", "2"], older)["2"]
    LotNeighbour(lot='14', earlier=False, chance=0.88)
    """
    table = older.sel(instrument=list(row), other=list(row)).to_numpy()
    chosen: dict[str, LotNeighbour] = {}
    for place, name in enumerate(row):
        sides = (range(place - 1, -1, -1), range(place + 1, len(row)))
        nearest = [found for side in sides if (found := _told_apart(row, table, place, side))]
        if nearest:
            chosen[name] = max(nearest, key=lambda neighbour: neighbour.chance)
    return chosen


def neighbour_sentences(neighbour: LotNeighbour | None, wording: Wording) -> list[str]:
    """Say of a lot that it is older or younger than another; nothing where there is none.

    Examples
    --------
    >>> from dating.notes.languages import language
    >>> neighbour_sentences(LotNeighbour("14", True, 0.88), Wording(language("en")))
    ['Earlier than lot 14 (likely, 88 %).']
    """
    if neighbour is None:
        return []
    language, way = wording.language, "earlier" if neighbour.earlier else "later"
    return [
        language.say(
            f"neighbour.{way}",
            lot=neighbour.lot,
            certainty=certainty(neighbour.chance, language),
            chance=language.percent(neighbour.chance),
        )
    ]


def _told_apart(
    row: Sequence[str], older: Floats, place: int, side: Iterable[int]
) -> LotNeighbour | None:
    """Give the nearest on one side that is surely told apart, shape of older (lot, lot)."""
    for other in side:
        earlier, later = float(older[place, other]), float(older[other, place])
        if max(earlier, later) >= SURE:
            return LotNeighbour(row[other], earlier > later, max(earlier, later))
    return None


def _compared(
    maker: Maker, lots: Sequence[Lot], learned: Learned | None, seed: int
) -> Comparison | None:
    """Compare lots, without those that cannot be; None where fewer than two are left."""
    examinations = [
        lot.examination.model_copy(update={"instrument": lot.number})
        for lot in lots
        if lot.examination is not None
    ]
    if len(examinations) < 2:
        return None
    try:
        return compare(maker, examinations, seed=seed, learned=learned)
    except InputError as error:
        places = {(problem.file, problem.line) for problem in error.problems}
        able = [lot for lot in lots if not _stands_at(lot, places)]
        if len(able) == len(lots):
            raise
        return _compared(maker, able, learned, seed)


def _stands_at(lot: Lot, places: set[tuple[str, int | None]]) -> bool:
    """Say whether one of the places of problems is that of a lot."""
    return lot.examination is not None and (lot.examination.origin.file, lot.line) in places
