"""Notes and indexes in their formats: nothing in them acts and nothing is lost."""

from __future__ import annotations

import base64
import hashlib
import io
import itertools
import re
import string
import zipfile
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import docx
import html5lib
import matplotlib
import openpyxl
import pypdf
import pytest
import yaml
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from markdown_it import MarkdownIt
from matplotlib.colors import to_hex

from dating import estimate, read_examination, read_maker
from dating.cautions import CAUTIONS
from dating.figures.notes import HEIGHT, NARROW, WIDTH, NoteWords, draw_note, svg_of
from dating.figures.style import CORE, REST
from dating.notes.file_names import LONGEST, file_name
from dating.notes.house import FILES, OURS, house
from dating.notes.index import index_html, index_markdown, index_of
from dating.notes.languages import language
from dating.notes.markdown import as_markdown
from dating.notes.note import Note, NoteSection, Table, note_of
from dating.notes.pdf import as_pdf
from dating.notes.picture import NotePicture, picture_for, picture_words
from dating.notes.plain_text import each_text, one_line
from dating.notes.sale import IndexEntry, entry_of
from dating.notes.sentences import Wording
from dating.notes.spreadsheet import index_xlsx
from dating.notes.web import as_html
from dating.notes.word import as_docx
from dating.reading import InputError
from dating.words.spacing import keep_per_cent

ROOT = Path(__file__).parent.parent
WORD = "word"
HOSTILE = (
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "</style><h1>",
    "# head",
    "1. one",
    "1931.",
    "- item",
    "+ item",
    "---",
    "===",
    "[a](http://x.org)",
    "![a](b.png)",
    "<http://x.org>",
    "&lt;b&gt; &amp; &#42;",
    "a | b",
    "a \\| b \\",
    "```x```",
    "~~a~~ *b* __c__ `d`",
    "> quote",
    "line\n\n# two",
    "    code",
    "tab\tbed\r\nline\u2028end",
    "{{ note.title }} {% raw %}",
    "#panic() $x$ = y",
    "=cmd|' /C calc'!A0",
    "{=1+1}",
    "@SUM(A1)",
    "http://x.org/a?b=c",
    "_x0041_ and _x000D_",
    "Zwölf ≥ 3 – „Größe“ < 90 %",
    "\x00\x0b\x7f\ufffe\ud800 a",
    "\u202ereversed",
)
TEXTS = st.text(st.characters(codec="utf-8"), min_size=1, max_size=25) | st.text(
    string.punctuation + " \n\tab19", min_size=1, max_size=12
)
BLANK = Note(
    language=WORD,
    kind=WORD,
    title=WORD,
    subtitle=WORD,
    invented=WORD,
    statement=WORD,
    short=WORD,
    chance=0.9,
    edtf=WORD,
    date=NoteSection(WORD, (WORD,)),
    sections=(NoteSection(WORD, (WORD, WORD)), NoteSection(WORD, (WORD,))),
    evidence=Table(WORD, (WORD,) * 5, ((WORD,) * 5,) * 2),
    closing=(NoteSection(WORD, (WORD,)),),
    opinion=WORD,
    record=Table(WORD, ("", ""), ((WORD, WORD),) * 2),
    picture=WORD,
)
ENTRY = IndexEntry(WORD, WORD, WORD, 0.9, WORD, 0.5, (WORD,), "note-1")
FAILED = IndexEntry(WORD, WORD, WORD, None, "", None, (), "", failed=True)


def hostile(test: Any) -> Any:
    """Give a test every hostile text, and many more."""
    for text in HOSTILE:
        test = example(text)(test)
    return settings(max_examples=25, deadline=None)(given(TEXTS)(test))


def filled(value: Any, text: str) -> Any:
    """Put a text in every place."""
    return each_text(value, lambda word: text if word == WORD else word)


def note_with(text: str) -> Note:
    return replace(filled(BLANK, text), language="en")


