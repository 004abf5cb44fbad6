"""How strong evidence is: Bayes factors with their errors, and words on published scales.

On a boundary between two words the stronger one holds, on every scale.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, log10, sqrt

import numpy as np

from dating.arrays import Floats
from dating.magnitudes import floats, wide

MENTION_SCALE = "Kass and Raftery (1995), Bayes Factors, section 3.2"
FACTOR_SCALE = "ENFSI (2015), Guideline for Evaluative Reporting in Forensic Science"
PROBABILITY_SCALE = "IPCC (2010), Guidance Note on Consistent Treatment of Uncertainties"
BATCHES = 16
_FINEST = 1e-12
_TELLING = 0.3
"""Relative error above which a small probability rests on too few draws to be told from none."""

_FACTORS = (
    (1e6, "extremely strong"),
    (1e4, "very strong"),
    (1e3, "strong"),
    (1e2, "moderately strong"),
    (1e1, "moderate"),
    (2.0, "weak"),
)
_MENTIONS = ((150.0, "very strong"), (20.0, "strong"), (3.0, "positive"))
_LIKELY = (
    (0.99, "virtually certain"),
    (0.90, "very likely"),
    (0.66, "likely"),
)
_UNLIKELY = (
    (0.01, "exceptionally unlikely"),
    (0.10, "very unlikely"),
    (0.33, "unlikely"),
)


@dataclass(frozen=True)
class DrawChance:
    """A probability worked out from draws.

    Parameters
    ----------
    value : float
        From 0 to 1.
    error : float
        Standard error that the draws leave.
    least : float
        The smallest probability that so many draws can tell from none, and from all.
    """

    value: float
    error: float
    least: float

    @property
    def safe_value(self) -> float:
        """The probability, kept from 0 and 1 by what the draws can tell."""
        return min(max(self.value, self.least), 1 - self.least)

    @property
    def settled(self) -> bool:
        """Whether no draw speaks for it, or none against."""
        return not self.least < self.value < 1 - self.least


@dataclass(frozen=True)
class Factor:
    """A Bayes factor: posterior odds over prior odds.

    Parameters
    ----------
    value : float
        Above one where the evidence speaks for the claim.
    error : float
        Standard error of its decimal logarithm, from the draws.
    bound : {"", "at least", "at most", "not told"}
        Whether the draws give a bound only, or nothing: where before and after the evidence they
        cannot tell the probability from none, or from all.
    """

    value: float
    error: float
    bound: str

    @property
    def has_value(self) -> bool:
        """Whether the draws tell anything of it."""
        return self.bound != "not told"

    @property
    def ends(self) -> tuple[float, float]:
        """Two standard errors to either side: between what the factor lies by the draws."""
        return self.value * 10 ** (-2 * self.error), self.value * 10 ** (2 * self.error)

    @property
    def graded(self) -> float | None:
        """The factor that is given a word: the end of its range that says least.

        One where the range reaches to both sides; None where the draws give a bound only.
        """
        low, high = self.ends
        if self.bound:
            return None
        return low if low > 1 else high if high < 1 else 1.0

    @property
    def towards(self) -> str:
        """Whether the evidence speaks for the claim, against it, or neither way."""
        if 0.5 < self.value < 2.0:
            return "neither way"
        return "for" if self.value > 1 else "against"


def chance_from(true: Floats, weight: Floats) -> DrawChance:
    """Average what is true of each draw, with an error from sixteen batches of draws.

    Parameters
    ----------
    true : ndarray of float64, shape (draw,)
        P(claim, evidence) in each draw.
    weight : ndarray of float64, shape (draw,)
        P(evidence) in each draw, which the former does not exceed.

    Returns
    -------
    DrawChance
        Their ratio.

    References
    ----------
    Cochran, W. G. (1977). *Sampling Techniques*, 3rd edition, Wiley, section 2.11, for the
    variance of a ratio estimate.

    Examples
    --------
    >>> chance_from(np.array([1.0, 0.0] * 64), np.ones(128)).value
    0.5
    """
    true, weight = floats(wide(true), wide(weight))
    total = float(weight.sum())
    value = min(max(float(true.sum()) / total, 0.0), 1.0)
    effective = float(weight.sum() ** 2 / np.maximum((weight**2).sum(), 1e-300))
    batches = min(BATCHES, len(weight))
    if batches < 2:
        return DrawChance(value, 0.0, _FINEST)
    residual = np.array([part.sum() for part in np.array_split(true - value * weight, batches)])
    error = sqrt(float((residual**2).sum()) * batches / (batches - 1)) / total
    precise = 0 < error < _TELLING * min(value, 1 - value) or _alike(true, weight)
    return DrawChance(value, error, _FINEST if precise else 1 / (2 * effective + 2))


def _alike(true: Floats, weight: Floats) -> bool:
    """Say whether all draws that weigh give the same probability, neither nought nor one."""
    chances = true[weight > 0] / weight[weight > 0]
    return bool(chances.min() > 0 and chances.max() < 1 and np.ptp(chances) < 1e-9)


def factor_from(prior: DrawChance, posterior: DrawChance) -> Factor:
    """Set a posterior probability against a prior one.

    Parameters
    ----------
    prior, posterior : DrawChance
        Of the same claim.

    Returns
    -------
    Factor
        A bound where one of them is nought or one as far as the draws can tell.
    """
    before, after = prior.safe_value, posterior.safe_value
    value = after / (1 - after) / (before / (1 - before))
    parts = [
        c.error / (c.safe_value * (1 - c.safe_value)) for c in (prior, posterior) if not c.settled
    ]
    error = sqrt(sum(part**2 for part in parts)) / float(np.log(10))
    bound = ""
    if posterior.settled and prior.settled and (posterior.value > 0.5) == (prior.value > 0.5):
        return Factor(1.0, 0.0, "not told")
    if posterior.settled or prior.settled:
        bound = "at least" if value > 1 else "at most"
    return Factor(value, error, bound)


def factor_words(factor: float) -> str:
    """Name the support that a Bayes factor gives, either way.

    Parameters
    ----------
    factor : float
        Above zero; below one the inverse is graded, for the opposite.

    Returns
    -------
    str
        A word of the scale; between 1/2 and 2 there is no support either way.

    References
    ----------
    European Network of Forensic Science Institutes (2015). *ENFSI Guideline for Evaluative
    Reporting in Forensic Science*, version 3.0.

    Examples
    --------
    >>> factor_words(10), factor_words(9.99), factor_words(1 / 100)
    ('moderate support', 'weak support', 'moderately strong support for the opposite')
    """
    size = max(factor, 1 / factor) if factor > 0 else inf
    named = next((word for least, word in _FACTORS if size >= least * (1 - 1e-12)), None)
    if named is None:
        return "no support either way"
    return f"{named} support" if factor >= 1 else f"{named} support for the opposite"


def mention_words(factor: float) -> str:
    """Name the evidence that a Bayes factor is, on a second scale.

    Parameters
    ----------
    factor : float
        Above zero; below one the inverse is graded, against.

    Returns
    -------
    str
        A word of the scale.

    References
    ----------
    Kass, R. E. and Raftery, A. E. (1995). Bayes factors. *Journal of the American Statistical
    Association* 90(430), 773-795, section 3.2.

    Examples
    --------
    >>> mention_words(20), mention_words(2.9)
    ('strong', 'not worth more than a bare mention')
    """
    size = max(factor, 1 / factor) if factor > 0 else inf
    named = next((word for least, word in _MENTIONS if size >= least * (1 - 1e-12)), None)
    if named is None:
        return "not worth more than a bare mention"
    return named if factor >= 1 else f"{named}, against"


def probability_words(value: float) -> str:
    """Name a probability.

    Parameters
    ----------
    value : float
        From 0 to 1.

    Returns
    -------
    str
        The narrowest word of the scale that holds it.

    References
    ----------
    Mastrandrea, M. D. and others (2010). *Guidance Note for Lead Authors of the IPCC Fifth
    Assessment Report on Consistent Treatment of Uncertainties*, table 1.

    Examples
    --------
    >>> [probability_words(p) for p in (0.99, 0.66, 0.5, 0.33)]
    ['virtually certain', 'likely', 'about as likely as not', 'unlikely']
    """
    likely = next((word for least, word in _LIKELY if value >= least - 1e-12), None)
    unlikely = next((word for most, word in _UNLIKELY if value <= most + 1e-12), None)
    return likely or unlikely or "about as likely as not"


def decimals_of(factor: float) -> str:
    """Write a Bayes factor with two figures, as a number or as one over a number.

    Parameters
    ----------
    factor : float
        Above zero.

    Returns
    -------
    str
        Such as ``34``, ``1/34`` or ``2.1 million``.

    Examples
    --------
    >>> decimals_of(0.5), decimals_of(34.4), decimals_of(2.1e6)
    ('1/2', '34', '2.1 million')
    """
    if factor < 1:
        return f"1/{decimals_of(1 / factor)}"
    rounded = float(f"{factor:.2g}")
    if rounded >= 1e9:
        return f"10^{log10(factor):.0f}"
    return f"{rounded / 1e6:g} million" if rounded >= 1e6 else f"{rounded:,.12g}"
