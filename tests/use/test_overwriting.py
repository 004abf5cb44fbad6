"""No command destroys what a person has: inputs never, files of value only with --replace."""

import shutil
import subprocess
import sys
import time

import pytest

from tests.serving import copied_demo
from tests.use.commands import (
    START,
    contents,
    dating,
    environment,
    first_lots,
    refusal,
    success,
)
from tests.use.opening import followed, links_of, words_of

VALUED = {
    "a maker file": ("draft", "corpus.csv", "--name", "D", "--out", "there.yaml"),
    "notes": ("note", "L-1.yaml", "--as", "markdown", "--out", "notes"),
    "a sale": ("sale", "sale.csv", "--as", "markdown", "--out", "sale"),
    "a table": ("sale", "instruments.csv", "--maker", "lyres.yaml", "--table", "there.csv"),
}
PAGES = {
    "a picture": ("estimate", "L-1.yaml", "--picture", "there.svg"),
    "a page of claims": ("weigh", "claims.yaml", "--page", "there.html"),
    "a picture of trust": ("calibrate", "lyres.yaml", "corpus.csv", "--picture", "there.png"),
}
INPUTS = {
    "learned over the corpus": ("learn", "lyres.yaml", "corpus.csv", "--out", "corpus.csv"),
    "learned over the maker": ("learn", "lyres.yaml", "corpus.csv", "--out", "lyres.yaml"),
    "report over the corpus": (
        *("learn", "lyres.yaml", "corpus.csv", "--out", "l.nc", "--draws", "10"),
        *("--report", "corpus.csv"),
    ),
    "the corpus by a longer way": (
        *("learn", "lyres.yaml", "corpus.csv", "--out", "../lyres/corpus.csv"),
    ),
    "the corpus by a link": ("learn", "lyres.yaml", "corpus.csv", "--out", "link.nc"),
    "the corpus by a hard link": ("learn", "lyres.yaml", "corpus.csv", "--out", "hard.nc"),
    "a table over its table": (
        *("sale", "instruments.csv", "--maker", "lyres.yaml", "--table", "instruments.csv"),
    ),
    "a table over the sale, with notes": (
        *("sale", "sale.csv", "--out", "s", "--as", "none", "--table", "./sale.csv"),
    ),
    "a table over the maker": (
        *("sale", "instruments.csv", "--maker", "maker.csv", "--table", "maker.csv"),
    ),
    "a note over its examination": (
        *("note", "L-1.md", "--maker", "lyres.yaml", "--as", "markdown", "--out", "."),
    ),
    "a picture over its examination": (
        *("estimate", "L-1.svg", "--maker", "lyres.yaml", "--picture", "L-1.svg"),
    ),
    "a page over its claims": (
        *("weigh", "claims.html", "--maker", "lyres.yaml", "--page", "claims.html"),
    ),
    "a draft over its corpus": ("draft", "corpus.yaml", "--name", "D", "--out", "corpus.yaml"),
    "a picture over the maker": (
        *("calibrate", "maker.svg", "corpus.csv", "--picture", "maker.svg"),
    ),
}


@pytest.fixture
def house(lyres):
    """Inputs under names that an output may have."""
    for name, copy in (
        ("L-1.yaml", "L-1.md"),
        ("L-1.yaml", "L-1.svg"),
        ("claims.yaml", "claims.html"),
        ("corpus.csv", "corpus.yaml"),
        ("lyres.yaml", "maker.csv"),
        ("lyres.yaml", "maker.svg"),
    ):
        shutil.copy(lyres / name, lyres / copy)
    (lyres / "link.nc").symlink_to("corpus.csv")
    (lyres / "hard.nc").hardlink_to(lyres / "corpus.csv")
    return lyres


@pytest.mark.parametrize("more", [(), ("--replace",)], ids=["", "replace"])
@pytest.mark.parametrize("case", INPUTS)
def test_no_output_is_an_input(house, case, more):
    before = contents(house)
    arguments = (*INPUTS[case], *more)
    if more and "--replace" not in success(dating(arguments[0], "--help")).out:
        pytest.skip("this command replaces nothing of value")
    refusal(dating(*arguments, cwd=house), status=(2,))
    assert contents(house) == before


@pytest.mark.parametrize("case", VALUED)
def test_what_is_of_value_is_replaced_only_where_that_is_asked_for(lyres, case):
    arguments = VALUED[case]
    success(dating(*arguments, cwd=lyres))
    written = contents(lyres)
    shown = dating(*arguments, cwd=lyres)
    refusal(shown, "--replace")
    assert contents(lyres) == written
    success(dating(*arguments, "--replace", cwd=lyres))
    assert contents(lyres).keys() == written.keys()


@pytest.mark.parametrize("name", ["lyres.yaml", "L-1.yaml", "claims.yaml", "corpus.csv"])
def test_a_draft_never_takes_the_place_of_another_file_in_silence(lyres, name):
    (lyres / "new.csv").write_bytes((lyres / "corpus.csv").read_bytes())
    before = contents(lyres)
    refusal(dating("draft", "new.csv", "--name", "D", "--out", name, cwd=lyres))
    assert contents(lyres) == before


