"""``dating note`` and ``dating sale``: from examinations and lots to files."""

import csv
import json
import re
import subprocess
import sys
from pathlib import Path

import html5lib
import openpyxl
import pandas as pd
import pytest
import yaml
from click.testing import CliRunner

import dating
from dating.cli.main import main
from dating.months import month_number
from dating.notes.languages import language
from dating.notes.lot_dates import sell
from dating.notes.lots import read_lots
from dating.notes.rules import rules_text
from dating.notes.sentences import Wording, dated
from dating.reading import InputError

SALE = Path("demo_data/marrowby_sale.csv")
EXAMINATIONS = Path("demo_data/examinations")


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def bytes_of(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir()}


@pytest.fixture(scope="module")
def rows():
    with SALE.open(encoding="utf-8") as stream:
        return list(csv.reader(line for line in stream if not line.startswith("#")))


def sheet_of(folder, rows, head="# maker: marrowby\n"):
    path = folder / "lots.csv"
    with path.open("w", encoding="utf-8", newline="") as stream:
        stream.write(head)
        csv.writer(stream).writerows(rows)
    return path


def changed(rows, which, **cells):
    """The sheet with some cells of one lot changed, others left out."""
    head = rows[0]
    row = next(list(row) for row in rows[1:] if row[0] == which)
    for name, cell in cells.items():
        row[head.index(name.replace("_", "-") if name.replace("_", "-") in head else name)] = cell
    return row


# The lots -------------------------------------------------------------------------------------


def test_the_demo_sale_is_what_its_script_makes(tmp_path):
    script = Path("demo_data/simulate_sale.py").resolve()
    subprocess.run([sys.executable, str(script), "--out", str(tmp_path)], check=True)
    for name in ("marrowby_sale.csv", "marrowby_sale_truth.yaml"):
        assert (tmp_path / name).read_bytes() == (SALE.parent / name).read_bytes()


def test_the_words_hold_the_truth_as_often_as_they_say():
    """Forty lots at 0.9: at least 31 with probability 0.998 (binomial)."""
    truth = yaml.safe_load(Path("demo_data/marrowby_sale_truth.yaml").read_text("utf-8"))["lots"]
    wording = Wording(language("en"))
    held = 0
    for sold in sell(read_lots(SALE), wording):
        built = month_number(*map(int, truth[sold.lot.number]["built"].split("-")))
        held += built in dated(sold.estimate_note.estimate, wording).phrase
    assert held >= 31


def test_a_document_of_a_lot_is_weighed(rows):
    lots = {lot.number: lot for lot in read_lots(SALE).lots}
    papers = [lot.examination.documents for lot in lots.values() if lot.examination.documents]
    assert len(papers) >= 5
    assert {paper.trust for (paper,) in papers} == {0.9, 0.98}
    lot = next(lot for lot in lots.values() if lot.examination.documents)
    made = dating.estimate(read_lots(SALE).maker, lot.examination)
    assert any(piece.kind == "document" for piece in made.pieces)


@pytest.mark.parametrize(
    ("cells", "column", "found"),
    [
        ({"heel_joint": "doweled"}, "heel-joint", "doweled"),
        ({"examined": "yesterday"}, "examined", "yesterday"),
        ({"neck_depth": "thick"}, "neck-depth", "thick"),
        ({"not_after": "193"}, "not_after", "193"),
        ({"not_after": "1934", "document_trust": "2"}, "document_trust", "2"),
        ({"lot": ""}, "lot", ""),
        ({"lot": "1"}, "lot", "1"),
        ({"lot": "x" * 41}, "lot", "x" * 41),
    ],
)
def test_a_bad_lot_is_located_and_does_not_stop_the_others(tmp_path, rows, cells, column, found):
    bad = changed(rows, "2", **cells)
    read = read_lots(sheet_of(tmp_path, [rows[0], rows[1], bad, rows[3]]))
    first, second, third = read.lots
    assert first.examination is not None
    assert third.examination is not None
    assert second.examination is None
    (problem,) = second.problems
    assert (problem.line, problem.key) == (4, column)
    assert found in str(problem)


def test_a_row_of_another_length_is_a_bad_lot(tmp_path, rows):
    read = read_lots(sheet_of(tmp_path, [rows[0], rows[1], rows[2][:5]]))
    assert "cells" in str(read.lots[1].problems[0])


@pytest.mark.parametrize(
    ("head", "columns", "wrong"),
    [
        ("", None, "no maker file is named"),
        ("# maker: marrowby\n", ["lot", "heal-joint"], "nearest:  heel-joint"),
        ("# maker: marrowby\n", ["number", "heel-joint"], "number"),
    ],
)
def test_a_sheet_that_is_no_sale_is_refused(tmp_path, rows, head, columns, wrong):
    shown = [columns or rows[0], ["1", "dowelled"] if columns else rows[1]]
    with pytest.raises(InputError, match=wrong):
        read_lots(sheet_of(tmp_path, shown, head))


