"""Free-form features: silent until learned, then dated through latent variants, exactly."""

from dataclasses import replace

import numpy as np
import pytest

import dating
from dating.evidence import state_weights
from dating.learning.corpus import read_corpus
from dating.learning.latent import choice
from dating.learning.latent.choice import chosen
from dating.learning.latent.fitting import fitted
from dating.learning.latent.mixture import Mixture, Settings
from dating.learning.latent.rows import rows_of
from dating.learning.latent.time_cells import Cells
from dating.learning.latent.variants import Latent
from dating.learning.layout import layout_of
from dating.learning.learned import (
    Learned,
    learned_tables,
)
from dating.maker import Maker
from tests.certain import certain

MAKER = {
    "maker": "Example Reed Works",
    "product": "concertinas",
    "invented": True,
    "period": "1930/1931",
    "variants": {
        "states": ["home", "stage"],
        "shares_at": {
            "1930-01": {"home": 0.8, "stage": 0.2},
            "1931-12": {"home": 0.3, "stage": 0.7},
        },
    },
    "components": {
        "case": {
            "swapped": 0.2,
            "features": {
                "wood": {"ask": "Which wood?", "states": ["oak", "ash", "elm"], "free_form": True},
                "ends": {
                    "ask": "Which ends?",
                    "states": ["plain", "cut"],
                    "slip": 0.03,
                    "history": [
                        {"state": "plain"},
                        {"state": "cut", "first_use": "1930-09", "overlap": 4},
                    ],
                },
            },
        },
        "straps": {
            "features": {
                "leather": {"ask": "Which?", "states": ["brown", "black"], "free_form": True},
                "edge": {
                    "ask": "Which edge?",
                    "states": ["raw", "sewn"],
                    "slip": 0.02,
                    "by_variant": {
                        "home": {"history": [{"state": "raw"}]},
                        "stage": {
                            "history": [
                                {"state": "raw"},
                                {"state": "sewn", "first_use": "1931-02", "overlap": 3},
                            ]
                        },
                    },
                },
            },
        },
    },
}
SEEN = {"wood": "ash", "leather": {"one_of": ["brown", "black"]}, "ends": "cut", "edge": "sewn"}


def maker_of(**changes):
    return Maker.model_validate(certain(MAKER | changes))


def examined(seen, **more):
    return dating.Examination.model_validate(
        {"instrument": "X", "maker": "example", "seen": seen, **more}
    )


def some_latent(fits=2, variants=3, width=2, seed=1):
    """Mixtures with arbitrary shares, for the features of MAKER."""
    generator = np.random.default_rng(seed)
    axis = Cells.even(24, width)
    mixtures = tuple(
        Mixture(
            Settings(variants),
            generator.dirichlet(np.ones(variants), len(axis)),
            tuple(
                np.moveaxis(generator.dirichlet(np.ones(n), (len(axis), variants)), -1, 0)
                for n in (3, 2)
            ),
        )
        for _ in range(fits)
    )
    return Latent(("wood", "leather"), mixtures, axis, 0.1, 0.01)


def learned_with(maker, latent, draws=2):
    features = len(maker.features())
    slip = np.array([feature.slip.value for _, feature in maker.features().values()])
    layout = layout_of(maker)
    numbers = tuple(layout.numbers)
    values = [float(j.quantile(0.5)) for j in layout.numbers.values()]
    depth = max(len(track.shares) for track in layout.tracks)
    shares = np.zeros((draws, len(layout.tracks), depth, 2))
    for place, track in enumerate(layout.tracks):
        shares[:, place, : len(track.shares), : len(track.states)] = track.shares
    return Learned(
        maker_fingerprint="",
        corpus_fingerprint="",
        numbers=numbers,
        values=np.tile(values, (draws, 1)),
        shares=shares,
        slip=np.tile(slip, (draws, 1)),
        replaced=np.zeros((draws, features)),
        means=np.zeros((draws, 0)),
        seed=1,
        latent=latent,
    )


def by_enumeration(maker, learned, seen):
    """Sum over fits, named variants, latent variants, donors and months, one by one."""
    latent, plain = learned.latent, learned_tables(maker, replace(learned, latent=None))
    months = len(maker.period)
    weights = latent.weights()
    total = np.zeros(months)
    every = [(v, k, t) for v in range(2) for k in range(latent.variants) for t in range(months)]
    for fit in range(latent.fits):

        def chance(name, variant, found, month, fit=fit):
            states = tuple(maker.features()[name][1].states)
            r = state_weights(examined({name: seen[name]}).seen[name], states)
            if name in latent.features:
                return float(r @ latent.curves(name)[:, fit, found, month])
            table = plain.features[name]
            p = table.by_state()[:, 0]
            slip = float(table.slip[0])
            p = p[:, min(variant, p.shape[1] - 1), month]
            return float(r @ ((1 - slip) * p + slip / len(states)))

        def case(*built, chance=chance):
            return chance("wood", *built) * chance("ends", *built)

        def share(prior, built, fit=fit):
            variant, found, month = built
            return prior[0, variant, month] * weights[fit, found, month]

        donor = sum(share(plain.donors["case"], built) * case(*built) for built in every)
        for built in every:
            strap = chance("leather", *built) * chance("edge", *built)
            own = 0.8 * case(*built) + 0.2 * donor
            total[built[2]] += share(plain.prior, built) * own * strap
    return total / total.sum()


