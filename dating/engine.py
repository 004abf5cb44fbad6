"""Month tables and pieces of evidence combined into posteriors, exactly.

For one instrument, with draws n of the shared numbers, variants v and build months t,

    p(t, v | all) is proportional to
        mean over n of  pi(t) P(v | t) W(t, v) prod_c L_c(t, v),
    L_c(t, v) = (1 - rho_c) sum_u a_c(u | t) A_c(u, v) + rho_c sum_{u, w} q_c(u) P(w | u) A_c(u, w),

where A_c is the product of the evidence on component c, W that on the whole instrument, and a_c
says when a component was made that belongs to the instrument: in its month, or before as old stock.

The engine uses one fact throughout: the joint probability is *linear* in the evidence of a
component that has no draws of its own. So the effect of leaving a piece out, or of each answer
a further look may give, is one small matrix product per component and not a new estimate. A
set of alternatives to that fixed part is called *trials* below.

No factor is more than one. Where the total is so small that floats may have lost something, the
same formulas work on :class:`dating.magnitudes.Magnitudes`.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from dating.arrays import Floats
from dating.evidence import Piece
from dating.magnitudes import LEAST, floats, wide
from dating.tables import MonthTables


@dataclass(frozen=True, eq=False)
class Response:
    """Joint probabilities for a set of trials, split by where the component came from.

    Parameters
    ----------
    original, swapped : ndarray of float64, shape (trial, month)
        P(evidence, build month, component original or swapped), up to the scales of the
        pieces; variants are summed over.
    """

    original: Floats
    swapped: Floats

    @property
    def total(self) -> Floats:
        """Sum over where the component came from, shape (trial, month)."""
        return self.original + self.swapped


@dataclass(frozen=True, eq=False)
class ComponentEvidence:
    """The evidence on one component.

    Parameters
    ----------
    name : str
        The component.
    swapped : float
        Prior probability that the component came from another instrument.
    donor : ndarray of float64, shape (draw, variant, month)
        q(u) P(w | u).
    pieces : tuple of Piece
        What was seen on it.
    ages : ndarray of float64, shape (month, month), or None
        P(made in month u | instrument of month t), rows by t, where it may be old stock.
    """

    name: str
    swapped: float
    donor: Floats
    pieces: tuple[Piece, ...]
    ages: Floats | None = None

    @cached_property
    def varying(self) -> Floats:
        """The product of the pieces that have draws, shape (draw, variant, month)."""
        return self.varying_without(None)

    @cached_property
    def fixed(self) -> Floats:
        """The product of the pieces that have no draws, shape (1, variant, month)."""
        return self.fixed_without(None)

    def varying_without(self, left_out: Piece | None) -> Floats:
        """Multiply the pieces that have draws, one left out.

        Shape: (draw, variant, month).
        """
        return product_of([p for p in self.pieces if p.has_draws and p is not left_out])

    def fixed_without(self, left_out: Piece | None) -> Floats:
        """Multiply the pieces that have no draws, one left out.

        Shape: (draw, variant, month).
        """
        return product_of([p for p in self.pieces if not p.has_draws and p is not left_out])

    @cached_property
    def likelihood(self) -> Floats:
        """L_c, shape (draw, variant, month)."""
        return self.likelihood_of(self.varying * self.fixed)

    def likelihood_of(self, evidence: Floats) -> Floats:
        """Give the same of any evidence by the component's own month.

        Shapes: evidence (draw, variant, month); gives the same.
        """
        if self.swapped == 0:
            return self.built(evidence)
        return (1 - self.swapped) * self.built(evidence) + self.swapped * self.given(evidence)

    def built(self, evidence: Floats) -> Floats:
        """Turn evidence by the component's own month into evidence by that of its instrument.

        Shapes: evidence (draw, variant, month); gives the same.
        """
        if self.ages is None or evidence.shape[2] == 1:  # the same in whatever month it was made
            return evidence
        return _by_variant(evidence, self.ages.T)

    def given(self, evidence: Floats) -> Floats:
        """Average evidence over the donor's month and variant.

        Shapes: evidence (draw, variant, month); gives (draw, 1, 1).
        """
        averaged: Floats = (self.donor * evidence).sum(axis=(1, 2), keepdims=True)
        return averaged


class Weighing:
    """One instrument's evidence, ready to be combined in any way that is asked.

    Parameters
    ----------
    tables : MonthTables
        The month tables of the maker.
    swapped : mapping of str to float
        Prior probability of a swap, by component, in the order of the maker file.
    pieces : sequence of Piece
        The evidence; an empty sequence gives the prior. Where its pieces are kept as numbers of any
        magnitude, all that comes out is too.
    """

    def __init__(
        self, tables: MonthTables, swapped: dict[str, float], pieces: Sequence[Piece]
    ) -> None:
        self.tables = tables
        self.pieces = tuple(pieces)
        self.is_wide = any(piece.is_wide for piece in pieces)
        self.prior = wide(tables.prior) if self.is_wide else tables.prior
        self.whole = tuple(piece for piece in pieces if piece.component is None)
        self.parts = {
            name: ComponentEvidence(
                name,
                chance,
                tables.donors[name],
                tuple(piece for piece in pieces if piece.component == name),
                tables.ages.get(name),
            )
            for name, chance in swapped.items()
        }
        self._arrays: dict[tuple[str, str, bool], Floats] = {}

    @classmethod
    def of(
        cls, tables: MonthTables, swapped: dict[str, float], pieces: Sequence[Piece]
    ) -> Weighing:
        """Weigh evidence with plain floats, or where these fail with numbers of any magnitude."""
        weighing = cls(tables, swapped, [piece.narrowed() for piece in pieces])
        return weighing if not pieces or weighing.evidence >= LEAST else weighing.widened()

    def widened(self) -> Weighing:
        """Weigh the same evidence with numbers of any magnitude."""
        swapped = {name: part.swapped for name, part in self.parts.items()}
        return Weighing(self.tables, swapped, [piece.widened() for piece in self.pieces])

    def emptied(self, pieces: Sequence[Piece] = ()) -> Weighing:
        """Weigh other evidence on the same instrument; none at all unless given."""
        swapped = {name: part.swapped for name, part in self.parts.items()}
        return Weighing.of(self.tables, swapped, pieces)

    @cached_property
    def empty(self) -> Weighing:
        """The same instrument without evidence."""
        return self.emptied()

    @cached_property
    def alone(self) -> dict[str, Floats]:
        """P(piece, build month) of each piece on its own, by name, each of shape (month,)."""
        return self.each_beside(self.empty)

    def each_beside(self, others: Weighing) -> dict[str, Floats]:
        """Give the joint probability of each piece beside other evidence, or none.

        Shape: (month,).
        """
        joint: dict[str, Floats] = {}
        for part in self.parts.values():
            beside = others.parts[part.name]
            pieces = [piece for piece in part.pieces if not piece.has_draws]
            if pieces:
                rows = np.broadcast_arrays(*[piece.likelihood for piece in pieces])
                totals = others.respond(part.name, np.concatenate(rows) * beside.fixed).total
                joint |= {piece.name: total for piece, total in zip(pieces, totals, strict=True)}
            for piece in part.pieces:
                if piece.has_draws:
                    varying = piece.likelihood * beside.varying
                    response = others.respond(part.name, beside.fixed, varying=varying)
                    joint[piece.name] = response.total[0]
        for piece in self.whole:
            joint[piece.name] = others.respond_whole(piece.likelihood)[0]
        return joint

    def likelihood_alone(self, piece: Piece) -> Floats:
        """Give P(piece | build month), its component's chance of a swap included.

        Shape: (month,).
        """
        (joint,) = floats(self.alone[piece.name])
        output = self.tables.output
        return np.divide(joint, output, out=np.zeros_like(joint), where=output > 0)

    @cached_property
    def joint(self) -> Floats:
        """P(evidence, variant, month) in each draw, shape (draw, variant, month)."""
        return self.rest()

    @cached_property
    def by_month(self) -> Floats:
        """P(evidence, variant, month), shape (variant, month)."""
        summed: Floats = self.joint.sum(axis=0)
        return summed

    @cached_property
    def evidence(self) -> float:
        """P(evidence), up to the scales of the pieces; nought where no month allows it."""
        total: float = self.by_month.sum()
        return total

    def standard_error(self) -> Floats:
        """Give the standard error that the draws leave on each month's posterior.

        Shape: (month,).
        """
        count = self.tables.replicates
        if count == 1:
            return np.zeros(self.by_month.shape[-1])
        each = self.joint.sum(axis=1).reshape(count, -1, self.by_month.shape[-1]).sum(axis=1)
        return standard_errors(floats(each)[0].T)

    def respond(self, name: str, trials: Floats, varying: Floats | None = None) -> Response:
        """Replace the fixed evidence on one component and give the joint probabilities.

        Shapes: trials (trial, variant, month); varying (draw, variant, month).
        """
        part = self.parts[name]
        varying = part.varying if varying is None else varying
        by_variant = varying.shape[1] > 1 or trials.shape[1] > 1
        rest = self._without(name, by_variant)
        varied = np.broadcast_to(varying, rest.shape)
        if part.ages is None:
            direct = np.einsum("nvt,nvt->vt", rest, varied)
            original = (1 - part.swapped) * (direct * trials).sum(axis=1)
        else:
            rows = np.broadcast_to(trials, (len(trials), *rest.shape[1:]))
            each = [
                rows[:, v] @ (rest[:, v].T @ varied[:, v] * part.ages).T
                for v in range(rows.shape[1])
            ]
            original = (1 - part.swapped) * np.stack(each).sum(axis=0)
        if part.swapped == 0:
            return Response(original, np.zeros_like(original))
        donor = self._donor(name, by_variant) * varying
        flat = np.broadcast_to(trials, (len(trials), *rest.shape[1:])).reshape(len(trials), -1)
        from_donor = flat @ donor.reshape(len(donor), -1).T
        return Response(original, part.swapped * self._spread(name, from_donor))

    def respond_varying(self, name: str, answers: Floats) -> Response:
        """Multiply further evidence with draws onto one component.

        Shapes: answers (trial, draw, variant, month).
        """
        part, by_variant = self.parts[name], answers.shape[2] > 1
        if part.ages is None:
            here = self._array("here", name, by_variant, self._here)
            original = (1 - part.swapped) * np.einsum("nvt,knvt->kt", here, answers)
        else:
            here, evidence = self._without(name, True), part.varying * part.fixed
            each = [(here * part.built(evidence * answer)).sum(axis=(0, 1)) for answer in answers]
            original = (1 - part.swapped) * np.stack(each)
        if part.swapped == 0:
            return Response(original, np.zeros_like(original))
        there = self._array("there", name, by_variant, self._there)
        there = np.broadcast_to(there, (len(here), *there.shape[1:]))
        from_donor = np.einsum("nvt,knvt->kn", there, answers)
        return Response(original, part.swapped * self._spread(name, from_donor))

    def respond_whole(self, trials: Floats, left_out: Piece | None = None) -> Floats:
        """Multiply with, or leave out, evidence on the whole instrument.

        Shapes: trials (trial, variant, month); gives (trial, month).
        """
        left = () if left_out is None else (left_out,)
        by_month = self.rest(left_out=left).sum(axis=0)
        total: Floats = (by_month * trials).sum(axis=1)
        return total

    @cached_property
    def left_out(self) -> dict[str, Floats]:
        """P(all pieces but one, build month) without each in turn, each of shape (month,)."""
        left: dict[str, Floats] = {}
        for part in self.parts.values():
            fixed = [piece for piece in part.pieces if not piece.has_draws]
            if fixed:
                rows = np.broadcast_arrays(*[part.fixed_without(piece) for piece in fixed])
                totals = self.respond(part.name, np.concatenate(rows)).total
                left |= {piece.name: total for piece, total in zip(fixed, totals, strict=True)}
            for piece in part.pieces:
                if piece.has_draws:
                    varying = part.varying_without(piece)
                    left[piece.name] = self.respond(part.name, part.fixed, varying=varying).total[0]
        for piece in self.whole:
            left[piece.name] = self.respond_whole(np.ones((1, 1, 1)), left_out=piece)[0]
        return left

    def replaced(self, piece: Piece, left: Floats) -> float:
        """Give the probability that a piece is what a later replacement left.

        Shapes: left (month,).
        """
        return self._share(piece, piece.later, left)

    def at_fault(self, piece: Piece, left: Floats) -> float:
        """Give the probability that a piece is not of the build: of a later part, or a slip.

        Shapes: left (month,).
        """
        return self._share(piece, piece.fault, left)

    def _share(self, piece: Piece, share: Floats, left: Floats) -> float:
        """Give the probability that a share of a piece's likelihood is what explains it."""
        if share.size == 1:
            return float(share.sum() * left.sum() / self.evidence)
        return float(self.explained(piece, share).sum() / self.evidence)

    def explained(self, piece: Piece, share: Floats) -> Floats:
        """Give the joint probability with a share of a piece's likelihood in place of all of it.

        Shapes: share (draw, 1, month); gives (month,).
        """
        if piece.component is None:
            whole: Floats = self.respond_whole(share, left_out=piece)[0]
            return whole
        part = self.parts[piece.component]
        varying = part.varying_without(piece) * share
        joint: Floats = self.respond(part.name, part.fixed_without(piece), varying=varying).total[0]
        return joint

    def months_elsewhere(self, name: str) -> Floats:
        """Give the joint probability of a component's own month and its being swapped.

        Shape: (month,).
        """
        part, rest = self.parts[name], self._without(name, True)
        elsewhere = rest.sum(axis=(1, 2), keepdims=True)
        evidence = part.varying * part.fixed
        swapped: Floats = part.swapped * (elsewhere * part.donor * evidence).sum(axis=(0, 1))
        return swapped

    def evidence_without(self, name: str) -> float:
        """Give the probability of all the evidence that is not on one component."""
        total: float = self._without(name, False).sum()
        return total

    def own_months(self, name: str) -> Floats:
        """Give the joint probability of a component's own month.

        Shape: (month,).
        """
        part, rest = self.parts[name], self._without(name, True)
        evidence = part.varying * part.fixed
        own = rest if part.ages is None else _by_variant(rest, part.ages)
        original = (1 - part.swapped) * (own * evidence).sum(axis=(0, 1))
        total: Floats = original + self.months_elsewhere(name)
        return total

    def with_original(self, names: Collection[str]) -> Floats:
        """Give the joint probability of the evidence and some components not being swapped.

        Shape: (draw, variant, month).
        """
        total = self.prior * product_of(self.whole)
        for name, part in self.parts.items():
            if name in names:
                total = total * ((1 - part.swapped) * part.built(part.varying * part.fixed))
            elif part.pieces:
                total = total * part.likelihood
        return total

    def all_original(self) -> float:
        """Give the joint probability of the evidence and no component being swapped."""
        total: float = self.with_original(self.parts).sum()
        return total

    def rest(self, leave: Collection[str] = (), left_out: Sequence[Piece] = ()) -> Floats:
        """Multiply prior, whole-instrument evidence and components, but for some of them.

        Shape: (draw, variant, month).
        """
        pieces = [piece for piece in self.whole if piece not in left_out]
        total = self.prior * product_of(pieces)
        for name, part in self.parts.items():
            if name not in leave and part.pieces:
                total *= part.likelihood
        return total

    def _without(self, name: str, by_variant: bool) -> Floats:
        """Give P(evidence elsewhere, variant, month) in each draw."""
        return self._array("rest", name, by_variant, lambda _: self.rest((name,)))

    def _donor(self, name: str, by_variant: bool) -> Floats:
        """Give the donor's month and variant."""
        return self._array("donor", name, by_variant, lambda _: self.parts[name].donor)

    def _here(self, name: str) -> Floats:
        part = self.parts[name]
        return self._without(name, True) * (part.varying * part.fixed)

    def _there(self, name: str) -> Floats:
        part = self.parts[name]
        return part.donor * (part.varying * part.fixed)

    def _array(
        self, what: str, name: str, by_variant: bool, make: Callable[[str], Floats]
    ) -> Floats:
        """Make an array (draw, variant, month) once; sum over variants unless they matter."""
        key = (what, name, by_variant)
        if key not in self._arrays:
            if by_variant:
                self._arrays[key] = make(name)
            else:
                whole = self._array(what, name, True, make)
                self._arrays[key] = whole.sum(axis=1, keepdims=True)
        return self._arrays[key]

    def _spread(self, name: str, from_donor: Floats) -> Floats:
        """Give P(rest, month) where the component's evidence is settled by its donor alone."""
        rest = self._without(name, False)[:, 0]
        if from_donor.shape[1] == 1:
            rest = rest.sum(axis=0, keepdims=True)
        spread: Floats = from_donor @ rest
        return spread


