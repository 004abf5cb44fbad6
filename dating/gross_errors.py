"""A measurement beyond what any month makes plausible, and the factor by which it would fit."""

from __future__ import annotations

from functools import lru_cache
from math import hypot

from dating.examination import Reading
from dating.likelihoods import mean_at
from dating.maker import Maker

IMPLAUSIBLE = 8.0
"""Spreads from the nearest mean of any month beyond which a measurement is not plausible."""
FITS = 3.0
"""Spreads from the nearest mean within which another value would fit."""
FACTORS = {
    10: "10 times",
    0.1: "a tenth",
    100: "100 times",
    0.01: "a hundredth",
    -1: "without the minus",
    25.4: "25.4 times, as inches in millimetres",
    1 / 25.4: "divided by 25.4, as millimetres in inches",
    2.54: "2.54 times, as inches in centimetres",
    1 / 2.54: "divided by 2.54, as centimetres in inches",
    1000: "1000 times",
    0.001: "a thousandth",
}
"""Factors by which a number is mistaken: a point misplaced, a sign, another unit."""


def implausible(maker: Maker, name: str, reading: Reading) -> tuple[str, str] | None:
    """Say how far a measurement lies from what any month makes plausible.

    Examples
    --------
    >>> from dating.files import read_maker
    >>> maker = read_maker("priors/marrowby.yaml")
    >>> implausible(maker, "neck-depth", Reading(value=229))
    ('229 is 411 spreads from any month; 22.9 would fit (a tenth)', 'about 20.4 to 23.6 mm')
    """
    away = _spreads(maker, name, reading.value, reading.within)
    if away <= IMPLAUSIBLE:
        return None
    message = f"{reading.value:g} is {away:,.0f} spreads from any month"
    for factor, words in FACTORS.items():
        value, within = reading.value * factor, reading.within * abs(factor)
        if _spreads(maker, name, value, within) <= FITS:
            message += f"; {value:.4g} would fit ({words})"
            break
    low, high = _means(maker)[name]
    means = f"{low:g}" if low == high else f"{low:g} to {high:g}"
    return message, f"about {means} {maker.measurements()[name][1].unit}"


def _spreads(maker: Maker, name: str, value: float, within: float) -> float:
    """Count the spreads from a value to the nearest mean of any month."""
    low, high = _means(maker)[name]
    scale = hypot(maker.measurements()[name][1].spread, within)
    return max(low - value, value - high, 0.0) / scale


@lru_cache(maxsize=16)
def _means(maker: Maker) -> dict[str, tuple[float, float]]:
    """Give the lowest and the highest mean of each measurement within the period."""
    means = {name: mean_at(m, maker.period) for name, (_, m) in maker.measurements().items()}
    return {name: (float(mean.min()), float(mean.max())) for name, mean in means.items()}
