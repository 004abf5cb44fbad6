"""Judgement against data: what rests on which, who was right, what contradicts, what was seen."""

from dataclasses import replace

import numpy as np
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import ndtr
from scipy.stats import chi2, spearmanr
from sklearn.isotonic import IsotonicRegression

from dating import Examination, Maker, read_maker
from dating.distributions import Certain
from dating.edtf import parse_edtf
from dating.learning.assessors import assessors_of
from dating.learning.comparison import judged_values
from dating.learning.contradictions import contradictions_of
from dating.learning.corpus import Corpus, Reference
from dating.learning.layout import layout_of
from dating.learning.learned import Learned, learned_from, learned_tables
from dating.learning.quantities import statements_of, variables_of
from dating.learning.sampling import learn, plan_of
from dating.learning.sensitivity import sensitivities_of
from dating.learning.thresholds import free_threshold, observed_of
from dating.ramps import month_shares
from tests.learning import MAKER, ONE_RAMP, one_ramp_rows, written

HEADER = "instrument,built,trust,ends,label,buckle"
FLAT = np.full(60, 1 / 60)
P = (np.arange(4000) + 0.5) / 4000


def learned_at(maker, layout, values):
    """A result whose numbers have these draws, and which leaves all else as it is stated."""
    count = len(values)
    depth = max(len(track.shares) for track in layout.tracks)
    width = max(len(track.states) for track in layout.tracks)
    shares = np.zeros((count, len(layout.tracks), depth, width))
    for place, track in enumerate(layout.tracks):
        shares[:, place, : len(track.shares), : len(track.states)] = track.shares
    features = [feature for _, feature in maker.features().values()]
    return Learned(
        maker_fingerprint="",
        corpus_fingerprint="",
        numbers=tuple(layout.numbers),
        values=values,
        shares=shares,
        slip=np.tile([feature.slip.value for feature in features], (count, 1)),
        replaced=np.tile([feature.replaced.value for feature in features], (count, 1)),
        means=np.tile([mean for gauge in layout.gauges for mean in gauge.stated], (count, 1)),
        seed=1,
    )


def as_judged(maker, layout):
    """A result that has learned nothing."""
    return learned_at(maker, layout, judged_values(layout)[:512])


# What a changeover rests on


def tree_of(maker, z, log_likelihood):
    """A tree of draws with these standard normals, shape (chain, draw, uncertain number)."""
    layout, values, free = layout_of(maker), [], iter(np.moveaxis(z, -1, 0))
    for judged in layout.numbers.values():
        certain = isinstance(judged, Certain)
        shape = z.shape[:2]
        values.append(
            np.full(shape, judged.value) if certain else judged.quantile(ndtr(next(free)))
        )
    draws = ("chain", "draw")
    groups = {
        "posterior": variables_of(maker, {"value": np.stack(values, axis=-1)}),
        "constant_data": statements_of(maker),
        "unknowns": xr.Dataset({"z": ((*draws, "unknown"), z)}),
        "log_likelihood": xr.Dataset(
            {"record": ((*draws, "instrument"), log_likelihood[..., None])}
        ),
    }
    return xr.DataTree.from_dict(groups)


def one_ramp_tree(folder, at, within, seed=1):
    """Exact draws when a normal likelihood of both numbers of the one ramp is centred on z = at."""
    maker = written(folder, ONE_RAMP, one_ramp_rows(1))[0]
    layout = layout_of(maker)
    precision = 1 + within**-2
    generator = np.random.default_rng(seed)
    noise = generator.normal(size=(4, 1000, 2)) / np.sqrt(precision)
    z = at * within**-2 / precision + noise
    return layout, tree_of(maker, z, -0.5 * (((z - at) / within) ** 2).sum(axis=-1))


def test_without_data_all_rests_on_judgement(tmp_path):
    layout, tree = one_ramp_tree(tmp_path, at=0.0, within=1e6)
    tree["log_likelihood"]["record"][:] = 0.0
    first_use, overlap = sensitivities_of(layout, tree)
    assert (first_use.name, first_use.what) == ("ends, regime 2", "first use")
    assert (overlap.name, overlap.what) == ("ends, regime 2", "overlap")
    assert first_use.rests_on == overlap.rests_on == "judgement"
    assert first_use.to_data == overlap.to_data == 0
    assert overlap.to_judgement == pytest.approx(first_use.to_judgement, rel=0.3)


