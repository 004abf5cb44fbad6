"""A drafted free-form maker, and a maker of one feature, through every command."""

import json

import pytest

from tests.serving import linked, pages_of
from tests.use.commands import contents, dating, refusal, success
from tests.use.opening import followed, links_of, words_of

KINDS = ("concertinas", "drafted")
CLAIMS = """\
maker: maker
examinations: [A.yaml, B.yaml]
claims:
  - claim: apart
    sentence: The two were built within two years.
    says: {{apart: {{instruments: [A, B], at_most: 24}}}}
  - claim: both
    sentence: Both were built after 1929.
    all_of:
      - {{built: {{instrument: A, within: 1930/1934}}}}
      - {{built: {{instrument: B, within: 1930/1934}}}}
  - claim: original
    sentence: The first is as it was built.
    says: {{original: {{instrument: A, components: all}}}}
"""
OLDER = """\
  - claim: older
    sentence: The first is older than the second.
    says: {{older: {{instruments: [A, B]}}}}
"""
SHARE = """\
  - claim: share
    sentence: In 1931 half of all had {state}.
    says: {{share: {{states: {{{feature}: {state}}}, during: 1931, at_least: 0.5}}}}
"""
NUMBER = """\
  - claim: number
    sentence: Some hundreds had {state}.
    says: {{made: {{states: {{{feature}: {state}}}, during: 1931, between: [0, 1000]}}}}
"""


@pytest.fixture(scope="module", params=KINDS)
def works(request):
    return request.getfixturevalue(request.param)


@pytest.fixture(params=["judged", "learned"])
def learned(request, works):
    """The options of the judgements alone, and of what was learned."""
    return works.learned if request.param == "learned" else ()


def test_learning_that_was_insisted_on_says_so(concertinas):
    assert "not sound" in concertinas.learning


def test_the_page_of_what_was_learned_opens(works):
    assert words_of(works.folder / "r.html")
    assert followed(works.folder / "r.html", links_of(works.folder / "r.html")) == []


def test_all_its_files_are_checked(works):
    for name in ("maker.yaml", "A.yaml", "B.yaml", "corpus.csv", "sale.csv"):
        success(dating("check", name, cwd=works.folder))


@pytest.mark.parametrize("form", ["text", "json", "yaml"])
def test_the_specialist_dates_an_instrument(works, learned, form):
    answer = success(dating("estimate", "A.yaml", *learned, "--as", form, cwd=works.folder))
    if form == "json":
        months = json.loads(answer.out)["built"]["by_month"]
        assert sum(month["probability"] for month in months) == pytest.approx(1)


def test_a_date_from_draws_that_are_not_sound_says_so_wherever_it_appears(concertinas, tmp_path):
    works = concertinas

    def said(answer):
        return "not sound" in answer.words.lower() or "insist" in answer.words.lower()

    there = {"cwd": works.folder}
    assert said(success(dating("estimate", "A.yaml", *works.learned, **there)))
    record = success(dating("estimate", "A.yaml", *works.learned, "--as", "json", **there))
    assert not json.loads(record.out)["draws"]["sound"]
    assert said(success(dating("note", "A.yaml", *works.learned, **there)))
    out = ("--out", tmp_path / "sale", "--as", "markdown", "--as", "linked-art")
    success(dating("sale", "sale.csv", *works.learned, *out, **there))
    for name in ("lot-1.md", "lot-1.jsonld", "index.md", "index.html"):
        text = words_of(tmp_path / "sale" / name).lower()
        assert "not sound" in text or "insist" in text, name
    assert not said(success(dating("estimate", "A.yaml", **there)))


@pytest.mark.parametrize(("kind", "ending"), [("concertinas", "pdf"), ("drafted", "svg")])
def test_an_estimate_is_drawn(request, tmp_path, kind, ending):
    works, picture = request.getfixturevalue(kind), tmp_path / f"a.{ending}"
    options = (*works.learned, "--picture", picture)
    success(dating("estimate", "A.yaml", *options, cwd=works.folder))
    assert picture.stat().st_size > 1000


