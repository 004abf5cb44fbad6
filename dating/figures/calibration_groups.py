"""How well instruments were dated by group, drawn beside what chance alone would leave."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dating.figures.style import CORE, DOUBT, INK, REST, plain

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes

    from dating.calibration.groups import Coverage, MedianError, ReferenceGroup, ReferenceGroups

_BAR = 0.72


def rows_of(groups: ReferenceGroups) -> list[tuple[str, ReferenceGroup | None]]:
    """List the rows of the picture from top to bottom."""
    rows: list[tuple[str, ReferenceGroup | None]] = [(_counted(groups.overall), groups.overall)]
    for name, divided in groups.divided().items():
        rows += [(f"by {name}", None), *((_counted(group), group) for group in divided)]
    return rows


def draw_coverage(axes: Axes, rows: Sequence[tuple[str, ReferenceGroup | None]]) -> None:
    """Draw the share of dates in the sets of the highest level, by group."""
    level = 0.0
    for place, (_, group) in enumerate(rows):
        if group is not None:
            each, level = group.coverage[-1], group.coverage[-1].level
            _mark(axes, place, 100 * each.share, (100 * each.low, 100 * each.high), each)
    axes.axvline(100 * level, color=INK, linewidth=0.8, linestyle=(0, (4, 2)))
    axes.set_yticks(range(len(rows)), [name for name, _ in rows], fontsize=8)
    axes.set_xlabel(f"per cent of dates within their {100 * level:g} % sets", fontsize=8)
    axes.set_title("groups (grey: 95 % band of chance)", loc="left", fontsize=9)
    _finish(axes, len(rows))


def draw_errors(axes: Axes, rows: Sequence[tuple[str, ReferenceGroup | None]]) -> None:
    """Draw how far off the medians were, by group."""
    for place, (_, group) in enumerate(rows):
        if group is not None:
            error = group.error
            _mark(axes, place, error.months, (error.low, error.high), error)
    axes.set_yticks(range(len(rows)), [])
    axes.set_xlim(left=0)
    axes.set_xlabel("half of the medians lie within this many months", fontsize=8)
    axes.set_title("error of the median (grey: the same band)", loc="left", fontsize=9)
    _finish(axes, len(rows))


def _mark(
    axes: Axes, place: int, value: float, band: tuple[float, float], figure: Coverage | MedianError
) -> None:
    low, high = band
    axes.barh(place, high - low, left=low, height=_BAR, color=REST, linewidth=0)
    shape, colour = ("o", CORE) if figure.right else ("D", DOUBT)
    axes.plot(value, place, shape, color=colour, markeredgecolor="white", markersize=6)


def _finish(axes: Axes, count: int) -> None:
    axes.set_ylim(count - 0.4, -0.6)
    axes.tick_params(axis="y", length=0)
    plain(axes)


def _counted(group: ReferenceGroup) -> str:
    return f"{group.name} ({group.instruments})"
