"""Free-form shares and latent variants: silent until learned, then found, and summed over."""

import json
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st

import dating
from dating.learning.files import read_draws, write_learned
from dating.learning.latent.mixture import Mixture, Settings, month_posterior
from dating.learning.latent.rows import rows_of
from dating.learning.latent.search import found_in, levels_in
from dating.learning.latent.time_cells import Cells
from dating.learning.latent.variants import Latent, latent_from
from dating.learning.layout import layout_of
from dating.learning.learned import (
    Learned,
    learned_from,
    learned_tables,
)
from dating.learning.levels import Correction
from dating.learning.sampling import learn, plan_of
from dating.words.learned import on_free_form
from tests.enumeration import Enumeration, mutual_information, normalised, ramp_in_month
from tests.inventing import invented_data
from tests.latent_worlds import DOUBTFUL, FREE, HEADER, STATES, rows_together
from tests.learning import written

SEEDS = st.integers(0, 10**6)
FEW = settings(max_examples=25)

# Before learning -----------------------------------------------------------------------------


@FEW
@given(SEEDS, st.data())
def test_free_form_features_say_nothing_before_learning(seed, data):
    maker, examination = invented_data(seed)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("dating.learning.learned.POINTS", 2)
        patch.setattr("dating.learning.learned.MOST_POINTS", 2)
        without = _dated(maker, examination)
        part = data.draw(st.sampled_from(sorted(maker["components"])))
        maker["components"][part]["features"]["free"] = {
            "ask": "Which?",
            "states": ["a", "b", "c"],
            "free_form": True,
            "slip": data.draw(st.sampled_from([0, 0.1])),
            "replaced": data.draw(st.sampled_from([0, 0.2])),
            "replacement": {"a": 0.9, "c": 0.1},
        }
        sight = data.draw(
            st.sampled_from(["a", {"one_of": ["b", "c"]}, {"state": "c", "sure": 0.7}])
        )
        examination["seen"]["free"] = sight
        made = _dated(maker, examination)
    if without is None:
        assert made is None
    else:
        assert made.probabilities == pytest.approx(without.probabilities, abs=1e-12)
        assert made.originality == pytest.approx(without.originality, abs=1e-12)


def _dated(maker, examination):
    """Date from plain data; None where no month allows what was seen."""
    try:
        return dating.estimate(
            dating.Maker.model_validate(maker), dating.Examination.model_validate(examination)
        )
    except dating.InputError as refusal:
        if "no month of the period" not in str(refusal):
            raise
        return None


COURSE = {"history": [{"state": "oak"}]}
RULES = {
    "with a history": ({"free_form": True, **COURSE}, "leave out history"),
    "with shares": (
        {"free_form": True, "shares_at": {"1930-01": {"oak": 1}}},
        "leave out history, shares_at",
    ),
    "with by_variant": ({"free_form": True, "by_variant": {"home": COURSE}}, "and by_variant"),
    "neither": ({}, "or free_form: true"),
    "neither, said": ({"free_form": False}, "or free_form: true"),
    "no truth": ({"free_form": "perhaps"}, "true or false is expected here"),
}


@pytest.mark.parametrize(("keys", "message"), RULES.values(), ids=RULES)
def test_a_feature_is_free_form_or_has_a_course(tmp_path, keys, message):
    """Refused with the line of the feature or the key."""
    file = tmp_path / "x.yaml"
    file.write_text(
        "maker: X\nproduct: x\nperiod: 1930/1931\n"
        "variants: {states: [home, stage], shares_at: {1930-01: {home: 1}}}\n"
        "components:\n  case:\n    features:\n"
        f"      wood: {{ask: Which?, states: [oak], {json.dumps(keys)[1:-1]}}}\n",
        encoding="utf-8",
    )
    with pytest.raises(dating.InputError, match=message) as refusal:
        dating.read_maker(file)
    (problem,) = refusal.value.problems
    assert problem.line == 8
    assert problem.key.startswith("components.case.features.wood")


def test_a_component_gives_a_free_form_feature_no_course_by_variant(tmp_path):
    file = tmp_path / "x.yaml"
    file.write_text(
        "maker: X\nproduct: x\nperiod: 1930/1931\n"
        "variants: {states: [home, stage], shares_at: {1930-01: {home: 1}}}\n"
        "components:\n  case:\n"
        "    by_variant: {home: {wood: {history: [{state: oak}]}}}\n"
        "    features:\n      wood: {ask: Which?, states: [oak], free_form: true}\n",
        encoding="utf-8",
    )
    with pytest.raises(dating.InputError, match="leave out its course by_variant") as refusal:
        dating.read_maker(file)
    assert refusal.value.problems[0].line == 7


