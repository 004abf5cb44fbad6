"""The page on which an instrument is examined, against the command and the files themselves."""

import re
import shutil
from html import unescape
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import urlencode

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

import dating
from dating.bench.answers import examination_in, fields_of
from dating.bench.app import make_app
from dating.bench.curves import weighted_quantiles
from dating.bench.examination_text import amended_text, new_text, trimmed
from dating.bench.examination_yaml import plain_data
from dating.bench.forms import ONE_OF, OTHER, STATE
from dating.bench.guard import guard_for
from dating.bench.month_shapes import axis_of, draw_strip
from dating.bench.questions import groups_of, places_of
from dating.bench.workspace import Workspace
from dating.examination import Examination
from dating.learning.corpus import read_corpus
from dating.learning.files import read_draws
from dating.months import Period, month_words
from dating.reading import InputError
from dating.words.phrases import held_set
from dating.words.text import as_text
from tests.test_bench_claims import LEARNED, learned_file

MAKER = "priors/marrowby.yaml"
DEMO = [f"demo_data/examinations/M-{number:03}.yaml" for number in range(1, 11)]
FORM = {"instrument": "M-900", "maker": "marrowby", "maker_file": MAKER}


@pytest.fixture(scope="module")
def maker():
    return dating.read_maker(MAKER)


@pytest.fixture
def folder(tmp_path):
    for name in ("priors", "demo_data"):
        shutil.copytree(name, tmp_path / name)
    return tmp_path


@pytest.fixture
def pages(folder):
    app = make_app(Workspace(folder), guard_for("127.0.0.1", 8000))
    return TestClient(app, base_url="http://127.0.0.1:8000")


def send(pages, address, fields):
    head = {"content-type": "application/x-www-form-urlencoded"}
    return pages.post(address, content=urlencode(fields), headers=head)


def form_of(file):
    return {**fields_of(dating.read_examination(file)), "maker_file": MAKER}


def form_on(page):
    """Read from the HTML what a browser would send."""
    form = page[page.index("<form") : page.index("</form>")]
    form = re.sub(r"<template.*?</template>", "", form, flags=re.DOTALL)
    fields = {}
    for tag in re.findall(r"<input[^>]*>", form):
        given_ = {k: unescape(v) for k, v in re.findall(r'([a-z-]+)="([^"]*)"', tag)}
        if given_.get("type") not in {"radio", "checkbox"} or " checked" in tag:
            fields[given_["name"]] = given_.get("value", "on")
    for name, text in re.findall(
        r'<textarea[^>]*name="([^"]*)"[^>]*>\n(.*?)</textarea>', form, re.S
    ):
        fields[name] = unescape(text)
    return fields


def in_words(html):
    """The words of a page, with one space between them."""
    words = unescape(re.sub(r"<[^>]*>", " ", html)).replace("\N{NO-BREAK SPACE}", " ")
    return " ".join(words.split())


class Element(HTMLParser):
    """The words of the element of one id."""

    def __init__(self, html, place):
        super().__init__()
        self.place, self.depth, self.found, self.words = place, 0, False, []
        self.feed(html)
        assert self.found, place

    def handle_starttag(self, tag, attrs):
        if self.depth and tag not in {"input", "link", "meta"}:
            self.depth += 1
        elif dict(attrs).get("id") == self.place:
            self.found, self.depth = True, 1

    def handle_startendtag(self, tag, attrs):
        pass

    def handle_endtag(self, tag):
        self.depth -= bool(self.depth)

    def handle_data(self, data):
        if self.depth:
            self.words.append(data.replace("\N{NO-BREAK SPACE}", " "))


def panel(html, place):
    return " ".join(" ".join(Element(html, place).words).split())


# The form and the examination ---------------------------------------------------------------------


@pytest.mark.parametrize("file", DEMO)
def test_form_says_what_the_file_says(file, pages, maker):
    read = dating.read_examination(file)
    assert plain_data(examination_in(fields_of(read), maker)) == plain_data(read)
    page = pages.get("/examine", params={"file": file}).text
    assert plain_data(examination_in(form_on(page), maker)) == plain_data(read)