def test_the_engine_sums_over_latent_variants_as_enumeration_does():
    maker = maker_of()
    learned = learned_with(maker, some_latent())
    made = dating.estimate(maker, examined(SEEN), learned=learned)
    assert made.probabilities == pytest.approx(by_enumeration(maker, learned, SEEN), abs=1e-10)
    assert sum(made.variant_chances.values()) == pytest.approx(1)
    assert list(made.variant_chances) == ["home", "stage"]


def test_other_latent_variants_give_another_date():
    """Negative control of the enumeration."""
    maker = maker_of()
    learned = learned_with(maker, some_latent())
    other = learned_with(maker, some_latent(seed=2))
    made = dating.estimate(maker, examined(SEEN), learned=learned)
    assert abs(made.probabilities - by_enumeration(maker, other, SEEN)).max() > 1e-3


def test_a_seen_variant_leaves_its_own_latent_variants():
    maker = maker_of()
    learned = learned_with(maker, some_latent())
    made = dating.estimate(maker, examined(SEEN, variant="stage"), learned=learned)
    assert made.variant_chances == pytest.approx({"home": 0, "stage": 1})


# Finding them in a corpus --------------------------------------------------------------------

FREE = """\
# Invented.
maker: Example Reed Works
product: concertinas
invented: true
period: 1930/1934
components:
  case:
    features:
      wood: {ask: Which wood?, states: [oak, ash, elm], free_form: true}
      leather: {ask: Which leather?, states: [brown, black], free_form: true}
      screw: {ask: Which screw?, states: [round, flat], free_form: true}
"""


def corpus_in(folder, count, *, together, seed=1):
    """Two lines of the product; what they share goes together, or each feature goes its own way."""
    generator = np.random.default_rng(seed)
    lines = ["instrument,built,trust,wood,leather,screw"]
    for number in range(count):
        month = int(generator.integers(60))
        late = month / 60
        first = generator.random() < 0.5
        own = [first if together else generator.random() < 0.5 for _ in range(3)]
        chances = (0.9 if own[0] else 0.1, 0.85 if own[1] else 0.1, 0.9 * late if own[2] else 0.1)
        wood = "oak" if generator.random() < chances[0] else generator.choice(["ash", "elm"])
        leather = "brown" if generator.random() < chances[1] else "black"
        screw = "flat" if generator.random() < chances[2] else "round"
        built = f"{1930 + month // 12}-{month % 12 + 1:02d}"
        if number % 7 == 0:
            built = built[:4]
        if number % 11 == 0:
            wood = "ash | elm"
        leather = "" if number % 5 == 0 else leather
        lines.append(
            f"C-{number},{built},{0.9 if number % 13 == 0 else 1},{wood},{leather},{screw}"
        )
    (folder / "free.yaml").write_text(FREE, encoding="utf-8")
    (folder / "free.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    maker = dating.read_maker(folder / "free.yaml")
    return maker, read_corpus(folder / "free.csv", maker)


def test_a_doubtful_sighting_counts_as_the_sure_ones_beside_it(tmp_path):
    """Of 120 sure sightings three in four are ash, so three in four of the doubtful are too."""
    cells = ["ash"] * 90 + ["elm"] * 30 + ["ash | elm"] * 120
    lines = [f"C-{n},{1930 + n % 5}-0{1 + n % 9},{cell},," for n, cell in enumerate(cells)]
    (tmp_path / "free.yaml").write_text(FREE, encoding="utf-8")
    text = "\n".join(["instrument,built,wood,leather,screw", *lines]) + "\n"
    (tmp_path / "free.csv").write_text(text, encoding="utf-8")
    corpus = read_corpus(tmp_path / "free.csv", dating.read_maker(tmp_path / "free.yaml"))
    rows = rows_of(corpus.references, corpus.maker, np.full(60, 1 / 60))
    fits = fitted(rows, [Settings(1, bend=5.0, steady=0.01, pull=0.01)], seed=1)
    ash = np.mean([fit.shares[0][1].mean() for fit in fits])
    assert ash == pytest.approx(0.75, abs=0.04)


@pytest.mark.parametrize(("gain", "wanted"), [(0.05, False), (0.3, True)])
def test_variants_must_earn_their_place(tmp_path, monkeypatch, gain, wanted):
    """Three hundred instruments whose scores scatter by one: a standard error of 0.058."""
    scatter = np.random.default_rng(1).normal(size=300)
    scatter = (scatter - scatter.mean()) / scatter.std()
    monkeypatch.setattr(choice, "left_out", lambda rows, settings, *rest: settings[0])
    monkeypatch.setattr(
        choice, "log_scores", lambda s, rows: (scatter + gain) * (s.variants > 1) - 3.0
    )
    _, corpus = corpus_in(tmp_path, 300, together=False)
    found = chosen(rows_of(corpus.references, corpus.maker, np.full(60, 1 / 60)))
    assert (found.settings[0].variants > 1) is wanted
    assert found.error == pytest.approx(1 / np.sqrt(300))