# Dating with what was found ------------------------------------------------------------------

MANY = """\
# Invented.
maker: Example Reed Works
product: concertinas
invented: true
period: 1930/1931
output: [{during: 1930, made: 100}, {during: 1931, made: 300}]
events:
  new-shop:
    what: move to a new shop
    when: {earliest: 1930-06, likely: 1930-09, latest: 1931-02}
variants:
  states: [home, stage]
  history:
    - {shares: {home: 0.8, stage: 0.2}}
    - {shares: {home: 0.3, stage: 0.7}, with: new-shop, overlap: 5}
components:
  case:
    swapped: 0.2
    donors: [{during: 1930, share: 1}]
    features:
      wood: {ask: Which wood?, states: [oak, ash, elm], free_form: true, replaced: 0.1}
      ends:
        ask: Which ends?
        states: [plain, cut]
        slip: 0.03
        replaced: 0.05
        replacement: {cut: 1}
        history:
          - state: plain
          - {state: cut, with: new-shop, lag: 1, overlap: {shortest: 1, likely: 3, longest: 6}}
    marks:
      pencil: {ask: Any date?, lag: {shortest: 0, likely: 1, longest: 4}, replaced: 0.02}
  straps:
    features:
      leather: {ask: Which?, states: [brown, black], free_form: true}
      screw: {ask: Which?, states: [round, flat], free_form: true}
      edge:
        ask: Which edge?
        states: [raw, sewn]
        slip: 0.02
        by_variant:
          home: {history: [{shares: {raw: 0.9, sewn: 0.1}}]}
          stage: {history: [{state: raw}, {state: sewn, first_use: 1930-11, overlap: 3}]}
"""
SEEN = {"wood": "ash", "leather": {"one_of": ["brown", "black"]}, "ends": "cut", "edge": "sewn"}
DOUBT = {"wood": {"state": "oak", "sure": 0.6}, "screw": {"other": "square"}}
MORE = {
    "marks": {"pencil": "1930-08"},
    "documents": [{"what": "bill", "not_before": "1930-05", "trust": 0.9}],
}
EXAMINED = {
    "nothing": {},
    "features": {"seen": SEEN},
    "all": {"seen": SEEN, **MORE},
    "doubt and a variant": {"seen": SEEN | DOUBT, "variant": "stage", **MORE},
    "an unsure variant": {"seen": {"wood": "elm"}, "variant": {"state": "home", "sure": 0.7}},
}
DRAWS, FITS, LATENT = 8, 2, 3


@pytest.fixture(scope="module")
def many(tmp_path_factory):
    file = tmp_path_factory.mktemp("many") / "many.yaml"
    file.write_text(MANY, encoding="utf-8")
    return dating.read_maker(file)


def some_latent(seed=1, width=5, latent=LATENT):
    """Fits with arbitrary weights and shares."""
    generator = np.random.default_rng(seed)
    axis = Cells.even(24, width)
    mixtures = tuple(
        Mixture(
            Settings(latent),
            generator.dirichlet(np.ones(latent), len(axis)),
            tuple(
                np.moveaxis(generator.dirichlet(np.full(n, 0.7), (len(axis), latent)), -1, 0)
                for n in (3, 2, 2)
            ),
        )
        for _ in range(FITS)
    )
    return Latent(("wood", "leather", "screw"), mixtures, axis, 0.1, 0.01)


def some_learned(maker, latent, seed=1):
    """Draws around the judgements, with shares and chances that differ from draw to draw."""
    generator, layout = np.random.default_rng(seed), layout_of(maker)
    values = [judged.quantile(generator.random(DRAWS)) for judged in layout.numbers.values()]
    depth = max(len(track.shares) for track in layout.tracks)
    shares = np.zeros((DRAWS, len(layout.tracks), depth, 2))
    for place, track in enumerate(layout.tracks):
        moved = track.shares * np.exp(generator.normal(size=(DRAWS, *track.shares.shape)))
        shares[:, place, : len(track.shares)] = moved / moved.sum(axis=-1, keepdims=True)
    features = len(maker.features())
    return Learned(
        maker_fingerprint=maker.origin.fingerprint,
        corpus_fingerprint="",
        numbers=tuple(layout.numbers),
        values=np.array(values).T,
        shares=shares,
        slip=generator.random((DRAWS, features)) * 0.1,
        replaced=generator.random((DRAWS, features)) * 0.1,
        means=np.zeros((DRAWS, 0)),
        seed=1,
        latent=latent,
    )


