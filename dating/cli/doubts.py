"""What files of any kind say that is valid and hardly meant."""

from __future__ import annotations

import os
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


def doubts(file: str | os.PathLike[str]) -> tuple[Problem, ...]:
    """List what a file says that is valid and hardly meant.

    Raises InputError when there is anything wrong with it.

    Examples
    --------
    >>> doubts("demo_data/examinations/M-001.yaml")
    ()
    """
    match kind_of(file):
        case "claims":
            claims = read_claims(file)
            maker = read_maker(maker_named(claims.maker, claims.origin))
            return claims_warnings(manuscript_of(claims, maker))
        case "corpus":
            return corpus_warnings(read_corpus(file))
        case "sale":
            sale = read_lots(file)
            rows = [lot.examination for lot in sale.lots if lot.examination is not None]
            return tuple(row_warnings(rows, sale.maker))
        case "maker":
            return maker_warnings(read_maker(file))
        case "examination":
            examination = read_examination(file)
            maker = read_maker(find_maker(examination))
            warnings = examination_warnings(examination, maker)
            return (*warnings, *_exclusions(examination, maker))
        case _:
            return ()


def _exclusions(examination: Examination, maker: Maker) -> tuple[Problem, ...]:
    """Say why no month allows what was seen, where that is so."""
    try:
        estimate(maker, examination)
    except InputError as error:
        expected = "evidence that some month of the period allows"
        return tuple(replace(problem, expected=expected) for problem in error.problems)
    return ()
