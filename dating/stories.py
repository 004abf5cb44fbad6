"""Stories: the few ways in which evidence that clashes can hang together, each with its own date.

A *fault* is what would explain a piece of evidence otherwise than by the build: a component that
was swapped or is old stock, a part that was replaced, a reading, date or document that is wrong.
Each of these is a term of a sum in the model, so the joint probability of the evidence and of some
faults together, and no others among those asked about, is the same product with these terms alone.
Faults that the evidence does not make more probable are summed over.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Literal

import numpy as np

from dating.advice import information_bits
from dating.arrays import Floats
from dating.disagreement import SURPRISING, Disagreement
from dating.engine import ComponentEvidence, Weighing
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


@dataclass(frozen=True, eq=False)
class _Doubt:
    """A component or piece that may be at fault: the chance before it was seen beside the rest."""

    name: str
    component: str | None
    piece: Piece | None
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
    doubts = sorted(_doubts(weighing, disagreement), key=lambda doubt: -_lift(doubt))
    doubts = doubts[:MOST_FAULTS]
    if not doubts:
        return ()
    joint = _joint_by_faults(weighing, doubts)
    told = _without_harmless(joint, doubts)
    total = sum(float(floats_of(each, weighing).sum()) for each in told.values())
    stories = [
        _story(faults, floats_of(each, weighing), total, weighing, level)
        for faults, each in told.items()
    ]
    stories.sort(key=lambda story: -story.probability)
    return tuple(s for s in stories if s.probability >= WORTH_TELLING)[:MOST_STORIES]


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
    named = {fault.name for story in stories for fault in story.faults}
    clashing = disagreement.conflict.contradictions
    named |= {piece.name for clash in clashing for piece in (clash.piece, clash.other)}
    named |= {piece.name for piece in weighing.pieces if piece.is_excluded}
    doubted = (p for p in weighing.pieces if p.name in named and (p.later + p.slipped).any())
    looks = [_second_look(weighing, piece, level) for piece in doubted]
    return tuple(sorted(looks, key=lambda look: (-look.bits, look.name)))


def _second_look(weighing: Weighing, piece: Piece, level: float) -> SecondLook:
    """Weigh whether a piece is at fault against the build month."""
    everything = weighing.by_month.sum(axis=0) / weighing.evidence
    fault = sum(weighing.explained(piece, share) for share in (piece.later, piece.slipped))
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


def floats_of(joint: Floats, weighing: Weighing) -> Floats:
    """Divide a joint probability by that of the evidence; shape (month,)."""
    ratio: Floats = joint / weighing.evidence
    return ratio


def _lift(doubt: _Doubt) -> float:
    return doubt.after - doubt.before


def _doubts(weighing: Weighing, disagreement: Disagreement) -> Iterator[_Doubt]:
    """List what may be at fault, and is more probably so than before it met the rest."""
    for name, part in weighing.parts.items():
        if part.pieces and (0 < part.swapped < 1 or part.ages is not None):
            here = weighing.respond(name, part.fixed)
            after = float((here.swapped.sum() if part.swapped else 0.0) / here.total.sum())
            if after >= max(TELLING, 2 * part.swapped):
                yield _Doubt(name, name, None, part.swapped, after)
    left = weighing.leave_each_out()
    for finding in disagreement.findings:
        piece = finding.piece
        rest = left[piece.name]
        after = weighing.replaced(piece, rest) + weighing.slipped(piece, rest)
        empty, alone = weighing.empty, weighing.alone[piece.name].sum()
        before = _alone(empty, piece) / alone if alone else 0.0
        if after >= max(TELLING, 2 * before):
            yield _Doubt(piece.name, piece.component, piece, float(before), float(after))


def _alone(empty: Weighing, piece: Piece) -> float:
    """Give the probability of a piece alone together with its being at fault."""
    nothing = empty.by_month.sum(axis=0)
    return empty.evidence * (empty.replaced(piece, nothing) + empty.slipped(piece, nothing))


def _joint_by_faults(weighing: Weighing, doubts: list[_Doubt]) -> dict[frozenset[Fault], Floats]:
    """Give the joint probability of the evidence, the month and each combination of faults.

    Shape of each: (month,).
    """
    names = {doubt.name for doubt in doubts}
    base = weighing.prior
    for name, part in weighing.parts.items():
        if part.pieces and name not in {doubt.component for doubt in doubts}:
            base = base * part.likelihood
    for piece in weighing.whole:
        if piece.name not in names:
            base = base * piece.likelihood
    factors: list[list[tuple[frozenset[Fault], Floats]]] = [
        [(frozenset(faults), array) for faults, array in _of_piece(doubt.piece)]
        for doubt in doubts
        if doubt.piece is not None and doubt.component is None
    ]
    factors += [
        list(_of_component(part, names))
        for name, part in weighing.parts.items()
        if name in {doubt.component for doubt in doubts}
    ]
    joint: dict[frozenset[Fault], Floats] = {}
    for chosen in product(*factors):
        term = base
        for _, array in chosen:
            term = term * array
        joint[frozenset().union(*(faults for faults, _ in chosen))] = term.sum(axis=(0, 1))
    return joint


def _of_piece(piece: Piece) -> Iterator[tuple[tuple[Fault, ...], Floats]]:
    """Part the likelihood of a piece: of the build, of a later part, of a slip."""
    yield (), piece.built
    if piece.later.max() > 0:
        yield (Fault(piece.name, "replaced"),), piece.later
    if piece.slipped.max() > 0:
        yield (Fault(piece.name, "slip"),), piece.slipped


def _of_component(
    part: ComponentEvidence, names: set[str]
) -> Iterator[tuple[frozenset[Fault], Floats]]:
    """Part the likelihood of a component by the faults asked about; draws are kept."""
    doubted = [piece for piece in part.pieces if piece.name in names]
    others = np.ones((1, 1, 1))
    for piece in part.pieces:
        if piece.name not in names:
            others = others * piece.likelihood
    for chosen in product(*(list(_of_piece(piece)) for piece in doubted)):
        evidence, faults = others, frozenset(f for each, _ in chosen for f in each)
        for _, array in chosen:
            evidence = evidence * array
        if part.name not in names:
            alone = ComponentEvidence(part.name, part.swapped, part.donor, (), part.ages)
            own = (1 - part.swapped) * alone.built(_monthly(evidence, part))
            yield faults, own + part.swapped * part.given(evidence) if part.swapped else own
            continue
        yield from (
            (faults | fault, array) for fault, array in _by_origin(part, _monthly(evidence, part))
        )


def _monthly(evidence: Floats, part: ComponentEvidence) -> Floats:
    """Give evidence all its months, where the component's own month matters."""
    if part.ages is None or evidence.shape[2] > 1:
        return evidence
    return evidence * np.ones((1, 1, len(part.ages)))


