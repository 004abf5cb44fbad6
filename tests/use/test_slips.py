"""What is valid and hardly meant gets a located warning; what cannot be meant is refused."""

import csv
import json
import re

import pytest

from tests.use.commands import ROOT, dating, refusal, success
from tests.use.slips import CELLS, SLIPS
from tests.use.works import LYRE, LYRES

FILES = {"maker": "lyres.yaml", "examination": "L-1.yaml"}
ASSUMED = {"states no replacement"}
"""What an estimate passes over: another chance that is stated allows for it."""
LOCATED = re.compile(r"(?:L-1|lyres)\.yaml, line \d+")


def put_cell(path, column, cell):
    """Put a cell into the first row of a sheet, and return the line that it stands on."""
    comments, *lines = path.read_text("utf-8").splitlines()
    rows = list(csv.DictReader(lines))
    rows[0][column] = cell
    with path.open("w", newline="", encoding="utf-8") as file:
        file.write(comments + "\n")
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows(rows)
    return 3


def test_files_without_a_slip_raise_no_warning(lyres):
    answer = success(dating("check", "--strict", "lyres.yaml", "L-1.yaml", cwd=lyres))
    assert not LOCATED.search(answer.text)
    assert LYRE
    assert LYRES
    record = json.loads(success(dating("estimate", "L-1.yaml", "--as", "json", cwd=lyres)).out)
    assert record["warnings"] == []


@pytest.mark.parametrize("name", [name for name, slip in SLIPS.items() if slip.refused])
def test_a_person_is_refused_who(lyres, name):
    slip = SLIPS[name]
    (lyres / FILES[slip.kind]).write_text(slip.text(), "utf-8")
    for arguments in (("check", FILES[slip.kind]), ("estimate", "L-1.yaml")):
        answer = refusal(dating(*arguments, cwd=lyres), slip.names, status=(1,))
        assert LOCATED.search(answer.words), answer.text


@pytest.mark.parametrize("name", [name for name, slip in SLIPS.items() if not slip.refused])
def test_a_person_is_warned_who(lyres, name):
    slip = SLIPS[name]
    file = FILES[slip.kind]
    (lyres / file).write_text(slip.text(), "utf-8")
    checked = dating("check", file, cwd=lyres)
    assert checked.status in (0, 1)
    assert LOCATED.search(checked.words), f"checked without a word: {checked.text}"
    assert slip.names in checked.words
    strict = refusal(dating("check", "--strict", file, cwd=lyres), slip.names, status=(1,))
    assert LOCATED.search(strict.words)
    if name in ASSUMED:
        return
    estimated = dating("estimate", "L-1.yaml", cwd=lyres)
    assert estimated.status in (0, 1)
    assert LOCATED.search(estimated.words), f"dated without a word: {estimated.text}"
    if estimated.status == 0:
        record = json.loads(success(dating("estimate", "L-1.yaml", "--as", "json", cwd=lyres)).out)
        assert any(slip.names in json.dumps(warning) for warning in record["warnings"])


def test_a_warning_of_a_measurement_says_by_which_factor_it_would_fit(lyres):
    for value, factor in ((224, "a tenth"), (2.24, "10 times"), (0.882, "25.4")):
        text = LYRE.replace("value: 22.4", f"value: {value}")
        (lyres / "L-1.yaml").write_text(text, "utf-8")
        answer = success(dating("check", "L-1.yaml", cwd=lyres))
        assert "spread" in answer.words
        assert factor in answer.words


def test_a_sale_asks_for_a_second_look(lyres, tmp_path):
    put_cell(lyres / "sale.csv", "depth", "224")
    success(dating("sale", "sale.csv", "--out", tmp_path / "sale", "--as", "none", cwd=lyres))
    index = (tmp_path / "sale" / "index.md").read_text("utf-8")
    flagged = [line for line in index.splitlines() if "depth" in line or "recorded" in line]
    assert flagged, index


@pytest.mark.parametrize("sheet", ["corpus.csv", "sale.csv"])
@pytest.mark.parametrize("name", CELLS)
def test_in_a_sheet_a_person_is_warned_who(lyres, sheet, name):
    column, cell = CELLS[name]
    line = put_cell(lyres / sheet, column, cell)
    checked = dating("check", sheet, cwd=lyres)
    assert checked.status in (0, 1)
    assert f"{sheet}, line {line}" in checked.words
    assert column in checked.words
    refusal(dating("check", "--strict", sheet, cwd=lyres), f"line {line}", status=(1,))


def test_a_date_with_a_question_mark_is_not_taken_for_one_without(lyres):
    (lyres / "L-1.yaml").write_text(LYRE.replace("pencil: 1932-02", 'pencil: "1932?"'), "utf-8")
    answer = dating("estimate", "L-1.yaml", cwd=lyres)
    assert "line" in answer.words
    assert "pencil" in answer.words
    assert "1932?" in answer.words


def test_a_point_left_out_beside_a_date_is_dated_and_doubted(tmp_path):
    """It is not weighed until it is confirmed, and said in words either way."""
    text = (
        "instrument: R\nmaker: marrowby\nvariant: recital\nseen: {heel-joint: dowelled}\n"
        "marks: {back-stamp: 1934-07}\nmeasured: {rim-depth: {value: 717, within: 0.3}}\n"
    )
    (tmp_path / "R.yaml").write_text(text, "utf-8")
    maker = ("--maker", ROOT / "priors" / "marrowby.yaml")
    answer = success(dating("estimate", "R.yaml", *maker, cwd=tmp_path))
    assert "Recorded but not weighed: rim depth, 717 is 518 spreads" in answer.words
    assert "71.7 would fit (a tenth); to be weighed, it must be confirmed" in answer.words
    noted = success(dating("note", "R.yaml", *maker, cwd=tmp_path))
    assert "71.7 would fit" in noted.err


def test_a_confirmed_value_far_from_all_others_contradicts_in_words(tmp_path):
    """What contradicts most of all is still weighed, where no slip of the pen is allowed."""
    (tmp_path / "R.yaml").write_text(
        "instrument: R\nmaker: marrowby\nvariant: recital\nseen: {heel-joint: dowelled}\n"
        "marks: {back-stamp: 1934-07}\n"
        "measured: {rim-depth: {value: 717, within: 0.3, confirmed: true}}\n",
        "utf-8",
    )
    strict = (ROOT / "priors" / "marrowby.yaml").read_text("utf-8")
    for old, certain in (
        ("spread: 1.2\n", "slip: 0\n        tails: normal\n"),
        ("found: {value: 0.2, source: survey-c}\n", "doubt: 0\n"),
    ):
        assert strict.count(old) == 1
        strict = strict.replace(old, f"{old}        {certain}")
    (tmp_path / "strict.yaml").write_text(strict, "utf-8")
    answer = success(dating("estimate", "R.yaml", "--maker", "strict.yaml", cwd=tmp_path))
    assert "Recorded but not weighed" not in answer.words
    assert "more than a million times less probable" in answer.words
