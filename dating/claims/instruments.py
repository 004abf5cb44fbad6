"""Claims about instruments, with what is claimed of production beside them, in joint draws.

Given a draw, instruments are independent. So the joint probability of their months and of their
evidence is a product within each draw, and what they have to do with each other is a sum over the
months for which it holds, one instrument after the other.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import pairwise

import numpy as np

from dating.arrays import Floats
from dating.claims.statements import (
    Apart,
    Assertion,
    Built,
    EarliestWith,
    Older,
    Original,
)
from dating.engine import Weighing
from dating.magnitudes import LEAST, ratio
from dating.succession.elimination import Factor, by_portions


def joint_truth(
    sayings: Sequence[Assertion], weighings: Mapping[str, Weighing], keep: Sequence[str] = ()
) -> tuple[Floats, Floats]:
    """Give the probability of claims about instruments together with the evidence on them.

    Shape: true (draw, *month of each instrument to keep), weight (draw,).
    """
    weight = draws = next(iter(weighings.values())).tables.weights
    inverse = ratio(np.ones_like(draws), draws)
    true = []
    for name, weighing in weighings.items():
        original = _original(sayings, name, weighing)
        joint = weighing.with_original(original).sum(axis=1) * _months(sayings, name, weighing)
        every = weighing.joint.sum(axis=(1, 2))
        true.append(ratio(joint, every[:, None]))
        weight = weight * (every * inverse)
    exact = all(each.is_wide or not each.pieces for each in weighings.values())
    if exact or weight.sum() >= LEAST:
        over = _over_pairs(sayings, list(weighings), true, keep)
        return weight.reshape(-1, *[1] * len(keep)) * over, weight
    return joint_truth(sayings, {name: each.widened() for name, each in weighings.items()}, keep)


def ties_between(sayings: Sequence[Assertion], months: int) -> Iterator[Factor]:
    """Say of each two instruments of which something is claimed in which months it holds.

    Shapes: tables (1, month, month).
    """
    month = np.arange(months)
    ahead = month[None, :] - month[:, None]
    for saying in sayings:
        pairs: Iterable[tuple[str, ...]]
        match saying.content:
            case Apart(instruments=pair, at_most=most):
                pairs, holds = [pair], abs(ahead) <= most
            case Older(instruments=several):
                pairs, holds = pairwise(several), ahead > 0
            case EarliestWith(instrument=first, among=others):
                pairs, holds = [(first, other) for other in others], ahead >= 0
            case _:
                continue
        yield from (Factor(pair, holds.astype(float)[None]) for pair in pairs)


def _original(sayings: Sequence[Assertion], name: str, weighing: Weighing) -> set[str]:
    """Name the components of an instrument that are claimed to be original."""
    names: set[str] = set()
    for saying in sayings:
        match saying.content:
            case Original(instrument=about, components=components) if about == name:
                names |= set(weighing.parts if components == "all" else components)
    return names


def _months(sayings: Sequence[Assertion], name: str, weighing: Weighing) -> Floats:
    """Give one in each month in which an instrument is claimed to have been built."""
    period = weighing.tables.period
    allowed = np.ones(len(period))
    for saying in sayings:
        match saying.content:
            case Built(instrument=about, within=within) if about == name:
                allowed *= period.inside(within)
    return allowed


def _over_pairs(
    sayings: Sequence[Assertion], names: list[str], joint: list[Floats], keep: Sequence[str] = ()
) -> Floats:
    """Sum over the months of all instruments but some, as far as pairs of them allow.

    Shape: (draw, *month of each instrument to keep).
    """
    months = [Factor((name,), table) for name, table in zip(names, joint, strict=True)]
    return by_portions([*months, *ties_between(sayings, joint[0].shape[1])], keep)
