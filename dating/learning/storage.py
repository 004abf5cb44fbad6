"""What was learned from a corpus, kept beside it under the fingerprints of the files it is of."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from dating.learning.corpus import Corpus
from dating.learning.files import SET_ASIDE, attributes_of
from dating.reading import InputError

_FIGURES = 8


def folders_of(corpus: Corpus) -> tuple[Path, ...]:
    """Name the folders in which what was learned may lie: that of the corpus, and the present one.

    Of standard input there is the present one alone.
    """
    path = Path(corpus.file)
    beside = path.parent if path.is_file() else Path()
    return tuple({folder.resolve(): folder for folder in (beside, Path())}.values())


def kept_path(corpus: Corpus, folder: Path) -> Path:
    """Name the file in which draws learned from a corpus are kept.

    It bears the beginnings of the fingerprints of maker file and corpus, and the number of rows,
    since some of them may have been left out.
    """
    maker, table = corpus.maker.origin.fingerprint[:_FIGURES], corpus.fingerprint[:_FIGURES]
    name = Path(corpus.file).stem.strip("<>") or "corpus"
    return folder / f"{name}.{maker}-{table}-{len(corpus.references)}.nc"


def learned_file_of(corpus: Corpus, folders: Sequence[Path] = ()) -> Path | None:
    """Find a file of sound draws that were learned from this very corpus and maker file.

    The file under the name of the two is looked at first, then every other netCDF file of the
    folders, such as one that ``dating learn`` has written.
    """
    folders = folders or folders_of(corpus)
    named = [kept_path(corpus, folder) for folder in folders]
    others = sorted(path for folder in folders for path in folder.glob("*.nc"))
    for path in dict.fromkeys([*named, *others]):
        if path.is_file() and is_learned_of(path, corpus):
            return path
    return None


def writable_path(corpus: Corpus) -> Path | None:
    """Name a file that draws of a corpus can be written to; None where no folder allows it."""
    allowed = (folder for folder in folders_of(corpus) if os.access(folder, os.W_OK))
    return next((kept_path(corpus, folder) for folder in allowed), None)


def is_learned_of(path: Path, corpus: Corpus) -> bool:
    """Say whether a file holds sound draws learned from this very corpus and maker file."""
    try:
        told = attributes_of(path)
    except InputError:  # of an earlier version, damaged, or another program's
        return False
    expected = {
        "maker_fingerprint": corpus.maker.origin.fingerprint,
        "corpus_fingerprint": corpus.fingerprint,
        "instruments": len(corpus.references),
    }
    fits = all(told.get(key) == value for key, value in expected.items())
    return fits and SET_ASIDE not in told
