"""The files of a sale moved into their folder as one unit: all of them, or none.

The old files go to a folder ``earlier`` while the new ones come. Until they are all there, whatever
stops the move is undone, at once or by the next run.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from dating.notes.plain_json import digest_of, json_bytes, json_in
from dating.reading import InputError, Problem, write_whole

MANIFEST = "sale.json"
"""Names the files of a sale, each with its SHA-256, in the folder that holds them."""
COMING, EARLIER, GONE = "coming.json", "earlier", "gone"
"""What a move keeps beside the new files: their names, the old files, and these once it is done."""


@dataclass(frozen=True)
class Remainder:
    """What was left alone in the folder of a sale.

    Parameters
    ----------
    strange : tuple of str
        Names of what no sale has written.
    changed : tuple of str
        Names of what an earlier sale wrote, this one does not, and a person has changed.
    """

    strange: tuple[str, ...]
    changed: tuple[str, ...]


def move_in(files: Path, folder: Path, digests: Mapping[str, str]) -> Remainder:
    """Move a sale in: all of it, or none.

    Files of an earlier sale that do not belong to this one are removed, unless a person has
    changed them.

    Raises InputError when something cannot be moved; the folder is then as it was.
    """
    write_whole(files / MANIFEST, json_bytes({"written_by": "dating sale", "files": digests}))
    coming = {*digests, MANIFEST}
    try:
        for path in files.iterdir():
            if path.name not in coming:
                path.unlink()
        if not folder.exists():
            os.rename(files, folder.resolve())
            return Remainder((), ())
        stale, left = _others(folder, coming)
        _exchange(files, folder, coming, stale)
    except OSError as error:
        message = f"the sale cannot be put in place: {error.strerror or error}"
        raise InputError([Problem(str(folder), None, "", message)]) from None
    return left


def restore(files: Path, folder: Path) -> None:
    """Undo a move that was stopped on its way; the folder is then as it was before.

    Raises InputError when something cannot be moved back.
    """
    earlier = files.with_name(EARLIER)
    if not earlier.is_dir():
        return
    try:
        for name in json_in(files.with_name(COMING)):
            if not os.path.lexists(files / name) and os.path.lexists(folder / name):
                os.replace(folder / name, files / name)
        for path in earlier.iterdir():
            os.replace(path, folder / path.name)
        earlier.rmdir()
    except (OSError, ValueError) as error:
        message = f"the sale that stood in {folder} cannot be moved back: {error}"
        raise InputError([Problem(str(earlier), None, "", message)]) from None


def _exchange(files: Path, folder: Path, coming: set[str], stale: set[str]) -> None:
    """Take the old files away and put the new ones in; undo it where it stops."""
    earlier, gone = files.with_name(EARLIER), files.with_name(GONE)
    shutil.rmtree(gone, ignore_errors=True)
    write_whole(files.with_name(COMING), json_bytes(sorted(coming)))
    earlier.mkdir()
    try:
        for name in sorted(coming | stale):
            if os.path.lexists(folder / name):
                os.replace(folder / name, earlier / name)
        for name in sorted(coming):
            os.replace(files / name, folder / name)
        os.rename(earlier, gone)
    except BaseException:
        restore(files, folder)
        raise


def _others(folder: Path, coming: set[str]) -> tuple[set[str], Remainder]:
    """Tell what is in a folder beside the sale: no longer of use, changed, or strange."""
    before = _before(folder)
    present = {path.name for path in folder.iterdir()}
    others = (before.keys() & present) - coming
    changed = {name for name in others if digest_of(folder / name) != before[name]}
    strange = {name for name in present - before.keys() - coming if not name.startswith(".")}
    return others - changed, Remainder(tuple(sorted(strange)), tuple(sorted(changed)))


def _before(folder: Path) -> dict[str, str]:
    """Read the manifest of an earlier sale; a manifest that cannot be read names nothing."""
    try:
        files = json_in(folder / MANIFEST)["files"]
        named = {str(name): str(digest) for name, digest in files.items()}
    except (OSError, ValueError, TypeError, KeyError, AttributeError):
        return {}
    return {name: digest for name, digest in named.items() if name == os.path.basename(name)}
