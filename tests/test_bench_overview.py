"""A folder of many files: listed page by page, searched, and read no more than a page needs."""

from urllib.parse import unquote

import pytest

from dating.bench import listing
from dating.bench.listing import Listing
from dating.bench.overview import EACH, FIRST
from tests.serving import Page, ask, copied_demo, pages_of

MAKER = "priors/marrowby.yaml"
MAKERS = [f"/maker?file=priors/{name}.yaml" for name in ("marrowby", "velquist")]
FOLDERS = ("demo_data/examinations", "demo_data/velquist_examinations")
MANY = 2500


def links_to(answer, address):
    return [unquote(link) for link in Page(answer.text).links if link.startswith(f"{address}?")]


@pytest.fixture(scope="module")
def crowded(tmp_path_factory):
    """The demo with so many examinations that they are not shown on one page."""
    folder = copied_demo(tmp_path_factory.mktemp("crowded"))
    text = "instrument: {0}\nmaker: marrowby\nseen: {{ring: inlaid}}\n"
    for number in range(MANY):
        path = folder / "demo_data" / "examinations" / f"X-{number:04}.yaml"
        path.write_text(text.format(path.stem), encoding="utf-8")
    return folder


@pytest.fixture
def looked_into(monkeypatch):
    """Names of the files that are opened to tell what they hold."""
    found = []
    tell = listing.kind_of
    monkeypatch.setattr(listing, "kind_of", lambda path: found.append(path.name) or tell(path))
    return found


def test_every_file_of_a_full_folder_is_listed_and_the_makers_too(crowded):
    app = pages_of(crowded)
    first = ask(app)
    assert links_to(first, "/maker") == MAKERS
    assert len(links_to(first, "/examine")) == FIRST + len(MAKERS)
    (whole,) = [link for link in links_to(first, "/") if "kind=examination" in link]
    found, place, pages = [], whole, 0
    while place:
        answer = ask(app, address="/", query=place.partition("?")[2])
        found += links_to(answer, "/examine")
        pages += 1
        onward = [part for part in answer.text.split("<a ") if 'rel="next"' in part]
        place = onward[0].split('href="')[1].split('"')[0].replace("&amp;", "&") if onward else ""
    stored = [path for folder in FOLDERS for path in sorted((crowded / folder).glob("*.yaml"))]
    assert len(stored) == MANY + 20
    assert [link.rpartition("/")[2] for link in found] == [path.name for path in stored]
    assert pages == -(-len(stored) // EACH)


def test_a_part_of_the_name_finds_a_file(crowded):
    app = pages_of(crowded)
    answer = ask(app, query={"find": "x-0123"})
    assert links_to(answer, "/examine") == ["/examine?file=demo_data/examinations/X-0123.yaml"]
    assert links_to(answer, "/maker") == []
    assert "There is no maker file" not in answer.text
    none = ask(app, query={"find": "<i>", "kind": "examination"})
    assert "“&lt;i&gt;”" in none.text
    for odd in ("0", "-1", "x", "9" * 30, "26", "\N{SUPERSCRIPT TWO}"):
        answer = ask(app, query={"kind": "examination", "page": odd})
        assert answer.status == 200
        assert links_to(answer, "/examine")


def test_a_page_of_one_examination_looks_into_no_other(crowded, looked_into):
    file = "demo_data/examinations/X-0007.yaml"
    app = pages_of(crowded)
    assert ask(app, address="/examine", query={"file": file}).status == 200
    assert ask(app, address="/examine", query={"maker": MAKER}).status == 200
    assert ask(app, address="/maker", query={"file": MAKER}).status == 200
    assert looked_into == ["marrowby.yaml"]


def test_a_file_is_looked_into_once_until_it_changes(tmp_path, looked_into):
    path = tmp_path / "A.yaml"
    path.write_text("instrument: A\nmaker: marrowby\n", encoding="utf-8")
    held = Listing(tmp_path)
    assert [file.kind for _ in range(3) for file in held.files()] == ["examination"] * 3
    assert looked_into == ["A.yaml"]
    path.write_text("claims:\n  - claim: one\n", encoding="utf-8")
    assert [file.kind for file in held.files()] == ["claims"]


def test_a_folder_with_too_many_files_says_so_and_keeps_its_maker(tmp_path, monkeypatch):
    folder = copied_demo(tmp_path)
    monkeypatch.setattr(listing, "MOST_FILES", 12)
    answer = ask(pages_of(folder))
    assert links_to(answer, "/maker") == MAKERS
    assert "not all of them are listed" in answer.text


def test_a_small_folder_is_listed_whole_and_without_a_search(tmp_path):
    answer = ask(pages_of(copied_demo(tmp_path)))
    assert len(links_to(answer, "/examine")) == 20 + len(MAKERS)
    assert 'name="find"' not in answer.text