def test_with_plenty_of_data_all_rests_on_data(tmp_path):
    for sensitivity in sensitivities_of(*one_ramp_tree(tmp_path, at=0.5, within=0.05)):
        assert sensitivity.rests_on == "data"
        assert sensitivity.to_judgement < 0.05 < sensitivity.to_data


def test_where_the_two_disagree_it_rests_on_both(tmp_path):
    for sensitivity in sensitivities_of(*one_ramp_tree(tmp_path, at=3.0, within=0.7)):
        assert sensitivity.rests_on == "both"


def test_what_is_certain_is_left_out_and_other_numbers_do_not_matter(tmp_path):
    """The label moves with the event alone; the numbers of the buckle are its own."""
    maker = written(tmp_path, MAKER, [("A", "1932-03", 1, "", "", "")], HEADER)[0]
    layout = layout_of(maker)
    z = np.random.default_rng(2).normal(size=(4, 500, 5))
    whole = -0.5 * (z[..., 0] - 1) ** 2
    found = sensitivities_of(layout, tree_of(maker, z, whole))
    assert [(s.name, s.what) for s in found] == [
        ("ends, regime 2", "first use"),
        ("ends, regime 2", "overlap"),
        ("label, regime 2", "first use"),
        ("buckle, regime 2", "first use"),
        ("buckle, regime 2", "overlap"),
    ]
    z[..., 3] *= 0.5
    again = sensitivities_of(layout, tree_of(maker, z, whole))
    assert again[:3] == found[:3]
    assert again[3].to_judgement != found[3].to_judgement


def test_a_date_may_rest_on_its_lag_alone(tmp_path):
    text = MAKER.replace("{earliest: 1931-06, likely: 1932-01, latest: 1932-10}", "1932-01")
    text = text.replace("lag: 1,", "lag: [1, 3, 6],")
    maker = written(tmp_path, text, [("A", "1932-03", 1, "", "", "")], HEADER)[0]
    layout = layout_of(maker)
    z = np.random.default_rng(4).normal(size=(4, 500, 4))
    found = sensitivities_of(layout, tree_of(maker, z, np.zeros((4, 500))))
    assert [(s.name, s.what, s.rests_on) for s in found] == [
        ("ends, regime 2", "first use", "judgement"),
        ("ends, regime 2", "overlap", "judgement"),
        ("buckle, regime 2", "first use", "judgement"),
        ("buckle, regime 2", "overlap", "judgement"),
    ]


def test_the_rest_of_the_corpus_does_not_make_a_silent_changeover_speak(tmp_path):
    """The likelihood varies as that of a hundred numbers of which the corpus says much."""
    maker = written(tmp_path, MAKER, [("A", "1932-03", 1, "", "", "")], HEADER)[0]
    layout = layout_of(maker)
    generator = np.random.default_rng(3)
    z = generator.normal(size=(4, 1000, 5)) * [0.1, 1, 1, 1, 1]
    rest = -0.375 * generator.chisquare(100, size=(4, 1000))
    found = sensitivities_of(layout, tree_of(maker, z, rest - 49.5 * z[..., 0] ** 2))
    by_name = {(s.name, s.what): s for s in found}
    silent = by_name["buckle, regime 2", "first use"]
    assert 0.01 < silent.to_data < 0.05
    assert silent.rests_on == "judgement"
    assert by_name["label, regime 2", "first use"].rests_on == "data"


def test_nobody_is_scored_by_a_doubt_that_is_not_their_own(tmp_path):
    maker, _ = written(tmp_path, MAKER, [("A", "1932-03", 1, "", "", "")], HEADER)
    (nobody,) = assessors_of(layout_of(maker), as_judged(maker, layout_of(maker)))
    assert nobody.judgements == 3


