"""Draws that are not sound: none is lost, none is dated by, and the user hears what is stuck."""

import shutil
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

import dating
from dating.cli.main import main
from dating.learning import chains as chains_module
from dating.learning.chains import chains_of
from dating.learning.coordinates import coordinates_of
from dating.learning.files import read_draws
from dating.learning.health import health_of
from dating.learning.obstacles import Against, Gap, Silence, TwoPlaces, Wall, obstacles_of
from dating.learning.obstacles import two_places as two_places_of
from dating.learning.sampling import learn, plan_of
from dating.words.obstacles import on_obstacles
from tests.learning import ONE_RAMP, one_ramp_rows, written
from tests.learning_worlds import THROUGHOUT, planned

SEEN = "instrument: X\nmaker: example\nseen: {ends: metal}\n"


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def learned(folder, *more):
    files = (folder / "example.yaml", folder / "corpus.csv", "--out", folder / "o.nc")
    return run("learn", *files, *more)


@pytest.fixture(scope="module")
def first_run(tmp_path_factory):
    """A run of twenty draws, which are too few."""
    folder = tmp_path_factory.mktemp("first")
    written(folder, ONE_RAMP, one_ramp_rows(60))
    (folder / "x.yaml").write_text(SEEN, "utf-8")
    shown = learned(folder, "--draws", 20)
    assert shown.exit_code == 1
    return folder, " ".join(shown.output.split())


@pytest.fixture
def refused(first_run, tmp_path):
    """A copy of what that run leaves, and what it says."""
    folder, said = first_run
    shutil.copytree(folder, tmp_path / "copy")
    return SimpleNamespace(folder=tmp_path / "copy", said=said)


def test_unsound_draws_are_kept_and_said_to_be(refused):
    names = sorted(path.name for path in refused.folder.glob("*.nc"))
    assert names == ["o.unsound.nc"]
    assert "no date can rest on this yet: R-hat" in refused.said
    assert "Not converged: ends, regime 2, " in refused.said
    assert "repeat the command with --continue" in refused.said


def test_no_date_rests_on_them(refused):
    aside = refused.folder / "o.unsound.nc"
    files = ("--maker", refused.folder / "example.yaml", "--learned", aside)
    shown = run("estimate", refused.folder / "x.yaml", *files)
    assert shown.exit_code == 1
    assert "draws that are not sound yet" in shown.output
    assert "use dating learn with --continue to continue" in " ".join(shown.output.split())
    checked = run("check", aside)
    assert checked.exit_code == 0
    assert "draws that are not sound yet" in checked.output
    assert dating.read_learned(aside)["posterior"].sizes["draw"] == 20


def test_they_are_gone_on_with_and_count(refused):
    shown = learned(refused.folder, "--continue")
    assert shown.exit_code == 0, shown.output
    assert sorted(path.name for path in refused.folder.glob("*.nc")) == ["o.nc"]
    maker = dating.read_maker(refused.folder / "example.yaml")
    tree = dating.read_learned(refused.folder / "o.nc")
    assert health_of(tree).good
    assert tree.attrs["runs"] == 2
    assert tree["posterior"].sizes["draw"] - 20 in chains_module.MORE
    assert not read_draws(refused.folder / "o.nc", maker).unsound


@pytest.mark.parametrize(
    ("change", "said", "status"),
    [
        (lambda folder: written(folder, ONE_RAMP, one_ramp_rows(61)), "state of the corpus", 1),
        (
            lambda folder: written(
                folder, ONE_RAMP.replace("likely: 6", "likely: 7"), one_ramp_rows(60)
            ),
            "state of the maker file",
            1,
        ),
        (
            lambda folder: (folder / "o.unsound.nc").unlink(),
            "there are no draws to continue with",
            2,
        ),
    ],
)
def test_others_draws_are_not_gone_on_with(refused, change, said, status):
    change(refused.folder)
    shown = learned(refused.folder, "--continue")
    assert shown.exit_code == status
    assert said in " ".join(shown.output.split())
    assert not (refused.folder / "o.nc").exists()


def test_nor_with_another_seed_nor_are_they_written_over(refused):
    shown = learned(refused.folder, "--continue", "--seed", 2)
    assert shown.exit_code == 1
    assert "another seed" in shown.output
    again = learned(refused.folder, "--draws", 20)
    assert again.exit_code == 2
    assert "or --replace to start again" in " ".join(again.output.split())


def test_a_run_that_is_stopped_keeps_its_draws(tmp_path, monkeypatch):
    """As by Ctrl-C, once every chain has 60 draws."""
    written(tmp_path, ONE_RAMP, one_ramp_rows(60))
    wait = chains_module._Run._wait

    def interrupted(run, sampler, _):
        wait(run, sampler, 60)
        raise KeyboardInterrupt

    monkeypatch.setattr(chains_module._Run, "_wait", interrupted)
    shown = learned(tmp_path, "--accept", 0.95)
    assert shown.exit_code == 1
    assert "stopped before the draws were complete" in " ".join(shown.output.split())
    kept = dating.read_learned(tmp_path / "o.unsound.nc")
    assert kept["posterior"].sizes["draw"] >= 60
    assert kept.attrs["stopped"]


