"""The compiled log posterior is that of the PyMC model, its gradient is right, and so are chains.

The model is evaluated by PyTensor in Python, without any compiler. Observed agreement is about
1e-13 of the value; 1e-10 is asked.
"""

import csv
from dataclasses import replace

import numba
import numpy as np
import pytest
import xarray as xr
from pytensor.compile.mode import Mode
from scipy.special import ndtr, softmax

from dating.files import read_maker
from dating.judgement import metalog_through
from dating.learning import chains as chains_module
from dating.learning import compiled_density as kernels
from dating.learning.chains import chains_of
from dating.learning.constants import constants_of
from dating.learning.coordinates import coordinates_of
from dating.learning.corpus import read_corpus
from dating.learning.density_terms import _number_terms
from dating.learning.health import health_of_draws
from dating.learning.layout import FLOOR, SHARE_DOUBT
from dating.learning.model import _metalog_values, learning_model
from dating.learning.sampling import plan_of
from tests.learning import ONE_RAMP, one_ramp_rows, written
from tests.learning_sbc import COLUMNS, MAKER, Simulator, drawn_truth
from tests.learning_worlds import STRESS, THROUGHOUT, maker_text, planned

pytestmark = pytest.mark.filterwarnings("ignore::FutureWarning", "ignore::UserWarning")
PLAIN = Mode(linker="py", optimizer="fast_compile")
SPREADS = (0.0, 0.5, 1.0, 1.5, 2.5)  # of the points, in prior standard deviations
ODD_ROWS = (
    {"built": "[1930,1932]", "trust": 0.7},  # wide, and nothing seen
    {"built": "[1930-03,1931-07..1931-09,1933-12]", "ends": "wood", "width": "151 within 1"},
    {"built": "[1932-01,1932-03]", "trust": 0.5, "variant": "home", "length": "900"},  # far out
    {"built": "1931-05", "variant": "stage", "label": "other: painted", "length": "204"},
)


def demo(_):
    maker = read_maker("priors/marrowby.yaml")
    return plan_of(maker, read_corpus("demo_data/marrowby_corpus.csv", maker))


def small(folder):
    """All kinds: an event, lags, pools, numbers cut at zero, variants, a table of shares, tails."""
    (folder / "example.yaml").write_text(MAKER, encoding="utf-8")
    maker, generator = read_maker(folder / "example.yaml"), np.random.default_rng(4)
    rows = Simulator(maker, drawn_truth(maker, generator), generator).rows()
    for place, odd in enumerate(ODD_ROWS):
        cells = {"instrument": f"O-{place}", "trust": 1} | odd
        rows.append([cells.get(column, "") for column in COLUMNS])
    with open(folder / "corpus.csv", "w", encoding="utf-8", newline="") as stream:
        csv.writer(stream).writerows([COLUMNS, *rows])
    return plan_of(maker, read_corpus(folder / "corpus.csv", maker))


def stress(folder):
    """Many changeovers, no doubtful instrument, no shares and no measurements."""
    return planned(folder, STRESS, 60)


@pytest.fixture(
    scope="module",
    params=[
        pytest.param(demo, marks=pytest.mark.slow, id="demo"),  # a minute and more to compile
        pytest.param(small, id="small"),
        pytest.param(stress, id="stress"),
    ],
)
def plan(request, tmp_path_factory):
    return request.param(tmp_path_factory.mktemp("maker"))


@pytest.fixture(scope="module")
def small_plan(tmp_path_factory):
    return small(tmp_path_factory.mktemp("small"))


def points(density, seed=1):
    generator = np.random.default_rng(seed)
    return [spread * generator.standard_normal(density.size) for spread in SPREADS]


def model_of(plan):
    constants = constants_of(plan.maker, plan.layout, plan.tables)
    return learning_model(plan.layout, constants, plan.tally)


def test_value_and_gradient_are_those_of_the_model(plan):
    density, model = plan.density, model_of(plan)
    assert {v.name: v.type.shape[0] for v in model.value_vars} == density.blocks
    wanted = [model.logp(), model.dlogp()]
    of_model = model.compile_fn(wanted, inputs=model.value_vars, mode=PLAIN)
    for x in points(density):
        value, gradient = density(x)
        asked, asked_gradient = of_model(density.split(x))
        assert value == pytest.approx(float(asked), rel=1e-10, abs=1e-9)
        scale = np.abs(asked_gradient).max()
        np.testing.assert_allclose(gradient, asked_gradient, rtol=1e-9, atol=1e-10 * scale)


def test_what_unknowns_stand_for_is_what_the_model_says(small_plan):
    density, model = small_plan.density, model_of(small_plan)
    names = ["value", "share", "slip", "replaced", "mean", "spread", "lag", "lag_ratio"]
    names += ["output_scale", "output_share"]
    given = model.replace_rvs_by_values([model[name] for name in names])
    of_model = model.compile_fn(given, inputs=model.value_vars, mode=PLAIN)
    x = points(density)[2]
    ours = density.quantities(x[None, None])
    assert list(ours) == names
    for name, theirs in zip(names, of_model(density.split(x)), strict=True):
        np.testing.assert_allclose(ours[name][0, 0], theirs, rtol=1e-12, err_msg=name)


