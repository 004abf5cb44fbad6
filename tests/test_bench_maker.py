"""The wall chart and the page of one judgement: numbers, words, and what a save may change."""

import difflib
import re
import shutil
from dataclasses import replace
from functools import cache
from pathlib import Path
from textwrap import dedent

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

pytest.importorskip("starlette")

from starlette.testclient import TestClient

from dating.bench.app import make_app
from dating.bench.chart_geometry import BAND, bands, chart_axis, key_of, lanes, text_width
from dating.bench.forms import place_text
from dating.bench.guard import guard_for
from dating.bench.judgement_form import assessors_at, entry_at, opinion_data, opinion_of
from dating.bench.judgement_pictures import happened, ramp_of, window_of
from dating.bench.judgement_places import OPINIONS, spots_of
from dating.bench.judgement_words import in_words, value_words
from dating.bench.maker_page import chart_of
from dating.bench.shares import changeovers, mean_of, shares_of, variant_shares
from dating.bench.time_axis import area
from dating.bench.workspace import Workspace
from dating.distributions import Certain
from dating.files import read_maker
from dating.judgement import metalog_through
from dating.learning.comparison import judged_values
from dating.learning.layout import layout_of
from dating.learning.learned import Learned, learned_tables
from dating.maker import Maker
from dating.reading import InputError, read_yaml
from dating.splicing import rewritten, spliced, stated_at
from dating.statements import DateOpinion, SpanOpinion
from dating.tabulation import month_tables

FILE = "priors/marrowby.yaml"
HEEL = "components.neck.features.heel-joint.history.1.first_use"
MONTHS = "January February March April May June July August September October November December"


@cache
def demo() -> Maker:
    return read_maker(FILE)


@cache
def demo_text() -> str:
    return Path(FILE).read_bytes().decode()


def places(maker: Maker) -> list[tuple[str, int | None]]:
    """Every judgement, once for each assessor."""
    found: list[tuple[str, int | None]] = []
    for place, spot in spots_of(maker).items():
        count = assessors_at(maker.origin.data, spot)
        found += [(place, None)] if count is None else [(place, i) for i in range(count)]
    return found


ALL = places(demo())


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "priors").mkdir()
    shutil.copy(FILE, tmp_path / "priors")
    return tmp_path


@pytest.fixture
def client(folder: Path) -> TestClient:
    app = make_app(Workspace(folder), guard_for("127.0.0.1", 8000))
    return TestClient(app, base_url="http://127.0.0.1:8000")


def page_of(client: TestClient, place: str, index: int | None = None) -> str:
    whole = place if index is None else f"{place}.{index}"
    answer = client.get("/maker/judge", params={"file": FILE, "place": whole})
    assert answer.status_code == 200, answer.text
    return answer.text


def form_of(page: str) -> dict[str, str]:
    """Read the fields of the form as a browser would send them."""
    fields: dict[str, str] = {}
    for tag in re.findall(r"<input[^>]*>", page):
        name = re.search(r'name="([^"]*)"', tag)
        value = re.search(r'value="([^"]*)"', tag)
        assert name
        assert value
        if re.search(r'type="(radio|checkbox)"', tag) and " checked" not in tag:
            continue
        fields[name[1]] = value[1]
    return fields


def changed_lines(before: str, after: str) -> tuple[list[str], list[str]]:
    diff = list(difflib.unified_diff(before.split("\n"), after.split("\n"), n=0, lineterm=""))[2:]
    gone = [line[1:] for line in diff if line.startswith("-")]
    return gone, [line[1:] for line in diff if line.startswith("+")]


# The chart -----------------------------------------------------------------------------------


def test_the_shares_are_the_mean_of_the_month_tables():
    tables = month_tables(demo())
    for name in demo().features():
        table = tables.feature(name)
        weights = tables.weights if table.sizes["draw"] > 1 else np.ones(1)
        mean = np.tensordot(weights, table.transpose("draw", "variant", "state", "month"), 1)
        found = shares_of(tables, name)
        assert len(found) == len(mean) == (2 if demo().depends_on_variant(name) else 1)
        for each, expected in zip(found, mean, strict=True):
            assert np.abs(each.by_month - expected).max() < 1e-12
            assert np.abs(each.by_month.sum(axis=0) - 1).max() < 1e-12


