"""The groups of a result: what they hold is the model's, and ArviZ takes them as they are."""

import numpy as np
import pytest
import xarray as xr
from scipy.stats import chi2

import dating
from dating.learning.files import write_learned
from dating.learning.groups import log_likelihoods
from dating.learning.layout import FLOOR
from dating.learning.learned import learned_from
from dating.learning.quantities import arrays_of
from dating.learning.records import Records, predict_records
from dating.learning.sampling import learn, plan_of
from tests.learning import MAKER, written

HEADER = "instrument,built,trust,ends,label,buckle,width,length"
ROWS = [
    ("A", "1930-05", 1, "wood", "round", "plain", 159.5, ""),
    ("B", "1933-02", 1, "metal", "square", "roller", "153 within 1.5", 220),
    ("C", "1932-03", 1, "metal", "round", "", "", ""),
    ("D", "1932", 1, "wood", "square", "none", 149, "207 within 3"),
    ("E", '"[1931-01,1933-01..1933-04]"', 0.9, "metal", "", "plain | roller", "", 190),
    ("F", "[1933-06..]", 1, "metal (0.7)", "square", "other: cord", 170, ""),
    ("G", "", 1, "metal", "", "none", 151, 214),
]
GRADES = """\
variants:
  states: [plain, fine]
  history: [{shares: {plain: 0.7, fine: 0.3}}]
components:
"""


@pytest.fixture(scope="module")
def result(tmp_path_factory):
    """Seven instruments of every kind, one of them undated, learned from in a short run."""
    plan = plan_of(*written(tmp_path_factory.mktemp("groups"), MAKER, ROWS, HEADER))
    return plan, learn(plan, draws=250, seed=3)


def test_the_likelihood_by_instrument_sums_to_the_models(result):
    plan, tree = result
    record, unknowns = tree["log_likelihood"]["record"], tree["unknowns"]["z"].values[0, ::50]
    whole = [plan.density(x)[0] - plan.density.log_prior(x) for x in unknowns]
    assert record.dims == ("chain", "draw", "instrument")
    assert record.values[0, ::50].sum(axis=-1) == pytest.approx(np.array(whole), abs=1e-4)
    priors = tree["log_prior"].to_dataset().to_array().sum("variable").values[0, ::50]
    assert priors == pytest.approx(plan.density.log_prior(unknowns))


@pytest.mark.parametrize("grades", ["", "variant,"])
def test_the_likelihood_of_an_instrument_is_that_of_a_corpus_of_it_alone(tmp_path, grades):
    text = MAKER.replace("components:\n", GRADES) if grades else MAKER
    header = HEADER.replace("ends", f"{grades}ends")
    rows = [(*r[:3], *(["fine" if r[0] in "AD" else ""] if grades else []), *r[3:]) for r in ROWS]
    plan = plan_of(*written(tmp_path, text, rows, header))
    x = np.random.default_rng(4).standard_normal((1, 1, plan.density.size))
    together = log_likelihoods(plan.by_instrument, x)[0, 0]
    for row, likelihood in zip(rows, together, strict=True):
        blank = ("Z", "1930", 1, *[""] * (len(row) - 3))  # an undated one may not stand alone
        alone = plan_of(*written(tmp_path, text, [row] if row[1] else [row, blank], header))
        value, prior = alone.density(x[0, 0])[0], alone.density.log_prior(x[0, 0])
        floors = np.log1p(FLOOR) if grades and not row[1] else 0.0  # of the blank one's variant
        assert value - prior - floors == pytest.approx(likelihood, abs=1e-9), row


def test_variables_are_what_the_unknowns_stand_for(result):
    plan, tree = result
    quantities = plan.density.quantities(tree["unknowns"]["z"].values)
    for name, array in arrays_of(tree).items():
        if array.size:
            np.testing.assert_array_equal(array, quantities[name], err_msg=name)
    posterior, numbers = tree["posterior"], list(plan.layout.numbers)
    event, lag = (quantities["value"][..., numbers.index(n)] for n in (EVENT, f"{ENDS}, lag"))
    first_use = posterior["first_use"].sel(changeover=ENDS)
    np.testing.assert_allclose(first_use, event + lag)
    np.testing.assert_allclose(posterior["first_use_year"], 1930 + posterior["first_use"] / 12)
    assert "units" in posterior["first_use"].attrs
    assert "label, regime 2" not in posterior["gradual_changeover"].values


EVENT, ENDS = "event new-shop", "ends, regime 2"


def test_the_prior_is_the_judgement(result):
    plan, tree = result
    early = tree["prior"]["event_month"].sel(event="new-shop").quantile([0.05, 0.5, 0.95]).values
    judged = plan.layout.numbers[EVENT].quantile([0.05, 0.5, 0.95])
    assert early == pytest.approx(judged, abs=1.2)


