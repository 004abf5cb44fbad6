"""Where dates lean to one side: which kinds of evidence pull them there.

Every instrument is dated again without each thing that was seen on it. What leans brings the mean
rank nearer to the middle when it is left out.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from dating.arrays import Floats
from dating.calibration.cross_validation import DatedReferences, left_out_weights, stocks_for
from dating.calibration.scores import medians_of
from dating.engine import Weighing
from dating.learning.corpus import Corpus, Reference
from dating.learning.learned import Learned
from dating.magnitudes import floats
from dating.maker import Maker

CERTAIN = 2.5
"""Standard errors of its mean from which a change of ranks is taken for a pull."""
_MOST = 3
_HALF = (0.25, 0.75)


@dataclass(frozen=True)
class Pull:
    """One kind of evidence that pulls dates to the side on which they lie.

    Parameters
    ----------
    name : str
        The feature, mark or measurement, or ``variant``.
    kind : str
        ``feature``, ``mark``, ``measurement`` or ``variant``.
    instruments : int
        On how many it was seen.
    mean_rank : float
        The mean rank of all instruments without it.
    error : float
        Standard error of the change of the mean rank.
    first, last : int
        Months, counted from the start of the period, between which half of the change comes from,
        by the posteriors' medians: near them lies the changeover that pulls.
    """

    name: str
    kind: str
    instruments: int
    mean_rank: float
    error: float
    first: int
    last: int


def pulls_of(
    corpus: Corpus, learned: Learned | None, dated: DatedReferences, mean_rank: float
) -> tuple[Pull, ...]:
    """Find the evidence whose removal moves the mean rank most toward the middle."""
    changes, kinds = _changes(corpus, learned, dated)
    toward, medians = np.sign(0.5 - mean_rank), medians_of(dated.posterior)
    pulls = []
    for name, change in changes.items():
        error = float(change.std(ddof=1)) / len(change) ** 0.5
        seen = change != 0
        if toward * change.mean() > CERTAIN * error > 0:
            first, last = _half(medians, np.maximum(toward * change, 0))
            rank = mean_rank + float(change.mean())
            pulls.append(Pull(name, kinds[name], int(seen.sum()), rank, error, first, last))
    return tuple(sorted(pulls, key=lambda pull: abs(pull.mean_rank - mean_rank))[::-1][:_MOST])


def _changes(
    corpus: Corpus, learned: Learned | None, dated: DatedReferences
) -> tuple[dict[str, Floats], dict[str, str]]:
    """Give what leaving each thing out does to each rank, shape (instrument,), and its kind."""
    places = {id(reference): place for place, reference in enumerate(corpus.references)}
    rows = {places[id(reference)]: row for row, reference in enumerate(dated.references)}
    changes: dict[str, Floats] = {}
    kinds: dict[str, str] = {}
    for stock, chosen in stocks_for(corpus, learned, list(rows)):
        for place in chosen:
            reference = corpus.references[place]
            weighing = stock.weighing(reference.examination)
            kinds |= {piece.name: piece.kind for piece in weighing.pieces}
            whole = _rank(dated.posterior[rows[place]], reference)
            for name, posterior in _without_each(weighing, reference, learned, corpus.maker):
                change = changes.setdefault(name, np.zeros(len(rows)))
                change[rows[place]] = _rank(posterior, reference) - whole
    return changes, kinds


def _without_each(
    weighing: Weighing, reference: Reference, learned: Learned | None, maker: Maker
) -> Iterator[tuple[str, Floats]]:
    """Date an instrument without each thing that was seen, and with itself left out of learning."""
    weights, _ = left_out_weights(weighing, reference, learned, maker)
    prior = weighing.tables.prior * (len(weights) * weights[:, None, None])
    swapped = {name: part.swapped for name, part in weighing.parts.items()}
    weighed = Weighing.of(replace(weighing.tables, prior=prior), swapped, weighing.pieces)
    for name, joint in weighed.left_out.items():
        (left,) = floats(joint)
        if left.sum() > 0:
            posterior = left / left.sum()
            yield name, posterior if learned is None else learned.corrected(posterior)


def _rank(posterior: Floats, reference: Reference) -> float:
    """Give the expected rank of the stated date, not drawn within its months."""
    inside = posterior * reference.window
    inside = inside if inside.sum() > 0 else reference.window
    middle = np.cumsum(posterior) - posterior / 2
    return float(inside @ middle / inside.sum())


def _half(months: NDArray[np.int64], weights: Floats) -> tuple[int, int]:
    """Give the months between which the middle half of the weights lies."""
    order = np.argsort(months, kind="stable")
    reached = np.cumsum(weights[order]) / weights.sum()
    first, last = (int(months[order][np.searchsorted(reached, share)]) for share in _HALF)
    return first, last