def once(text: str) -> str:
    """Say what is left of a text, and take only texts of which something is."""
    left = one_line(text)
    assume(left)
    return left


@pytest.fixture(scope="module")
def made() -> Any:
    maker = read_maker(ROOT / "priors/marrowby.yaml")
    seen = ("M-001", "M-003", "M-005", "M-010")
    files = [ROOT / f"demo_data/examinations/{name}.yaml" for name in seen]
    return {file.stem: estimate(maker, read_examination(file)) for file in files}


@pytest.fixture(scope="module")
def german() -> Wording:
    return Wording(language("de"))


@pytest.fixture(scope="module")
def note(made: Any, german: Wording) -> Note:
    return note_of(made["M-003"], german)


@pytest.fixture(scope="module")
def drawn(made: Any, german: Wording, note: Note) -> NotePicture:
    return picture_for(made["M-003"], german, note.picture)


@pytest.mark.parametrize(
    ("text", "line"),
    [
        (" a\r\n\n b\tc\u2028d\x0be ", "a b c d e"),
        ("3\N{NO-BREAK SPACE}mm", "3\N{NO-BREAK SPACE}mm"),
        ("a\x00\ufffe\ud800\u202eb", "ab"),
        ("e\u0301 \u05d0 日", "e\u0301 \u05d0 日"),
    ],
)
def test_text_is_put_on_one_line(text: str, line: str) -> None:
    assert one_line(text) == line


def tokens(text: str) -> tuple[list[str], list[str]]:
    """Parse Markdown into its structure and its texts."""
    shape, said = [], []
    for token in MarkdownIt("commonmark").enable(["table", "strikethrough"]).parse(text):
        shape.append(token.type)
        if token.type == "inline":
            kinds = [c.type for c in token.children if c.type not in {"text", "text_special"}]
            shape += [*kinds, *(str(c.attrs) for c in token.children if c.type == "link_open")]
            said.append("".join(c.content for c in token.children))
    return shape, said


@hostile
def test_markdown_shows_every_text_as_it_is(text: str) -> None:
    left = once(text)
    shape, said = tokens(as_markdown(note_with(WORD), house()))
    told = tokens(as_markdown(note_with(text), house()))
    assert told == (shape, [words.replace(WORD, left) for words in said])


@hostile
def test_an_index_in_markdown_shows_every_text_as_it_is(text: str) -> None:
    left = once(text)
    english = language("en")

    def told(word: str) -> tuple[list[str], list[str]]:
        entries = [filled(ENTRY, word), filled(FAILED, word)]
        return tokens(index_markdown(index_of(entries, english, (".html",)), house()))

    shape, said = told(WORD)
    assert told(text) == (shape, [words.replace(WORD, left) for words in said])


def test_markdown_has_a_table_of_the_evidence_and_the_picture(note: Note) -> None:
    text = as_markdown(note, house(), "M-003.svg")
    shape, said = tokens(text)
    assert shape.count("tr_open") == 1 + len(note.evidence.rows)
    assert shape.count("image") == 1
    assert note.statement in said
    assert "\n\n\n" not in text


def parsed(page: str) -> Any:
    return html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(page)


def elements(page: str) -> tuple[list[Any], list[str]]:
    """Parse a page into its elements and everything that it says."""
    every = list(parsed(page).iter())
    shape = [(str(item.tag), sorted(item.attrib)) for item in every]
    said = [
        text
        for item in every
        for text in (item.text or "", item.tail or "", *(v for _, v in sorted(item.attrib.items())))
    ]
    return shape, said


@hostile
def test_a_page_shows_every_text_as_it_is(text: str) -> None:
    left = once(text)
    picture = NotePicture(
        WORD, b"", b"", "data:image/svg+xml;base64,", "data:image/svg+xml;base64,"
    )
    shape, said = elements(as_html(note_with(WORD), house(), picture))
    told = elements(as_html(note_with(text), house(), replace(picture, words=text)))
    assert told[0] == shape
    assert told[1] == [filled_in(words, left) for words in said]


