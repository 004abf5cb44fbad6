"""Signals that end a command, turned into its ordinary end, so that it can close what it began."""

from __future__ import annotations

import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType


def _exit(number: int) -> BaseException:
    return SystemExit(128 + number)


@contextmanager
def ended_by_signals(end: Callable[[int], BaseException] = _exit) -> Iterator[None]:
    """Raise an exception where the system asks a command to end."""

    def stop(number: int, frame: FrameType | None) -> None:  # noqa: ARG001
        raise end(number)

    names = [name for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]
    before = {name: signal.signal(getattr(signal, name), stop) for name in names}
    try:
        yield
    finally:
        for name, handler in before.items():
            signal.signal(getattr(signal, name), handler)