def test_what_is_not_a_plain_answer_survives_the_page(pages, maker, folder):
    text = """
instrument: "M <1> & 'co' 80 %"
maker: marrowby
invented: true
examined: 2026-05-04
by: "assessor \\"A\\""
note: "first line, 50 %\\nsecond line"
variant: {one_of: [student, recital], note: "80 % the first"}
seen:
  ring: {other: "<b>gilt</b> & green", note: "half, 50 % worn"}
  nut: {state: bone, sure: 0.07}
  lining: {one_of: [solid, kerfed], note: dusty}
  plating: not examined
marks: {heel-pencil: "[1928-05-17,1933-05-17]", back-stamp: 1931-02}
measured: {neck-depth: {value: 21.4, within: 0.25, note: at the "first" fret}, rim-depth: 70}
documents:
  - {what: a bill, not_before: 1930, not_after: 1934-06-12, trust: 0.95, source: owner, note: torn}
  - {what: "1934", not_after: 193X}
"""
    (folder / "odd.yaml").write_text(text)
    read = dating.read_examination(folder / "odd.yaml")
    page = pages.get("/examine", params={"file": "odd.yaml"})
    assert page.status_code == 200
    assert "<b>gilt</b>" not in page.text
    assert plain_data(examination_in(form_on(page.text), maker)) == plain_data(read)
    saved = send(pages, "/examine/save", form_on(page.text))
    assert saved.status_code == 200
    assert (folder / "odd.yaml").read_text() == text


PLAIN = st.text(
    st.characters(exclude_categories=["Cs"], exclude_characters="\r"), min_size=1, max_size=30
).map(lambda text: text.replace("\x00", "").strip())
SAID = PLAIN.filter(bool)
CHANCES = st.one_of(
    st.floats(0, 1).map(lambda p: (repr(p), p)),
    st.integers(0, 100).map(lambda n: (f"{n} %", n / 100)),
)


@st.composite
def answers(draw, states):
    """Fields of one feature, and the sight that they mean."""
    kind = draw(st.sampled_from(["", STATE, "sure", ONE_OF, OTHER]))
    note = draw(st.one_of(st.just(""), SAID)) if kind else ""
    held = {"note": note} if note else {}
    if not kind:
        return {}, None
    if kind == ONE_OF:
        several = draw(st.lists(st.sampled_from(states), min_size=1, unique=True))
        ticked = {f"one_of.{place}": state for place, state in enumerate(several)}
        return {"state": ONE_OF, **ticked, "note": note}, {
            "one_of": several,
            **held,
        }
    if kind == OTHER:
        other = draw(SAID)
        return {"state": OTHER, "other": other, "note": note}, {"other": other, **held}
    state = draw(st.sampled_from(states))
    fields, sight = {"state": f"{STATE}{state}", "note": note}, {"state": state, **held}
    if kind == "sure":
        text, chance = draw(CHANCES)
        fields, sight = {**fields, "sure": text}, {**sight, "sure": chance}
    return fields, sight


@st.composite
def forms(draw):
    """A whole form, and the examination that it means."""
    read = dating.read_maker(MAKER)
    fields, said = dict(FORM), {"instrument": "M-900", "maker": "marrowby", "seen": {}}
    for name, (_, feature) in read.features().items():
        given_, sight = draw(answers(list(feature.states)))
        fields |= {f"seen.{name}.{key}": value for key, value in given_.items()}
        if sight is not None:
            said["seen"][name] = sight
    note = draw(st.one_of(st.just(""), SAID))
    if note:
        fields["note"], said["note"] = note, note
    value = draw(st.one_of(st.none(), st.integers(-50, 99), st.floats(-50, 99)))
    if value is not None:
        fields["measured.rim-depth.value"] = repr(value)
        said["measured"] = {"rim-depth": {"value": value}}
    if draw(st.booleans()):
        what, trust = draw(SAID), draw(st.floats(0, 1))
        fields |= {"documents.3.what": what, "documents.3.not_after": "1938-06"}
        fields["documents.3.trust"] = repr(trust)
        said["documents"] = [{"what": what, "not_after": "1938-06", "trust": trust}]
    return fields, Examination.model_validate(said)


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(forms())
def test_every_answer_is_read_and_written_as_it_was_meant(drawn):
    fields, meant = drawn
    maker = dating.read_maker(MAKER)
    read = examination_in(fields, maker)
    assert plain_data(read) == plain_data(meant)
    again = examination_in({**fields_of(read)}, maker)
    assert trimmed(plain_data(again)) == trimmed(plain_data(read))
    assert new_text(read)
    old = Path(DEMO[5]).read_text()
    amended = amended_text(old, dating.read_examination(DEMO[5]), read)
    assert amended.splitlines()[:2] == old.splitlines()[:2]


