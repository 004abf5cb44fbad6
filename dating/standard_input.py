"""Standard input in place of a file."""

from __future__ import annotations

import os
import sys
from functools import cached_property
from pathlib import Path

LARGEST_INPUT = 50_000_000
"""Bytes that are taken from standard input; a sheet may be as large."""


class StandardInput(Path):
    """Standard input as a file, read once; its folder is the present one."""

    def __init__(self) -> None:
        super().__init__("standard input")

    def with_segments(self, *segments: str | os.PathLike[str]) -> Path:  # type: ignore[override]
        """Give what is derived from it, such as its folder, as a plain path."""
        return Path(*segments)

    @cached_property
    def content(self) -> bytes:
        """All that came in, in bytes."""
        return sys.stdin.buffer.read(LARGEST_INPUT + 1)