def test_the_house_writes_a_sale_in_every_format(drafted, tmp_path):
    works = drafted
    formats = ("markdown", "html", "word", "pdf", "linked-art")
    options = [word for form in formats for word in ("--as", form)]
    out = (*works.learned, "--out", tmp_path / "sale", "--table", tmp_path / "table.csv")
    success(dating("sale", "sale.csv", *out, *options, cwd=works.folder))
    for path in (tmp_path / "sale").iterdir():
        if not path.name.startswith("."):
            assert words_of(path)
    assert (tmp_path / "table.csv").read_text("utf-8").count("\n") == 3


def test_the_author_weighs_claims_about_two_instruments(works, learned, tmp_path):
    claims = works.folder / f"claims-{len(learned)}.yaml"
    claims.write_text(CLAIMS.format(), "utf-8")
    page = tmp_path / "claims.html"
    options = (*learned, "--as", "json", "--page", page)
    answer = success(dating("weigh", claims.name, *options, cwd=works.folder))
    assert len(json.loads(answer.out)["claims"]) == 3
    assert "NaN" not in answer.out
    assert "Both were built after 1929." in words_of(page)
    success(dating("weigh", claims.name, *learned, "--corpus", "corpus.csv", cwd=works.folder))


def test_the_author_asks_which_of_two_is_the_older(works):
    claims = works.folder / "older.yaml"
    claims.write_text((CLAIMS + OLDER).format(), "utf-8")
    answer = success(dating("weigh", "older.yaml", *works.learned, cwd=works.folder))
    assert "The first is older than the second." in answer.words


def test_the_author_weighs_a_share_where_it_can_be_weighed(works):
    text = (CLAIMS + SHARE).format(feature=works.feature, state=works.states[1])
    (works.folder / "shares.yaml").write_text(text, "utf-8")
    answer = dating("weigh", "shares.yaml", *works.learned, "--as", "json", cwd=works.folder)
    if works.feature == "finish":  # free-form shares have no story that a claim could rest on
        refusal(answer, "left to be learned", status=(1,))
    else:
        assert len(json.loads(success(answer).out)["claims"]) == 4
    (works.folder / "shares.yaml").unlink()


def test_the_author_cannot_count_where_no_output_is_stated(works):
    text = (CLAIMS + NUMBER).format(feature=works.feature, state=works.states[1])
    (works.folder / "number.yaml").write_text(text, "utf-8")
    answer = dating("weigh", "number.yaml", *works.learned, cwd=works.folder)
    refusal(answer, "output" if works.feature == "ends" else "left to be learned", status=(1,))
    (works.folder / "number.yaml").unlink()


def test_trust_is_asked_for_and_levels_are_corrected(works, tmp_path):
    options = ("--picture", tmp_path / "trust.svg", "--correct", tmp_path / "corrected.nc")
    calibrate = ("calibrate", "maker.yaml", "corpus.csv", *works.learned, *options)
    answer = success(dating(*calibrate, cwd=works.folder))
    assert "instruments" in answer.text
    if (tmp_path / "corrected.nc").exists():
        corrected = ("--learned", tmp_path / "corrected.nc")
        success(dating("estimate", "A.yaml", *corrected, cwd=works.folder))


def test_its_corpus_is_drafted_again(works, tmp_path):
    out = ("--out", tmp_path / "again.yaml", "--name", "Again")
    success(dating("draft", "corpus.csv", *out, cwd=works.folder))
    success(dating("check", tmp_path / "again.yaml"))


def test_its_pages_are_seen(works):
    before = contents(works.folder)
    pages = linked(pages_of(works.folder), 2)
    assert not {
        place: answer.status
        for answers in pages.values()
        for place, answer in answers
        if answer.status != 200
    }
    assert contents(works.folder) == before


def test_what_was_learned_of_one_maker_is_refused_for_another(concertinas, drafted):
    for one, other in ((concertinas, drafted), (drafted, concertinas)):
        learned = ("--learned", other.folder / "learned.nc")
        refusal(dating("estimate", "A.yaml", *learned, cwd=one.folder), "learn", status=(1,))
