"""What files of any kind say that is valid and hardly meant."""

from __future__ import annotations

import os

from dating.claims.files import holds_claims, manuscript_of, read_claims
from dating.claims.triviality import claims_warnings
from dating.estimates import estimate
from dating.examination import Examination
from dating.files import find_maker, maker_named, read_maker, what_kind
from dating.learning.corpus import read_corpus
from dating.maker import Maker
from dating.notes.lots import read_lots
from dating.plausibility.corpus import corpus_warnings, row_warnings
from dating.plausibility.examination import examination_warnings
from dating.plausibility.maker import maker_warnings
from dating.reading import InputError, Problem
from dating.sheets import read_sheet


def doubts(file: str | os.PathLike[str]) -> tuple[Problem, ...]:
    """List what a file says that is valid and hardly meant.

    Parameters
    ----------
    file : str or path
        A file in which nothing is wrong.

    Returns
    -------
    tuple of Problem
        Located warnings. Of an examination that no month allows, why that is so.

    Raises
    ------
    InputError
        When there is anything wrong with it.

    Examples
    --------
    >>> doubts("demo_data/examinations/M-001.yaml")
    ()
    """
    if holds_claims(file):
        claims = read_claims(file)
        maker = read_maker(maker_named(claims.maker, claims.origin))
        return claims_warnings(manuscript_of(claims, maker))
    if os.fspath(file).lower().endswith(".csv"):
        return _of_sheet(file)
    read = what_kind(file)
    if isinstance(read, Maker):
        return maker_warnings(read)
    maker = read_maker(find_maker(read))
    return (*examination_warnings(read, maker), *_exclusions(read, maker))


def _of_sheet(file: str | os.PathLike[str]) -> tuple[Problem, ...]:
    """List those of a sale, which has a column of lots, or of a reference corpus."""
    if "lot" not in read_sheet(file).head.cells:
        return corpus_warnings(read_corpus(file))
    sale = read_lots(file)
    rows = [lot.examination for lot in sale.lots if lot.examination is not None]
    return tuple(row_warnings(rows, sale.maker))


def _exclusions(examination: Examination, maker: Maker) -> tuple[Problem, ...]:
    """Say why no month allows what was seen, where that is so."""
    try:
        estimate(maker, examination)
    except InputError as error:
        return error.problems
    return ()