def _by_variant(array: Floats, matrix: Floats) -> Floats:
    """Multiply each variant's rows with a matrix; shapes (draw, variant, month), (month, month)."""
    each = [array[:, variant] @ matrix for variant in range(array.shape[1])]
    return np.stack(each, axis=1)


def product_of(pieces: Iterable[Piece]) -> Floats:
    """Multiply the likelihoods of some pieces, shape (draw, variant, month)."""
    total = np.ones((1, 1, 1))
    for piece in pieces:
        total = total * piece.likelihood
    return total


def standard_errors(joint: Floats) -> Floats:
    """Give the standard error that the draws leave on each month's posterior.

    The replicates are independent, so the spread of their ratios tells (a delta-method ratio
    estimate). With a single replicate there is no such error.

    Parameters
    ----------
    joint : ndarray of float64, shape (..., month, replicate)
        P(evidence, month) in each replicate.

    Returns
    -------
    ndarray of float64, shape (..., month)
        Standard errors of the posterior probabilities; nought where no month is possible.

    References
    ----------
    Cochran, W. G. (1977). *Sampling Techniques*, 3rd edition, Wiley, section 2.11, for the
    variance of a ratio estimate.

    Examples
    --------
    >>> standard_errors(np.array([[0.2, 0.3], [0.3, 0.2]])).round(3).tolist()
    [0.1, 0.1]
    """
    count = joint.shape[-1]
    if count == 1:
        return np.zeros(joint.shape[:-1])
    months = joint.sum(axis=-1)
    total = months.sum(axis=-1, keepdims=True)
    total[total == 0] = 1.0
    residual = joint - (months / total)[..., None] * joint.sum(axis=-2, keepdims=True)
    return np.asarray(np.sqrt(np.vecdot(residual, residual) * count / (count - 1)) / total)
