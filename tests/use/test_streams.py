"""Output elsewhere: a closed pipe, a legacy code page, a full device, a narrow terminal."""

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.use.commands import (
    EXAMINATIONS,
    START,
    TRACES,
    dating,
    environment,
    process,
    refusal,
    success,
)

ESTIMATE = ("estimate", "L-1.yaml")
PRINTING = [
    ("--help",),
    ESTIMATE,
    ("check", "lyres.yaml"),
    ("note", "L-1.yaml"),
    ("note", "--rules"),
    ("weigh", "claims.yaml", "--as", "json"),
]
FULL = Path("/dev/full")


@pytest.mark.parametrize("arguments", PRINTING[:4], ids=" ".join)
def test_the_reader_of_a_pipe_may_leave(lyres, arguments):
    reading, writing = os.pipe()
    os.close(reading)
    try:
        answer = process(*arguments, cwd=lyres, stdout=writing)
    finally:
        os.close(writing)
    assert answer.err == ""


@pytest.mark.parametrize("arguments", PRINTING[1:], ids=" ".join)
def test_output_is_written_in_a_legacy_code_page(lyres, arguments):
    answer = process(*arguments, cwd=lyres, encoding="cp1252", PYTHONIOENCODING="cp1252")
    assert success(answer).out.strip()
    if "json" in arguments:
        assert json.loads(answer.out)


def test_german_and_greek_are_written_in_ascii(lyres):
    text = (lyres / "L-1.yaml").read_text("utf-8").replace("L-1", "Λ-1 „Grün“")
    (lyres / "Λ.yaml").write_text(text, "utf-8")
    for arguments in (("estimate", "Λ.yaml"), ("note", "Λ.yaml", "--language", "de")):
        success(process(*arguments, cwd=lyres, encoding="latin-1", PYTHONIOENCODING="ascii"))
    spoiled = text.replace("metal", "métallique ☃")
    (lyres / "Λ.yaml").write_text(spoiled, "utf-8")
    answer = process("check", "Λ.yaml", cwd=lyres, encoding="latin-1", PYTHONIOENCODING="ascii")
    refusal(answer, "line 6", status=(1,))


@pytest.mark.skipif(not FULL.exists(), reason="there is no device that is always full")
@pytest.mark.parametrize("arguments", PRINTING[:4], ids=" ".join)
def test_a_full_device_is_a_message(lyres, arguments):
    with FULL.open("wb") as full:
        answer = process(*arguments, cwd=lyres, stdout=full)
    refusal(answer, status=(1,))
    assert "space" in answer.err.lower() or "full" in answer.err.lower()


@pytest.mark.skipif(not FULL.exists(), reason="there is no device that is always full")
def test_a_file_that_cannot_be_written_is_a_message(lyres):
    (lyres / "p.svg").symlink_to(FULL)
    before = sorted(lyres.iterdir())
    (lyres / "file").touch()
    for arguments in (
        (*ESTIMATE, "--picture", "file/p.svg"),
        (*ESTIMATE, "--picture", "nowhere/p.svg"),
        (*ESTIMATE, "--picture", "."),
        ("note", "L-1.yaml", "--out", "file"),
        ("sale", "sale.csv", "--out", "file"),
        ("sale", "sale.csv", "--table", "nowhere/t.csv"),
        ("draft", "corpus.csv", "--out", "nowhere/d.yaml", "--name", "D"),
        ("weigh", "claims.yaml", "--page", "nowhere/p.html"),
    ):
        refusal(dating(*arguments, cwd=lyres))
    (lyres / "file").unlink()
    assert sorted(lyres.iterdir()) == before


def too_wide(text, width):
    """List the lines that are wider than allowed, save for words that cannot be broken.

    A command that is to be copied is one such word.
    """
    lines = [line for line in text.splitlines() if len(line) > width]
    lines = [line for line in lines if not line.lstrip().startswith("dating ")]
    return [line for line in lines if max(map(len, line.split())) <= width - 4]


@pytest.mark.parametrize("width", [40])
@pytest.mark.parametrize(
    "arguments",
    [
        ("estimate", EXAMINATIONS[2]),
        ("compare", *EXAMINATIONS[:2]),
        ("check", "lyres.yaml", "L-1.yaml", "corpus.csv"),
        ("weigh", "claims.yaml"),
        ("calibrate", "lyres.yaml", "corpus.csv"),
        ("draft", "corpus.csv", "--out", "new.yaml", "--name", "New"),
        ("--help",),
        ("sale", "--help"),
        ("learn", "--help"),
    ],
    ids=lambda arguments: " ".join(Path(word).name for word in arguments[:2]),
)
def test_text_keeps_to_a_narrow_terminal(lyres, arguments, width):
    answer = success(dating(*arguments, cwd=lyres, COLUMNS=str(width)))
    assert answer.out.strip()
    assert not too_wide(answer.text, width)