def test_what_was_learned_is_not_replaced_unasked(concertinas, tmp_path):
    folder = shutil.copytree(concertinas.folder, tmp_path / "works")
    before = contents(folder)
    learn = ("learn", "maker.yaml", "corpus.csv", "--draws", "10", "--insist")
    refusal(dating(*learn, "--out", "learned.nc", cwd=folder), "--replace")
    correct = ("calibrate", "maker.yaml", "corpus.csv", "--learned", "learned.nc")
    refusal(dating(*correct, "--correct", "learned.nc", cwd=folder))
    assert contents(folder) == before


@pytest.mark.parametrize("case", PAGES)
def test_a_picture_or_a_page_is_written_again_without_a_question(lyres, case):
    success(dating(*PAGES[case], cwd=lyres))
    written = contents(lyres)
    success(dating(*PAGES[case], cwd=lyres))
    assert contents(lyres) == written


def test_a_smaller_sale_leaves_no_old_lots_and_names_what_is_not_its_own(lyres):
    sale = ("sale", "sale.csv", "--as", "markdown", "--as", "linked-art", "--out", "sale")
    success(dating(*sale, cwd=lyres))
    (lyres / "sale" / "photograph of lot 2.jpg").write_bytes(b"a photograph")
    (lyres / "sale" / "lot-2-letter.md").write_bytes(b"a letter")
    lines = (lyres / "sale.csv").read_text("utf-8").splitlines(keepends=True)
    (lyres / "sale.csv").write_text("".join(lines[:3]), "utf-8")
    before = contents(lyres)
    refusal(dating(*sale, cwd=lyres), "--replace")
    assert contents(lyres) == before
    answer = success(dating(*sale, "--replace", cwd=lyres))
    assert "photograph of lot 2.jpg" in answer.words
    assert "lot-2-letter.md" in answer.words
    files = {path.name for path in (lyres / "sale").iterdir() if path.name[0] != "."}
    index = {"index.html", "index.md", "index.xlsx", "sale.json"}
    lots = {"lot-1.md", "lot-1.svg", "lot-1.jsonld"}
    assert files == index | lots | {"photograph of lot 2.jpg", "lot-2-letter.md"}
    assert (lyres / "sale" / "photograph of lot 2.jpg").read_bytes() == b"a photograph"
    assert len(followed(lyres / "sale" / "index.md", links_of(lyres / "sale" / "index.md"))) == 2


def test_a_lot_that_cannot_be_read_makes_the_sale_fail_and_the_rest_is_written(lyres):
    text = (lyres / "sale.csv").read_text("utf-8")
    (lyres / "sale.csv").write_text(text.replace(",metal,", ",mettal,"), "utf-8")
    sale = ("sale", "sale.csv", "--as", "markdown", "--out", "sale", "--table", "t.csv")
    answer = refusal(dating(*sale, cwd=lyres), "line 3", "ends", "mettal", status=(1,))
    assert "1" in answer.words
    assert (lyres / "sale" / "lot-2.md").exists()
    assert not (lyres / "sale" / "lot-1.md").exists()
    assert "lot-2.md" in (lyres / "sale" / "index.md").read_text("utf-8")


@pytest.mark.long
def test_a_sale_that_was_interrupted_goes_on_where_it_stopped(tmp_path):
    folder = copied_demo(tmp_path / "house")
    lots = first_lots(folder / "demo_data" / "six.csv", 6)
    sale = ("sale", str(lots), "--as", "markdown", "--out", "sale")
    with subprocess.Popen(
        [sys.executable, "-c", START, *sale],
        cwd=folder,
        env=environment(),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    ) as selling:
        while selling.poll() is None and not list(folder.rglob("*lot-1*.md")):
            time.sleep(0.005)
        selling.kill()
    begun = {path.name: path.stat().st_mtime_ns for path in folder.rglob("lot-*.md")}
    assert 0 < len(begun) < 6
    assert not (folder / "sale" / "index.html").exists()
    answer = success(dating(*sale, cwd=folder))
    made = folder / "sale"
    index = {"index.html", "index.md", "index.xlsx", "sale.json"}
    lots = {f"lot-{lot}.{end}" for lot in range(1, 7) for end in ("md", "svg")}
    assert {path.name for path in made.iterdir() if path.name[0] != "."} == index | lots
    for path in made.iterdir():
        assert path.name[0] == "." or words_of(path)
    assert len(followed(made / "index.html", links_of(made / "index.html"))) == 6
    again = [name for name, when in begun.items() if (made / name).stat().st_mtime_ns > when]
    assert len(again) <= 1, f"written again: {again}; {answer.words}"  # the last was under way
    success(dating(*sale[:-1], "whole", cwd=folder))
    assert contents(folder / "whole") == contents(made)
