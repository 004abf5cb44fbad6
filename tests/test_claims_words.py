"""Claims in words, as a record, as a page and by the command; and the demo's truth."""

import json
import re
import sys
from html import unescape
from importlib import import_module
from pathlib import Path
from shutil import copytree

import numpy as np
import pytest
import yaml
from click.testing import CliRunner

import dating
from dating.claims.evidence import Basis, Evidence
from dating.claims.examples import _of_corpus
from dating.claims.files import Manuscript, manuscript_of, read_claims
from dating.claims.statements import Assertion, Claim, Claims
from dating.claims.strength import DrawChance, Factor, chance_from, factor_from
from dating.claims.weighing import ClaimResult
from dating.cli.main import main
from dating.learning.storage import learned_file_of
from dating.words.claim_clauses import clause
from dating.words.claims import ranges_of, rewording, verdict
from tests.learning import ONE_RAMP, one_ramp_rows, written

FILE = "demo_data/marrowby_claims.yaml"
CORPUS = "demo_data/marrowby_corpus.csv"
FIRST = 1923 * 12 + 2


@pytest.fixture(scope="module")
def maker():
    return dating.read_maker("priors/marrowby.yaml")


@pytest.fixture(scope="module")
def corpus(maker):
    return dating.read_corpus(CORPUS, maker)


def said(**kind):
    return Assertion.model_validate(kind)


@pytest.mark.parametrize(
    ("saying", "words"),
    [
        ({"built": {"instrument": "M-1", "within": "1931"}}, "M-1 was built in 1931"),
        (
            {"original": {"instrument": "M-1", "components": ["neck", "body"]}},
            "M-1 still has its original neck and body",
        ),
        (
            {"apart": {"instruments": ["A", "B"], "at_most": 1}},
            "A and B were built at most 1 month apart",
        ),
        (
            {"first_use": {"feature": "nut", "state": "wood", "not_before": "1940-02"}},
            "the first use of the wood nut was in February 1940 or later",
        ),
        (
            {"last_use": {"feature": "nut", "state": "bone", "within": "1934/1935"}},
            "the last use of the bone nut was between 1934 and 1935",
        ),
        (
            {
                "changed_first": {
                    "earlier": {"feature": "variants", "to": "recital"},
                    "later": {"feature": "binding", "to": "celluloid", "variant": "recital"},
                    "by": 3,
                }
            },
            "the recital grade came in before the celluloid binding on the recital grade by at "
            "least 3 months",
        ),
        (
            {
                "share": {
                    "states": {"nut": ["bone", "wood"]},
                    "during": "1931-02/1931-03",
                    "was": "all",
                    "tolerance": 0.1,
                }
            },
            "at least 90 % of the instruments made between February 1931 and March 1931 had the "
            "bone or wood nut",
        ),
        (
            {"made": {"states": {"nut": "wood"}, "about": 1000, "give_or_take": 0.2}},
            "about 1,000 (meaning between 800 and 1,200) instruments were made with the wood nut",
        ),
    ],
)
def test_what_is_claimed_is_said_in_words(saying, words):
    assert clause(said(**saying)) == words


def weighed(posterior, *, factor=None, points=(None,), **saying):
    saying = saying or {"older": {"instruments": ["A", "B"]}}
    claim = Claim.model_validate({"claim": "c", "says": saying})
    chances = [DrawChance(p, 0.0, 1e-9) for p in (0.5, posterior)]
    basis = Basis(("A", "B"))
    return ClaimResult(claim, *chances, factor, points, (), (), basis=basis)


WORDS = (
    "It is exceptionally unlikely",
    "It is very unlikely",
    "It is unlikely",
    "It is uncertain",
    "It is likely",
    "It is very likely",
    "It is virtually certain",
)


def test_weaker_evidence_never_makes_stronger_words():
    ranks = []
    for posterior in np.linspace(0.001, 0.999, 400):
        words = rewording(weighed(posterior), FIRST)
        ranks.append(next(k for k, word in enumerate(WORDS) if words.startswith(word)))
    away = abs(np.array(ranks) - 3)
    assert (np.diff(ranks) >= 0).all()
    assert set(ranks) == set(range(7))
    assert (np.diff(away[:200]) <= 0).all()


