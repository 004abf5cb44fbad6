"""One sentence that says whether a reader may trust the stated probabilities."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from dating.calibration.uniformity import OUTERMOST, Uniformity
from dating.calibration.verdict import Group

type Outcome = Literal["may be trusted", "too sure", "too cautious", "heavy-tailed", "one-sided"]


@dataclass(frozen=True)
class Verdict:
    """The answer.

    Parameters
    ----------
    outcome : {"may be trusted", "too sure", "heavy-tailed", "one-sided", "too cautious"}
        What the probabilities are; the first that holds where several do.
    sentence : str
        The answer with the figures that decide it.
    """

    outcome: Outcome
    sentence: str


def verdict_on(overall: Group, uniformity: Uniformity) -> Verdict:
    """Say whether the stated probabilities may be trusted.

    Sides, spread, tails and coverage are judged apart, by one overall test that doubts a calibrated
    maker in one case of twenty at most. What is found is named in this order, the most misleading
    first:

    1. *too sure*: sets hold too few dates, or dates lie further out than stated and it is not a few
       very far out that make it so.
    2. *heavy-tailed*: too many dates lie very far out: by the test, and unless it is all that was
       found, by more than one.
    3. *one-sided*: dates lie too often on one side of the middle.
    4. *too cautious*: sets hold too many dates, or dates lie less far out than stated, and none too
       often very far out.
    5. *may be trusted*: none of these.

    Parameters
    ----------
    overall : Group
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
    >>> from dating.calibration.verdict import Coverage
    >>> even = (np.arange(100) + 0.5) / 100
    >>> group = Group("all", 100, (Coverage(0.9, 0.9, 0.84, 0.95),), 4.8, -2.6, 20.0)
    >>> verdict_on(group, uniformity_of(even, even)).sentence
    'The stated probabilities may be trusted: of 100 instruments dated as if undated, 90.0 % lie \
in their 90 % sets; sides, spread, tails and coverage are as chance allows.'
    """
    faults = outcomes_of(uniformity)
    if not faults:
        each = ", ".join(
            f"{share(c.held)} in their {100 * c.level:g} % sets" for c in overall.coverage
        )
        lie = each.replace(" in their", " lie in their", 1)
        return Verdict(
            "may be trusted",
            f"The stated probabilities may be trusted: {_of(overall)} {lie}; sides, spread, tails "
            "and coverage are as chance allows.",
        )
    clauses = {
        "too sure": (
            _far(overall, uniformity),
            "expect stated dates to be wrong more often than they say",
        ),
        "heavy-tailed": (
            _outermost(uniformity),
            "a date may lie far outside its set more often than stated",
        ),
        "one-sided": (_sides(uniformity), "trust how wide the sets are, but not where they lie"),
        "too cautious": (_far(overall, uniformity), "stated sets are wider than need be"),
    }
    said = "; moreover, ".join(clauses[fault][0] for fault in faults)
    first = faults[0]
    return Verdict(first, f"{first.capitalize()}: {_of(overall)} {said}; {clauses[first][1]}.")


def outcomes_of(uniformity: Uniformity) -> tuple[Outcome, ...]:
    """Name everything that is wrong, the most misleading first.

    Parameters
    ----------
    uniformity : Uniformity
        What was found, question by question.

    Returns
    -------
    tuple of str
        Empty where the probabilities may be trusted.
    """
    spread, coverage = uniformity.spread, uniformity.coverage
    others = (uniformity.sides.alarm, spread.alarm, coverage.alarm)
    many = uniformity.outermost > 1 + OUTERMOST * uniformity.instruments
    tails = uniformity.tails.alarm and (many or not any(others))
    short, over = (coverage.alarm and coverage.above is side for side in (True, False))
    far, near = (spread.alarm and spread.above is side for side in (True, False))
    holds: dict[Outcome, bool] = {
        "too sure": short or (far and not tails),
        "heavy-tailed": tails,
        "one-sided": uniformity.sides.alarm,
        "too cautious": (over or near) and not tails,
    }
    return tuple(name for name, found in holds.items() if found)


def share(value: float) -> str:
    """Write a share in per cent, to a tenth.

    Parameters
    ----------
    value : float
        From 0 to 1.

    Returns
    -------
    str
        For example ``84.3 %``.

    Examples
    --------
    >>> share(0.8431)
    '84.3 %'
    """
    return f"{100 * value:.1f} %"


def _of(overall: Group) -> str:
    return f"of {overall.instruments} instruments dated as if undated,"


def _far(overall: Group, uniformity: Uniformity) -> str:
    """Say how often the sets of the most telling level held the date, and how far out dates lie."""
    low = uniformity.coverage.above
    told = max(
        overall.coverage,
        key=lambda c: (c.level - c.held if low else c.held - c.level) / (c.high - c.low),
    )
    held = (
        f"{share(told.held)} lie in their {100 * told.level:g} % sets, where chance allows "
        f"{100 * told.low:.1f} to {share(told.high)}"
    )
    if not uniformity.spread.alarm:
        return held
    return f"{held}, and dates lie {uniformity.spread.value:.2f} times as far out as stated"


def _outermost(uniformity: Uniformity) -> str:
    expected = OUTERMOST * uniformity.instruments
    lie = "lies" if uniformity.outermost == 1 else "lie"
    return (
        f"{uniformity.outermost} {lie} in the outermost {100 * OUTERMOST:g} % of the posterior, "
        f"where {expected:.1f} are expected"
    )


def _sides(uniformity: Uniformity) -> str:
    side = "later" if uniformity.sides.above else "earlier"
    around = 1.96 / (12 * uniformity.instruments) ** 0.5
    return (
        f"the dates lie {side} than the posteriors say (mean rank {uniformity.sides.value:.3f}, "
        f"where chance allows {0.5 - around:.3f} to {0.5 + around:.3f})"
    )
