"""What a command will write, checked before any work is done.

Nothing is written over what the command reads, and over what a person may value only where
``--replace`` says so.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Sequence, Set
from dataclasses import dataclass
from pathlib import Path

import click

type _Identity = str | tuple[int, int]

MOST_SHOWN = 10
"""Files that one message names at most."""

replacing = click.option(
    "--replace",
    is_flag=True,
    help="Replace existing files. The command never replaces a file that it reads.",
)
"""The option of every command that writes what a person may value."""


@dataclass(frozen=True)
class OutputFile:
    """One file that a command will write.

    Parameters
    ----------
    path : Path
        Where to.
    what : str
        What it is, such as ``the learned file``.
    valued : bool
        Whether a file that exists is replaced only where that was asked for; not so with pictures
        and report pages, which are written again at will.
    """

    path: Path
    what: str
    valued: bool = True


def check_outputs(
    outputs: Sequence[OutputFile], inputs: Iterable[Path | str | None], *, replace: bool = False
) -> None:
    """Refuse outputs that would destroy something.

    Raises UsageError where an output is an input under any name, or another output, or no ordinary
    file, or exists and may not be replaced. The message names each.
    """
    read = {_identity(Path(name)) for name in inputs if name is not None}
    faults = [fault for out in outputs if (fault := _fault(out, read))]
    faults += list(_repeated(outputs))
    if not faults and not replace:
        faults = list(_existing(outputs))
    if faults:
        more = len(faults) - MOST_SHOWN
        shown = faults[:MOST_SHOWN] + ([f"and {more:,} more"] if more > 0 else [])
        raise click.UsageError("\n".join(shown))


def check_maker_name(path: Path, option: str) -> None:
    """Refuse a name that no maker file can be written under.

    Raises UsageError where it does not end in .yaml, or its folder does not exist.
    """
    if path.suffix != ".yaml":
        message = f"{path}: a maker file is YAML; its name ends in .yaml"
        raise click.BadParameter(message, param_hint=option)
    if not path.parent.is_dir():
        raise click.BadParameter("the folder does not exist", param_hint=option)


def check_page_name(page: Path | None) -> None:
    """Refuse a name that no page can be written under.

    Raises InputError where it does not end in .html; BadParameter where its folder does not exist.
    """
    from dating.reading import InputError, Problem  # noqa: PLC0415

    if page is None:
        return
    if page.suffix.lower() != ".html":
        problem = Problem(str(page), None, "", "the page is HTML", page.suffix, ".html")
        raise InputError([problem])
    if not page.parent.is_dir():
        raise click.BadParameter("the folder does not exist", param_hint="--page")


def _fault(out: OutputFile, read: Set[_Identity]) -> str:
    """Say why an output can never be written here."""
    if _identity(out.path) in read:
        return (
            f"{out.path}: {out.what} would replace a file that this command reads; "
            "give it another name"
        )
    if out.path.exists() and not out.path.is_file():
        what = "a folder" if out.path.is_dir() else "not an ordinary file"
        return f"{out.path}: this is {what}; name a file for {out.what}"
    return ""


def _repeated(outputs: Sequence[OutputFile]) -> Iterator[str]:
    """Find outputs that would replace each other."""
    first: dict[_Identity, OutputFile] = {}
    for out in outputs:
        other = first.setdefault(_identity(out.path), out)
        if other is not out:
            yield f"{out.path}: {out.what} would replace {other.what}; give another name"


def _existing(outputs: Sequence[OutputFile]) -> Iterator[str]:
    """Find what a person may value, and has not said to replace."""
    there = [out for out in outputs if out.valued and os.path.lexists(out.path)]
    for what in dict.fromkeys(out.what for out in there):
        first, *others = (out.path for out in there if out.what == what)
        known = f"{first}: a file of this name already exists"
        known += f", and {len(others):,} more like it" if others else ""
        yield f"{known}; {what} would replace {'them' if others else 'it'}; " + (
            "give another name, or --replace"
        )


def _identity(path: Path) -> _Identity:
    """Say which file a name leads to: the same by a symbolic and by a hard link."""
    try:
        known = path.stat()
    except OSError:
        return str(path.resolve())
    return known.st_dev, known.st_ino