def test_questions_stand_by_component_least_invasive_first(maker):
    groups = groups_of(maker)
    order = ["none", "low", "moderate", "high"]
    for group in groups:
        ranks = [order.index(question.invasive) for question in group.questions]
        assert ranks == sorted(ranks)
    asked = {*maker.features(), *maker.marks(), *maker.measurements(), "variant"}
    assert set(places_of(groups)) == asked
    assert len(set(places_of(groups).values())) == len(asked)


# What it says -------------------------------------------------------------------------------------

SECTIONS = {
    "WHEN IT WAS BUILT": "panel-date",
    "DO THE PARTS BELONG TOGETHER?": "panel-parts",
    "WHAT EACH OBSERVATION SAYS": "panel-said",
    "CONTRADICTIONS": "panel-clashes",
    "WHAT TO LOOK AT NEXT": "panel-next",
}


def sections(text):
    found, here = {}, None
    for line in text.splitlines():
        if line in SECTIONS:
            here = line
        elif line.startswith("  An opinion") or (line and line == line.upper()):
            here = None
        elif here is not None:
            found[here] = found.get(here, "") + "\n" + line
    return found


NUMBERS = re.compile(r"[+-]?(?:[<>]?\d[\d.,-]*\d|[<>]?\d)(?: %)?")


@pytest.mark.parametrize("file", DEMO)
def test_numbers_are_those_of_the_command(file, pages, maker):
    made = dating.estimate(maker, dating.read_examination(file))
    answer = send(pages, "/examine/redraw", form_of(file))
    assert answer.status_code == 200
    told = sections(as_text(made))
    assert set(told) == set(SECTIONS)
    for section, where in SECTIONS.items():
        there = panel(answer.text, where)
        numbers = NUMBERS.findall(" ".join(told[section].split()))
        assert len(numbers) >= (1 if section == "CONTRADICTIONS" else 4)
        for number in numbers:
            assert re.search(rf"(?<![\d.]){re.escape(number)}(?![\d])", there), (section, number)
    worst = f"at most {float(made.errors.max()):.1g} in the probability of a month"
    assert worst in in_words(answer.text)


@pytest.mark.parametrize("file", DEMO[:3])
def test_page_and_redraw_show_the_same(file, pages):
    page = pages.get("/examine", params={"file": file}).text
    answer = send(pages, "/examine/redraw", form_on(page)).text
    for name in SECTIONS.values():
        assert panel(answer, name) == panel(page, name)
        assert len(panel(page, name)) > 40


def test_what_was_learned_takes_the_place_of_the_judgements(pages, folder, maker):
    learned_file(folder)
    same = dating.read_maker(folder / MAKER)
    learned = read_draws(folder / LEARNED, same)
    page = pages.get("/examine", params={"file": DEMO[0], "learned": LEARNED}).text
    assert f'<option value="{LEARNED}" selected>' in page
    answer = send(pages, "/examine/redraw", form_of(DEMO[0]) | {"learned": LEARNED})
    read = dating.read_examination(DEMO[0])
    with_it = dating.estimate(same, read, learned=learned)
    without = dating.estimate(maker, read)
    assert str(with_it.highest_density(0.9)) != str(without.highest_density(0.9))
    for html in (page, answer.text):
        sets = held_set(with_it.highest_density(0.9), maker.period)
        assert f"90 % {sets} 50 %" in panel(html, "panel-date")
    assert f"{with_it.tables.draws} draws" in panel(answer.text, "panel-foot")
    fields = form_of(DEMO[0]) | {"learned": LEARNED}
    told = send(pages, "/examine/explain?piece=end-block", fields)
    assert "the bands hold nine draws in ten" in in_words(told.text)
    assert "Dated instruments have since moved them" in in_words(told.text)


def test_a_new_examination_says_what_the_maker_made(pages, maker):
    page = pages.get("/examine", params={"maker": MAKER})
    assert page.status_code == 200
    assert form_on(page.text)["maker"] == "marrowby"
    empty = dating.estimate(maker, Examination(instrument="", maker="marrowby"))
    assert held_set(empty.highest_density(0.9), maker.period) in in_words(page.text)


def test_looks_lead_to_their_questions(pages, maker):
    answer = send(pages, "/examine/redraw", form_of(DEMO[4])).text
    page = pages.get("/examine", params={"file": DEMO[4]}).text
    led = re.findall(r'href="#(q\d+)" data-jump>([^:<]+):', answer)
    assert len(led) >= 4
    for place, name in led:
        question = page[page.index(f'id="{place}"') :]
        assert re.search(r'class="name">([^<]+)<', question)[1] == name


