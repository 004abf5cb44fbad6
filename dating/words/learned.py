"""What was learned, as plain text of at most 80 columns."""

from __future__ import annotations

import io
from math import floor
from typing import TYPE_CHECKING

from rich.console import Console
from rich.table import Table

from dating.learning.comparison import Shift, shifts_of
from dating.learning.learned import learned_from
from dating.learning.sampling import Health, Plan
from dating.months import month_label

if TYPE_CHECKING:
    import xarray as xr

_DOUBTED = 0.2
"""Agreement below which a judgement is said to be at odds with the corpus."""


def before_learning(plan: Plan, draws: int) -> str:
    """Say what learning will work on, and about how long it will take.

    Parameters
    ----------
    plan : Plan
        What is to be learned.
    draws : int
        Draws in each chain.

    Returns
    -------
    str
        A few lines.
    """
    rows, counted = len(plan.corpus.references), plan.counted
    size = len(plan.layout.tracks) * plan.layout.months + 8 * len(plan.tally.cases)
    minutes = (20 + draws * 1.8e-5 * size) / 60
    return (
        f"{rows} instruments: {counted} of known month enter as counts, {plan.tally.rows} are "
        f"summed over the months they may have come from.\n"
        f"{plan.uncertain} uncertain dates and lengths in {len(plan.layout.ramps)} changeovers.\n"
        f"Four chains of {draws} draws after as many for tuning: some {minutes:.0f} to "
        f"{2 * minutes:.0f} minutes on two cores.\n"
    )


def after_learning(tree: xr.DataTree, plan: Plan, health: Health) -> str:
    """Set each changeover's judgement beside what was learned.

    Parameters
    ----------
    tree : DataTree
        The result.
    plan : Plan
        What was to be learned.
    health : Health
        Its diagnostics.

    Returns
    -------
    str
        Lines of at most 80 columns.
    """
    console = Console(file=io.StringIO(), width=80, color_system=None, highlight=False)
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for title in ("changeover", "judged 5 | 50 | 95 %", "learned 5 | 50 | 95 %"):
        table.add_column(title, header_style="", overflow="fold")
    table.add_column("agree", justify="right", header_style="")
    shifts = shifts_of(plan.layout, learned_from(tree))
    first = plan.maker.period.first
    for shift in shifts:
        table.add_row(
            shift.name,
            _dates(shift.judged, first),
            _dates(shift.learned, first),
            f"{shift.agreement:.2f}",
        )
    console.print(table)
    for line in [*_at_odds(shifts), _in_words(health)]:
        console.print(line)
    stream = console.file
    text = stream.getvalue() if isinstance(stream, io.StringIO) else ""
    return "\n".join(line.rstrip() for line in text.splitlines()) + "\n"


def _at_odds(shifts: tuple[Shift, ...]) -> list[str]:
    doubted = [shift.name for shift in shifts if shift.agreement < _DOUBTED]
    if not doubted:
        return ["No judgement is at odds with the corpus."]
    return [f"At odds with the corpus: {'; '.join(doubted)}."]


def _in_words(health: Health) -> str:
    return (
        f"Largest R-hat {health.rhat:.3f}, smallest effective sample size {health.ess:.0f}, "
        f"{health.divergences} divergent transitions."
    )


def _dates(points: tuple[float, float, float], first: int) -> str:
    return " | ".join(month_label(floor(first + point)) for point in points)