def test_a_maker_file_of_certain_changeovers_rests_on_nothing(tmp_path):
    text = ONE_RAMP.replace("{earliest: 1931-01, likely: 1932-01, latest: 1933-06}", "1932-01")
    text = text.replace("{shortest: 2, likely: 6, longest: 14}", "0")
    maker = written(tmp_path, text, one_ramp_rows(1))[0]
    layout = layout_of(maker)
    assert sensitivities_of(layout, tree_of(maker, np.zeros((1, 8, 0)), np.zeros((1, 8)))) == ()


# Which assessor did better

TWO = """\
            first_use:
              - {earliest: 1930-10, likely: 1931-01, latest: 1931-04, by: early bird, weight: 1}
              - {earliest: 1932-01, likely: 1933-01, latest: 1934-01, by: owl, weight: 3}
            overlap: {shortest: 2, likely: 6, longest: 14}
"""
TWO_ASSESSORS = ONE_RAMP[: ONE_RAMP.index("            first_use")] + TWO


def assessed(folder, first_use, overlap=6.0, text=TWO_ASSESSORS):
    """Every assessor by name, when these first uses were drawn."""
    maker, _ = written(folder, text, one_ramp_rows(1))
    layout = layout_of(maker)
    values = np.column_stack(np.broadcast_arrays(np.asarray(first_use, dtype=float), overlap))
    found = assessors_of(layout, learned_at(maker, layout, values))
    return layout, {assessor.name: assessor for assessor in found}


def density(judged, x):
    """One over the slope of the quantile function, where the distribution function is p."""
    p, step = float(judged.cdf(x)), 1e-7
    return 2 * step / float(judged.quantile(p + step) - judged.quantile(p - step))


def test_an_assessor_who_is_right_gains_weight(tmp_path):
    """All draws lie at one place, so the weight is Bayes' rule for the densities there."""
    layout, found = assessed(tmp_path, np.full(64, 13.0), np.linspace(5, 7, 64))
    early, late = layout.numbers["ends, regime 2, first use"].members
    mine, theirs = 0.25 * density(early, 13.0), 0.75 * density(late, 13.0)
    bird, owl = found["early bird"], found["owl"]
    assert bird.weight_before == pytest.approx(0.25)
    assert bird.weight_after == pytest.approx(mine / (mine + theirs), rel=1e-5)
    assert bird.weight_after > 0.9
    assert bird.weight_after + owl.weight_after == pytest.approx(1)
    assert (bird.judgements, bird.settled, bird.shared) == (1, 1, 1)
    assert (bird.early, bird.within, bird.late) == (0, 1, 0)
    assert (owl.early, owl.within, owl.late) == (1, 0, 0)
    assert bird.calibration == pytest.approx(chi2.sf(2 * np.log(1 / 0.45), 3))
    assert owl.calibration == pytest.approx(chi2.sf(2 * np.log(1 / 0.05), 3))


def test_who_is_not_named_is_gathered(tmp_path):
    _, found = assessed(tmp_path, np.full(64, 13.0), np.full(64, 30.0))
    nobody = found["not named"]
    assert (nobody.judgements, nobody.settled, nobody.late) == (1, 1, 1)
    assert (nobody.shared, nobody.weight_before, nobody.weight_after) == (0, None, None)


def test_what_is_certain_is_no_judgement_to_be_held_against_anyone(tmp_path):
    """Of the seven numbers, two lags and two overlaps are certain."""
    maker, _ = written(tmp_path, MAKER, [("A", "1932-03", 1, "", "", "")], HEADER)
    layout = layout_of(maker)
    (nobody,) = assessors_of(layout, as_judged(maker, layout))
    assert (len(layout.numbers), nobody.judgements) == (7, 3)


def test_a_corpus_that_says_nothing_settles_nothing_and_moves_no_weight(tmp_path):
    """Where posterior and prior agree, the mean weight afterwards is the stated one."""
    judged = layout_of(written(tmp_path, TWO_ASSESSORS, one_ramp_rows(1))[0]).numbers
    _, found = assessed(tmp_path, *(number.quantile(P) for number in judged.values()))
    for assessor in found.values():
        assert (assessor.settled, assessor.calibration) == (0, None)
    assert found["owl"].weight_after == pytest.approx(0.75, abs=0.001)