def test_the_variants_and_the_measurements_are_those_of_the_tables():
    tables = month_tables(demo())
    found = variant_shares(tables)
    assert found is not None
    assert np.abs(found.by_month - (tables.prior.sum(axis=0) / tables.output)).max() < 1e-12
    assert mean_of(tables, "neck-depth")[0] == pytest.approx(23.6)


def test_the_tables_of_the_page_say_the_shares_of_each_year():
    tables = month_tables(demo())
    chart = chart_of(demo(), tables)
    neck = next(section for section in chart.sections if section.name == "neck")
    heel = next(table for table in neck.tables if table.caption == "heel-joint")
    by_month = shares_of(tables, "heel-joint")[0].by_month
    first = demo().period.first
    for year, cells in heel.rows:
        months = [m - first for m in range(year * 12, year * 12 + 12) if m in demo().period]
        for cell, share in zip(cells, by_month[:, months].mean(axis=1), strict=True):
            shown = cell.removesuffix(" %")
            if shown[0] in "<>":
                assert share < 0.01 if shown[0] == "<" else share > 0.99
            else:
                assert abs(float(shown) - 100 * share) <= 0.5 + 1e-9


def test_every_band_is_as_high_as_its_share():
    axis = chart_axis(demo().period)
    shares = shares_of(month_tables(demo()), "nut")[0]
    drawn = bands(axis, 100.0, shares.states, shares.by_month, shares.states)
    for band, share in zip(drawn, shares.by_month, strict=True):
        assert _area(band.path) == pytest.approx(
            BAND * share.sum() * axis.right / len(share), rel=0.02, abs=2
        )


def _area(path: str) -> float:
    """Area inside a path of M, L, H and V."""
    total = 0.0
    for piece in path.split("Z")[:-1]:
        corners: list[tuple[float, float]] = []
        for letter, numbers in re.findall(r"([MLHV])([-\d. e]+)", piece):
            values = [float(n) for n in numbers.split()]
            if letter in "ML":
                corners.append((values[0], values[1]))
            elif letter == "H":
                corners.append((values[0], corners[-1][1]))
            else:
                corners.append((corners[-1][0], values[0]))
        ends = zip(corners, corners[1:] + corners[:1], strict=True)
        total += abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in ends)) / 2
    return total


def test_a_path_leaves_out_months_without_height():
    path = area(np.linspace(0, 1000, 5), np.array([0.0, 5, 5, 0]), np.zeros(4))
    assert path == "M250 5H750L750 0H250Z"


def test_brackets_of_own_first_uses_are_the_quantiles_of_the_judgement():
    checked = 0
    for came in changeovers(demo(), None):
        assert came.start[0] <= came.start[1] <= came.start[2]
        assert all(a <= b + 1e-9 for a, b in zip(came.start, came.end, strict=True))
        if came.regime.first_use is not None:
            exact = came.regime.first_use.distribution().quantile([0.05, 0.5, 0.95])
            assert came.start == pytest.approx(tuple(exact))
            checked += 1
    assert checked > 10


def test_drawn_points_of_a_changeover_after_an_event_agree_with_fine_quadrature():
    came = next(c for c in changeovers(demo(), None) if c.name == "lining")
    event = demo().events["second-works"].when.distribution()
    lag = came.regime.judged_lag()
    values, weights = event.nodes(fine=4)
    for level, point in zip((0.05, 0.5, 0.95), came.start, strict=True):
        assert weights @ lag.cdf(point - values) == pytest.approx(level, abs=0.01)


def test_no_two_names_of_events_overlap_each_other_or_a_bracket():
    chart = chart_of(demo(), month_tables(demo()))
    boxes = []
    for event in chart.events:
        x, width = event.label.x, text_width(event.name)
        left, right = (x - width, event.x[2]) if event.end else (event.x[0], x + width)
        boxes.append((left, right, event.y))
    for i, (left, right, y) in enumerate(boxes):
        assert 0 <= left < right <= chart.width
        for other_left, other_right, other_y in boxes[:i]:
            assert y != other_y or right <= other_left or other_right <= left


@given(st.lists(st.tuples(st.integers(0, 99), st.integers(1, 30)), max_size=20))
def test_lanes_keep_stretches_apart(starts: list[tuple[int, int]]):
    spans = [(float(start), float(start + length)) for start, length in starts]
    chosen = lanes(spans)
    for i, (start, stop) in enumerate(spans):
        for j in range(i):
            if chosen[i] == chosen[j]:
                assert stop <= spans[j][0] or spans[j][1] <= start


