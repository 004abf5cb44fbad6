"""Which assessor did better: who was right where it is settled, and whom the corpus favours."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import erfc, exp, log, pi, sqrt

import numpy as np

from dating.arrays import Floats
from dating.distributions import Certain, Pool
from dating.learning.layout import Layout
from dating.learning.learned import Learned

NOT_NAMED = "not named"
_COVERAGE = [0.05, 0.5, 0.95]
_EXPECTED = (0.05, 0.45, 0.45, 0.05)
_AROUND = 1e-3
"""Months on either side of a draw in which an opinion's belief is taken: small enough to stand for
a density, and defined for a certain opinion too."""


@dataclass(frozen=True)
class Assessor:
    """One assessor, held against what was learned.

    An opinion is settled when the middle 90 % of what was learned is less than half as wide as
    that of the opinion, and of the pool that it is in, so that not a colleague but the corpus has
    settled it. Only then does what was learned tell who was right: its median stands for the
    truth. Widths are between quantiles, as a long-tailed opinion may have no standard deviation.

    Parameters
    ----------
    name : str
        Who it is, as the maker file says in ``by``; "not named" for all others together.
    judgements : int
        Opinions on numbers that are not certain. One that holds for several variants counts for
        each.
    settled : int
        How many of them are settled.
    early, within, late : int
        Settled opinions whose learned median lies below (earlier, or shorter), within and above
        the opinion's 5 % and 95 % points.
    calibration : float or None
        Cooke's calibration score of the settled opinions; None when none is settled.
    shared : int
        Numbers that others judged as well.
    weight_before : float or None
        Mean stated weight in the pools of these numbers; None without any.
    weight_after : float or None
        Mean weight there given the corpus: the posterior probability that the number was drawn
        from this assessor's opinion.
    """

    name: str
    judgements: int
    settled: int
    early: int
    within: int
    late: int
    calibration: float | None
    shared: int
    weight_before: float | None
    weight_after: float | None


@dataclass(frozen=True)
class _Verdict:
    """What became of one opinion; ``place`` is 0 to 3, between its 5 %, 50 % and 95 % points."""

    number: str
    by: str
    settled: bool
    place: int
    contested: bool
    before: float
    after: float


def assessors_of(layout: Layout, learned: Learned) -> tuple[Assessor, ...]:
    """Hold every assessor of dates and overlaps against what was learned."""
    verdicts = list(_verdicts(layout, learned))
    names = dict.fromkeys(verdict.by for verdict in verdicts)
    return tuple(_assessor(name, [v for v in verdicts if v.by == name]) for name in names)


def cooke_calibration(counts: Sequence[int]) -> float:
    """Score how well realisations fall into the bins that an assessor's quantiles make.

    Were the assessor right, a share of 5 %, 45 %, 45 % and 5 % would fall below the 5 % point,
    up to the median, up to the 95 % point and beyond. With N realisations of which shares s fell
    there, ``2 N sum s ln(s / p)`` is then about chi-square with three degrees of freedom; the
    score is its upper tail. A low score says that the assessor is not calibrated.

    Parameters
    ----------
    counts : sequence of int, shape (4,)
        Realisations in each bin, from the lowest up; at least one in all.

    Returns
    -------
    float
        From 0 to 1.

    Raises
    ------
    ValueError
        When there are not four bins, or there is no realisation.

    References
    ----------
    Cooke, R. M. (1991). *Experts in Uncertainty: Opinion and Subjective Probability in Science*.
    Oxford University Press.

    Examples
    --------
    >>> round(cooke_calibration([0, 5, 5, 0]), 4)
    0.5505
    """
    if len(counts) != len(_EXPECTED) or not sum(counts):
        raise ValueError(f"four counts with a positive sum are wanted, found {list(counts)}")
    shares = [count / sum(counts) for count in counts]
    parts = [s * log(s / p) for s, p in zip(shares, _EXPECTED, strict=True) if s > 0]
    statistic = max(2 * sum(counts) * sum(parts), 0.0)
    return erfc(sqrt(statistic / 2)) + sqrt(2 * statistic / pi) * exp(-statistic / 2)


def _verdicts(layout: Layout, learned: Learned) -> Iterator[_Verdict]:
    for (number, judged), draws in zip(layout.numbers.items(), learned.values.T, strict=True):
        if isinstance(judged, Certain) or number in layout.doubted:
            continue
        pool = judged if isinstance(judged, Pool) else Pool((judged,), (1.0,))
        names = [opinion.by or NOT_NAMED for opinion in layout.opinions[number]]
        low, median, high = np.quantile(draws, _COVERAGE)
        pooled = np.ptp(judged.quantile(_COVERAGE))
        after = _weights_after(pool, draws)
        for place, (name, opinion) in enumerate(zip(names, pool.members, strict=True)):
            lowest, likely, highest = opinion.quantile(_COVERAGE)
            yield _Verdict(
                number=number,
                by=name,
                settled=bool(high - low < min(highest - lowest, pooled) / 2),
                place=int(median >= lowest) + int(median > likely) + int(median > highest),
                contested=len(set(names)) > 1,
                before=pool.weights[place],
                after=float(after[place]),
            )


def _weights_after(pool: Pool, draws: Floats) -> Floats:
    """Give the probability that the number came from each member, averaged over its draws.

    Where a draw is x, member k has ``w_k f_k(x) / sum_j w_j f_j(x)``. The belief in the stretch
    just around x stands for the density f: that of a certain opinion is one on its value and none
    elsewhere, so it outweighs all densities there, as a point mass does.
    """
    around = [member.cdf(draws + _AROUND) - member.cdf(draws - _AROUND) for member in pool.members]
    weights = np.array(pool.weights)
    joint = weights[:, None] * np.array(around)
    total = joint.sum(axis=0)
    possible = total > 0
    return (joint[:, possible] / total[possible]).mean(axis=1) if possible.any() else weights


def _assessor(name: str, verdicts: list[_Verdict]) -> Assessor:
    settled = [verdict.place for verdict in verdicts if verdict.settled]
    counts = [settled.count(place) for place in range(4)]
    contested = [verdict for verdict in verdicts if verdict.contested]
    shared = len({verdict.number for verdict in contested})
    return Assessor(
        name=name,
        judgements=len(verdicts),
        settled=len(settled),
        early=counts[0],
        within=counts[1] + counts[2],
        late=counts[3],
        calibration=cooke_calibration(counts) if settled else None,
        shared=shared,
        weight_before=sum(v.before for v in contested) / shared if shared else None,
        weight_after=sum(v.after for v in contested) / shared if shared else None,
    )