def test_a_colleague_settles_nothing(tmp_path):
    """The pool is far narrower than the one wide opinion in it, and the corpus said nothing."""
    text = TWO_ASSESSORS.replace("weight: 1}", "weight: 99}").replace("weight: 3}", "weight: 1}")
    judged = layout_of(written(tmp_path, text, one_ramp_rows(1))[0]).numbers
    _, found = assessed(tmp_path, *(number.quantile(P) for number in judged.values()), text=text)
    assert found["owl"].settled == 0


def test_a_certain_assessor_has_the_draws_on_the_certain_value(tmp_path):
    """Of two certain opinions and one that is not, each has the draws that can only be its own."""
    text = TWO_ASSESSORS.replace(
        "{earliest: 1932-01, likely: 1933-01, latest: 1934-01, by: owl, weight: 3}",
        "{earliest: 1933-01, likely: 1933-01, latest: 1933-01, by: owl, weight: 3}",
    )
    _, found = assessed(tmp_path, np.repeat([36.0, 13.0], [48, 16]), text=text)
    assert found["owl"].weight_after == pytest.approx(0.75, abs=1e-6)
    assert found["early bird"].weight_after == pytest.approx(0.25, abs=1e-6)
    assert found["owl"].settled == 0
    _, found = assessed(tmp_path, np.full(64, 30.0), text=text)
    assert found["owl"].weight_after == pytest.approx(0, abs=1e-6)


# What contradicts a judgement


def contradicted(folder, rows, text=MAKER, header=HEADER, most=0.05):
    maker, corpus = written(folder, text, rows, header)
    layout = layout_of(maker)
    return contradictions_of(maker, corpus, layout, as_judged(maker, layout), most)


def recorded(built, slip, swapped, weights):
    """P(recorded) in a month or months from P(built), when donors are of any month alike."""
    seen = (1 - slip) * built + slip / 2
    return (1 - swapped) * (seen @ weights) + swapped * seen.mean()


def labels(layout):
    """P(square label) by month: all at once at the event, averaged over its date."""
    return month_shares(layout.numbers["event new-shop"].quantile(P), 0.0, 60).mean(axis=0)


def test_planted_instruments_are_found_with_their_judged_probability(tmp_path):
    rows = [
        ("fits", "1934-02", 1, "", "square", ""),
        ("early", "1930-05", 0.99, "", "square", ""),
        ("late", "[1933-06..1933-08]", 1, "", "round", ""),
    ]
    late, early = contradicted(tmp_path, rows)
    square = labels(layout_of(written(tmp_path, MAKER, rows, HEADER)[0]))
    summer, may = np.zeros(60), np.full(60, 0.01 / 60)
    summer[41:44] = 1 / 3
    may[4] += 0.99
    assert (late.instrument, late.line, late.observation) == ("late", 4, "round")
    assert (late.feature, late.changeover, late.early) == ("label", "label, regime 2", False)
    assert late.built == "[1933-06..1933-08]"
    assert (early.instrument, early.changeover, early.early) == ("early", "label, regime 2", True)
    assert late.judged == pytest.approx(recorded(1 - square, 0.02, 0.05, summer), abs=1e-4)
    assert early.judged == pytest.approx(recorded(square, 0.02, 0.05, may), abs=1e-4)
    assert late.judged < early.judged


def test_a_date_that_is_hardly_trusted_may_be_any(tmp_path):
    rows = [("early", "1930-05", 0.6, "", "square", "")]
    (found,) = contradicted(tmp_path, rows, most=1.0)
    square = labels(layout_of(written(tmp_path, MAKER, rows, HEADER)[0]))
    months = 0.6 * np.eye(60)[4] + 0.4 / 60
    assert found.judged == pytest.approx(recorded(square, 0.02, 0.05, months), abs=1e-4)


