"""Learning: the model is what it says, agrees with an exact grid, and stops bad results."""

import json

import numpy as np
import pytest
from click.testing import CliRunner
from scipy import stats
from scipy.special import ndtr

import dating
from dating.cli.main import main
from dating.learning.comparison import judged_values, shared_area_of, shifts_of
from dating.learning.constants import constants_of
from dating.learning.files import read_draws, write_learned
from dating.learning.health import health_of
from dating.learning.layout import FLOOR, layout_of
from dating.learning.learned import learned_from, learned_tables
from dating.learning.model import learning_model
from dating.learning.sampling import learn, plan_of
from dating.ramps import month_shares, regimes
from tests.learning import MAKER, ONE_RAMP, one_ramp_rows, written

pytestmark = pytest.mark.filterwarnings("ignore::FutureWarning", "ignore::UserWarning")
HEADER = "instrument,built,trust,ends,label,buckle,width,length"
ROWS = [
    ("A", "1930-05", 1, "wood", "round", "plain", 159.5, ""),
    ("B", "1933-02", 1, "metal", "square", "roller", "153 within 1.5", 220),
    ("C", "1932-03", 1, "metal", "round", "", "", ""),
    ("D", "1932", 1, "wood", "square", "none", 149, "207 within 3"),
    ("E", '"[1931-01,1933-01..1933-04]"', 0.9, "metal", "", "plain | roller", "", 190),
    ("F", "[1933-06..]", 1, "metal (0.7)", "square", "other: cord", 170, ""),
]


def plain_density(maker, name, reading, means, *, spread, output):
    """P(value | month) of a measurement, from scipy, with a swap of its component."""
    part, measurement = maker.measurements()[name]
    anchors = sorted(measurement.mean)
    months = np.arange(maker.period.first, maker.period.last + 1)
    mean = np.interp(months, anchors, means)
    scale = np.hypot(spread, reading.within)
    law = stats.norm if measurement.tails is None else stats.t(measurement.tails)
    seen = law.pdf((reading.value - mean) / scale) / scale
    swapped = maker.components[part].swapped.value
    return (1 - swapped) * seen + swapped * (seen @ output)


def plain_loglikelihood(maker, corpus, *, values, shares, slip, replaced, means, spreads):
    """The likelihood of a corpus, instrument by instrument, from the formulae."""
    layout = layout_of(maker)
    starts, overlaps = layout.starts(values), layout.overlaps(values)
    tables = dating.month_tables(maker)
    features = maker.features()
    recorded = {}
    for place, track in enumerate(layout.tracks):
        ramps = [month_shares(starts[0, r], overlaps[0, r], layout.months) for r in track.ramps]
        built = regimes(ramps, layout.months)[:, 0]
        states = len(track.states)
        p = np.einsum("jt,js->st", built, shares[place, : len(built), :states])
        k = list(features).index(track.name)
        part, feature = features[track.name]
        uniform = dict.fromkeys(track.states, 1 / states)
        later = feature.replacement or uniform
        q = np.array([later.get(s, 0) for s in track.states])[:, None]
        p = (1 - replaced[k]) * ((1 - slip[k]) * p + slip[k] / states) + replaced[k] * q
        swapped = maker.components[part].swapped.value
        p = (1 - swapped) * p + swapped * (p * tables.output).sum(axis=1, keepdims=True)
        recorded[track.name] = (track.states, p)
    total = 0.0
    for reference in corpus.references:
        stated = tables.output * reference.window
        weight = reference.trust * stated / stated.sum() + (1 - reference.trust) * tables.output
        known = len(np.flatnonzero(reference.window)) == 1 and reference.trust == 1
        like = np.ones(layout.months) if known else weight
        for name, sight in reference.examination.seen.items():
            if sight is None or sight.other is not None:
                continue
            states, p = recorded[name]
            r = np.array([1.0 if s in sight.named() else 0.0 for s in states])
            if sight.sure is not None:
                r = r * sight.sure + (1 - r) * (1 - sight.sure) / (len(states) - 1)
            like = like * ((r @ p) * (1 - FLOOR) + FLOOR)
        for name, reading in reference.examination.measured.items():
            at, spread = (means[:3], spreads[0]) if name == "width" else (means[3:], spreads[1])
            law = {"spread": spread, "output": tables.output}
            like = like * plain_density(maker, name, reading, at, **law)
        total += np.log((like * reference.window).sum() if known else like.sum())
    return total


