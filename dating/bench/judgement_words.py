"""A judgement said back in words, from the quantiles of its distribution."""

from __future__ import annotations

from calendar import monthrange
from functools import partial
from math import floor

from dating.bench.judgement_places import JudgementKind, JudgementPlace
from dating.distributions import Certain, Judgement, Metalog
from dating.notes.languages import language

_CHANCES = {0.05: "one chance in twenty", 0.1: "one chance in ten", 0.25: "one chance in four"}


def in_words(judgement: Certain | Metalog, coverage: float, spot: JudgementPlace) -> list[str]:
    """Say one assessor's judgement back, from the quantiles of the distribution.

    Examples
    --------
    >>> from dating.files import read_maker
    >>> from dating.bench.judgement_places import spots_of
    >>> maker = read_maker("priors/marrowby.yaml")
    >>> spot = spots_of(maker)["components.neck.features.heel-joint.history.1.first_use"]
    >>> for sentence in in_words(spot.judged.distribution(), 0.9, spot):
    ...     print(sentence)
    One chance in twenty before June 1929.
    Median December 1929.
    One chance in twenty after August 1930.
    """
    if isinstance(judgement, Certain):
        return [f"Taken as known: {value_words(judgement.value, spot.kind)}."]
    tail = (1 - coverage) / 2
    chance = _CHANCES.get(round(tail, 9), f"a chance of {100 * tail:.3g} %")
    low, likely, high = (float(x) for x in judgement.quantile([tail, 0.5, 1 - tail]))
    write = partial(value_words, kind=spot.kind)
    if spot.kind == "date":
        sentences = [
            f"{chance} before {write(low)}.",
            f"Median {write(likely)}.",
            f"{chance} after {write(high)}.",
        ]
    elif spot.kind == "delay":
        write = partial(_beside, event=(spot.regime.event if spot.regime else None) or "the event")
        sentences = [
            f"{chance} earlier than {write(low)}.",
            f"Median {write(likely)}.",
            f"{chance} later than {write(high)}.",
        ]
    else:
        below = f"{chance} of less than {write(low)}."
        if judgement.form == "cut at zero" and low <= 0:
            below = f"{chance} that there is none at all."
        sentences = [
            below,
            f"Median {write(likely)}.",
            f"{chance} of more than {write(high)}.",
        ]
    if abs(coverage - 0.9) > 1e-12:
        sentences.append(
            f"The outer two values enclose {100 * coverage:.3g} % of the belief, not 90 %."
        )
    return [sentence[:1].upper() + sentence[1:] for sentence in sentences]


def pooled_words(judgement: Judgement, spot: JudgementPlace) -> str:
    """Say where a pool of several assessors lies: its 5, 50 and 95 % points."""
    low, likely, high = (float(x) for x in judgement.quantile([0.05, 0.5, 0.95]))
    if spot.kind == "date":
        low, likely, high = floor(low), floor(likely), floor(high)
    write = partial(value_words, kind=spot.kind)
    return (
        f"All assessors together: median {write(likely)}, and nine chances in ten between "
        f"{write(low)} and {write(high)}."
    )


def value_words(value: float, kind: JudgementKind) -> str:
    """Write a point in time or a length.

    Examples
    --------
    >>> value_words(23150, "date"), value_words(1, "span"), value_words(-2.5, "delay")
    ('March 1929', '1 month', '2.5 months before it')
    """
    if kind != "date":
        number = f"{abs(value):.4g}"
        months = f"{number} month" if number == "1" else f"{number} months"
        return f"{months} before it" if value < 0 and number != "0" else months
    month = floor(value + 1e-6)
    day = round((value - month) * monthrange(month // 12, month % 12 + 1)[1])
    words = language("en").month(month)
    return words if day <= 0 else f"{day + 1} {words}"


def _beside(value: float, event: str) -> str:
    """Write months after an event, or before it, or the event itself."""
    if abs(value) < 1e-9:
        return event
    return f"{value_words(abs(value), 'span')} {'after' if value > 0 else 'before'} {event}"
