"""What the rows of a sheet say that is valid and hardly meant."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from dating.cells import cells_of, in_column
from dating.examination import Examination
from dating.learning.corpus import Corpus, Reference
from dating.maker import Maker
from dating.months import Period
from dating.plausibility.examination import examination_warnings
from dating.plausibility.warning import period_words, repeats, warning
from dating.reading import Problem

_RANGE, _CANDIDATE = 12, 120
"""Months outside the period that a range, or one of several dates, may reach without a word."""
_TELLING = 6
"""Things recorded from which two rows that agree in all of them are hardly two instruments."""


def corpus_warnings(corpus: Corpus) -> tuple[Problem, ...]:
    """List what a reference corpus says that is valid and hardly meant.

    Examples
    --------
    >>> from dating.learning.corpus import read_corpus
    >>> corpus_warnings(read_corpus("demo_data/marrowby_corpus.csv"))
    ()
    """
    rows = [reference.examination for reference in corpus.references]
    warnings = list(row_warnings(rows, corpus.maker))
    for reference in corpus.references:
        warnings += _built(reference, corpus.maker.period)
    warnings += _undated(corpus)
    dates = [reference.stated for reference in corpus.references]
    warnings += _twice(rows, dates)
    return tuple(sorted(warnings, key=lambda problem: problem.line or 0))


def row_warnings(rows: Iterable[Examination], maker: Maker) -> Iterator[Problem]:
    """List what is hardly meant in the examinations of a sheet."""
    for row in rows:
        for problem in examination_warnings(row, maker):
            yield in_column(problem)


def _built(reference: Reference, period: Period) -> Iterator[Problem]:
    origin, built = reference.examination.origin, reference.built
    if built is None:
        if reference.trust < 1:
            message = "no date is stated here that could be trusted"
            expected = "a date, or a blank trust"
            yield warning(origin, ("trust",), message, found=reference.trust, expected=expected)
        return
    ends = [end for stretch in built.month_stretches for end in stretch if end is not None]
    most = _RANGE if ".." in built.text else _CANDIDATE
    cut = [e for e in ends if e < period.first - most or e > period.last + most]
    if built.kind == "one of" and cut:
        message = "part of this date lies outside the maker's period, and is cut off"
        expected = period_words(period)
        yield warning(origin, ("built",), message, found=built.text, expected=expected)
    if reference.trust == 0:
        message = "a date without any trust says nothing, so the row teaches nothing"
        expected = "a trust above 0, or the row left out"
        yield warning(origin, ("trust",), message, found=0, expected=expected)


def _undated(corpus: Corpus) -> Iterator[Problem]:
    """Say where most of the instruments are undated."""
    count, undated = len(corpus.references), corpus.undated
    if 2 * undated > count:
        message = (
            f"{undated} of {count} instruments are undated: they teach which states are common and "
            "go together, and when only through the others"
        )
        expected = "dates for at least half of them"
        yield Problem(corpus.file, None, "built", message, expected=expected)


def _twice(rows: list[Examination], dates: list[str]) -> Iterator[Problem]:
    """Find an instrument that stands in two rows under nearly the same name, or another."""
    names = [re.sub(r"[\s_-]+", "", row.instrument.casefold()) for row in rows]
    again = {place: (first, "name") for place, first in repeats(names)}
    cells = [cells_of(row) for row in rows]
    seen = [
        (date, *sorted((key, text) for key, text in cell.items() if key != "instrument"))
        if len(cell) > _TELLING
        else ()
        for date, cell in zip(dates, cells, strict=True)
    ]
    again |= {place: (first, "cells") for place, first in repeats(seen)}
    for place, (first, by) in again.items():
        other, line = rows[first].instrument, rows[first].origin.places[()][0]
        message = (
            f"this may be the same instrument as {other} in line {line}: the names are nearly the "
            "same"
            if by == "name"
            else f"every cell but the name is that of {other} in line {line}"
        )
        name, expected = rows[place].instrument, "each instrument once"
        yield warning(rows[place].origin, ("instrument",), message, found=name, expected=expected)
