"""Posteriors of many instruments at once: each different sighting is turned into evidence once."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from dating.arrays import Floats
from dating.engine import Weighing
from dating.evidence import Piece, pieces_of
from dating.examination import Examination
from dating.files import check_against
from dating.learning.learned import Learned, draws_of, tables_for
from dating.maker import Maker
from dating.tables import MonthTables

if TYPE_CHECKING:
    import xarray as xr


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

    learned = draws_of(learned, maker)
    stock = EvidenceCache(maker, tables_for(maker, learned))
    for examination in examinations:
        check_against(examination, maker)
    arrays = np.array([stock.posterior(examination) for examination in examinations])
    if learned is not None:
        possible = np.isfinite(arrays).all(axis=-1)
        arrays[possible] = learned.corrected(arrays[possible])
    period = maker.period
    return xr.DataArray(
        arrays.reshape(-1, len(period)),
        dims=("instrument", "month"),
        coords={
            "instrument": [examination.instrument for examination in examinations],
            "month": period.axis().astype("datetime64[s]"),
        },
        name="posterior",
        attrs={"units": "probability"},
    )


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
        self.swapped = {name: part.swapped.value for name, part in maker.components.items()}
        self._pieces: dict[str, tuple[Piece, ...]] = {}
        self._posteriors: dict[str, Floats] = {}

    def weighing(self, examination: Examination) -> Weighing:
        """Combine the evidence on one instrument."""
        pieces: list[Piece] = []
        for part in _single(examination):
            key = part.model_dump_json()
            if key not in self._pieces:
                self._pieces[key] = pieces_of(part, self.maker, self.tables)[0]
            pieces += self._pieces[key]
        return Weighing.of(self.tables, self.swapped, pieces)

    def posterior(self, examination: Examination) -> Floats:
        """Date one instrument.

        Shape: (month,).
        """
        key = _bare(examination).model_dump_json()
        if key not in self._posteriors:
            joint = self.weighing(examination).by_month.sum(axis=0)
            total = joint.sum()
            self._posteriors[key] = joint / total if total else np.full(len(joint), np.nan)
        return self._posteriors[key]


def _bare(examination: Examination) -> Examination:
    """Leave out what does not bear on the date."""
    return examination.model_copy(update={"instrument": "-", "examined": None, "note": ""})


def _single(examination: Examination) -> list[Examination]:
    """Split an examination into those of one thing each; documents stay together."""
    empty: dict[str, object] = {
        "seen": {},
        "marks": {},
        "measured": {},
        "documents": (),
        "variant": None,
    }
    blank = _bare(examination).model_copy(update=empty)
    parts = [
        blank.model_copy(update={group: {name: record}})
        for group in ("seen", "marks", "measured")
        for name, record in getattr(examination, group).items()
    ]
    whole = {"variant": examination.variant, "documents": examination.documents}
    return [*parts, blank.model_copy(update=whole)]