def test_the_key_of_a_row_stays_in_its_column_and_counts_the_rest():
    keys = key_of([f"a-long-state-{i}" for i in range(9)])
    assert [key.text for key in keys] == ["a-long-state-0", "+8"]


def test_the_chart_names_links_and_titles_everything(client: TestClient):
    page = client.get("/maker", params={"file": FILE}).text
    assert page.count('<g class="band"><title>') == page.count('<g class="band">') > 40
    assert "style=" not in page
    assert "<script>" not in page
    for name in [*demo().features(), *demo().marks(), *demo().measurements(), *demo().events]:
        assert name in page
    for came in changeovers(demo(), None):
        for _, place in came.judgements:
            assert f"place={place}" in page
    drawn = len(changeovers(demo(), None)) + len(demo().events)
    assert page.count('; change the judgement">') == drawn
    links = set(re.findall(r'href="(/maker/judge\?[^"]*)"', page))
    assert len(links) > 60
    for link in sorted(links)[::9]:
        assert client.get(link.replace("&amp;", "&")).status_code == 200
    assert client.get("/maker", params={"file": FILE, "sheet": "1"}).status_code == 200


def test_text_of_a_maker_file_is_never_taken_for_markup(folder: Path, client: TestClient):
    path = folder / FILE
    path.write_text(
        demo_text()
        .replace("two dowels", '"<b onclick=x>two</b>"')
        .replace("heel-joint:", '"<i>heel</i>":')
    )
    page = client.get("/maker", params={"file": FILE}).text
    assert "<i>heel" not in page
    assert "&lt;i&gt;heel" in page
    place = "components.neck.features.<i>heel</i>.history.1.first_use"
    judged = client.get("/maker/judge", params={"file": FILE, "place": place})
    assert judged.status_code == 200
    assert "<i>heel" not in judged.text


# Opening, redrawing and saving every judgement --------------------------------------------------


@pytest.mark.parametrize(("place", "index"), ALL)
def test_every_judgement_opens_redraws_and_saves_without_a_changed_byte(
    client: TestClient, folder: Path, place: str, index: int | None
):
    page = page_of(client, place, index)
    spot = spots_of(demo())[place]
    fields = form_of(page)
    assert fields["place"] == (place if index is None else f"{place}.{index}")
    drawn = client.post("/maker/judge/redraw", data=fields)
    assert drawn.status_code == 200
    opinion = opinion_of(entry_at(demo().origin.data, spot, index), spot, demo(), FILE)
    for sentence in in_words(opinion.distribution(), opinion.coverage, spot):
        assert sentence.replace(" %", "\N{NO-BREAK SPACE}%") in drawn.text
    saved = client.post("/maker/judge/save", data=fields)
    assert saved.status_code == 200, saved.text
    assert (folder / FILE).read_bytes() == demo_text().encode()


@pytest.mark.parametrize(("place", "index"), ALL)
def test_one_changed_value_changes_one_line_and_nothing_else(place: str, index: int | None):
    spot = spots_of(demo())[place]
    entry = entry_at(demo().origin.data, spot, index)
    new = opinion_data(entry, spot, index)
    later = "1929-11" if spot.kind == "date" else 6.5
    if isinstance(new, dict):
        key = OPINIONS[spot.kind].keys[1]
        old, new = str(new[key]), {**new, key: later}
    else:
        old, new = str(new), later
    path = (*spot.path, *(() if index is None else (index,)))
    made = spliced(demo_text(), path, new)
    gone, came = changed_lines(demo_text(), made)
    assert len(gone) == len(came) == 1
    assert old in gone[0]
    assert _smaller(gone[0], old) == _smaller(came[0], str(later))


def _smaller(line: str, value: str) -> list[str]:
    """Give the words of a line without one that was changed."""
    words = re.findall(r"[\w.-]+|[^\w.-]", line)
    words.remove(value)
    return sorted(words)


