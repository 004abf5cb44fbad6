"""Notes and the index of a sale as HTML: readable by all, on any screen and in print."""

import io
from unicodedata import normalize

import pypdf
import pytest

import dating
from dating.notes.house import house
from dating.notes.index import index_html, index_of
from dating.notes.languages import language
from dating.notes.lot_dates import sell
from dating.notes.lots import read_lots
from dating.notes.note import note_of
from dating.notes.picture import picture_for
from dating.notes.sentences import Wording
from dating.notes.web import as_html
from tests.browser.looking import DESK, SEEN, sideways, violations

NAMES = ("M-003", "M-005", "M-010")


@pytest.fixture(scope="module")
def pages():
    """Three notes in two languages, and the index of the demo sale."""
    made, maker = {}, dating.read_maker("priors/marrowby.yaml")
    for name in NAMES:
        seen = dating.read_examination(f"demo_data/examinations/{name}.yaml")
        estimate = dating.estimate(maker, seen)
        for code in ("en", "de"):
            wording = Wording(language(code))
            note = note_of(estimate, wording)
            drawn = picture_for(estimate, wording, note.picture, ("html",))
            made[f"{name} {code}"] = as_html(note, house(), drawn)
    wording = Wording(language("en"))
    entries = [sold.entry for sold in sell(read_lots("demo_data/marrowby_sale.csv"), wording)]
    made["index"] = index_html(index_of(entries, wording.language, [".html", ".pdf"]), house())
    return made


def opened(look, text, size, dark=False):
    page = look.at(size, dark=dark)
    page.set_content(text)
    return page


@pytest.mark.parametrize(("size", "dark"), SEEN)
def test_notes_are_accessible_and_fit(look, pages, size, dark):
    for name, text in pages.items():
        page = opened(look, text, size, dark)
        assert violations(page) == [], name
        assert sideways(page) == "", name
        page.close()


def test_every_picture_has_words(look, pages):
    for name, text in pages.items():
        page = opened(look, text, DESK)
        words = page.locator("img").evaluate_all("pictures => pictures.map((one) => one.alt)")
        assert all(words), name
        assert bool(words) == (name != "index")
        page.close()


def test_a_note_prints_on_few_sheets(look, pages):
    page = opened(look, pages["M-003 en"], DESK)
    printed = pypdf.PdfReader(io.BytesIO(page.pdf(format="A4", print_background=True)))
    assert len(printed.pages) <= 3
    text = " ".join(sheet.extract_text() for sheet in printed.pages)
    text = " ".join(normalize("NFKC", text).split())  # some fonts have ligatures
    assert "Built between January 1929 and March 1931" in text
    assert "not a certificate" in text
