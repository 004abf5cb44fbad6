"""Earliest, likely, latest as a distribution, and the pooling of several assessors.

A judgement is three quantiles. Through them runs a three-term metalog: for points in time
as it stands, for durations and counts through the logarithm, so that it is bounded at zero.
A duration whose lowest quantile is zero keeps the plain form and is cut off at zero, so that
the stated chance of "none at all" sits exactly there. Several assessors are a mixture.

Inside, every quantile is a function of the log-odds ``l = ln(p / (1 - p))``, which keeps both
tails accurate.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import ceil, exp, floor, log, log10
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

type Floats = NDArray[np.float64]
type Form = Literal["plain", "log", "cut at zero"]

FEASIBLE_SKEW = 1.66711
"""Largest |skew| / scale for which a three-term metalog is a distribution (Keelin 2016)."""

_LARGEST_EXPONENT = 600.0
ALIKE = 1e-9
"""Three values closer than this, or than this share of the highest, are one certain value."""

_LOG_ODDS = np.linspace(-48.0, 48.0, 385)


class JudgementError(ValueError):
    """Three quantiles through which no distribution of the wanted kind runs."""


@dataclass(frozen=True)
class Certain:
    """A number that is taken as known.

    Parameters
    ----------
    value : float
        The number, in the unit of the judgement it stands for.
    """

    value: float

    def quantile(self, p: ArrayLike) -> Floats:
        """Return the value, whatever the probability.

        Parameters
        ----------
        p : array_like of float, any shape
            Probabilities, strictly between 0 and 1.

        Returns
        -------
        ndarray of float64, shape of p
            The known value.
        """
        return np.full(np.shape(p), self.value)

    def cdf(self, x: ArrayLike) -> Floats:
        """Return 1 from the value on, 0 before it.

        Parameters
        ----------
        x : array_like of float, any shape
            Points in the unit of the judgement.

        Returns
        -------
        ndarray of float64, shape of x
            P(number <= x).
        """
        return np.where(np.asarray(x, dtype=float) >= self.value, 1.0, 0.0)

    def mean(self) -> float:
        """Return the value.

        Returns
        -------
        float
            The known value.
        """
        return self.value

    def excess(self, x: ArrayLike) -> Floats:
        """Return how far x lies beyond the value, zero before it.

        Parameters
        ----------
        x : array_like of float, any shape
            Points in the unit of the judgement.

        Returns
        -------
        ndarray of float64, shape of x
            max(x - value, 0).
        """
        return np.maximum(np.asarray(x, dtype=float) - self.value, 0.0)

    def nodes(self, fine: int = 1) -> tuple[Floats, Floats]:  # noqa: ARG002
        """Return the value as a quadrature rule of one node.

        Parameters
        ----------
        fine : int
            Of no consequence here.

        Returns
        -------
        values, weights : ndarray of float64, shape (1,)
            The value, and 1.
        """
        return np.array([self.value]), np.ones(1)


@dataclass(frozen=True)
class Metalog:
    """A three-term metalog, plain, through the logarithm, or cut off at zero.

    With ``l = ln(p / (1 - p))`` the underlying quantile function is
    ``M(p) = location + (scale + skew (p - 1/2)) l``; the number is ``M``, ``exp(M)`` or
    ``max(M, 0)`` after the form.

    Parameters
    ----------
    location, scale, skew : float
        The three coefficients, in the unit of the judgement (of its logarithm for "log").
    form : {"plain", "log", "cut at zero"}
        How the underlying quantile becomes the number.

    References
    ----------
    Keelin, T. W. (2016). The metalog distributions. *Decision Analysis* 13(4), 243-277.
    doi:10.1287/deca.2016.0338
    """

    location: float
    scale: float
    skew: float
    form: Form = "plain"

    def quantile(self, p: ArrayLike) -> Floats:
        """Return the number below which a share p of the belief lies.

        Parameters
        ----------
        p : array_like of float, any shape
            Probabilities, strictly between 0 and 1.

        Returns
        -------
        ndarray of float64, shape of p
            Quantiles in the unit of the judgement.

        Examples
        --------
        >>> float(metalog_through((2, 5, 9), coverage=0.9).quantile(0.5))
        5.0
        """
        p = np.asarray(p, dtype=float)
        return self._number(self._underlying(np.log(p) - np.log1p(-p)))

    def cdf(self, x: ArrayLike) -> Floats:
        """Return the belief that the number is at most x.

        Parameters
        ----------
        x : array_like of float, any shape
            Points in the unit of the judgement.

        Returns
        -------
        ndarray of float64, shape of x
            P(number <= x).

        Examples
        --------
        >>> float(metalog_through((2, 5, 9), coverage=0.9).cdf(9).round(12))
        0.95
        """
        x = np.asarray(x, dtype=float)
        if self.form == "log":
            positive = x > 0
            inner = self._cdf_underlying(np.log(np.where(positive, x, 1.0)))
            return np.where(positive, inner, 0.0)
        inner = self._cdf_underlying(x)
        return np.where(x >= 0, inner, 0.0) if self.form == "cut at zero" else inner

    def mean(self) -> float:
        """Return the expected number.

        Returns
        -------
        float
            The mean, in the unit of the judgement.

        Raises
        ------
        JudgementError
            When a "log" judgement is so wide that its mean is infinite.
        """
        if self.form != "log":
            below_zero = 0.0 if self.form == "plain" else float(self._plain_excess(np.zeros(())))
            return self.location + self.skew / 2 + below_zero
        if self.scale + self.skew / 2 >= 0.95:
            raise JudgementError(
                "so wide that the expected number is without bound; bring the highest value down"
            )
        log_odds = np.linspace(-700.0, 700.0, 11201)
        with np.errstate(over="ignore"):
            weight = np.exp(-np.logaddexp(0, log_odds) - np.logaddexp(0, -log_odds))
            terms = np.where(weight > 0, weight * self._number(self._underlying(log_odds)), 0.0)
        return float(np.sum(np.where(np.isfinite(terms), terms, 0.0)) * (log_odds[1] - log_odds[0]))

    def excess(self, x: ArrayLike) -> Floats:
        """Return the expected length by which x lies beyond the number, ``E max(x - X, 0)``.

        This is the integral of the distribution function up to x, in closed form but for the
        "log" form: what a changeover's month average is made of.

        Parameters
        ----------
        x : array_like of float, any shape
            Points in the unit of the judgement.

        Returns
        -------
        ndarray of float64, shape of x
            Expected excess, in the unit of the judgement.
        """
        x = np.asarray(x, dtype=float)
        if self.form == "log":
            values, weights = self.nodes(fine=16)
            return np.maximum(x[..., None] - values, 0.0) @ weights
        if self.form == "plain":
            return self._plain_excess(x)
        beyond = self._plain_excess(x) - self._plain_excess(np.zeros(()))
        return np.where(x > 0, beyond, 0.0)

    def nodes(self, fine: int = 1) -> tuple[Floats, Floats]:
        """Return a quadrature rule over the belief: the trapezoid in the log-odds.

        Parameters
        ----------
        fine : int
            How many nodes there are to half a unit of log-odds.

        Returns
        -------
        values : ndarray of float64, shape (node,)
            Numbers in the unit of the judgement.
        weights : ndarray of float64, shape (node,)
            Their weights, which sum to one.
        """
        log_odds = np.linspace(-14.0, 14.0, 56 * fine + 1)
        weights = _expit(log_odds) * _expit(-log_odds)
        return self._number(self._underlying(log_odds)), weights / weights.sum()

    def _plain_excess(self, x: Floats) -> Floats:
        """Give the expected excess of x over the underlying metalog, in closed form."""
        log_odds = self._log_odds_at(x)
        p, q = _expit(log_odds), _expit(-log_odds)
        entropy = -p * np.logaddexp(0, -log_odds) - q * np.logaddexp(0, log_odds)
        below = self.location * p + self.scale * entropy + self.skew * (p - p * q * log_odds) / 2
        return x * p - below

    def _underlying(self, log_odds: Floats) -> Floats:
        return self.location + (self.scale + self.skew * (_expit(log_odds) - 0.5)) * log_odds

    def _number(self, underlying: Floats) -> Floats:
        if self.form == "log":
            return np.exp(np.minimum(underlying, _LARGEST_EXPONENT))
        return np.maximum(underlying, 0.0) if self.form == "cut at zero" else underlying

    def _cdf_underlying(self, value: Floats) -> Floats:
        return _expit(self._log_odds_at(value))

    def _log_odds_at(self, value: Floats) -> Floats:
        """Invert the underlying quantile function: a table for a start, then Newton steps."""
        table = self._underlying(_LOG_ODDS)
        log_odds = np.asarray(np.interp(value, table, _LOG_ODDS))
        log_odds = log_odds + np.minimum(value - table[0], 0) / (self.scale - self.skew / 2)
        log_odds = log_odds + np.maximum(value - table[-1], 0) / (self.scale + self.skew / 2)
        for _ in range(5):
            p = _expit(log_odds)
            slope = self.scale + self.skew * (p - 0.5) + self.skew * log_odds * p * (1 - p)
            step = (self._underlying(log_odds) - value) / slope
            log_odds = log_odds - np.clip(step, -0.25, 0.25)
        return np.asarray(log_odds)


@dataclass(frozen=True)
class Pool:
    """Several assessors' judgements of one number: a mixture, so disagreement stays visible.

    Parameters
    ----------
    members : tuple of Certain or Metalog
        The judgements.
    weights : tuple of float
        Their weights, which sum to one.

    References
    ----------
    Genest, C. and Zidek, J. V. (1986). Combining probability distributions: a critique and an
    annotated bibliography. *Statistical Science* 1(1), 114-135. doi:10.1214/ss/1177013825
    """

    members: tuple[Certain | Metalog, ...]
    weights: tuple[float, ...]

    def quantile(self, p: ArrayLike) -> Floats:
        """Return the number below which a share p of the pooled belief lies, by bisection.

        Parameters
        ----------
        p : array_like of float, any shape
            Probabilities, strictly between 0 and 1.

        Returns
        -------
        ndarray of float64, shape of p
            Quantiles in the unit of the judgement.
        """
        p = np.asarray(p, dtype=float)
        each = np.array([member.quantile(p) for member in self.members])
        low, high = each.min(axis=0), each.max(axis=0)
        for _ in range(60):
            middle = (low + high) / 2
            reached = self.cdf(middle) >= p
            low, high = np.where(reached, low, middle), np.where(reached, middle, high)
        return high

    def cdf(self, x: ArrayLike) -> Floats:
        """Return the pooled belief that the number is at most x.

        Parameters
        ----------
        x : array_like of float, any shape
            Points in the unit of the judgement.

        Returns
        -------
        ndarray of float64, shape of x
            P(number <= x).
        """
        return self._mix([member.cdf(x) for member in self.members])

    def mean(self) -> float:
        """Return the pooled expected number.

        Returns
        -------
        float
            The weighted mean of the members' means.
        """
        return sum(w * member.mean() for w, member in zip(self.weights, self.members, strict=True))

    def excess(self, x: ArrayLike) -> Floats:
        """Return the expected length by which x lies beyond the number.

        Parameters
        ----------
        x : array_like of float, any shape
            Points in the unit of the judgement.

        Returns
        -------
        ndarray of float64, shape of x
            Expected excess, in the unit of the judgement.
        """
        return self._mix([member.excess(x) for member in self.members])

    def nodes(self, fine: int = 1) -> tuple[Floats, Floats]:
        """Return the members' quadrature rules as one.

        Parameters
        ----------
        fine : int
            How many nodes there are to half a unit of log-odds.

        Returns
        -------
        values, weights : ndarray of float64, shape (node,)
            Numbers and their weights, which sum to one.
        """
        rules = [member.nodes(fine) for member in self.members]
        values = np.concatenate([rule[0] for rule in rules])
        shares = [w * rule[1] for w, rule in zip(self.weights, rules, strict=True)]
        return values, np.concatenate(shares)

    def _mix(self, parts: Sequence[Floats]) -> Floats:
        return np.asarray(np.tensordot(np.array(self.weights), np.array(parts), axes=1))


type Judgement = Certain | Metalog | Pool


def metalog_through(
    triple: tuple[float, float, float],
    coverage: float = 0.9,
    kind: Literal["point", "span"] = "point",
    write: Callable[[float], str] | None = None,
) -> Certain | Metalog:
    """Run a three-term metalog through three quantiles.

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
        How a value is written in a message, to whole units; as a number unless given.

    Returns
    -------
    Certain or Metalog
        The judgement as a distribution that has exactly these quantiles.

    Raises
    ------
    JudgementError
        When the values are out of order or no such distribution runs through them; the
        message says which likely values would be feasible.

    References
    ----------
    Keelin, T. W. (2016). The metalog distributions. *Decision Analysis* 13(4), 243-277, for
    the coefficients and for the limits of feasibility. doi:10.1287/deca.2016.0338

    Examples
    --------
    >>> metalog_through((3, 3, 3))
    Certain(value=3)
    >>> metalog_through((1, 4, 12), kind="span").form
    'log'
    """
    low, likely, high = triple
    if kind == "span" and low < 0:
        raise JudgementError(f"a span cannot be negative, found {low:g}")
    if low <= likely <= high and high - low < ALIKE * max(1.0, abs(high)):
        return Certain(likely)
    if not low <= likely <= high:
        found = ", ".join(map(write or "{:g}".format, triple))
        raise JudgementError(f"the three values must ascend, found {found}")
    form: Form = "plain" if kind == "point" else ("log" if low > 0 else "cut at zero")
    a, b, c = (log(v) for v in triple) if form == "log" else triple
    tail = (1 - coverage) / 2
    edge = (1 - FEASIBLE_SKEW * (0.5 - tail)) / 2
    ratio = (b - a) / (c - a)
    if not edge < ratio < 1 - edge:
        bounds = (a + edge * (c - a), c - edge * (c - a))
        raise JudgementError(_what_is_feasible(bounds, form, likely, write))
    spread = log((1 - tail) / tail)
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


def _what_is_feasible(
    bounds: tuple[float, float], form: Form, likely: float, write: Callable[[float], str] | None
) -> str:
    lowest, highest = (exp(v) for v in bounds) if form == "log" else bounds
    if write is None:
        finer = log10(max(abs(lowest), abs(highest)) / (highest - lowest))
        write = f"{{:.{max(4, 3 + ceil(finer))}g}}".format
    else:
        lowest, highest = ceil(lowest), floor(highest)
    hint = "; a lowest value above zero allows more skew" if form == "cut at zero" else ""
    return (
        f"no smooth distribution runs through these three: with these outer values the likely "
        f"one must lie between {write(lowest)} and {write(highest)}, found {write(likely)}{hint}"
    )


def _expit(log_odds: Floats) -> Floats:
    return np.asarray(0.5 * (1 + np.tanh(0.5 * log_odds)), dtype=float)


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
