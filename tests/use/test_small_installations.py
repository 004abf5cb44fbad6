"""Each command where the core, or one extra, is all that is installed."""

import re
import signal
import subprocess
import sys

import pytest

from tests.use.commands import ROOT, START, TRACES
from tests.use.installation import answers, hidden, small

ALWAYS = [
    ("estimate", "L-1.yaml"),
    ("estimate", "L-1.yaml", "--as", "json"),
    ("estimate", "L-1.yaml", "--as", "yaml"),
    ("check", "lyres.yaml", "L-1.yaml", "corpus.csv"),
    ("check", "claims.yaml", "claims.csv"),
    ("check", "sale.csv"),
    ("draft", "corpus.csv", "--out", "drafted.yaml", "--name", "Draft"),
    ("note", "--rules"),
    ("--help",),
    ("--version",),
    *((command, "--help") for command in ("learn", "calibrate", "weigh", "sale", "serve")),
]
LEARN = ("learn", "lyres.yaml", "corpus.csv")
NEEDING = {
    ("estimate", "L-1.yaml", "--picture", "p.svg"): "picture",
    ("estimate", "L-1.yaml", "--learned", "corpus.csv"): "learn",
    ("learn", "lyres.yaml", "corpus.csv", "--out", "l.nc", "--draws", "10"): "learn",
    ("calibrate", "lyres.yaml", "corpus.csv"): "learn",
    ("weigh", "claims.yaml"): "learn",
    ("note", "L-1.yaml"): "note",
    ("note", "L-1.yaml", "--out", "notes"): "note",
    ("note", "L-1.yaml", "--out", "notes", "--as", "pdf"): "note",
    ("sale", "sale.csv", "--out", "sale"): "note",
    ("sale", "sale.csv", "--out", "sale", "--as", "none"): "note",
    ("sale", "instruments.csv", "--maker", "lyres.yaml", "--table", "table.parquet"): "table",
    ("serve", "."): "bench",
}
ENOUGH = {
    "picture": [("estimate", "L-1.yaml", "--picture", f"p.{end}") for end in ("svg", "png", "pdf")],
    "table": [("sale", "instruments.csv", "--maker", "lyres.yaml", "--table", "table.parquet")],
    "note": [
        ("note", "L-1.yaml"),
        ("sale", "sale.csv", "--out", "s", *(f"--as={f}" for f in ("markdown", "html", "word"))),
        ("note", "L-1.yaml", "--out", "n", "--as", "pdf", "--as", "linked-art"),
    ],
    "learn": [
        ("weigh", "claims.yaml"),
        ("weigh", "claims.csv", "--as", "json"),
        ("calibrate", "lyres.yaml", "corpus.csv"),
        ("weigh", "claims.yaml", "--page", "p.html"),
        ("calibrate", "lyres.yaml", "corpus.csv", "--picture", "p.svg"),
        (*LEARN, "--out", "l.nc", "--report", "r.html", "--draws", "10", "--insist"),
    ],
}
LONG = {"note": pytest.mark.long, "learn": pytest.mark.long}
LACKING = {
    "note": {("sale", "sale.csv", "--out", "t", "--learned", "corpus.csv"): "learn"},
    "bench": {("serve", ".", "--port", "0"): "note"},
}


def held(commands, told, extra=None):
    """Hold each answer against what it must say."""
    wrong = []
    for command, (status, out, err) in zip(commands, told, strict=True):
        needed = extra(command) if extra else None
        text = " ".join((out + err).split())
        if any(trace in text for trace in TRACES):
            wrong.append(f"{command}: a traceback: {err.strip().splitlines()[-1]}")
        elif needed is None and status != 0:
            wrong.append(f"{command}: {status}, {text[-300:]}")
        elif needed and (status not in (1, 2) or not re.search(rf"\[[\w,]*\b{needed}\b", text)):
            wrong.append(f"{command}: {needed} is not named: {status}, {text[-300:]}")
    assert not wrong, "\n".join(wrong)


def test_libraries_of_extras_are_out_of_sight_and_those_of_the_core_are_not():
    assert {"matplotlib", "scipy", "uvicorn", "starlette", "h5netcdf"} <= set(hidden(()).split())
    assert not {"numpy", "xarray", "click", "yaml", "dating"} & set(hidden(()).split())
    assert "matplotlib" not in hidden(("note",)).split()


def test_the_core_alone_dates_checks_and_drafts(lyres, tmp_path):
    held(ALWAYS, answers(ALWAYS, lyres, tmp_path))


def test_every_other_command_names_the_extra_that_it_needs_and_writes_nothing(lyres, tmp_path):
    commands = list(NEEDING)
    before = sorted(lyres.rglob("*"))
    held(commands, answers(commands, lyres, tmp_path), NEEDING.get)
    assert sorted(lyres.rglob("*")) == before


@pytest.mark.parametrize(
    "extra", [pytest.param(extra, marks=LONG.get(extra, ())) for extra in ENOUGH]
)
def test_one_extra_is_enough_for_what_the_readme_says_of_it(lyres, tmp_path, extra):
    commands = [*ENOUGH[extra], *(lacking := LACKING.get(extra, {}))]
    held(commands, answers(commands, lyres, tmp_path, (extra,)), lacking.get)


CRAWL = """
import sys
from pathlib import Path
from tests.serving import linked, pages_of
wrong = [(place, answer.status) for answers in linked(pages_of(Path(sys.argv[1])), 2).values()
         for place, answer in answers if answer.status not in (200, 501, 503)]
assert not wrong, wrong
"""


def test_the_pages_need_no_more_than_their_own_extras(lyres, tmp_path):
    done = subprocess.run(
        [sys.executable, "-c", CRAWL, str(lyres)],
        cwd=ROOT,
        env=small(tmp_path, ("bench", "note")),
        capture_output=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr.decode()[-2000:]


def test_the_pages_are_served_where_their_own_extras_are_installed(lyres, tmp_path):
    with subprocess.Popen(
        [sys.executable, "-c", START, "serve", ".", "--port", "0"],
        cwd=lyres,
        env=small(tmp_path, ("bench", "note")) | {"PYTHONUNBUFFERED": "1"},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
    ) as server:
        first = server.stdout.readline().decode()
        server.send_signal(signal.SIGINT)
        rest = server.stdout.read().decode()
        server.wait(60)
    assert "http://" in first + rest
    assert not any(trace in first + rest for trace in TRACES), first + rest