def test_the_learned_probability_stands_beside_the_judged_one(tmp_path):
    """Where the changeover was learned to lie before the instrument, its state is expected."""
    rows = [("early", "1930-05", 1, "", "square", "")]
    maker, corpus = written(tmp_path, MAKER, rows, HEADER)
    layout = layout_of(maker)
    values = judged_values(layout)[:64].copy()
    values[:, list(layout.numbers).index("event new-shop")] = 1.0
    (found,) = contradictions_of(maker, corpus, layout, learned_at(maker, layout, values))
    square = month_shares(1.0, 0.75, 60)
    assert found.learned == pytest.approx(recorded(square, 0.02, 0.05, np.eye(60)[4]), abs=1e-12)
    (same,) = contradicted(tmp_path, rows)
    assert same.learned == pytest.approx(same.judged, rel=0.02)


def test_what_was_to_be_expected_is_no_contradiction(tmp_path):
    rows = [
        ("between", "1932-03", 1, "wood", "square", "plain"),
        ("neutral", "1930-05", 1, "other: horn", "round | square", ""),
        ("doubtful", "1930-05", 1, "", "square (0.6)", ""),
    ]
    assert contradicted(tmp_path, rows) == ()


REVERTS = """\
# Invented.
maker: Example Reed Works
product: concertinas
invented: true
period: 1930/1934
output: [{during: 1930-01/1933-12, made: 100}]
variants:
  states: [plain, fine]
  history:
    - state: plain
    - {shares: {plain: 0.5, fine: 0.5}, first_use: 1931-01}
components:
  case:
    features:
      ends:
        ask: What are the ends made of?
        states: [wood, metal, bone]
        slip: 0.02
        by_variant:
          plain:
            history:
              - {shares: {wood: 0.98, bone: 0.02}}
              - {shares: {metal: 0.98, bone: 0.02}, first_use: 1932-01}
              - {shares: {wood: 0.98, bone: 0.02}, first_use: 1933-01}
          fine: {history: [{state: metal}, {state: wood, first_use: 1933-07}]}
"""


def reverting(folder, *rows):
    """Contradictions of (built, variant, ends), by the position of the row."""
    rows = [(f"C-{place}", built, *rest) for place, (built, *rest) in enumerate(rows)]
    found = contradicted(folder, rows, REVERTS, "instrument,built,variant,ends")
    return {int(c.instrument[2:]): (c.feature, c.changeover, c.early) for c in found}


def test_the_changeover_that_is_meant_is_the_nearest_of_those_in_the_way(tmp_path):
    """Wood in the metal year is late in spring and early in autumn; each variant has its own."""
    found = reverting(
        tmp_path, ("1932-03", "plain", "wood"), ("1932-10", "plain", "wood"),
        ("1933-04", "plain", "metal"), ("1932-11", "fine", "wood"),
    )  # fmt: skip
    assert found == {
        0: ("ends", "ends of plain, regime 2", False),
        1: ("ends", "ends of plain, regime 3", True),
        2: ("ends", "ends of plain, regime 3", False),
        3: ("ends", "ends of fine, regime 2", True),
    }


def test_variants_are_judged_too_and_what_bears_on_no_changeover_is_left_out(tmp_path):
    """Too early a variant; a state rare in every regime; a date at which nothing was made."""
    found = reverting(
        tmp_path, ("1930-06", "fine", ""), ("1930-06", "plain", "bone"),
        ("1934-06", "plain", "metal"), ("1930-06", "", "metal"),
    )  # fmt: skip
    assert found == {
        0: ("variants", "variants, regime 2", True),
        3: ("ends", "ends of plain, regime 2", True),
    }


def test_latent_variants_that_are_alike_change_nothing(tmp_path, monkeypatch):
    """Every variant split into two latent ones of which the tables say the same."""

    def split(*given):
        made = learned_tables(*given)
        return replace(
            made,
            latent=2,
            prior=np.repeat(made.prior, 2, axis=1) / 2,
            donors={name: np.repeat(d, 2, axis=1) / 2 for name, d in made.donors.items()},
            features={name: replace(f, latent=2) for name, f in made.features.items()},
        )

    rows = [("A", "1932-11", "fine", "wood"), ("B", "1930-06", "fine", "")]
    given = (rows, REVERTS, "instrument,built,variant,ends")
    whole = contradicted(tmp_path, *given)
    monkeypatch.setattr("dating.learning.contradictions.learned_tables", split)
    halves = contradicted(tmp_path, *given)
    assert len(halves) == 2
    for one, other in zip(whole, halves, strict=True):
        assert one.learned == pytest.approx(other.learned, abs=1e-12)