# Saving -------------------------------------------------------------------------------------------


def test_saving_what_has_not_changed_leaves_the_file_alone(pages, folder):
    for file in DEMO:
        before = (folder / file).read_bytes()
        page = pages.get("/examine", params={"file": file}).text
        assert send(pages, "/examine/save", form_on(page)).status_code == 200
        assert (folder / file).read_bytes() == before


def test_saving_rewrites_only_what_has_changed(pages, folder, maker):
    file = DEMO[3]
    before = (folder / file).read_text().splitlines()
    fields = form_on(pages.get("/examine", params={"file": file}).text)
    fields |= {
        "seen.bars.state": f"{STATE}slanted",
        "seen.bars.sure": "80 %",
        "seen.lining.state": "",
    }
    assert send(pages, "/examine/save", fields).status_code == 200
    after = (folder / file).read_text().splitlines()
    changed = [(b, a) for b, a in zip(before, after, strict=True) if a != b]
    assert changed == [
        ("  lining: solid", "  lining: not examined"),
        ("  bars: three", "  bars: {state: slanted, sure: 0.8}"),
    ]
    on_page = dating.estimate(maker, examination_in(fields, maker))
    saved = dating.estimate(maker, dating.read_examination(folder / file))
    np.testing.assert_array_equal(on_page.probabilities, saved.probabilities)


def test_documents_are_added_changed_and_taken_out(pages, folder):
    file = DEMO[5]
    start = (folder / file).read_text()
    fields = form_on(pages.get("/examine", params={"file": file}).text)
    fields |= {"documents.8.what": "a letter", "documents.8.not_before": "1931"}
    first = send(pages, "/examine/save", fields)
    added = (folder / file).read_text()
    assert added == start.rstrip("\n") + "\n  - {what: a letter, not_before: 1931}\n"
    fields["version"] = re.search(r'data-version="([0-9a-f]+)"', first.text)[1]
    fields["documents.8.trust"] = "0.5"
    second = send(pages, "/examine/save", fields)
    assert (folder / file).read_text() == added.replace("1931}\n", "1931, trust: 0.5}\n")
    fields["version"] = re.search(r'data-version="([0-9a-f]+)"', second.text)[1]
    kept = {name: v for name, v in fields.items() if not name.startswith("documents.0.")}
    assert send(pages, "/examine/save", kept).status_code == 200
    assert [p.what for p in dating.read_examination(folder / file).documents] == ["a letter"]
    assert "# Invented." in (folder / file).read_text()


def test_indentation_and_quotes_of_the_file_are_kept(maker):
    text = (
        "instrument: \"M-1\"  # label\nmaker: marrowby\n# seen by lamp\nseen:\n    ring: 'inlaid'\n"
        "documents:\n- what: bill\n  not_after: 1934-06  # read twice\n"
    )
    was = Examination.model_validate(
        {
            "instrument": "M-1",
            "maker": "marrowby",
            "seen": {"ring": "inlaid"},
            "documents": [{"what": "bill", "not_after": "1934-06"}],
        }
    )
    now = examination_in({**fields_of(was), "by": "me"}, maker)
    amended = amended_text(text, was, now)
    assert "by: me" in amended
    more = {**fields_of(was), "documents.1.what": "letter", "documents.1.not_after": "1935"}
    text += "- {what: letter, not_after: 1935}  # read once\n"
    without_first = {name: v for name, v in more.items() if not name.startswith("documents.0.")}
    two, one = examination_in(more, maker), examination_in(without_first, maker)
    assert amended_text(text, two, one).endswith(
        "documents:\n- {what: letter, not_after: 1935}  # read once\n"
    )
    for kept in ('"M-1"  # label', "# seen by lamp", "'inlaid'", "\n- what: bill", "# read twice"):
        assert kept in amended


def test_second_of_two_windows_is_told_both_texts(pages, folder):
    file = DEMO[0]
    fields = form_on(pages.get("/examine", params={"file": file}).text)
    assert send(pages, "/examine/save", {**fields, "note": "the first"}).status_code == 200
    once = (folder / file).read_text()
    second = send(pages, "/examine/save", {**fields, "note": "the second, 80 %"})
    assert second.status_code == 409
    assert 'id="both"' in second.text
    both = [unescape(text) for text in re.findall(r"<pre>\n(.*?)</pre>", second.text, re.S)]
    assert both[0] == once
    assert 'note: "the second, 80 %"\n' in both[1]
    assert (folder / file).read_text() == once
    version = re.search(r'data-over="([0-9a-f]+)"', second.text)[1]
    over = {**fields, "note": "the second, 80 %", "version": version}
    assert send(pages, "/examine/save", over).status_code == 200
    assert (folder / file).read_text() == both[1]