def test_what_cannot_be_settled_is_not_asserted():
    words = rewording(weighed(0.5), FIRST)
    grounds = "what was seen on A and B and the assessors' judgements"
    assert words == (
        f"It is uncertain (50 %, from {grounds}) whether A was built in an earlier month than B."
    )


def test_a_doubtful_date_comes_with_its_range():
    use = {"first_use": {"feature": "nut", "state": "wood", "not_before": "1940"}}
    words = rewording(weighed(0.2, points=((10.0, 20.0, 30.5),), **use), FIRST)
    assert words.endswith(
        "The first use was between January 1924 and September 1925 (probability 90 %)."
    )


@pytest.mark.parametrize(
    ("factor", "words"),
    [
        (None, "No evidence was weighed. The assessors believe it likely (70 %)."),
        (Factor(25.0, 0.1, ""), "Bayes factor 25 (16 to 40): moderate support."),
        (Factor(12.0, 0.1, ""), "Bayes factor 12 (7.6 to 19): weak support."),
        (Factor(1.5, 0.4, ""), "Bayes factor 1.5 (1/4.2 to 9.5): no support either way."),
        (
            Factor(0.01, 0.0, ""),
            "Bayes factor 1/100: moderately strong support for the opposite.",
        ),
        (Factor(1 / 25, 0.1, ""), "(1/40 to 1/16): moderate support for the opposite."),
        (
            Factor(1.0, 0.0, "not told"),
            "as before the evidence (50 %); the draws do not show what the evidence is worth.",
        ),
        (
            Factor(5e3, 0.1, "at least"),
            "Bayes factor at least 5,000: the draws give a bound only, which is not graded.",
        ),
    ],
)
def test_a_verdict_says_what_the_evidence_was_worth(factor, words):
    assert words in verdict(weighed(0.7, factor=factor))


def test_what_rests_on_one_draw_is_not_told_from_none():
    """Of a strict claim one draw in a thousand may say yes, and all others next to nothing."""
    true, weight = np.full(1024, 1e-30), np.ones(1024)
    true[5] = 0.4
    few, none = chance_from(true, weight), chance_from(np.full(1024, 1e-30) * 0, weight)
    assert few.settled
    assert none.settled
    assert not factor_from(none, few).has_value
    assert not chance_from(np.full(1024, 1e-6), weight).settled
    assert not chance_from(np.array([1.0, 0.0] * 512), weight).settled
    assert factor_from(few, chance_from(np.full(1024, 0.5), weight)).bound == "at least"


# Examples -------------------------------------------------------------------------------------


def sides(saying, corpus):
    """Name the instruments by what is recorded of them, whatever it is worth."""
    made = {"for": [], "against": []}
    for one in _of_corpus(Assertion.model_validate(saying), corpus):
        made[one.side].append(one.reference.examination.instrument)
    return made


