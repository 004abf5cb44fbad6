"""One sentence that says whether a reader may trust the stated probabilities."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from dating.calibration.verdict import Coverage, Group

type Outcome = Literal["may be trusted", "too sure", "too cautious", "one-sided"]


@dataclass(frozen=True)
class Verdict:
    """The answer.

    Parameters
    ----------
    outcome : {"may be trusted", "too sure", "too cautious", "one-sided"}
        What the probabilities are.
    sentence : str
        The answer with the figures that decide it.
    """

    outcome: Outcome
    sentence: str


def verdict_on(overall: Group, ranks_right: bool) -> Verdict:
    """Say whether the stated probabilities may be trusted.

    The rule, in this order:

    1. *too sure*: at some level fewer sets held the date than their 95 % binomial band allows. This
       comes first, because it misleads.
    2. *too cautious*: at some level more did.
    3. *one-sided*: coverage is right at every level, but the ranks leave their simultaneous 95 %
       band: sets hold as often as they say, yet dates lie too often on one side of them.
    4. *may be trusted*: neither.

    The figures are of the level that lies furthest outside its band, as a share of the band's
    width; where none does, of all levels. Each of the first three befalls a calibrated maker in
    about one case of twenty.

    Parameters
    ----------
    overall : Group
        Coverage over all instruments.
    ranks_right : bool
        Whether the ranks stay within their band.

    Returns
    -------
    Verdict
        The answer in one sentence.

    Examples
    --------
    >>> sets = Coverage(0.9, 0.84, 0.866, 0.931)
    >>> verdict_on(Group("all", 306, (sets,), 4.8, -2.6, 20.0), True).sentence
    'Too sure: of 306 instruments dated as if undated, 84.0 % lie in their 90 % sets, where chance \
allows 86.6 to 93.1 %; expect stated dates to be wrong more often than they say.'
    """
    short = [c for c in overall.coverage if c.held < c.low]
    over = [c for c in overall.coverage if c.held > c.high]
    of = f"of {overall.instruments} instruments dated as if undated,"
    if short:
        return Verdict(
            "too sure",
            f"Too sure: {of} {_held(_furthest(short))}; expect stated dates to be wrong more often "
            "than they say.",
        )
    if over:
        return Verdict(
            "too cautious",
            f"Too cautious: {of} {_held(_furthest(over))}; stated sets are wider than need be.",
        )
    each = ", ".join(f"{share(c.held)} in their {100 * c.level:g} % sets" for c in overall.coverage)
    each = f"{of} {each.replace(' in their', ' lie in their', 1)}, as chance allows"
    if not ranks_right:
        return Verdict(
            "one-sided",
            f"One-sided: {each}, but their ranks leave the 95 % band; trust the "
            "sets, but not on which side of a month a date lies.",
        )
    return Verdict(
        "may be trusted",
        f"The stated probabilities may be trusted: {each}, and their ranks stay in the 95 % band.",
    )


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


def _furthest(outside: list[Coverage]) -> Coverage:
    return max(outside, key=lambda c: max(c.low - c.held, c.held - c.high) / (c.high - c.low))


def _held(c: Coverage) -> str:
    return (
        f"{share(c.held)} lie in their {100 * c.level:g} % sets, where chance allows "
        f"{100 * c.low:.1f} to {share(c.high)}"
    )
