"""Words on published scales at their boundaries, and numbers made against published identities.

Sources of the scales:

- ENFSI (2015). *ENFSI Guideline for Evaluative Reporting in Forensic Science*, version 3.0: a
  likelihood ratio of 1 supports neither side; 2-10 weak, 10-100 moderate, 100-1,000 moderately
  strong, 1,000-10,000 strong, 10,000-1,000,000 very strong support, above that extremely strong.
- Kass, R. E. and Raftery, A. E. (1995). Bayes factors. *JASA* 90, 773-795: 1-3 not worth more than
  a bare mention, 3-20 positive, 20-150 strong, above 150 very strong.
- Mastrandrea, M. D. and others (2010). IPCC guidance note on uncertainties, table 1: virtually
  certain 99-100 %, very likely 90-100, likely 66-100, about as likely as not 33-66, unlikely 0-33,
  very unlikely 0-10, exceptionally unlikely 0-1.

The published bands share their ends; that the stronger word holds there is a rule of ours.
"""

from fractions import Fraction
from math import comb, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import beta
from scipy.stats import betabinom

from dating.claims.counts import chance_between, chance_of_none
from dating.claims.statements import NumberMade
from dating.claims.strength import (
    DrawChance,
    decimals_of,
    factor_from,
    factor_words,
    mention_words,
    probability_words,
)

BELOW = 1 - 1e-9

ENFSI = [
    (1, 2, "no"),
    (2, 10, "weak"),
    (10, 100, "moderate"),
    (100, 1_000, "moderately strong"),
    (1_000, 10_000, "strong"),
    (10_000, 1_000_000, "very strong"),
    (1_000_000, 1e300, "extremely strong"),
]


@pytest.mark.parametrize(("low", "high", "word"), ENFSI)
def test_support_between_published_bounds(low, high, word):
    for_it = "no support either way" if word == "no" else f"{word} support"
    against = for_it if word == "no" else f"{word} support for the opposite"
    for factor in (low, sqrt(low * high), high * BELOW):
        assert factor_words(factor) == for_it
        assert factor_words(1 / factor) == (against if factor > 1 else for_it)


@pytest.mark.parametrize(
    ("low", "high", "word"),
    [
        (1, 3, "not worth more than a bare mention"),
        (3, 20, "positive"),
        (20, 150, "strong"),
        (150, 1e300, "very strong"),
    ],
)
def test_mentions_between_published_bounds(low, high, word):
    for factor in (low, sqrt(low * high), high * BELOW):
        assert mention_words(factor) == word
        bare = word.startswith("not worth")
        assert mention_words(1 / factor) == (word if bare else f"{word}, against")


@pytest.mark.parametrize(
    ("low", "high", "word"),
    [
        (0.99, 1.0, "virtually certain"),
        (0.90, 0.99 * BELOW, "very likely"),
        (0.66, 0.90 * BELOW, "likely"),
        (0.33 / BELOW, 0.66 * BELOW, "about as likely as not"),
        (0.10 / BELOW, 0.33, "unlikely"),
        (0.01 / BELOW, 0.10, "very unlikely"),
        (0.0, 0.01, "exceptionally unlikely"),
    ],
)
def test_probabilities_between_published_bounds(low, high, word):
    for value in (low, (low + high) / 2, high):
        assert probability_words(value) == word


@given(st.floats(-9, 9), st.floats(0, 2))
def test_a_larger_factor_has_no_weaker_word(log, more):
    factor, times = 10**log, 10**more
    order = [f"{word} support for the opposite" for _, _, word in reversed(ENFSI[1:])]
    order += ["no support either way", *(f"{word} support" for _, _, word in ENFSI[1:])]
    assert order.index(factor_words(factor)) <= order.index(factor_words(factor * times))


@pytest.mark.parametrize(
    ("before", "after", "value", "word"),
    [
        (Fraction(1, 2), Fraction(10, 11), 10, "moderate support"),
        (Fraction(1, 11), Fraction(10, 11), 100, "moderately strong support"),
        (Fraction(1, 1001), Fraction(1, 2), 1000, "strong support"),
        (Fraction(10, 11), Fraction(1, 11), 1 / 100, "moderately strong support for the opposite"),
        (Fraction(1, 101), Fraction(100, 101), 10_000, "very strong support"),
        (Fraction(1, 3), Fraction(1, 3), 1, "no support either way"),
    ],
)
def test_odds_of_whole_numbers_meet_the_bounds(before, after, value, word):
    """Odds before times the factor are odds after, also where rounding is in the way."""
    factor = factor_from(DrawChance(float(before), 0, 1e-12), DrawChance(float(after), 0, 1e-12))
    assert factor.value == pytest.approx(value, rel=1e-9)
    assert factor_words(factor.value) == word


@pytest.mark.parametrize(
    ("factor", "written"),
    [(3.4e8, "340 million"), (999_999, "1 million"), (1 / 3.4e8, "1/340 million")],
)
def test_large_factors_are_written_out(factor, written):
    assert decimals_of(factor) == written


