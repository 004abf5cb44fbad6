"""Every file of the demo through every command that may take it, and through those that may not."""

import json
import shutil

import pytest

from tests.use.commands import (
    DEMO,
    EXAMINATIONS,
    MAKER,
    ROOT,
    contents,
    dating,
    process,
    refusal,
    success,
)
from tests.use.works import LYRE, lyre_files

CORPUS, SALE = DEMO / "marrowby_corpus.csv", DEMO / "marrowby_sale.csv"
CLAIMS = DEMO / "marrowby_claims.yaml"
GROUP = DEMO / "marrowby_group.yaml"
READABLE = (MAKER, *EXAMINATIONS, CLAIMS, GROUP, CORPUS, SALE)
STRAY = (
    DEMO / "README.md",
    DEMO / "simulate_sale.py",
    DEMO / "marrowby_truth.yaml",
    DEMO / "marrowby_sale_truth.yaml",
    DEMO / "marrowby_claims_truth.yaml",
)
TAKES = {
    "estimate": EXAMINATIONS,
    "note": EXAMINATIONS,
    "weigh": (CLAIMS,),
    "draft": (CORPUS,),
    "sale": (SALE,),
    "check": READABLE,
}
OPTIONS = {
    "draft": ("--out", "drafted.yaml", "--name", "Draft"),
    "sale": ("--out", "sale", "--as", "none"),
    "note": ("--out", "notes"),
}


@pytest.mark.parametrize("file", READABLE, ids=lambda file: file.name)
def test_each_file_of_the_demo_is_checked_and_understood(file):
    answer = success(dating("check", file))
    assert file.name in answer.text


def test_a_sale_is_checked_as_a_sale(demo):
    answer = success(dating("check", "demo_data/marrowby_sale.csv", cwd=demo))
    assert "40" in answer.text
    assert "lot" in answer.text
    assert "column is missing" not in answer.text


def test_all_files_of_the_demo_are_checked_at_once():
    answer = success(dating("check", *READABLE))
    assert all(file.name in answer.text for file in READABLE)


def test_the_specialist_dates_each_examination_of_the_demo():
    for file in EXAMINATIONS:
        record = json.loads(success(dating("estimate", file, "--as", "json")).out)
        assert sum(month["probability"] for month in record["built"]["by_month"]) == pytest.approx(
            1
        )


def test_the_house_prints_the_notes_of_all_examinations_at_once():
    answer = success(dating("note", *EXAMINATIONS[:4]))
    assert all(f"# {file.stem}" in answer.out for file in EXAMINATIONS[:4])


@pytest.mark.long
def test_the_author_weighs_all_claims_of_the_demo(demo):
    answer = success(dating("weigh", "demo_data/marrowby_claims.yaml", "--as", "json", cwd=demo))
    claims = json.loads(answer.out)["claims"]
    assert len(claims) == 14
    assert "NaN" not in answer.out


@pytest.mark.parametrize("command", TAKES)
def test_a_file_given_to_the_wrong_command_is_refused_with_words(tmp_path, command):
    wrong = [file for file in (*READABLE[:2], CLAIMS, CORPUS, SALE) if file not in TAKES[command]]
    for file in (*wrong, *STRAY):
        answer = refusal(dating(command, file, *OPTIONS.get(command, ()), cwd=tmp_path), file.name)
        assert len(answer.text) < 20_000
        if file in wrong and command != "draft":
            assert "is expected here" in answer.words
            assert len(answer.words) < 500
        assert not list(tmp_path.iterdir()), f"{command} {file.name} wrote something"


