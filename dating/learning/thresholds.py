"""What the dated instruments alone say of a changeover, whatever was judged.

Take each instrument to have a threshold of its own, a month from which it would have been built in
the new form: it was built old before that month, new from it on. The share of the new form by month
is then the distribution function of the thresholds, and of its shape nothing is assumed but that it
never falls. Slips, replacements and swaps are not taken off.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dating.arrays import Floats, Positions
from dating.learning.corpus import Corpus, Reference
from dating.learning.layout import VARIANTS, Layout, Track

_TOLERANCE = 1e-10
_ROUNDING = 1e-14
_MOST_STEPS = 500


@dataclass(frozen=True, eq=False)
class Observed:
    """The dated instruments on either side of one changeover.

    Parameters
    ----------
    old, new : ndarray of float64, shape (month,)
        Expected number of instruments built in the month with a state that only regimes before the
        changeover have, and with one that only regimes after it have.
    curve : ndarray of float64, shape (month,)
        Share of the new form among instruments built in the month, non-decreasing. It is evenly
        spread over months between which the instruments cannot tell.
    """

    old: Floats
    new: Floats
    curve: Floats


def observed_of(corpus: Corpus, layout: Layout, output: Floats) -> tuple[Observed | None, ...]:
    """Say what the dated instruments alone tell of every changeover.

    A stated date is spread over its months in proportion to output, and over the whole period as
    far as it is not trusted. Only what was seen without doubt counts: one state, or several on the
    same side. Where a course holds for one variant, instruments of that variant and of an unknown
    one count.

    Shapes: output (month,).

    Examples
    --------
    >>> from dating.learning.corpus import read_corpus
    >>> from dating.learning.layout import layout_of
    >>> corpus = read_corpus("demo_data/marrowby_corpus.csv")
    >>> layout, flat = layout_of(corpus.maker), np.full(len(corpus.maker.period), 1 / 225)
    >>> observed = dict(zip(layout.ramp_names, observed_of(corpus, layout, flat)))
    >>> dowelled = observed["heel-joint, regime 2"]
    >>> corpus.maker.period.labels()[np.searchsorted(dowelled.curve, 0.5)]
    '1931-03'
    """
    references = [reference for reference in corpus.references if reference.dated]
    spread = np.array([reference.months_given(output) for reference in references])
    dates, date = np.unique(spread, axis=0, return_inverse=True)
    observations: list[Observed | None] = [None] * len(layout.ramps)
    for track in layout.tracks:
        named = [_named(reference, track) for reference in references]
        for step, ramp in enumerate(track.ramps):
            sides = [
                np.bincount(
                    date[[bool(names) and names <= side for names in named]], minlength=len(dates)
                )
                for side in _sides(track, step)
            ]
            observations[ramp] = _observed(dates, *sides)
    return tuple(observations)


def free_threshold(allowed: Floats, weights: Floats) -> Floats:
    """Find the maximum-likelihood distribution of a threshold of which only some cells are allowed.

    The likelihood of a row is the mass of the cells that it allows. The answer is self-consistent:
    the mass of a cell is the weighted mean, over rows, of what each row's own conditional
    distribution gives it. Steps of self-consistency alternate with Newton steps kept to masses
    from zero up, without which convergence is hopeless where rows tie. They end when no cell could
    gain: the mean over rows of allowed / likelihood is then at most 1 + 1e-10 in every cell, and
    the mean log likelihood within 1e-10 of its maximum, since it is concave.

    Parameters
    ----------
    allowed : ndarray of float64, shape (row, cell)
        One where a row's threshold may lie in the cell and zero elsewhere, or any likelihood
        between; each row allows some cell. Which ends of a cell are closed is the caller's choice.
    weights : ndarray of float64, shape (row,)
        How many observations a row stands for, above zero.

    Returns
    -------
    ndarray of float64, shape (cell,)
        Masses that sum to one. Cells that no row tells apart share theirs evenly.

    Raises
    ------
    ValueError
        When a row allows no cell.
    ArithmeticError
        When the steps do not converge.

    References
    ----------
    Turnbull, B. W. (1976). The empirical distribution function with arbitrarily grouped, censored
    and truncated data. *Journal of the Royal Statistical Society B* 38(3), 290-295.
    doi:10.1111/j.2517-6161.1976.tb01597.x

    Gentleman, R. and Geyer, C. J. (1994). Maximum likelihood for interval censored data:
    consistency and computation. *Biometrika* 81(3), 618-623, for the criterion.
    doi:10.1093/biomet/81.3.618

    Wang, Y. (2007). On fast computation of the non-parametric maximum likelihood estimate of a
    mixing distribution. *Journal of the Royal Statistical Society B* 69(2), 185-198, for the
    Newton step. doi:10.1111/j.1467-9868.2007.00583.x

    Examples
    --------
    >>> free_threshold(np.array([[1.0, 1.0, 0.0], [0.0, 1.0, 1.0]]), np.ones(2)).tolist()
    [0.0, 1.0, 0.0]
    """
    if not (allowed > 0).any(axis=1).all():
        raise ValueError("each row must allow some cell")
    columns, cell, sizes = np.unique(allowed, axis=1, return_inverse=True, return_counts=True)
    shares, mass = weights / weights.sum(), sizes / sizes.sum()
    for _ in range(_MOST_STEPS):
        gain = shares @ (columns / (columns @ mass)[:, None])
        if gain.max() <= 1 + _TOLERANCE:
            return np.asarray((mass / sizes)[cell] / mass.sum())
        mass = _newton(columns, shares, mass * gain)
    raise ArithmeticError(f"the threshold was not found in {_MOST_STEPS} steps")


def _newton(columns: Floats, shares: Floats, mass: Floats) -> Floats:
    """Step towards the maximum of the quadratic approximation, as far as the likelihood rises."""
    from scipy.optimize import nnls  # noqa: PLC0415

    ratios = columns / (columns @ mass)[:, None]
    rows = np.sqrt(shares)[:, None] * (ratios - 2)
    goal, _ = nnls(np.vstack([rows, np.ones(len(mass))]), np.append(np.zeros(len(rows)), 1.0))
    towards = goal / goal.sum() - mass
    rise, reached = shares @ ratios @ towards, shares @ np.log(columns @ mass)
    length = 1.0
    with np.errstate(divide="ignore"):
        while shares @ np.log(columns @ (mass + length * towards)) < (
            reached + length * rise / 3 - _ROUNDING
        ):
            length /= 2
    return np.asarray(mass + length * towards)


def _observed(dates: Floats, old: Positions, new: Positions) -> Observed | None:
    """Put together one changeover from counts by stated date on either side."""
    if not (old.any() or new.any()):
        return None
    after = np.cumsum(dates[:, ::-1], axis=1)[:, ::-1] / dates.sum(axis=1, keepdims=True)
    by_then = np.minimum(np.pad(after, [(0, 0), (0, 1)]), 1.0)
    allowed = np.vstack([1 - by_then[old > 0], by_then[new > 0]])
    mass = free_threshold(allowed, np.concatenate([old[old > 0], new[new > 0]]))
    return Observed(old @ dates, new @ dates, np.minimum(np.cumsum(mass[:-1]), 1.0))


def _named(reference: Reference, track: Track) -> frozenset[str]:
    """Name the states that were seen without doubt; none where the course does not hold."""
    seen = reference.examination
    variant, sight = seen.variant, seen.seen.get(track.name)
    if track.name == VARIANTS:
        sight = variant
    elif track.variant is not None and variant is not None and not variant.is_neutral:
        sight = sight if track.variant in variant.named() else None
    return frozenset(sight.named()) if sight is not None and sight.sure is None else frozenset()


def side_of(reference: Reference, track: Track, step: int) -> str:
    """Say on which side of a changeover an instrument was seen."""
    seen = _named(reference, track)
    old, new = sides_of(track, step)
    return "" if not seen else "old" if seen <= old else "new" if seen <= new else ""


def sides_of(track: Track, step: int) -> tuple[frozenset[str], frozenset[str]]:
    """Name the states that only the regimes before a changeover have, and only those after it."""
    before, after = (part.any(axis=0) for part in np.split(track.shares > 0, [step + 1]))
    old = frozenset(np.array(track.states)[before & ~after].tolist())
    new = frozenset(np.array(track.states)[after & ~before].tolist())
    return old, new


def _sides(track: Track, step: int) -> tuple[frozenset[str], frozenset[str]]:
    """Name both sides of a changeover, or neither: of one side alone, instruments tell nothing."""
    old, new = sides_of(track, step)
    return (old, new) if old and new else (frozenset(), frozenset())
