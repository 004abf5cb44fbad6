"""One sentence that says whether a reader may trust the stated probabilities."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from dating.calibration.faults import Fault, faults_of
from dating.calibration.groups import ReferenceGroup
from dating.calibration.uniformity import OUTERMOST, Uniformity

type Outcome = Fault | Literal["may be trusted"]


@dataclass(frozen=True)
class Verdict:
    """The answer.

    Parameters
    ----------
    outcome : {"may be trusted", "too sure", "heavy-tailed", "one-sided", "too cautious"}
        What the probabilities are; where several hold, what explains most of what is off.
    sentence : str
        The answer with the figures that decide it.
    """

    outcome: Outcome
    sentence: str


def verdict_on(overall: ReferenceGroup, uniformity: Uniformity) -> Verdict:
    """Say whether the stated probabilities may be trusted.

    Sides, spread, tails and coverage are judged apart, by one overall test that doubts a calibrated
    maker in one case of twenty at most. Where something is off, it is named by the one fault that
    explains most of it:

    - *too sure*: sets hold too few dates, or dates lie further out than stated.
    - *heavy-tailed*: too many dates lie very far out.
    - *one-sided*: dates lie too often on one side of the middle.
    - *too cautious*: sets hold too many dates, or dates lie less far out than stated.

    Faults that this one leaves unexplained are added. Else the probabilities *may be trusted*.

    Parameters
    ----------
    overall : ReferenceGroup
        Coverage over all instruments.
    uniformity : Uniformity
        What was found, question by question.

    Returns
    -------
    Verdict
        The answer in one sentence.

    Examples
    --------
    >>> import numpy as np
    >>> from dating.calibration.uniformity import uniformity_of
    >>> from dating.calibration.groups import Coverage, MedianError
    >>> even = (np.arange(100) + 0.5) / 100
    >>> coverage, error = Coverage(0.9, 0.9, 0.84, 0.95), MedianError(4.0, 3.0, 5.0)
    >>> group = ReferenceGroup("all", 100, (coverage,), error, 4.8, -2.6, 20.0)
    >>> verdict_on(group, uniformity_of(even, even)).sentence
    'The stated probabilities can be trusted: of 100 instruments dated as if undated, 90.0 % lie \
in their 90 % sets; sides, spread, tails and coverage agree with chance.'
    """
    faults = faults_of(uniformity)
    if not faults:
        each = ", ".join(
            f"{share(c.share)} in their {100 * c.level:g} % sets" for c in overall.coverage
        )
        lie = each.replace(" in their", " lie in their", 1)
        return Verdict(
            "may be trusted",
            f"The stated probabilities can be trusted: {_of(overall)} {lie}; sides, spread, tails "
            "and coverage agree with chance.",
        )
    clauses = {
        "too sure": (
            _far(overall, uniformity),
            "expect stated dates to be wrong more often than stated",
        ),
        "heavy-tailed": (
            _outermost(uniformity),
            "dates may lie far outside their sets more often than stated",
        ),
        "one-sided": (
            _sides(overall, uniformity),
            "trust how wide the sets are, but not where they lie",
        ),
        "too cautious": (
            _far(overall, uniformity),
            "the stated sets are wider than needed",
        ),
    }
    text = "; also, ".join(clauses[fault][0] for fault in faults)
    first = faults[0]
    end = clauses[first][1]
    if first == "one-sided" and len(faults) > 1:
        end = "trust neither where the sets lie nor how wide they are"
    return Verdict(first, f"{first.capitalize()}: {_of(overall)} {text}; {end}.")


def share(value: float) -> str:
    """Write a share in per cent, to a tenth.

    Examples
    --------
    >>> share(0.8431)
    '84.3 %'
    """
    return f"{100 * value:.1f} %"


def _of(overall: ReferenceGroup) -> str:
    return f"of {overall.instruments} instruments dated as if undated,"


def _far(overall: ReferenceGroup, uniformity: Uniformity) -> str:
    """Say how often the sets of the most telling level held the date, and how far out dates lie."""
    low = uniformity.coverage.above
    worst = max(
        overall.coverage,
        key=lambda c: (c.level - c.share if low else c.share - c.level) / (c.high - c.low),
    )
    clause = (
        f"{share(worst.share)} lie in their {100 * worst.level:g} % sets, where chance allows "
        f"{100 * worst.low:.1f} to {share(worst.high)}"
    )
    if not uniformity.spread.alarm:
        return clause
    return f"{clause}, and dates lie {uniformity.spread.value:.2f} times as far out as stated"


def _outermost(uniformity: Uniformity) -> str:
    expected = OUTERMOST * uniformity.instruments
    lie = "lies" if uniformity.outermost == 1 else "lie"
    return (
        f"{uniformity.outermost} {lie} in the outermost {100 * OUTERMOST:g} % of the posterior, "
        f"where {expected:.1f} are expected"
    )


def _sides(overall: ReferenceGroup, uniformity: Uniformity) -> str:
    """Say on which side the dates lie, and what sets hold where that alone makes it too little."""
    side = "later" if uniformity.sides.above else "earlier"
    around = 1.96 / (12 * uniformity.instruments) ** 0.5
    clause = (
        f"the dates lie {side} than the posteriors say (mean rank {uniformity.sides.value:.3f}, "
        f"where chance allows {0.5 - around:.3f} to {0.5 + around:.3f})"
    )
    short = uniformity.coverage.alarm and uniformity.coverage.above
    if not short or "too sure" in faults_of(uniformity):
        return clause
    widest = overall.coverage[-1]
    return f"{clause}, so that {share(widest.share)} lie in their {100 * widest.level:g} % sets"
