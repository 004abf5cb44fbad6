"""Month tables and pieces of evidence combined into posteriors, exactly.

For one instrument, with draws n of the shared numbers, variants v and build months t,

    p(t, v | all) is proportional to
        mean over n of  pi(t) P(v | t) W(t, v) prod_c L_c(t, v),
    L_c(t, v) = (1 - rho_c) A_c(t, v) + rho_c sum_{u, w} q_c(u) P(w | u) A_c(u, w),

where A_c is the product of the evidence on component c and W that on the whole instrument.

The engine uses one fact throughout: the joint probability is *linear* in the evidence of a
component that has no draws of its own. So the effect of leaving a piece out, or of each answer
a further look may give, is one small matrix product per component and not a new estimate. A
set of alternatives to that draw-free part is called *trials* below.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from dating.evidence import Piece
from dating.tables import MonthTables

type Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Response:
    """Joint probabilities for a set of trials, split by where the component came from.

    Parameters
    ----------
    original, swapped : ndarray of float64, shape (trial, variant, month)
        P(evidence, variant, build month, component original or swapped) up to the scale of
        the pieces.
    """

    original: Floats
    swapped: Floats

    @property
    def total(self) -> Floats:
        """Sum over where the component came from, shape (trial, variant, month)."""
        return self.original + self.swapped


@dataclass(frozen=True)
class Part:
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
    """

    name: str
    swapped: float
    donor: Floats
    pieces: tuple[Piece, ...]

    def tied(self, without: Piece | None = None) -> Floats:
        """Multiply the pieces that have draws, shape (draw, variant, month)."""
        return _product([p for p in self.pieces if _has_draws(p) and p is not without])

    def free(self, without: Piece | None = None) -> Floats:
        """Multiply the pieces that have no draws, shape (1, variant, month)."""
        return _product([p for p in self.pieces if not _has_draws(p) and p is not without])

    @cached_property
    def likelihood(self) -> Floats:
        """L_c, shape (draw, variant, month)."""
        evidence = self.tied() * self.free()
        if self.swapped == 0:
            return evidence
        from_donor = (self.donor * evidence).sum(axis=(1, 2), keepdims=True)
        return (1 - self.swapped) * evidence + self.swapped * from_donor