@pytest.mark.parametrize("command", ["learn", "calibrate"])
def test_maker_and_corpus_given_the_wrong_way_round_are_refused(tmp_path, command):
    out = ("--out", "learned.nc") if command == "learn" else ()
    pairs = [(CORPUS, MAKER), (MAKER, SALE), (MAKER, MAKER), (EXAMINATIONS[0], CORPUS)]
    for maker, corpus in pairs:
        refusal(dating(command, maker, corpus, *out, cwd=tmp_path))
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("command", TAKES)
def test_what_a_command_has_written_is_refused_as_its_input(sale, tmp_path, command):
    names = ("lot-1.pdf", "lot-1.docx", "lot-1.jsonld", "lot-1.html", "lot-1.svg", "index.xlsx")
    for name in (*names, "index.md"):
        refusal(dating(command, sale / name, *OPTIONS.get(command, ()), cwd=tmp_path), name)
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("command", TAKES)
def test_no_file_a_folder_and_an_empty_file_are_refused(tmp_path, command):
    (tmp_path / "empty.yaml").touch()
    (tmp_path / "empty.csv").touch()
    (tmp_path / "folder").mkdir()
    before = contents(tmp_path)
    for name in ("nowhere.yaml", "nowhere.csv", "folder", "empty.yaml", "empty.csv"):
        refusal(dating(command, name, *OPTIONS.get(command, ()), cwd=tmp_path), name)
    assert contents(tmp_path) == before


@pytest.mark.parametrize("command", ["estimate", "note", "sale", "weigh"])
def test_a_file_of_another_kind_is_refused_as_maker_file_and_as_what_was_learned(lyres, command):
    file = {"estimate": "L-1.yaml", "note": "L-1.yaml", "sale": "sale.csv", "weigh": "claims.yaml"}
    options = OPTIONS.get(command, ())
    before = contents(lyres)
    for option in ("--maker", "--learned"):
        for given in ("corpus.csv", "L-1.yaml", "nowhere", "."):
            refusal(dating(command, file[command], option, given, *options, cwd=lyres))
    assert contents(lyres) == before


@pytest.mark.parametrize(
    ("kind", "file", "arguments"),
    [
        ("examination", "L-1.yaml", ("estimate", "-", "--maker", "lyres.yaml")),
        ("examination", "L-1.yaml", ("note", "-", "--maker", "lyres.yaml")),
        ("examination", "L-1.yaml", ("check", "-")),
        ("maker", "lyres.yaml", ("check", "-")),
        ("claims", "claims.yaml", ("weigh", "-", "--maker", "lyres.yaml")),
        ("corpus", "corpus.csv", ("draft", "-", "--out", "new.yaml", "--name", "New")),
        ("sale", "sale.csv", ("sale", "-", "--maker", "lyres.yaml", "--out", "s", "--as", "none")),
    ],
    ids=lambda value: value[0] if isinstance(value, tuple) else value,
)
def test_a_file_comes_through_standard_input(lyres, kind, file, arguments):
    success(dating(*arguments, cwd=lyres, stdin=(lyres / file).read_bytes()))


def test_a_file_comes_through_a_real_pipe_and_bad_input_is_located(lyres):
    arguments = ("estimate", "-", "--maker", "lyres.yaml", "--as", "json")
    answer = success(process(*arguments, cwd=lyres, stdin=LYRE.encode()))
    assert json.loads(answer.out)
    spoiled = LYRE.replace("metal", "mettal").encode()
    refusal(dating(*arguments, cwd=lyres, stdin=spoiled), "line 6", "mettal", "metal", status=(1,))
    refusal(dating(*arguments, cwd=lyres, stdin=b"\xff\x00"), status=(1,))
    refusal(dating(*arguments, cwd=lyres, stdin=b""), status=(1,))


def test_the_house_asks_for_the_table_of_a_sale_alone(lyres):
    success(dating("sale", "sale.csv", "--table", "table.csv", cwd=lyres))
    assert (lyres / "table.csv").read_text("utf-8").count("\n") == 3


def test_an_empty_claims_sheet_is_called_a_sheet_without_claims(lyres):
    (lyres / "claims.csv").write_text(
        "# maker: lyres\nclaim,kind,sentence,feature,state\n", "utf-8"
    )
    for command in ("weigh", "check"):
        answer = refusal(dating(command, "claims.csv", cwd=lyres), "claims", status=(1,))
        assert "instruments" not in answer.words


def test_files_in_a_folder_with_an_odd_name_are_found(tmp_path):
    folder = lyre_files(tmp_path / "Löffel & [red]Söhne%20 'x'")
    success(dating("estimate", "L-1.yaml", cwd=folder))
    success(dating("check", *sorted(folder.glob("*.yaml")), folder / "corpus.csv"))
    success(dating("weigh", folder / "claims.yaml", cwd=ROOT))
    shutil.copy(folder / "L-1.yaml", folder / "-.yaml")
    success(dating("estimate", "./-.yaml", cwd=folder))
