"""What is known between instruments as factors over their months, and whether it holds.

A statement that is trusted with probability r multiplies the joint probability of the months by
r h + 1 - r, where h says how far the months agree with it: one or nought, but one half where of
two built in the same month one is said to be the older, and for a batch the share of the months
in which it may have been begun.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from dating.arrays import Floats
from dating.months import Period
from dating.succession.elimination import Factor
from dating.succession.relations import (
    ApartAtMost,
    Consecutive,
    OlderBy,
    Photographed,
    Relation,
    SameBatch,
)


def factors_of(relation: Relation, number: int, period: Period) -> list[Factor]:
    """Give the factors of one statement; hidden nodes carry its number.

    Shapes: tables (1, month, month), or over a hidden node and a month.
    """
    content, trust, months = relation.content, relation.trust, len(period)
    hidden = f"statement {number}"
    match content:
        case OlderBy() | ApartAtMost():
            table = trust * _agreement(content, _ahead(months)) + 1 - trust
            return [Factor(content.instruments, table[None])]
        case Consecutive():
            step = _agreement(content, _ahead(months))
            table = np.stack([step, np.ones_like(step)])
            steps = [Factor((hidden, a, b), table[None]) for a, b in pairwise(content.instruments)]
            return [_right_or_wrong(hidden, trust), *steps]
        case Photographed():
            until = (np.arange(months) <= _last(content, period)).astype(float)
            table = np.stack([until, np.ones(months)])
            each = [Factor((hidden, name), table[None]) for name in content.instruments]
            return [_right_or_wrong(hidden, trust), *each]
        case SameBatch(within=within):
            begun = np.arange(-within, months)[:, None]
            month = np.arange(months)
            during = (month >= begun) & (month <= begun + within)
            table = np.concatenate([during, np.ones((1, months))]).astype(float)
            weights = np.append(np.full(len(begun), trust / (within + 1)), 1 - trust)
            each = [Factor((hidden, name), table[None]) for name in content.instruments]
            return [Factor((hidden,), weights[None]), *each]


def agreement(relation: Relation, months: NDArray[np.intp], period: Period) -> Floats:
    """Say how far months agree with a statement, from nought to one.

    Shapes: months (sample, instrument), in the order of the statement; gives (sample,).
    """
    content = relation.content
    match content:
        case OlderBy() | ApartAtMost():
            return _agreement(content, months[:, 1] - months[:, 0])
        case Consecutive():
            steps = _agreement(content, np.diff(months, axis=1))
            return np.asarray(steps.prod(axis=1))
        case Photographed():
            return np.asarray((months <= _last(content, period)).all(axis=1), dtype=float)
        case SameBatch(within=within):
            reach = months.max(axis=1) - months.min(axis=1)
            return np.maximum(within + 1 - reach, 0) / (within + 1)


def known_earlier(relations: Sequence[Relation], names: Sequence[str]) -> list[tuple[int, int]]:
    """List the pairs of which the first is said to have been completed first, within a month too.

    Instruments are given by their positions.
    """
    pairs: list[tuple[str, str]] = []
    for relation in relations:
        match relation.content:
            case OlderBy(instruments=(first, second)):
                pairs.append((first, second))
            case Consecutive(instruments=several):
                pairs += pairwise(several)
            case _:
                continue
    return [(names.index(first), names.index(second)) for first, second in pairs]


def _agreement(content: OlderBy | ApartAtMost | Consecutive, ahead: NDArray[np.intp]) -> Floats:
    """Say how far two months agree, by how many months the second lies after the first."""
    match content:
        case OlderBy(at_least=least, at_most=most):
            holds = (ahead >= least).astype(float)
            if not least:
                holds = np.where(ahead == 0, 0.5, holds)
            return holds if most is None else np.where(ahead <= most, holds, 0.0)
        case ApartAtMost(at_most=most):
            return np.asarray(abs(ahead) <= most, dtype=float)
        case Consecutive(within=within):
            holds = ((ahead > 0) & (ahead <= within)).astype(float)
            return np.where(ahead == 0, 0.5, holds)


def _ahead(months: int) -> NDArray[np.intp]:
    """By how many months the second lies after the first, shape (first, second)."""
    month = np.arange(months)
    return np.asarray(month[None, :] - month[:, None])


def _last(content: Photographed, period: Period) -> int:
    """Give the last month that a photograph allows, from the start of the period."""
    return content.last - period.first


def _right_or_wrong(hidden: str, trust: float) -> Factor:
    return Factor((hidden,), np.array([[trust, 1 - trust]]))
