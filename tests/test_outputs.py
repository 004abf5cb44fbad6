"""No command writes over what it reads, nor over what a person may value unless told so."""

import os
import shutil
from pathlib import Path

import click
import pandas as pd
import pytest
from click.testing import CliRunner

from dating.cli.main import main
from dating.cli.outputs import MOST_SHOWN, OutputFile, check_outputs

NEVER = "would replace a file that this command reads"
THERE = "a file of this name already exists"


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


@pytest.fixture
def folder(tmp_path):
    """Copies of the demo, and files that only their names make what they are."""
    for name in (
        "priors/marrowby.yaml",
        "demo_data/marrowby_corpus.csv",
        "demo_data/marrowby_sale.csv",
        "demo_data/examinations/M-001.yaml",
    ):
        shutil.copy(name, tmp_path)
    claims = "maker: marrowby\nexaminations: [M-001.yaml]\nclaims: []\n".replace(
        "[]", "\n  - {claim: a, says: {built: {instrument: M-001, within: 1930}}}"
    )
    (tmp_path / "claims.yaml").write_text(claims, "utf-8")
    (tmp_path / "learned.nc").write_bytes(b"learned")
    (tmp_path / "kept.nc").write_bytes(b"kept")
    (tmp_path / "kept.csv").write_bytes(b"kept")
    (tmp_path / "M-001.jsonld").write_bytes(b"kept")
    return tmp_path