def at(model, point, wanted):
    """What the model's quantities are at a point of its free variables."""
    given = model.replace_rvs_by_values(wanted)
    return model.compile_fn(given, inputs=model.value_vars, on_unused_input="ignore")(point)


def test_the_model_is_the_plain_likelihood(tmp_path):
    maker, corpus = written(tmp_path, MAKER, ROWS, HEADER)
    plan = plan_of(maker, corpus)
    assert plan.tally.rows == 3
    model = learning_model(plan.layout, constants_of(maker, plan.layout, plan.tables), plan.tally)
    generator = np.random.default_rng(5)
    point = {k: generator.normal(size=v.shape) for k, v in model.initial_point().items()}
    names = ["value", "share", "slip", "replaced", "mean", "spread"]
    given = at(model, point, [model[name] for name in names])
    value, shares, slip, replaced, means, spreads = given
    (likelihood,) = at(model, point, [sum(model.potentials)])
    slow = plain_loglikelihood(
        maker,
        corpus,
        values=value[None],
        shares=shares,
        slip=slip,
        replaced=replaced,
        means=means,
        spreads=spreads,
    )
    assert likelihood == pytest.approx(slow, abs=1e-8)


def test_judgements_are_honoured_exactly(tmp_path):
    """At z the model takes the judgement's quantile of Phi(z)."""
    maker, corpus = written(tmp_path, MAKER, ROWS, HEADER)
    plan = plan_of(maker, corpus)
    model = learning_model(plan.layout, constants_of(maker, plan.layout, plan.tables), plan.tally)
    point = {k: np.full(v.shape, 1.3) for k, v in model.initial_point().items()}
    (value,) = at(model, point, [model["value"]])
    wanted = [float(j.quantile(ndtr(1.3))) for j in plan.layout.numbers.values()]
    assert value == pytest.approx(np.array(wanted), abs=1e-6)


@pytest.fixture(scope="module")
def one_ramp(tmp_path_factory):
    folder = tmp_path_factory.mktemp("one-ramp")
    maker, corpus = written(folder, ONE_RAMP, one_ramp_rows(60))
    plan = plan_of(maker, corpus)
    return plan, learn(plan, draws=800, accept=0.95, seed=3)


def grid_posterior(plan, rows, *, wrong=False):
    """The exact posterior of first use and overlap on a fine grid of their judgements."""
    first_use, overlap = plan.layout.numbers.values()
    p = (np.arange(400) + 0.5) / 400
    starts, lengths = first_use.quantile(p), overlap.quantile(p)
    grid = np.array(np.meshgrid(starts, lengths, indexing="ij")).reshape(2, -1)
    shares = month_shares(grid[0], np.hypot(grid[1], 0.75), plan.layout.months)
    total = np.zeros(grid.shape[1])
    for _, built, _, ends in rows:
        month = (int(built[:4]) - 1930) * 12 + int(built[5:]) - 1
        new = (ends == "metal") != wrong
        p_new = shares[:, month]
        total += np.log((p_new if new else 1 - p_new) * (1 - FLOOR) + FLOOR)
    weight = np.exp(total - total.max())
    return grid[0], weight / weight.sum()


def test_the_sampler_agrees_with_an_exact_grid(one_ramp):
    plan, tree = one_ramp
    draws = tree["posterior"]["first_use"].values[..., 0].ravel()
    at, weight = grid_posterior(plan, one_ramp_rows(60))
    mean = at @ weight
    spread = np.sqrt((at - mean) ** 2 @ weight)
    assert health_of(tree).good
    assert draws.mean() == pytest.approx(mean, abs=0.1 * spread)
    assert draws.std() == pytest.approx(spread, rel=0.1)