def rows_of(tmp_path, maker, *rows):
    lines = ["instrument,built,heel-joint,lining", *(",".join(row) for row in rows)]
    (tmp_path / "c.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return dating.read_corpus(tmp_path / "c.csv", maker)


def test_examples_stand_on_the_side_they_speak_for(tmp_path, maker):
    corpus = rows_of(
        tmp_path,
        maker,
        ("early", "1929-05", "dowelled", "solid"),
        ("late", "1931-02", "dowelled", "solid"),
        ("old", "1929-06", "dovetail", "kerfed"),
        ("doubt", "1928", "dowelled (0.6)", ""),
        ("across", '"[1929-11..1930-03]"', "dowelled", ""),
        ("other", "1928", "other: glued", ""),
    )
    dowelled = {"feature": "heel-joint", "state": "dowelled"}
    made = sides({"first_use": {**dowelled, "not_before": "1930"}}, corpus)
    assert made == {"for": ["old"], "against": ["early"]}
    made = sides({"first_use": {**dowelled, "not_after": "1930"}}, corpus)
    assert made == {"for": ["early", "across"], "against": []}
    made = sides({"last_use": {**dowelled, "not_after": "1930"}}, corpus)
    assert made["against"] == ["late"]
    share = {"states": {"heel-joint": "dowelled"}, "during": "1929"}
    assert sides({"share": {**share, "was": "none"}}, corpus) == {
        "for": ["old"],
        "against": ["early"],
    }
    assert sides({"share": {**share, "at_least": 0.5}}, corpus)["for"] == ["early"]
    ways = {
        "earlier": {"feature": "heel-joint", "to": "dowelled"},
        "later": {"feature": "lining", "to": "kerfed"},
    }
    assert sides({"changed_first": ways}, corpus) == {"for": ["early", "late"], "against": ["old"]}
    overlap = {"changeover": {"feature": "heel-joint", "to": "dowelled"}, "shorter_than": 1}
    assert sides({"overlap": overlap}, corpus)["against"] == ["early", "old"]
    overlap["shorter_than"] = 2
    assert sides({"overlap": overlap}, corpus)["against"] == []


# The command ----------------------------------------------------------------------------------


def run(*arguments):
    return CliRunner().invoke(main, ["weigh", *map(str, arguments)], catch_exceptions=False)


@pytest.mark.long
def test_the_command_names_every_claim_and_its_wording():
    made = run(FILE, "--corpus", CORPUS, "--judgements-only")
    assert made.exit_code == 0
    claims = read_claims(FILE)
    flat = " ".join(made.output.split())
    for claim in claims.claims:
        assert f"{claim.claim} ({claim.place})" in flat
    assert flat.count("Suggested wording:") == 2
    assert flat.count("Nothing to print: The assessors ") == len(claims.claims) - 2
    seeming = "Seemingly against it, and probably explained otherwise: R-368 (line 371): screwed"
    assert f"{seeming} heel joint, built [1924-12..1925-05] (as recorded <1 %, from another" in flat
    assert "ENFSI (2015)" in flat
    assert "IPCC (2010)" in flat
    assert "not a certificate" in flat
    assert max(map(len, made.output.splitlines())) <= 80


def test_the_record_and_the_page_agree_with_the_text(tmp_path):
    page, options = tmp_path / "claims.html", ("--corpus", CORPUS, "--judgements-only")
    record = json.loads(run(FILE, *options, "--as", "json", "--page", page).stdout)
    words = page.read_text(encoding="utf-8").replace("\N{NO-BREAK SPACE}", " ")
    assert len(record["claims"]) == words.count("<article") == 14
    assert record["claims_fingerprint"] in words
    assert record["corpus_fingerprint"] in words
    assert all(print_of in words for print_of in record["examinations"].values())
    assert record["scales"]["second_scale"].startswith("Kass and Raftery (1995)")
    assert "what was learned</dt><dd>nothing" in words
    by_name = {claim["claim"]: claim for claim in record["claims"]}
    assert by_name["dowels-late"]["bayes_factor"] is None
    factor = by_name["first-of-two"]["bayes_factor"]
    odds = [
        p / (1 - p)
        for p in (by_name["first-of-two"][k]["probability"] for k in ("posterior", "prior"))
    ]
    assert factor["value"] == pytest.approx(odds[0] / odds[1])
    assert factor["speaks"] == "against"
    pictures = re.findall(r'<img src="data:image/svg[^"]*" alt="([^"]*)"', words)
    assert len(pictures) == 5
    assert all(alt.startswith("Claimed: ") for alt in pictures)
    assert "<script" not in words
    assert by_name["first-of-two"]["may_be_printed"] in unescape(words)


def test_one_instrument_alone_is_dated_as_by_dating_estimate(maker):
    manuscript = manuscript_of(read_claims(FILE), maker)
    made = dating.estimate(maker, manuscript.examinations["M-001"])
    assert Evidence(manuscript).dated("M-001") == pytest.approx(made.probabilities, abs=1e-12)


@pytest.mark.parametrize(
    ("page", "words"), [("claims.txt", "the page is HTML"), ("no/claims.html", "does not exist")]
)
def test_a_page_that_cannot_be_written_is_refused_before_any_work(tmp_path, page, words):
    made = run(FILE, "--page", tmp_path / page)
    assert made.exit_code != 0
    assert words in made.output
    assert not (tmp_path / page).exists()


def test_evidence_that_no_month_allows_is_refused(tmp_path, maker):
    text = Path("demo_data/examinations/M-001.yaml").read_text(encoding="utf-8")
    text += "documents:\n  - {what: letter, not_before: 1940, not_after: 1940, trust: 1}\n"
    text += "  - {what: bill, not_after: 1925, trust: 1}\n"
    (tmp_path / "M.yaml").write_text(text, encoding="utf-8")
    claims = "maker: marrowby\nexaminations: [M.yaml]\nclaims:\n"
    claims += "  - {claim: c, says: {built: {instrument: M-001, within: 1931}}}\n"
    (tmp_path / "c.yaml").write_text(claims, encoding="utf-8")
    made = run(tmp_path / "c.yaml", "--maker", "priors/marrowby.yaml")
    assert made.exit_code == 1
    assert "no month of the period " in made.output


# The demo's truth -----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def hidden():
    sys.path.append(str(Path("demo_data").resolve()))
    script = import_module("simulate_marrowby")
    return import_module("simulating").world_of(script.hidden_maker(), script.HABITS)


def test_the_truth_of_the_demo_claims_is_that_of_the_hidden_history(hidden):
    """Reckoned from the truth file and the hidden tables, not by the code that weighs claims."""
    truth = yaml.safe_load(Path("demo_data/marrowby_truth.yaml").read_text(encoding="utf-8"))
    changes = {(c["feature"], c["regime"]): c for c in truth["changeovers"]}
    dowels, kerfed, label, lacquer = (
        changes[key]["first_use"]
        for key in (("heel-joint", 2), ("lining", 2), ("label", 2), ("finish", 2))
    )
    made = np.zeros(len(hidden.maker.period))
    for output in hidden.maker.output:
        start = output.during.first - FIRST
        span = slice(start, start + len(output.during))
        made[span] += output.made.opinions[0].likely / len(output.during)

    def month(year, number):
        return year * 12 + number - 1 - FIRST

    def share(feature, state):
        states = list(hidden.maker.features()[feature][1].states)
        (by_month,) = hidden.shares[feature][states.index(state)]
        return by_month

    screwed = share("heel-joint", "screwed")
    in_1934 = slice(month(1934, 1), month(1935, 1))
    in_1931 = slice(month(1931, 1), month(1932, 1))
    expected = {
        "dowels-late": dowels >= month(1930, 7),
        "dowels-early": dowels < month(1930, 1),
        "no-screws": not (made * screwed)[: month(1931, 1)].any(),
        "all-dovetailed": bool((share("heel-joint", "dovetail")[in_1931] == 1).all()),
        "kerfed-second-works": month(1931, 7) <= kerfed < month(1932, 1),
        "kerfed-in-september": month(1931, 9) <= kerfed < month(1931, 10),
        "label-before-lining": kerfed - label >= 2,
        "label-before-finish": lacquer > label,
        "quick-lacquer": changes["finish", 2]["overlap"] < 6,
        "lacquer-of-1934": bool(share("finish", "lacquer")[in_1934].mean() >= 0.9),
        "few-varnished-screws": bool(
            210 <= (made * screwed * share("finish", "varnish")).sum() <= 390
        ),
        "rare-kerfed": bool((made * share("lining", "kerfed")).sum() <= 1000),
    }
    stated = yaml.safe_load(Path("demo_data/marrowby_claims_truth.yaml").read_text("utf-8"))
    assert stated["claims"] == expected
    assert list(expected) == [claim.claim for claim in read_claims(FILE).claims][:12]


def test_check_says_what_was_understood_of_claims(tmp_path):
    made = CliRunner().invoke(main, ["check", FILE])
    assert made.exit_code == 0
    flat = " ".join(made.output.split())
    assert f"Claims file {FILE}: no mistakes found 14 claims about Marrowby" in flat
    assert "quick-lacquer (chapter 4, page 55): the changeover to the lacquer finish took" in flat
    sheet = tmp_path / "claims.csv"
    columns = "claim,kind,feature,state,not_before"
    sheet.write_text(f"# maker: marrowby\n{columns}\na,first_use,nut,wod,1940\n")
    made = CliRunner().invoke(main, ["check", str(sheet)])
    assert made.exit_code == 1
    assert "line 3" in made.output
    assert "wood" in made.output


# Evidence about production ---------------------------------------------------------------------

A_CLAIM = "{claim: c, says: {first_use: {feature: ends, state: metal, not_before: 1931-03}}}"


@pytest.fixture(scope="module")
def first(tmp_path_factory):
    """Weigh once, which learns."""
    folder = tmp_path_factory.mktemp("works")
    written(folder, ONE_RAMP, one_ramp_rows(40))
    (folder / "claims.yaml").write_text(f"maker: example\nclaims: [{A_CLAIM}]\n", "utf-8")
    return folder, weighed_there(folder, "--as", "json")


@pytest.fixture
def works(first, tmp_path):
    folder, _ = first
    return copytree(folder, tmp_path / "works")


def weighed_there(works, *options):
    files = (works / "claims.yaml", "--maker", works / "example.yaml")
    return run(*files, "--corpus", works / "corpus.csv", *options)


def test_dated_instruments_are_learned_from_once_and_found_again(first, works, monkeypatch):
    _, first = first
    assert "Learning from" in " ".join(first.stderr.split())
    (kept,) = works.glob("corpus.*.nc")
    record, (claim,) = json.loads(first.stdout), json.loads(first.stdout)["claims"]
    assert Path(record["learned_file"]).name == kept.name
    assert record["learned_from"] == dating.read_learned(kept).attrs["corpus_fingerprint"]
    assert claim["rests_on"]["dated_instruments"] == 40
    assert claim["bayes_factor"] is not None
    assert "(" in claim["may_be_printed"]
    assert "from 40 dated instruments and the assessors' judgements" in claim["may_be_printed"]
    monkeypatch.setattr("dating.learning.run.learn_plan", None)
    again = weighed_there(works, "--as", "json")
    assert f"is read from {kept}" in " ".join(again.stderr.split())
    assert json.loads(again.stdout)["claims"] == record["claims"]
    page = works / "claims.html"
    weighed_there(works, "--page", page)
    words = page.read_text("utf-8").replace("\N{NO-BREAK SPACE}", " ")
    assert kept.name in words
    assert words.count(record["learned_from"]) == 2  # of the corpus, and of what was learned
    shown = re.search(r">([^<]*)<br><span class=\"quiet\">[^<]*support", words)[1]
    assert re.fullmatch(r"[0-9./,]+ \([0-9./,]+ to [0-9./,]+\)", shown)
    kept.rename(works / "written by dating learn.nc")
    elsewhere = json.loads(weighed_there(works, "--as", "json").stdout)
    assert Path(elsewhere["learned_file"]).name == "written by dating learn.nc"
    assert elsewhere["claims"] == record["claims"]


def test_what_was_learned_of_another_state_is_not_taken(works):
    (kept,) = works.glob("corpus.*.nc")
    maker = dating.read_maker(works / "example.yaml")
    corpus = dating.read_corpus(works / "corpus.csv", maker)
    assert learned_file_of(corpus) == kept
    table = works / "corpus.csv"
    table.write_text(table.read_text("utf-8").replace("C-0,", "C-00,"), "utf-8")
    assert learned_file_of(dating.read_corpus(table, maker)) is None
    kept.write_bytes(kept.read_bytes()[:-5] + b"00000")
    assert learned_file_of(corpus) is None


def test_without_evidence_there_is_nothing_to_print(works):
    (kept,) = works.glob("*.nc")
    kept.unlink()
    made = weighed_there(works, "--judgements-only")
    flat = " ".join(made.output.split())
    assert not list(works.glob("*.nc"))
    assert "Suggested wording" not in flat
    assert "ENFSI" not in flat
    assert "±" not in flat
    assert "Nothing to print: The assessors" in flat
    assert "nothing to print. Weigh with --corpus" in flat
    (claim,) = json.loads(weighed_there(works, "--judgements-only", "--as", "json").stdout)[
        "claims"
    ]
    assert claim["may_be_printed"] is None
    assert claim["rests_on"]["judgements_alone"]
    refused = weighed_there(works, "--judgements-only", "--learned", works / "no.nc")
    assert refused.exit_code == 2


def test_instruments_on_which_nothing_was_seen_are_no_evidence(maker):
    seen = {
        name: dating.Examination.model_validate({"instrument": name, "maker": "marrowby"} | more)
        for name, more in {
            "bare": {},
            "seen": {"seen": {"nut": "bone"}},
            "unlisted": {"seen": {"nut": {"other": "horn"}}},
            "dated": {"documents": [{"what": "bill", "not_after": 1930, "trust": 0.9}]},
        }.items()
    }
    evidence = Evidence(Manuscript(Claims(maker="marrowby", claims=(a_claim(),)), maker, seen))
    assert evidence.basis(tuple(seen)).seen == ("seen", "dated")
    assert not evidence.basis(("bare", "unlisted")).has_evidence


def a_claim():
    return Claim.model_validate(
        {"claim": "c", "says": {"built": {"instrument": "x", "within": 1931}}}
    )


# Words and errors ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("saying", "points", "words"),
    [
        ("share", (1.0, 1.0, 1.0), "The share was 100 % (probability 90 %)."),
        ("share", (0.0, 0.0, 0.0), "The share was 0 % (probability 90 %)."),
        ("share", (0.3, 0.3, 0.301), "The share was about 30 % (probability 90 %)."),
        ("share", (0.2, 0.3, 0.4), "The share was between 20 % and 40 % (probability 90 %)."),
        ("use", (10.2, 10.4, 10.9), "The first use was in January 1924 (probability 90 %)."),
    ],
)
def test_a_range_of_one_number_is_no_range(saying, points, words):
    says = {
        "share": {"share": {"states": {"nut": "wood"}, "during": "1931", "at_least": 0.5}},
        "use": {"first_use": {"feature": "nut", "state": "wood", "within": "1940"}},
    }[saying]
    (known,) = ranges_of(weighed(0.5, points=(points,), **says), FIRST)
    assert known == words