def test_a_file_that_is_gone_is_told(pages, folder):
    fields = form_on(pages.get("/examine", params={"file": DEMO[0]}).text)
    (folder / DEMO[0]).unlink()
    answer = send(pages, "/examine/save", fields)
    assert answer.status_code == 409
    assert "has been removed since you opened it" in answer.text
    assert not (folder / DEMO[0]).exists()


def test_new_examination_is_saved_under_the_name_of_the_instrument(pages, folder, maker):
    fields = FORM | {"instrument": "Bench 7/b", "seen.lining.state": f"{STATE}kerfed"}
    answer = send(pages, "/examine/save", fields)
    assert answer.status_code == 200
    assert 'data-file="demo_data/examinations/Bench-7-b.yaml"' in answer.text
    path = folder / "demo_data/examinations/Bench-7-b.yaml"
    saved = dating.estimate(maker, dating.read_examination(path))
    on_page = dating.estimate(maker, examination_in(fields, maker))
    np.testing.assert_array_equal(saved.probabilities, on_page.probabilities)
    again = send(pages, "/examine/save", fields)
    assert again.status_code == 409
    assert "another name" in again.text
    (folder / "examinations").mkdir()
    assert send(pages, "/examine/save", fields).status_code == 200
    assert (folder / "examinations/Bench-7-b.yaml").is_file()


@pytest.mark.parametrize("name", ["../out", "a/b", ".hidden", "a b", "a.yaml", "x" * 61, "-a"])
def test_names_that_are_not_allowed_are_told(name, pages, folder):
    before = sorted(folder.rglob("*"))
    answer = send(pages, "/examine/save", FORM | {"name": name})
    assert answer.status_code == 422
    assert "letters, digits and hyphens" in answer.text
    assert sorted(folder.rglob("*")) == before


def test_an_instrument_without_a_name_is_not_saved(pages, folder):
    answer = send(pages, "/examine/save", FORM | {"instrument": " ", "name": "a"})
    assert answer.status_code == 422
    assert "needs a name" in panel(answer.text, "wrong-field-instrument")
    assert not list(folder.rglob("a.yaml"))


def test_nothing_but_an_examination_is_written_over(pages, folder):
    before = (folder / MAKER).read_bytes()
    version = Workspace(folder).read(MAKER)[1]
    answer = send(pages, "/examine/save", FORM | {"file": MAKER, "version": version})
    assert answer.status_code == 422
    assert (folder / MAKER).read_bytes() == before


# Bad input ----------------------------------------------------------------------------------------


WRONG = [
    ({"seen.ring.state": "=nickel"}, "ring", "no such state"),
    ({"seen.ring.state": "nickel"}, "ring", "no such answer"),
    ({"seen.ring.state": "=inlaid", "seen.ring.sure": "180 %"}, "ring", "a probability"),
    ({"seen.ring.state": "=inlaid", "seen.ring.sure": "nan"}, "ring", "a probability"),
    ({"seen.ring.state": "one_of"}, "ring", "tick the states"),
    (
        {"seen.ring.state": "one_of", "seen.ring.one_of.0": "inlaid", "seen.ring.one_of.1": "gold"},
        "ring",
        "no such state",
    ),
    ({"seen.ring.state": "other"}, "ring", "what it is instead"),
    ({"seen.ring.note": "worn"}, "ring", "a note goes with"),
    ({"measured.neck-depth.value": "21;4"}, "neck-depth", "a number is expected here"),
    ({"measured.neck-depth.value": "1,234"}, "neck-depth", "1.234 or 1234"),
    ({"measured.neck-depth.value": "21.4 furlongs"}, "neck-depth", "the unit here is mm"),
    ({"seen.ring.state": "=inlaid", "seen.ring.sure": "7"}, "ring", "0.07 (7 %) or 0.7"),
    ({"marks.heel-pencil": "1931?"}, "heel-pencil", "how far off; write one of several"),
    ({"measured.neck-depth.value": "1e999"}, "neck-depth", "finite"),
    ({"measured.neck-depth.within": "0.2"}, "neck-depth", "value itself"),
    (
        {"measured.neck-depth.value": "21", "measured.neck-depth.within": "-1"},
        "neck-depth",
        "a number of",
    ),
    ({"marks.heel-pencil": "last May"}, "heel-pencil", ""),
    ({"marks.heel-pencil": "1931/1932"}, "heel-pencil", "one date"),
    ({"variant.state": "=grand"}, "variant", "no such state"),
]


