"""Sheets as houses keep them: other encodings, separators, decimal commas, and workbooks."""

import csv
import datetime
import io
import zipfile
from contextlib import suppress
from pathlib import Path
from shutil import copy2

import openpyxl
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from dating import read_maker
from dating.cells import cells_of, examination_in
from dating.cli.main import main
from dating.kinds import kind_of
from dating.learning.corpus import read_corpus
from dating.notes.lots import read_lots
from dating.reading import InputError
from dating.sheets import read_sheet
from dating.standard_input import FileContent
from dating.words.omissions import unlearned_words

SALE = Path("demo_data/marrowby_sale.csv")
CORPUS = Path("demo_data/marrowby_corpus.csv")
MAKER = read_maker("priors/marrowby.yaml")


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def parts_of(path):
    """The comments of a demo sheet and its rows."""
    lines = path.read_text("utf-8").splitlines()
    comments = [line for line in lines if line.startswith("#")]
    return comments, list(csv.reader(line for line in lines if not line.startswith("#")))


def workbook(path, rows, title="Lots"):
    book = openpyxl.Workbook()
    book.active.title = title
    for row in rows:
        book.active.append(row)
    book.save(path)
    return path


def in_workbook(path, source):
    comments, rows = parts_of(source)
    return workbook(path, [*([comment] for comment in comments), *rows])


def beside_its_maker(path):
    (path.parent / "priors").mkdir()
    copy2("priors/marrowby.yaml", path.parent / "priors" / "marrowby.yaml")
    return path


def corpus_of(path):
    return [
        (each.line, each.window.tolist(), each.trust, cells_of(each.examination))
        for each in read_corpus(path, MAKER).references
    ]


def problems_of(path):
    with pytest.raises(InputError) as refused:
        read_sheet(path)
    return refused.value.problems


