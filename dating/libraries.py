"""Libraries that are needed for one thing and may not be installed."""

from __future__ import annotations

from collections.abc import Sequence


def missing_of(names: Sequence[str]) -> list[str]:
    """Name the libraries that are not installed."""
    return [name for name in names if not _is_installed(name)]


def check_libraries(what: str, names: Sequence[str], extras: str = "learn") -> None:
    """Refuse to begin without libraries that will be needed.

    Raises ModuleNotFoundError when one is missing, with the extra that brings it.

    Examples
    --------
    >>> check_libraries("a picture", ["no_such"], "picture")
    Traceback (most recent call last):
    ...
    ModuleNotFoundError: a picture needs no_such; install instrument-dating[picture]
    """
    if missing := missing_of(names):
        raise ModuleNotFoundError(
            f"{what} needs {', '.join(missing)}; install instrument-dating[{extras}]"
        )


def _is_installed(name: str) -> bool:
    """Say whether a library is there; one within another is not there without that one."""
    from importlib.util import find_spec  # noqa: PLC0415

    try:
        return find_spec(name) is not None
    except ModuleNotFoundError:
        return False
