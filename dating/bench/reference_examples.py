"""The dated instruments of a corpus that show the same feature."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import PurePosixPath

import numpy as np

from dating.bench.answers import VARIANT
from dating.bench.file_cache import FileCache
from dating.bench.workspace import NotThereError
from dating.estimates import Estimate
from dating.learning.corpus import Corpus, Reference
from dating.maker import Maker
from dating.reading import InputError

_NEAREST = 5
_OF_MAKER = re.compile(r"(?m)^#\s*maker:\s*(\S+)\s*$")


@dataclass(frozen=True)
class ReferenceExample:
    """A dated instrument.

    Parameters
    ----------
    name, built, known_by, seen : str
        Its name, the stated date, how that is known, and what was seen.
    """

    name: str
    built: str
    known_by: str
    seen: str


@dataclass(frozen=True)
class Examples:
    """The dated instruments of a corpus that show the feature.

    Parameters
    ----------
    file : str
        The corpus.
    states : tuple of str
        The states.
    years : tuple of (str, tuple of int)
        How many of each state are dated to each year.
    undated : int
        How many of them have a stated date that is not within one year.
    near : tuple of ReferenceExample
        Those that show what was seen, nearest to the median first.
    """

    file: str
    states: tuple[str, ...]
    years: tuple[tuple[str, tuple[int, ...]], ...]
    undated: int
    near: tuple[ReferenceExample, ...]


def examples_of(
    shelf: FileCache, maker_file: str, estimate: Estimate, name: str
) -> Examples | None:
    """Find dated instruments that show a feature."""
    maker = estimate.maker
    if not states_of(maker, name):
        return None
    for file in shelf.workspace.files("corpus"):
        try:
            text, _ = shelf.workspace.read(file.name)
            named = _OF_MAKER.search(text[:5_000])
            if named is None or named[1] != PurePosixPath(maker_file).stem:
                continue
            corpus = shelf.corpus(file.name, maker)
        except (NotThereError, InputError):
            continue
        return _examples(file.name, corpus, estimate, name)
    return None


def states_of(maker: Maker, name: str) -> tuple[str, ...]:
    """List the states of a feature or the variants."""
    if name == VARIANT:
        return maker.variant_names()
    features = maker.features()
    return tuple(features[name][1].states) if name in features else ()


def _examples(file: str, corpus: Corpus, estimate: Estimate, name: str) -> Examples:
    states, period = states_of(estimate.maker, name), estimate.period
    shown = [(r, state) for r in corpus.references if (state := _state(r, name)) is not None]
    counts = {year: dict.fromkeys(states, 0) for year in period.years()}
    undated = 0
    for reference, state in shown:
        years = np.unique((period.first + np.flatnonzero(reference.window)) // 12)
        if reference.dated and len(years) == 1:
            counts[int(years[0])][state] += 1
        else:
            undated += 1
    examination = estimate.examination
    sight = examination.variant if name == VARIANT else examination.seen.get(name)
    states_seen = sight.named() if sight is not None else ()
    alike = [(r, state) for r, state in shown if r.dated and state in states_seen]
    alike.sort(key=lambda pair: _distance(pair[0], estimate.median - period.first))
    rows = [(str(year), tuple(count.values())) for year, count in counts.items()]
    rows_in_use = [i for i, (_, count) in enumerate(rows) if any(count)]
    return Examples(
        file=file,
        states=states,
        years=tuple(rows[rows_in_use[0] : rows_in_use[-1] + 1]) if rows_in_use else (),
        undated=undated,
        near=tuple(
            ReferenceExample(r.examination.instrument, r.stated, r.known_by, state)
            for r, state in alike[:_NEAREST]
        ),
    )


def _state(reference: Reference, name: str) -> str | None:
    """Give the one state that was recorded without doubt."""
    examination = reference.examination
    sight = examination.variant if name == VARIANT else examination.seen.get(name)
    return None if sight is None or sight.sure not in {None, 1.0} else sight.state


def _distance(reference: Reference, median: int) -> float:
    return abs(float(np.flatnonzero(reference.window).mean()) - median)