@pytest.mark.parametrize(("place", "index"), ALL[::11])
def test_a_saved_change_is_what_the_reader_reads(
    client: TestClient, folder: Path, place: str, index: int | None
):
    fields, spot = form_of(page_of(client, place, index)), spots_of(demo())[place]
    if fields["form"] == "one":
        key, value = "value", "1939-12" if spot.kind == "date" else "3.5"
    else:
        key = OPINIONS[spot.kind].keys[1]
        value = _between(fields, spot.kind)
    saved = client.post("/maker/judge/save", data={**fields, key: value})
    assert saved.status_code == 200, saved.text
    gone, came = changed_lines(demo_text(), (folder / FILE).read_bytes().decode())
    assert len(gone) == len(came) == 1
    after = spots_of(read_maker(folder / FILE))[place].judged.opinions[index or 0]
    assert value_words(after.triple()[1], spot.kind) in saved.text


def _between(fields: dict, kind: str) -> str:
    """Give another likely value that is feasible beside the others."""
    _low, likely, _high = (fields[key] for key in OPINIONS[kind].keys)
    if kind != "date":
        return f"{float(likely) * 1.02 or 0.4:g}"
    year, month = map(int, likely.split("-"))
    number = year * 12 + month
    return f"{number // 12:04d}-{number % 12 + 1:02d}"


def test_by_source_and_coverage_are_set_added_and_taken_away(client: TestClient, folder: Path):
    fields = {n: v for n, v in form_of(page_of(client, HEEL)).items() if "source." not in n}
    fields |= {
        "by": "Assessor D: the elder",
        "source.2": "pay-book",
        "source.11": "letters-b",
        "coverage": "0.8",
    }
    page = client.post("/maker/judge/save", data=fields)
    assert page.status_code == 200
    text = (folder / FILE).read_text()
    assert changed_lines(demo_text(), text)[1] == [
        "            first_use: {earliest: 1929-06, likely: 1929-12, latest: 1930-08, "
        'by: "Assessor D: the elder", source: [pay-book, letters-b], coverage: 0.8}'
    ]
    fields = form_of(page.text) | {"by": "", "coverage": "0.9"}
    fields = {name: value for name, value in fields.items() if not name.startswith("source.")}
    assert client.post("/maker/judge/save", data=fields).status_code == 200
    assert changed_lines(demo_text(), (folder / FILE).read_text())[1] == [
        "            first_use: {earliest: 1929-06, likely: 1929-12, latest: 1930-08}"
    ]


def test_a_plain_date_becomes_a_triple_and_plain_again(client: TestClient, folder: Path):
    place = "components.body.features.label.history.2.first_use"
    fields = form_of(page_of(client, place))
    assert fields["form"] == "one"
    assert fields["value"] == "1940-02"
    three = {"form": "three", "earliest": "1939-11", "likely": "1940-02", "latest": "1940-06"}
    page = client.post("/maker/judge/save", data={**fields, **three})
    assert page.status_code == 200, page.text
    gone, came = changed_lines(demo_text(), (folder / FILE).read_text())
    assert gone == ["          - {state: plain, first_use: 1940-02, overlap: 1, source: pay-book}"]
    assert came == [
        "          - {state: plain, first_use: {earliest: 1939-11, likely: 1940-02, "
        "latest: 1940-06}, overlap: 1, source: pay-book}"
    ]
    fields = form_of(page.text) | {"form": "one", "value": "1940-02"}
    assert client.post("/maker/judge/save", data=fields).status_code == 200
    assert (folder / FILE).read_bytes() == demo_text().encode()


def test_a_plain_value_with_a_source_keeps_it(client: TestClient, folder: Path):
    fields = form_of(page_of(client, HEEL)) | {"form": "one", "value": "1929-12"}
    assert client.post("/maker/judge/save", data=fields).status_code == 200
    assert changed_lines(demo_text(), (folder / FILE).read_text())[1] == [
        "            first_use: {earliest: 1929-12, likely: 1929-12, latest: 1929-12, "
        "by: assessor A, source: notebook-a}"
    ]


# Refusals ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("address", ["/maker/judge/redraw", "/maker/judge/save"])
@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"likely": "1929-06"}, "half the belief would lie at 1929-06 alone"),
        ({"likely": "1931-07"}, "the three values must ascend"),
        ({"latest": "soon"}, "latest"),
        ({"latest": "1930-13"}, "latest"),
        ({"earliest": ""}, "earliest"),
        ({"coverage": "1.5"}, "coverage"),
        ({"coverage": "nearly all"}, "coverage"),
        ({"weight": "-1"}, "weight"),
        ({"source.99": "hearsay"}, "no such source in the maker file"),
        ({"by": "a\x07b"}, "printable"),
        ({"by": "x" * 999}, "at most 200"),
        ({"form": "one", "value": "now"}, "likely"),
    ],
)
def test_what_cannot_be_used_is_told_in_words(
    client: TestClient, folder: Path, address: str, changes: dict, words: str
):
    fields = form_of(page_of(client, HEEL))
    answer = client.post(address, data={**fields, **changes})
    assert answer.status_code == 422
    assert words in answer.text
    assert 'id="trouble"' in answer.text
    assert (folder / FILE).read_bytes() == demo_text().encode()


