"""``dating sale --side-by-side``: the nearest lot from which a lot is surely told apart."""

from __future__ import annotations

import csv
import html
import io
import json
import re
from pathlib import Path

import docx
import pypdf
import pytest
import xarray as xr
from click.testing import CliRunner

from dating import compare, read_maker
from dating.cli.main import main
from dating.notes.formats import ENDINGS
from dating.notes.languages import language
from dating.notes.lots import read_lots
from dating.notes.neighbours import (
    SURE,
    LotNeighbour,
    lot_neighbours,
    nearest_neighbours,
    neighbour_sentences,
)
from dating.notes.rules import rules_text
from dating.notes.sentences import Wording

SALE = Path("demo_data/marrowby_sale.csv")
MAKER = Path("priors/marrowby.yaml")
RUN = ("sale", "--maker", MAKER)
FEW = ("2", "11", "25", "29")


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def sheet_of(folder, numbers, **cells):
    """Some lots of the demo sale; cells of the last of them changed."""
    with SALE.open(encoding="utf-8") as stream:
        head, *rows = csv.reader(line for line in stream if not line.startswith("#"))
    chosen = [next(list(row) for row in rows if row[0] == number) for number in numbers]
    for name, cell in cells.items():
        chosen[-1][head.index(name)] = cell
    path = folder / "lots.csv"
    with path.open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream).writerows([head, *chosen])
    return path


@pytest.fixture(scope="module")
def four(tmp_path_factory):
    return sheet_of(tmp_path_factory.mktemp("four"), FEW)


@pytest.fixture(scope="module")
def known(four):
    return lot_neighbours(_lots(four))


def _lots(path):
    return read_lots(path, read_maker(MAKER))


def chances(row, **older):
    """P(older) of every two of a row, from ``ab``: that a was built in an earlier month than b."""
    table = [[older.get(first + second, 0.0) for second in row] for first in row]
    names = {"instrument": list(row), "other": list(row)}
    return xr.DataArray(table, names, ("instrument", "other"))


@pytest.mark.parametrize(
    ("older", "younger", "told"),
    [
        (0.66, 0.30, (True, 0.66)),
        (0.6599, 0.30, None),
        (0.50, 0.30, None),
        (0.20, 0.70, (False, 0.70)),
        (0.40, 0.02, None),
    ],
)
def test_a_neighbour_is_named_from_two_thirds_on(older, younger, told):
    """The bound is that of "likely" (IPCC 2010, table 1); the same month speaks for neither."""
    found = nearest_neighbours("ab", chances("ab", ab=older, ba=younger))
    if told is None:
        assert found == {}
        return
    earlier, chance = told
    assert found["a"] == LotNeighbour("b", earlier, chance)
    assert found["b"] == LotNeighbour("a", not earlier, chance)


@pytest.mark.parametrize(("before", "after", "other"), [(0.9, 0.8, "a"), (0.7, 0.8, "c")])
def test_of_two_neighbours_the_surer_is_named(before, after, other):
    found = nearest_neighbours("abc", chances("abc", ab=before, bc=after, ac=0.95))
    assert found["b"] == LotNeighbour(other, other == "c", max(before, after))
    assert (found["a"].lot, found["c"].lot) == ("b", "b")


def test_beyond_those_that_cannot_be_told_apart_the_nearest_is_named():
    older = chances("abcd", ab=0.5, ba=0.4, ac=0.6, ad=0.99, bc=0.5, bd=0.8, cd=0.7)
    found = nearest_neighbours("abcd", older)
    assert found["a"] == LotNeighbour("d", True, 0.99)
    assert found["b"] == LotNeighbour("d", True, 0.8)
    assert found["d"] == LotNeighbour("c", False, 0.7)


def test_each_language_says_it_by_the_scale():
    """The words of the scale: IPCC (2010), table 1; very likely from 90 %, likely from 66 %."""
    earlier, later = LotNeighbour("14", True, 0.88), LotNeighbour("7", False, 0.955)
    english, german = Wording(language("en")), Wording(language("de"))
    american = Wording(language("en", "american"))
    assert neighbour_sentences(earlier, english) == ["Earlier than lot 14 (likely, 88 %)."]
    assert neighbour_sentences(later, english) == ["Later than lot 7 (very likely, 96 %)."]
    assert neighbour_sentences(earlier, american) == ["Earlier than lot 14 (likely, 88%)."]
    assert neighbour_sentences(earlier, german) == [
        "Früher gebaut als Los 14 (wahrscheinlich, 88 %)."
    ]
    assert neighbour_sentences(later, german) == [
        "Später gebaut als Los 7 (sehr wahrscheinlich, 96 %)."
    ]
    assert neighbour_sentences(None, english) == []


