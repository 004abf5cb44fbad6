"""Libraries that a command needs and that may not be installed."""

from __future__ import annotations

from collections.abc import Sequence

import click

from dating.libraries import check_libraries


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
    try:
        check_libraries(what, names, extras)
    except ModuleNotFoundError as error:
        raise click.ClickException(str(error)) from None
