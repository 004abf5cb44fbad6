"""The folder of a sale: one unit, whatever stops the work, and nothing lost that is not ours."""

import json
import os
import signal
import subprocess
import sys
from hashlib import sha256
from pathlib import Path

import pytest
from click.testing import CliRunner

from dating.cli.main import main
from dating.notes import lot_dates, sale_move
from dating.notes.sale import IndexEntry
from dating.notes.sale_folder import SaleFolder, begin
from dating.reading import InputError, Problem

ROOT = Path(__file__).parent.parent
LOTS = (ROOT / "demo_data/marrowby_sale.csv").read_text("utf-8").splitlines()
MAKER = ROOT / "priors/marrowby.yaml"
INDEX = {"index.html": b"index"}


def bytes_of(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def lots_file(folder, count, name="lots.csv"):
    """The first lots of the demo: two comments, the columns, then a lot a line."""
    path = folder / name
    path.write_text("\n".join(LOTS[: 3 + count]) + "\n", encoding="utf-8")
    return path


def sale(lots, out, *options):
    order = ["sale", lots, "--maker", MAKER, "--out", out, "--as", "linked-art", *options]
    return CliRunner().invoke(main, [str(word) for word in order])


def entry(lot):
    return IndexEntry(lot, lot, "1931", 0.1 + 0.2, "1931", None, ("why",), f"lot-{lot}")


def built(folder, lots, fingerprint="one", index=INDEX):
    """Build a sale of lots whose notes say who they are, up to the move."""
    work = begin(folder, fingerprint)
    records = [
        work.keep(line, entry(lot), {f"lot-{lot}.html": f"{lot} {fingerprint}".encode()})
        for line, lot in enumerate(lots, 4)
    ]
    return work, records


def standing(folder, lots, fingerprint="one"):
    work, records = built(folder, lots, fingerprint)
    return work.put_in_place(records, INDEX)


# One unit -------------------------------------------------------------------------------------


class Dead(BaseException):
    """The process is no more."""


def stop_at(patch, count, error):
    """Let renaming fail at one step."""
    steps = [0]

    def stopping(real):
        def move(*arguments):
            steps[0] += 1
            if steps[0] == count:
                raise error
            real(*arguments)

        return move

    for name in ("replace", "rename"):
        patch.setattr(sale_move.os, name, stopping(getattr(os, name)))


def steps_of(folder):
    """Stop each step of a move in turn, until none is left to stop."""
    standing(folder, "123")
    old = bytes_of(folder)
    for count in range(1, 40):
        yield count, old
        if bytes_of(folder) != old:
            assert count > 10
            return
    pytest.fail("the move never ends")


def test_a_move_that_fails_leaves_the_old_sale_and_the_next_one_ends_it(tmp_path):
    out = tmp_path / "sale"
    for count, old in steps_of(out):
        work, records = built(out, "14", "two")
        with pytest.MonkeyPatch.context() as patch:
            stop_at(patch, count, OSError(28, "No space left on device"))
            try:
                work.put_in_place(records, INDEX)
            except InputError:
                assert bytes_of(out) == old
    assert set(bytes_of(out)) == {"lot-1.html", "lot-4.html", "index.html", "sale.json"}
    assert not work.unfinished.exists()


def test_a_process_that_dies_in_a_move_leaves_what_the_next_run_puts_right(tmp_path):
    out = tmp_path / "sale"
    for count, old in steps_of(out):
        work, records = built(out, "14", "two")
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(sale_move, "restore", lambda *arguments: None)
            stop_at(patch, count, Dead())
            try:
                work.put_in_place(records, INDEX)
            except Dead:
                pass
            else:
                continue
        SaleFolder(out).restore()
        assert bytes_of(out) == old
        assert begin(out, "two").record(5) == records[1]
    assert set(bytes_of(out)) == {"lot-1.html", "lot-4.html", "index.html", "sale.json"}


def test_a_smaller_sale_takes_old_lots_away_and_leaves_what_is_not_ours(tmp_path):
    out = tmp_path / "sale"
    standing(out, "1234")
    (out / "lot-4.html").write_text("as the house wants it")
    (out / "lot-9.html").write_text("not ours")
    (out / "letters").mkdir()
    others = standing(out, "1", "two")
    assert others.strange == ("letters", "lot-9.html")
    assert others.changed == ("lot-4.html",)
    kept = {path.name for path in out.iterdir()} - {"index.html", "sale.json", "lot-1.html"}
    assert kept == {"letters", "lot-9.html", "lot-4.html"}
    assert (out / "lot-4.html").read_text() == "as the house wants it"


@pytest.mark.parametrize(
    "manifest", [b"", b"[]", b'{"files": 3}', b"\xff", b'{"files": {"../x": 1}}']
)
def test_a_manifest_that_cannot_be_read_names_nothing(tmp_path, manifest):
    out = tmp_path / "sale"
    standing(out, "12")
    (tmp_path / "x").write_text("x")
    (out / "sale.json").write_bytes(manifest)
    assert standing(out, "1", "two").strange == ("lot-2.html",)
    assert (tmp_path / "x").exists()


# Kept lots ------------------------------------------------------------------------------------


def test_a_lot_is_kept_to_the_last_digit_and_only_with_its_files(tmp_path):
    out = tmp_path / "sale"
    work = begin(out, "one")
    problem = Problem("f", 3, "lot", "message", "found", "allowed", "nearest")
    made = work.keep(4, entry("1"), {"lot-1.html": b"x"}, [problem], ["日"])
    assert begin(out, "one").record(4) == made
    assert begin(out, "one").record(5) is None
    (work.files / "lot-1.html").write_bytes(b"y")
    assert begin(out, "one").record(4) is None
    work.keep(4, entry("1"), {"lot-1.html": b"x"})
    (work.unfinished / "lots" / "4.json").write_text("{")
    assert begin(out, "one").record(4) is None
    work.keep(4, entry("1"), {"lot-1.html": b"x"})
    assert begin(out, "two").record(4) is None
    assert list(work.files.iterdir()) == []


def test_a_folder_of_another_kind_is_never_taken_for_an_unfinished_sale(tmp_path):
    (tmp_path / "sale.unfinished").mkdir()
    (tmp_path / "sale.unfinished" / "letter.txt").write_text("x")
    refused = sale(lots_file(tmp_path, 1), tmp_path / "sale")
    assert refused.exit_code == 1
    assert "move it away" in refused.output
    assert (tmp_path / "sale.unfinished" / "letter.txt").exists()
    assert not (tmp_path / "sale").exists()


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_sale_that_was_stopped_goes_on_where_it_was(tmp_path, monkeypatch, number):
    lots, real, asked = lots_file(tmp_path, 2), lot_dates.sell_lot, []

    def stopping(lot, *arguments, **options):
        asked.append(lot.number)
        if len(asked) == 2:
            if number == signal.SIGINT:
                raise KeyboardInterrupt
            signal.raise_signal(number)
        return real(lot, *arguments, **options)

    monkeypatch.setattr(lot_dates, "sell_lot", stopping)
    stopped = sale(lots, tmp_path / "out")
    assert stopped.exit_code == 128 + number
    assert "1 of 2 lots are finished, and kept in" in stopped.stderr
    assert "Repeat the command to continue from there" in stopped.stderr
    assert not (tmp_path / "out").exists()
    done = sale(lots, tmp_path / "out")
    assert done.exit_code == 0, done.output
    assert asked == ["1", "2", "2"]
    assert not (tmp_path / "out.unfinished").exists()
    fresh = sale(lots, tmp_path / "fresh")
    assert fresh.exit_code == 0
    assert bytes_of(tmp_path / "out") == bytes_of(tmp_path / "fresh")
    files = json.loads((tmp_path / "out" / "sale.json").read_text())["files"]
    known = bytes_of(tmp_path / "out")
    assert files == {n: sha256(known[n]).hexdigest() for n in known if n != "sale.json"}


def test_a_changed_input_or_option_starts_anew(tmp_path, monkeypatch):
    def stopping(*arguments, **options):
        raise KeyboardInterrupt

    lots = lots_file(tmp_path, 1)
    monkeypatch.setattr(lot_dates, "sell_lot", stopping)
    state = tmp_path / "out.unfinished" / "state.json"
    seen = set()
    for change in (
        (),
        ("--seed", "2"),
        ("--circa", "10"),
        ("--as", "markdown"),
        ("--side-by-side",),
    ):
        sale(lots, tmp_path / "out", *change)
        seen.add(state.read_bytes())
    lots.write_text(lots.read_text("utf-8").replace("student", "recital"), "utf-8")
    sale(lots, tmp_path / "out")
    seen.add(state.read_bytes())
    assert len(seen) == 6


KILLED = """
import os, signal, sys
from dating.cli.main import main
from dating.notes import lot_dates
real, asked = lot_dates.sell_lot, []
def dying(lot, *arguments, **options):
    asked.append(lot)
    if len(asked) == 2:
        os.kill(os.getpid(), signal.SIGKILL)
    return real(lot, *arguments, **options)
lot_dates.sell_lot = dying
main(sys.argv[1:])
"""


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no such signal here")
def test_a_sale_that_was_killed_goes_on_where_it_was(tmp_path, monkeypatch):
    lots, out = lots_file(tmp_path, 2), tmp_path / "out"
    order = ["sale", lots, "--maker", MAKER, "--out", out, "--as", "linked-art"]
    killed = subprocess.run(
        [sys.executable, "-c", KILLED, *map(str, order)], cwd=ROOT, capture_output=True, check=False
    )
    assert killed.returncode == -signal.SIGKILL
    assert not out.exists()
    real, asked = lot_dates.sell_lot, []
    monkeypatch.setattr(
        lot_dates, "sell_lot", lambda lot, *a, **o: asked.append(lot.number) or real(lot, *a, **o)
    )
    assert sale(lots, out).exit_code == 0
    assert asked == ["2"]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["lots.csv", "out"]


def test_a_sale_replaces_one_that_stands_only_when_told_so(tmp_path):
    out = tmp_path / "out"
    assert sale(lots_file(tmp_path, 2), out).exit_code == 0
    before = bytes_of(out)
    few = lots_file(tmp_path, 1, "few.csv")
    refused = sale(few, out)
    assert refused.exit_code == 2
    assert "index.html: a file of this name already exists, and 4 more like it" in refused.output
    assert "--replace" in refused.output
    assert bytes_of(out) == before
    (out / "mine.txt").write_text("mine")
    done = sale(few, out, "--replace")
    assert done.exit_code == 0, done.output
    assert "left in place, as no sale wrote it: mine.txt" in done.stderr
    left = {"lot-1.jsonld", "index.html", "index.md", "index.xlsx", "sale.json", "mine.txt"}
    assert set(bytes_of(out)) == left


def test_a_sale_without_any_date_leaves_the_one_that_stands(tmp_path):
    out = tmp_path / "out"
    standing(out, "12")
    before = bytes_of(out)
    bad = tmp_path / "bad.csv"
    bad.write_text("lot,heel-joint\n1,doweled\n", encoding="utf-8")
    refused = sale(bad, out, "--replace")
    assert refused.exit_code == 1
    assert "nothing was written" in refused.output
    assert bytes_of(out) == before
    assert sorted(path.name for path in tmp_path.iterdir()) == ["bad.csv", "out"]