class Slow(Enumeration):
    """Draws, variants, latent variants, donors and months, one by one.

    A variant here is a pair: the name, and the number of the latent variant.
    """

    def __init__(self, maker, examination, learned):
        self.learned, self.latent = learned, learned.latent
        self.tracks = [(track.name, track.variant) for track in layout_of(maker).tracks]
        weights = np.full(DRAWS, 1 / DRAWS)
        super().__init__(maker, examination, SimpleNamespace(shared={}, weights=weights))

    @property
    def variants(self):
        return [(name, k) for name in self.named for k in range(self.latent.variants)]

    @variants.setter
    def variants(self, names):
        self.named = names

    def mixture(self, n):
        return self.latent.mixtures[n // (DRAWS // FITS)]

    def at(self, by_cell, t):
        """What holds in the cell of a month."""
        return float(by_cell[self.latent.axis.of_month[t]])

    def number(self, name, n):
        return float(self.learned.values[n, self.learned.numbers.index(name)])

    def ramp(self, label, regime, n, t):
        start = (
            self.number(f"event {regime.event}", n) + self.number(f"{label}, lag", n)
            if regime.event
            else self.number(f"{label}, first use", n)
        )
        overlap = (self.number(f"{label}, overlap", n) ** 2 + 0.75**2) ** 0.5
        return ramp_in_month(start, overlap, t, "linear")

    def built(self, name, variant, course, n, t):
        """P(state | t) of one course in one draw."""
        label = name if variant is None else f"{name} of {variant}"
        place = self.tracks.index((name, variant))
        total, reached = np.zeros(2), 1.0
        for j in range(len(course.history)):
            goes_on = 0.0
            if j + 1 < len(course.history):
                goes_on = self.ramp(f"{label}, regime {j + 2}", course.history[j + 1], n, t)
            total += reached * (1 - goes_on) * self.learned.shares[n, place, j]
            reached *= goes_on
        return total

    def _variant_shares(self):
        made = []
        for n in self.draws:
            rows = []
            for name, k in self.variants:
                row = []
                for t in self.months:
                    named = self.built("variants", None, self.maker.variants, n, t)
                    weight = self.at(self.mixture(n).weight[:, k], t)
                    row.append(named[self.named.index(name)] * weight)
                rows.append(row)
            made.append(rows)
        return made

    def _feature(self, name, part, feature, sight):
        states = list(feature.states)
        r = self._weights(sight, states)
        place = list(self.maker.features()).index(name)
        made = []
        for n in self.draws:
            rows = []
            for variant, k in self.variants:
                row = []
                for t in self.months:
                    if feature.free_form:
                        shares = self.mixture(n).shares[self.latent.features.index(name)]
                        p = [self.at(shares[s, :, k], t) for s in range(len(states))]
                        row.append(sum(a * b for a, b in zip(r, p, strict=True)))
                        continue
                    own = variant if feature.by_variant else None
                    share = self.built(name, own, feature.course_of(variant), n, t)
                    e, rho = self.learned.slip[n, place], self.learned.replaced[n, place]
                    q = feature.replacement or {state: 1 / len(states) for state in states}
                    row.append(
                        sum(
                            r[s] * (1 - rho) * ((1 - e) * share[s] + e / len(states))
                            + r[s] * rho * q.get(state, 0.0)
                            for s, state in enumerate(states)
                        )
                    )
                rows.append(row)
            made.append(rows)
        return made, 0.0

    def _weights(self, sight, states):
        if isinstance(states[0], tuple):
            by_name = super()._weights(sight, self.named)
            return [by_name[self.named.index(name)] for name, _ in states]
        return super()._weights(sight, states)

    def by_name(self):
        """P(evidence, named variant, month): latent variants summed over."""
        joint, many = self.joint(), self.latent.variants
        return [
            [sum(column) for column in zip(*joint[start : start + many], strict=True)]
            for start in range(0, len(joint), many)
        ]


def examined(**more):
    return dating.Examination.model_validate({"instrument": "X", "maker": "many", **more})


def close(values):
    return pytest.approx(values, abs=1e-10, rel=0)


@pytest.mark.parametrize("seen", EXAMINED.values(), ids=EXAMINED)
def test_dating_sums_over_draws_variants_latent_variants_donors_and_months(many, seen):
    learned = some_learned(many, some_latent())
    made = dating.estimate(many, examined(**seen), learned=learned)
    slow = Slow(many, examined(**seen), learned)
    assert made.probabilities.tolist() == close(normalised(slow.by_month()))
    assert made.variant_chances == close(
        dict(zip(["home", "stage"], normalised([sum(row) for row in slow.by_name()]), strict=True))
    )
    for part in many.components:
        assert made.originality[part] == close(slow.original(part) / slow.evidence())
        assert made.own_month(part).tolist() == close(normalised(slow.own_months(part)))


def test_advice_is_the_gain_of_each_look_that_is_left(many):
    learned = some_learned(many, some_latent())
    examination = examined(seen={"ends": "cut", "leather": "black"})
    given = {
        advice.name: advice for advice in dating.estimate(many, examination, learned=learned).advice
    }
    slow = Slow(many, examination, learned)
    assert set(given) == {"wood", "screw", "edge", "pencil", "variant"}
    for name in ("wood", "screw", "edge"):
        by_month, by_origin = slow.answers(name)
        assert given[name].bits == close(mutual_information(by_month))
        assert list(given[name].answers.values()) == close(
            normalised([sum(row) for row in by_month])
        )
        if name == "wood":
            assert given[name].originality_bits == close(mutual_information(by_origin))
    assert given["variant"].bits == close(mutual_information(slow.by_name()))


def test_ramps_beside_free_form_features_are_as_they_were(many):
    learned = some_learned(many, some_latent())
    tables = learned_tables(many, learned)
    alone = learned_tables(many, replace(learned, latent=None))
    for name in ("ends", "edge"):
        by_state, before = (t.features[name].by_state() for t in (tables, alone))
        assert by_state.shape[2] == (before.shape[2] if name == "ends" else 2 * LATENT)
        for k in range(LATENT if name == "edge" else 1):
            here = by_state[:, :, k::LATENT] if name == "edge" else by_state
            assert np.array_equal(here, before)
    only = examined(seen={"ends": "cut", "edge": "sewn"}, **MORE)
    made, before = (
        dating.estimate(many, only, learned=each)
        for each in (learned, replace(learned, latent=None))
    )
    assert made.probabilities == pytest.approx(before.probabilities, abs=1e-12)
    assert made.variant_chances == pytest.approx(before.variant_chances, abs=1e-12)


def test_many_at_once_are_as_one_by_one(many):
    learned = some_learned(many, some_latent())
    learned = replace(learned, correction=Correction(np.linspace(0, 1, 501) ** 0.8, 50))
    seen = [examined(**each) for each in EXAMINED.values()]
    made = dating.posteriors(many, seen, learned)
    for row, examination in zip(made.values, seen, strict=True):
        alone = dating.estimate(many, examination, learned=learned)
        assert row == pytest.approx(alone.probabilities, abs=1e-9)


@FEW
@given(st.sampled_from([1, 2, 7, 12]), st.integers(1, 4), SEEDS)
def test_tables_hold_distributions_whatever_was_found(many, width, latent, seed):
    learned = some_learned(many, some_latent(seed, width, latent), seed)
    tables = learned_tables(many, learned)
    assert tables.prior.shape == (DRAWS, 2 * latent, 24)
    assert tables.prior.sum() == pytest.approx(1)
    for name in many.features():
        assert tables.feature(name).sum("state").values == pytest.approx(1)
    for donor in tables.donors.values():
        assert donor.sum(axis=(1, 2)) == pytest.approx(1)


# Files ---------------------------------------------------------------------------------------


@pytest.fixture(scope="module", autouse=True)
def two_folds():
    """Settings are chosen by two folds here, which is quicker than five."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("dating.learning.latent.choice._FOLDS", 2)
        yield


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    """A small corpus, learned from once."""
    rows = [*DOUBTFUL, *rows_together(50, 2)]
    maker, corpus = written(tmp_path_factory.mktemp("found"), FREE, rows, HEADER)
    plan = plan_of(maker, corpus)
    return SimpleNamespace(maker=maker, corpus=corpus, plan=plan, tree=learn(plan, seed=3))


def test_where_nothing_else_is_open_nothing_is_sampled(found):
    learned = learned_from(found.tree)
    assert learned.numbers == ()
    assert learned.latent.features == tuple(STATES)
    assert learned.correction.instruments == len(found.corpus.references)


def test_beside_other_features_levels_are_left_to_calibrate(tmp_path):
    width = "    measurements: {width: {unit: mm, spread: 2, mean: {1930-01: 160, 1949-12: 150}}}\n"
    plan = plan_of(*written(tmp_path, FREE + width, rows_together(60, 1), HEADER))
    learned = learned_from(learn(plan, seed=3))
    assert learned.correction is None
    assert "dating calibrate --correct" in " ".join(on_free_form(learned))


def test_shares_alone_are_learned_where_no_date_is_uncertain(found):
    """As for variants in shares that were counted: there are tracks, and no numbers."""
    stated = xr.DataArray([[[0.6, 0.4]]], dims=("course", "regime_of_course", "state_of_course"))
    shares = xr.DataArray(np.full((2, 8, 2), 0.5), dims=("chain", "draw", "of_course"))
    tree = found.tree.copy()
    constant = tree["constant_data"].to_dataset().assign(stated_share=stated)
    tree["constant_data"] = xr.DataTree(constant)
    tree["posterior"] = xr.DataTree(xr.Dataset({"share": shares}))
    learned = learned_from(tree)
    assert learned.numbers == ()
    assert learned.values.shape == (16, 0)
    assert learned.shares.shape == (16, 1, 1, 2)


def test_what_was_found_comes_back_from_its_file(found, tmp_path):
    write_learned(found.tree, tmp_path / "found.nc")
    before, after = learned_from(found.tree), read_draws(tmp_path / "found.nc", found.maker)
    for name in ("features", "axis", "gain", "error", "variants"):
        assert getattr(after.latent, name) == getattr(before.latent, name)
    for one, other in zip(before.latent.mixtures, after.latent.mixtures, strict=True):
        assert one.settings == other.settings
        assert np.array_equal(one.weight, other.weight)
        assert all(map(np.array_equal, one.shares, other.shares))
    assert np.array_equal(before.correction.curve, after.correction.curve)
    assert after.correction.instruments == before.correction.instruments
    seen = [reference.examination for reference in found.corpus.references[:9]]
    ours, theirs = (dating.posteriors(found.maker, seen, one) for one in (before, after))
    assert np.array_equal(ours, theirs)


def test_the_settings_of_every_fit_come_back():
    latent = some_latent()
    mixtures = (
        replace(latent.mixtures[0], settings=Settings(LATENT, 0.01, 0.02, 3.0, 4.0)),
        latent.mixtures[1],
    )
    again = latent_from(replace(latent, mixtures=mixtures).dataset())
    assert [m.settings for m in again.mixtures] == [m.settings for m in mixtures]
    assert again.features == latent.features
    assert again.axis == latent.axis


def test_dating_with_what_was_found_is_the_mixture_itself(found):
    learned = replace(learned_from(found.tree), correction=None)
    output = found.plan.tables.output
    rows = rows_of(found.corpus.references, found.maker, output)
    axis = learned.latent.axis
    by_cell = month_posterior(learned.latent.mixtures, rows, axis.gathered(output))
    by_month = dating.posteriors(
        found.maker, [reference.examination for reference in found.corpus.references], learned
    ).values
    assert axis == rows.finer
    assert axis.widths.max() > 1
    assert axis.gathered(by_month) == pytest.approx(by_cell, abs=1e-9)


def test_the_seed_settles_what_is_found(found):
    output = found.plan.tables.output
    again, kept = found_in(found.corpus, output, 3), learned_from(found.tree)
    levels = [levels_in(found.corpus, output, again, seed) for seed in (3, 4)]
    assert all(
        np.array_equal(one.weight, same.weight)
        for one, same in zip(again.mixtures, kept.latent.mixtures, strict=True)
    )
    assert np.array_equal(levels[0].curve, kept.correction.curve)
    assert not np.array_equal(levels[1].curve, kept.correction.curve)
