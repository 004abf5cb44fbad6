"""The estimate against aoristic weights, where only a window of time is known.

Ratcliffe, J. H. (2000), "Aoristic analysis: the spatial interpretation of unspecific temporal
events", *International Journal of Geographical Information Science* 14(7), 669-679,
doi:10.1080/136588100424963: an event known to lie in a window weighs one over the number of units
in the window in each of them. That is the posterior with a flat prior and certain documents.
"""

import numpy as np
import pytest

from dating import Examination, Maker, estimate
from dating.months import Period

MAKER = Maker.model_validate(
    {
        "maker": "Tallow Hill Works",
        "product": "dulcimers",
        "invented": True,
        "period": "1920/1939",
        "components": {"body": {}},
    }
)


def dated(*documents):
    papers = [{"what": "letter", "trust": 1, **document} for document in documents]
    examination = {"instrument": "T-1", "maker": "tallow", "documents": papers}
    return estimate(MAKER, Examination.model_validate(examination))


def aoristic(window):
    months = np.arange(MAKER.period.first, MAKER.period.last + 1)
    inside = (months >= window.first) & (months <= window.last)
    return inside / inside.sum()


def test_october_to_march_weighs_a_sixth_a_month_and_half_a_year():
    made = dated({"not_before": "1929-10", "not_after": "1930-03"})
    by_month = dict(zip(MAKER.period.labels(), made.probabilities, strict=True))
    window = Period.parse("1929-10/1930-03").labels()
    assert [by_month[month] for month in window] == pytest.approx([1 / 6] * 6)
    assert sum(by_month.values()) == pytest.approx(1)
    years = made.years()
    assert years.sel(year=[1929, 1930]).values == pytest.approx([0.5, 0.5])


@pytest.mark.parametrize(
    ("first", "last"),
    [("1920-01", "1939-12"), ("1931-07", "1931-07"), ("1923-03", "1928-11"), ("1939-02", "1945")],
)
def test_any_window(first, last):
    """A window that outlasts the period counts as far as the period goes."""
    made = dated({"not_before": first, "not_after": last})
    window = Period(Period.parse(first).first, Period.parse(last).last)
    assert made.probabilities == pytest.approx(aoristic(window))


def test_two_windows_weigh_as_their_overlap():
    made = dated({"not_before": "1926", "not_after": "1931-05"}, {"not_before": "1930-11"})
    assert made.probabilities == pytest.approx(aoristic(Period.parse("1930-11/1931-05")))


def test_the_sum_over_instruments_counts_the_expected_number_in_each_year():
    """The aoristic sum: weights of all instruments added up, year by year."""
    windows = [("1929-10", "1930-03"), ("1930", "1931"), ("1930-07", "1930-12")]
    total = sum(dated({"not_before": a, "not_after": b}).years() for a, b in windows)
    expected = {1929: 0.5, 1930: 0.5 + 0.5 + 1.0, 1931: 0.5}
    assert total.sel(year=list(expected)).values == pytest.approx(list(expected.values()))
    assert float(total.sum()) == pytest.approx(len(windows))


def test_entropy_is_the_logarithm_of_the_window():
    made = dated({"not_before": "1929-10", "not_after": "1930-05"})
    assert made.entropy == pytest.approx(3.0)
