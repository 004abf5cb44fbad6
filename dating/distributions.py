"""Distributions over one number: certain, metalog (smooth or in two halves), or a pool of these.

Inside, every quantile is a function of the log-odds ``l = ln(p / (1 - p))``, which keeps both
tails accurate.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from dating.arrays import Floats
from dating.cubics import cubic_in
from dating.quadrature import merged

type Form = Literal["plain", "log", "cut at zero"]

OWN_RULES = 8
"""Assessors up to whom each has a quadrature rule of their own; with more, nodes are merged."""

_LARGEST_EXPONENT = 600.0

_LOG_ODDS = np.linspace(-48.0, 48.0, 385)

_CELLS = 12_288

_BEND = 4.0
"""How closely the nodes of a judgement in two halves are drawn to the median."""
_LN2 = float(np.log(2.0))


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

    In two halves it is ``M(p) = location + (scale + skew sign(l) / 2) l``: below the median half a
    logistic distribution of scale ``scale - skew / 2``, above it half one of ``scale + skew / 2``.
    Both are linear in their coefficients and have the same tails, so that both are
    quantile-parameterized; the second is a distribution whatever the skew, and its density has
    a step at the median.

    Parameters
    ----------
    location, scale, skew : float
        The three coefficients, in the unit of the judgement (of its logarithm for "log").
    form : {"plain", "log", "cut at zero"}
        How the underlying quantile becomes the number.
    halves : bool
        Whether it is in two halves, joined at the median.

    References
    ----------
    Keelin, T. W. (2016). The metalog distributions. *Decision Analysis* 13(4), 243-277.
    doi:10.1287/deca.2016.0338
    Keelin, T. W. and Powley, B. W. (2011). Quantile-parameterized distributions. *Decision
    Analysis* 8(3), 206-219. doi:10.1287/deca.1110.0213
    """

    location: float
    scale: float
    skew: float
    form: Form = "plain"
    halves: bool = False

    @property
    def narrowest(self) -> float:
        """The scale on which it varies; in two halves, that of the narrower."""
        return self.scale - abs(self.skew) / 2 if self.halves else self.scale

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
        >>> float(Metalog(location=5.0, scale=1.2, skew=0.4).quantile(0.5))
        5.0
        """
        p = np.asarray(p, dtype=float)
        return self.quantile_at(np.log(p) - np.log1p(-p))

    def quantile_at(self, log_odds: Floats) -> Floats:
        """Return the number below which a share of the belief lies, given by its log-odds.

        Shapes: log_odds any; gives the same.
        """
        return self._number(self._underlying(log_odds))

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
        >>> float(Metalog(location=5.0, scale=1.2, skew=0.4).cdf(5.0).round(12))
        0.5
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
            beyond = self.skew * _LN2 if self.halves else self.skew / 2
            return self.location + beyond + below_zero
        if self.scale + self.skew / 2 >= 0.95:
            raise JudgementError(
                "so wide that the expected number is without bound; bring the highest value down"
            )
        at = np.linspace(-700.0, 700.0, 11201)
        log_odds, slope = self._drawn_in(at)
        with np.errstate(over="ignore"):
            weight = np.exp(-np.logaddexp(0, log_odds) - np.logaddexp(0, -log_odds)) * slope
            terms = np.where(weight > 0, weight * self._number(self._underlying(log_odds)), 0.0)
        return float(np.sum(np.where(np.isfinite(terms), terms, 0.0)) * (at[1] - at[0]))

    def excess(self, x: ArrayLike) -> Floats:
        """Return the expected length by which x lies beyond the number, ``E max(x - X, 0)``.

        This is the integral of the distribution function up to x, in closed form but for the
        "log" form, which is integrated to about one part in 10^9: what a changeover's month
        average and a dated mark are made of.

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
            return self._log_excess(x)
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
        log_odds, slope = self._drawn_in(np.linspace(-14.0, 14.0, 56 * fine + 1))
        weights = _expit(log_odds) * _expit(-log_odds) * slope
        return self._number(self._underlying(log_odds)), weights / weights.sum()

    def _plain_excess(self, x: Floats) -> Floats:
        """Give the expected excess of x over the underlying metalog, in closed form."""
        log_odds = self._log_odds_at(x)
        p, q = _expit(log_odds), _expit(-log_odds)
        entropy = -p * np.logaddexp(0, -log_odds) - q * np.logaddexp(0, log_odds)
        if self.halves:
            tilted = np.where(log_odds < 0, -entropy / 2, entropy / 2 + _LN2)
        else:
            tilted = (p - p * q * log_odds) / 2
        below = self.location * p + self.scale * entropy + self.skew * tilted
        return x * p - below

    def _log_excess(self, x: Floats) -> Floats:
        """Give the expected excess of x over the exponential of the underlying metalog.

        With ``l(x)`` the log-odds at which the number is x, it is ``x p(l) - int exp(M) p q dl`` up
        to l; the integral is tabulated by Simpson's rule and runs between as a cubic.
        """
        positive = x > 0
        log_odds = self._log_odds_at(np.log(np.where(positive, x, 1.0)))
        below, slope = _means_below(self)
        width = 96.0 / _CELLS
        at = np.clip((log_odds + 48.0) / width, 0.0, _CELLS)
        cell = np.minimum(at.astype(np.int64), _CELLS - 1)
        partial = cubic_in(cell, at - cell, width, below, slope)
        return np.where(positive, np.maximum(x * _expit(log_odds) - partial, 0.0), 0.0)

    def _underlying(self, log_odds: Floats) -> Floats:
        share = np.heaviside(log_odds, 0.5) if self.halves else _expit(log_odds)
        return self.location + (self.scale + self.skew * (share - 0.5)) * log_odds

    def _drawn_in(self, at: Floats) -> tuple[Floats, Floats]:
        """Draw the log-odds of a rule towards a step at the median, with their slopes.

        What is averaged has a kink there, which the trapezoid would not see; as ``t^3`` it goes.
        """
        if not self.halves:
            return at, np.ones(1)
        square = at * at
        return at * square / (square + _BEND), square * (square + 3 * _BEND) / (square + _BEND) ** 2

    def _number(self, underlying: Floats) -> Floats:
        if self.form == "log":
            return np.exp(np.minimum(underlying, _LARGEST_EXPONENT))
        return np.maximum(underlying, 0.0) if self.form == "cut at zero" else underlying

    def _cdf_underlying(self, value: Floats) -> Floats:
        return _expit(self._log_odds_at(value))

    def _log_odds_at(self, value: Floats) -> Floats:
        """Invert the underlying quantile function: a table for a start, then Newton steps."""
        if self.halves:
            beyond = value - self.location
            return beyond / (self.scale + self.skew / 2 * np.sign(beyond))
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


