"""Maker files, learned files and corpora, read once and kept until they change on disk."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from pathlib import Path
from typing import Any

from dating.bench.workspace import NotThereError, Workspace
from dating.claims.files import read_claims
from dating.claims.statements import Claims
from dating.examination import Examination
from dating.files import read_examination, read_maker
from dating.learning.corpus import Corpus, read_corpus
from dating.learning.files import read_draws
from dating.learning.learned import MOST_DRAWS, Learned
from dating.maker import Maker
from dating.succession.files import read_group
from dating.succession.relations import Group

_MOST = 24


class FileCache:
    """What has been read from a folder.

    Parameters
    ----------
    workspace : Workspace
        The folder.
    """

    def __init__(self, workspace: Workspace) -> None:
        self.workspace = workspace
        self._files: OrderedDict[tuple[Any, ...], Any] = OrderedDict()
        self._sorts: dict[str, OrderedDict[tuple[Any, ...], Any]] = {}
        self._lock = threading.Lock()
        self.drawing = threading.Lock()
        """Held while matplotlib draws, whose settings all threads share."""
        self.draws: tuple[int, int] = (0, 0)
        """How many draws the last comparison has taken so far, and may take at most."""

    def maker(self, name: str) -> Maker:
        """Read a maker file.

        Raises NotThereError when there is no such file; InputError when it has problems.
        """
        return self._once("maker", name, read_maker)

    def maker_named(self, word: str) -> str:
        """Find the maker file that an examination names.

        Raises NotThereError when there is none.
        """
        for file in self.workspace.files("maker", word):
            return file.name
        raise NotThereError(f"{word}.yaml, a maker file")

    def examination(self, name: str) -> Examination:
        """Read an examination.

        Raises NotThereError when there is no such file; InputError when it has problems.
        """
        return self._once("examination", name, read_examination)

    def corpus(self, name: str, maker: Maker) -> Corpus:
        """Read a reference corpus against a maker file.

        Raises NotThereError when there is no such file; InputError when it has problems.
        """
        return self._once(maker.origin.fingerprint, name, lambda path: read_corpus(path, maker))

    def learned(self, name: str, maker: Maker, most: int = MOST_DRAWS) -> Learned:
        """Read what was learned of a maker.

        Raises NotThereError when there is no such file; InputError when it has problems, or belongs
        to another maker file.
        """
        kind = f"{maker.origin.fingerprint} {most}"
        return self._once(kind, name, lambda path: read_draws(path, maker, most))

    def claims(self, name: str) -> Claims:
        """Read a claims file.

        Raises NotThereError when there is no such file; InputError when it has problems.
        """
        return self._once("claims", name, read_claims)

    def group(self, name: str) -> Group:
        """Read a group file.

        Raises NotThereError when there is no such file; InputError when it has problems.
        """
        return self._once("group", name, read_group)

    def state_of(self, name: str) -> tuple[str, int, int, int]:
        """Tell the state of a file; another one means that it may have changed.

        Raises NotThereError when there is no such file.
        """
        return _state(self.workspace.path_of(name), name)

    def make_once[T](self, key: tuple[Any, ...], make: Callable[[], T], most: int = 2) -> T:
        """Make something that takes long, or give what was made of the same."""
        with self._lock:
            sort = self._sorts.setdefault(key[0], OrderedDict())
            if key in sort:
                sort.move_to_end(key)
                value: T = sort[key]
                return value
        result = make()
        with self._lock:
            result = sort.setdefault(key, result)
            while len(sort) > most:
                sort.popitem(last=False)
        return result

    def _once[T](self, kind: str, name: str, read: Callable[[Path], T]) -> T:
        path = self.workspace.path_of(name)
        key = (kind, *_state(path, name))
        with self._lock:
            if key in self._files:
                self._files.move_to_end(key)
                value: T = self._files[key]
                return value
        result = read(path)
        with self._lock:
            self._files[key] = result
            while len(self._files) > _MOST:
                self._files.popitem(last=False)
        return result


def _state(path: Path, name: str) -> tuple[str, int, int, int]:
    try:
        state = path.stat()
    except OSError:
        raise NotThereError(name) from None
    if not path.is_file():
        raise NotThereError(name)
    return name, state.st_mtime_ns, state.st_size, state.st_ino
