"""The folder that the pages work on: what lies in it, read and saved without losing anything."""

from __future__ import annotations

import hashlib
import os
import threading
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path, PurePosixPath

from dating.bench.listing import DEEPEST, File, FileKind, Listing, may_be_named
from dating.reading import InputError, Problem, write_whole

LARGEST = 1_000_000
"""Bytes that a file saved from a page has at most."""
_SAVED = (".yaml",)


class NotThereError(Exception):
    """There is no such file in the folder, or its name is not one that the folder may hold."""


class ChangedError(Exception):
    """The file has changed since it was read.

    Parameters
    ----------
    text : str
        What it says now; empty where it is gone.
    version : str
        Fingerprint of that.
    """

    def __init__(self, text: str, version: str) -> None:
        super().__init__("the file has changed since it was read")
        self.text = text
        self.version = version


@dataclass(frozen=True)
class Workspace:
    """A folder that pages read and save.

    Parameters
    ----------
    root : Path
        The folder.
    passing : bool
        Whether it is a copy of the demo that goes when the server stops.

    Examples
    --------
    >>> work = Workspace(Path("."))
    >>> [file.name for file in work.files("maker")]
    ['priors/marrowby.yaml', 'priors/velquist.yaml']
    """

    root: Path
    passing: bool = False
    _lock: threading.Lock = field(
        default_factory=threading.Lock, init=False, compare=False, repr=False
    )

    def without_root(self, text: str) -> str:
        """Name files in a text as seen from the folder: no page shows a path of the machine."""
        return text.replace(f"{self.root}/", "")

    @cached_property
    def listing(self) -> Listing:
        """What the folder holds, kind by kind."""
        return Listing(self.root)

    @cached_property
    def identity(self) -> str:
        """Tell this folder from others without naming it; every copy of the demo is the same."""
        path = b"" if self.passing else os.fsencode(self.root.resolve())
        return version_of(path)[:16]

    def files(self, kind: FileKind | None = None, stem: str | None = None) -> list[File]:
        """List the files of the folder that the pages can use."""
        return self.listing.files(kind, stem)

    def path_of(self, name: str) -> Path:
        """Give the path of a file of the folder.

        Raises NotThereError when the name leads out of the folder, is hidden, or has a form that is
        not allowed.
        """
        parts = PurePosixPath(name).parts
        if not parts or len(parts) > DEEPEST + 1 or not all(map(may_be_named, parts)):
            raise NotThereError(name)
        path = self.root.joinpath(*parts)
        try:
            real, root = path.resolve(), self.root.resolve()
        except (OSError, ValueError):
            raise NotThereError(name) from None
        if not real.is_relative_to(root) or path.is_symlink():
            raise NotThereError(name)
        return path

    def read(self, name: str) -> tuple[str, str]:
        """Read a text file.

        Raises NotThereError when there is no such file, or it is too large or not text.
        """
        path = self.path_of(name)
        try:
            if not path.is_file() or path.stat().st_size > LARGEST:
                raise NotThereError(name)
            content = path.read_bytes()
            return content.decode("utf-8"), version_of(content)
        except (OSError, UnicodeDecodeError):
            raise NotThereError(name) from None

    def save(self, name: str, text: str, version: str) -> str:
        """Save a file whole, unless it has changed since it was read.

        Raises ChangedError when the file is no longer, or already, there, or says something else by
        now; NotThereError when the name is not allowed, or its folder is not there; InputError when
        the text is too large, or the file cannot be written.
        """
        path, content = self.path_of(name), text.encode("utf-8")
        if path.suffix not in _SAVED or not path.parent.is_dir():
            raise NotThereError(name)
        if len(content) > LARGEST:
            raise InputError([Problem(name, None, "", f"more than {LARGEST:,} bytes")])
        with self._lock:
            now = self._said_by(path)
            if (version_of(now) if path.exists() else "") != version:
                raise ChangedError(now.decode("utf-8", "replace"), version_of(now) if now else "")
            write_whole(path, content)
        return version_of(content)

    def _said_by(self, path: Path) -> bytes:
        try:
            return path.read_bytes() if path.is_file() else b""
        except OSError as error:
            name = path.relative_to(self.root).as_posix()
            message = f"cannot be read: {error.strerror or error}"
            raise InputError([Problem(name, None, "", message)]) from None


def version_of(content: bytes) -> str:
    """Give the fingerprint of a file's bytes."""
    return hashlib.sha256(content).hexdigest()
