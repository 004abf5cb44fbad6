"""Claims on the pages: the numbers of the command, shown as they are weighed."""

import html
import json
import re
from urllib.parse import parse_qsl

import pytest
import yaml
from click.testing import CliRunner

from dating.bench import claims_page
from dating.cli.main import main
from dating.files import read_maker
from dating.learning.files import write_learned
from dating.learning.prior import prior_draws
from tests.learning import tree_with
from tests.serving import ask, copied_demo, pages_of

FILE, MAKER = "demo_data/marrowby_claims.yaml", "priors/marrowby.yaml"
CORPUS, LEARNED = "demo_data/marrowby_corpus.csv", "learned.nc"
KEPT = ("dowels-early", "kerfed-in-september", "few-varnished-screws", "of-one-piece")
WEIGHED = {"file": FILE, "maker": MAKER, "learned": LEARNED, "corpus": CORPUS}


def learned_file(folder):
    """Write draws of the judgements, more than tables take, as if they had been learned."""
    maker = read_maker(folder / MAKER)
    draws = prior_draws(maker)
    names = {"value": "values", "share": "shares", "mean": "means", "spread": "spreads"}
    arrays = {
        name: getattr(draws, names.get(name, name))[None, 1::6]
        for name in ("value", "share", "slip", "replaced", "mean", "spread")
    }
    lags = draws.lags[None, 1::6]
    arrays |= {"lag": lags[..., 0], "lag_ratio": lags[..., 1]}
    tree = tree_with(maker, arrays, "0" * 64)
    write_learned(tree, folder / LEARNED)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = copied_demo(tmp_path_factory.mktemp("demo"))
    path = folder / FILE
    data = yaml.safe_load(path.read_text("utf-8"))
    data["claims"] = [claim for claim in data["claims"] if claim["claim"] in KEPT]
    path.write_text(yaml.safe_dump(data, sort_keys=False), encoding="utf-8")
    learned_file(folder)
    return folder


@pytest.fixture(scope="module")
def app(folder):
    return pages_of(folder)


def weighed(app, name, chosen):
    answer = ask(app, "POST", "/claims/weigh", query={"claim": name}, body=chosen)
    assert answer.status == 200
    text = re.sub(r"<[^>]+>", " ", re.sub(r'src="data:[^"]*"', "", answer.text))
    return " ".join(html.unescape(text).split()), answer.text


def plain(text):
    return " ".join(text.split())


@pytest.mark.parametrize("learned", [pytest.param("", marks=pytest.mark.long), LEARNED])
def test_numbers_and_words_are_those_of_the_command(app, folder, learned):
    options = ["--learned", str(folder / learned)] if learned else ["--judgements-only"]
    arguments = [str(folder / FILE), "--corpus", str(folder / CORPUS), "--as", "json", *options]
    result = CliRunner().invoke(main, ["weigh", *arguments])
    record = json.loads(result.stdout)
    assert [claim["claim"] for claim in record["claims"]] == sorted(KEPT, key=KEPT.index)
    for claim in record["claims"]:
        text, page = weighed(app, claim["claim"], {**WEIGHED, "learned": learned})
        worded = claim["may_be_printed"] or claim["assessors_believe"]
        for said in (claim["verdict"], worded, *claim["says"]):
            assert plain(said) in text
        for known in claim["known_of_it"]:
            assert plain(known) in text
        for example in claim["examples"]:
            assert plain(example["said"]) in text
            assert not example["line"] or f"{example['name']} (line {example['line']})" in text
        for look in claim["would_move_it"]:
            assert f"{plain(look['what'])} ({look['bits']:.2f} bits)" in text
        assert claim["posterior"]["words"] in text
        factor = claim["bayes_factor"]
        assert factor is None or factor["words"] in text
        assert (factor is None) == ("no evidence" in text)
        before, after = (
            plain(html.unescape(re.search(rf'data-title="{title}">([^<]+)<', page)[1]))
            for title in ("before", "after")
        )
        assert f"({after})" in text
        assert f"; {before} before the evidence." in text if factor else before == after
        drawn = claim["claim"] in {"dowels-early", "kerfed-in-september"}
        assert ('src="data:image/svg+xml;base64,' in page) == drawn


def test_the_page_is_shown_before_anything_is_weighed(folder, monkeypatch):
    monkeypatch.setattr(claims_page, "weighed", None)
    page = ask(pages_of(folder), address="/claims", query={"file": FILE})
    assert page.status == 200
    named = re.findall(r'data-weigh="/claims/weigh\?claim=([^"]+)"', page.text)
    assert named == list(KEPT)
    assert page.text.count("Weigh this claim") == len(KEPT)
    assert f'<option value="{MAKER}" selected>' in page.text
    assert f'<option value="{LEARNED}">' in page.text
    assert f'<option value="{CORPUS}">' in page.text


