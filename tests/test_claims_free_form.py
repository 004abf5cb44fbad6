"""Claims beside free-form features: silent until their shares are learned, and weighed then."""

import json
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner

import dating
from dating.claims.evidence import Evidence
from dating.claims.files import Manuscript
from dating.claims.statements import Claims
from dating.claims.weighing import weigh_manuscript
from dating.cli.main import main
from dating.learning.learned import affordable, learned_tables
from dating.learning.prior import prior_draws
from dating.months import Period
from dating.words.claims_text import claims_record, claims_text
from tests.test_free_form import maker_of, some_latent
from tests.test_mutations import SMALL_MAKER

SHARE = {"states": {"edge": "sewn"}, "during": "1931", "at_least": 0.3}
FIRST = {"feature": "ends", "state": "cut", "not_after": "1930-10"}
ABOUT_ONE = [
    [{"built": {"instrument": "A", "within": "1930-03/1930-11"}}],
    [{"original": {"instrument": "A"}}],
]
ABOUT_TWO = [
    [{"apart": {"instruments": ["A", "B"], "at_most": 5}}],
    [{"older": {"instruments": ["A", "B"]}}],
    [{"older": {"instruments": ["blank", "A"]}}],
    [
        {"built": {"instrument": "A", "within": "1930"}},
        {"older": {"instruments": ["A", "B"]}},
        {"original": {"instrument": "B", "components": ["case"]}},
        {"share": SHARE},
        {"first_use": FIRST},
    ],
]
ABOUT_PRODUCTION = [
    [{"share": SHARE}],
    [{"share": SHARE}, {"first_use": FIRST}],
    [{"first_use": FIRST}],
    [{"share": {"states": {"variants": "stage"}, "during": "1930-04/1931-06", "at_least": 0.4}}],
]


def manuscript(*claims, a=None, b=None):
    seen = {"A": a or {"wood": "ash", "leather": "brown"}, "B": b or {"wood": "oak"}, "blank": {}}
    maker = maker_of(output=[{"during": "1930/1931", "made": 40}])
    examinations = {
        name: dating.Examination.model_validate({"instrument": name, "maker": "x", "seen": each})
        for name, each in seen.items()
    }
    listed = [
        {"claim": str(k), **({"says": said[0]} if len(said) == 1 else {"all_of": said})}
        for k, said in enumerate(claims)
    ]
    claims = Claims.model_validate({"maker": "x", "claims": listed})
    return Manuscript(claims, maker, examinations)


def learned_of(maker, draws, fits=16):
    return replace(prior_draws(maker).thinned(draws), latent=some_latent(fits=fits))


def test_what_was_seen_of_features_that_nobody_judged_is_worth_nothing_and_named():
    """No claim about instruments has evidence, and each says which sightings were left."""
    written = manuscript(*ABOUT_ONE, *ABOUT_TWO[:3])
    made = weigh_manuscript(written)
    for one in made:
        assert one.posterior.value == pytest.approx(one.prior.value, rel=1e-9)
        assert one.factor is None
        assert not one.basis.has_evidence
    on_a, on_both = ("wood of A", "leather of A"), ("wood of A", "leather of A", "wood of B")
    assert [one.silent for one in made] == [on_a, on_a, on_both, on_both, on_a]
    text = " ".join(claims_text(written, made).split())
    assert (
        text.count(
            "Not weighed: wood of A and leather of A. First learn the shares of free-form features"
        )
        == 3
    )
    (record,) = [claims_record(written, made[2:3], None, None)["claims"][0]]
    assert record["not_weighed"] == ["wood of A", "leather of A", "wood of B"]


def test_what_was_seen_of_judged_features_is_weighed_beside_them():
    judged = {"ends": "cut", "edge": "sewn"}
    with_free = weigh_manuscript(
        manuscript(*ABOUT_TWO, a=judged | {"wood": "ash"}, b={"wood": "oak"})
    )
    without = weigh_manuscript(
        manuscript(*ABOUT_TWO, a=judged, b={"ends": {"one_of": ["plain", "cut"]}})
    )
    for free, plain in zip(with_free, without, strict=True):
        assert free.posterior.value == pytest.approx(plain.posterior.value, rel=1e-9)
        assert (free.silent, plain.silent)[1] == ()
    assert with_free[1].factor.value != pytest.approx(1, abs=0.1)


@pytest.mark.parametrize("draws", [16, 22, 1000])
def test_claims_are_weighed_by_the_draws_that_tables_are_made_from(draws):
    """However many draws were kept: each fit of the shares stands beside as many of them."""
    written = manuscript(*ABOUT_ONE, *ABOUT_TWO, *ABOUT_PRODUCTION)
    learned = learned_of(written.maker, draws)
    evidence, kept = Evidence(written, learned), draws // 16 * 16
    tables = learned_tables(written.maker, learned)
    assert tables.draws == kept == len(affordable(written.maker, learned).values)
    assert evidence.known_few.tables.draws == len(evidence.known_few.draws.values) == kept
    made = weigh_manuscript(written, learned)
    assert not any(one.silent for one in made)
    again = weigh_manuscript(written, affordable(written.maker, learned))
    for one, other in list(zip(made, again, strict=True))[6:8]:
        assert one.posterior.value == pytest.approx(other.posterior.value, abs=1e-12)
    few = evidence.known_few
    stage = few.tables.prior.reshape(kept, 2, -1, 24)[:, 1].sum(axis=1)
    every = few.tables.prior.sum(axis=1)
    inside = few.maker.period.inside(Period.parse("1930-04/1931-06"))
    held = stage[:, inside].sum(axis=1) / every[:, inside].sum(axis=1)
    assert made[-1].posterior.value == pytest.approx(np.mean(held >= 0.4), abs=1e-12)