def test_the_kernels_are_compiled_for_every_maker_at_once(small_plan, tmp_path):
    """A second form of the same arrays would take the compiler most of a minute."""
    forms = {numba.typeof(p.density.terms) for p in (small_plan, stress(tmp_path), demo(tmp_path))}
    assert len(forms) == 1


def assert_along(gradient, value_at, x, direction, step=1e-5):
    """A derivative by central differences; where a ramp begins the second one jumps, so loosely."""
    slope = (value_at(x + step * direction) - value_at(x - step * direction)) / (2 * step)
    size = np.linalg.norm(gradient) * np.linalg.norm(direction)
    assert gradient @ direction == pytest.approx(slope, abs=1e-4 * size)


def test_the_gradient_is_that_of_differences(small_plan):
    density, generator = small_plan.density, np.random.default_rng(2)
    for x in points(density, 3):
        direction = generator.standard_normal(density.size)
        value_at = lambda y: density(y)[0]  # noqa: E731
        assert_along(density(x)[1], value_at, x, direction)


def test_coordinates_change_the_unknowns_and_not_the_density(small_plan):
    density, generator = small_plan.density, np.random.default_rng(2)
    coordinates = coordinates_of(density)
    assert len(coordinates.sheared) > 0
    for u in points(density, 5):
        value, gradient = kernels.log_posterior_at(u, density.terms, *coordinates)
        assert value == pytest.approx(density(coordinates.unknowns(density, u))[0], rel=1e-13)
        direction = generator.standard_normal(density.size)
        value_at = lambda w: kernels.log_posterior_at(w, density.terms, *coordinates)[0]  # noqa: E731
        assert_along(gradient, value_at, u, direction)


def test_coordinates_have_no_volume_of_their_own(small_plan):
    """The unknowns' Jacobian is the product of the scales, wherever it is taken."""
    density = small_plan.density
    coordinates = coordinates_of(density)
    step, u = 1e-5, points(density, 7)[2]
    rows = [
        coordinates.unknowns(density, u + s) - coordinates.unknowns(density, u - s)
        for s in step * np.eye(density.size)
    ]
    jacobian = np.linalg.slogdet(np.array(rows) / (2 * step))
    assert jacobian.logabsdet == pytest.approx(np.log(coordinates.scale).sum(), abs=1e-7)


def test_exponentials_are_those_of_numpy():
    x = -np.concatenate([[0, 1e-300, 1e-17, 700, 699.9999], np.geomspace(1e-9, 700, 20_001)])
    given = x.copy()
    kernels.exponentials(given, np.empty(len(x), dtype=np.int64))
    assert (np.abs(given - np.exp(x)) <= 4 * np.spacing(np.exp(x))).all()
    beyond = np.array([-701.0, -1e6, -np.inf])
    kernels.exponentials(beyond, np.empty(3, dtype=np.int64))
    np.testing.assert_allclose(beyond, np.exp(-700.0), rtol=1e-15)


MANY = 150
VARIANTS = """\
variants:
  states: [home, stage]
  history: [{shares: {home: 0.6, stage: 0.4}}]
components:
"""


def many_readings(folder, state, variants):
    """One instrument of known month with very many features, of which all show one state."""
    changes = np.linspace(100, 260, MANY).round()
    text = maker_text([replace(THROUGHOUT, slip=0.001)] * MANY, changes)
    text = text.replace("components:\n", VARIANTS)
    header = ",".join(["instrument,built,trust,variant", *(f"f-{k:02d}" for k in range(MANY))])
    row = lambda k, variant: (f"C-{k}", "1925-01", 1, variant, *[state] * MANY)  # noqa: E731
    rows = [row(place, variant) for place, variant in enumerate(variants)]
    return plan_of(*written(folder, text, rows, header)).density


@pytest.mark.parametrize("state", ["old", "new"])
def test_very_many_readings_of_one_instrument_do_not_vanish(tmp_path, state):
    """Nothing but the output depends on the variant, which may then be left out of a sum.

    Where all is new years before any changeover, the likelihood is e^-975, below what floats hold.
    """
    counted = many_readings(tmp_path, state, ["home"])
    doubtful = many_readings(tmp_path, state, [""])
    place = list(counted.blocks).index("z share")
    x = points(counted)[1]
    x[np.cumsum([0, *counted.blocks.values()])[place]] = 0.0  # the shares as stated
    value, gradient = counted(x)
    also, also_gradient = doubtful(x)
    known = np.log(0.6 * (1 - FLOOR) + FLOOR)
    assert value - counted.log_prior(x) - known < (-900 if state == "new" else 0)
    assert also == pytest.approx(value - known + np.log(1 + FLOOR), rel=1e-12)
    others = [n for n, name in enumerate(counted.names) if not name.startswith("shares")]
    np.testing.assert_allclose(also_gradient[others], gradient[others], rtol=1e-9, atol=1e-9)


