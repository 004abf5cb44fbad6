"""Libraries that a command needs and that may not be installed."""

from __future__ import annotations

from collections.abc import Sequence

import click


def missing_of(names: Sequence[str]) -> list[str]:
    """Name the libraries that are not installed."""
    return [name for name in names if not _is_installed(name)]


def _is_installed(name: str) -> bool:
    """Say whether a library is there; one within another is not there without that one."""
    from importlib.util import find_spec  # noqa: PLC0415

    try:
        return find_spec(name) is not None
    except ModuleNotFoundError:
        return False


def check_reading(learned: object) -> None:
    """Refuse to begin where what was learned is to be read, and the library for it is missing.

    Raises ClickException when the library is missing.
    """
    if learned is not None:
        check_installed("reading what was learned", ["h5netcdf"])


def check_installed(what: str, names: Sequence[str], extras: str = "learn") -> None:
    """Refuse to begin without libraries that will be needed.

    Raises ClickException when one is missing.
    """
    if missing := missing_of(names):
        message = f"{what} needs {', '.join(missing)}; install instrument-dating[{extras}]"
        raise click.ClickException(message)
