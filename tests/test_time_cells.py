"""Cells of time: what stated dates tell apart, as far as it can be afforded, and between them."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dating.learning.latent.smoothing import kernel, scattering
from dating.learning.latent.time_cells import MOST_CELLS, Cells, cells_between
from dating.learning.output import output_from
from dating.months import Period

FEW = settings(max_examples=25)
EDGES = st.sets(st.integers(1, 199), max_size=30).map(lambda cut: (0, *sorted(cut), 200))


def years_from(period):
    """The months of each calendar year of a period, as stated dates."""
    first, months = period.first, len(period)
    starts = range(-first % 12, months, 12)
    return [(start, min(start + 12, months)) for start in starts]


@FEW
@given(EDGES)
def test_cells_hold_every_month_once(edges):
    cells, by_month = Cells(edges), np.arange(1.0, 201)
    by_cell = [sum(by_month[a:b]) for a, b in pairwise(edges)]
    assert cells.gathered(by_month).tolist() == by_cell
    assert cells.widths.sum() == len(cells.of_month) == cells.months == 200
    weights = cells.spread()
    assert weights.sum(axis=0).tolist() == [1.0] * 200
    assert (np.arange(len(cells)) @ weights).tolist() == cells.of_month.tolist()


@pytest.mark.parametrize("period", ["1931/1950", "1801/1990", "1931-03/1950-10", "1801-12/1990"])
def test_dates_of_years_give_calendar_years(period):
    period = Period.parse(period)
    cells = cells_between(years_from(period), period)
    inner = np.array(cells.edges[1:-1]) + period.first
    assert (inner % 12 == 0).all()
    assert len(cells) == len(period.years())


def test_dates_of_months_give_months_and_one_month_more_changes_one_cell():
    """Up to 360 cells are kept; of 361, two are joined, and only there is time coarser."""
    for months in (120, 121, 360, 361, 400):
        period = Period(12 * 1900, 12 * 1900 + months - 1)
        cells = cells_between([(m, m + 1) for m in range(months)], period)
        assert len(cells) == min(months, MOST_CELLS)
        assert (cells.widths > 1).sum() == max(months - MOST_CELLS, 0)


def test_cells_with_the_fewest_dates_are_joined():
    period = Period(12 * 1900, 12 * 1900 + 379)
    dates = [(m, m + 1) for m in range(380) for _ in range(1 if 100 <= m < 140 else 5)]
    cells = cells_between(dates, period)
    assert len(cells) == MOST_CELLS
    joined = np.flatnonzero(cells.widths > 1)
    assert min(cells.edges[place] for place in joined) >= 100
    assert max(cells.edges[place + 1] for place in joined) <= 140


def test_a_few_dates_of_months_among_years_cut_only_their_years():
    period = Period.parse("1931/1940")
    cells = cells_between([*years_from(period), (40, 41)], period)
    assert cells.edges == (0, 12, 24, 36, 40, 41, 48, 60, 72, 84, 96, 108, 120)


@FEW
@given(EDGES, st.sets(st.integers(0, 29)))
def test_weights_between_cells_are_lines_and_whole_cells_keep_theirs(edges, whole):
    cells = Cells(edges)
    kept = [edges[place : place + 2] for place in whole if place + 1 < len(edges)]
    finer = cells.finer(kept)
    assert set(cells.edges) <= set(finer.edges)
    along = cells.interpolation(finer)
    assert along.min() >= 0
    assert along.sum(axis=0) == pytest.approx(1)
    straight = cells.middles @ along
    for place, (start, stop) in enumerate(pairwise(finer.edges)):
        if (start, stop) in kept:
            assert straight[place] == pytest.approx((start + stop) / 2)
        elif cells.middles[0] <= finer.middles[place] <= cells.middles[-1]:
            assert straight[place] == pytest.approx(finer.middles[place])


@FEW
@given(EDGES, st.floats(0.1, 100))
def test_a_kernel_between_cells_is_the_mean_over_their_months(edges, reach):
    """So cutting time more finely changes nothing but the detail."""
    cells, months = Cells(edges), kernel(Cells.even(200, 1), reach)
    by_cell = cells.gathered(cells.gathered(months).T) / np.outer(cells.widths, cells.widths)
    assert kernel(cells, reach) == pytest.approx(by_cell, rel=1e-9)
    assert scattering(cells, reach).sum(axis=0) == pytest.approx(1)


# How many were made when --------------------------------------------------------------------


def made_in_batches(seed=1):
    """Forty batches of eight within a month each, in twenty years."""
    months = np.random.default_rng(seed).choice(240, 40, replace=False)
    return [(int(month), int(month) + 1) for month in months for _ in range(8)]


def test_batches_stay_batches_and_even_production_is_even():
    period = Period.parse("1931/1950")
    dates = made_in_batches()
    cells, counts = output_from(dates, period)
    busy = {start for start, _ in dates}
    inside = [count for start, count in zip(cells.edges, counts, strict=False) if start in busy]
    assert sum(inside) > 0.9 * len(dates)
    generator = np.random.default_rng(1)
    spread = [(int(m), int(m) + 1) for m in generator.integers(240, size=320)]
    cells, counts = output_from(spread, period)
    rate = counts / cells.widths
    assert len(cells) <= 60
    assert rate.max() < 2 * rate.mean()
    assert counts.sum() == pytest.approx(320)


def test_the_output_has_as_many_parts_as_dates_tell_apart():
    """Years over 190 years are 190 parts, one for each, and not parts of fourteen months."""
    period = Period.parse("1801/1990")
    cells, _ = output_from(years_from(period), period)
    assert (cells.widths == 12).all()


def test_one_date_alone_is_spread_over_itself():
    cells, counts = output_from([(0, 60)], Period.parse("1931/1935"))
    assert counts.sum() == pytest.approx(1)
    assert counts.max() == pytest.approx(counts.min(), rel=0.1)
    assert cells.months == 60