def test_text_uses_a_wide_terminal(lyres):
    wide = success(dating("estimate", EXAMINATIONS[2], COLUMNS="160"))
    normal = success(dating("estimate", EXAMINATIONS[2], COLUMNS="80"))
    assert max(map(len, wide.out.splitlines())) > 85
    assert max(map(len, normal.out.splitlines())) <= 80
    assert wide.out.split() == normal.out.split() or len(wide.out.splitlines()) < len(
        normal.out.splitlines()
    )


def test_a_message_keeps_to_a_narrow_terminal(lyres):
    text = (lyres / "L-1.yaml").read_text("utf-8").replace("metal", "mettal")
    (lyres / "L-1.yaml").write_text(text, "utf-8")
    for command in ("check", "estimate"):
        answer = refusal(dating(command, "L-1.yaml", cwd=lyres, COLUMNS="40"), "mettal")
        assert not too_wide(answer.text, 40)


def test_every_command_is_described_in_the_help_whole():
    help_text = success(dating("--help")).out
    _, _, listed = help_text.partition("Commands:")
    assert "serve" in listed
    assert "..." not in listed


def test_a_nul_in_a_name_is_a_message(lyres):
    for arguments in (
        ("estimate", "L\0-1.yaml"),
        ("check", "L\0-1.yaml"),
        (*ESTIMATE, "--maker", "ly\0res.yaml"),
        (*ESTIMATE, "--learned", "l\0.nc"),
        (*ESTIMATE, "--picture", "p\0.svg"),
        ("sale", "sale.csv", "--out", "s\0"),
        ("sale", "sale.csv", "--table", "t\0.csv"),
        ("draft", "corpus.csv", "--out", "d\0.yaml", "--name", "D"),
        ("weigh", "claims.yaml", "--page", "p\0.html"),
        ("note", "L-1.yaml", "--language", "l\0.yaml"),
        ("note", "L-1.yaml", "--templates", "t\0"),
        ("serve", "f\0"),
    ):
        refusal(dating(*arguments, cwd=lyres))
    for name, old, new in (
        ("L-1.yaml", "maker: lyres", 'maker: "ly\\0res"'),
        ("claims.yaml", "L-1.yaml", '"L\\0.yaml"'),
        ("claims.yaml", "maker: lyres", 'maker: "\\0"'),
    ):
        spoiled = (lyres / name).read_text("utf-8").replace(old, new)
        (lyres / f"nul-{name}").write_text(spoiled, "utf-8")
        command = "weigh" if "claims" in name else "estimate"
        refusal(dating(command, f"nul-{name}", cwd=lyres))
        dating("check", f"nul-{name}", cwd=lyres)  # which may not know where the maker file is


@pytest.mark.parametrize("sign", ["\x1b", "\x07", "\x08", "\x7f", "\x9b", "\r"])
def test_control_characters_of_a_file_are_shown_and_not_sent(lyres, sign):
    escape = f"\\x{ord(sign):02x}"
    text = (lyres / "L-1.yaml").read_text("utf-8")
    spoiled = {
        "value.yaml": text.replace("ends: metal", f'ends: "me{escape}[31mtal"'),
        "key.yaml": text.replace("ends: metal", f'"en{escape}ds": metal'),
        "name.yaml": text.replace("L-1", f'"L{escape}[2J"'),
    }
    corpus = (lyres / "corpus.csv").read_text("utf-8")
    spoiled["cell.csv"] = corpus.replace(",metal,", f",m{sign}etal,", 1)
    spoiled["column.csv"] = corpus.replace(",label,", f",la{sign}bel,", 1)
    for name, content in spoiled.items():
        (lyres / name).write_bytes(content.encode())
        for command in ("check", "estimate") if name.endswith("yaml") else ("check",):
            answer = dating(command, name, cwd=lyres)  # which shows no control characters
            raw = re.findall("[\x00-\x08\x0b-\x1f\x7f-\x9f]", answer.text)
            assert not raw, (command, name, raw)


def test_an_interrupted_command_ends_without_a_traceback(lyres):
    with subprocess.Popen(
        [sys.executable, "-c", START, "learn", "lyres.yaml", "corpus.csv", "--out", "l.nc"],
        cwd=lyres,
        env=environment(PYTHONUNBUFFERED="1"),
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
    ) as learning:
        first = learning.stdout.readline().decode()
        learning.send_signal(2)
        rest = learning.stdout.read().decode()
        assert learning.wait(120) != 0
    assert not any(trace in first + rest for trace in TRACES), rest[-2000:]
    assert not (lyres / "l.nc").exists()