# What the dated instruments alone say


ONE = Maker.model_validate(
    {
        "maker": "Example Reed Works",
        "product": "concertinas",
        "period": "1930/1934",
        "components": {
            "case": {
                "features": {
                    "ends": {
                        "ask": "What are the ends made of?",
                        "states": ["wood", "metal"],
                        "history": [{"state": "wood"}, {"state": "metal", "first_use": "1932-01"}],
                    }
                }
            }
        },
    }
)


def corpus_of(rows):
    """A corpus of (months allowed, state)."""
    references = []
    for place, (months, state) in enumerate(rows):
        said = {"instrument": f"C-{place}", "maker": "example", "seen": {"ends": state}}
        window = np.zeros(60)
        window[list(months)] = 1.0
        seen = Examination.model_validate(said)
        references.append(Reference(place + 2, seen, parse_edtf("1930"), window, "", 1.0))
    return Corpus("corpus.csv", "", tuple(references), ONE)


def curve_of(rows):
    (observed,) = observed_of(corpus_of(rows), layout_of(ONE), FLAT)
    return observed.curve


months = st.integers(0, 59)
states = st.sampled_from(["wood", "metal"])
known = st.lists(st.tuples(st.tuples(months), states), min_size=1, max_size=60)
stretches = st.sets(months, min_size=1, max_size=9).map(sorted)


@given(known)
def test_the_curve_of_known_months_is_isotonic_regression(rows):
    curve, at = curve_of(rows), np.array([month for (month,), _ in rows])
    new = np.array([float(state == "metal") for _, state in rows])
    isotonic = IsotonicRegression().fit(at, new)
    assert curve[at] == pytest.approx(isotonic.predict(at), abs=1e-6)


@given(st.lists(st.tuples(stretches, states), min_size=1, max_size=40))
def test_the_curve_is_a_distribution_function(rows):
    curve = curve_of(rows)
    assert curve.shape == (60,)
    assert (np.diff(curve) >= 0).all()
    assert curve[0] >= 0
    assert curve[-1] <= 1


@given(st.integers(0, 2**32 - 1))
def test_no_other_distribution_is_likelier(seed):
    """No cell could gain, which for a concave likelihood proves the maximum."""
    generator = np.random.default_rng(seed)
    rows, cells = generator.integers(1, 30, size=2)
    allowed = generator.random((rows, cells)) * (generator.random((rows, cells)) < 0.5)
    allowed[np.arange(rows), generator.integers(cells, size=rows)] = 1.0
    weights = generator.integers(1, 5, size=rows).astype(float)
    mass = free_threshold(allowed, weights)
    gain = weights @ (allowed / (allowed @ mass)[:, None]) / weights.sum()
    assert gain.max() <= 1 + 1e-8
    assert mass.sum() == pytest.approx(1, abs=1e-12)
    assert mass @ gain == pytest.approx(1, abs=1e-12)


def test_months_that_no_instrument_tells_apart_share_evenly():
    curve = curve_of([((9,), "wood"), ((19,), "metal")])
    assert curve == pytest.approx(np.clip((np.arange(60) - 9) / 10, 0, 1), abs=1e-12)


def test_an_interval_is_summed_over():
    """A metal one of month 0 or 1 alike, and two known ones of month 0: the maximum by calculus.

    With q the share of metal in month 0 and all metal from month 1 on, the likelihood is
    q (1 - q) (1 + q) / 2, whose maximum is at q = 1 / sqrt(3).
    """
    curve = curve_of([((0, 1), "metal"), ((0,), "wood"), ((0,), "metal"), ((1,), "metal")])
    assert curve[:2] == pytest.approx([1 / np.sqrt(3), 1], abs=1e-7)