# The commands ---------------------------------------------------------------------------------


def test_a_sale_is_written_whole_and_again_the_same(tmp_path, rows):
    few = sheet_of(tmp_path, [rows[0], *rows[1:4]])
    every = ("markdown", "html", "word", "pdf", "linked-art")
    options = [option for form in every for option in ("--as", form)]
    for folder in ("one", "two"):
        shown = run("sale", few, "--out", tmp_path / folder, *options)
        assert shown.exit_code == 0, shown.output
        assert "Lots: 3" in shown.output
    one, two = bytes_of(tmp_path / "one"), bytes_of(tmp_path / "two")
    endings = (".md", ".svg", ".html", ".docx", ".pdf", ".jsonld")
    names = {f"lot-{number}{ending}" for number in (1, 2, 3) for ending in endings}
    assert set(one) == names | {"index.html", "index.md", "index.xlsx", "sale.json"}
    assert one == two
    record = json.loads(one["lot-1.jsonld"])
    assert record["type"] == "HumanMadeObject"
    follow_every_link(tmp_path / "one", {".md", ".html", ".docx", ".pdf", ".jsonld"})


def follow_every_link(folder, endings):
    """From each form of the index to each form of each note, by links relative to the folder."""
    page = html5lib.parse((folder / "index.html").read_bytes(), namespaceHTMLElements=False)
    links = {"html": [(one.get("href"), one.text) for one in page.iter("a")]}
    text = (folder / "index.md").read_text("utf-8")
    links["md"] = [(file, label) for label, file in re.findall(r"\[([^]]*)\]\(([^)]*)\)", text)]
    sheet = openpyxl.load_workbook(folder / "index.xlsx").active
    cells = [cell for row in sheet.iter_rows() for cell in row if cell.hyperlink]
    links["xlsx"] = [(cell.hyperlink.target, Path(cell.value).suffix) for cell in cells]
    for form, found in links.items():
        wanted = {f"lot-{number}{ending}" for number in (1, 2, 3) for ending in endings}
        assert {file for file, _ in found} == wanted, form
        assert len(found) == len(wanted)
        for file, label in found:
            assert (folder / file).stat().st_size > 1000
            assert label.removeprefix(".").lower() == Path(file).suffix.removeprefix(".")
    assert [cell.value for cell in sheet[1]][-2:] == ["Note (PDF)", "Note (JSONLD)"]


def test_a_bad_lot_is_reported_and_stands_in_the_index(tmp_path, rows):
    bad = changed(rows, "2", heel_joint="doweled")
    sheet = sheet_of(tmp_path, [rows[0], rows[1], bad])
    shown = run("sale", sheet, "--out", tmp_path / "out", "--as", "none")
    assert shown.exit_code == 1
    assert "Could not be read: 1." in shown.output
    assert "1 of 2 lots could not be read or dated; the others were written" in shown.stderr
    assert "nearest:  dowelled" in shown.stderr
    assert set(bytes_of(tmp_path / "out")) == {"index.html", "index.md", "index.xlsx", "sale.json"}
    page = (tmp_path / "out" / "index.html").read_text("utf-8")
    assert "line 4: heel-joint: no such state" in page
    assert "(found &#39;doweled&#39;; allowed" in page
    assert "lots.csv" not in page


def test_a_sale_of_bad_lots_alone_fails(tmp_path, rows):
    sheet = sheet_of(tmp_path, [rows[0], changed(rows, "2", heel_joint="doweled")])
    shown = run("sale", sheet, "--out", tmp_path / "out")
    assert shown.exit_code == 1
    assert "no lot could be dated" in shown.output
    assert {path.name for path in tmp_path.iterdir()} == {"lots.csv"}


def test_an_impossible_lot_is_reported(tmp_path, rows):
    paper = {"document": "diary", "not_before": "1940-01", "not_after": "1923-05"}
    lot = changed(rows, "2", **paper, document_trust="1")
    shown = run("sale", sheet_of(tmp_path, [rows[0], rows[1], lot]), "--out", tmp_path / "out")
    assert shown.exit_code == 1
    assert re.search(
        r"line 4: documents\S*: no month of the period", " ".join(shown.stderr.split())
    )