class Weighing:
    """One instrument's evidence, ready to be combined in any way that is asked.

    Parameters
    ----------
    tables : MonthTables
        The month tables of the maker.
    swapped : mapping of str to float
        Prior probability of a swap, by component, in the order of the maker file.
    pieces : sequence of Piece
        The evidence; an empty sequence gives the prior.
    """

    def __init__(
        self, tables: MonthTables, swapped: dict[str, float], pieces: Sequence[Piece]
    ) -> None:
        self.tables = tables
        self.pieces = tuple(pieces)
        self.whole = tuple(piece for piece in pieces if piece.component is None)
        self.parts = {
            name: Part(
                name,
                chance,
                tables.variant_shares * tables.donors[name],
                tuple(piece for piece in pieces if piece.component == name),
            )
            for name, chance in swapped.items()
        }
        shape = (tables.draws, *tables.variant_shares.shape[1:])
        self.prior = np.broadcast_to(tables.variant_shares * tables.output, shape) / tables.draws
        self._kept: dict[str, Floats] = {}

    def emptied(self, pieces: Sequence[Piece] = ()) -> Weighing:
        """Weigh other evidence on the same instrument; none at all unless given.

        Parameters
        ----------
        pieces : sequence of Piece
            The evidence that takes the place of this one's.

        Returns
        -------
        Weighing
            With the same tables and chances of a swap.
        """
        swapped = {name: part.swapped for name, part in self.parts.items()}
        return Weighing(self.tables, swapped, pieces)

    @cached_property
    def joint(self) -> Floats:
        """P(evidence, variant, month) in each draw, shape (draw, variant, month)."""
        return self._rest(None)

    @cached_property
    def by_month(self) -> Floats:
        """P(evidence, variant, month), shape (variant, month)."""
        return self.joint.sum(axis=0)

    @cached_property
    def evidence(self) -> float:
        """P(evidence), up to the scales of the pieces."""
        return float(self.by_month.sum())

    def standard_error(self) -> Floats:
        """Give the standard error that the draws leave on each month's posterior.

        The replicates are independent, so the spread of their ratios tells (a delta-method
        ratio estimate). With a single draw there is no such error.

        Returns
        -------
        ndarray of float64, shape (month,)
            Standard errors of the posterior probabilities.
        """
        count = self.tables.replicates
        if count == 1:
            return np.zeros(self.by_month.shape[-1])
        each = self.joint.sum(axis=1).reshape(count, -1, self.by_month.shape[-1]).sum(axis=1)
        posterior = each.sum(axis=0) / each.sum()
        residual = each - posterior * each.sum(axis=1, keepdims=True)
        scatter = np.sqrt((residual**2).sum(axis=0) * count / (count - 1))
        return scatter / each.sum()

    def respond(self, name: str, trials: Floats, tied: Floats | None = None) -> Response:
        """Replace the evidence on one component and give the joint probabilities.

        Parameters
        ----------
        name : str
            The component.
        trials : ndarray of float64, shape (trial, variant, month)
            Alternatives to the draw-free part of its evidence.
        tied : ndarray of float64, shape (draw, variant, month), optional
            What takes the place of the part with draws; as it is unless given.

        Returns
        -------
        Response
            For each trial.
        """
        part, rest = self.parts[name], self._without(name)
        tied = part.tied() if tied is None else tied
        original = (1 - part.swapped) * (rest * tied).sum(axis=0) * trials
        if part.swapped == 0:
            return Response(original, np.zeros_like(original))
        shape = (len(trials), *rest.shape[1:])
        donor = part.donor * tied
        from_donor = np.broadcast_to(trials, shape).reshape(len(trials), -1) @ _flat(donor).T
        spread = _flat(rest) if len(donor) > 1 else _flat(rest.sum(axis=0, keepdims=True))
        return Response(original, part.swapped * (from_donor @ spread).reshape(shape))

    def respond_whole(self, trials: Floats, without: Piece | None = None) -> Floats:
        """Replace or leave out evidence on the whole instrument.

        Parameters
        ----------
        trials : ndarray of float64, shape (trial, variant, month)
            Factors to multiply with.
        without : Piece, optional
            A piece on the whole instrument to leave out.

        Returns
        -------
        ndarray of float64, shape (trial, variant, month)
            P(evidence, variant, month) for each trial.
        """
        return np.asarray(self._rest(None, without).sum(axis=0) * trials)

    def leave_out(self, piece: Piece) -> Floats:
        """Give the joint probability without one piece.

        Parameters
        ----------
        piece : Piece
            One of the pieces.

        Returns
        -------
        ndarray of float64, shape (variant, month)
            P(other evidence, variant, month).
        """
        ones = np.ones((1, 1, 1))
        if piece.component is None:
            return np.asarray(self.respond_whole(ones, without=piece)[0])
        part = self.parts[piece.component]
        left = self.respond(part.name, part.free(piece), tied=part.tied(piece))
        return np.asarray(left.total[0])

    def leave_each_out(self) -> dict[str, Floats]:
        """Give the joint probability without each piece in turn.

        Returns
        -------
        dict of str to ndarray of float64, shape (variant, month)
            By name of the piece.
        """
        left: dict[str, Floats] = {}
        for part in self.parts.values():
            free = [piece for piece in part.pieces if not _has_draws(piece)]
            if free:
                trials = np.concatenate(
                    np.broadcast_arrays(*[part.free(piece) for piece in free]), axis=0
                )
                totals = self.respond(part.name, trials).total
                left |= {piece.name: total for piece, total in zip(free, totals, strict=True)}
        others = [piece for piece in self.pieces if piece.name not in left]
        return left | {piece.name: self.leave_out(piece) for piece in others}

    def own_months(self, name: str) -> Floats:
        """Give the joint probability of a component's own month.

        Parameters
        ----------
        name : str
            The component.

        Returns
        -------
        ndarray of float64, shape (month,)
            P(evidence, the component's own build month).
        """
        part, rest = self.parts[name], self._without(name)
        evidence = part.tied() * part.free()
        original = (1 - part.swapped) * (rest * evidence).sum(axis=(0, 1))
        elsewhere = rest.sum(axis=(1, 2), keepdims=True)
        swapped = part.swapped * (elsewhere * part.donor * evidence).sum(axis=(0, 1))
        return original + swapped

    def all_original(self) -> float:
        """Give the joint probability of the evidence and no component being swapped.

        Returns
        -------
        float
            P(evidence, every component original), up to the scales of the pieces.
        """
        total = self.prior * _product(self.whole)
        for part in self.parts.values():
            total = total * ((1 - part.swapped) * part.tied() * part.free())
        return float(total.sum())

    def _rest(self, leave: str | None, without: Piece | None = None) -> Floats:
        """Multiply prior, whole-instrument evidence and all components but one."""
        total = self.prior * _product([piece for piece in self.whole if piece is not without])
        for name, part in self.parts.items():
            if name != leave and part.pieces:
                total = total * part.likelihood
        return total

    def _without(self, name: str) -> Floats:
        if name not in self._kept:
            self._kept[name] = self._rest(name)
        return self._kept[name]


def _has_draws(piece: Piece) -> bool:
    return len(piece.likelihood) > 1


def _product(pieces: Sequence[Piece]) -> Floats:
    total = np.ones((1, 1, 1))
    for piece in pieces:
        total = total * piece.likelihood
    return total


def _flat(values: Floats) -> Floats:
    """Join variant and month into one axis."""
    return values.reshape(len(values), -1)
