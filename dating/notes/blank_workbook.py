"""A blank workbook for the lots of a sale: a column a look, with its question, words and cautions.

What explains the columns stands in rows that begin with ``#``, which are passed over when the
workbook is read; the states of a column can be chosen from a list.
"""

from __future__ import annotations

import datetime
import io
from dataclasses import dataclass
from pathlib import PurePath
from typing import TYPE_CHECKING

from dating.cautions import caution_text
from dating.cells import DOCUMENT_COLUMNS, columns_of, part_columns
from dating.maker import Maker
from dating.statements import plain_name

if TYPE_CHECKING:
    from xlsxwriter import Workbook
    from xlsxwriter.worksheet import Worksheet

ROWS = 500
"""Rows for lots that are prepared; more may be added."""
_OWN = {
    "lot": ("Number of the lot", "needed; a number of its own"),
    "title": ("What the house calls it", "a line of text"),
    "instrument": ("Name or number of the instrument", "lot and its number where it is blank"),
    "examined": ("Day of the examination", "2026-05-04"),
    "by": ("Who examined it", "a name"),
}
_PAPER = {
    "document": ("A document that bounds its date", "bill of sale"),
    "not_before": ("It was not built before", "1934, 1934-06 or 1934-06-12"),
    "not_after": ("It was not built after", "1934, 1934-06 or 1934-06-12"),
    "document_trust": ("Probability that the document is right", "0.95"),
}
_SIGHT = "; also one | another for one of several, a state (0.8) where it is doubtful, other: ..."
_DATE = "1931-02-17, 1931-02, 1931, or [1931-02,1931-03]; absent where its place bears none"
_CODE = "a source-date code such as 99-7114, a ? for a digit that cannot be read; absent"
_CREATED = datetime.datetime(1980, 1, 1)


@dataclass(frozen=True)
class SheetColumn:
    """One column of the workbook.

    Parameters
    ----------
    name : str
        What stands at its head, as it is read.
    ask, cells, how : str
        What is asked, what may stand in a cell, and how to look with what to beware of.
    states : tuple of str
        What can be chosen from; empty where a cell is written.
    """

    name: str
    ask: str
    cells: str
    how: str = ""
    states: tuple[str, ...] = ()


def workbook_columns(maker: Maker) -> tuple[SheetColumn, ...]:
    """Describe the columns of a maker's sale, in the order of the maker file.

    Examples
    --------
    >>> from dating.files import read_maker
    >>> columns = workbook_columns(read_maker("priors/marrowby.yaml"))
    >>> [column.name for column in columns][:3], columns[5].states
    (['lot', 'title', 'instrument'], ('student', 'recital'))
    """
    own = [SheetColumn(name, *words) for name, words in _OWN.items()]
    seen = columns_of(maker)
    papers = [(name, _PAPER[name]) for name in DOCUMENT_COLUMNS if name not in seen]
    return (
        *own,
        *(_column(maker, name, path[0]) for name, path in seen.items()),
        *(_part_column(name) for name in part_columns(maker)),
        *(SheetColumn(name, *words) for name, words in papers),
    )


def blank_workbook(maker: Maker) -> bytes:
    """Set a blank workbook for the lots of a sale; the same maker file gives the same bytes."""
    from xlsxwriter import Workbook  # noqa: PLC0415

    stream, columns = io.BytesIO(), workbook_columns(maker)
    book = Workbook(stream, {"in_memory": True, "strings_to_formulas": False})
    book.set_properties({"title": f"Lots: {maker.maker}", "created": _CREATED})
    sheet, lists = book.add_worksheet("Lots"), book.add_worksheet("States")
    lists.hide()
    head = _write_head(book, sheet, maker, columns)
    text = book.add_format({"num_format": "@", "valign": "top", "text_wrap": True})
    for place, column in enumerate(columns):
        sheet.set_column(place, place, 14 if place == 0 else 24, text)
        if column.states:
            _offer(sheet, lists, place, head, column)
    sheet.freeze_panes(head + 1, 1)
    book.close()
    return stream.getvalue()


def _column(maker: Maker, name: str, group: str) -> SheetColumn:
    component, look = maker.looks()[name]
    caution = caution_text(maker.hazards_of(look, component), look.caution)
    parts = [look.instruction.strip(), f"How invasive: {look.invasive}"]
    parts += [f"Caution: {caution}"] if caution else []
    words = ". ".join(part.rstrip(".") for part in parts if part)
    if group == "marks":
        mark = maker.marks()[name][1]
        return SheetColumn(name, mark.ask, _CODE if mark.format == "source-date" else _DATE, words)
    if group == "measured":
        measurement = maker.measurements()[name][1]
        ask = measurement.question(name)
        cells = f"a number in {measurement.unit}, or with its doubt: 21.4 within 0.3"
        return SheetColumn(name, ask, cells, words)
    if group == "variant":
        assert maker.variants is not None  # noqa: S101 (there is no such column otherwise)
        ask, states = maker.variants.ask, maker.variants.states
    else:
        feature = maker.features()[name][1]
        ask, states = feature.ask, feature.states
    listed = "; ".join(f"{key}: {gloss}" if gloss else key for key, gloss in states.items())
    return SheetColumn(name, ask, f"{listed}{_SIGHT}", words, tuple(states))


def _part_column(name: str) -> SheetColumn:
    ask = f"Is it known whether the {plain_name(name)} is the one it was built with?"
    states = ("original", "not original")
    return SheetColumn(name, ask, f"{' or '.join(states)}, or original (0.9)", "", states)


def _write_head(
    book: Workbook, sheet: Worksheet, maker: Maker, columns: tuple[SheetColumn, ...]
) -> int:
    """Write what explains the columns, and their names; give the row of these, from 0."""
    quiet = book.add_format({"font_color": "#585f66", "text_wrap": True, "valign": "top"})
    bold = book.add_format({"bold": True, "bottom": 2, "valign": "top", "num_format": "@"})
    lead = [f"# maker: {PurePath(maker.origin.file).stem}"]
    if maker.invented:
        lead.append("# Invented throughout: the maker, its people, dates and numbers.")
    lead.append("# One row for each lot. What was not looked at is left blank.")
    for row, words in enumerate(lead):
        sheet.write_string(row, 0, words)
    explained = (
        ("# question", [column.ask for column in columns]),
        ("# cells", [column.cells for column in columns]),
        ("# how to look", [column.how for column in columns]),
    )
    for row, (title, texts) in enumerate(explained, start=len(lead)):
        sheet.write_string(row, 0, f"{title}: {texts[0]}" if texts[0] else title, quiet)
        for place, words in enumerate(texts[1:], start=1):
            sheet.write_string(row, place, words, quiet)
    head = len(lead) + len(explained)
    for place, column in enumerate(columns):
        sheet.write_string(head, place, column.name, bold)
    return head


def _offer(sheet: Worksheet, lists: Worksheet, place: int, head: int, column: SheetColumn) -> None:
    """Let a state be chosen from a list; what is written otherwise is asked about, not refused."""
    from xlsxwriter.utility import xl_range_abs  # noqa: PLC0415

    for row, state in enumerate(column.states):
        lists.write_string(row, place, state)
    options = {
        "validate": "list",
        "source": f"=States!{xl_range_abs(0, place, len(column.states) - 1, place)}",
        "error_type": "information",
        "error_title": "Not in the list",
        "error_message": "Keep it if it is one of several, a doubtful state, or other: ...",
    }
    sheet.data_validation(head + 1, place, head + ROWS, place, options)
