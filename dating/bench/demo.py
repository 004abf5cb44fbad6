"""The invented demo: where it lies, and a copy of it that goes when it is no longer wanted."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from dating.reading import InputError, Problem

_PACKAGE = Path(__file__).parents[1]
PLACES = (_PACKAGE / "demo", _PACKAGE.parent)
"""Where the demo may lie: inside the installed package, or beside its sources."""
FOLDERS = ("priors", "demo_data")


def demo_place(places: tuple[Path, ...] = PLACES) -> Path:
    """Find the folder that holds the demo.

    Raises InputError when none does.

    Examples
    --------
    >>> (demo_place() / "priors" / "marrowby.yaml").is_file()
    True
    """
    for place in places:
        if all((place / name).is_dir() for name in FOLDERS):
            return place
    message = "the demo is not installed; name a folder of your own"
    raise InputError([Problem("demo", None, "", message)])


@contextmanager
def passing_demo() -> Iterator[Path]:
    """Copy the demo to a folder that is removed at the end.

    Raises InputError when there is no demo.
    """
    place = demo_place()
    with tempfile.TemporaryDirectory(prefix="dating-demo-", ignore_cleanup_errors=True) as folder:
        for name in FOLDERS:
            left_out = shutil.ignore_patterns("*.py", "__pycache__", ".*")
            shutil.copytree(place / name, Path(folder) / name, ignore=left_out)
        yield Path(folder)
