"""Lags of marks, spreads of measurements and output, as they were stated and learned, in words."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from dating.learning.comparison import points_of
from dating.learning.learned import Learned
from dating.learning.outcome import Outcome
from dating.maker import Maker
from dating.words.phrases import percent
from dating.words.ranges import NORMAL, Range, Row, range_of

_KEYS = ("stated", "learned")
_PARTS = {"5 %": 0.05, "median": 0.5, "95 %": 0.95}


def on_quantities(outcome: Outcome) -> list[str]:
    """Say what was learned of lags, spreads and output."""
    lines = []
    points = list(lag_rows(outcome))
    for rows in (points[k : k + 3] for k in range(0, len(points), 3)):
        judged, learned = (" | ".join(row[key].middle for row in rows) for key in _KEYS)
        lines.append(
            f"Lag of {rows[0]['of']}, 5 | 50 | 95 %: judged {judged} months, learned {learned}."
        )
    for row in spread_rows(outcome, 0.0):
        stated, learned = row["stated"].middle, row["learned"]
        lines.append(
            f"Spread of {row['of']}: stated {stated}, learned {learned.middle} ({learned.low} to "
            f"{learned.high})."
        )
    return [*lines, *on_output(outcome.plan.maker, outcome.learned)]


def on_output(maker: Maker, learned: Learned) -> list[str]:
    """Say how unevenly instruments were made, and on what that rests."""
    if not learned.output.size:
        return []
    share = np.sort(learned.output.mean(axis=0))[::-1]
    half, months = int((np.cumsum(share) < 0.5).sum()) + 1, len(maker.period)
    return [
        f"Output: half of all instruments were made in the {half} busiest of {months} months. This "
        "treats the corpus as a fair sample of what was made; years from which more survives "
        "look busier than they were."
    ]


def lag_rows(outcome: Outcome) -> Iterator[Row]:
    """Give three rows for each lag that was learned: points of the lags of instruments."""
    marks = outcome.plan.maker.marks()
    for place, lag in enumerate(outcome.plan.layout.lags):
        if lag.learned:
            draws = lag.quantiles(*outcome.learned.lags[:, place].T)
            mark = marks[lag.mark][1]
            for what, p in _PARTS.items():
                judged = np.interp(p, lag.reached, lag.judged)
                learned = np.array([np.interp(p, lag.reached, row) for row in draws])
                yield {
                    "of": lag.mark,
                    "what": what,
                    "stated": Range("", f"{judged:.1f}", ""),
                    "learned": range_of(points_of(learned), ".1f"),
                    "sources": tuple(dict.fromkeys((*mark.lag.sources(), *mark.source))),
                }


def spread_rows(outcome: Outcome, doubt: float) -> Iterator[Row]:
    """Give a row for the spread of each measurement."""
    measurements = outcome.plan.maker.measurements()
    for gauge, draws in zip(outcome.plan.layout.gauges, outcome.learned.spreads.T, strict=False):
        measured = measurements[gauge.name][1]
        around = gauge.spread * np.exp(doubt * NORMAL)
        yield {
            "of": f"{gauge.name} ({measured.unit})",
            "what": "spread",
            "stated": range_of(around, ".3g"),
            "learned": range_of(points_of(draws), ".3g"),
            "sources": measured.source,
        }


def output_rows(outcome: Outcome) -> Iterator[Row]:
    """Give a row for the output of each year, where it was learned."""
    period, output = outcome.plan.maker.period, outcome.learned.output
    if not output.size:
        return
    year = np.arange(period.first, period.last + 1) // 12
    for one in period.years():
        flat = float((year == one).mean())
        yield {
            "of": str(one),
            "what": "share",
            "stated": Range("", percent(flat), ""),
            "learned": Range(*(percent(v) for v in points_of(output[:, year == one].sum(axis=1)))),
            "sources": (),
        }