@given(st.floats(0, 5.99))
def test_factors_are_written_with_two_figures(log):
    factor = 10**log
    for made in (decimals_of(factor), decimals_of(1 / factor)):
        number = float(made.removeprefix("1/").replace(",", ""))
        assert number == pytest.approx(factor, rel=0.05)
        assert len(str(number).replace(".", "").strip("0")) <= 2


# Shares that are Beta(a, b): numbers are beta-binomial
#
# Skellam, J. G. (1948). A probability distribution derived from the binomial distribution by
# regarding the probability of success as variable between the sets of trials. *Journal of the
# Royal Statistical Society B* 10(2), 257-261.

DRAWS = 40_000


def shares(a, b, months=1):
    share = np.random.default_rng((a * 1000, b * 1000)).beta(a, b, DRAWS)
    return np.repeat(share[:, None], months, axis=1)


def within_errors(values, expected):
    error = values.std() / sqrt(len(values))
    assert values.mean() == pytest.approx(expected, abs=4 * error + 1e-5)


@pytest.mark.parametrize(("a", "b"), [(1, 1), (2, 5), (30, 4), (1, 200)])
@pytest.mark.parametrize(
    "made", [(1,), (3, 4), pytest.param((10, 0, 20, 6), marks=pytest.mark.slow)]
)
def test_numbers_of_a_share_that_is_beta_are_beta_binomial(a, b, made):
    n, share = sum(made), shares(a, b, len(made))
    each = np.broadcast_to(np.array(made, float), share.shape)
    none = chance_of_none(each, share)
    within_errors(none, beta(a, b + n) / beta(a, b))
    assert none == pytest.approx(chance_between(0, 0, each, share), abs=1e-9)
    within_errors((each * share).sum(axis=1), n * a / (a + b))
    law = betabinom(n, a, b)
    for low, high in ((0, n // 3), (n // 3, n // 2), (n, n), (1, n)):
        expected = law.cdf(high) - law.cdf(low - 1)
        within_errors(chance_between(low, high, each, share), expected)


@pytest.mark.parametrize("n", [1, 4, pytest.param(10, marks=pytest.mark.slow)])
def test_of_an_even_share_every_number_is_equally_probable(n):
    """Bayes, T. (1763). *Philosophical Transactions* 53, 370-418: each has 1 / (n + 1)."""
    share, made = shares(1, 1), np.full((DRAWS, 1), float(n))
    for number in range(n + 1):
        within_errors(chance_between(number, number, made, share), 1 / (n + 1))


# The number made from serial numbers
#
# Ruggles, R. and Brodie, H. (1947). An empirical approach to economic intelligence in World War
# II. *JASA* 42, 72-91, for the problem; worked values of the posterior with a flat prior, of which
# the mean is (m - 1)(k - 1) / (k - 2) with k serials of which the largest is m.


@pytest.mark.parametrize(
    "published",
    [
        ((19, 40, 42, 60), 74, 88.5, 50.22, 0.05, 75),
        ((2, 6, 7, 14), 16.5, 19.5, 10.36, None, None),
    ],
)
def test_numbers_made_from_serial_numbers(published):
    """Instruments here have no serial numbers, so this fits only in part: the posterior is made
    here, from the formula; what is tested is that numbers drawn from it and put through a claim of
    numbers made, of which every instrument counts, give its probabilities back.
    """
    serials, estimated, mean, sd, least, median = published
    k, m = len(serials), max(serials)
    assert m + m / k - 1 == estimated

    def more_than(n):
        return Fraction(comb(m - 1, k - 1), comb(n, k - 1))

    number = range(m, 40 * m)
    posterior = [Fraction(k - 1, k) * Fraction(comb(m - 1, k - 1), comb(n, k)) for n in number]
    assert sum(posterior) + more_than(number[-1]) == 1
    assert (m - 1) * (k - 1) / (k - 2) == mean
    spread = sqrt((k - 1) * (m - 1) * (m - k + 1) / ((k - 3) * (k - 2) ** 2))
    assert spread == pytest.approx(sd, abs=0.005)

    reached = np.cumsum(np.array(posterior, float))
    drawn = m + np.searchsorted(reached, np.random.default_rng(m).uniform(size=DRAWS))
    made = drawn[:, None].astype(float)

    def probability(low, high):
        claim = NumberMade.model_validate({"states": {"label": "round"}, "between": [low, high]})
        return chance_between(*claim.ends(), made, np.ones_like(made))

    assert probability(0, m - 1).tolist() == [0] * DRAWS
    within_errors(probability(m, m), least if least is not None else float(posterior[0]))
    for n in (m + 3, round(estimated), round(mean), 2 * m, 5 * m):
        within_errors(probability(0, n), float(1 - more_than(n)))
    if median is not None:
        assert more_than(median) < Fraction(1, 2) < more_than(median - 1)
        within_errors(probability(m, median), float(1 - more_than(median)))
