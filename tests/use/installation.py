"""A small installation: the core and chosen extras, with every other library out of sight."""

from __future__ import annotations

import json
import subprocess
import sys
import tomllib
from collections.abc import Iterable
from functools import cache
from importlib import metadata
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.use.commands import ROOT, environment

NAME = "instrument-dating"
HOOK = '''\
"""Hides libraries as if they were not installed: from import and from find_spec alike."""
import os
import sys
from importlib.machinery import PathFinder

_HIDDEN = frozenset(os.environ["HIDDEN_LIBRARIES"].split())


class SmallInstallation(PathFinder):
    @classmethod
    def find_spec(cls, fullname, path=None, target=None):
        if fullname.partition(".")[0] in _HIDDEN:
            return None
        return super().find_spec(fullname, path, target)


sys.meta_path[:] = [SmallInstallation if f is PathFinder else f for f in sys.meta_path]
'''
RUNS = """\
import contextlib, io, json, sys, traceback
from dating.cli.main import main

answers = []
for arguments in json.loads(sys.argv[1]):
    shown, said = io.StringIO(), io.StringIO()
    sys.argv = ["dating", *arguments]
    status = 0
    with contextlib.redirect_stdout(shown), contextlib.redirect_stderr(said):
        try:
            main()
        except SystemExit as end:
            status = end.code if isinstance(end.code, int) else int(end.code is not None)
        except BaseException:
            status = -1
            traceback.print_exc(file=said)
    answers.append([status, shown.getvalue(), said.getvalue()])
print(json.dumps(answers))
"""


@cache
def hidden(extras: tuple[str, ...]) -> str:
    """Name the modules of every library that the core and these extras do not bring."""
    stated = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    brought: set[str] = {NAME}
    waiting = list(map(Requirement, stated["dependencies"]))
    waiting.append(Requirement(f"{NAME}[{','.join(extras)}]"))
    while waiting:
        one = waiting.pop()
        name = canonicalize_name(one.name)
        if name == NAME:
            more = [text for extra in one.extras for text in stated["optional-dependencies"][extra]]
            waiting += map(Requirement, more)
            continue
        if name in brought and not one.extras:
            continue
        brought.add(name)
        waiting += _needs(one)
    own = _carried() if "setuptools" in brought else set()
    return " ".join(
        module
        for module, names in metadata.packages_distributions().items()
        if not brought & {canonicalize_name(name) for name in names}
        and module not in sys.stdlib_module_names
        and module not in own
    )


def _carried() -> set[str]:
    """Name the modules that setuptools carries along and imports where no other copy is there."""
    folder = Path(str(metadata.distribution("setuptools").locate_file("setuptools/_vendor")))
    return {path.name.partition(".")[0] for path in folder.iterdir()}


def _needs(requirement: Requirement) -> Iterable[Requirement]:
    for text in metadata.requires(requirement.name) or ():
        need = Requirement(text)
        asked = [{"extra": extra} for extra in ("", *requirement.extras)]
        if need.marker is None or any(need.marker.evaluate(extra) for extra in asked):
            yield need


def small(hook: Path, extras: Iterable[str]) -> dict[str, str]:
    """Give the variables of a process that sees the core and these extras alone."""
    (hook / "sitecustomize.py").write_text(HOOK, "utf-8")
    return environment(before=(str(hook),), HIDDEN_LIBRARIES=hidden(tuple(extras)))


def answers(commands: list[tuple[str, ...]], cwd: Path, hook: Path, extras=()) -> list[list]:
    """Run commands one after the other where only the core and these extras are installed."""
    done = subprocess.run(
        [sys.executable, "-c", RUNS, json.dumps([[*map(str, one)] for one in commands])],
        cwd=cwd,
        env=small(hook, extras),
        capture_output=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr.decode()[-3000:]
    return json.loads(done.stdout)
