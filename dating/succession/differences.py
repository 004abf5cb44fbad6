"""What differs between instruments, and what decides which of two neighbours is older."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from dating.arrays import Floats
from dating.engine import Weighing
from dating.evidence import Piece
from dating.examination import Examination
from dating.maker import Maker
from dating.succession.months_by_draw import by_draw

RECORDED = "recorded, says nothing of the date"
LEAST_BITS = 0.05
"""Bits below which a difference decides nothing worth telling."""


@dataclass(frozen=True)
class Difference:
    """One thing to look at, on every instrument.

    Parameters
    ----------
    name : str
        The feature, mark or measurement; ``variant`` for the variant.
    component : str or None
        Where it sits.
    cells : tuple of str
        What was seen on each instrument, in the maker file's words; empty where it was not looked
        at.
    """

    name: str
    component: str | None
    cells: tuple[str, ...]


@dataclass(frozen=True)
class Reason:
    """How far one thing that was seen speaks for the first of two being the older.

    Parameters
    ----------
    name : str
        The feature, mark, measurement or document.
    bits : float
        By how much it raises the binary logarithm of the odds that the first is older; negative
        where it speaks for the second.
    """

    name: str
    bits: float


@dataclass(frozen=True, eq=False)
class LeftOut:
    """One instrument's months in each draw, with each thing that was seen on it left out.

    Parameters
    ----------
    whole : ndarray of float64, shape (draw, month)
        P(month | draw, everything seen).
    months : mapping of str to ndarray of float64, shape (draw, month)
        The same without one thing, by its name.
    ratios : mapping of str to ndarray of float64, shape (draw,)
        How many times as probable the rest of the evidence is without it, up to a constant.
    """

    whole: Floats
    months: Mapping[str, Floats]
    ratios: Mapping[str, Floats]


def differences_of(
    maker: Maker, examinations: Sequence[Examination], pieces: Sequence[Sequence[Piece]]
) -> tuple[Difference, ...]:
    """Set side by side what was seen on several instruments, in the order of the maker file.

    Parameters
    ----------
    maker : Maker
        The maker file.
    examinations : sequence of Examination
        What was seen.
    pieces : sequence of sequence of Piece
        The evidence on each, which has the words for it.

    Returns
    -------
    tuple of Difference
        Of everything that was looked at on one instrument at least.
    """
    words = [{piece.name: piece.observation for piece in each} for each in pieces]
    variants = [("variant", None)] if maker.variants is not None else []
    things = [
        *variants,
        *((name, part) for name, (part, _) in maker.features().items()),
        *((name, part) for name, (part, _) in maker.marks().items()),
        *((name, part) for name, (part, _) in maker.measurements().items()),
    ]
    rows = (
        Difference(
            name,
            part,
            tuple(
                own.get(name, "") or _recorded(examination, name)
                for own, examination in zip(words, examinations, strict=True)
            ),
        )
        for name, part in things
    )
    return tuple(row for row in rows if any(row.cells))


def left_out_of(weighing: Weighing) -> LeftOut:
    """Leave each thing that was seen out of one instrument's evidence, in each draw."""
    whole, logs = by_draw(weighing)
    months: dict[str, Floats] = {}
    ratios: dict[str, Floats] = {}
    for part in weighing.parts.values():
        if not part.pieces:
            continue
        rest = weighing.rest((part.name,))
        for piece in part.pieces:
            others = part.varying_without(piece) * part.fixed_without(piece)
            joint = (rest * part.likelihood_of(others)).sum(axis=1)
            _enter(months, ratios, piece.name, by_draw(weighing, joint), logs)
    for piece in weighing.whole:
        joint = weighing.rest(left_out=(piece,)).sum(axis=1)
        _enter(months, ratios, piece.name, by_draw(weighing, joint), logs)
    return LeftOut(whole, months, ratios)


def reasons_between(first: LeftOut, second: LeftOut) -> tuple[Reason, ...]:
    """Say what decides which of two instruments is older, the weightiest first.

    Each thing is left out of both. What it says is the change in the odds that the first is the
    older, either alike within a month.

    Parameters
    ----------
    first, second : LeftOut
        Their months without each thing, in the same draws.

    Returns
    -------
    tuple of Reason
        Those of at least a twentieth of a bit.

    References
    ----------
    Good, I. J. (1985). Weight of evidence: a brief survey. *Bayesian Statistics* 2, 249-270.
    """
    even = np.ones(len(first.whole))
    whole = _log_odds(first.whole, second.whole, even)
    reasons = []
    for name in dict.fromkeys((*first.months, *second.months)):
        weights = first.ratios.get(name, even) * second.ratios.get(name, even)
        without = _log_odds(
            first.months.get(name, first.whole), second.months.get(name, second.whole), weights
        )
        reasons.append(Reason(name, whole - without))
    told = [reason for reason in reasons if abs(reason.bits) >= LEAST_BITS]
    return tuple(sorted(told, key=lambda reason: -abs(reason.bits)))


def _enter(
    months: dict[str, Floats],
    ratios: dict[str, Floats],
    name: str,
    without: tuple[Floats, Floats],
    logs: Floats,
) -> None:
    """Enter the months without one thing, and how much more probable the rest is by draw."""
    months[name] = without[0]
    gain = without[1] - logs
    finite = np.isfinite(gain)
    ratios[name] = np.where(finite, np.exp(gain - gain[finite].max(initial=0.0)), 0.0)


def _log_odds(first: Floats, second: Floats, weights: Floats) -> float:
    """Give log2 of the odds that the first is older, shapes (draw, month) and (draw,)."""
    later = 1 - second.cumsum(axis=1)
    each = (first * (later + second / 2)).sum(axis=1)
    older = min(max(float(weights @ each / weights.sum()), 1e-12), 1 - 1e-12)
    return float(np.log2(older / (1 - older)))


def _recorded(examination: Examination, name: str) -> str:
    """Say what is recorded of a thing that does not bear on the date."""
    for group in (examination.seen, examination.marks, examination.measured):
        if group.get(name) is not None:
            return RECORDED
    return ""