def held(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


LEARN = ("learn", "marrowby.yaml", "marrowby_corpus.csv")
CALIBRATE = ("calibrate", "marrowby.yaml", "marrowby_corpus.csv", "--learned", "learned.nc")
WEIGH = ("weigh", "claims.yaml", "--learned", "learned.nc", "--corpus", "marrowby_corpus.csv")
ESTIMATE = ("estimate", "M-001.yaml", "--learned", "learned.nc")
SALE = ("sale", "marrowby_sale.csv", "--maker", "marrowby.yaml")
DRAFT = ("draft", "marrowby_corpus.csv", "--name", "M")
READ = [
    ((*LEARN, "--out"), "marrowby_corpus.csv", ".nc"),
    ((*LEARN, "--out"), "marrowby.yaml", ".nc"),
    ((*LEARN, "--out", "new.nc", "--report"), "marrowby_corpus.csv", ".html"),
    ((*CALIBRATE, "--correct"), "learned.nc", ".nc"),
    ((*CALIBRATE, "--picture"), "marrowby_corpus.csv", ".svg"),
    ((*ESTIMATE, "--picture"), "M-001.yaml", ".svg"),
    ((*ESTIMATE, "--picture"), "marrowby.yaml", ".png"),
    ((*WEIGH, "--page"), "claims.yaml", ".html"),
    ((*WEIGH, "--page"), "M-001.yaml", ".html"),
    ((*WEIGH, "--page"), "marrowby.yaml", ".html"),
    ((*DRAFT, "--out"), "marrowby_corpus.csv", ".yaml"),
    ((*SALE, "--table"), "marrowby_sale.csv", ".csv"),
    ((*SALE, "--table"), "marrowby.yaml", ".csv"),
    ((*SALE, "--out", "new", "--table"), "marrowby_sale.csv", ".csv"),
]


@pytest.mark.parametrize("link", [os.symlink, os.link], ids=["symbolic", "hard"])
@pytest.mark.parametrize("case", READ, ids=lambda case: " ".join(case[0]) + " " + case[1])
def test_what_is_read_is_never_replaced_under_any_name(folder, monkeypatch, case, link):
    order, read, ending = case
    monkeypatch.chdir(folder)
    link(read, f"other{ending}")
    before = held(folder)
    replace = () if order[0] in {"estimate", "weigh"} else ("--replace",)
    for name in {read, f"other{ending}"} if read.endswith(ending) else {f"other{ending}"}:
        refused = run(*order, name, *replace)
        assert refused.exit_code == 2, refused.output
        assert name in refused.output
        assert NEVER in refused.output
    assert held(folder) == before
    assert not (folder / "new").exists()


def test_a_note_or_a_sale_never_replaces_what_it_reads(folder, monkeypatch):
    monkeypatch.chdir(folder)
    (folder / "index.md").hardlink_to("marrowby_sale.csv")
    refused = run(*SALE, "--out", ".", "--replace")
    assert refused.exit_code == 2
    assert f"index.md: the sale {NEVER}" in refused.output
    Path("M-001.jsonld").unlink()
    (folder / "M-001.jsonld").symlink_to("marrowby.yaml")
    refused = run("note", "M-001.yaml", "--out", ".", "--as", "linked-art", "--replace")
    assert refused.exit_code == 2
    assert f"M-001.jsonld: the notes {NEVER}" in refused.output


VALUED = [
    ((*LEARN, "--out"), "kept.nc", "the learned file"),
    ((*CALIBRATE, "--correct"), "kept.nc", "the corrected learned file"),
    ((*DRAFT, "--out"), "claims.yaml", "the maker file"),
    ((*SALE, "--table"), "kept.csv", "the table"),
    (("note", "M-001.yaml", "--as", "linked-art", "--out"), ".", "the notes"),
]


@pytest.mark.parametrize(("order", "out", "what"), VALUED)
def test_what_a_person_may_value_is_kept(folder, monkeypatch, order, out, what):
    monkeypatch.chdir(folder)
    before = held(folder)
    refused = run(*order, out)
    assert refused.exit_code == 2
    assert f"{'M-001.jsonld' if out == '.' else out}: {THERE}; {what} would" in refused.output
    assert "--replace" in refused.output
    assert held(folder) == before


def test_notes_and_tables_are_replaced_when_told_so(folder, monkeypatch):
    monkeypatch.chdir(folder)
    written = run("note", "M-001.yaml", "--as", "linked-art", "--out", ".", "--replace")
    assert written.exit_code == 0, written.output
    assert (folder / "M-001.jsonld").read_bytes() != b"kept"
    dated = pd.DataFrame({"instrument": ["a"]})
    monkeypatch.setattr("dating.batch.estimate_many", lambda *arguments, **options: dated)
    assert run(*SALE, "--table", "kept.csv", "--replace").exit_code == 0
    assert (folder / "kept.csv").read_bytes() != b"kept"


def test_a_picture_is_drawn_again_without_a_question(folder, monkeypatch):
    monkeypatch.chdir(folder)
    (folder / "p.svg").write_text("before")
    assert run("estimate", "M-001.yaml", "--picture", "p.svg").exit_code == 0
    assert "<svg" in (folder / "p.svg").read_text("utf-8")


def test_two_outputs_are_never_one(folder, monkeypatch):
    monkeypatch.chdir(folder)
    refused = run(*CALIBRATE, "--correct", "new.svg", "--picture", "./new.svg")
    assert refused.exit_code == 2
    assert "the picture would replace the corrected learned file" in refused.output


def test_only_ordinary_files_are_replaced(tmp_path):
    """A folder, a device or a pipe would be lost, or never end."""
    os.mkfifo(tmp_path / "pipe")
    for path, what in ((tmp_path, "a folder"), (tmp_path / "pipe", "not an ordinary file")):
        with pytest.raises(click.UsageError, match=what):
            check_outputs([OutputFile(path, "the table")], [], replace=True)


def test_a_link_that_leads_nowhere_is_there_all_the_same(tmp_path):
    (tmp_path / "a.nc").symlink_to(tmp_path / "none")
    with pytest.raises(click.UsageError, match=THERE):
        check_outputs([OutputFile(tmp_path / "a.nc", "the learned file")], [])
    check_outputs([OutputFile(tmp_path / "b.nc", "the learned file")], [tmp_path / "none", None])


def test_many_files_are_counted_not_listed(tmp_path):
    paths = [tmp_path / f"{number}" for number in range(MOST_SHOWN + 5)]
    for path in paths:
        path.touch()
    outputs = [OutputFile(path, "the sale") for path in paths]
    with pytest.raises(click.UsageError, match=f"and {MOST_SHOWN + 4} more like it; the sale"):
        check_outputs(outputs, [])
    with pytest.raises(click.UsageError, match="and 5 more"):
        check_outputs(outputs, paths, replace=True)
