"""What people write in a form: read where it can be meant in one way, said back, else refused."""

import pytest
from starlette.testclient import TestClient

import dating
from dating.bench.amounts import AmountError, chance_of, measure_of
from dating.bench.answers import examination_in
from dating.bench.app import make_app
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
        "seen:ring": ("=inlaid",),
        "sure:ring": ("70",),
        "value:neck-depth": ("2,14 cm",),
        "within:neck-depth": ("0.3",),
        "paper_what:1": ("a bill",),
        "paper_not_after:1": ("1934",),
        "paper_trust:1": ("95 %",),
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
    assert wording_in({"note_level": ("90",)}).level == 0.9
    assert wording_in({"note_level": ("0,5",)}).level == 0.5
    fields = {"shortest": "0,5", "likely": "4", "longest": "12", "coverage": "80", "weight": "1,5"}
    entry = entry_of({}, lambda name: fields.get(name, ""), "span")
    assert entry.values == ("0.5", "4", "12")
    assert (entry.coverage, entry.weight) == ("0.8", "1.5")


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
    away = FORM | {"folder": (Workspace(tmp_path).identity,)}
    answer = send(pages, "/examine/save", away)
    assert answer.status_code == 422
    assert "a different folder is now being served here" in answer.text
    assert not list(folder.rglob("M-900.yaml"))
    judged = {"file": (MAKER,), "place": ("events.second-works.when",), **away}
    assert (
        "a different folder is now being served here"
        in send(pages, "/maker/judge/save", judged).text
    )
    home = FORM | {"folder": (Workspace(folder).identity,), "name": ("M-901",)}
    answer = send(pages, "/examine/save", home)
    assert answer.status_code == 200
    assert "<title>M-900 · the bench</title>" in answer.text
    assert panel(answer.text, "heading") == "Examine M-900"