def test_a_lots_text_leads_nowhere(tmp_path, rows):
    """Neither into another folder nor into markup, a link or a formula."""
    hostile = changed(rows, "2", lot="../../=HYPERLINK(1)", title="<script>alert(1)</script>")
    sheet = sheet_of(tmp_path, [rows[0], hostile])
    shown = run("sale", sheet, "--out", tmp_path / "out", "--as", "html", "--as", "markdown")
    assert shown.exit_code == 0
    assert {path.name for path in tmp_path.iterdir()} == {"lots.csv", "out"}
    names = [path.name for path in (tmp_path / "out").iterdir()]
    assert all(
        set(name) <= set("abcdefghijklmnopqrstuvwxyzHYPERLINK0123456789-.") for name in names
    )
    pages = [p.read_text("utf-8") for p in (tmp_path / "out").iterdir() if p.suffix == ".html"]
    assert all("<script" not in page for page in pages)


def test_a_table_of_all_lots_equals_single_estimates(tmp_path):
    shown = run(
        "sale", SALE, "--out", tmp_path / "out", "--as", "none", "--table", tmp_path / "t.parquet"
    )
    assert shown.exit_code == 0, shown.output
    table = pd.read_parquet(tmp_path / "t.parquet")
    read = read_lots(SALE)
    assert table["instrument"].tolist() == [lot.examination.instrument for lot in read.lots]
    lot = read.lots[4]
    made = dating.estimate(read.maker, lot.examination)
    assert table["mass"][4] == pytest.approx(made.highest_density(0.9).mass, abs=1e-6)
    assert table["original neck"][4] == pytest.approx(made.originality["neck"], abs=1e-6)
    years = [column for column in table if column.startswith("year ")]
    assert table[years].sum(axis=1).tolist() == pytest.approx([1.0] * 40)


def test_a_table_alone_needs_no_lots(tmp_path):
    table = pd.DataFrame({"instrument": ["a", "b"], "heel-joint": ["dowelled", "screwed"]})
    table.to_parquet(tmp_path / "stock.parquet")
    out = tmp_path / "dated.csv"
    shown = run(
        "sale", tmp_path / "stock.parquet", "--maker", "priors/marrowby.yaml", "--table", out
    )
    assert shown.exit_code == 0, shown.output
    assert "2 instruments" in shown.output
    assert pd.read_csv(out)["instrument"].tolist() == ["a", "b"]


@pytest.mark.parametrize(
    ("arguments", "wrong"),
    [
        ((), "say where to"),
        (("--table", "t.xls"), "no such kind of table"),
        (("--out", "no/such/folder"), "cannot be made"),
        (("--out", "x", "--language", "fr"), "no such language"),
        (("--out", "x", "--templates", "nowhere"), "no such folder"),
    ],
)
def test_what_a_sale_cannot_do_is_said_before_any_work(tmp_path, monkeypatch, arguments, wrong):
    sale = SALE.resolve()
    monkeypatch.chdir(tmp_path)
    shown = run("sale", sale, *arguments)
    assert shown.exit_code != 0
    assert wrong in shown.output
    assert list(tmp_path.iterdir()) == []


def test_notes_are_printed_or_written(tmp_path):
    shown = run("note", EXAMINATIONS / "M-001.yaml", EXAMINATIONS / "M-003.yaml")
    assert shown.exit_code == 0
    assert shown.output.startswith("# M-001\n")
    assert "Built between December 1929 and July 1931" in shown.output
    assert "not a certificate" in shown.output
    written = run("note", EXAMINATIONS / "M-003.yaml", "--out", tmp_path / "n", "--as", "html")
    assert written.exit_code == 0
    assert set(bytes_of(tmp_path / "n")) == {"M-003.html"}


def test_wording_follows_the_options():
    german = run("note", EXAMINATIONS / "M-003.yaml", "--language", "de", "--level", "0.5")
    assert "Gebaut" in german.output
    american = run("note", EXAMINATIONS / "M-001.yaml", "--dates", "american")
    assert "February 11, 2026" in american.output
    assert "90%" in american.output
    five = run("note", EXAMINATIONS / "M-005.yaml", "--level", "0.76")
    assert "circa 1933" in five.output
    assert "within 5 years" in five.output
    ten = run("note", EXAMINATIONS / "M-005.yaml", "--level", "0.76", "--circa", "10")
    assert "between 1928 and 1938" in ten.output
    assert "circa" not in ten.output


def test_the_rules_are_printed():
    assert run("note", "--rules").output == rules_text(80)
    assert rules_text(80).split() == rules_text().split()


@pytest.mark.parametrize(
    ("arguments", "wrong"),
    [((), "name one examination"), (("M.yaml", "--as", "pdf"), "needs --out")],
)
def test_what_a_note_needs_is_said(arguments, wrong):
    shown = run("note", *arguments)
    assert shown.exit_code == 2
    assert wrong in shown.output