def test_further_chains_begin_where_the_earlier_ones_ended(tmp_path):
    density = plan_of(*written(tmp_path, ONE_RAMP, one_ramp_rows(60))).density
    first = chains_of(density, draws=100, accept=0.9, seed=1)
    both = chains_of(density, draws=50, accept=0.9, seed=7, before=first)
    np.testing.assert_array_equal(both.unknowns[:, :100], first.unknowns)
    assert both.unknowns.shape == (4, 150, density.size)
    assert both.stats["diverging"].shape == (4, 150)
    again = chains_of(density, draws=50, accept=0.9, seed=7, before=first)
    np.testing.assert_array_equal(again.unknowns, both.unknowns)


def test_coordinates_are_found_back(tmp_path):
    density = plan_of(*written(tmp_path, ONE_RAMP, one_ramp_rows(60))).density
    coordinates = coordinates_of(density)
    assert len(coordinates.sheared) > 0
    u = np.random.default_rng(1).standard_normal(density.size)
    back = coordinates.coordinates(density, coordinates.unknowns(density, u))
    np.testing.assert_allclose(back, u, atol=1e-12)


# What is stuck -------------------------------------------------------------------------------


@given(st.floats(-50, 50), st.floats(6, 60), st.integers(1, 3), st.integers(0, 2**31))
def test_chains_that_stay_apart_lie_around_two_places(at, apart, count, seed):
    noise = np.random.default_rng(seed).normal(size=(4, 200))
    shift = np.where(np.arange(4) < count, at, at + apart)[:, None]
    low, high = two_places_of(noise + shift)
    assert (low, high) == pytest.approx((at, at + apart), abs=0.5)


@given(st.integers(0, 2**31), st.sampled_from(["normal", "uniform", "exponential"]))
def test_chains_of_one_hump_lie_around_one_place(seed, kind):
    draws = getattr(np.random.default_rng(seed), kind)(size=(4, 300))
    assert two_places_of(draws) is None


def stuck(folder, text, rows):
    """What is stuck in a run of forty draws, none of which is enough."""
    plan = plan_of(*written(folder, text, rows))
    found = obstacles_of(plan, learn(plan, draws=40, accept=0.9, seed=2))
    sentences = " ".join(on_obstacles(found, plan.maker.period.first))
    return [reason for each in found for reason in each.reasons], sentences


def dated(month, ends, name="C"):
    return (f"{name}-{month}", f"{1930 + month // 12}-{month % 12 + 1:02d}", 1, ends)


def test_a_gap_between_instruments_is_named(tmp_path):
    rows = [dated(m, "wood") for m in range(14)] + [dated(m, "metal") for m in range(30, 40)]
    reasons, said = stuck(tmp_path, ONE_RAMP, rows)
    (gap,) = {reason for reason in reasons if isinstance(reason, Gap)}
    assert 14 <= gap.first < gap.last <= 29
    assert "no dated instrument from" in said
    assert "1931 to" in said


def test_that_nothing_was_seen_is_named(tmp_path):
    reasons, said = stuck(tmp_path, ONE_RAMP, [dated(12, "")])
    assert Silence() in reasons
    assert "no dated instrument shows either form" in said


def test_a_wall_is_named_with_its_instrument(tmp_path):
    """A linear ramp without slips begins before the earliest new instrument, or not."""
    rows = [dated(m, "wood") for m in range(19)] + [dated(20, "metal", "early")]
    rows += [dated(m, "wood") for m in (21, 22, 23, 24, 25)]
    rows += [dated(m, "metal") for m in range(26, 50)]
    reasons, said = stuck(tmp_path, ONE_RAMP, rows)
    walls = {(reason.instrument, reason.end) for reason in reasons if isinstance(reason, Wall)}
    assert walls == {("early-20", "start")}
    assert "reaches early-20 (line 21 of the corpus, built 1931-09, trust 1)" in said


def test_an_instrument_against_a_slip_of_zero_is_named(tmp_path):
    rows = [dated(m, "wood") for m in range(20)] + [dated(m, "metal") for m in range(26, 50)]
    reasons, said = stuck(tmp_path, ONE_RAMP, [*rows, dated(4, "metal", "odd")])
    (against,) = {reason for reason in reasons if isinstance(reason, Against)}
    assert (against.instrument, against.feature) == ("odd-4", "ends")
    assert f"(line {against.line} of the corpus, built 1930-05)" in said


def test_two_places_are_named_by_their_months():
    from dating.learning.obstacles import Obstacle  # noqa: PLC0415

    name = "ends, regime 2, first use"
    each = Obstacle(name, 1.8, 4.0, "ends, regime 2", (TwoPlaces(14.2, 30.9),))
    (said,) = on_obstacles([each], 1930 * 12)
    assert "around two months, March 1931 and July 1932" in said


@pytest.mark.slow
@pytest.mark.parametrize("slip", [THROUGHOUT.slip, 0])
def test_a_corpus_of_twelve_features_becomes_sound_by_itself(tmp_path, slip):
    """150 instruments, and no more draws or acceptance asked for; without slips it is harder."""
    health = health_of(learn(planned(tmp_path, [replace(THROUGHOUT, slip=slip)] * 12, 150)))
    assert health.good, health.fault
