"""What files of any kind say that is valid and hardly meant."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import replace

from dating.claims.files import manuscript_of, read_claims
from dating.claims.triviality import claims_warnings
from dating.estimates import estimate
from dating.examination import Examination
from dating.files import find_maker, maker_named, read_examination, read_maker
from dating.kinds import kind_of
from dating.learning.corpus import read_corpus
from dating.maker import Maker
from dating.notes.lots import read_lots
from dating.plausibility.corpus import corpus_warnings, row_warnings
from dating.plausibility.examination import examination_warnings
from dating.plausibility.maker import maker_warnings
from dating.reading import InputError, Problem
from dating.succession.files import group_of, read_group
from dating.succession.references import group_warnings

type File = str | os.PathLike[str]


def doubts(file: File) -> tuple[Problem, ...]:
    """List what a file says that is valid and hardly meant.

    Raises InputError when there is anything wrong with it.

    Examples
    --------
    >>> doubts("demo_data/examinations/M-001.yaml")
    ()
    """
    kind = kind_of(file)
    return _READERS[kind](file) if kind in _READERS else ()


def _of_claims(file: File) -> tuple[Problem, ...]:
    claims = read_claims(file)
    maker = read_maker(maker_named(claims.maker, claims.origin))
    return claims_warnings(manuscript_of(claims, maker))


def _of_group(file: File) -> tuple[Problem, ...]:
    group = read_group(file)
    maker = read_maker(maker_named(group.maker, group.origin))
    return group_warnings(group, group_of(group, maker), maker)


def _of_sale(file: File) -> tuple[Problem, ...]:
    sale = read_lots(file)
    rows = [lot.examination for lot in sale.lots if lot.examination is not None]
    return tuple(row_warnings(rows, sale.maker))


def _of_examination(file: File) -> tuple[Problem, ...]:
    examination = read_examination(file)
    maker = read_maker(find_maker(examination))
    return (*examination_warnings(examination, maker), *_exclusions(examination, maker))


def _exclusions(examination: Examination, maker: Maker) -> tuple[Problem, ...]:
    """Say why no month allows what was seen, where that is so."""
    try:
        estimate(maker, examination)
    except InputError as error:
        expected = "evidence that some month of the period allows"
        return tuple(replace(problem, expected=expected) for problem in error.problems)
    return ()


_READERS: dict[str, Callable[[File], tuple[Problem, ...]]] = {
    "claims": _of_claims,
    "group": _of_group,
    "corpus": lambda file: corpus_warnings(read_corpus(file)),
    "sale": _of_sale,
    "maker": lambda file: maker_warnings(read_maker(file)),
    "examination": _of_examination,
}
