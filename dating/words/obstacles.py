"""What keeps chains from becoming sound, in words."""

from __future__ import annotations

from collections.abc import Sequence

from dating.learning.obstacles import Against, Gap, Obstacle, Reason, Silence, TwoPlaces, Wall
from dating.months import month_words


def on_obstacles(obstacles: Sequence[Obstacle], first: int) -> list[str]:
    """Name each number that is stuck, and say what in the files makes it so.

    Parameters
    ----------
    obstacles : sequence of Obstacle
        The worst first.
    first : int
        Month number of the first month of the period.

    Returns
    -------
    list of str
        One sentence for each.

    Examples
    --------
    >>> gap = Gap(12, 30)
    >>> stuck = Obstacle("ends, regime 2, first use", 1.02, 210, "ends, regime 2", (gap,))
    >>> on_obstacles([stuck], 1930 * 12)[0]
    'Not converged: ends, regime 2, first use (R-hat 1.020, effective sample size 210): no dated \
instrument from January 1931 to July 1932 shows either form.'
    """
    return [_sentence(obstacle, first) for obstacle in obstacles]


def _sentence(obstacle: Obstacle, first: int) -> str:
    of = obstacle.changeover
    where = f", of {of}," if of and not obstacle.name.startswith(of) else ""
    known = f"(R-hat {obstacle.rhat:.3f}, effective sample size {obstacle.ess:.0f})"
    why = "; ".join(_words(reason, first) for reason in obstacle.reasons)
    why = why or "nothing in the files stands out, so more draws may be enough"
    return f"Not converged: {obstacle.name}{where} {known}: {why}."


def _words(reason: Reason, first: int) -> str:
    match reason:
        case TwoPlaces(low, high):
            months = (month_words(first + at) for at in (low, high))
            return f"the draws of the first use cluster around two months, {' and '.join(months)}"
        case Gap(low, high):
            months = (month_words(first + at) for at in (low, high))
            return f"no dated instrument from {' to '.join(months)} shows either form"
        case Wall(name, line, built, end):
            return (
                f"the {end} of its linear ramp reaches {name} (line {line} of the corpus, built "
                f"{built}, trust 1) in some draws, and others treat that instrument as an error, "
                "with too small a slip to explain it: a trust below 1, a larger slip, or shape: "
                "logistic would help"
            )
        case Against(feature, name, line, built, observation):
            return (
                f"the slip of {feature} is stated as 0, and {name} (line {line} of the corpus, "
                f"built {built}) shows {observation} against the judgement"
            )
        case Silence():
            return "no dated instrument shows either form"
