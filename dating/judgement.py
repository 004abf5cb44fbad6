"""Earliest, likely, latest as a distribution, and the pooling of several assessors.

A judgement is three quantiles. Through them runs a three-term metalog: for points in time
as it stands, for durations and counts through the logarithm, so that it is bounded at zero.
Where the likely value is so near an outer one that no smooth distribution runs through the
three, it is in two halves, joined at the likely value, so that what was stated is kept.
A duration whose lowest quantile is zero keeps the plain form and is cut off at zero, so that
the stated chance of "none at all" sits exactly there. Several assessors are a mixture.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from math import log
from typing import Literal

from dating.distributions import Certain, Form, Judgement, JudgementError, Metalog, Pool

FEASIBLE_SKEW = 1.66711
"""Largest |skew| / scale for which a three-term metalog is a distribution (Keelin 2016)."""

ALIKE = 1e-9
"""Three values closer than this, or than this share of the highest, are one certain value."""


def metalog_through(
    triple: tuple[float, float, float],
    coverage: float = 0.9,
    kind: Literal["point", "span"] = "point",
    write: Callable[[float], str] | None = None,
) -> Certain | Metalog:
    """Run a three-term metalog through three quantiles, in two halves where it must be.

    Parameters
    ----------
    triple : tuple of three floats
        Lowest, likely (the median) and highest value, in ascending order. Three equal values
        mean certainty.
    coverage : float
        Belief between lowest and highest: 0.9 makes them the 5 % and 95 % quantiles.
    kind : {"point", "span"}
        A "point" may lie anywhere; a "span" (a duration, a count) is bounded at zero.
    write : callable, optional
        How a value is written in a message; as a number unless given.

    Returns
    -------
    Certain or Metalog
        The judgement as a distribution that has exactly these quantiles.

    Raises
    ------
    JudgementError
        When the values are out of order, or the likely one is one of the outer ones, so that
        half the belief would lie at one value.

    References
    ----------
    Keelin, T. W. (2016). The metalog distributions. *Decision Analysis* 13(4), 243-277, for
    the coefficients and for the limits of feasibility. doi:10.1287/deca.2016.0338
    Keelin, T. W. and Powley, B. W. (2011). Quantile-parameterized distributions. *Decision
    Analysis* 8(3), 206-219, for the coefficients of the halves. doi:10.1287/deca.1110.0213

    Examples
    --------
    >>> metalog_through((3, 3, 3))
    Certain(value=3)
    >>> metalog_through((1, 4, 12), kind="span").form
    'log'
    >>> metalog_through((0, 1, 11)).halves, metalog_through((0, 4, 11)).halves
    (True, False)
    """
    low, likely, high = triple
    if kind == "span" and low < 0:
        raise JudgementError(f"a span cannot be negative, found {low:g}")
    if low <= likely <= high and high - low < ALIKE * max(1.0, abs(high)):
        return Certain(likely)
    if not low <= likely <= high:
        values = ", ".join(map(write or "{:g}".format, triple))
        raise JudgementError(f"the three values must ascend, found {values}")
    form: Form = "plain" if kind == "point" else ("log" if low > 0 else "cut at zero")
    a, b, c = (log(v) for v in triple) if form == "log" else triple
    tail = (1 - coverage) / 2
    edge = (1 - FEASIBLE_SKEW * (0.5 - tail)) / 2
    ratio = (b - a) / (c - a)
    if not ALIKE < ratio < 1 - ALIKE:
        raise JudgementError(_half_at_one_value(triple, write))
    spread = log((1 - tail) / tail)
    if not edge < ratio < 1 - edge:
        return Metalog(
            location=b,
            scale=(c - a) / (2 * spread),
            skew=(1 - 2 * ratio) * (c - a) / spread,
            form=form,
            halves=True,
        )
    return Metalog(
        location=b,
        scale=(c - a) / (2 * spread),
        skew=(1 - 2 * ratio) * (c - a) / ((1 - 2 * tail) * spread),
        form=form,
    )


def pooled(members: Sequence[Certain | Metalog], weights: Sequence[float]) -> Judgement:
    """Pool several judgements of one number with the given weights.

    Parameters
    ----------
    members : sequence of Certain or Metalog
        One judgement an assessor.
    weights : sequence of float
        Non-negative weights with a positive sum; they are scaled to sum to one.

    Returns
    -------
    Certain, Metalog or Pool
        The linear opinion pool; the judgement itself when there is only one.

    Examples
    --------
    >>> pooled([Certain(1.0), Certain(3.0)], [1, 3]).mean()
    2.5
    """
    if len(members) == 1:
        return members[0]
    total = float(sum(weights))
    return Pool(tuple(members), tuple(w / total for w in weights))


def _half_at_one_value(
    triple: tuple[float, float, float], write: Callable[[float], str] | None
) -> str:
    low, likely, high = map(write or "{:g}".format, triple)
    return (
        f"half the belief would lie at {likely} alone: the likely value must lie between {low} and "
        f"{high}, not at either; three equal values mean certainty"
    )


def shifted(judgement: Judgement, by: float) -> Judgement:
    """Move a judgement along its axis.

    Parameters
    ----------
    judgement : Judgement
        A judgement of a point in time or a delay: certain, plain metalog, or a pool of these.
    by : float
        How far, in the unit of the judgement.

    Returns
    -------
    Judgement
        The judgement of the number plus ``by``.

    Examples
    --------
    >>> shifted(Certain(3.0), -1.0)
    Certain(value=2.0)
    """
    if isinstance(judgement, Certain):
        return Certain(judgement.value + by)
    if isinstance(judgement, Metalog):
        return replace(judgement, location=judgement.location + by)
    moved = [shifted(member, by) for member in judgement.members]
    return Pool(
        tuple(member for member in moved if not isinstance(member, Pool)), judgement.weights
    )