def test_a_lopsided_judgement_is_drawn_between_its_outer_values(client: TestClient):
    fields = form_of(page_of(client, HEEL))
    for month, status in {"1929-07": 200, "1930-07": 200, "1929-06": 422, "1930-08": 422}.items():
        answer = client.post("/maker/judge/redraw", data=fields | {"likely": month})
        assert answer.status_code == status


def test_the_whole_new_text_is_read_before_it_is_written():
    place = ("components", "neck", "features", "heel-joint", "history", 1, "first_use")
    wrong = {"earliest": "1929-06", "likely": "1929-13", "latest": "1930-08"}
    with pytest.raises(InputError, match="likely") as caught:
        rewritten(demo_text(), place, wrong, demo(), FILE)
    (problem,) = caught.value.problems
    assert problem.file == FILE
    assert problem.line == demo().origin.places[place][0]


@pytest.mark.parametrize(
    ("file", "place", "status"),
    [
        (FILE, "nowhere", 400),
        (FILE, "", 400),
        (FILE, "components.neck", 400),
        (FILE, f"{HEEL}.0", 400),
        (FILE, f"{HEEL}.earliest", 400),
        (FILE, "events.second-works.when.2", 400),
        (FILE, "events.second-works.when.-1", 400),
        (FILE, "events.second-works.when.99999999999999999999", 400),
        (FILE, "events.second-works.when.\u00b2", 400),
        (FILE, "output.0.made", 400),
        (FILE, "\x00", 400),
        ("priors/nobody.yaml", HEEL, 404),
        ("../marrowby.yaml", HEEL, 404),
        ("priors", HEEL, 404),
        ("", HEEL, 400),
    ],
)
def test_bad_places_are_refused(client: TestClient, file: str, place: str, status: int):
    answer = client.get("/maker/judge", params={"file": file, "place": place})
    assert answer.status_code == status
    for address in ("/maker/judge/redraw", "/maker/judge/save"):
        answer = client.post(address, data={"file": file, "place": place, "version": "x"})
        assert answer.status_code in {400, 404, 409, 422}
    assert client.get("/maker", params={"file": file}).status_code in {200, 400, 404, 422}


def test_several_assessors_open_one_at_a_time(client: TestClient):
    place = "components.body.features.binding.by_variant.student.history.1.first_use"
    first = page_of(client, place)
    assert first == page_of(client, place, 0)
    second = page_of(client, place, 1)
    assert 'value="1934-04"' in second
    assert "All assessors together" in second
    assert second.count("/maker/judge?") >= 3
    assert 'aria-current="page"' in second


def test_a_second_tab_is_shown_both_texts(client: TestClient, folder: Path):
    one, two = form_of(page_of(client, HEEL)), form_of(page_of(client, HEEL))
    assert client.post("/maker/judge/save", data=one | {"likely": "1930-01"}).status_code == 200
    saved = (folder / FILE).read_bytes()
    answer = client.post("/maker/judge/save", data=two | {"likely": "1929-11"})
    assert answer.status_code == 409
    assert 'id="both"' in answer.text
    assert "likely: 1930-01" in answer.text
    assert "likely: 1929-11" in answer.text
    assert (folder / FILE).read_bytes() == saved


def test_a_conflict_is_told_also_where_the_judgement_or_the_file_has_gone(
    client: TestClient, folder: Path
):
    fields = form_of(page_of(client, HEEL))
    path = folder / FILE
    path.write_text(demo_text().replace("heel-joint:", "heel:"))
    answer = client.post("/maker/judge/save", data=fields)
    assert answer.status_code == 409
    assert "no such judgement in the file now" in answer.text
    path.write_text("components: [")
    assert client.post("/maker/judge/save", data=fields).status_code == 409
    path.unlink()
    assert client.post("/maker/judge/save", data=fields).status_code == 404