def test_a_wrong_model_does_not(one_ramp):
    """Negative control: the grid with the states exchanged."""
    plan, tree = one_ramp
    draws = tree["posterior"]["first_use"].values[..., 0].ravel()
    at, weight = grid_posterior(plan, one_ramp_rows(60), wrong=True)
    mean = at @ weight
    assert abs(draws.mean() - mean) > 3 * draws.std()


def test_learning_sharpens_a_judgement(one_ramp):
    plan, tree = one_ramp
    (shift,) = shifts_of(plan.layout, learned_from(tree))
    low, _, high = shift.learned
    assert high - low < 0.3 * (shift.judged[2] - shift.judged[0])
    assert low < 20.0 < high
    assert 0 < shift.shared_area < 0.5


def test_learned_tables_are_the_ramps_of_the_draws(one_ramp):
    plan, tree = one_ramp
    learned = learned_from(tree)
    table = learned_tables(plan.maker, learned).features["ends"].by_state()
    exact = month_shares(learned.values[:, 0], np.hypot(learned.values[:, 1], 0.75), 60)
    assert table[1, :, 0] == pytest.approx(exact, abs=1e-12)
    assert table.sum(axis=0) == pytest.approx(1)


def test_an_estimate_uses_what_was_learned(one_ramp):
    plan, tree = one_ramp
    learned = learned_from(tree)
    examination = {"instrument": "X", "maker": "example", "seen": {"ends": "metal"}}
    seen = dating.Examination.model_validate(examination)
    judged, made = (
        dating.estimate(plan.maker, seen),
        dating.estimate(plan.maker, seen, learned=learned),
    )
    exact = month_shares(learned.values[:, 0], np.hypot(learned.values[:, 1], 0.75), 60)
    wanted = exact.mean(axis=0) / exact.mean(axis=0).sum()
    assert made.probabilities == pytest.approx(wanted, abs=1e-12)
    assert made.entropy < judged.entropy
    assert made.tables.draws == len(learned.values)


def test_claims_are_weighed_by_what_was_learned(one_ramp, tmp_path):
    """Against the draws themselves: all of them after the corpus, the judgement before it."""
    plan, tree = one_ramp
    write_learned(tree, tmp_path / "learned.nc")
    claim = "{claim: late, says: {first_use: {feature: ends, state: metal, not_before: 1931-10}}}"
    (tmp_path / "claims.yaml").write_text(f"maker: example\nclaims: [{claim}]\n", "utf-8")
    learned = str(tmp_path / "learned.nc")
    arguments = ["weigh", str(tmp_path / "claims.yaml"), "--maker", plan.maker.origin.file]
    made = CliRunner().invoke(main, [*arguments, "--learned", learned, "--as", "json"])
    assert made.exit_code == 0, made.output
    (record,) = json.loads(made.stdout)["claims"]
    starts = tree["posterior"]["first_use"].sel(changeover="ends, regime 2").values
    assert record["posterior"]["probability"] == pytest.approx((starts >= 21).mean(), abs=1e-9)
    judged = plan.layout.numbers["ends, regime 2, first use"]
    assert record["prior"]["probability"] == pytest.approx(1 - float(judged.cdf(21.0)), abs=0.002)
    odds = [p / (1 - p) for p in (record[k]["probability"] for k in ("posterior", "prior"))]
    assert record["bayes_factor"]["value"] == pytest.approx(odds[0] / odds[1])
    assert 0 < record["bayes_factor"]["standard_error_log10"] < 0.3


def test_the_result_file_reads_back_and_is_refused_for_another_maker_file(one_ramp, tmp_path):
    plan, tree = one_ramp
    write_learned(tree, tmp_path / "learned.nc")
    assert [path.name for path in tmp_path.iterdir()] == ["learned.nc"]
    read, made = read_draws(tmp_path / "learned.nc", plan.maker), learned_from(tree, 2048)
    assert np.array_equal(read.values, made.values)
    assert read.corpus_fingerprint == plan.corpus.fingerprint
    changed, _ = written(tmp_path, ONE_RAMP.replace("1930/1934", "1930/1935"), one_ramp_rows(3))
    with pytest.raises(dating.InputError, match="another state of the maker file"):
        read_draws(tmp_path / "learned.nc", changed)


