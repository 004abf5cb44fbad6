"""Several instruments put in a row, oldest first, and how far the row may be trusted."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dating.arrays import Floats
from dating.succession.joint_months import Samples

TOLD_APART = 0.75
"""Probability of its order from which a pair counts as told apart."""


@dataclass(frozen=True, eq=False)
class Arrangement:
    """Instruments in a row, oldest first.

    Parameters
    ----------
    places : tuple of int
        The instruments, by their position in what was given.
    wrong_pairs : float
        How many pairs of the row are expected to stand the wrong way round.
    whole : float
        P(the whole row is right).
    ties : tuple of tuple of int
        Positions in the row that stand side by side and cannot be told apart.
    """

    places: tuple[int, ...]
    wrong_pairs: float
    whole: float
    ties: tuple[tuple[int, ...], ...]

    @property
    def pairs(self) -> int:
        """How many pairs there are."""
        return len(self.places) * (len(self.places) - 1) // 2


def arrange(first: Floats, ranks: NDArray[np.intp]) -> Arrangement:
    """Put instruments in the row in which the fewest pairs are expected to be wrong.

    The row begins with how many others each instrument is expected to precede, and each
    instrument is then moved to where it stands best until none gains by moving.

    Parameters
    ----------
    first : ndarray of float64, shape (instrument, instrument)
        P(completed before the other).
    ranks : ndarray of int, shape (sample, instrument)
        Places in the true row, from nought.

    Returns
    -------
    Arrangement
        The row.

    References
    ----------
    Kemeny, J. G. (1959). Mathematics without numbers. *Daedalus* 88(4), 577-591, for the row
    that agrees with most pairs.

    Examples
    --------
    >>> first = np.array([[0.5, 0.1, 0.8], [0.9, 0.5, 0.7], [0.2, 0.3, 0.5]])
    >>> arrange(first, np.array([[1, 0, 2]])).places
    (1, 0, 2)
    """
    row = list(np.argsort(-first.sum(axis=1), kind="stable"))
    for _ in range(len(row)):
        if not _improved(row, first):
            break
    inside = first[np.ix_(row, row)]
    upper = np.triu_indices(len(row), 1)
    right = (np.diff(ranks[:, row], axis=1) > 0).all(axis=1).mean()
    return Arrangement(
        tuple(int(place) for place in row),
        float((1 - inside[upper]).sum()),
        float(right),
        _ties(inside),
    )


def ranks_of(
    samples: Samples, earlier: Iterable[tuple[int, int]], seed: int = 1
) -> NDArray[np.intp]:
    """Give each instrument's place in the row of each sample, from nought.

    Within a month any order is as likely, but for pairs of which one is known to come first.

    Shapes: gives (sample, instrument).
    """
    inside = np.random.default_rng((seed, 3)).random(samples.months.shape)
    known = list(earlier)
    for _ in known:
        for first, second in known:
            same = samples.months[:, first] == samples.months[:, second]
            wrong = same & (inside[:, first] > inside[:, second])
            inside[np.ix_(wrong, [first, second])] = inside[np.ix_(wrong, [second, first])]
    return np.asarray((samples.months + inside).argsort(axis=1).argsort(axis=1))


def rank_chances(ranks: NDArray[np.intp]) -> Floats:
    """Give P(place in the row) of every instrument, shape (instrument, place)."""
    number = ranks.shape[1]
    counts = [np.bincount(column, minlength=number) for column in ranks.T]
    return np.array(counts) / len(ranks)


def rank_range(chances: Floats, level: float) -> tuple[int, int]:
    """Give the shortest run of places that holds a level, from nought, both ends included.

    Shapes: chances (place,).

    Examples
    --------
    >>> rank_range(np.array([0.05, 0.5, 0.4, 0.05]), 0.9)
    (1, 2)
    """
    reached = np.append(0.0, chances.cumsum())
    for length in range(1, len(chances) + 1):
        held = reached[length:] - reached[:-length]
        if held.max() >= level - 1e-12:
            start = int(held.argmax())
            return start, start + length - 1
    return 0, len(chances) - 1


def _improved(row: list[int], first: Floats) -> bool:
    """Move each instrument to where it stands best; say whether any was moved."""
    moved = False
    for place in list(row):
        others = [other for other in row if other != place]
        before = np.append(0.0, first[others, place].cumsum())
        behind = first[place, others]
        right = before + behind.sum() - np.append(0.0, behind.cumsum())
        best = int(right.argmax())
        if right[best] > right[row.index(place)] + 1e-9:
            row[:] = [*others[:best], place, *others[best:]]
            moved = True
    return moved


def _ties(first: Floats) -> tuple[tuple[int, ...], ...]:
    """Bracket neighbours of a row of which no pair is told apart, from the oldest on."""
    ties, group = [], [0]
    for place in range(1, len(first)):
        if first[group, place].max() < TOLD_APART:
            group.append(place)
        else:
            ties.append(tuple(group))
            group = [place]
    ties.append(tuple(group))
    return tuple(tie for tie in ties if len(tie) > 1)