def test_a_claim_is_weighed_once_until_a_file_changes(folder, monkeypatch):
    times = []
    honest = claims_page.weighed
    monkeypatch.setattr(claims_page, "weighed", lambda *a: times.append(a) or honest(*a))
    app = pages_of(folder)
    chosen = {"file": FILE, "maker": MAKER, "corpus": CORPUS}
    first, _ = weighed(app, "of-one-piece", chosen)
    again, _ = weighed(app, "of-one-piece", chosen)
    assert (len(times), first) == (1, again)
    for name in (FILE, CORPUS, MAKER, "demo_data/examinations/M-003.yaml"):
        path = folder / name
        before = path.read_bytes()
        path.write_bytes(before + b"\n")
        weighed(app, "of-one-piece", chosen)
        path.write_bytes(before)
    assert len(times) == 5
    examination = folder / "demo_data/examinations/M-001.yaml"
    before = examination.read_text("utf-8")
    examination.write_text(before.replace("dowelled", "screwed"), encoding="utf-8")
    changed, _ = weighed(app, "of-one-piece", chosen)
    examination.write_text(before, encoding="utf-8")
    assert changed != first


def test_examinations_outside_the_folder_are_not_read(folder):
    inside = folder / "demo_data"
    (folder / "secret.yaml").write_text("instrument: SECRET\nmaker: marrowby\n", encoding="utf-8")
    claims = yaml.safe_load((folder / FILE).read_text("utf-8"))
    (inside / "priors").mkdir(exist_ok=True)
    (inside / "priors" / "marrowby.yaml").write_bytes((folder / MAKER).read_bytes())
    app = pages_of(inside)
    try:
        for name in ("../secret.yaml", str(folder / "secret.yaml"), "/etc/passwd", ".."):
            claims["examinations"] = ["examinations/M-001.yaml", name]
            text = yaml.safe_dump(claims)
            (inside / "out.yaml").write_text(text, encoding="utf-8")
            answer = ask(app, address="/claims", query={"file": "out.yaml"})
            assert answer.status == 422
            assert "SECRET" not in answer.text
            assert "root:" not in answer.text
            assert "in the folder that is served" in answer.text
            assert str(folder) not in answer.text.replace(html.escape(name), "")
    finally:
        (inside / "out.yaml").unlink(missing_ok=True)


@pytest.mark.parametrize(
    ("query", "sent", "status"),
    [
        ({"claim": "none-such"}, {}, 400),
        ({}, {}, 400),
        ({"claim": "of-one-piece"}, {"file": ""}, 400),
        ({"claim": "of-one-piece"}, {"maker": ""}, 400),
        ({"claim": "of-one-piece"}, {"file": "none.yaml"}, 404),
        ({"claim": "of-one-piece"}, {"maker": FILE}, 422),
        ({"claim": "of-one-piece"}, {"corpus": MAKER}, 422),
        ({"claim": "of-one-piece"}, {"learned": CORPUS}, 422),
        ({"claim": "of-one-piece"}, {"file": MAKER}, 422),
    ],
)
def test_what_cannot_be_weighed_is_told_in_words(app, query, sent, status):
    chosen = {"file": FILE, "maker": MAKER, **sent}
    answer = ask(app, "POST", "/claims/weigh", query=query, body=chosen)
    assert answer.status == status
    assert 'id="trouble"' in answer.text


def test_a_sheet_of_claims_is_weighed_too(folder, app):
    (folder / "sheet.csv").write_text(
        "# maker: marrowby\nclaim,kind,sentence,feature,state,not_before\n"
        "late,first_use,None before.,heel-joint,dowelled,1930-07\n",
        encoding="utf-8",
    )
    page = ask(app, address="/claims", query={"file": "sheet.csv"})
    assert page.status == 200
    (query,) = re.findall(r'data-weigh="/claims/weigh\?([^"]+)"', page.text)
    name = dict(parse_qsl(html.unescape(query)))["claim"]
    text, _ = weighed(app, name, {"file": "sheet.csv", "maker": MAKER})
    assert "first use of the dowelled heel joint was in July 1930 or later" in text


def test_draws_of_the_learned_file_differ_from_the_judgements(app):
    """Else the first test would not see whether the learned file was used."""
    alone, _ = weighed(app, "dowels-early", {**WEIGHED, "learned": ""})
    learned, _ = weighed(app, "dowels-early", WEIGHED)
    assert alone != learned
