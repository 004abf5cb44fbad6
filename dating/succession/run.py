"""Several instruments compared: from examinations to the months of all of them together."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from dating.arrays import Floats
from dating.estimates import impossible_problem
from dating.evidence_cache import EvidenceCache
from dating.examination import Examination
from dating.files import check_against
from dating.learning.learned import Learned, affordable, draws_of, learned_tables
from dating.maker import Maker
from dating.reading import InputError, Problem
from dating.succession.comparison import Comparison
from dating.succession.joint_draws import JointDraws, joint_draws
from dating.succession.joint_months import SAMPLES, JointMonths, TooEntangledError
from dating.succession.links import factors_of
from dating.succession.months_by_draw import MonthsByDraw, months_by_draw
from dating.succession.references import group_problems, maker_problems
from dating.succession.relations import Group
from dating.tables import MonthTables
from dating.tabulation import LEVEL, SEED, tables_of_draws

if TYPE_CHECKING:
    import xarray as xr

MOST_INSTRUMENTS = 500
_CELLS = 2**18
"""Instruments times draws that are kept."""
_MOST_DRAWS = 8192
_MOST_LEARNED = 2048


def compare(
    maker: Maker,
    examinations: Sequence[Examination],
    *,
    group: Group | None = None,
    level: float = LEVEL,
    seed: int = SEED,
    learned: Learned | xr.DataTree | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Comparison:
    """Set several instruments of a maker side by side, in draws that they have in common.

    Parameters
    ----------
    maker : Maker
        The maker file.
    examinations : sequence of Examination
        What was seen on each, from 2 to 500 instruments.
    group : Group, optional
        What is known between them, as :func:`dating.read_group` gives it.
    level : float
        Level of sets and ranges, between 0 and 1.
    seed : int
        Seed of the draws; the same seed gives the same comparison.
    learned : DataTree or Learned, optional
        What was learned from a corpus; its joint draws then take the place of the judgements.
    progress : callable, optional
        Told after each round how many draws there are, and how many there will be at most.

    Returns
    -------
    Comparison
        Every pair's probabilities, the row, and what decides it.

    Raises
    ------
    InputError
        When an examination names what the maker file does not know, an instrument comes twice, no
        month allows what was seen on one, or what is known between them cannot be so.
    ValueError
        When the level is not between 0 and 1, or there are not from 2 to 500 instruments.

    Examples
    --------
    >>> from dating import read_examination, read_maker
    >>> maker = read_maker("priors/marrowby.yaml")
    >>> pair = [read_examination(f"demo_data/examinations/M-00{k}.yaml") for k in (1, 3)]
    >>> compare(maker, pair).row
    ('M-003', 'M-001')
    """
    if not 0 < level < 1:
        raise ValueError(f"a level lies between 0 and 1, both excluded; found {level:g}")
    if not 2 <= len(examinations) <= MOST_INSTRUMENTS:
        raise ValueError(
            f"from 2 to {MOST_INSTRUMENTS} instruments are set side by side; "
            f"found {len(examinations)}"
        )
    if problems := maker_problems(examinations, group):
        raise InputError(problems)
    _check_names(examinations)
    for examination in examinations:
        check_against(examination, maker)
    names = tuple(examination.instrument for examination in examinations)
    if group is not None and (problems := group_problems(group, names, maker)):
        raise InputError(problems)
    drawn = draws_of(learned, maker)
    most = min(_MOST_DRAWS, _CELLS // len(names))
    tables: Callable[[NDArray[np.intp]], MonthTables]
    if drawn is None:
        draws, own = _judged(maker, examinations, most, seed, progress)
        ratio = draws.log_ratio

        def tables(places: NDArray[np.intp]) -> MonthTables:
            return tables_of_draws(maker, draws.chosen(places), seed)

    else:
        whole = learned_tables(maker, affordable(maker, drawn.thinned(min(most, _MOST_LEARNED))))
        own, ratio = months_by_draw(maker, whole, examinations), np.zeros(whole.draws)
        tables = whole.at_draws
    _check_possible(own, maker, examinations, tables)
    if drawn is not None:
        learned_from = [drawn.rests_on(each.origin.fingerprint) for each in examinations]
        own = MonthsByDraw(own.months, np.where(np.c_[learned_from], 0.0, own.logs))
    relations = group.known if group is not None else ()
    factors = [
        factor
        for number, relation in enumerate(relations, start=1)
        for factor in factors_of(relation, number, maker.period)
    ]
    joint = JointMonths(names, own, tuple(factors), ratio)
    if group is not None:
        _check_together(joint, group)
    return Comparison(maker, tuple(examinations), joint, group, level, seed, tables, drawn)


def _judged(
    maker: Maker,
    examinations: Sequence[Examination],
    most: int,
    seed: int,
    progress: Callable[[int, int], None] | None,
) -> tuple[JointDraws, MonthsByDraw]:
    """Draw from the judgements in rounds, and weigh what was seen in every draw."""
    rounds: list[MonthsByDraw] = []
    size = _round_size(len(examinations))

    def likelihood(numbers: dict[str, Floats]) -> Floats:
        tables = tables_of_draws(maker, numbers, seed)
        rounds.append(months_by_draw(maker, tables, examinations))
        return np.asarray(rounds[-1].logs.sum(axis=0))

    draws = joint_draws(maker, likelihood, size, most, seed=seed, progress=progress)
    months = np.concatenate([each.months for each in rounds], axis=1)
    return draws, MonthsByDraw(months, np.concatenate([each.logs for each in rounds], axis=1))


def _round_size(instruments: int) -> int:
    """Say how many draws a round takes: fewer where there are many instruments."""
    return 512 if instruments <= 16 else 256 if instruments <= 64 else 128


def _check_names(examinations: Sequence[Examination]) -> None:
    """Refuse an instrument that comes twice."""
    names = [examination.instrument for examination in examinations]
    problems = [
        examination.origin.problem(
            ("instrument",), "this instrument comes twice", found=examination.instrument
        )
        for place, examination in enumerate(examinations)
        if examination.instrument in names[:place]
    ]
    if problems:
        raise InputError(problems)


def _check_possible(
    own: MonthsByDraw,
    maker: Maker,
    examinations: Sequence[Examination],
    tables: Callable[[NDArray[np.intp]], MonthTables],
) -> None:
    """Refuse an instrument of which no month allows what was seen."""
    problems: list[Problem] = []
    for logs, examination in zip(own.logs, examinations, strict=True):
        if not np.isfinite(logs).any():
            cache = EvidenceCache(maker, tables(np.arange(1)))
            problems.append(impossible_problem(cache.weighing(examination), examination))
    if problems:
        raise InputError(problems)


def _check_together(joint: JointMonths, group: Group) -> None:
    """Refuse what is known between instruments where it cannot be so, or cannot be summed over."""
    try:
        possible = bool(joint.weights.any())
        if possible and joint.is_counted:
            joint.samples(joint.picked(SAMPLES))
    except TooEntangledError as error:
        message = (
            f"too much is known between {error} to be summed over: each is tied to too many "
            "others. Leave out what follows from the rest"
        )
        raise InputError([group.origin.problem(("known",), message)]) from None
    if not possible:
        message = (
            "no months allow this together with what was seen; give the statement of which you "
            "are least sure a trust below 1"
        )
        raise InputError([group.origin.problem(("known",), message)])