def test_an_instrument_is_of_a_grade():
    states = {"states": {"nut": "wood"}, "variant": "student"}
    share = said(share={**states, "during": "1938", "at_least": 0.5})
    assert clause(share) == (
        "at least 50 % of the instruments of the student grade made in 1938 had the wood nut"
    )
    made = said(made={**states, "between": [1, 5]})
    assert "between 1 and 5 instruments of the student grade were made with" in clause(made)


def test_all_that_is_wrong_in_a_sheet_is_said_at_once(tmp_path):
    sheet = tmp_path / "claims.csv"
    rows = ["a,frist_use,nut,bone,1940", "b,first_use,nut,bone,nineteen", "c,first_use,nut"]
    sheet.write_text("\n".join(["claim,kind,feature,state,not_before", *rows]) + "\n", "utf-8")
    with pytest.raises(dating.InputError) as refused:
        read_claims(sheet)
    assert [problem.line for problem in refused.value.problems] == [1, 2, 3, 4]


def test_no_changeover_comes_before_itself(maker):
    way = {"feature": "lining", "to": "kerfed"}
    claim = {"claim": "c", "says": {"changed_first": {"earlier": way, "later": way}}}
    claims = Claims.model_validate({"maker": "marrowby", "claims": [claim]})
    with pytest.raises(dating.InputError, match="no changeover comes before itself"):
        manuscript_of(claims, maker)
