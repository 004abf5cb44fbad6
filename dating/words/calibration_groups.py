"""How well instruments were dated by group, as a table with what chance alone would leave."""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import Console

from dating.calibration.groups import Coverage, MedianError, ReferenceGroup, ReferenceGroups
from dating.calibration.verdict import Calibration
from dating.words.plain import indent, say, table, title

_NOTE = (
    "Error: half of the medians lie within this many months of the date. 50 % to 90 %: percentage "
    "of dates in sets of that level; - means fewer than chance allows, + more. Width: mean months "
    "in the 90 % set. The chance columns give the range that chance alone produces in 95 % of "
    "cases."
)


def on_groups(console: Console, calibration: Calibration) -> None:
    """Write error, coverage and width by posterior date, width, variant, and what was seen."""
    groups = calibration.groups
    title(console, "How well groups were dated")
    rows = table(
        ("", "left"),
        ("number", "right"),
        ("error", "right"),
        ("chance", "left"),
        ("50 %", "right"),
        ("80 %", "right"),
        ("90 %", "right"),
        ("chance", "left"),
        ("width", "right"),
    )
    rows.add_row(*_cells(groups.overall))
    for name, divided in groups.divided().items():
        rows.add_row(f"by {name}", *[""] * 8)
        for group in divided:
            rows.add_row(*_cells(group))
    indent(console, rows)
    say(console, _NOTE)
    say(console, on_figures_beyond(groups))


def on_figures_beyond(groups: ReferenceGroups) -> str:
    """Say how many figures of groups lie outside what chance allows, and how many chance leaves."""
    figures = list(_figures(groups))
    off = sum(not figure.right for figure in figures)
    return (
        f"Of these {len(figures)} figures, {off} {'lies' if off == 1 else 'lie'} outside what "
        f"chance allows; about {0.05 * len(figures):.0f} would do so by chance alone."
    )


def beyond_chance(covered: Coverage) -> int:
    """Say whether more or fewer sets held the date than chance allows."""
    return int(covered.share > covered.high) - int(covered.share < covered.low)


def _figures(groups: ReferenceGroups) -> Iterator[Coverage | MedianError]:
    for divided in groups.divided().values():
        for group in divided:
            yield group.error
            yield from group.coverage


def _cells(group: ReferenceGroup) -> tuple[str, ...]:
    shares = [f"{100 * c.share:.0f}{'- +'[beyond_chance(c) + 1]}" for c in group.coverage]
    widest, error = group.coverage[-1], group.error
    mark = "" if error.right else "+" if error.months > error.high else "-"
    return (
        group.name,
        str(group.instruments),
        f"{error.months:g}{mark or ' '}",
        f"{error.low:g} to {error.high:g}",
        *shares,
        f"{100 * widest.low:.0f} to {100 * widest.high:.0f}",
        f"{group.width:.1f}",
    )
