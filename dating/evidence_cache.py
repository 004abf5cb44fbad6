"""Evidence on many instruments of one maker: each different sighting is worked out once."""

from __future__ import annotations

from dating.engine import Weighing
from dating.evidence import Piece, pieces_of, swapped_chances
from dating.examination import Examination
from dating.maker import Maker
from dating.tables import MonthTables


class EvidenceCache:
    """Evidence that has been worked out, kept for the next instrument that shows the same.

    Parameters
    ----------
    maker : Maker
        The maker file.
    tables : MonthTables
        Its month tables.
    """

    def __init__(self, maker: Maker, tables: MonthTables) -> None:
        self.maker, self.tables = maker, tables
        self._pieces: dict[str, tuple[Piece, ...]] = {}

    def weighing(self, examination: Examination) -> Weighing:
        """Combine the evidence on one instrument."""
        pieces: list[Piece] = []
        for part in _single(examination):
            key = part.model_dump_json()
            if key not in self._pieces:
                self._pieces[key] = pieces_of(part, self.maker, self.tables)[0]
            pieces += self._pieces[key]
        return Weighing.of(self.tables, swapped_chances(self.maker, examination), pieces)


def _single(examination: Examination) -> list[Examination]:
    """Split an examination into those of one thing each; documents stay together."""
    parts = [
        examination.alone(**{group: {name: record}})
        for group in ("seen", "marks", "measured")
        for name, record in getattr(examination, group).items()
    ]
    whole = examination.alone(variant=examination.variant, documents=examination.documents)
    return [*parts, whole]