# Words ------------------------------------------------------------------------------------------


def month_of(words: str) -> int:
    name, year = words.split()
    return int(year) * 12 + MONTHS.split().index(name)


@given(
    st.integers(1850 * 12, 1990 * 12),
    st.integers(0, 60),
    st.integers(0, 60),
    st.sampled_from([0.9, 0.8, 0.5, 0.95]),
)
def test_words_of_dates_are_the_quantiles(low: int, more: int, most: int, coverage: float):
    triple = (float(low), float(low + more), float(low + more + most))
    try:
        opinion = DateOpinion.model_validate(
            dict(zip(DateOpinion.keys, triple, strict=True)) | {"coverage": coverage}
        )
    except ValueError:
        assume(False)
    spot, judgement = spots_of(demo())[HEEL], opinion.distribution()
    said = in_words(judgement, coverage, spot)
    named = [month_of(m) for m in re.findall(r"[A-Z][a-z]+ \d{4}", " ".join(said))]
    if isinstance(judgement, Certain):
        assert named == [low]
        assert said[0].startswith("Taken as known")
        return
    tail = (1 - coverage) / 2
    assert named == pytest.approx(judgement.quantile([tail, 0.5, 1 - tail]).tolist(), abs=1e-6)
    chance = {0.05: "One chance in twenty", 0.1: "One chance in ten", 0.25: "One chance in four"}
    assert said[0].startswith(chance.get(round(tail, 6), "A chance of 2.5 %"))
    assert (len(said) == 4) == (coverage != 0.9)


@given(st.integers(0, 40), st.integers(0, 40), st.integers(0, 40))
def test_words_of_lengths_are_the_quantiles(low: int, more: int, most: int):
    triple = (float(low), float(low + more), float(low + more + most))
    try:
        judgement = SpanOpinion.model_validate(
            dict(zip(SpanOpinion.keys, triple, strict=True))
        ).distribution()
    except ValueError:
        assume(False)
    place = "components.neck.features.heel-joint.history.1.overlap"
    said = " ".join(in_words(judgement, 0.9, spots_of(demo())[place]))
    numbers = [float(n) for n in re.findall(r"(\d+(?:\.\d+)?) months?", said)]
    if isinstance(judgement, Certain):
        assert numbers == [low]
    elif low == 0:
        assert "none at all" in said
        assert numbers == [triple[1], triple[2]]
    else:
        assert numbers == pytest.approx(judgement.quantile([0.05, 0.5, 0.95]).tolist())


def test_a_delay_is_said_beside_its_event():
    spot = spots_of(demo())["components.body.features.lining.history.1.lag"]
    assert in_words(spot.judged.distribution(), 0.9, spot) == [
        "One chance in twenty earlier than 1 month before second-works.",
        "Median 1 month after second-works.",
        "One chance in twenty later than 4 months after second-works.",
    ]


def test_days_and_delays_are_written_as_such():
    assert value_words(1931 * 12 + 1 + 16 / 28, "date") == "17 February 1931"
    assert value_words(-1, "delay") == "1 month before it"
    assert value_words(0, "delay") == "0 months"


# Pictures ---------------------------------------------------------------------------------------


def test_the_ramp_is_the_one_of_the_month_tables():
    regime = demo().features()["heel-joint"][1].history[1]
    ramp = ramp_of(demo(), regime, regime)
    table = month_tables(demo()).feature("heel-joint").mean("draw").isel(variant=0)
    old = 1 - table.sel(state="dovetail").values
    for month, share in enumerate(ramp.shares, start=ramp.first):
        assert share == pytest.approx(old[month - demo().period.first], abs=1e-9)
    half = ramp.passes(0.5)
    assert half is not None
    assert old[half - demo().period.first] >= 0.5


def test_the_ramp_after_an_event_is_the_one_of_the_month_tables():
    regime = demo().features()["lining"][1].history[1]
    ramp = ramp_of(demo(), regime, regime)
    tables = month_tables(demo())
    kerfed = shares_of(tables, "lining")[0].by_month[1]
    shown = kerfed[ramp.first - demo().period.first :][: len(ramp.shares)]
    assert np.abs(ramp.shares[: len(shown)] - shown).max() < 0.01


