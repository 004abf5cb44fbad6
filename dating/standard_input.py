"""What is read in place of a file: standard input, or a text that stands on no disk yet."""

from __future__ import annotations

import os
import sys
from functools import cached_property
from pathlib import Path

LARGEST_INPUT = 50_000_000
"""Bytes that are taken from standard input; a sheet may be as large."""


class FileContent(Path):
    """The content of a file, under the name that messages give it.

    Parameters
    ----------
    name : str
        The name.
    content : bytes
        All of it.
    """

    def __init__(self, name: str, content: bytes) -> None:
        super().__init__(name)
        self._content = content

    def with_segments(self, *segments: str | os.PathLike[str]) -> Path:  # type: ignore[override]
        """Give what is derived from it, such as its folder, as a plain path."""
        return Path(*segments)

    @property
    def content(self) -> bytes:
        """All of it."""
        return self._content


class StandardInput(FileContent):
    """Standard input as a file, read once; its folder is the present one."""

    def __init__(self) -> None:
        super().__init__("standard input", b"")

    @cached_property
    def content(self) -> bytes:
        """All that came in, in bytes."""
        return sys.stdin.buffer.read(LARGEST_INPUT + 1)
