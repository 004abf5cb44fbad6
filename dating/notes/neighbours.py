"""Lots of a sale side by side: the neighbour in the row from which a lot is surely told apart."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from dating.learning.learned import Learned
from dating.maker import Maker
from dating.notes.lots import Lot, Lots
from dating.notes.sentences import Wording, certainty
from dating.reading import InputError
from dating.succession.comparison import Comparison, Neighbours
from dating.succession.run import compare
from dating.tabulation import SEED

SURE = 0.66
"""Probability of being built earlier, or later, from which a note speaks of a neighbour."""


@dataclass(frozen=True)
class LotNeighbour:
    """The neighbour in the row from which a lot is most surely told apart.

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
    return {} if comparison is None else surest_neighbours(comparison.neighbours)


def surest_neighbours(row: Sequence[Neighbours]) -> dict[str, LotNeighbour]:
    """Choose for each in a row the neighbour from which it is most surely told apart, if any.

    Examples
    --------
    >>> surest_neighbours([Neighbours("7", "14", 0.88, 0.02, 0.1, ())])["14"]
    LotNeighbour(lot='7', earlier=False, chance=0.88)
    """
    chosen: dict[str, LotNeighbour] = {}
    for name, neighbour in _told_apart(row):
        if name not in chosen or neighbour.chance > chosen[name].chance:
            chosen[name] = neighbour
    return chosen


def neighbour_sentences(neighbour: LotNeighbour | None, wording: Wording) -> list[str]:
    """Say of a lot that it is older or younger than its neighbour; nothing where it has none.

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


def _told_apart(row: Sequence[Neighbours]) -> Iterator[tuple[str, LotNeighbour]]:
    """Name each of two neighbours that are surely told apart, with the other as its neighbour."""
    for pair in row:
        for name, other, earlier, later in (
            (pair.first, pair.second, pair.older, pair.younger),
            (pair.second, pair.first, pair.younger, pair.older),
        ):
            chance = max(earlier, later)
            if chance >= SURE:
                yield name, LotNeighbour(other, earlier > later, chance)


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