def test_an_event_has_happened_by_its_median_with_even_chances():
    judged = metalog_through((23170.0, 23174.0, 23179.0))
    ramp = happened(judged, judged)
    assert ramp.shares[23174 - ramp.first] > 0.5 > ramp.shares[23172 - ramp.first]
    assert np.all(np.diff(ramp.shares) >= 0)


def test_the_axis_stays_while_the_values_lie_in_it():
    values = (23145.0, 23151.0, 23159.0)
    window = window_of("date", values)
    assert (window.start % 12, window.stop % 12) == (0, 0)
    kept = window_of("date", (23146.0, 23151.0, 23159.0), (str(window.start), str(window.stop)))
    assert kept == window
    assert window_of("date", values, ("23150", "23160")) == window
    for odd in (("x", "y"), ("1", "0"), ("9" * 400, "1"), ("-", "\u00b2"), ("0", "9999999")):
        assert window_of("date", values, odd).stop < 130_000
    assert window_of("span", (0.0, 2.0, 3.0)).start == 0


# Splicing ---------------------------------------------------------------------------------------


def read_text(text: str, tmp_path: Path):
    path = tmp_path / "some.yaml"
    path.write_bytes(text.encode())
    return read_yaml(path).data


BLOCK = """# first
when:  # of the move
  earliest: "1929-06"   # early
  # a word between
  likely: '1929-12'
  latest: 1930-08 # late
  by: A  # hers
  source: [pay-book,   survey-c]
after: 1
"""


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_lines_comments_and_quotation_marks_stay(tmp_path: Path, ends: str, mark: str):
    text = mark + BLOCK.replace("\n", ends)
    triple = {"earliest": "1929-07", "likely": "1930-01", "latest": "1930-08"}
    said = {"by": "A", "source": ("pay-book", "survey-c")}
    made = spliced(text, ("when",), {**triple, **said})
    assert made == text.replace("1929-06", "1929-07").replace("1929-12", "1930-01")
    less = spliced(text, ("when",), triple)
    assert less.count("#") == text.count("#")
    assert 'by: ""  # hers' in less
    more = spliced(text, ("when",), {**triple, **said, "coverage": 0.8})
    assert f"survey-c]{ends}  coverage: 0.8{ends}after: 1" in more
    assert read_text(more, tmp_path)["when"]["coverage"] == 0.8
    assert stated_at(text, ("when",)) == dedent("\n".join(text.splitlines()[2:8]))


def test_a_key_that_says_what_holds_anyway_is_left(tmp_path: Path):
    text = "when: {earliest: 1929-06, likely: 1929-12, latest: 1930-08, coverage: 0.90, weight: 1}"
    triple = {"earliest": "1929-06", "likely": "1929-12", "latest": "1930-08"}
    assert spliced(text, ("when",), triple) == text


def test_three_values_in_a_list_stay_a_list():
    keys = ("shortest", "likely", "longest")
    made = spliced("lag: [1, 2.0,  5] # m", ("lag",), dict(zip(keys, (1, 2, 6), strict=True)))
    assert made == "lag: [1, 2.0,  6] # m"


@given(st.text(st.characters(codec="utf-8", categories=("L", "N", "P", "S", "Z")), max_size=20))
def test_any_name_is_read_back_as_it_was_given(tmp_path_factory, name: str):
    assume(name.isprintable() and name == name.strip())
    text = "when: {earliest: 1929-06, likely: 1929-12, latest: 1930-08, by: A}"
    triple = {"earliest": "1929-06", "likely": "1929-12", "latest": "1930-08"}
    made = spliced(text, ("when",), {**triple, "by": name or "A"})
    data = read_text(made, tmp_path_factory.getbasetemp())
    assert data["when"]["by"] == (name or "A")


def test_a_shared_value_is_not_rewritten(tmp_path: Path):
    text = (
        demo_text()
        .replace(
            "first_use: {earliest: 1926-01, likely: 1926-10, latest: 1927-08, "
            "by: assessor A, source: notebook-a}",
            "first_use: &shared {earliest: 1926-01, likely: 1926-10, latest: 1927-08}",
        )
        .replace(
            "first_use: {earliest: 1927-05, likely: 1928-02, latest: 1928-12, "
            "by: assessor A, source: works-diary}",
            "first_use: *shared",
        )
    )
    assert "*shared" in text
    assert "&shared" in text
    path = tmp_path / "shared.yaml"
    path.write_text(text)
    maker = read_maker(path)
    new = {"earliest": "1926-01", "likely": "1926-11", "latest": "1927-08"}
    for keys in (("body", "end-block"), ("soundboard", "bars")):
        place = ("components", keys[0], "features", keys[1], "history", 1, "first_use")
        with pytest.raises(InputError, match="shared"):
            rewritten(text, place, new, maker, "shared.yaml")


