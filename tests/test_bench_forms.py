"""What people write in a form: read where it can be meant in one way, said back, else refused."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from starlette.testclient import TestClient

import dating
from dating.amounts import AmountError, chance_of, measure_of
from dating.bench.answers import examination_in
from dating.bench.app import make_app
from dating.bench.forms import flat, nested
from dating.bench.guard import guard_for
from dating.bench.judgement_form import entry_of
from dating.bench.note_page import wording_in
from dating.bench.questions import groups_of, places_of
from dating.bench.workspace import Workspace
from dating.notes.lots import read_lots
from dating.reading import InputError
from tests.serving import copied_demo
from tests.test_bench_examine import FORM, MAKER, panel, send


@pytest.fixture(scope="module")
def maker():
    return dating.read_maker(MAKER)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return copied_demo(tmp_path_factory.mktemp("folder"))


def served(workspace):
    return TestClient(
        make_app(workspace, guard_for("127.0.0.1", 8000)), base_url="http://127.0.0.1:8000"
    )


@pytest.mark.parametrize(
    ("text", "chance"),
    [
        ("70", 0.7), ("70 %", 0.7), ("70%", 0.7), ("0.7", 0.7), ("0,7", 0.7), ("70,5", 0.705),
        ("1", 1), ("100", 1), ("1 %", 0.01), ("0", 0), ("10", 0.1), ("7 per cent", 0.07),
    ],
)  # fmt: skip
def test_a_chance_is_read_as_people_write_it(text, chance):
    assert chance_of(text).number == chance


@pytest.mark.parametrize("text", ["1.5", "7", "9,9", "101", "-1", "nan", "likely", "70 °", "1,000"])
def test_a_chance_that_may_be_meant_in_two_ways_or_none_is_refused(text):
    with pytest.raises(AmountError):
        chance_of(text)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("21.4", 21.4), ("21,4", 21.4), ("21.4 mm", 21.4), ("21,4mm", 21.4), ("2.14 cm", 21.4),
        ("0,0214 m", 21.4), ("1 inch", 25.4), ('2"', 50.8), ("21.4 MM.", 21.4), ("0,125", 0.125),
    ],
)  # fmt: skip
def test_a_measurement_is_read_in_its_unit_or_another(text, value):
    assert measure_of(text, "mm").number == value


@pytest.mark.parametrize("text", ["1,234", "21.4 kg", "21.4 rods", "1.234,5", "13/16 in", "mm"])
def test_a_measurement_that_may_be_meant_in_two_ways_or_none_is_refused(text):
    with pytest.raises(AmountError):
        measure_of(text, "mm")


def test_a_unit_that_only_the_maker_file_knows_is_its_own():
    assert measure_of("3 lines", "lines").number == 3
    with pytest.raises(AmountError, match="the unit here is lines"):
        measure_of("3 mm", "lines")


def test_what_is_read_otherwise_is_said_back_beside_its_question(folder, maker):
    places = places_of(groups_of(maker))
    fields = FORM | {
        "seen.ring.state": "=inlaid",
        "seen.ring.sure": "70",
        "measured.neck-depth.value": "2,14 cm",
        "measured.neck-depth.within": "0.3",
        "documents.0.what": "a bill",
        "documents.0.not_after": "1934",
        "documents.0.trust": "95 %",
    }
    read = examination_in(fields, maker)
    assert read.seen["ring"].sure == 0.7
    assert (read.measured["neck-depth"].value, read.measured["neck-depth"].within) == (21.4, 0.3)
    assert read.documents[0].trust == 0.95
    answer = send(served(Workspace(folder)), "/examine/redraw", fields)
    assert answer.status_code == 200
    assert panel(answer.text, f"hint-{places['ring']}") == "sureness read as 70 %"
    assert panel(answer.text, f"hint-{places['neck-depth']}") == "value read as 21.4 mm"
    assert panel(answer.text, "hint-document-1") == "trust read as 95 %"
    assert panel(answer.text, f"hint-{places['finish']}") == ""


def test_levels_beliefs_and_months_take_per_cent_and_a_comma():
    assert wording_in({"wording.level": "90"}).level == 0.9
    assert wording_in({"wording.level": "0,5"}).level == 0.5
    fields = {"shortest": "0,5", "likely": "4", "longest": "12", "coverage": "80", "weight": "1,5"}
    entry = entry_of(fields, "span")
    assert entry.values == ("0.5", "4", "12")
    assert (entry.coverage, entry.weight) == ("0.8", "1.5")


# Fields by key path -------------------------------------------------------------------------------

ODD_NAMES = ["a", "a.b", "a.b.c", "..", "%2E", "documents.0", "documents.00"]
KEYS = st.text(st.characters(categories=["L", "N", "P", "Zs"]), min_size=1, max_size=8)
TREES = st.recursive(
    st.text(max_size=5),
    lambda inner: (
        st.dictionaries(KEYS, inner, min_size=1, max_size=4) | st.lists(inner, min_size=1)
    ),
    max_leaves=12,
)


def by_number(data):
    """Nested data with each list as a mapping of its numbers."""
    if isinstance(data, list):
        data = {str(place): each for place, each in enumerate(data)}
    return {k: by_number(v) for k, v in data.items()} if isinstance(data, dict) else data


@given(st.dictionaries(KEYS, TREES))
def test_a_form_that_is_flat_says_the_nested_data(data):
    assert nested(flat(data)) == by_number(data)
    assert all(" " not in name for name in flat(data))


@given(st.dictionaries(st.text(max_size=12) | st.sampled_from(ODD_NAMES), st.text()))
def test_any_names_are_taken_and_none_is_invented(fields):
    said = flat(nested(fields))
    assert set(said.values()) <= set(fields.values())
    assert len(said) <= len(fields)


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"seen.ring.state": "=inlaid", "seen.ring.sure": "2"}, "seen.ring.sure"),
        ({"seen.ring.state": "=none-such"}, "seen.ring.state"),
        ({"seen.ring.state": "one_of"}, "seen.ring.one_of"),
        ({"seen.ring.state": "other"}, "seen.ring.other"),
        ({"seen.ring.note": "worn"}, "seen.ring.note"),
        ({"measured.neck-depth.value": "deep"}, "measured.neck-depth.value"),
        ({"measured.neck-depth.within": "1"}, "measured.neck-depth.value"),
        (
            {"measured.neck-depth.value": "21", "measured.neck-depth.within": "-1"},
            "measured.neck-depth.within",
        ),
        ({"marks.heel-pencil": "last May"}, "marks.heel-pencil"),
        ({"documents.4.what": "a", "documents.4.not_after": "soon"}, "documents.4.not_after"),
        (
            {"documents.4.what": "a", "documents.4.not_after": "1934", "documents.4.trust": "2"},
            "documents.4.trust",
        ),
        ({"examined": "yesterday"}, "examined"),
    ],
)
def test_an_error_points_at_its_field(folder, fields, field):
    pages = served(Workspace(folder))
    answer = send(pages, "/examine/redraw", FORM | fields)
    assert answer.status_code == 422
    (item,) = re.findall(r'<li data-field="([^"]*)"><a href="#([^"]*)"', answer.text)
    assert item == (field, f"in-{field}")
    page = pages.get(f"/examine?maker={MAKER}").text
    place = item[1].replace(".4.", ".0.")
    assert page.count(f' id="{place}"') == 1


@pytest.mark.parametrize(
    ("address", "fields", "field"),
    [
        ("/note/preview", {"wording.level": "2"}, "wording.level"),
        ("/note/preview", {"wording.circa": "7"}, "wording.circa"),
        ("/maker/judge/redraw", {"coverage": "3"}, "coverage"),
        ("/maker/judge/redraw", {"latest": "soon"}, "latest"),
    ],
)
def test_an_error_of_the_other_forms_names_its_field(folder, address, fields, field):
    judged = {"file": MAKER, "place": "events.second-works.when", "form": "three"}
    judged |= {"earliest": "1931-04", "likely": "1931-08", "latest": "1932-01"}
    base = judged if "judge" in address else FORM
    answer = send(served(Workspace(folder)), address, base | fields)
    assert answer.status_code == 422
    assert f'<li data-field="{field}">' in answer.text


# Dates with a mark of doubt -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("line", "key"),
    [
        ('marks: {heel-pencil: "1931?"}', "marks.heel-pencil"),
        ('marks: {heel-pencil: "[1931~,1932]"}', "marks.heel-pencil"),
        ('documents: [{what: a bill, not_after: "1934%"}]', "documents[1].not_after"),
        ('documents: [{what: a bill, not_before: "~1934-06"}]', "documents[1].not_before"),
        ('examined: "2026-05-04?"', "examined"),
    ],
)
def test_a_date_in_doubt_is_refused_in_files(tmp_path, maker, line, key):
    path = tmp_path / "doubt.yaml"
    path.write_text(f"instrument: M\nmaker: marrowby\n{line}\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        dating.estimate(maker, dating.read_examination(path))
    (problem,) = caught.value.problems
    assert (problem.line, problem.key) == (3, key)
    assert "does not say how far off; " in problem.message


@pytest.mark.parametrize("text", ["2026-05-04?", "2026/2027", "2026-21"])
def test_a_lot_is_examined_on_a_day_that_is_known(tmp_path, maker, text):
    path = tmp_path / "sale.csv"
    path.write_text(f"# maker: marrowby\nlot,examined,ring\n1,{text},inlaid\n", encoding="utf-8")
    (lot,) = read_lots(path, maker).lots
    (problem,) = lot.problems
    assert problem.key == "examined"


# Which folder, and what was saved -----------------------------------------------------------------


def test_a_folder_is_known_by_a_fingerprint_that_does_not_name_it(folder, tmp_path):
    own, other = Workspace(folder).identity, Workspace(tmp_path).identity
    assert own == Workspace(folder).identity != other
    page = served(Workspace(folder)).get(f"/examine?maker={MAKER}").text
    assert f'data-draft="{own}:new {MAKER}"' in page
    assert folder.name not in page
    assert Workspace(folder, passing=True).identity == Workspace(tmp_path, passing=True).identity


def test_a_form_is_not_saved_into_another_folder(folder, tmp_path):
    pages = served(Workspace(folder))
    away = FORM | {"folder": Workspace(tmp_path).identity}
    answer = send(pages, "/examine/save", away)
    assert answer.status_code == 422
    assert "a different folder is now being served here" in answer.text
    assert not list(folder.rglob("M-900.yaml"))
    judged = {"file": MAKER, "place": "events.second-works.when", **away}
    refused = send(pages, "/maker/judge/save", judged).text
    assert "a different folder is now being served here" in refused
    home = FORM | {"folder": Workspace(folder).identity, "name": "M-901"}
    answer = send(pages, "/examine/save", home)
    assert answer.status_code == 200
    assert "<title>M-900 · the bench</title>" in answer.text
    assert panel(answer.text, "heading") == "Examine M-900"