def test_the_neighbours_of_lots_are_those_of_a_comparison(four, known):
    lots = _lots(four)
    comparison = compare(lots.maker, [lot.examination for lot in lots.lots])
    row = list(comparison.row)
    for name in row:
        place = row.index(name)
        sides = {False: row[:place][::-1], True: row[place + 1 :]}
        told = []
        for side in sides.values():
            for other in side:
                ways = {
                    True: float(comparison.older.sel(instrument=name, other=other)),
                    False: float(comparison.older.sel(instrument=other, other=name)),
                }
                earlier = ways[True] > ways[False]
                if ways[earlier] >= SURE:
                    told.append((ways[earlier], other, earlier))
                    break
        found = known.get(name.removeprefix("lot "))
        if not told:
            assert found is None
        else:
            chance, other, earlier = max(told)
            assert (f"lot {found.lot}", found.earlier) == (other, earlier)
            assert found.chance == pytest.approx(chance, abs=1e-9)
    assert known


def test_lots_that_cannot_be_are_left_out(tmp_path, known):
    """One that cannot be read, one of which no month allows what was seen; equal names are none."""
    same = sheet_of(tmp_path, FEW).read_text("utf-8").splitlines()
    paper = {"document": "diary", "not_before": "1940-01", "not_after": "1923-05"}
    odd = sheet_of(tmp_path, ["3"], **paper, document_trust="1").read_text("utf-8").splitlines()
    bad = sheet_of(tmp_path, ["4"], **{"heel-joint": "glued"}).read_text("utf-8").splitlines()
    (tmp_path / "six.csv").write_text("\n".join([*same, odd[1], bad[1]]) + "\n", "utf-8")
    assert lot_neighbours(_lots(tmp_path / "six.csv")) == known
    (tmp_path / "two.csv").write_text("\n".join([*same[:2], odd[1]]) + "\n", "utf-8")
    assert lot_neighbours(_lots(tmp_path / "two.csv")) == {}


def test_lots_of_one_name_are_compared(tmp_path, known):
    head, *rows = sheet_of(tmp_path, FEW).read_text("utf-8").splitlines()
    named = [f"{head},instrument", *(f"{row},mandolin" for row in rows)]
    (tmp_path / "named.csv").write_text("\n".join(named) + "\n", "utf-8")
    assert lot_neighbours(_lots(tmp_path / "named.csv")) == known


def words_in(file):
    """What a note says, in one line of text."""
    content = file.read_bytes()
    if file.suffix == ".docx":
        text = "\n".join(each.text for each in docx.Document(io.BytesIO(content)).paragraphs)
    elif file.suffix == ".pdf":
        text = "\n".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(content)).pages)
    elif file.suffix == ".jsonld":
        text = "\n".join(each["content"] for each in json.loads(content)["referred_to_by"])
    else:
        text = html.unescape(content.decode().replace("\\", ""))
    return " ".join(text.split())


@pytest.mark.parametrize(
    ("code", "sign", "formats"),
    [
        ("en", "(Earlier|Later) than lot", ["html", "markdown", "word", "pdf", "linked-art"]),
        ("de", "(Früher|Später) gebaut als Los", ["markdown"]),
    ],
)
def test_every_format_says_it_once(tmp_path, four, known, code, sign, formats):  # noqa: PLR0917 (fixtures come by name)
    each = [option for form in formats for option in ("--as", form)]
    shown = run(*RUN, four, "--language", code, *each, "--side-by-side", "--out", tmp_path / "out")
    assert shown.exit_code == 0, shown.output
    for number in FEW:
        sentences = neighbour_sentences(known.get(number), Wording(language(code)))
        for form in formats:
            text = words_in(tmp_path / "out" / f"lot-{number}{ENDINGS[form]}")
            assert len(re.findall(sign, text)) == len(sentences), (number, form)
            assert all(sentence in text for sentence in sentences), (number, form)


def test_nothing_is_said_where_it_is_not_asked_for(tmp_path, four):
    shown = run(*RUN, four, "--as", "markdown", "--out", tmp_path / "out")
    assert shown.exit_code == 0, shown.output
    assert "than lot" not in "".join(file.read_text("utf-8") for file in tmp_path.rglob("*.md"))


@pytest.mark.parametrize("more", [["--out", "x", "--as", "none"], ["--table", "t.csv"]])
def test_it_is_refused_where_no_note_is_written(tmp_path, monkeypatch, four, more):
    maker = MAKER.resolve()
    monkeypatch.chdir(tmp_path)
    shown = run("sale", four, "--maker", maker, "--side-by-side", *more)
    assert shown.exit_code == 2
    assert "--side-by-side adds to the notes" in " ".join(shown.output.split())
    assert list(tmp_path.iterdir()) == []


def test_more_lots_than_can_be_compared_are_refused_before_any_work(tmp_path):
    head, row = sheet_of(tmp_path, ["1"]).read_text("utf-8").splitlines()
    rows = [re.sub(r"^1,", f"{number},", row) for number in range(1, 502)]
    (tmp_path / "lots.csv").write_text("\n".join([head, *rows]) + "\n", "utf-8")
    out = tmp_path / "out"
    shown = run("sale", tmp_path / "lots.csv", "--maker", MAKER, "--out", out, "--side-by-side")
    assert shown.exit_code == 2
    assert "at most 500 lots; found 501" in " ".join(shown.output.split())
    assert not out.exists()


def test_the_rule_is_printed_with_its_threshold():
    assert f"at least {SURE:.0%} probable" in " ".join(rules_text().split())