@pytest.mark.parametrize(
    "text",
    [
        "when: {earliest: 1929-06, # seen\n  likely: 1929-12, latest: 1930-08}\n",
        "when:\n  earliest: 1929-06 # seen\n  likely: 1929-12\n  latest: 1930-08\n",
    ],
)
def test_a_comment_inside_a_judgement_is_not_lost(text: str):
    with pytest.raises(InputError, match="comment"):
        spliced(text, ("when",), "1929-12")
    kept = {"earliest": "1929-06", "likely": "1930-01", "latest": "1930-08"}
    assert spliced(text, ("when",), kept) == text.replace("1929-12", "1930-01")


def test_lines_without_a_comment_become_a_plain_value(tmp_path: Path):
    text = "when:\n  earliest: 1929-06\n  likely: 1929-12\n  latest: 1930-08\nafter: 1\n"
    made = spliced(text, ("when",), "1929-12")
    assert read_text(made, tmp_path) == {"when": "1929-12", "after": 1}


def test_a_number_sign_in_a_name_is_no_comment(tmp_path: Path):
    text = 'when: {earliest: 1929-06, likely: 1929-12, latest: 1930-08, by: "A #1"}'
    triple = {"earliest": "1929-06", "likely": "1929-12", "latest": "1930-08"}
    assert spliced(text, ("when",), triple | {"by": "B"}) == text.replace('"A #1"', '"B"')


def test_places_with_dots_are_told_apart():
    assert place_text(("a.b", "c")) != place_text(("a", "b", "c"))
    assert place_text(("a%2Eb",)) != place_text(("a.b",))


# What was learned -------------------------------------------------------------------------------


def test_what_was_learned_is_drawn_from_its_own_draws():
    layout = layout_of(demo())
    values = judged_values(layout)[::32]
    count, features = len(values), len(demo().features())
    learned = Learned(
        maker_fingerprint=demo().origin.fingerprint,
        corpus_fingerprint="",
        numbers=tuple(layout.numbers),
        values=values,
        shares=np.repeat(layout.stated_shares[None], count, axis=0),
        slip=np.full((count, features), 0.01),
        replaced=np.zeros((count, features)),
        means=np.repeat(
            np.concatenate([gauge.stated for gauge in layout.gauges])[None], count, axis=0
        ),
        seed=1,
    )
    tables = learned_tables(demo(), learned)
    chart = chart_of(demo(), tables, learned)
    starts = demo().period.first + layout.starts(values)
    for ramp, came in enumerate(changeovers(demo(), learned)):
        assert came.start[1] == np.quantile(starts[:, ramp], 0.5, method="inverted_cdf")
    table = tables.feature("heel-joint").mean("draw").isel(variant=0).values
    assert np.abs(shares_of(tables, "heel-joint")[0].by_month - table).max() < 1e-12
    assert len(chart.sections) == 5
    judged = chart_of(demo(), month_tables(demo()))
    event, plain = chart.events[2], judged.events[2]
    assert event.x != plain.x
    assert event.x == pytest.approx(plain.x, abs=12)


def test_latent_variants_are_averaged_by_their_shares_of_production():
    tables = month_tables(demo())
    months = len(demo().period)
    curves = np.zeros((2, 1, 4, months))
    curves[0, 0] = np.array([0.0, 1.0, 0.5, 0.5])[:, None]
    curves[1] = 1 - curves[0]
    table = replace(
        tables.features["heel-joint"], states=("a", "b"), blends=(), latent=2, curves=curves
    )
    prior = np.repeat(tables.prior, 2, axis=1) * np.array([0.25, 0.75, 0.5, 0.5])[:, None]
    mixed = replace(tables, features={"x": table}, latent=2, prior=prior)
    student, recital = shares_of(mixed, "x")
    assert student.by_month[0] == pytest.approx(0.75)
    assert recital.by_month[0] == pytest.approx(0.5)
    found = variant_shares(mixed)
    plain = variant_shares(tables)
    assert found is not None
    assert plain is not None
    assert found.by_month == pytest.approx(plain.by_month)
