"""The maker page: a whole maker file drawn as features over time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from starlette.responses import Response

from dating.arrays import Floats
from dating.bench.chart_geometry import (
    BAND,
    HEAD,
    LANE,
    NAMES,
    NARROW,
    ROW,
    SHEET,
    WIDTH,
    chart_axis,
)
from dating.bench.chart_rows import (
    EVENT,
    ChartRow,
    EventLine,
    about,
    event_lines,
    feature_rows,
    mark_rows,
    mark_words,
    measured_row,
    month_words,
)
from dating.bench.forms import place_text
from dating.bench.mistakes import maker_mistakes
from dating.bench.requests import PageRequest, filled
from dating.bench.shares import (
    ChangeoverDate,
    Shares,
    changeovers,
    mean_of,
    shares_of,
    variant_shares,
)
from dating.bench.time_axis import TimeAxis, area
from dating.learning.layout import VARIANTS
from dating.learning.learned import DRAWS, Learned, tables_for
from dating.maker import Maker
from dating.months import Period
from dating.tables import MonthTables
from dating.words.phrases import percent
from dating.words.soundness import on_soundness

FOOT = 64


@dataclass(frozen=True)
class YearTable:
    """The numbers of one row: a line a year, a column a state.

    Parameters
    ----------
    caption : str
        What is counted.
    columns : tuple of str
        Names of the states.
    rows : tuple of (int, tuple of str)
        The year, and one cell a column.
    """

    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]


@dataclass(frozen=True)
class ChangeLine:
    """One changeover in a table.

    Parameters
    ----------
    of, to : str
        The feature, and the states that came in.
    start, end : str
        When it began and was over: a range, and the median.
    judgements : tuple of (str, str)
        Words and place of each judgement that it rests on.
    """

    of: str
    to: str
    start: str
    end: str
    judgements: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class ChartSection:
    """The rows of one component, or of the variants, and their numbers.

    Parameters
    ----------
    name, what : str
        The component, and what it is.
    rows : tuple of ChartRow
        The chart.
    tables : tuple of YearTable
        The shares of each year.
    changes : tuple of ChangeLine
        The changeovers.
    marks : tuple of (str, str, str)
        Name, words and place of the lag of each dated mark.
    """

    name: str
    what: str
    rows: tuple[ChartRow, ...]
    tables: tuple[YearTable, ...]
    changes: tuple[ChangeLine, ...]
    marks: tuple[tuple[str, str, str], ...] = ()

    @property
    def height(self) -> int:
        """Height of the picture."""
        return HEAD + ROW * len(self.rows)


@dataclass(frozen=True)
class Chart:
    """Everything that the maker page shows.

    Parameters
    ----------
    width : int
        Width of the plot.
    ticks : tuple of (float, str)
        The years.
    events : tuple of EventLine
        The events.
    events_height : float
        Height of their picture.
    sections : tuple of ChartSection
        Variants and components.
    output : str
        Data of an SVG path.
    output_title, output_most : str
        The output in words, and what its full height means.
    output_table : YearTable
        The output of each year.
    """

    width: int
    ticks: tuple[tuple[float, str], ...]
    events: tuple[EventLine, ...]
    events_height: float
    sections: tuple[ChartSection, ...]
    output: str
    output_title: str
    output_most: str
    output_table: YearTable


def maker_page(request: PageRequest) -> Response:
    """Show a maker file as a chart of features over time."""
    name, learned_name = request.require("file"), request.query.get("learned", "")
    maker = request.shelf.maker(name)
    learned = request.shelf.learned(learned_name, maker, DRAWS) if learned_name else None
    sheet = request.query.get("sheet", "") == "1"
    chart = chart_of(maker, tables_for(maker, learned), learned, SHEET if sheet else WIDTH)
    sizes = {
        "names": NAMES,
        "narrow": NARROW,
        "band": BAND,
        "lane": LANE,
        "head": HEAD,
        "foot": FOOT,
        "row": ROW,
    }
    return filled(
        "maker.html.j2",
        maker=maker,
        file=name,
        learned=learned_name,
        unsound=on_soundness(learned),
        chart=chart,
        mistakes=maker_mistakes(maker),
        sheet=sheet,
        size=sizes,
        offered=[each.name for each in request.shelf.workspace.files("learned")],
    )


@lru_cache(maxsize=4)
def chart_of(
    maker: Maker, tables: MonthTables, learned: Learned | None = None, width: int = WIDTH
) -> Chart:
    """Lay out the chart of a maker file; the last few are kept."""
    basis = _ChartBasis(maker, tables, chart_axis(maker.period, width), changeovers(maker, learned))
    sections = [_component(basis, part) for part in maker.components]
    variants = variant_shares(tables)
    if variants is not None:
        sections.insert(0, _variants(basis, variants))
    events = event_lines(maker, basis.axis, learned)
    total = sum(output.made.distribution().mean() for output in maker.output)
    output_by_month = tables.output * (total or 1.0)
    most = float(output_by_month.max())
    heights = HEAD + (FOOT - HEAD) * (1 - output_by_month / most)
    return Chart(
        width=width,
        ticks=basis.axis.ticks,
        events=events,
        events_height=max((event.y for event in events), default=0.0) + EVENT,
        sections=tuple(sections),
        output=area(basis.axis.edges, heights, np.full(len(output_by_month), float(FOOT))),
        output_title=(
            f"Expected output per month; at most {most:,.0f} instruments a month."
            if total
            else "No output is stated: every month counts as equally productive."
        ),
        output_most=f"at most {most:,.0f} a month" if total else "every month alike",
        output_table=_output_table(output_by_month, maker.period, stated=bool(total)),
    )


@dataclass(frozen=True, eq=False)
class _ChartBasis:
    """What all sections are drawn from."""

    maker: Maker
    tables: MonthTables
    axis: TimeAxis
    changeovers: list[ChangeoverDate]


def _variants(basis: _ChartBasis, shares: Shares) -> ChartSection:
    return ChartSection(
        name="variants",
        what="grades or lines made alongside each other",
        rows=tuple(feature_rows(basis.axis, HEAD, [shares], basis.changeovers)),
        tables=(_by_year(shares, basis.maker.period),),
        changes=_changes(basis.changeovers, {VARIANTS}),
    )


def _component(basis: _ChartBasis, part: str) -> ChartSection:
    component, tables, axis = basis.maker.components[part], basis.tables, basis.axis
    shares = [each for name in component.features for each in shares_of(tables, name)]
    rows = list(feature_rows(axis, HEAD, shares, basis.changeovers))
    rows += mark_rows(axis, HEAD + ROW * len(rows), component)
    by_year = [_by_year(each, basis.maker.period) for each in shares]
    for name, measurement in component.measurements.items():
        mean = mean_of(tables, name)
        rows.append(measured_row(axis, HEAD + ROW * len(rows), name, measurement, mean))
        yearly = _yearly(mean[None], basis.maker.period)[0]
        cells = [(f"{value:.1f}", f"{measurement.spread:g}") for value in yearly]
        years = tuple(zip(basis.maker.period.years(), cells, strict=True))
        by_year.append(YearTable(f"{name}, in {measurement.unit}", ("mean", "spread"), years))
    marks = tuple(
        (name, mark_words(component, name), place_text(("components", part, "marks", name, "lag")))
        for name in component.marks
    )
    changes = _changes(basis.changeovers, set(component.features))
    return ChartSection(part, component.what, tuple(rows), tuple(by_year), changes, marks)


def _output_table(output: Floats, period: Period, *, stated: bool) -> YearTable:
    write = "{:,.0f}".format if stated else percent
    yearly = _yearly(output[None], period)[0] * _months(period)
    years = tuple((year, (write(n),)) for year, n in zip(period.years(), yearly, strict=True))
    caption = "Expected number made in each year" if stated else "Share of each year"
    return YearTable(caption, ("made" if stated else "share",), years)


def _changes(dates: Sequence[ChangeoverDate], names: set[str]) -> tuple[ChangeLine, ...]:
    return tuple(
        ChangeLine(about(c), c.to, _range_words(c.start), _range_words(c.end), tuple(c.judgements))
        for c in dates
        if c.name in names
    )


def _by_year(shares: Shares, period: Period) -> YearTable:
    yearly = _yearly(shares.by_month, period)
    return YearTable(
        about(shares),
        shares.states,
        tuple(
            (year, tuple(percent(float(share)) for share in yearly[:, i]))
            for i, year in enumerate(period.years())
        ),
    )


def _yearly(by_month: Floats, period: Period) -> Floats:
    """Average the months of each calendar year that lie in the period."""
    year = np.arange(period.first, period.last + 1) // 12 - period.first // 12
    return np.stack([np.bincount(year, weights=row) for row in by_month]) / _months(period)


def _months(period: Period) -> NDArray[np.int64]:
    """Count the months of each calendar year that lie in the period."""
    return np.bincount(np.arange(period.first, period.last + 1) // 12 - period.first // 12)


def _range_words(points: tuple[float, float, float]) -> str:
    low, middle, high = map(month_words, points)
    return middle if low == high else f"{low} to {high}, {middle}"
