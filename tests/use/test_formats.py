"""Notes in each language, date style and format are opened and looked at."""

import io
import json
import re
import shutil
import zipfile
from itertools import product

import docx
import pypdf
import pytest
import yaml

from tests.use.commands import ROOT, dating, success
from tests.use.geometry import brightness, drawing, ink, longest_line, page_of
from tests.use.opening import words_of

FORMATS = ("markdown", "html", "word", "pdf", "linked-art")
ENDINGS = ("md", "html", "docx", "pdf", "jsonld", "svg")
LANGUAGES = ROOT / "dating" / "notes" / "languages"
WIDE = " ".join(["Donaudampfschifffahrtsgesellschaft"] * 6)
DAYS = {
    ("en", "british"): "11 February 2026",
    ("en", "american"): "February 11, 2026",
    ("de", "british"): "11. Februar 2026",
    ("de", "american"): "2026",
    ("house.yaml", "american"): "2026",
}
CAUTION = {"en": "an opinion", "de": "eine Meinung", "house.yaml": "eine Meinung"}


@pytest.fixture(scope="module", params=list(DAYS), ids="-".join)
def notes(request, demo, tmp_path_factory):
    """The note of one instrument in every format, in one language and one style of dates."""
    spoken, dates = request.param
    folder = tmp_path_factory.mktemp("notes")
    named = spoken
    if spoken == "house.yaml":
        named = folder / spoken
        named.write_text(house_language(), "utf-8")
    formats = [word for form in FORMATS for word in ("--as", form)]
    options = ("--language", named, "--dates", dates, "--out", folder / "out", *formats)
    success(dating("note", "demo_data/examinations/M-001.yaml", *options, cwd=demo))
    return folder / "out", spoken, dates


def house_language() -> str:
    """Write a language file of a house with very long words for what a picture shows."""
    data = yaml.safe_load((LANGUAGES / "de.yaml").read_text("utf-8"))
    lengthened = 0

    def lengthen(value, key=""):
        nonlocal lengthened
        if isinstance(value, dict):
            return {name: lengthen(inner, f"{key}.{name}") for name, inner in value.items()}
        if key.startswith(".picture_") and isinstance(value, str):
            lengthened += 1
            return f"{value} {WIDE}"
        return value

    data = lengthen(data)
    assert lengthened
    return yaml.safe_dump(data, allow_unicode=True, sort_keys=False)


def test_every_format_opens_and_says_the_same(notes):
    folder, spoken, dates = notes
    day = DAYS[spoken, dates]
    for ending in ENDINGS:
        words = words_of(folder / f"M-001.{ending}")
        assert words
        if ending == "jsonld":
            assert "[1929-12..1931-07]" in words
        elif ending != "svg":
            assert day in words, ending
            assert CAUTION[spoken] in re.sub(r"-\s", "", words), ending
            assert re.search("1929.{1,30}1931", words), ending
            assert not re.search(r"\{\w*\}|\bNone\b|\bnan\b", words), ending


def test_the_language_of_a_file_is_stated_in_it(notes):
    folder, spoken, _ = notes
    short = "en" if spoken == "en" else "de"
    page = (folder / "M-001.html").read_text("utf-8")
    assert re.search(rf'<html[^>]* lang="{short}\b', page)
    assert pypdf.PdfReader(folder / "M-001.pdf").trailer["/Root"]["/Lang"].startswith(short)
    assert json.loads((folder / "M-001.jsonld").read_text("utf-8"))


def test_no_text_of_the_picture_leaves_its_frame_or_covers_other_text(notes):
    picture = drawing(notes[0] / "M-001.svg")
    assert len(picture.texts) > 5
    assert picture.axes.width >= 0.6 * picture.frame.width
    assert picture.frame.holds(picture.axes, 0.5)
    for words, box in picture.texts.items():
        assert picture.frame.holds(box, 0.5), words
        assert box.width <= picture.axes.width, words
    for (one, a), (other, b) in product(picture.texts.items(), repeat=2):
        assert one == other or not a.meets(b), (one, other)


def test_the_picture_of_the_word_file_is_as_wide_as_its_text(notes):
    path = notes[0] / "M-001.docx"
    document = docx.Document(str(path))
    section = document.sections[0]
    room = section.page_width - section.left_margin - section.right_margin
    shape = document.inline_shapes[0]
    assert 0.6 * room < shape.width <= room
    with zipfile.ZipFile(path) as packed:
        name = next(name for name in packed.namelist() if name.startswith("word/media/"))
        picture = brightness(io.BytesIO(packed.read(name)))
    height, width = picture.shape
    assert shape.width / shape.height == pytest.approx(width / height, rel=0.02)
    row, first, last = longest_line(picture)
    assert last - first > 0.6 * width
    assert row > height / 2  # the axis of years
    reach = ink(picture)
    assert reach.left > 0
    assert reach.right < width
    assert reach.top > 0
    assert reach.bottom < height


@pytest.mark.skipif(not shutil.which("pdftoppm"), reason="nothing turns a PDF into a picture here")
def test_the_picture_of_the_pdf_is_as_wide_as_its_text(notes, tmp_path):
    page = page_of(notes[0] / "M-001.pdf", tmp_path)
    height, width = page.shape
    text = ink(page)
    assert text.left > 0.05 * width
    assert text.right < 0.95 * width
    assert text.bottom < 0.97 * height
    row, first, last = longest_line(page)
    assert last - first > 0.6 * text.width
    svg = drawing(notes[0] / "M-001.svg")
    scale = text.width / svg.frame.width
    above = int(row - scale * (svg.axes.bottom - svg.frame.top))
    assert above > 0
    strip = page[above + 2 : row, int(text.right) - 2 : int(text.right) + 1]
    assert (strip > 200).all(), "the picture is cut off at its right edge"


def test_the_page_of_a_note_shows_the_same_picture(notes):
    page = (notes[0] / "M-001.html").read_text("utf-8")
    found = re.search(r'<img src="data:image/svg\+xml;base64,[^"]+"[^>]*alt="([^"]+)"', page)
    found = found or re.search(r'<img[^>]*alt="([^"]+)"[^>]*src="data:image/svg', page)
    assert found
    assert "193" in found.group(1)