def test_learned_shares_date_one_instrument_as_an_estimate_does():
    written = manuscript(*ABOUT_ONE, *ABOUT_TWO[:2])
    learned = learned_of(written.maker, 64)
    built, original, apart, older = weigh_manuscript(written, learned)
    alone = {
        name: dating.estimate(written.maker, examination, learned=learned)
        for name, examination in written.examinations.items()
    }
    assert built.posterior.value == pytest.approx(alone["A"].between("1930-03/1930-11"), abs=1e-9)
    assert original.posterior.value == pytest.approx(alone["A"].all_original, abs=1e-9)
    a, b = (alone[name].probabilities for name in ("A", "B"))
    months = np.subtract.outer(np.arange(24), np.arange(24))
    near, first = (float(a @ holds @ b) for holds in (abs(months) <= 5, months < 0))
    assert apart.posterior.value == pytest.approx(near, abs=0.02)  # shared draws tell little here
    assert older.posterior.value == pytest.approx(first, abs=0.02)


CORPUS = """\
instrument,built,{columns}
R-1,1930-02,{one}
R-2,1930-08,{one}
R-3,1931-03,{two}
R-4,[1931-05..1931-11],{two}
"""
DRAFTED = """\
maker: drafted
examinations: [A.yaml, B.yaml, blank.yaml]
claims:
  - {claim: one, says: {built: {instrument: A, within: 1930-03/1930-11}}}
  - {claim: two, says: {original: {instrument: A}}}
  - {claim: three, says: {apart: {instruments: [A, B], at_most: 5}}}
  - {claim: four, says: {older: {instruments: [B, A]}}}
  - {claim: five, all_of: [{built: {instrument: A, within: 1930-03/1930-11}}, \
{older: {instruments: [A, blank]}}, {original: {instrument: blank, components: whole}}]}
"""
VARIANTS = """\
  - {claim: six, says: {share: {states: {variants: home}, during: 1930-03/1930-11, at_least: 0.4}}}
  - {claim: seven, says: {made: {states: {variants: home}, between: [1, 9]}}}
"""


@pytest.mark.parametrize("columns", ["wood", "wood,variant,edge"])
def test_a_drafted_maker_weighs_every_kind_of_claim(tmp_path, monkeypatch, columns):
    """Of the judgements alone nothing is known of free-form shares; learned, they are evidence."""
    monkeypatch.chdir(tmp_path)
    rows = {"one": "ash,home,raw", "two": "oak,stage,sewn"}
    rows = {key: ",".join(row.split(",")[: columns.count(",") + 1]) for key, row in rows.items()}
    (tmp_path / "corpus.csv").write_text(CORPUS.format(columns=columns, **rows))
    for name, seen in (
        ("A", "{wood: ash}"),
        ("B", "{wood: {one_of: [ash, oak]}}"),
        ("blank", "{}"),
    ):
        text = f"instrument: {name}\nmaker: drafted\nseen: {seen}\n"
        (tmp_path / f"{name}.yaml").write_text(text)
    (tmp_path / "claims.yaml").write_text(DRAFTED + (VARIANTS if "variant" in columns else ""))
    run = ["draft", "corpus.csv", "--name", "drafted", "--out", "drafted.yaml"]
    assert CliRunner().invoke(main, run).exit_code == 0
    run = ["weigh", "claims.yaml", "--maker", "drafted.yaml", "--as", "json"]
    for options in (["--judgements-only"], []):
        result = CliRunner().invoke(main, [*run, "--corpus", "corpus.csv", *options])
        assert result.exit_code == 0, result.output
        made = json.loads(result.stdout)["claims"]
        assert len(made) == (7 if "variant" in columns else 5)
        factors = [one["bayes_factor"] for one in made]
        assert all((factor is None) == bool(options) for factor in factors[1:])
        assert made[3]["not_weighed"] == (["wood of B", "wood of A"] if options else [])


def test_a_share_of_a_grade_that_was_not_made_is_weighed_without_a_traceback(tmp_path):
    """No document can state such a share, and no range is known of it."""
    (tmp_path / "small.yaml").write_text(SMALL_MAKER, "utf-8")
    maker = dating.read_maker(tmp_path / "small.yaml")
    share = {"states": {"joint": "screwed"}, "during": "1923-03", "variant": "concert"}
    says = {"share": share | {"was": "none", "tolerance": 0.5}}
    claims = Claims.model_validate({"maker": "x", "claims": [{"claim": "none", "says": says}]})
    (made,) = weigh_manuscript(Manuscript(claims, maker, {}), prior_draws(maker).thinned(64))
    assert (made.posterior.value, made.points, made.looks) == (1, (None,), ())