@pytest.mark.parametrize("content", [b"", b"no netCDF", b"\x89HDF\r\n\x1a\n" + b"\0" * 500])
def test_what_is_no_result_file_is_refused(one_ramp, tmp_path, content):
    (tmp_path / "x.nc").write_bytes(content)
    with pytest.raises(dating.InputError, match="file that dating learn has written"):
        read_draws(tmp_path / "x.nc", one_ramp[0].maker)


def test_the_number_of_instruments_does_not_change_the_size_of_the_model(tmp_path):
    few = plan_of(*written(tmp_path, ONE_RAMP, one_ramp_rows(200)))
    many = plan_of(*written(tmp_path, ONE_RAMP, one_ramp_rows(2000)))
    assert many.tally.counts.shape == few.tally.counts.shape
    assert many.tally.counts.sum() == 10 * few.tally.counts.sum()


def test_lengths_stated_as_one_number_have_a_doubt_and_dates_have_none(tmp_path):
    """A factor of e to either side is two standard deviations of 0.5 on the logarithm."""
    layout = layout_of(written(tmp_path, MAKER, ROWS, HEADER)[0])
    assert layout.doubted == {"ends, regime 2, lag", "buckle, regime 2, overlap"}
    overlap = layout.numbers["buckle, regime 2, overlap"]
    assert overlap.quantile(0.5) == pytest.approx(3)
    low, high = overlap.quantile([0.05, 0.95])
    assert [np.log(3 / low), np.log(high / 3)] == pytest.approx([1.6449 * 0.5] * 2, abs=1e-4)
    assert (
        float(np.ptp(layout.numbers["label, regime 2, overlap"].quantile([0.05, 0.5, 0.95]))) == 0
    )
    text = ONE_RAMP.replace("{earliest: 1931-01, likely: 1932-01, latest: 1933-06}", "1932-01")
    layout = layout_of(written(tmp_path, text, one_ramp_rows(1))[0])
    assert layout.doubted == frozenset()
    assert set(layout.numbers["ends, regime 2, first use"].quantile([0.05, 0.5, 0.95])) == {24.0}


def test_two_tellings_of_the_same_judgement_agree():
    draws = np.random.default_rng(1).normal(size=4000)
    assert shared_area_of(draws, draws) == pytest.approx(1)
    assert shared_area_of(draws, draws + 1) == pytest.approx(0.617, abs=0.05)


def test_judged_values_follow_the_judgements(tmp_path):
    maker, _ = written(tmp_path, MAKER, ROWS, HEADER)
    layout = layout_of(maker)
    drawn = judged_values(layout)
    for column, judged in zip(drawn.T, layout.numbers.values(), strict=True):
        assert np.quantile(column, 0.5) == pytest.approx(float(judged.quantile(0.5)), abs=0.05)


def run(folder, *more):
    arguments = ["learn", folder / "example.yaml", folder / "corpus.csv", "--out", folder / "o.nc"]
    return CliRunner().invoke(main, [str(a) for a in [*arguments, *more]])


def test_the_command_learns_and_the_estimate_uses_it(tmp_path):
    written(tmp_path, ONE_RAMP, one_ramp_rows(60))
    shown = run(tmp_path)
    assert shown.exit_code == 0, shown.output
    assert "60 with a known month are counted" in shown.output
    assert "ends, regime 2" in shown.output
    file = tmp_path / "x.yaml"
    file.write_text("instrument: X\nmaker: example\nseen: {ends: metal}\n", encoding="utf-8")
    arguments = ["estimate", str(file), "--learned", str(tmp_path / "o.nc")]
    estimated = CliRunner().invoke(main, arguments)
    assert estimated.exit_code == 0, estimated.output
    assert "Reference corpus: " in estimated.output


def test_draws_that_are_not_sound_are_not_written_unless_one_insists(tmp_path):
    written(tmp_path, ONE_RAMP, one_ramp_rows(60))
    refused = run(tmp_path, "--draws", "20")
    assert refused.exit_code == 1
    assert "no date can rest on this yet" in refused.output
    assert not (tmp_path / "o.nc").exists()
    assert run(tmp_path, "--draws", "20", "--insist", "--replace").exit_code == 0
    assert (tmp_path / "o.nc").exists()
