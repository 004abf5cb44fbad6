"""The files of a folder that the pages can use, each looked into once and only where it must be."""

from __future__ import annotations

import os
import re
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import islice
from pathlib import Path, PurePosixPath
from typing import Literal

type FileKind = Literal["maker", "examination", "claims", "corpus", "lots", "learned", "group"]
type State = tuple[int, int, int]

MOST_FILES = 20_000
"""Files of a fitting ending that are listed; those of outer folders come first."""
DEEPEST = 3
_ENDINGS: dict[FileKind, tuple[str, ...]] = {
    "maker": (".yaml",),
    "examination": (".yaml",),
    "claims": (".yaml", ".csv"),
    "corpus": (".csv",),
    "lots": (".csv",),
    "learned": (".nc",),
    "group": (".yaml",),
}
_KEYS: tuple[tuple[FileKind, str], ...] = (
    ("claims", r"(?m)^claims:\s*(?:#[^\n]*\s+)*[-\[]"),
    ("examination", r"(?m)^instrument:"),
    ("maker", r"(?m)^components:"),
    ("group", r"(?m)^known:"),
)
_COLUMNS: tuple[tuple[FileKind, str], ...] = (
    ("lots", r"(?m)^lot,"),
    ("corpus", r"(?m)^(?!#).*\bbuilt\b"),
    ("claims", r"(?m)^(?!#).*\bclaim\b"),
)
_PART = re.compile(r"(?!.*[ .]$)[^\W_][\w .()+-]{0,99}")
_LONGEST_NAME = 200
"""Bytes; systems allow 255, and a temporary name is somewhat longer."""
_DEVICE = re.compile(r"(?i)(con|prn|aux|nul|com[0-9¹²³]|lpt[0-9¹²³]) *(\..*)?")
"""Names that some systems give to devices, in whatever folder and with whatever ending."""


@dataclass(frozen=True)
class File:
    """A file of the folder.

    Parameters
    ----------
    name : str
        Its name as seen from the folder, with slashes.
    kind : {"maker", "examination", "claims", "corpus", "lots", "learned", "group"}
        What it holds, told by its keys or columns.
    """

    name: str
    kind: FileKind


class Listing:
    """What a folder holds, kind by kind.

    Parameters
    ----------
    root : Path
        The folder.
    """

    def __init__(self, root: Path) -> None:
        self.root = root
        self._kinds: dict[str, tuple[State, FileKind | None]] = {}

    def files(self, kind: FileKind | None = None, stem: str | None = None) -> list[File]:
        """List the files that the pages can use.

        A file is looked into where its ending and its name leave it possible that it is wanted,
        and not again until it changes.
        """
        rows = []
        for name, entry in islice(_entries(self.root, _endings(kind)), MOST_FILES):
            if stem is not None and PurePosixPath(name).stem != stem:
                continue
            own_kind = self._kind_of(entry)
            if own_kind is not None and kind in {None, own_kind}:
                rows.append(File(name, own_kind))
        return sorted(rows, key=lambda file: file.name)

    def exceeds_limit(self) -> bool:
        """Say whether the folder holds more files than are listed."""
        beyond = islice(_entries(self.root, _endings(None)), MOST_FILES, None)
        return next(beyond, None) is not None

    def _kind_of(self, entry: os.DirEntry[str]) -> FileKind | None:
        try:
            stat = entry.stat()
        except OSError:
            return None
        state = (stat.st_mtime_ns, stat.st_size, stat.st_ino)
        known = self._kinds.get(entry.path)
        if known is None or known[0] != state:
            if len(self._kinds) >= 2 * MOST_FILES:
                self._kinds.clear()
            known = self._kinds[entry.path] = state, kind_of(Path(entry.path))
        return known[1]


@lru_cache(maxsize=2 * MOST_FILES)
def may_be_named(part: str) -> bool:
    """Say whether a file or folder of this name may be asked for."""
    allowed = bool(_PART.fullmatch(part)) and not _DEVICE.fullmatch(part)
    return allowed and len(part.encode("utf-8")) <= _LONGEST_NAME


def kind_of(path: Path) -> FileKind | None:
    """Tell what a file holds by its ending, and by a key or column near its top."""
    if path.suffix == ".nc":
        return "learned"
    signs = {".yaml": _KEYS, ".csv": _COLUMNS}.get(path.suffix)
    if signs is None:
        return None
    try:
        with path.open("rb") as stream:
            start = stream.read(65_536).decode("utf-8", "replace")
    except OSError:
        return None
    return next((kind for kind, sign in signs if re.search(sign, start)), None)


def _endings(kind: FileKind | None) -> set[str]:
    """Name the endings that a kind may have; all of them where no kind is given."""
    return {ending for name, ends in _ENDINGS.items() if kind in {None, name} for ending in ends}


def _entries(root: Path, endings: Collection[str]) -> Iterator[tuple[str, os.DirEntry[str]]]:
    """Walk through the files of these endings, outer folders first, each with its name."""
    folders = [(os.fspath(root), "")]
    for _ in range(DEEPEST + 1):
        inner = []
        for folder, prefix in folders:
            for entry in _listed(folder):
                if entry.is_symlink() or not may_be_named(entry.name):
                    continue
                name = f"{prefix}{entry.name}"
                if entry.is_dir():
                    inner.append((entry.path, f"{name}/"))
                elif os.path.splitext(entry.name)[1] in endings and entry.is_file():
                    yield name, entry
        folders = inner


def _listed(folder: str) -> list[os.DirEntry[str]]:
    """List a folder by name; as empty where it cannot be read."""
    try:
        with os.scandir(folder) as entries:
            return sorted(entries, key=lambda entry: entry.name)
    except OSError:
        return []
