"""The folder of a sale that is being written: kept lot by lot in a folder beside it.

Beside ``sale`` stands ``sale.unfinished``: ``state.json`` says what the sale is written from,
``lots`` holds a record of each lot that is finished, and ``files`` what will be moved.
"""

from __future__ import annotations

import os
import platform
import shutil
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from hashlib import sha256
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from dating.notes.plain_json import digest_of, json_bytes, json_in
from dating.notes.sale import IndexEntry
from dating.notes.sale_move import COMING, EARLIER, GONE, Remainder, move_in, restore
from dating.reading import InputError, Problem, write_whole

_STATE, _LOTS, _FILES = "state.json", "lots", "files"
_OURS = {_STATE, _LOTS, _FILES, COMING, EARLIER, GONE}
_LIBRARIES = ("instrument-dating", "numpy", "matplotlib", "jinja2", "python-docx", "typst")


@dataclass(frozen=True)
class LotRecord:
    """One lot that need not be done again.

    Parameters
    ----------
    entry : IndexEntry
        Its place in the index.
    problems : tuple of Problem
        What is wrong with it.
    missing : tuple of str
        Signs that the fonts of its PDF do not have.
    files : mapping of str to str
        SHA-256 of each file of its note, by name.
    """

    entry: IndexEntry
    problems: tuple[Problem, ...]
    missing: tuple[str, ...]
    files: Mapping[str, str]


@dataclass(frozen=True)
class SaleFolder:
    """The folder of a sale that is being written.

    Parameters
    ----------
    folder : Path
        Where the sale will stand.
    """

    folder: Path

    @property
    def unfinished(self) -> Path:
        """The folder beside it, in which the sale is built."""
        whole = self.folder.resolve()
        return whole.with_name(f"{whole.name}.unfinished")

    @property
    def files(self) -> Path:
        """What is built so far."""
        return self.unfinished / _FILES

    def record(self, line: int) -> LotRecord | None:
        """Look up a lot that was finished before."""
        try:
            lot = _record_in(json_in(self.unfinished / _LOTS / f"{line}.json"))
            whole = all(digest_of(self.files / name) == lot.files[name] for name in lot.files)
        except (OSError, ValueError, TypeError, KeyError):
            return None
        return lot if whole else None

    def keep(
        self,
        line: int,
        entry: IndexEntry,
        files: Mapping[str, bytes],
        problems: Sequence[Problem] = (),
        missing: Sequence[str] = (),
    ) -> LotRecord:
        """Keep a finished lot: first its files, then the record that it is finished.

        Raises InputError when a file cannot be written.
        """
        for name, content in files.items():
            write_whole(self.files / name, content)
        digests = {name: sha256(content).hexdigest() for name, content in files.items()}
        record = LotRecord(entry, tuple(problems), tuple(missing), digests)
        write_whole(self.unfinished / _LOTS / f"{line}.json", json_bytes(asdict(record)))
        return record

    def put_in_place(self, lots: Iterable[LotRecord], index: Mapping[str, bytes]) -> Remainder:
        """Move the sale in: all of it, or none.

        Raises InputError when something cannot be written or moved; the folder is then as it was.
        """
        digests = {name: digest for lot in lots for name, digest in lot.files.items()}
        for name, content in index.items():
            write_whole(self.files / name, content)
            digests[name] = sha256(content).hexdigest()
        left = move_in(self.files, self.folder, digests)
        self.give_up()
        return left

    def restore(self) -> None:
        """Undo a move that was stopped on its way.

        Raises InputError when something cannot be moved back.
        """
        restore(self.files, self.folder)

    def give_up(self) -> None:
        """Remove what is unfinished."""
        shutil.rmtree(self.unfinished, ignore_errors=True)


def begin(folder: Path, fingerprint: str) -> SaleFolder:
    """Begin to write a sale, or go on with one of the same fingerprint.

    Raises InputError when that folder cannot be made, or holds what no sale has written.
    """
    sale = SaleFolder(folder)
    state = json_bytes({"fingerprint": fingerprint})
    try:
        _check_ours(sale.unfinished)
        sale.restore()
        if _content(sale.unfinished / _STATE) != state:
            if sale.unfinished.exists():
                shutil.rmtree(sale.unfinished)
            sale.unfinished.mkdir()
        for part in (_FILES, _LOTS):
            (sale.unfinished / part).mkdir(exist_ok=True)
    except OSError as error:
        message = f"the folder cannot be made: {error.strerror or error}"
        raise InputError([Problem(str(sale.unfinished), None, "", message)]) from None
    write_whole(sale.unfinished / _STATE, state)
    return sale


def fingerprint_of(files: Iterable[Path], choices: Mapping[str, object]) -> str:
    """Take the fingerprint of all that the files of a sale depend on.

    Raises InputError when a file cannot be read.
    """
    try:
        known = [(str(path), digest_of(path)) for path in files]
    except OSError as error:
        problem = Problem(str(error.filename), None, "", f"cannot be read: {error.strerror}")
        raise InputError([problem]) from None
    versions = [platform.python_version(), *map(_version, _LIBRARIES)]
    texts = {name: str(value) for name, value in choices.items()}
    return sha256(json_bytes({"files": known, "choices": texts, "versions": versions})).hexdigest()


def _check_ours(unfinished: Path) -> None:
    """Refuse to take what no sale has written for an unfinished sale."""
    if not os.path.lexists(unfinished):
        return
    ours = unfinished.is_dir() and not unfinished.is_symlink()
    names = {path.name for path in unfinished.iterdir()} if ours else {unfinished.name}
    if any(name not in _OURS and not name.startswith(".") for name in names):
        message = "this stands where the sale would be built; move it away, or name another --out"
        raise InputError([Problem(str(unfinished), None, "", message)])


def _record_in(data: Any) -> LotRecord:
    entry = IndexEntry(**{**data["entry"], "why": tuple(data["entry"]["why"])})
    problems = tuple(Problem(**problem) for problem in data["problems"])
    return LotRecord(entry, problems, tuple(data["missing"]), dict(data["files"]))


def _content(path: Path) -> bytes:
    return path.read_bytes() if path.is_file() else b""


def _version(library: str) -> str:
    try:
        return version(library)
    except PackageNotFoundError:
        return ""
