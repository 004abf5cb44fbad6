"""The index of a sale as a page and as Markdown."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dating.notes.filling import fill
from dating.notes.house import House
from dating.notes.languages import Language
from dating.notes.markdown import closed_up, markdown_value
from dating.notes.plain_text import each_text, one_line
from dating.notes.sale import IndexEntry, count_words
from dating.notes.web import page

COLUMNS = ("lot", "instrument", "date", "chance", "edtf", "original", "second_look", "note")


@dataclass(frozen=True)
class IndexRow:
    """One lot as it is printed.

    Parameters
    ----------
    lot, instrument, date : str
        As entered.
    chance, edtf, original : str
        Empty where the lot could not be dated.
    why : tuple of str
        Reasons for a second look.
    files : tuple of (str, str)
        Label and name of each file of its note.
    failed : bool
        Whether it could not be read or dated.
    """

    lot: str
    instrument: str
    date: str
    chance: str
    edtf: str
    original: str
    why: tuple[str, ...]
    files: tuple[tuple[str, str], ...]
    failed: bool


@dataclass(frozen=True)
class Index:
    """The index as it is printed.

    Parameters
    ----------
    language : str
        Code of its language (BCP 47).
    title : str
        What stands above it.
    count : str
        How many lots there are, and how many need a person.
    head : tuple of str
        Titles of the columns: lot, instrument, date, probability, EDTF, all original, second look,
        note.
    rows : tuple of IndexRow
        The lots.
    """

    language: str
    title: str
    count: str
    head: tuple[str, ...]
    rows: tuple[IndexRow, ...]


def index_of(
    entries: Sequence[IndexEntry], language: Language, endings: Sequence[str] = ()
) -> Index:
    """Write the index of a sale."""
    index = Index(
        language=language.code,
        title=language.texts["sale.title"],
        count=count_words(tuple(entries), language),
        head=tuple(language.texts[f"sale.{name}"] for name in COLUMNS),
        rows=tuple(_row(entry, language, endings) for entry in entries),
    )
    return each_text(index, one_line)


def index_html(index: Index, house: House) -> str:
    """Set an index as a page.

    Raises InputError when the house's template has a fault.
    """
    return page(house, "index.html.j2", {"index": index})


def index_markdown(index: Index, house: House) -> str:
    """Set an index in Markdown.

    Raises InputError when the house's template has a fault.
    """
    return closed_up(fill(house, "index.md.j2", {"index": index}, markdown_value))


def _row(entry: IndexEntry, language: Language, endings: Sequence[str]) -> IndexRow:
    def share(chance: float | None) -> str:
        return "" if chance is None else language.percent(chance)

    return IndexRow(
        lot=entry.lot,
        instrument=entry.instrument,
        date=entry.date,
        chance=share(entry.chance),
        edtf=entry.edtf,
        original=share(entry.original),
        why=entry.why,
        files=files_of(entry, endings),
        failed=entry.failed,
    )


def files_of(entry: IndexEntry, endings: Sequence[str]) -> tuple[tuple[str, str], ...]:
    """Name the files of a lot's note.

    Examples
    --------
    >>> files_of(IndexEntry("7", "", "", None, "", None, (), "lot-7"), [".html"])
    (('HTML', 'lot-7.html'),)
    """
    if not entry.note:
        return ()
    return tuple((label_of(ending), f"{entry.note}{ending}") for ending in endings)


def label_of(ending: str) -> str:
    """Say what a file is by its ending."""
    return ending.removeprefix(".").upper()
