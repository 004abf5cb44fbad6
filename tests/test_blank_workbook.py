"""``dating lots``: a workbook that explains itself, and is read again once it is filled in."""

from pathlib import Path

import openpyxl
import pytest
from click.testing import CliRunner

from dating import read_maker
from dating.cli.main import main
from dating.notes.blank_workbook import ROWS, blank_workbook, workbook_columns
from dating.notes.lots import read_lots
from dating.reading import InputError
from dating.sheets import column_names, read_sheet

MAKERS = ["priors/marrowby.yaml", "priors/velquist.yaml"]


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


@pytest.fixture(params=MAKERS, ids=["marrowby", "velquist"])
def blank(request, tmp_path):
    out = tmp_path / "lots.xlsx"
    shown = run("lots", request.param, "--out", out)
    assert shown.exit_code == 0, shown.output
    assert f"dating sale {out}" in shown.output
    return read_maker(request.param), out


def test_every_look_has_a_column_with_its_question_and_caution(blank):
    maker, out = blank
    names = column_names(out)
    looks = [*maker.features(), *maker.marks(), *maker.measurements()]
    assert [name for name in names if name in looks] == looks
    sheet = openpyxl.load_workbook(out)["Lots"]
    rows = list(sheet.iter_rows(values_only=True))
    head = next(place for place, row in enumerate(rows) if row[0] == "lot")
    for name, (component, look) in maker.looks().items():
        column = names.index(name)
        words = [row[column] or "" for row in rows[head - 3 : head]]
        if name in maker.features():
            feature = maker.features()[name][1]
            assert words[0] == feature.ask
            assert all(f"{state}: {gloss}" in words[1] for state, gloss in feature.states.items())
        for hazard in maker.hazards_of(look, component):
            assert "Caution: " in words[2], (name, hazard)
    if "velquist" in maker.origin.file:
        assert any("mains" in (word or "") for word in rows[head - 1])


def test_states_are_offered_in_the_rows_of_lots(blank):
    maker, out = blank
    book = openpyxl.load_workbook(out)
    assert book["States"].sheet_state == "hidden"
    head = read_head(out)
    offered = {}
    for rule in book["Lots"].data_validations.dataValidation:
        (cells,) = rule.sqref.ranges
        assert (cells.min_row, cells.max_row) == (head + 1, head + ROWS)
        places = rule.formula1.removeprefix("=").partition("!")[2].replace("$", "")
        listed = book["States"][places]
        listed = listed if isinstance(listed, tuple) else ((listed,),)
        name = column_names(out)[cells.min_col - 1]
        offered[name] = [cell.value for (cell,) in listed]
    expected = {name: list(feature.states) for name, (_, feature) in maker.features().items()}
    if maker.variants is not None:
        expected["variant"] = list(maker.variants.states)
    known = {name: ["original", "not original"] for name in maker.components if name in offered}
    assert known
    assert offered == expected | known


def read_head(out):
    sheet = openpyxl.load_workbook(out)["Lots"]
    return next(row for row in range(1, 20) if sheet.cell(row, 1).value == "lot")


def test_a_blank_workbook_has_no_lots_yet(blank):
    _, out = blank
    with pytest.raises(InputError, match="there are no instruments below"):
        read_sheet(out)


def test_a_workbook_that_is_filled_in_is_read(blank):
    maker, out = blank
    book, head = openpyxl.load_workbook(out), read_head(out)
    names = column_names(out)
    feature, (_, first) = next(iter(maker.features().items()))
    states = list(first.states)
    sheet = book["Lots"]
    for place, cell in enumerate((states[0], f"{states[0]} | {states[-1]}", f"{states[-1]} (0,8)")):
        sheet.cell(head + 1 + place, 1, str(place + 1))
        sheet.cell(head + 1 + place, names.index(feature) + 1, cell)
    book.save(out)
    lots = read_lots(out, maker).lots
    assert [problem for lot in lots for problem in lot.problems] == []
    seen = [lot.examination.seen[feature] for lot in lots]
    assert seen[0].state == states[0]
    assert seen[1].one_of == (states[0], states[-1])
    assert (seen[2].state, seen[2].sure) == (states[-1], 0.8)


def test_the_same_maker_file_gives_the_same_bytes():
    maker = read_maker(MAKERS[0])
    assert blank_workbook(maker) == blank_workbook(maker)


def test_an_invented_maker_says_so(blank):
    _, out = blank
    sheet = openpyxl.load_workbook(out)["Lots"]
    assert "Invented throughout" in "".join(str(sheet.cell(row, 1).value) for row in (1, 2, 3))


def test_no_column_comes_twice():
    for file in MAKERS:
        names = [column.name for column in workbook_columns(read_maker(file))]
        assert len(names) == len(set(names))


@pytest.mark.parametrize(
    ("out", "status", "words"),
    [("lots.csv", 2, "a workbook ends in .xlsx"), ("none/lots.xlsx", 1, "cannot be written")],
)
def test_what_cannot_be_written_is_refused(tmp_path, out, status, words):
    shown = run("lots", MAKERS[0], "--out", tmp_path / out)
    assert shown.exit_code == status
    assert words in shown.output
    assert not list(tmp_path.rglob("*.*"))


def test_a_workbook_is_not_replaced_unasked(tmp_path):
    out = tmp_path / "lots.xlsx"
    out.write_text("mine", "utf-8")
    assert run("lots", MAKERS[0], "--out", out).exit_code == 2
    assert out.read_text("utf-8") == "mine"
    assert run("lots", MAKERS[0], "--out", out, "--replace").exit_code == 0
    assert Path(out).read_bytes().startswith(b"PK")
