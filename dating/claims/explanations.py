"""What else than the history of production may explain what a dated instrument shows."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from dating.arrays import Floats
from dating.engine import Weighing, product_of
from dating.evidence import Piece
from dating.learning.corpus import Reference
from dating.learning.layout import VARIANTS
from dating.magnitudes import Magnitudes, floats, wide


@dataclass(frozen=True)
class Explanation:
    """How probable each explanation of one record is, given all that was recorded of it.

    They exclude each other, in this order: with a wrong date it does not matter what else is so.

    Parameters
    ----------
    wrong_date : float
        The stated date is wrong.
    swapped : float
        The date is right, and the component came from another instrument.
    later_part : float
        The component is original, and the part on it was replaced later.
    slip : float
        It is the part of the build, and was misread or is out of sequence.
    stands : float
        None of these is so: the record is what it seems.
    """

    wrong_date: float
    swapped: float
    later_part: float
    slip: float
    stands: float


def explanation_of(
    reference: Reference, weighing: Weighing, features: Collection[str]
) -> Explanation:
    """Part the probability of a record into its explanations, exactly.

    Parameters
    ----------
    reference : Reference
        A dated or undated instrument.
    weighing : Weighing
        All that was seen on it, in the draws of what is known.
    features : collection of str
        The features that are in question, or ``variants``.

    Returns
    -------
    Explanation
        From P(seen, date right), the same with the components of these features original, the same
        with no later part among them, and the same with no slip, each summed over draws, variants
        and months, and divided by P(seen, stated date).
    """
    pieces = [piece for piece in weighing.pieces if _is_of(piece, features)]
    names = {piece.component for piece in pieces if piece.component is not None}
    no_later = _with(weighing, {id(p): _less(p, p.later) for p in pieces})
    of_build = _with(weighing, {id(p): p.built for p in pieces})
    given_right, given_any = reference.trust * reference.window, reference.window
    if reference.dated:
        given_any = reference.likelihood(weighing.tables.output)
    rest = weighing.rest(leave=names, left_out=[p for p in pieces if p.component is None])
    recorded = rest * _whole(weighing, pieces)
    for name in names:
        recorded = recorded * weighing.parts[name].likelihood
    by_month = recorded.sum(axis=(0, 1))
    sums: list[Any] = [(by_month * given_any).sum(), (by_month * given_right).sum()]
    for each in (weighing, no_later, of_build):
        original = rest * _whole(each, pieces)
        for name in names:
            part = each.parts[name]
            original = original * ((1 - part.swapped) * part.built(part.varying * part.fixed))
        sums.append((original.sum(axis=(0, 1)) * given_right).sum())
    whole, *falling = (float(one) for one in floats(*sums))
    if not whole:
        return Explanation(0.0, 0.0, 0.0, 0.0, 1.0)
    shares = np.minimum.accumulate([1.0, *(value / whole for value in falling)])
    wrong, swapped, later, slip = (abs(float(step)) for step in np.diff(shares))
    return Explanation(wrong, swapped, later, slip, float(shares[-1]))


def _whole(weighing: Weighing, pieces: Collection[Piece]) -> Floats:
    """Multiply those of some pieces that are on the whole instrument, as they are in a weighing."""
    places = {piece.place for piece in pieces if piece.component is None}
    return product_of([piece for piece in weighing.whole if piece.place in places])


def _is_of(piece: Piece, features: Collection[str]) -> bool:
    name = VARIANTS if piece.kind == "variant" else piece.name
    return piece.kind in {"feature", "variant"} and name in features


def _less(piece: Piece, part: Floats) -> Floats:
    whole = piece.likelihood
    plain = whole.over(0.0) if isinstance(whole, Magnitudes) else whole
    return np.asarray(np.maximum(plain - part, 0.0))


def _with(weighing: Weighing, likelihoods: dict[int, Floats]) -> Weighing:
    """Put other likelihoods in the place of some pieces."""
    swapped = {name: part.swapped for name, part in weighing.parts.items()}
    pieces = []
    for piece in weighing.pieces:
        if (likelihood := likelihoods.get(id(piece))) is not None:
            kept = wide(likelihood) if weighing.is_wide else likelihood
            piece = replace(piece, likelihood=kept, logs=None)  # noqa: PLW2901
        pieces.append(piece)
    return Weighing(weighing.tables, swapped, pieces)
