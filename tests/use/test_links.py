"""Whoever follows a link of an index, a note or a page comes to what it says."""

import re
from pathlib import Path

import pytest

from dating.words.guide import TOPICS
from tests.serving import Page, ask, linked, pages_of
from tests.use.commands import DEMO, dating, success
from tests.use.opening import followed, links_of, words_of

ENDINGS = {".md", ".html", ".docx", ".pdf", ".jsonld"}
LOTS = ("1", "2", "3")


@pytest.mark.parametrize("index", ["index.html", "index.md"])
def test_the_house_follows_every_link_of_the_index_to_the_note_of_its_lot(sale, index):
    links = links_of(sale / index)
    targets = followed(sale / index, links)
    assert {(path.stem, path.suffix) for path in targets} == {
        (f"lot-{lot}", ending) for lot in LOTS for ending in ENDINGS
    }
    for path in targets:
        assert re.search(rf"\b{path.stem[4:]}\b", words_of(path))
    labels = [label for label, _ in links]
    assert not [label for label in labels if not label.strip() or label.startswith(".")]


def test_the_house_opens_a_lot_from_the_spreadsheet(sale):
    targets = followed(sale / "index.xlsx", links_of(sale / "index.xlsx"))
    assert {path.stem for path in targets} == {f"lot-{lot}" for lot in LOTS}


def test_each_file_of_the_sale_opens_as_what_its_name_says(sale):
    files = [path for path in sorted(sale.iterdir()) if not path.name.startswith(".")]
    assert {path.stem for path in files} == {"index", "sale", *(f"lot-{lot}" for lot in LOTS)}
    for path in files:
        words = words_of(path)
        if path.suffix in ENDINGS | {".xlsx"}:
            assert "lot" in words.lower(), path.name


def test_every_link_of_every_note_leads_somewhere(sale):
    for path in [*sale.glob("lot-*.html"), *sale.glob("lot-*.md")]:
        followed(path, links_of(path))
    assert followed(sale / "lot-1.md", links_of(sale / "lot-1.md")) == [sale / "lot-1.svg"]


@pytest.mark.parametrize("formats", [("pdf", "linked-art"), ("none",)])
def test_an_index_of_fewer_formats_links_to_these_alone(lyres, formats):
    chosen = [word for form in formats for word in ("--as", form)]
    success(dating("sale", "sale.csv", "--out", "sale", *chosen, cwd=lyres))
    written = [] if formats == ("none",) else [".pdf", ".jsonld"]
    for name in ("index.html", "index.md", "index.xlsx"):
        index = lyres / "sale" / name
        assert [path.suffix for path in followed(index, links_of(index))] == written * 2


def test_an_odd_lot_number_keeps_its_links(lyres):
    lots = lyres / "sale.csv"
    lots.write_text(lots.read_text("utf-8").replace("\n1,", "\n12 a/ä%20#?,"), "utf-8")
    success(dating("sale", lots, "--out", "sale", "--as", "markdown", cwd=lyres))
    for name in ("index.html", "index.md", "index.xlsx"):
        assert len(followed(lyres / "sale" / name, links_of(lyres / "sale" / name))) == 2


@pytest.fixture(scope="module")
def pages(demo):
    """The pages of the demo, and three at most of each address that links lead to."""
    app = pages_of(demo)
    return app, [found for answers in linked(app, 3).values() for found in answers]


def test_every_internal_link_of_the_pages_answers(pages):
    _, found = pages
    assert len(found) > 10
    assert not {place: answer.status for place, answer in found if answer.status != 200}
    for place, answer in found:
        ids = set(re.findall(r'\bid="([^"]+)"', answer.text))
        inside = {link[1:] for link in Page(answer.text).links if link[:1] == "#"}
        assert inside <= ids, place


def test_every_picture_style_and_script_that_the_pages_name_is_there(pages):
    app, found = pages
    named = {
        address.replace("&amp;", "&").partition("#")[0]
        for _, answer in found
        for address in re.findall(r'(?:src|<link[^>]+href)="(/[^"]+)"', answer.text)
    }
    assert named
    for address in sorted(named):
        path, _, query = address.partition("?")
        assert ask(app, address=path, query=query).status == 200, address


def test_an_editor_follows_the_links_of_the_page_of_claims(lyres):
    success(dating("weigh", "claims.yaml", "--page", "claims.html", cwd=lyres))
    page = lyres / "claims.html"
    assert "Metal came in before the middle of 1932." in words_of(page)
    followed(page, links_of(page))
    ids = set(re.findall(r'\bid="([^"]+)"', page.read_text("utf-8")))
    inside = {address[1:] for _, address in links_of(page) if address.startswith("#")}
    assert inside <= ids


DOCUMENTS = ["README.md", "DEVELOPERS.md", "demo_data/README.md"]
DOCUMENTS += [f"dating/guide/{topic}.md" for topic in TOPICS]


@pytest.mark.parametrize("document", DOCUMENTS)
def test_a_reader_follows_the_links_of_the_documents(document):
    path = Path(DEMO.parent) / document
    for label, address in links_of(path):
        if not re.match(r"[a-z]+:|#", address):
            assert (path.parent / address.partition("#")[0]).exists(), (label, address)