@pytest.mark.parametrize("separator", [",", ";", "\t"], ids=["comma", "semicolon", "tab"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("end", ["\n", "\r\n"], ids=["lf", "crlf"])
def test_a_sheet_says_the_same_in_every_form_of_text(tmp_path, separator, encoding, end):
    comments, rows = parts_of(CORPUS)
    rows = [[*row[:2], f"Überzug; {row[2]}, gepr\u00fcft", *row[3:]] for row in rows]
    rows[0] = parts_of(CORPUS)[1][0]
    stream = io.StringIO(newline="")
    stream.write("".join(f"{comment}{end}" for comment in comments))
    csv.writer(stream, delimiter=separator, lineterminator=end).writerows(rows)
    path = tmp_path / "corpus.csv"
    path.write_bytes(stream.getvalue().encode(encoding))
    sheet = read_sheet(path)
    assert sheet.head.cells == tuple(rows[0])
    assert [row.cells for row in sheet.rows] == [tuple(row) for row in rows[1:]]
    assert sheet.statements["maker"][1] == "marrowby"
    assert [row.line for row in sheet.rows[:2]] == [len(comments) + 2, len(comments) + 3]
    words = {";": "semicolons", "\t": "tabs"}.get(separator, "")
    assert words in sheet.form
    assert ("Windows-1252" in sheet.form) == (encoding == "cp1252")
    assert ("UTF-16" in sheet.form) == (encoding == "utf-16")


def test_the_separator_may_be_stated(tmp_path):
    (tmp_path / "a.csv").write_text("sep=;\n# maker: x\ninstrument;built\nE-1;1931\n", "utf-8")
    sheet = read_sheet(tmp_path / "a.csv")
    assert (sheet.head.cells, sheet.rows[0].line) == (("instrument", "built"), 4)
    assert sheet.statements == {"maker": (2, "x")}


@given(st.binary(max_size=200))
def test_any_bytes_are_read_or_refused_in_words(content):
    with suppress(InputError):
        assert read_sheet(FileContent("any.csv", content)).rows


@pytest.mark.parametrize("content", [b"a,b\n\x001,2\n", b"a,b\n\xff\x01\n", b"a;b\n\x81;2\n"])
def test_what_is_no_text_is_refused(tmp_path, content):
    (tmp_path / "a.csv").write_bytes(content)
    if b"\x00" in content:
        assert read_sheet(
            tmp_path / "a.csv"
        ).rows  # the sign is text in UTF-8, though none is meant
        return
    (problem,) = problems_of(tmp_path / "a.csv")
    assert "not text in UTF-8, UTF-16 or Windows-1252" in problem.message
    assert problem.line == 2


@pytest.mark.parametrize(
    ("cell", "value", "within"),
    [("21,4", 21.4, 0.0), ("21,4 within 0,3", 21.4, 0.3), ("21.4", 21.4, 0.0)],
)
def test_numbers_may_have_a_decimal_comma(tmp_path, cell, value, within):
    text = f"instrument;neck-depth;heel-joint\nE-1;{cell};dowelled (0,8)\n"
    (tmp_path / "a.csv").write_text(text, "utf-8")
    sheet = read_sheet(tmp_path / "a.csv")
    cells = sheet.by_column(sheet.rows[0], sheet.head.cells)
    examination, problems = examination_in(sheet, 2, cells, MAKER)
    assert problems == []
    reading = examination.measured["neck-depth"]
    assert (reading.value, reading.within) == (value, within)
    assert examination.seen["heel-joint"].sure == 0.8


def test_a_number_that_may_be_two_is_refused(tmp_path):
    (tmp_path / "a.csv").write_text("instrument;neck-depth\nE-1;1,234\n", "utf-8")
    sheet = read_sheet(tmp_path / "a.csv")
    cells = sheet.by_column(sheet.rows[0], sheet.head.cells)
    _, (problem,) = examination_in(sheet, 2, cells, MAKER)
    assert (problem.line, problem.key) == (2, "neck-depth")
    assert "may be 1.234 or 1234" in problem.message


# What is known of components --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cell", "original", "sure"),
    [("original", True, 1.0), ("not original", False, 1.0), ("not original (0,8)", False, 0.8)],
)
def test_a_corpus_and_a_sale_say_what_is_known_of_a_component(tmp_path, cell, original, sure):
    maker = "# maker: priors/marrowby.yaml\n"
    (tmp_path / "a.csv").write_text(f"{maker}instrument;built;neck\nE-1;1931;{cell}\n", "utf-8")
    (tmp_path / "b.csv").write_text(f"{maker}lot;neck;ring\n7;{cell};inlaid\n", "utf-8")
    (reference,) = read_corpus(tmp_path / "a.csv", MAKER).references
    (lot,) = read_lots(tmp_path / "b.csv", MAKER).lots
    for examination in (reference.examination, lot.examination):
        known = examination.parts["neck"]
        assert (known.original, known.sure) == (original, sure)
        assert cells_of(examination)["neck"] == cell.replace(",", ".")


def test_what_is_known_of_a_component_is_refused_with_its_place(tmp_path):
    (tmp_path / "a.csv").write_text("instrument,built,neck\nE-1,1931,\nE-2,1932,mine\n", "utf-8")
    with pytest.raises(InputError) as error:
        read_corpus(tmp_path / "a.csv", MAKER)
    (problem,) = error.value.problems
    assert (problem.line, problem.key) == (3, "neck")
    assert "not original" in problem.allowed


# Workbooks ------------------------------------------------------------------------------------


def test_a_workbook_says_the_same_as_the_sheet(tmp_path):
    path = in_workbook(tmp_path / "corpus.xlsx", CORPUS)
    book, sheet = read_sheet(path), read_sheet(CORPUS)
    assert (book.head, book.rows) == (sheet.head, sheet.rows)
    assert book.statements == sheet.statements
    assert book.form == "sheet Lots of a workbook"
    assert kind_of(path) == "corpus"
    assert corpus_of(path) == corpus_of(CORPUS)


def test_lots_are_dated_alike_from_a_workbook(tmp_path):
    path = in_workbook(tmp_path / "sale.xlsx", SALE)
    lots = read_lots(path, MAKER)
    assert [cells_of(lot.examination) for lot in lots.lots] == [
        cells_of(lot.examination) for lot in read_lots(SALE, MAKER).lots
    ]
    table = tmp_path / "table.csv"
    shown = run("sale", path, "--maker", "priors/marrowby.yaml", "--table", table)
    assert shown.exit_code == 0, shown.output
    again = tmp_path / "again.csv"
    assert run("sale", SALE, "--maker", "priors/marrowby.yaml", "--table", again).exit_code == 0
    assert table.read_bytes() == again.read_bytes()
    checked = run("check", beside_its_maker(path))
    assert checked.exit_code == 0, checked.output
    assert "read as: sheet Lots of a workbook" in checked.output


@pytest.mark.parametrize(
    ("value", "shown_as", "text"),
    [
        (datetime.date(1931, 2, 17), "dd/mm/yyyy", "1931-02-17"),
        (datetime.datetime(1931, 2, 1), "mmm yyyy", "1931-02"),
        (datetime.date(1931, 1, 1), "yyyy", "1931"),
        (datetime.date(1931, 2, 1), '[$-407]mmmm "dated" yyyy', "1931-02"),
        (1931, "General", "1931"),
        (21.5, "0.00", "21.5"),
        (4.0, "0", "4"),
        (True, "General", "true"),
        ("  dowelled ", "@", "dowelled"),
    ],
)
def test_cells_come_as_they_are_meant(tmp_path, value, shown_as, text):
    book = openpyxl.Workbook()
    book.active.append(["instrument", "built"])
    book.active.append(["E-1", value])
    book.active["B2"].number_format = shown_as
    book.save(tmp_path / "a.xlsx")
    assert read_sheet(tmp_path / "a.xlsx").rows[0].cells == ("E-1", text)


def test_a_hidden_sheet_is_not_read(tmp_path):
    book = openpyxl.Workbook()
    book.active.append(["secret"])
    book.active.sheet_state = "hidden"
    shown = book.create_sheet("Lots")
    shown.append(["instrument", "built"])
    shown.append(["E-1", 1931])
    book.create_sheet("Notes").append(["x"])
    book.active = 1
    book.save(tmp_path / "a.xlsx")
    sheet = read_sheet(tmp_path / "a.xlsx")
    assert sheet.head.cells == ("instrument", "built")
    assert sheet.form == "sheet Lots of a workbook; its 2 other sheets are not read"


@pytest.mark.parametrize(
    ("change", "cell", "words"),
    [
        (lambda sheet: sheet.merge_cells("A2:B2"), "A2:B2", "merged cells"),
        (lambda sheet: sheet.__setitem__("B3", "=1+1"), "B3", "a formula of which no result"),
        (lambda sheet: sheet.__setitem__("B3", "#REF!"), "B3", "holds an error"),
        (lambda sheet: sheet.__setitem__("B3", datetime.time(4, 5)), "B3", "a time of day"),
    ],
)
def test_a_cell_that_cannot_be_read_is_named(tmp_path, change, cell, words):
    book = openpyxl.Workbook()
    for row in (["instrument", "built"], ["E-1", 1931], ["E-2", 1932]):
        book.active.append(row)
    change(book.active)
    book.save(tmp_path / "a.xlsx")
    (problem,) = problems_of(tmp_path / "a.xlsx")
    assert problem.key == cell
    assert words in problem.message
    assert problem.line == int(cell[1])


def with_part(path, name, content):
    with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as book:
        book.writestr(name, content)
    return path


def test_hostile_workbooks_are_refused(tmp_path):
    rows = [["instrument", "built"], ["E-1", 1931]]
    macros = with_part(workbook(tmp_path / "m.xlsx", rows), "xl/vbaProject.bin", b"x")
    assert "holds macros" in problems_of(macros)[0].message
    bomb = with_part(workbook(tmp_path / "b.xlsx", rows), "xl/media/x.bin", b"0" * 100_000_001)
    assert bomb.stat().st_size < 1_000_000
    assert "larger than 100,000,000 bytes" in problems_of(bomb)[0].message
    (tmp_path / "c.xlsx").write_bytes(b"PK\x03\x04 and no more")
    assert "not a workbook" in problems_of(tmp_path / "c.xlsx")[0].message
    broken = workbook(tmp_path / "d.xlsx", rows)
    content = broken.read_bytes()
    with zipfile.ZipFile(io.BytesIO(content)) as book:
        parts = {name: book.read(name) for name in book.namelist()}
    parts["xl/worksheets/sheet1.xml"] = b"<!DOCTYPE a [<!ENTITY b 'c'>]><a>&b;"
    with zipfile.ZipFile(broken, "w") as book:
        for name, part in parts.items():
            book.writestr(name, part)
    assert "not a workbook that can be read" in problems_of(broken)[0].message


def test_formulas_in_text_stay_text(tmp_path):
    book = openpyxl.Workbook()
    book.active.append(["instrument", "built"])
    book.active.append(["=cmd|' /C calc'!A0", 1931])
    book.active["A2"].data_type = "s"
    book.save(tmp_path / "a.xlsx")
    assert read_sheet(tmp_path / "a.xlsx").rows[0].cells[0] == "=cmd|' /C calc'!A0"


def test_what_was_taken_for_what_is_told(tmp_path):
    comments, rows = parts_of(CORPUS)
    stream = io.StringIO()
    csv.writer(stream, delimiter=";").writerows(rows)
    path = tmp_path / "corpus.csv"
    path.write_bytes(("\n".join(comments) + "\n" + stream.getvalue()).encode("cp1252"))
    shown = run("check", beside_its_maker(path))
    assert shown.exit_code == 0, shown.output
    assert "read as: cells separated by semicolons" in " ".join(shown.output.split())


def test_what_learning_takes_no_notice_of_is_told(tmp_path):
    text = "# maker: marrowby\ninstrument,built,heel-joint,neck\nR-1,1931,dowelled,original\n"
    (tmp_path / "corpus.csv").write_text(text, "utf-8")
    assert unlearned_words(read_corpus(tmp_path / "corpus.csv", MAKER)) == [
        "Learning does not use what 1 row says of whole components."
    ]
    assert unlearned_words(read_corpus(CORPUS, MAKER)) == []