def test_predictions_are_as_frequent_as_the_model_expects(result):
    """States of instruments of known month against P(recorded | month), by chi-squared."""
    plan, tree = result
    records = Records(plan.corpus, plan.layout, plan.tables.output)
    x = tree["unknowns"]["z"].values[0, :1].repeat(4000, axis=0)
    codes, values = predict_records(records, plan.density, x, seed=1)
    learned = learned_from(tree, 10**6).values[:1]
    metal = _share_of_metal(plan, learned, tree)
    places = [p for p, (i, name, _) in enumerate(records.sights) if name == "ends" and i < 3]
    observed = codes[:, places].sum(axis=0)
    expected = 4000 * metal
    miss = ((observed - expected) ** 2 / (expected * (1 - metal))).sum()
    assert miss < chi2.isf(1e-4, len(places))
    other = ((observed - (4000 - expected)) ** 2 / (expected * (1 - metal))).sum()
    assert other > chi2.isf(1e-4, len(places))
    assert np.isfinite(values).all()


def _share_of_metal(plan, values, tree):
    """P(metal recorded) in the months of A, B and C, from the formulae; a swap of 5 %."""
    from dating.ramps import month_shares  # noqa: PLC0415

    starts, overlaps = plan.layout.starts(values), plan.layout.overlaps(values)
    built = month_shares(starts[:, 0], overlaps[:, 0], plan.layout.months)[0]
    slip = arrays_of(tree)["slip"][0, 0, 0]
    seen = (1 - slip) * built + slip / 2
    seen = 0.95 * seen + 0.05 * float(seen @ plan.tables.output)
    at = seen[[4, 37, 26]]
    return (at * (1 - FLOOR) + FLOOR) / (1 + FLOOR)


def test_a_variant_that_was_not_made_yet_is_foretold_all_the_same(tmp_path):
    """It is recorded so, and one recorded state in a thousand may be anything."""
    history = "{shares: {plain: 1}}, {state: fine, first_use: 1934-01, overlap: 0}"
    text = MAKER.replace(
        "components:\n", GRADES.replace("{shares: {plain: 0.7, fine: 0.3}}", history)
    )
    header = "instrument,built,trust,variant,ends"
    plan = plan_of(*written(tmp_path, text, [("early", "1931-02", 1, "fine", "wood")], header))
    records = Records(plan.corpus, plan.layout, plan.tables.output)
    codes, _ = predict_records(records, plan.density, np.zeros((20, plan.density.size)), seed=1)
    assert [name for _, name, _ in records.sights] == ["variants", "ends"]
    assert set(codes[:, 0].tolist()) == {0}


def test_counts_are_those_of_the_recorded_states(result):
    _, tree = result
    count = tree["observed_data"]["count"]
    assert count.sel(feature_state="ends, metal").item() == 4
    assert count.sel(feature_state="buckle, none").item() == 2
    for group in ("posterior_predictive", "prior_predictive"):
        expected = tree[group]["count"].sel(feature_state=["ends, wood", "ends, metal"])
        assert (expected.sum("feature_state") == 6).all()


def test_a_file_gives_the_whole_result_back(result, tmp_path):
    _, tree = result
    write_learned(tree, tmp_path / "learned.nc")
    read = dating.read_learned(tmp_path / "learned.nc")
    assert set(read.children) == GROUPS == set(tree.children)
    for name, group in tree.children.items():
        xr.testing.assert_identical(read[name].to_dataset(), group.to_dataset())


GROUPS = {
    "constant_data",
    "log_likelihood",
    "log_prior",
    "observed_data",
    "posterior",
    "posterior_predictive",
    "prior",
    "prior_predictive",
    "sample_stats",
    "unknowns",
}


@pytest.mark.filterwarnings("ignore:Estimated shape parameter")  # of so few instruments
def test_arviz_takes_a_result_as_it_is(result):
    """Tables and pictures, without a warning, with labels in the words of the maker file."""
    import arviz as az  # noqa: PLC0415
    import matplotlib.pyplot as plt  # noqa: PLC0415

    _, tree = result
    table = az.summary(tree, var_names=["first_use_year", "share", "mean"])
    assert "first_use_year[ends, regime 2]" in table.index
    assert "share[buckle, regime 1, plain]" in table.index
    assert np.isfinite(table.drop(columns="r_hat").astype(float)).all(axis=None)
    moved = az.psense_summary(tree, var_names="first_use_year")
    assert set(moved.columns) >= {"prior", "likelihood"}
    elpd = az.loo(tree, pointwise=True)
    assert elpd.n_data_points == len(ROWS)
    shown = [
        az.plot_trace_dist(tree, var_names="first_use_year", backend="matplotlib"),
        az.plot_forest(tree, var_names="first_use_year", backend="matplotlib"),
        az.plot_ppc_dist(tree, var_names="measured", backend="matplotlib"),
        az.plot_ppc_interval(tree, var_names="count", backend="matplotlib"),
        az.plot_prior_posterior(tree, var_names="first_use_year", backend="matplotlib"),
    ]
    assert all(each is not None for each in shown)
    plt.close("all")
