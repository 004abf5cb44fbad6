"""Claims given 80 to 95 % are true at that rate, and so at all others."""

import pytest

from tests.claims_calibration import claims_simulated, production_in, reliability

ERRORS = 3.3
FEW = 25


@pytest.fixture(scope="module")
def production(tmp_path_factory):
    return production_in(tmp_path_factory.mktemp("claims"))


def table_of(rows):
    head = "given from   claims   mean given   true   standard error"
    lines = [
        f"{low:10.2f} {count:8} {given:12.3f} {true:6.3f} {error:16.3f}"
        for low, count, given, true, error in rows
    ]
    return "\n".join([head, *lines])


def assert_reliable(rows):
    for low, count, given, true, error in rows:
        if count >= FEW and low < 0.95 and low >= 0.05:
            assert abs(true - given) < ERRORS * max(error, 0.5 / count), table_of(rows)


@pytest.mark.long
def test_claims_are_true_as_often_as_is_said(production):
    made = claims_simulated(production, 16)
    assert len(made.given) == 192
    assert_reliable(reliability(made))


@pytest.mark.slow
def test_thousands_of_claims_are_true_as_often_as_is_said(production):
    """The table is printed; a negative control says more of the same than it knows."""
    made = claims_simulated(production, 300)
    rows = reliability(made)
    print(f"\n{table_of(rows)}")
    assert sum(count for _, count, *_ in rows) == 3600
    assert_reliable(rows)
    odds = (made.given / (1 - made.given).clip(1e-12)) ** 2
    with pytest.raises(AssertionError):
        assert_reliable(reliability(made, odds / (1 + odds)))
