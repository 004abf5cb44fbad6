"""The lots of a sale dated one after the other; one that cannot be dated does not stop the rest."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from dating.estimates import estimate
from dating.learning.learned import Learned
from dating.maker import Maker
from dating.notes.file_names import file_names
from dating.notes.lots import Lot, Lots
from dating.notes.neighbours import LotNeighbour, neighbour_sentences
from dating.notes.note import EstimateNote, note_of
from dating.notes.sale import IndexEntry, entry_of, failed_entry
from dating.notes.sentences import Wording
from dating.reading import InputError, Problem
from dating.tabulation import SEED


@dataclass(frozen=True, eq=False)
class DatedLot:
    """One lot, dated and worded.

    Parameters
    ----------
    lot : Lot
        The lot as it was read.
    entry : IndexEntry
        Its place in the index.
    estimate_note : EstimateNote or None
        Its estimate and note; None where it could not be read or dated.
    problems : tuple of Problem
        Why it could not.
    """

    lot: Lot
    entry: IndexEntry
    estimate_note: EstimateNote | None
    problems: tuple[Problem, ...]


def sell(
    lots: Lots, wording: Wording, *, learned: Learned | None = None, seed: int = SEED
) -> Iterator[DatedLot]:
    """Date the lots of a sale, and word their notes.

    Examples
    --------
    >>> from dating.notes.languages import language
    >>> from dating.notes.lots import read_lots
    >>> first = next(sell(read_lots("demo_data/marrowby_sale.csv"), Wording(language("en"))))
    >>> first.entry.lot, first.entry.note
    ('1', 'lot-1')
    """
    for lot, name in zip(lots.lots, note_names(lots), strict=True):
        yield sell_lot(lot, name, lots.maker, wording, learned=learned, seed=seed)


def note_names(lots: Lots) -> list[str]:
    """Name the notes of a sale."""
    return file_names(f"lot {lot.number}" for lot in lots.lots)


def sell_lot(
    lot: Lot,
    name: str,
    maker: Maker,
    wording: Wording,
    *,
    learned: Learned | None = None,
    seed: int = SEED,
    neighbour: LotNeighbour | None = None,
) -> DatedLot:
    """Date one lot, and word its note, with how it stands to a neighbour in the row of lots."""
    if lot.examination is None:
        return DatedLot(lot, failed_entry(lot.number, lot.title, lot.problems), None, lot.problems)
    try:
        result = estimate(maker, lot.examination, level=wording.level, seed=seed, learned=learned)
    except InputError as error:
        entry = failed_entry(lot.number, lot.examination.instrument, error.problems)
        return DatedLot(lot, entry, None, error.problems)
    title = wording.language.say("headings.lot", lot=lot.number)
    beside = neighbour_sentences(neighbour, wording)
    note = note_of(result, wording, title=title, words=lot.title, beside=beside)
    return DatedLot(
        lot, entry_of(result, wording, lot.number, name), EstimateNote(result, note), ()
    )