@pytest.mark.parametrize(("fields", "name", "words"), WRONG)
def test_what_is_wrong_is_told_beside_its_question(fields, name, words, pages, maker):
    place = places_of(groups_of(maker))[name]
    for address in ("/examine/redraw", "/examine/save"):
        answer = send(pages, address, FORM | fields)
        assert answer.status_code == 422
        told = panel(answer.text, f"wrong-{place}")
        assert told.strip()
        assert words in told
        assert 'id="trouble"' in answer.text
        assert "These results do not include it" in panel(answer.text, "stale")
        assert "line 0" not in in_words(answer.text)
    others = re.findall(r'id="wrong-(\S+)" data-panel>([^<]*)</p>', answer.text)
    assert [at for at, told in others if told.strip()] == [place]


@pytest.mark.parametrize(
    ("fields", "place"),
    [
        ({"documents.2.what": "", "documents.2.not_after": "1933"}, "document-3"),
        ({"documents.1.what": "a bill", "documents.0.what": ""}, "document-2"),
        ({"documents.1.what": "a bill", "documents.1.not_after": "soon"}, "document-2"),
        (
            {"documents.4.what": "a", "documents.4.not_after": "1930", "documents.4.trust": "2"},
            "document-5",
        ),
        ({"examined": "yesterday"}, "field-examined"),
        ({"examined": "1931-05-04~"}, "field-examined"),
        ({"documents.1.what": "a bill", "documents.1.not_after": "1934~"}, "document-2"),
        ({"by": "x" * 2001}, "field-by"),
    ],
)
def test_what_is_wrong_elsewhere_is_told_there(fields, place, pages):
    answer = send(pages, "/examine/redraw", FORM | fields)
    assert answer.status_code == 422
    assert panel(answer.text, f"wrong-{place}").strip()


def test_what_no_month_allows_is_told(pages):
    papers = {"documents.0.what": "a", "documents.0.not_after": "1930"}
    papers |= {"documents.1.what": "b", "documents.1.not_before": "1935"}
    papers |= {"documents.0.trust": "1", "documents.1.trust": "100 %"}
    answer = send(pages, "/examine/redraw", FORM | papers)
    assert answer.status_code == 422
    assert "no month of the period" in in_words(answer.text)
    assert "These results do not include it" in panel(answer.text, "stale")
    assert "document 1 (a: not after 1930)" in in_words(answer.text)


@pytest.mark.parametrize(
    ("method", "address", "fields", "status"),
    [
        ("get", "/examine", {}, 400),
        ("get", "/examine?file=none.yaml", {}, 404),
        ("get", "/examine?file=../../etc/passwd", {}, 404),
        ("get", f"/examine?file={MAKER}", {}, 422),
        ("get", "/examine?maker=none.yaml", {}, 404),
        ("get", f"/examine?maker={MAKER}&learned=none.nc", {}, 404),
        ("post", "/examine/redraw", {}, 400),
        ("post", "/examine/redraw", {"maker_file": "none.yaml"}, 404),
        ("post", "/examine/redraw", {"maker_file": MAKER}, 422),
        ("post", "/examine/save", FORM | {"file": "none/M.yaml"}, 404),
        ("post", "/examine/save", FORM | {"file": "M.txt"}, 404),
        ("post", "/examine/explain", FORM, 400),
        ("post", "/examine/explain?piece=ring", FORM, 400),
        ("post", "/examine/what-if?piece=ring&answer=gold", FORM, 400),
        ("post", "/examine/what-if?piece=rim-depth&answer=", FORM, 400),
        ("post", "/examine/explain?piece=ring", FORM | {"seen.ring.state": "=gold"}, 422),
        ("post", "/examine/explain?piece=ring", FORM | {"by": "x" * 2001}, 422),
    ],
)
def test_bad_requests_are_told_in_words(method, address, fields, status, pages):
    answer = pages.get(address) if method == "get" else send(pages, address, fields)
    assert answer.status_code == status
    assert 'id="trouble"' in answer.text
    assert "line 0" not in answer.text