@hostile
def test_an_index_as_a_page_shows_every_text_as_it_is(text: str) -> None:
    left = once(text)
    english = language("en")

    def told(word: str) -> tuple[list[Any], list[str]]:
        entries = [filled(ENTRY, word), filled(FAILED, word)]
        return elements(index_html(index_of(entries, english, (".html",)), house()))

    shape, said = told(WORD)
    assert told(text) == (shape, [filled_in(words, left) for words in said])


def filled_in(words: str, text: str) -> str:
    """Put a text where a page has the word, but not in the names of its style's rules."""
    return words if "overflow-wrap" in words else keep_per_cent(words.replace(WORD, text))


def test_a_page_is_valid_and_orders_its_headings(note: Note, drawn: NotePicture) -> None:
    tree = parsed(as_html(note, house(), drawn))
    levels = [int(item.tag[1]) for item in tree.iter() if re.fullmatch("h[1-6]", str(item.tag))]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in itertools.pairwise(levels))
    assert tree.get("lang") == "de"
    (picture,) = tree.iter("img")
    assert picture.get("alt") == keep_per_cent(note.picture)
    assert all(head.get("scope") in {"col", "row"} for head in tree.iter("th"))
    ids = [item.get("id") for item in tree.iter() if item.get("id")]
    assert len(ids) == len(set(ids))
    named = [item.get("aria-labelledby") for item in tree.iter() if item.get("aria-labelledby")]
    assert set(named) <= set(ids)


