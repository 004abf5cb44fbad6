"""The index of a sale as a spreadsheet in which text stays text."""

from __future__ import annotations

import datetime
import io
from collections.abc import Sequence
from typing import TYPE_CHECKING

from dating.notes.index import COLUMNS, files_of, label_of
from dating.notes.languages import Language
from dating.notes.plain_text import one_line
from dating.notes.sale import IndexEntry

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

CORE = "#14466b"
"""Colour of links."""
LONGEST = 32_767
"""Characters that a cell holds (Microsoft, *Excel specifications and limits*)."""
_WIDTHS = (10, 26, 30, 14, 26, 14, 48)
_LINKED = 18
_TEXTS = tuple(name for name in COLUMNS if name != "note")
_MADE = datetime.datetime(1980, 1, 1)
_PLAIN = {
    "in_memory": True,
    "strings_to_formulas": False,
    "strings_to_urls": False,
    "strings_to_numbers": False,
}
_SIGNS = str.maketrans("[]:*?/\\'", "        ")


def index_xlsx(
    entries: Sequence[IndexEntry], language: Language, endings: Sequence[str] = ()
) -> bytes:
    """Write the index of a sale as a spreadsheet."""
    from xlsxwriter import Workbook  # noqa: PLC0415

    texts, stream = language.texts, io.BytesIO()
    book = Workbook(stream, _PLAIN)
    book.set_properties({"title": texts["sale.title"], "created": _MADE})
    sheet = book.add_worksheet(" ".join(texts["sale.title"].translate(_SIGNS).split())[:31])
    text = book.add_format({"quote_prefix": True, "valign": "top", "text_wrap": True})
    share = book.add_format({"num_format": "0 %", "valign": "top"})
    head = book.add_format({"bold": True, "bottom": 2, "valign": "top", "quote_prefix": True})
    link = book.add_format({"font_color": CORE, "underline": 1, "valign": "top"})
    titles = [texts[f"sale.{name}"] for name in _TEXTS]
    titles += [f"{texts['sale.note']} ({label_of(ending)})" for ending in endings]
    for place, title in enumerate(titles):
        sheet.write_string(0, place, _cell(title), head)
        sheet.set_column(place, place, _WIDTHS[place] if place < len(_WIDTHS) else _LINKED)
    for row, entry in enumerate(entries, 1):
        _write(sheet, row, entry, text, share)
        for place, (_, file) in enumerate(files_of(entry, endings), len(_TEXTS)):
            sheet.write_url(row, place, f"external:{file}", link, file)
    sheet.freeze_panes(1, 1)
    sheet.autofilter(0, 0, max(len(entries), 1), len(titles) - 1)
    sheet.set_landscape()
    sheet.set_paper(9)
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(0)
    book.close()
    return stream.getvalue()


def _write(sheet: Worksheet, row: int, entry: IndexEntry, text: Format, share: Format) -> None:
    values = {
        "lot": entry.lot,
        "instrument": entry.instrument,
        "date": entry.date,
        "chance": entry.chance,
        "edtf": entry.edtf,
        "original": entry.original,
        "second_look": "; ".join(entry.why),
    }
    for place, name in enumerate(_TEXTS):
        value = values[name]
        if isinstance(value, float):
            sheet.write_number(row, place, value, share)
        elif value is not None and (words := _cell(value)):
            sheet.write_string(row, place, words, text)


def _cell(text: str) -> str:
    return one_line(text)[:LONGEST]
