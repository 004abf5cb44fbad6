"""Stories: the few ways in which evidence that clashes can hang together, each with its own date.

A *fault* is what would explain a piece of evidence otherwise than by the build: a component that
was swapped or is old stock, a part that was replaced, a reading, date or document that is wrong.
Each of these is a term of a sum in the model, so the joint probability of the evidence and of some
faults together, and no others among those asked about, is the same product with these terms alone.
Faults that the evidence does not make more probable are summed over.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import Literal

import numpy as np

from dating.advice import information_bits
from dating.arrays import Floats
from dating.disagreement import SURPRISING, Disagreement
from dating.engine import ComponentEvidence, Weighing, product_of
from dating.evidence import Piece
from dating.summaries import MonthSet, highest_density

type FaultKind = Literal["swapped", "old stock", "replaced", "slip"]

MOST_FAULTS = 6
"""Faults that stories are told about: those that the evidence makes most probable."""
TELLING = 0.02
"""Probability from which a fault is one of them, if the evidence has at least doubled it."""
WORTH_TELLING = 0.02
"""Probability from which a story is told."""
MOST_STORIES = 4
_HARMLESS = 2.0


@dataclass(frozen=True)
class Fault:
    """What explains a piece of evidence otherwise than by the build.

    Parameters
    ----------
    name : str
        The component or piece of evidence.
    kind : {"swapped", "old stock", "replaced", "slip"}
        A component from another instrument or made ahead; a part that was replaced later; what was
        misread, is no date of the build, or is a document in error.
    """

    name: str
    kind: FaultKind

    @property
    def is_of_component(self) -> bool:
        """Whether a whole component is at fault, and not one thing that was seen."""
        return self.kind in {"swapped", "old stock"}


@dataclass(frozen=True, eq=False)
class Story:
    """One way in which the evidence can hang together.

    Parameters
    ----------
    faults : tuple of Fault
        What it supposes; nothing where all that was seen is of the build.
    probability : float
        P(story | everything seen).
    months : MonthSet
        The build month, if it is so.
    """

    faults: tuple[Fault, ...]
    probability: float
    months: MonthSet


@dataclass(frozen=True)
class _Doubt:
    """What may be at fault, and how probably so before it met the rest, and beside it."""

    name: str
    is_component: bool
    before: float
    after: float


def stories_of(weighing: Weighing, disagreement: Disagreement, level: float) -> tuple[Story, ...]:
    """Tell how evidence that clashes can hang together, the most probable way first.

    Parameters
    ----------
    weighing : Weighing
        The instrument's evidence.
    disagreement : Disagreement
        What contradicts what.
    level : float
        Level of the sets of months.

    Returns
    -------
    tuple of Story
        Nothing where nothing clashes. Stories of less than 2 % are left out, and more than four.

    References
    ----------
    Box, G. E. P. and Tiao, G. C. (1968). A Bayesian approach to some outlier problems. *Biometrika*
    55(1), 119-129, for sums over which observations are at fault.
    """
    if not clashes(disagreement):
        return ()
    doubts = sorted(_doubts(weighing), key=lambda doubt: doubt.before - doubt.after)
    doubts = doubts[:MOST_FAULTS]
    if not doubts:
        return ()
    joint = _without_harmless(_joint_by_faults(weighing, doubts), doubts)
    stories = [
        _story(faults, each / weighing.evidence, weighing, level) for faults, each in joint.items()
    ]
    stories.sort(key=lambda story: -story.probability)
    return tuple(s for s in stories if s.probability >= WORTH_TELLING)[:MOST_STORIES]


def has_swap(stories: Sequence[Story]) -> bool:
    """Say whether some story supposes that a component is from another instrument."""
    return any(fault.kind == "swapped" for story in stories for fault in story.faults)


@dataclass(frozen=True)
class SecondLook:
    """Something that was seen and is worth seeing again.

    Parameters
    ----------
    name : str
        The piece of evidence.
    bits : float
        Expected gain about the build month of knowing whether it is of the build.
    at_fault : float
        P(it is not | everything seen).
    wrong, right : MonthSet
        The build month, if it is not, and if it is.
    """

    name: str
    bits: float
    at_fault: float
    wrong: MonthSet
    right: MonthSet


def second_looks(
    weighing: Weighing, stories: Sequence[Story], disagreement: Disagreement, level: float
) -> tuple[SecondLook, ...]:
    """List what to look at again where evidence clashes, most informative first.

    Parameters
    ----------
    weighing : Weighing
        The instrument's evidence.
    stories : sequence of Story
        The ways in which it can hang together.
    disagreement : Disagreement
        What contradicts what.
    level : float
        Level of the sets of months.

    Returns
    -------
    tuple of SecondLook
        The pieces that some story supposes to be at fault, and those that contradict each other or
        that no month allows, by falling gain.

    References
    ----------
    Lindley, D. V. (1956). On a measure of the information provided by an experiment. *Annals
    of Mathematical Statistics* 27(4), 986-1005. doi:10.1214/aoms/1177728069
    """
    faults = {fault for story in stories for fault in story.faults}
    named = {fault.name for fault in faults if not fault.is_of_component}
    clashing = disagreement.conflict.contradictions
    named |= {piece.name for clash in clashing for piece in (clash.piece, clash.other)}
    named |= {piece.name for piece in weighing.pieces if piece.is_excluded}
    doubted = (p for p in weighing.pieces if p.name in named and p.fault.any())
    looks = [_second_look(weighing, piece, level) for piece in doubted]
    return tuple(sorted(looks, key=lambda look: (-look.bits, look.name)))


def _second_look(weighing: Weighing, piece: Piece, level: float) -> SecondLook:
    """Weigh whether a piece is at fault against the build month."""
    everything = weighing.by_month.sum(axis=0) / weighing.evidence
    fault = weighing.explained(piece, piece.fault)
    wrong = np.minimum(fault / weighing.evidence, everything)
    joint = np.stack([wrong, everything - wrong])
    if_wrong, if_right = (
        highest_density(row / row.sum() if row.any() else everything, weighing.tables.period, level)
        for row in joint
    )
    at_fault = float(wrong.sum())
    return SecondLook(piece.name, information_bits(joint), at_fault, if_wrong, if_right)


def clashes(disagreement: Disagreement) -> bool:
    """Say whether something contradicts the rest: a piece, or what is on a component."""
    conflict = disagreement.conflict
    against = max(conflict.against_rest.values(), default=0.0)
    surprise = max((finding.surprise for finding in disagreement.findings), default=0.0)
    return max(against, surprise) >= SURPRISING


def _doubts(weighing: Weighing) -> Iterator[_Doubt]:
    """List what may be at fault, and is more probably so than before it met the rest."""
    for name, part in weighing.parts.items():
        if part.pieces and (0 < part.swapped < 1 or part.ages is not None):
            here = weighing.respond(name, part.fixed)
            after = float((here.swapped.sum() if part.swapped else 0.0) / here.total.sum())
            if after >= max(TELLING, 2 * part.swapped):
                yield _Doubt(name, True, part.swapped, after)
    for piece in weighing.pieces:
        after = weighing.at_fault(piece, weighing.left_out[piece.name])
        alone = weighing.alone[piece.name].sum()
        before = float(weighing.empty.explained(piece, piece.fault).sum() / alone) if alone else 0.0
        if after >= max(TELLING, 2 * before):
            yield _Doubt(piece.name, False, before, after)


def _joint_by_faults(weighing: Weighing, doubts: list[_Doubt]) -> dict[frozenset[Fault], Floats]:
    """Give the joint probability of the evidence, the month and each combination of faults.

    Shape of each: (month,).
    """
    swaps = {doubt.name for doubt in doubts if doubt.is_component}
    names = {doubt.name for doubt in doubts if not doubt.is_component}
    whole = [piece for piece in weighing.whole if piece.name in names]
    parts = [
        part
        for part in weighing.parts.values()
        if part.name in swaps or any(piece.name in names for piece in part.pieces)
    ]
    base = weighing.rest([part.name for part in parts], whole)
    factors = [list(_of_piece(piece)) for piece in whole]
    factors += [list(_of_component(part, names, part.name in swaps)) for part in parts]
    joint: dict[frozenset[Fault], Floats] = {}
    for chosen in product(*factors):
        faults, term = _chosen(base, chosen)
        joint[faults] = term.sum(axis=(0, 1))
    return joint


def _chosen(
    base: Floats, terms: Iterable[tuple[frozenset[Fault], Floats]]
) -> tuple[frozenset[Fault], Floats]:
    """Multiply a term of each sum, and name the faults that they suppose together."""
    faults: frozenset[Fault] = frozenset()
    for more, term in terms:
        faults, base = faults | more, base * term
    return faults, base


def _of_piece(piece: Piece) -> Iterator[tuple[frozenset[Fault], Floats]]:
    """Part the likelihood of a piece: of the build, of a later part, of a slip."""
    yield frozenset(), piece.built
    if piece.later.any():
        yield frozenset({Fault(piece.name, "replaced")}), piece.later
    if piece.slipped.any():
        yield frozenset({Fault(piece.name, "slip")}), piece.slipped


def _of_component(
    part: ComponentEvidence, names: set[str], swap: bool
) -> Iterator[tuple[frozenset[Fault], Floats]]:
    """Part the likelihood of a component by the faults asked about; draws are kept."""
    doubted = [piece for piece in part.pieces if piece.name in names]
    others = product_of(piece for piece in part.pieces if piece.name not in names)
    for chosen in product(*(list(_of_piece(piece)) for piece in doubted)):
        faults, evidence = _chosen(others, chosen)
        if swap:
            yield from ((faults | fault, term) for fault, term in _by_origin(part, evidence))
        else:
            yield faults, part.likelihood_of(evidence)


def _by_origin(
    part: ComponentEvidence, evidence: Floats
) -> Iterator[tuple[frozenset[Fault], Floats]]:
    """Part evidence on a component: made for the instrument, made ahead, or from elsewhere."""
    belongs = 1 - part.swapped
    if part.ages is None:
        yield frozenset(), belongs * evidence
    else:
        same = np.diag(np.diagonal(part.ages))
        monthly = evidence * np.ones((1, 1, len(same)))
        yield frozenset(), belongs * replace(part, ages=same).built(monthly)
        ahead = replace(part, ages=part.ages - same).built(monthly)
        yield frozenset({Fault(part.name, "old stock")}), belongs * ahead
    if part.swapped:
        swapped = part.swapped * part.given(evidence)
        yield frozenset({Fault(part.name, "swapped")}), swapped


def _without_harmless(
    joint: Mapping[frozenset[Fault], Floats], doubts: list[_Doubt]
) -> dict[frozenset[Fault], Floats]:
    """Add combinations with a fault that nothing calls for to those without it.

    A fault is called for where it is at least twice as probable, beside the other faults, as it
    was before the piece met the rest.
    """
    before = {(doubt.name, doubt.is_component): doubt.before for doubt in doubts}

    def chance(fault: Fault) -> float:
        return before[fault.name, fault.is_of_component]

    told = dict(joint)
    for faults in sorted(joint, key=lambda each: -len(each)):
        for fault in sorted(faults, key=chance):
            rest = faults - {fault}
            if faults not in told or rest not in told or not told[rest].sum():
                continue
            odds = chance(fault) / max(1 - chance(fault), 1e-12)
            if told[faults].sum() / told[rest].sum() <= _HARMLESS * odds:
                told[rest] = told[rest] + told.pop(faults)
    return told


def _story(faults: frozenset[Fault], joint: Floats, weighing: Weighing, level: float) -> Story:
    """Give the probability and the months of a story; shape of joint: (month,)."""
    order = [*weighing.parts, *(piece.name for piece in weighing.pieces)]
    listed = tuple(sorted(faults, key=lambda fault: order.index(fault.name)))
    mass = float(joint.sum())
    shares = joint / mass if mass else np.full(len(joint), 1 / len(joint))
    return Story(listed, mass, highest_density(shares, weighing.tables.period, level))
