"""How many draws of what was learned an estimate takes: as many as its standard error asks."""

from dataclasses import replace

import numpy as np
import pytest
import xarray as xr

import dating
from dating.learning.chains import Chains
from dating.learning.health import Health
from dating.learning.learned import DRAWS, rounds_of, thinned
from dating.learning.prior import prior_draws
from tests.learning import MAKER, written


@pytest.fixture(scope="module")
def known(tmp_path_factory):
    """Independent draws of what was judged, as if they had been learned."""
    folder = tmp_path_factory.mktemp("draws")
    maker, _ = written(folder, MAKER, [("a", "1930-05", 1, "wood")])
    drawn, generator = prior_draws(maker), np.random.default_rng(1)
    chosen = generator.integers(0, len(drawn.values), 4096)
    names = ("values", "shares", "slip", "replaced", "means")
    return maker, replace(drawn, **{name: getattr(drawn, name)[chosen] for name in names})


def seen_of(not_after, **seen):
    receipt = {"what": "receipt", "not_after": not_after, "trust": 1}
    data = {"instrument": "X", "maker": "example", "seen": seen, "documents": [receipt]}
    return dating.Examination.model_validate(data)


NARROW, WIDE = seen_of("1931-10", ends="metal"), seen_of("1934-12", ends="metal")


def test_a_date_that_fewer_draws_leave_unsettled_takes_more(known):
    maker, learned = known
    made = dating.estimate(maker, NARROW, learned=learned)
    assert made.converged
    assert made.tables.draws > DRAWS
    fewer = dating.estimate(maker, NARROW, learned=learned.thinned(DRAWS))
    assert not fewer.converged
    same = dating.estimate(maker, NARROW, learned=learned.thinned(made.tables.draws))
    np.testing.assert_array_equal(same.probabilities, made.probabilities)


def test_a_date_that_is_settled_takes_no_more(known):
    maker, learned = known
    made = dating.estimate(maker, WIDE, learned=learned)
    assert made.converged
    assert made.tables.draws == DRAWS


def test_a_table_takes_as_many_as_each_row_asks(known):
    maker, learned = known
    table = dating.estimate_many(maker, [NARROW, WIDE], learned=learned)
    alone = [dating.estimate(maker, seen, learned=learned) for seen in (NARROW, WIDE)]
    assert table["converged"].all()
    worst = [made.errors.max() for made in alone]
    assert table["standard_error"].to_numpy() == pytest.approx(worst, rel=1e-9)
    assert table["mass"].to_numpy() == pytest.approx([m.highest_density().mass for m in alone])


def test_rounds_end_with_the_draws_that_there_are(known):
    maker, learned = known
    few = learned.thinned(1200)
    assert [tables.draws for tables in rounds_of(maker, few, 1)] == [512, 1024, 1200]
    assert thinned(few, 512) is thinned(few, 512)


def test_sound_chains_that_went_on_for_long_are_kept_in_part():
    """Evenly over all their draws, with the diagnostics of the whole."""
    unknowns, health = np.arange(8000.0).reshape(2, 4000, 1), Health(1.0, 900.0, 0, "")
    stats = xr.Dataset({"depth": (("chain", "draw"), unknowns[..., 0])})
    chains = Chains(unknowns, stats, 0.9, health)
    kept = chains.thinned(1000)
    assert kept.unknowns.shape == (2, 1000, 1)
    np.testing.assert_array_equal(kept.stats["depth"], kept.unknowns[..., 0])
    assert np.diff(kept.unknowns[0, :, 0]).max() <= 5
    assert (kept.unknowns[0, 0, 0], kept.unknowns[0, -1, 0]) == (0, 3999)
    assert kept.health is health
    assert chains.thinned(4000) is chains