def _by_origin(
    part: ComponentEvidence, evidence: Floats
) -> Iterator[tuple[frozenset[Fault], Floats]]:
    """Part evidence on a component: made for the instrument, made ahead, or from elsewhere."""
    belongs = 1 - part.swapped
    if part.ages is None:
        yield frozenset(), belongs * evidence
    else:
        same = np.diagonal(part.ages)
        yield frozenset(), belongs * (evidence * same)
        stock = ComponentEvidence(part.name, 0.0, part.donor, (), part.ages - np.diag(same)).built(
            evidence
        )
        yield frozenset({Fault(part.name, "old stock")}), belongs * stock
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
    before = {doubt.name: doubt.before for doubt in doubts}
    told = dict(joint)
    for faults in sorted(joint, key=lambda each: -len(each)):
        for fault in sorted(faults, key=lambda each: before[each.name]):
            rest = faults - {fault}
            if faults not in told or rest not in told:
                continue
            odds = before[fault.name] / max(1 - before[fault.name], 1e-12)
            if (told[faults].sum() / told[rest].sum() if told[rest].sum() else np.inf) <= (
                _HARMLESS * odds
            ):
                told[rest] = told[rest] + told.pop(faults)
    return told


def _story(
    faults: frozenset[Fault], joint: Floats, total: float, weighing: Weighing, level: float
) -> Story:
    mass = float(joint.sum())
    order = {name: place for place, name in enumerate(_names(weighing))}
    listed = tuple(sorted(faults, key=lambda fault: order[fault.name]))
    period = weighing.tables.period
    shares = joint / mass if mass else np.full(len(joint), 1 / len(joint))
    return Story(listed, mass / total, highest_density(shares, period, level))


def _names(weighing: Weighing) -> list[str]:
    return [*weighing.parts, *(piece.name for piece in weighing.pieces)]
