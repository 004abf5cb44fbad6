"""Signals that end a command, turned into its ordinary end, so that it can close what it began."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType


@contextmanager
def ended_by_signals() -> Iterator[None]:
    """Raise SystemExit where the system asks a command to end.

    Yields
    ------
    None
        While the command works.
    """

    def stop(number: int, frame: FrameType | None) -> None:  # noqa: ARG001
        raise SystemExit(128 + number)

    names = [name for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]
    before = {name: signal.signal(getattr(signal, name), stop) for name in names}
    try:
        yield
    finally:
        for name, handler in before.items():
            signal.signal(getattr(signal, name), handler)