NAMES = [
    *(
        "seen.ring.state",
        "seen.ring.sure",
        "seen.ring.one_of.0",
        "seen.ring.other",
        "seen.ring.note",
        "variant.state",
    ),
    *(
        "marks.heel-pencil",
        "measured.neck-depth.value",
        "measured.neck-depth.within",
        "examined",
        "by",
        "learned",
    ),
    *(
        "documents.0.what",
        "documents.0.not_after",
        "documents.0.trust",
        "documents.99999999998.what",
    ),
    *("version", "file", "name", "maker"),
]


ODD = ["=inlaid", "one_of", "other", "1e9", "-1", "80 %", "1931", "[..1931]", "../x", "\x00", MAKER]
ODD_FORMS = st.dictionaries(
    st.sampled_from(NAMES),
    st.one_of(st.sampled_from(ODD), st.text(max_size=20)),
    max_size=6,
)


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(fields=st.dictionaries(st.sampled_from(NAMES), st.text(max_size=20), max_size=6))
def test_no_form_is_answered_with_a_traceback(pages, fields):
    for address in ("redraw", "save", "explain?piece=ring", "what-if?piece=ring&answer=%3Dinlaid"):
        base = FORM | {"seen.ring.state": "=inlaid", "documents.0.what": "a bill"}
        answer = send(pages, f"/examine/{address}", base | fields)
        assert answer.status_code in {200, 400, 404, 409, 422}


def test_a_file_with_names_that_the_maker_file_lacks_is_told(pages, folder):
    (folder / "odd.yaml").write_text("instrument: M\nmaker: marrowby\nseen: {rings: inlaid}\n")
    answer = pages.get("/examine", params={"file": "odd.yaml"})
    assert answer.status_code == 422
    assert "line 3" in answer.text


# Explain and what if ------------------------------------------------------------------------------


@pytest.mark.parametrize("file", DEMO)
def test_every_observation_is_explained(file, pages, maker):
    made = dating.estimate(maker, dating.read_examination(file))
    fields = form_of(file)
    for finding in made.findings:
        piece = finding.piece
        answer = send(pages, f"/examine/explain?{urlencode({'piece': piece.name})}", fields)
        assert answer.status_code == 200
        words = in_words(answer.text)
        rest = held_set(finding.without, maker.period, 2)
        assert f"Without it the date would be {rest}" in words
        assert ("Try another answer" in words) == (piece.kind in {"feature", "variant"})
        if piece.kind == "feature":
            feature = maker.features()[piece.name][1]
            for state in feature.states:
                assert state in words
            depends = maker.depends_on_variant(piece.name)
            assert answer.text.count("Shares as a table") == (2 if depends else 1)
            assert "(seen)" in words


def test_an_explanation_holds_curves_judgements_and_examples(pages, maker):
    answer = send(pages, "/examine/explain?piece=heel-joint", form_of(DEMO[0])).text
    words = in_words(answer)
    assert "dovetail to dowelled first use June 1929 December 1929 August 1930 assessor A" in words
    assert (
        "move to the second works April 1931 August 1931 January 1932 assessor B, weight 0.5"
        in words
    )
    assert "Pay book of the second works" in words
    assert "1928 100 % 0 % 0 %" in words
    tables = dating.estimate(maker, dating.read_examination(DEMO[0])).tables
    table = tables.feature("heel-joint").sel(variant="any").mean("draw")
    for year in ("1931", "1934"):
        shares = table.sel(month=year).mean("month").values
        assert f"{year} {' '.join(f'{100 * share:.0f} %' for share in shares)}" in words
    rows = read_corpus("demo_data/marrowby_corpus.csv").references
    plain = [(r, s) for r in rows if (s := r.examination.seen.get("heel-joint")) and s.sure is None]
    of_1936 = [
        s.state for r, s in plain if s.state and {m[:4] for m in months_of(r, maker)} == {"1936"}
    ]
    counts = [of_1936.count(state) or "" for state in ("dovetail", "dowelled", "screwed")]
    assert " ".join(f"1936 {counts[0]} {counts[1]} {counts[2]}".split()) in words
    assert "demo_data/marrowby_corpus.csv" in words
    for name in re.findall(r"(R-\d+): dowelled", words):
        held = next(r for r, _ in plain if r.examination.instrument == name)
        assert held.examination.seen["heel-joint"].state == "dowelled"
    assert len(re.findall(r"R-\d+: dowelled", words)) == 5


def months_of(reference, maker):
    labels = maker.period.labels()
    return [labels[position] for position in np.flatnonzero(reference.window)]