def test_a_row_that_allows_nothing_is_refused():
    with pytest.raises(ValueError, match="each row must allow some cell"):
        free_threshold(np.array([[1.0, 0.0], [0.0, 0.0]]), np.ones(2))


def observed(folder, rows, text=MAKER, header=HEADER, output=FLAT):
    maker, corpus = written(folder, text, rows, header)
    layout = layout_of(maker)
    return dict(zip(layout.ramp_names, observed_of(corpus, layout, output), strict=True))


def test_what_counts_on_either_side(tmp_path):
    """In proportion to output; in part anywhere if not trusted; what is doubtful not at all."""
    output = np.arange(60.0) / np.arange(60.0).sum()
    rows = [
        ("A", "[1930-02..1930-03]", 1, "", "", "none"),
        ("B", "1933-01", 0.8, "", "", "roller"),
        ("C", "1931-01", 1, "", "", "plain | none"),
        ("D", "1931-01", 1, "", "", "plain | roller"),
        ("E", "1931-01", 1, "", "", "roller (0.9)"),
        ("F", "1931-01", 1, "", "", "other: cord"),
    ]
    found = observed(tmp_path, rows, output=output)
    buckle = found["buckle, regime 2"]
    old, new = np.zeros(60), 0.2 * output
    old[[1, 2, 12]] = 1 / 3, 2 / 3, 1
    new[36] += 0.8
    assert buckle.old == pytest.approx(old, abs=1e-12)
    assert buckle.new == pytest.approx(new, abs=1e-12)
    assert found["ends, regime 2"] is None


def test_a_course_of_one_variant_and_states_that_come_back(tmp_path):
    """Wood belongs to both sides of both changeovers of the plain ones, so they show nothing."""
    rows = [
        ("A", "1932-03", "fine", "metal"),
        ("B", "1933-09", "", "wood"),
        ("C", "1933-09", "plain", "wood"),
        ("D", "1933-10", "other: child's", "wood"),
        ("E", "1933-11", "fine (0.9)", "wood"),
    ]
    found = observed(tmp_path, rows, REVERTS, "instrument,built,variant,ends")
    assert found["ends of plain, regime 2"] is None
    assert found["ends of plain, regime 3"] is None
    assert found["variants, regime 2"] is None
    fine = found["ends of fine, regime 2"]
    assert fine.old == pytest.approx(np.eye(60)[26])
    assert fine.new == pytest.approx(np.eye(60)[44:47].sum(axis=0))


# All of them on a sampled result


@pytest.mark.filterwarnings("ignore::FutureWarning", "ignore::UserWarning")
def test_a_sampled_result(tmp_path):
    """Forty dated instruments, one of them planted against the judgement, in a short run."""
    rows = [*one_ramp_rows(40), ("planted", "1930-04", 1, "metal")]
    plan = plan_of(*written(tmp_path, ONE_RAMP, rows))
    tree = learn(plan, draws=300, seed=1)
    learned = learned_from(tree)
    first_use, overlap = sensitivities_of(plan.layout, tree)
    assert first_use.to_data > 0.05
    assert {first_use.name, overlap.name} == {"ends, regime 2"}
    (nobody,) = assessors_of(plan.layout, learned)
    assert (nobody.name, nobody.judgements) == ("not named", 2)
    assert nobody.settled >= 1
    found = contradictions_of(plan.maker, plan.corpus, plan.layout, learned)
    assert found[0].instrument == "planted"
    assert found[0].early
    (seen,) = observed_of(plan.corpus, plan.layout, plan.tables.output)
    assert seen.old.sum() + seen.new.sum() == pytest.approx(41)


def test_judged_numbers_are_independent_however_many_there_are():
    values = judged_values(layout_of(read_maker("priors/marrowby.yaml")))
    uncertain = values[:, np.ptp(values, axis=0) > 0]
    assert uncertain.shape[1] > 64
    related = spearmanr(uncertain).statistic - np.eye(uncertain.shape[1])
    assert np.abs(related).max() < 5 / np.sqrt(len(values))