@lru_cache(maxsize=64)
def _means_below(metalog: Metalog) -> tuple[Floats, Floats]:
    """Tabulate the integral of the number over the belief up to each of some log-odds.

    Gives the integrals, by Simpson's rule, and their slopes; shapes (point,) each.
    """
    fine = np.linspace(-48.0, 48.0, 2 * _CELLS + 1)
    slope = metalog.quantile_at(fine) * _expit(fine) * _expit(-fine)
    cells = 96.0 / _CELLS / 6 * (slope[:-2:2] + 4 * slope[1::2] + slope[2::2])
    return np.concatenate([[0.0], np.cumsum(cells)]), slope[::2]


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
        return self._mix(member.cdf(x) for member in self.members)

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
        return self._mix(member.excess(x) for member in self.members)

    def nodes(self, fine: int = 1) -> tuple[Floats, Floats]:
        """Return the members' quadrature rules as one, of no more nodes than eight members have.

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
        return merged(values, np.concatenate(shares), OWN_RULES * (56 * fine + 1))

    def _mix(self, parts: Iterable[Floats]) -> Floats:
        weighted = (w * part for w, part in zip(self.weights, parts, strict=True))
        return sum(weighted, np.zeros(()))


type Judgement = Certain | Metalog | Pool


def _expit(log_odds: Floats) -> Floats:
    return np.asarray(0.5 * (1 + np.tanh(0.5 * log_odds)), dtype=float)
