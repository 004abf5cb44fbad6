"""What each piece of evidence says alone, what leaving it out changes, and what contradicts what.

Surprise and conflict are in bits: a conflict of 3 bits means that the pieces are 8 times less
probable together than they would be if each were met on its own.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import combinations
from math import inf

import numpy as np

from dating.arrays import Floats
from dating.engine import ComponentEvidence, Weighing
from dating.evidence import Piece
from dating.magnitudes import Magnitudes, log2
from dating.summaries import MonthSet, highest_density, quantile_month

SURPRISING = 3.0
"""Bits of surprise from which a piece is said to contradict the rest."""


@dataclass(frozen=True, eq=False)
class Finding:
    """One piece of evidence beside the rest.

    Parameters
    ----------
    piece : Piece
        The piece.
    alone : MonthSet
        What it says alone, with the prior.
    alone_median : int
        Median month of that, as a month number.
    without : MonthSet
        What the rest says without it.
    without_median : int
        Median month of that, as a month number.
    shift : int
        Months by which the piece moves the median, later positive.
    weight : float
        Bits by which the piece changes the odds of the reported set; infinite where it
        settles the matter.
    surprise : float
        ``log2 P(piece) / P(piece | rest)``: positive where the rest makes it less probable.
    replaced : float or None
        P(the part was replaced later | everything); None where that cannot be.
    """

    piece: Piece
    alone: MonthSet
    alone_median: int
    without: MonthSet
    without_median: int
    shift: int
    weight: float
    surprise: float
    replaced: float | None


@dataclass(frozen=True, eq=False)
class Contradiction:
    """Two pieces that are less probable together than apart.

    Parameters
    ----------
    piece, other : Piece
        The surprising piece, and the one that it clashes with most.
    bits : float
        ``log2 P(piece) P(other) / P(both)``.
    """

    piece: Piece
    other: Piece
    bits: float


@dataclass(frozen=True, eq=False)
class Conflict:
    """Whether the evidence hangs together.

    Parameters
    ----------
    bits : float
        ``log2 prod P(piece) / P(all pieces)`` over everything; above zero the pieces are less
        probable together than apart.
    by_component : dict of str to float
        The same within each component that has at least two pieces.
    against_rest : dict of str to float
        For each component on which anything was seen, its evidence against all the rest:
        ``log2 P(on it) P(the rest) / P(all)``. A swapped component shows here.
    contradictions : tuple of Contradiction
        For the pieces with at least 3 bits of surprise, worst first.
    """

    bits: float
    by_component: dict[str, float]
    against_rest: dict[str, float]
    contradictions: tuple[Contradiction, ...]


@dataclass(frozen=True, eq=False)
class Disagreement:
    """Every finding, and the conflict between them.

    Parameters
    ----------
    findings : tuple of Finding
        In the order of the pieces.
    conflict : Conflict
        Overall, by component, and by pairs.
    """

    findings: tuple[Finding, ...]
    conflict: Conflict


def disagreement(weighing: Weighing, reported: MonthSet) -> Disagreement:
    """Set each piece of evidence beside the rest, and measure the conflict between them.

    Parameters
    ----------
    weighing : Weighing
        The instrument's evidence.
    reported : MonthSet
        The set that is reported for the instrument.

    Returns
    -------
    Disagreement
        What each piece says alone and what leaving it out changes; what contradicts what.

    References
    ----------
    Jensen, F. V., Chamberlain, B., Nordahl, T. and Jensen, F. (1991). Analysis in HUGIN of
    data conflict. *Uncertainty in Artificial Intelligence 6*, 519-528, for the measure of
    conflict.
    """
    empty, alone, left = weighing.empty, weighing.alone, weighing.left_out
    findings = tuple(
        _finding(weighing, piece, alone[piece.name], left[piece.name], reported)
        for piece in weighing.pieces
    )
    apart: dict[str, float] = {name: joint.sum() for name, joint in alone.items()}
    measured = Conflict(
        bits=_bits(list(apart.values()), weighing.evidence),
        by_component={
            name: _bits([apart[piece.name] for piece in part.pieces], _on(empty, part))
            for name, part in weighing.parts.items()
            if len(part.pieces) > 1
        },
        against_rest={
            name: _bits([_on(empty, part), weighing.evidence_without(name)], weighing.evidence)
            for name, part in weighing.parts.items()
            if part.pieces
        },
        contradictions=_clashes(weighing, findings, apart),
    )
    return Disagreement(findings, measured)


def _on(empty: Weighing, part: ComponentEvidence) -> float:
    """Give the probability of all the evidence on one component, by itself."""
    total: float = empty.respond(part.name, part.fixed, varying=part.varying).total.sum()
    return total


def _finding(
    weighing: Weighing, piece: Piece, alone: Floats, left: Floats, reported: MonthSet
) -> Finding:
    period, level = weighing.tables.period, reported.level
    by_itself, rest = _normalised(alone), _normalised(left)
    everything = _normalised(weighing.by_month.sum(axis=0))
    median, without = quantile_month(everything, 0.5), quantile_month(rest, 0.5)
    return Finding(
        piece=piece,
        alone=highest_density(by_itself, period, level),
        alone_median=period.first + quantile_month(by_itself, 0.5),
        without=highest_density(rest, period, level),
        without_median=period.first + without,
        shift=median - without,
        weight=gain(
            _log_odds(everything, reported, period.first), _log_odds(rest, reported, period.first)
        ),
        surprise=log2(alone.sum()) + log2(left.sum()) - log2(weighing.evidence),
        replaced=weighing.replaced(piece, left) if piece.later.max() > 0 else None,
    )


def _normalised(joint: Floats) -> Floats:
    return np.asarray(joint / joint.sum())


def _log_odds(probabilities: Floats, months: MonthSet, first: int) -> float:
    inside = np.zeros(len(probabilities), dtype=bool)
    for stretch in months.stretches:
        inside[stretch.first - first : stretch.last - first + 1] = True
    within, outside = float(probabilities[inside].sum()), float(probabilities[~inside].sum())
    return ratio_bits(within, outside) if within + outside > 0 else 0.0


def gain(now: float, before: float) -> float:
    """Subtract, where both may be infinite: what was settled before is not settled again."""
    return 0.0 if now == before else now - before


def ratio_bits(a: float, b: float) -> float:
    """Give log2 of a ratio, infinite where either is nought."""
    if a == 0:
        return -inf
    return log2(a) - log2(b) if b > 0 else inf


def _bits(apart: list[float], together: float) -> float:
    return sum(log2(p) for p in apart) - log2(together) if apart else 0.0


def _clashes(
    weighing: Weighing, findings: Iterable[Finding], apart: dict[str, float]
) -> tuple[Contradiction, ...]:
    """Pair each surprising piece with the one it clashes with most."""
    surprising = [finding for finding in findings if finding.surprise >= SURPRISING]
    pairs: dict[frozenset[str], Contradiction] = {}
    for finding in sorted(surprising, key=lambda finding: -finding.surprise):
        worst = _worst_partner(weighing, finding.piece, apart)
        if worst is not None:
            pairs.setdefault(frozenset({worst.piece.name, worst.other.name}), worst)
    return tuple(pairs.values())


def _worst_partner(
    weighing: Weighing, piece: Piece, apart: dict[str, float]
) -> Contradiction | None:
    worst = None
    beside = weighing.emptied((piece,))
    if isinstance(piece.likelihood, Magnitudes):  # months that floats lose may be those that count
        beside = beside.widened()
    joint = weighing.each_beside(beside)
    for other in weighing.pieces:
        if other is not piece:
            both = joint[other.name].sum()
            bits = log2(apart[piece.name]) + log2(apart[other.name]) - log2(both)
            if bits > 0 and (worst is None or bits > worst.bits):
                worst = Contradiction(piece, other, bits)
    return worst


def impossible_pieces(weighing: Weighing) -> tuple[Piece, ...]:
    """Give the fewest pieces that no month of the period allows together."""
    for piece in weighing.pieces:
        if not weighing.alone[piece.name].sum():
            return (piece,)
    for pair in combinations(weighing.pieces, 2):
        if not weighing.emptied(pair).evidence:
            return pair
    return tuple(weighing.pieces)


def impossible_words(weighing: Weighing, pieces: tuple[Piece, ...]) -> str:
    """Name pieces that no month of the period allows together."""
    named = "; ".join(f"{piece.name} ({piece.observation})" for piece in pieces)
    together = " together" if len(pieces) > 1 else ""
    return f"no month of the period {weighing.tables.period} allows{together}: {named}"