def test_a_page_needs_nothing_beside_it_and_runs_nothing(note: Note, drawn: NotePicture) -> None:
    tree = parsed(as_html(note, house(), drawn))
    tags = {str(item.tag) for item in tree.iter()}
    assert not tags & {"script", "link", "iframe", "object", "form"}
    sources = [v for item in tree.iter() for k, v in item.attrib.items() if k in {"src", "srcset"}]
    assert sources
    assert all(source.startswith("data:image/svg+xml;base64,") for source in sources)
    metas = {
        item.get("http-equiv") or item.get("name"): item.get("content")
        for item in tree.iter("meta")
    }
    policy = metas["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "width=device-width" in metas["viewport"]


def test_the_policy_allows_the_style_of_the_page_and_no_other(note: Note) -> None:
    tree = parsed(as_html(note, house()))
    (style,) = tree.iter("style")
    wanted = base64.b64encode(hashlib.sha256(style.text.encode()).digest()).decode()
    policy = next(m.get("content") for m in tree.iter("meta") if m.get("http-equiv"))
    assert f"style-src 'sha256-{wanted}'" in policy


def luminance(colour: str) -> float:
    """WCAG 2.2, relative luminance."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def test_colours_stand_out_from_the_paper_by_day_and_night() -> None:
    style = (OURS / "note.css").read_text()
    for block in re.findall(r":root \{(.*?)\}", style, re.DOTALL):
        known = {
            name: value if len(value) == 7 else "#" + "".join(c * 2 for c in value[1:])
            for name, value in re.findall(r"--(\w+): (#\w+)", block)
        }
        for paper in ("paper", "wash"):
            for ink in ("ink", "quiet", "core", "doubt"):
                pair = sorted((luminance(known[paper]), luminance(known[ink])))
                assert (pair[1] + 0.05) / (pair[0] + 0.05) >= 4.5, (paper, ink)


def word_texts(content: bytes) -> list[str]:
    document = docx.Document(io.BytesIO(content))
    cells = [c.text for t in document.tables for row in t.rows for c in row.cells]
    return [p.text for p in document.paragraphs] + cells


@cache
def blank_word_texts() -> list[str]:
    return word_texts(as_docx(note_with(WORD), house()))


@hostile
def test_a_word_file_shows_every_text_as_it_is(text: str) -> None:
    left = keep_per_cent(once(text))
    told = word_texts(as_docx(note_with(text), house()))
    assert told == [words.replace(WORD, left) for words in blank_word_texts()]


def test_a_word_file_uses_real_styles_and_describes_itself(note: Note, drawn: NotePicture) -> None:
    document = docx.Document(io.BytesIO(as_docx(note, house(), drawn)))
    styles = {p.style.name for p in document.paragraphs}
    assert {"Title", "Subtitle", "Heading 1", "List Bullet", "Normal"} <= styles
    titles = [p.text for p in document.paragraphs if p.style.name == "Heading 1"]
    assert titles[-1] == note.record.heading
    evidence, record = document.tables
    assert [tuple(c.text for c in row.cells) for row in record.rows] == bound_rows(note.record)
    assert [tuple(c.text for c in row.cells) for row in evidence.rows[1:]] == bound_rows(
        note.evidence
    )
    assert evidence.rows[0]._tr.xpath("./w:trPr/w:tblHeader")
    (about,) = document.element.body.xpath(".//wp:docPr")
    assert about.get("descr") == keep_per_cent(note.picture)
    (spoken,) = document.styles.element.xpath("./w:docDefaults/w:rPrDefault/w:rPr/w:lang")
    assert spoken.values() == ["de"]
    known = document.core_properties
    assert (known.title, known.language, known.author) == (note.title, "de", "")
    assert known.created is None
    assert known.modified is None


def bound_rows(table: Table) -> list[tuple[str, ...]]:
    return [tuple(keep_per_cent(cell) for cell in row) for row in table.rows]


def pdf_text(content: bytes) -> str:
    text = "".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(content)).pages)
    return re.sub(r"[\s\xa0]", "", text)


@pytest.mark.parametrize("text", [*HOSTILE[:27], HOSTILE[29]])
def test_a_pdf_shows_every_text_as_it_is(text: str) -> None:
    printed = as_pdf(note_with(text), house())
    assert not printed.missing
    said = pdf_text(printed.pdf)
    assert said.count(re.sub(r"[\s\xa0]", "", one_line(text))) >= 15


@settings(max_examples=40, deadline=None)
@given(TEXTS)
def test_any_text_can_be_printed(text: str) -> None:
    printed = as_pdf(note_with(text), house())
    assert set(printed.missing) <= set(one_line(text))


def test_signs_that_no_font_has_are_named() -> None:
    assert as_pdf(note_with("a 日 b"), house()).missing == ("日",)


def test_a_pdf_is_tagged_titled_and_without_a_clock(note: Note, drawn: NotePicture) -> None:
    reader = pypdf.PdfReader(io.BytesIO(as_pdf(note, house(), drawn).pdf))
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "de"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert reader.metadata.title == note.title
    assert reader.metadata.creation_date is None
    assert "pdfuaid" in root["/Metadata"].get_data().decode()
    assert re.sub(r"\s", "", keep_per_cent(note.statement)) in pdf_text(
        as_pdf(note, house(), drawn).pdf
    )
    described = [o for o in every_object(reader) if isinstance(o, dict) and "/Alt" in o]
    assert [str(o["/Alt"]) for o in described] == [keep_per_cent(note.picture)]


def every_object(reader: pypdf.PdfReader) -> list[Any]:
    return [reader.get_object(number) for number in range(1, int(reader.trailer["/Size"]))]


def sheet_of(entries: list[IndexEntry]) -> Any:
    return openpyxl.load_workbook(io.BytesIO(index_xlsx(entries, language("en")))).active


@hostile
def test_a_spreadsheet_takes_every_text_for_text(text: str) -> None:
    left = once(text)
    sheet = sheet_of([filled(ENTRY, text), filled(FAILED, text)])
    cells = list(sheet.iter_rows(min_row=2))
    for place in (0, 1, 2, 4, 6):
        assert cells[0][place].data_type == "s"
        assert cells[0][place].value == left
    assert [cells[0][place].value for place in (3, 5)] == [0.9, 0.5]
    assert all(cell.data_type in {"s", "n"} for row in cells for cell in row)
    assert not [cell for row in cells for cell in row if cell.hyperlink]


def test_a_spreadsheet_freezes_filters_and_counts_in_per_cent() -> None:
    sheet = sheet_of([ENTRY, FAILED])
    assert sheet.freeze_panes == "B2"
    assert sheet.auto_filter.ref == "A1:G3"
    assert sheet["D2"].number_format == "0 %"
    assert sheet["A2"].quotePrefix
    assert sheet["D3"].value is None


def test_the_same_note_gives_the_same_bytes(made: Any, german: Wording) -> None:
    def every() -> list[object]:
        said = note_of(made["M-010"], german)
        picture = picture_for(made["M-010"], german, said.picture)
        entry = entry_of(made["M-010"], german, "1", "note")
        return [
            picture,
            as_markdown(said, house()),
            as_html(said, house(), picture),
            as_docx(said, house(), picture),
            as_pdf(said, house(), picture),
            index_xlsx([entry], german.language),
        ]

    assert every() == every()


def test_packed_files_have_no_clock(note: Note, drawn: NotePicture) -> None:
    for content in (as_docx(note, house(), drawn), index_xlsx([ENTRY], language("en"))):
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            assert {part.date_time[0] for part in packed.infolist()} == {1980}
            text = "".join(packed.read(n).decode() for n in packed.namelist() if "docProps" in n)
            assert set(re.findall(r"\b(20\d\d)-\d\d-\d\dT", text)) == set()


def test_pictures_show_all_that_is_claimed(made: Any, german: Wording) -> None:
    for name, finding in made.items():
        picture = picture_for(finding, german, "what it shows")
        assert picture.svg.startswith(b"<?xml"), name
        assert picture.png.startswith(b"\x89PNG")
        assert picture.wide != picture.narrow
        assert b"<text" not in picture.svg


def test_bars_of_the_set_are_dark_and_the_claim_is_a_band(made: Any) -> None:
    words = NoteWords(
        "label", "month", "year", "claim", lambda chance, digits: f"{chance:.{digits}f}"
    )
    finding = made["M-001"]
    first = finding.mode - 2
    axes = draw_note(finding, [(first, first + 5)], words).axes[0]
    bars = [p for p in axes.patches if to_hex(p.get_facecolor()) == CORE]
    assert len(bars) == finding.highest_density(finding.level).months
    drawn_mass = sum(p.get_height() for p in axes.containers[0])
    assert drawn_mass == pytest.approx(1, abs=0.005)
    (band,) = [p for p in axes.patches if to_hex(p.get_facecolor()) == REST]
    assert (band.get_x() * 12, band.get_width() * 12) == pytest.approx((first, 6))
    by_year = draw_note(made["M-005"], [(1926 * 12, 1938 * 12 + 11)], words).axes[0]
    heights = [sum(p.get_height() for p in c) for c in by_year.containers]
    assert sum(heights) == pytest.approx(1, abs=0.005)


def house_with(folder: Path, **files: str) -> Path:
    for name, text in files.items():
        (folder / name.replace("__", ".")).write_text(text)
    return folder


def test_a_house_replaces_each_file_and_no_other(tmp_path: Path, drawn: NotePicture) -> None:
    own = {
        "note__md__j2": "OWN {{ note.title }}",
        "note__html__j2": "<!DOCTYPE html><title>OWN</title>{{ style }}{{ note.title }}",
        "index__md__j2": "OWN {{ index.title }}",
        "index__html__j2": "<!DOCTYPE html><title>OWN</title>{{ index.count }}",
    }
    index = index_of([ENTRY], language("en"))
    ask = {
        "note__md__j2": lambda of: as_markdown(BLANK, of),
        "note__html__j2": lambda of: as_html(BLANK, of, drawn),
        "index__md__j2": lambda of: index_markdown(index, of),
        "index__html__j2": lambda of: index_html(index, of),
    }
    for name, text in own.items():
        (tmp_path / name).mkdir()
        mine = house(house_with(tmp_path / name, **{name: text}))
        for other, written in ask.items():
            assert ("OWN" in written(mine)) == (other == name)


def test_a_house_may_bring_its_style_print_and_word_file(tmp_path: Path) -> None:
    house_with(tmp_path, note__css="p { color: #123456; }", note__typ=PRINT)
    base = docx.Document()
    base.styles["Title"].font.name = "House Sans"
    base.sections[0].header.paragraphs[0].text = "the house"
    base.add_paragraph("to be left out")
    base.save(str(tmp_path / "note.docx"))
    mine = house(tmp_path)
    assert "#123456" in as_html(note_with(WORD), mine)
    assert "HOUSEword" in pdf_text(as_pdf(note_with(WORD), mine).pdf)
    made = docx.Document(io.BytesIO(as_docx(note_with(WORD), mine)))
    assert made.styles["Title"].font.name == "House Sans"
    assert made.sections[0].header.paragraphs[0].text == "the house"
    assert made.paragraphs[1].text == WORD
    assert "to be left out" not in [p.text for p in made.paragraphs]
    assert as_docx(note_with(WORD), mine) == as_docx(note_with(WORD), mine)


PRINT = """#let note = json(bytes(sys.inputs.note))
#set document(title: note.title, date: none)
#set text(lang: "en")
HOUSE #note.title
"""


def test_a_house_without_some_styles_is_used_all_the_same(tmp_path: Path) -> None:
    base = docx.Document()
    for name in ("List Bullet", "Subtitle", "Table Grid", "Quote"):
        base.styles[name].delete()
    base.save(str(tmp_path / "note.docx"))
    assert WORD in word_texts(as_docx(note_with(WORD), house(tmp_path)))


@pytest.mark.parametrize(
    ("name", "text", "line", "found"),
    [
        ("note.md.j2", "a\n{% if %}\n", 2, ""),
        ("note.md.j2", "a\n\n{{ titel }}", 3, "titel"),
        ("note.html.j2", "a\n{{ note.titel }}", 2, "note.titel"),
        ("index.html.j2", "{{ note.title }}", 1, "note"),
        ("index.md.j2", "\n{{ index.lots }}", 2, "index.lots"),
    ],
)
def test_faults_of_a_template_are_found_before_it_is_used(
    tmp_path: Path, name: str, text: str, line: int, found: str
) -> None:
    (tmp_path / name).write_text(text)
    with pytest.raises(InputError) as caught:
        house(tmp_path)
    (problem,) = caught.value.problems
    assert (problem.file, problem.line, problem.found) == (str(tmp_path / name), line, found)
    wanted = "note.title" if name.startswith("note") else "index.title"
    assert wanted in problem.allowed


@pytest.mark.parametrize(
    "text",
    [
        "a\n{{ note.date.titel }}",
        "a\n{{ note.title + 1 }}",
        "a\n{{ note.date.__class__.__mro__ }}",
        "a\n{% include 'other.j2' %}",
        "a\n{% include '../secret.txt' %}",
        "a\n{{ note.chance / 0 }}",
    ],
)
def test_faults_that_show_in_use_are_located(tmp_path: Path, text: str) -> None:
    inside = tmp_path / "house"
    inside.mkdir()
    (tmp_path / "secret.txt").write_text("secret")
    (inside / "note.md.j2").write_text(text)
    mine = house(inside)
    with pytest.raises(InputError) as caught:
        as_markdown(note_with(WORD), mine)
    (problem,) = caught.value.problems
    assert (problem.file, problem.line) == (str(inside / "note.md.j2"), 2)
    assert "note.title" in problem.allowed


def test_a_fault_of_a_printed_template_is_located(tmp_path: Path) -> None:
    mine = house(house_with(tmp_path, note__typ='#set text(lang: "en")\n\n#nothing()\n'))
    with pytest.raises(InputError) as caught:
        as_pdf(note_with(WORD), mine)
    (problem,) = caught.value.problems
    assert (problem.file, problem.line) == (str(tmp_path / "note.typ"), 3)
    assert "nothing" in problem.message


def test_a_house_that_is_none_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such folder"):
        house(tmp_path / "none")
    (tmp_path / "notes.css").write_text("p {}")
    with pytest.raises(InputError) as caught:
        house(tmp_path)
    (problem,) = caught.value.problems
    assert all(name in problem.allowed for name in FILES)
    assert problem.nearest == "note.css"


def test_a_misnamed_file_beside_a_good_one_is_refused(tmp_path: Path) -> None:
    house_with(tmp_path, note__css="p {}", note__htm__j2="x")
    with pytest.raises(InputError) as caught:
        house(tmp_path)
    assert caught.value.problems[0].nearest == "note.html.j2"


def test_a_style_may_not_leave_its_element(tmp_path: Path) -> None:
    house_with(tmp_path, note__css="p {}\n</STYLE ><script>")
    with pytest.raises(InputError) as caught:
        house(tmp_path)
    assert caught.value.problems[0].line == 2


def test_what_is_no_word_file_is_refused(tmp_path: Path) -> None:
    for content in (b"no zip", b"PK\x05\x06" + bytes(18)):
        (tmp_path / "note.docx").write_bytes(content)
        with pytest.raises(InputError, match="not a Word file"):
            as_docx(note_with(WORD), house(tmp_path))


NAMES = st.text(max_size=90) | st.sampled_from(
    ["../../etc", "NUL", "com1", "LPT¹", "", "INDEX", "a:b"]
)


@given(st.lists(NAMES, max_size=12))
def test_names_of_files_are_safe_and_their_own(words: list[str]) -> None:
    taken: list[str] = []
    for each in words:
        name = file_name(each, taken)
        assert re.fullmatch(r"[A-Za-z0-9]([A-Za-z0-9-]*[A-Za-z0-9])?", name)
        assert len(name) <= LONGEST
        assert name.lower() not in {other.lower() for other in taken}
        assert not re.fullmatch(r"(?i)con|prn|aux|nul|(com|lpt)\d|index", name)
        assert file_name(each, taken) == name
        taken.append(name)


def test_names_of_files_stay_apart_where_letters_differ_in_size_alone() -> None:
    assert file_name("LOT 7", ["lot-7"]) == "LOT-7-2"
    assert file_name("x" * 80, ["x" * LONGEST]) == "x" * (LONGEST - 2) + "-2"
    assert file_name("con") == "lot-con"


# Every language, style of dates and format ----------------------------------------------------


LONG = {
    "language": "fr-CA",
    "name": "Long-winded",
    "picture_axis": "the probability that the instrument was completed in each calendar year, " * 2,
    "picture_axis_month": "the probability that the instrument was completed in each month, " * 3,
    "picture_set": "Wahrscheinlichkeits" * 9 + " of the months that hold {level}",
    "picture_legend": "the date that is stated in the words of the note above this picture",
    "percent": "{number} in every hundred of such instruments",
    "percent_american": "{number} of 100",
}


@pytest.fixture(scope="module")
def tongues(tmp_path_factory: Any) -> dict[str, str]:
    """Our languages, and a house's own that takes many words."""
    file = tmp_path_factory.mktemp("own") / "long.yaml"
    english = yaml.safe_load((OURS.parent / "languages/en.yaml").read_text("utf-8"))
    own = {**english, "cautions": CAUTIONS, **LONG}
    file.write_text(yaml.safe_dump(own, allow_unicode=True), "utf-8")
    return {"en": "en", "de": "de", "long": str(file)}


@pytest.mark.parametrize("width", [WIDTH, NARROW], ids=["wide", "narrow"])
@pytest.mark.parametrize("tongue", ["en", "de", "long"])
def test_no_words_of_a_picture_are_wider_than_its_strip(
    made: Any, tongues: dict[str, str], tongue: str, width: float
) -> None:
    finding, wording = made["M-010"], Wording(language(tongues[tongue]))
    claimed = [(finding.mode, finding.mode + 5)]
    figure = draw_note(finding, claimed, picture_words(wording, "what it shows"), width)
    figure.draw_without_rendering()
    (axes,) = figure.axes
    strip, whole, legend = (part.get_window_extent() for part in (axes, figure, axes.get_legend()))
    assert strip.width >= (0.7 if width == WIDTH else 0.6) * whole.width
    assert strip.height >= 0.55 * HEIGHT * figure.dpi
    assert legend.x1 <= strip.x1 + 0.01 * whole.width
    assert legend.y0 >= strip.y1
    words = [*axes.get_legend().get_texts(), *axes.get_xticklabels(), *axes.get_yticklabels()]
    for text in words:
        box = text.get_window_extent()
        assert whole.x0 <= box.x0
        assert box.x1 <= whole.x1 + 0.01 * whole.width
        assert whole.y0 <= box.y0
        assert box.y1 <= whole.y1
    said = "".join(text.get_text() for text in axes.get_legend().get_texts())
    assert re.sub(r"\s", "", wording.language.texts["picture_legend"]) in re.sub(r"\s", "", said)


@pytest.mark.parametrize("style", ["british", "american"])
@pytest.mark.parametrize("tongue", ["en", "de", "long"])
def test_every_language_and_style_is_set_in_every_format(
    made: Any, tongues: dict[str, str], tongue: str, style: Any
) -> None:
    wording = Wording(language(tongues[tongue], style))
    said = note_of(made["M-003"], wording)
    spoken = {"en": "en-US" if style == "american" else "en", "de": "de", "long": "fr-CA"}[tongue]
    statement = re.sub(r"\s", "", keep_per_cent(said.statement))
    printed = as_pdf(said, house())
    assert pypdf.PdfReader(io.BytesIO(printed.pdf)).trailer["/Root"]["/Lang"] == spoken
    assert statement.replace("-", "") in re.sub("[-\xad]", "", pdf_text(printed.pdf))
    page = parsed(as_html(said, house()))
    assert page.get("lang") == spoken
    assert statement in re.sub(r"\s", "", "".join(page.itertext()))
    word = docx.Document(io.BytesIO(as_docx(said, house())))
    assert word.core_properties.language == spoken
    assert keep_per_cent(said.statement) in [paragraph.text for paragraph in word.paragraphs]
    assert as_markdown(said, house())


@pytest.mark.parametrize("code", ["English", "e", "en_US", "en-", "zh--Hant"])
def test_a_language_file_needs_a_code_that_files_can_carry(tmp_path: Path, code: str) -> None:
    english = yaml.safe_load((OURS.parent / "languages/en.yaml").read_text("utf-8"))
    own = {**english, "cautions": CAUTIONS, "language": code}
    (tmp_path / "own.yaml").write_text(yaml.safe_dump(own), "utf-8")
    with pytest.raises(InputError, match="no code of a language"):
        language(tmp_path / "own.yaml")


@pytest.mark.parametrize("other", [{"savefig.bbox": "tight"}, {"font.size": 20.0}])
def test_a_picture_does_not_depend_on_what_others_have_set(other):
    """A sale that goes on in another program must make the same bytes."""
    maker = read_maker("priors/marrowby.yaml")
    finding = estimate(maker, read_examination("demo_data/examinations/M-001.yaml"))
    claimed = [(finding.mode, finding.mode + 11)]
    words = picture_words(Wording(language("en", "british"), 0.9, 5), "what it shows")
    alone = svg_of(draw_note(finding, claimed, words))
    with matplotlib.rc_context(other):
        assert svg_of(draw_note(finding, claimed, words)) == alone
