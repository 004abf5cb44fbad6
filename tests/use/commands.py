"""The command as people run it: in this process or in one of its own, and what it must never do."""

from __future__ import annotations

import io
import os
import re
import subprocess
import sys
from contextlib import ExitStack, chdir, redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from unittest.mock import patch

from dating.cli.main import main

ROOT = Path(__file__).parents[2]
DEMO, MAKER = ROOT / "demo_data", ROOT / "priors" / "marrowby.yaml"
EXAMINATIONS = sorted((DEMO / "examinations").glob("M-*.yaml"))
START = "from dating.cli.main import main; main()"
TRACES = ("Traceback", "Exception ignored", "During handling", "object at 0x", "pydantic.dev")

CLOSED_PIPE = 141
"""What shells call a command whose reader has gone: 128 and the number of the signal."""


@dataclass(frozen=True)
class Answer:
    """What a command answered: its exit status and what it wrote."""

    status: int
    out: str
    err: str

    @property
    def text(self) -> str:
        return self.out + self.err

    @property
    def words(self) -> str:
        """All that was written, on one line."""
        return " ".join(self.text.split())


def dating(*arguments, cwd=ROOT, stdin=b"", **variables) -> Answer:
    """Run the command in this process; a traceback fails the test."""
    streams = [io.TextIOWrapper(io.BytesIO(), "utf-8", write_through=True) for _ in range(2)]
    status = 0
    with ExitStack() as stack:
        stack.enter_context(chdir(cwd))
        stack.enter_context(patch.object(sys, "argv", ["dating", *map(str, arguments)]))
        stack.enter_context(patch.object(sys, "stdin", io.TextIOWrapper(io.BytesIO(stdin))))
        stack.enter_context(patch.dict(os.environ, variables))
        stack.enter_context(redirect_stdout(streams[0]))
        stack.enter_context(redirect_stderr(streams[1]))
        try:
            main(prog_name="dating")
        except SystemExit as end:
            status = end.code if isinstance(end.code, int) else int(end.code is not None)
    out, err = (stream.buffer.getvalue().decode() for stream in streams)
    return plain(Answer(status, out, err))


def process(*arguments, cwd=ROOT, stdout=subprocess.PIPE, stdin=b"", encoding="utf-8", **variables):
    """Run the command in a process of its own; a traceback fails the test."""
    done = subprocess.run(
        [sys.executable, "-c", START, *map(str, arguments)],
        cwd=cwd,
        input=stdin,
        stdout=stdout,
        stderr=subprocess.PIPE,
        env=environment(**variables),
        check=False,
    )
    out = (done.stdout or b"").decode(encoding)
    return plain(Answer(done.returncode, out, done.stderr.decode(encoding, "replace")))


def environment(**variables) -> dict[str, str]:
    """Give the variables of this process, with the project first on the path of imports."""
    path = os.pathsep.join([*variables.pop("before", ()), str(ROOT)])
    return os.environ | {"PYTHONPATH": path, "PYTHONDONTWRITEBYTECODE": "1"} | variables


def plain(answer: Answer) -> Answer:
    """Return the answer, which shows no trace of the program and no control characters."""
    shown = [trace for trace in TRACES if trace in answer.text]
    assert not shown, f"{shown} in:\n{answer.text[-3000:]}"
    assert answer.status in (0, 1, 2, CLOSED_PIPE), (answer.status, answer.text[-3000:])
    raw = re.findall("[\x00-\x08\x0b-\x1f\x7f-\x9f]", answer.out)
    assert not raw, (raw, answer.out[-2000:])
    return answer


def success(answer: Answer) -> Answer:
    """Return the answer of a command that did what it was asked to."""
    assert answer.status == 0, answer.text[-3000:]
    return answer


def refusal(answer: Answer, *words: str, status: tuple[int, ...] = (1, 2)) -> Answer:
    """Return the answer of a command that would not, and said why."""
    assert answer.status in status, (answer.status, answer.text[-3000:])
    assert answer.err.strip() or (answer.status == 1 and answer.out.strip()), "refused in silence"
    missing = [word for word in words if word not in answer.words]
    assert not missing, f"{missing} not in:\n{answer.text[-3000:]}"
    return answer


def contents(folder: Path) -> dict[str, bytes]:
    """Read every file of a folder, by its place in it."""
    files = [path for path in sorted(folder.rglob("*")) if path.is_file()]
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in files}


def first_lots(target: Path, number: int, start: int = 0) -> Path:
    """Write some lots of the invented sale as a sale of their own."""
    lines = (DEMO / "marrowby_sale.csv").read_text("utf-8").splitlines(keepends=True)
    target.write_text("".join([*lines[:3], *lines[3 + start : 3 + start + number]]), "utf-8")
    return target
