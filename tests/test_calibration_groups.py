"""Groups of instruments stand beside what chance alone would leave."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from dating.calibration.cross_validation import dated_without
from dating.calibration.groups import groups_of
from dating.calibration.scores import scores_of
from dating.calibration.verdict import compared
from dating.words.calibration import calibration_text
from dating.words.calibration_groups import on_figures_beyond
from tests.calibrating import bumps, dated_as, drawn_months, month_text, sharpened, six_ramps
from tests.learning import MAKER, written

SETS, COUNT = 20, 120


@pytest.fixture(scope="module")
def corpus(tmp_path_factory):
    _, made = six_ramps(tmp_path_factory.mktemp("groups"), 12, 1)
    return made


def grouped(corpus, posterior, months):
    dated = dated_as(corpus, posterior, months)
    return groups_of(corpus.maker, dated, scores_of(posterior, np.eye(60)[months]))


def figures(groups):
    """Whether each figure of each group is as chance allows; seen-nothing groups hold all."""
    return [
        figure.right
        for divided in (groups.by_date, groups.by_width)
        for group in divided
        for figure in (group.error, *group.coverage)
    ]


def off(corpus, power):
    """The share of figures outside what chance allows, over many sets of instruments."""
    right = []
    for seed in range(SETS):
        posterior = bumps(COUNT, seed)
        months = drawn_months(posterior, seed + 500)
        right += figures(grouped(corpus, sharpened(posterior, power), months))
    return 1 - np.mean(right)


def test_where_all_is_well_one_figure_of_twenty_lies_beyond_chance(corpus):
    """Fewer, as figures go in steps and an interval holds its ends."""
    assert 0.01 < off(corpus, 1.0) < 0.055


def test_sharpened_posteriors_leave_many_figures_beyond_chance(corpus):
    assert off(corpus, 2.0) > 0.4


@given(arrays(float, 8, elements=st.sampled_from([0.0, 1.0, 3.0])).filter(any), st.integers(0, 7))
def test_the_error_is_what_a_loop_gives(weights, month):
    posterior, reached, median = weights / weights.sum(), 0.0, 0
    while reached + posterior[median] < 0.5 and median < 7:
        reached, median = reached + posterior[median], median + 1
    made = scores_of(posterior[None], np.eye(8)[month][None])
    assert made.error[0] == abs(median - month)


def test_the_interval_of_the_error_is_that_of_its_exact_distribution(corpus):
    """One instrument in the group: months between its median and a date drawn from it."""
    posterior = bumps(1)
    (reached,) = np.cumsum(posterior, axis=1)
    apart = np.abs(np.arange(60) - (reached < 0.5).sum())
    below = np.array([posterior[0][apart <= error].sum() for error in range(60)])
    error = grouped(corpus, posterior, [30]).overall.error
    assert below[int(error.high)] == pytest.approx(0.975, abs=0.03)
    assert error.low == 0


def test_every_instrument_is_in_one_group_of_each_way(tmp_path):
    variants = """\
variants:
  states: [plain, concert]
  history: [{shares: {plain: 0.6, concert: 0.4}}]
"""
    told = ["plain", "concert", "concert (0.8)", "plain | concert", "", "concert"]
    rows = [
        (f"E-{n}", month_text(2 * n), 1, told[n % 6], "metal" if n > 14 else "wood")
        for n in range(30)
    ]
    _, read = written(tmp_path, MAKER + variants, rows, "instrument,built,trust,variant,ends")
    dated = dated_without(read, None)
    window = np.array([reference.window for reference in dated.references])
    groups = groups_of(read.maker, dated, scores_of(dated.posterior, window))
    assert {group.name: group.instruments for group in groups.by_variant} == {
        "plain": 5,
        "concert": 10,
        "not certain": 15,
    }
    ways = groups.divided()
    assert list(ways) == ["posterior date", "width", "variant", "amount seen"]
    for divided in ways.values():
        assert sum(group.instruments for group in divided) == groups.overall.instruments == 30
    for group in groups.by_date:
        first, last = group.name.split(" to ")
        assert "1930-01" <= first < last <= "1934-12"
    assert "Of these 32 figures, " in on_figures_beyond(groups)


def test_where_it_is_narrow_groups_are_told_in_paragraphs(corpus):
    posterior = bumps(COUNT)
    made = compared(corpus, None, dated_as(corpus, posterior, drawn_months(posterior)))
    lines = calibration_text(made, 40).split("HOW WELL GROUPS WERE DATED\n")[1].splitlines()
    lines = lines[: lines.index("SIDES, SPREAD, TAILS AND COVERAGE") - 1]
    assert all(lines)
    assert not any(" ;" in line or len(line) > 40 for line in lines)
    assert lines[:2] == ["  all", f"    number: {COUNT}; error: 3; chance: 2 to"]