def test_doubts_of_shares_are_contrasts(plan):
    """Independent doubts less their mean in each regime: covariance s^2 (1 - 1/k), exactly."""
    sizes = plan.layout.mixed.sum(axis=2).ravel()
    blocks = [np.eye(k) - np.full((k, k), 1 / k) for k in sizes[sizes > 0].tolist()]
    contrasts = plan.layout.contrasts
    covariance, row = contrasts @ contrasts.T, 0
    centred = np.zeros_like(covariance)
    for block in blocks:
        centred[row : row + len(block), row : row + len(block)] = SHARE_DOUBT**2 * block
        row += len(block)
    np.testing.assert_allclose(covariance, centred, atol=1e-14)


def test_shares_are_stated_ones_moved_by_contrasts(small_plan):
    density, layout = small_plan.density, small_plan.layout
    x = points(density)[2]
    moved = layout.contrasts @ density.split(x)["z share"]
    share, row = density.quantities(x[None, None])["share"][0, 0], 0
    for place in zip(*np.nonzero(layout.mixed.any(axis=2)), strict=True):
        mixed = layout.mixed[place]
        doubt, row = moved[row : row + mixed.sum()], row + mixed.sum()
        asked = softmax(np.log(layout.stated_shares[place][mixed]) + doubt)
        np.testing.assert_allclose(share[place][mixed], asked, rtol=1e-13)
        assert (share[place][~mixed] == 0).all()


@pytest.fixture(scope="module")
def one_ramp(tmp_path_factory):
    folder = tmp_path_factory.mktemp("one")
    return plan_of(*written(folder, ONE_RAMP, one_ramp_rows(80))).density


@pytest.mark.long
def test_chains_follow_from_the_seed_and_stop_at_the_first_good_look(one_ramp, monkeypatch):
    looks = (20, 200, 300, 450, 700, 1000)
    monkeypatch.setattr(chains_module, "LOOKS", looks)
    whole = chains_of(one_ramp, draws=looks[-1], accept=0.95, seed=3)
    assert whole.unknowns.shape == (chains_module.CHAINS, looks[-1], one_ramp.size)

    def good(look):
        draws = xr.Dataset({"z": (("chain", "draw", "unknown"), whole.unknowns[:, :look])})
        return health_of_draws(draws, 0).good

    first = next(look for look in looks if good(look))
    assert looks[0] < first < looks[-1]
    stopped = chains_of(one_ramp, draws=None, accept=0.95, seed=3)
    assert stopped.health.good
    assert stopped.accept == 0.95
    np.testing.assert_array_equal(stopped.unknowns, whole.unknowns[:, :first])
    assert stopped.stats.sizes["draw"] == first
    other = chains_of(one_ramp, draws=20, accept=0.95, seed=4)
    assert not np.isin(other.unknowns, whole.unknowns).any()


def test_chains_begin_again_after_a_divergence(one_ramp, monkeypatch):
    monkeypatch.setattr(chains_module, "LOOKS", (100, 800))
    assert chains_of(one_ramp, draws=100, accept=0.1, seed=1).health.divergences > 0
    chains = chains_of(one_ramp, draws=None, accept=0.1, seed=1)
    raised = [1 - 0.9 / 2**k for k in range(1, 7)]
    assert chains.accept in [pytest.approx(accept) for accept in raised]
    assert chains.health.divergences == 0


LOPSIDED = {"point": (0.0, 1.0, 11.0), "span": (1.0, 1.2, 10.0), "cut": (0.0, 19.0, 20.0)}


@pytest.mark.parametrize("name", LOPSIDED)
def test_a_number_in_two_halves_is_its_quantile(name):
    judged = metalog_through(LOPSIDED[name], kind="point" if name == "point" else "span")
    assert judged.halves
    terms = _number_terms((judged,))
    z = np.array([-2.5, -1.0, -0.2, 0.3, 1.7])
    own = terms["kind"][0], judged.location, judged.scale, judged.skew
    ours = np.array([kernels.number_at(*own, each) for each in z])
    np.testing.assert_allclose(ours[:, 0], judged.quantile(ndtr(z)), rtol=1e-11)
    ahead, behind = (judged.quantile(ndtr(z + step)) for step in (1e-6, -1e-6))
    np.testing.assert_allclose(ours[:, 1], (ahead - behind) / 2e-6, rtol=1e-6, atol=1e-8)
    theirs = [_metalog_values([judged], np.array([each])).eval()[0] for each in z]
    np.testing.assert_allclose(theirs, ours[:, 0], rtol=1e-11)