def test_without_a_corpus_there_are_no_examples(pages, folder):
    (folder / "demo_data/marrowby_corpus.csv").unlink()
    answer = send(pages, "/examine/explain?piece=heel-joint", form_of(DEMO[0]))
    assert answer.status_code == 200
    assert "Dated instruments" not in answer.text


@pytest.mark.parametrize("answer", ["kerfed", ""])
def test_what_if_sets_both_dates_side_by_side(answer, pages, maker):
    read = dating.read_examination(DEMO[9])
    told = f"{STATE}{answer}" if answer else ""
    address = f"/examine/what-if?{urlencode({'piece': 'lining', 'answer': told})}"
    words = in_words(send(pages, address, form_of(DEMO[9])).text)
    seen = {name: s for name, s in read.seen.items() if name != "lining"}
    if answer:
        seen["lining"] = answer
    other = read.model_copy(update={"seen": Examination(instrument="", maker="m", seen=seen).seen})
    now, then = dating.estimate(maker, read), dating.estimate(maker, other)
    assert now.highest_density(0.9) != then.highest_density(0.9)
    for level in (0.9, 0.5):
        both = (held_set(each.highest_density(level), maker.period) for each in (now, then))
        assert " ".join(both) in words


def test_what_if_leaves_out_the_doubts_of_the_old_answer(pages, maker):
    fields = form_of(DEMO[1])
    assert fields["seen.finish.sure"] == "0.8"
    address = f"/examine/what-if?{urlencode({'piece': 'finish', 'answer': '=varnish'})}"
    words = in_words(send(pages, address, fields).text)
    read = dating.read_examination(DEMO[1])
    seen = dict(read.seen) | {"finish": "varnish"}
    sure = Examination(instrument="M", maker="m", seen=seen, variant=read.variant)
    dated = dating.estimate(maker, sure)
    assert held_set(dated.highest_density(0.9), maker.period) in words


def test_months_of_the_picture_hold_the_posterior(pages, maker):
    made = dating.estimate(maker, dating.read_examination(DEMO[0]))
    answer = send(pages, "/examine/redraw", form_of(DEMO[0])).text
    titles = dict(re.findall(r"<title>(\w+ \d{4}): ([\d.]+)\N{NO-BREAK SPACE}%", answer))
    months = map(month_words, range(maker.period.first, maker.period.last + 1))
    by_month = dict(zip(months, made.probabilities, strict=True))
    assert sum(by_month[month] for month in titles) > 0.98
    assert titles == {month: f"{100 * by_month[month]:.1f}" for month in titles}
    core = len(
        re.findall(r'<rect class="core" x="[\d.]+" y="[\d.]+" width="[\d.]+" height', answer)
    )
    assert core == made.highest_density(0.5).months


def test_quantiles_over_draws_follow_the_weights():
    values = np.arange(5.0).reshape(1, 5, 1)
    even = weighted_quantiles(values, np.full(5, 0.2), (0.05, 0.5, 0.95))
    assert even.ravel().tolist() == [0, 2, 4]
    heavy = weighted_quantiles(values, np.array([0, 0, 0, 0.02, 0.98]), (0.05,))
    assert heavy.ravel().tolist() == [4]


def test_a_strip_is_high_where_the_month_is_likely():
    period = Period.parse("1931-01/1931-04")
    axis = axis_of(period)
    path = draw_strip(np.array([0.0, 0.5, 0.5, 1.0]), axis, period)
    assert path == "M113 11H327V0H434L434 22H113Z"


@pytest.mark.parametrize(
    "text",
    [
        ":0",
        "- a",
        "a: b",
        "# x",
        "null",
        "No",
        ".5e5",
        "0x1F",
        "'",
        "{a}",
        "@b",
        "%",
        "é~",
        "a\tb\n",
    ],
)
def test_awkward_texts_are_written_so_that_they_read_back(text, tmp_path):
    seen = {"ring": {"other": text}, "lining": {"state": "solid", "note": text}}
    said = Examination(instrument=text, maker="marrowby", note=text, seen=seen)
    (tmp_path / "a.yaml").write_text(new_text(said), encoding="utf-8")
    assert plain_data(dating.read_examination(tmp_path / "a.yaml")) == plain_data(said)


def test_what_cannot_be_read_back_is_refused(maker, monkeypatch):
    given_ = Examination(instrument="M", maker="marrowby", note="plain")
    monkeypatch.setattr("dating.yaml_text._quoted", lambda value: value)
    with pytest.raises(InputError, match="reads back"):
        new_text(given_.model_copy(update={"note": ".5e5"}))
