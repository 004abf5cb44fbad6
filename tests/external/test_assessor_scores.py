"""Cooke's calibration score of an assessor's 5 %, 50 % and 95 % points.

Formula from Cooke, R. M. (1991), *Experts in Uncertainty*, Oxford University Press (book and page
from memory), as restated in later papers' supplements: the upper tail, at 2 N KL(s || p) with
p = (.05, .45, .45, .05), of chi-square with three degrees of freedom. The values for N = 10 were
recomputed from that formula with scipy 1.18; no published table of them is known to us.
"""

import pytest
from scipy.stats import chi2, entropy

from dating.learning.assessors import cooke_calibration

EXPECTED = [0.05, 0.45, 0.45, 0.05]


@pytest.mark.parametrize(
    ("counts", "score"),
    [
        ((0, 5, 5, 0), 0.5505),
        ((1, 4, 4, 1), 0.8283),
        ((2, 3, 3, 2), 0.1012),
        ((4, 1, 1, 4), 5.2e-6),
        ((1, 9, 9, 1), 1.0),
    ],
)
def test_scores_of_ten_realisations(counts, score):
    assert cooke_calibration(counts) == pytest.approx(score, rel=0.005)


@pytest.mark.parametrize("counts", [(1, 0, 0, 0), (0, 3, 0, 1), (5, 2, 9, 1), (0, 0, 0, 40)])
def test_the_tail_is_that_of_scipy(counts):
    shares = [count / sum(counts) for count in counts]
    statistic = 2 * sum(counts) * entropy(shares, EXPECTED)
    assert cooke_calibration(counts) == pytest.approx(chi2.sf(statistic, 3), rel=1e-10)


@pytest.mark.parametrize("counts", [(0, 0, 0, 0), (1, 2, 3)])
def test_other_counts_are_refused(counts):
    with pytest.raises(ValueError, match="four counts"):
        cooke_calibration(counts)
