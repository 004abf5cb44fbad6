"""The page of what was learned: whole, self-contained, true to the numbers; and its pictures."""

import base64
import dataclasses
import importlib.util
import re
import xml.etree.ElementTree as ET
from html.parser import HTMLParser
from math import floor

import numpy as np
import pytest
from click.testing import CliRunner
from matplotlib.colors import to_rgb

from dating.cli.main import main
from dating.figures.changeovers import draw_changeover, draw_overview
from dating.figures.mixing import draw_mixing
from dating.figures.pages import picture_of, pictures_of
from dating.figures.style import CORE, DOUBT, REST
from dating.learning import sampling
from dating.learning.comparison import shifts_of
from dating.learning.health import Health, health_of
from dating.learning.learned import learned_from
from dating.learning.outcome import outcome_of
from dating.learning.sampling import learn, plan_of
from dating.months import month_label, month_words
from dating.words.changeovers import changeovers_of
from dating.words.learned import after_learning, chance
from dating.words.report import learned_page
from tests.learning import MAKER, ONE_RAMP, one_ramp_rows, written

pytestmark = pytest.mark.filterwarnings("ignore::FutureWarning", "ignore::UserWarning")

SHARP = (
    MAKER.replace("maker: Example Reed Works", 'maker: "Example <b>Reed</b> & Works"')
    .replace("latest: 1932-10}", "latest: 1932-10, by: '<script>alert(1)</script>'}")
    .replace("latest: 1933-06}", "latest: 1933-06, by: Assessor <i>B</i>, source: day-book}")
    .replace("events:", "sources: {day-book: {title: 'Day book <img src=x>'}}\nevents:")
)
HEADER = "instrument,built,trust,ends,label,buckle,width"
VOID = {"meta", "img", "br", "link", "input", "hr"}
GOOD, BAD = Health(1.001, 900.0, 0, "z"), Health(1.2, 30.0, 3, "z")


def rows(count):
    """Instruments of a hidden history: ends from month 20, labels from 22, buckles from 35."""
    generator = np.random.default_rng(7)
    for number in range(count):
        month = int(generator.integers(60))
        at = month + generator.random()
        ends = "metal" if at > 20 + 4 * generator.random() else "wood"
        label = "square" if at > 22 + 2 * generator.random() else "round"
        buckle = "roller" if at > 35 + 3 * generator.random() else "plain"
        built = f"{1930 + month // 12}-{month % 12 + 1:02d}"
        width = round(160 - month / 6 + 2 * generator.normal(), 1)
        yield f"C-{number} <u>", built if number % 4 else built[:4], 1, ends, label, buckle, width
    yield "C-late", "1934-06", 1, "wood", "square", "roller", ""
    yield "C-early", "1930-02", 1, "metal", "round", "plain", ""
    yield "C-round", "1934-08", 1, "metal", "round", "roller", ""
    yield "C-plain", "1934-09", 1, "metal", "square", "plain", ""


@pytest.fixture(scope="module")
def result(tmp_path_factory):
    folder = tmp_path_factory.mktemp("report")
    plan = plan_of(*written(folder, SHARP, rows(120), HEADER))
    return plan, learn(plan, draws=150, seed=4)


@pytest.fixture(scope="module")
def made(result):
    plan, tree = result
    return outcome_of(plan, tree, health_of(tree))


@pytest.fixture(scope="module")
def pictures(made):
    return dict(pictures_of(made))


class Page(HTMLParser):
    """A page as its elements: (tag, attributes, text), in the order of their opening."""

    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.open, self.elements = [], []
        self.feed(text)
        self.close()
        assert not self.open

    def handle_starttag(self, tag, attributes):
        element = (tag, dict(attributes), [])
        self.elements.append(element)
        if tag not in VOID:
            self.open.append(element)

    def handle_endtag(self, tag):
        assert self.open.pop()[0] == tag

    def handle_data(self, data):
        for element in self.open:
            element[2].append(data)

    def all(self, *tags):
        return [
            (attributes, " ".join("".join(text).split()))
            for tag, attributes, text in self.elements
            if tag in tags
        ]


@pytest.fixture(scope="module")
def text(made, pictures):
    return learned_page(made, pictures)


@pytest.fixture(scope="module")
def page(text):
    return Page(text)


def cells(text, table):
    """The cells of one table's body, row by row."""
    body = re.search(rf'id="{table}".*?<tbody>(.*?)</tbody>', text, re.DOTALL)[1]
    lines = [Page(row).all("th", "td") for row in re.findall(r"<tr>.*?</tr>", body, re.DOTALL)]
    return [[words for _, words in line] for line in lines]


def test_the_page_is_whole_and_can_be_navigated(text, page):
    assert text.startswith("<!DOCTYPE html>\n<html lang=")
    assert len(page.all("h1")) == len(page.all("title")) == len(page.all("main")) == 1
    levels = [int(tag[1]) for tag, _, _ in page.elements if re.fullmatch("h[1-6]", tag)]
    assert max(np.diff(levels)) == 1
    names = [attributes["id"] for _, attributes, _ in page.elements if "id" in attributes]
    assert len(names) == len(set(names))
    targets = [attributes["href"] for attributes, _ in page.all("a")]
    assert targets
    assert {target.removeprefix("#") for target in targets} <= set(names)


def test_tables_have_captions_and_headings_with_a_scope(page):
    tables = page.all("table")
    assert len(page.all("caption")) == len(tables) >= 8
    assert all(attributes.get("scope") in {"col", "row"} for attributes, _ in page.all("th"))


def test_every_changeover_has_a_heading_and_a_described_picture(made, page):
    titles = [words for _, words in page.all("h3")]
    described = [attributes["alt"] for attributes, _ in page.all("img")]
    assert len(described) == len(made.shifts) + 2
    assert all(len(words) > 40 for words in described)
    for shift in made.shifts:
        assert shift.name in titles
        assert sum(words.startswith(f"{shift.name}, from ") for words in described) == 1


def test_nothing_is_loaded_from_elsewhere_and_nothing_runs(text, page):
    assert not page.all("script", "link", "iframe", "object", "embed", "base")
    for _, attributes, _ in page.elements:
        assert not any(name.startswith("on") for name in attributes)
        assert attributes.get("src", "data:image/svg+xml;base64,").startswith("data:image/svg+xml")
        assert attributes.get("href", "#").startswith("#")
    assert "http:" not in text
    assert "https:" not in text
    assert "url(" not in text
    for attributes, _ in page.all("img"):
        drawing = base64.b64decode(attributes["src"].partition(",")[2]).decode()
        ET.fromstring(drawing)
        assert set(re.findall(r'https?://[^"]*', drawing)) <= {
            "http://www.w3.org/2000/svg",
            "http://www.w3.org/1999/xlink",
        }
        assert "prefers-color-scheme: dark" in drawing


def test_text_of_the_files_stays_text(page):
    words = " ".join(words for _, words in page.all("main", "header"))
    for written_so in (
        "Example <b>Reed</b> & Works",
        "<script>alert(1)</script>",
        "Assessor <i>B</i>",
        "Day book <img src=x>",
    ):
        assert written_so in words
    assert not page.all("b", "i", "u", "script")


def test_the_numbers_are_those_of_the_comparison(result, text):
    plan, tree = result
    first = plan.maker.period.first
    shifts = shifts_of(plan.layout, learned_from(tree))
    shown = cells(text, "table-changeovers")
    assert [line[0] for line in shown] == [shift.name for shift in shifts]

    def dates(points):
        low, middle, high = (month_label(floor(first + point)) for point in points)
        return middle if low == high else f"{middle} {low} to {high}"

    def months(points):
        low, middle, high = (f"{point:.1f}" for point in points)
        return middle if low == high else f"{middle} {low} to {high}"

    for line, shift in zip(shown, shifts, strict=True):
        assert line[1:4] == [dates(shift.judged), dates(shift.learned), f"{shift.shared_area:.2f}"]
        assert line[5:7] == [months(shift.judged_overlap), months(shift.learned_overlap)]


def test_what_date_and_width_rest_on_is_shown(made, text):
    shown = cells(text, "table-changeovers")
    for line, shift in zip(shown, made.shifts, strict=True):
        found = {s.what: s.rests_on for s in made.sensitivities if s.name == shift.name}
        assert line[4] == found.get("first use", "certain")
        assert line[7] == found.get("overlap", "certain")
    assert {"data", "certain"} <= {line[place] for line in shown for place in (4, 7)}


def test_events_shares_chances_and_means_are_shown_beside_what_was_stated(made, page, text):
    (event,) = cells(text, "table-events")
    assert event[0] == "new-shop"
    assert event[4] == "2 of 3 changeovers"
    learned = made.learned
    place = list(made.plan.layout.numbers).index("event new-shop")
    middle = np.quantile(learned.values[:, place], 0.5)
    assert event[3].startswith(month_label(floor(made.plan.maker.period.first + middle)))
    everything = [words for _, words in page.all("td")]
    slip = chance(np.quantile(learned.slip[:, 0], 0.5))
    mean = f"{np.quantile(learned.means[:, 1], 0.5):.4g}"
    assert any(words.startswith(f"{slip} ") for words in everything)
    assert any(words.startswith(f"{mean} ") for words in everything)
    assert [words for _, words in page.all("summary")][:3] == [
        "Shares of the forms (2)",
        "Slips and replacements (4)",
        "Means of the measurements (5)",
    ]


def test_every_number_that_was_sampled_is_in_the_summary(made, text):
    shown = {line[0]: line[1:] for line in cells(text, "table-summary")}
    drawn = made.draws.sel(number="buckle, regime 2, first use")
    assert len(shown) == made.draws.sizes["number"]
    assert shown["buckle, regime 2, first use"][0] == f"{float(drawn.mean()):.3f}"
    assert {"slip of ends", "mean of width at 1932-01", "share of plain, buckle, regime 1"} <= set(
        shown
    )
    assert "label, regime 2, overlap" not in shown


def test_contradictions_name_the_instrument_and_its_line(made, text):
    shown = cells(text, "table-contradictions")
    assert len(shown) == len(made.contradictions)
    late = next(line for line in shown if line[0] == "C-late")
    assert late[1] == "122"
    assert late[2:5] == ["1934-06", "ends: wood", "ends, regime 2, after it"]


def test_assessors_are_shown_as_they_were_found(made, text):
    shown = cells(text, "table-assessors")
    assert [line[0] for line in shown] == [found.name for found in made.assessors]
    for line, found in zip(shown, made.assessors, strict=True):
        counts = (found.judgements, found.settled, found.early, found.within, found.late)
        assert line[1:6] == [str(count) for count in counts]
    assert any(found.calibration is not None for found in made.assessors)


def test_sources_assessors_and_lines_stand_beside_each_changeover(made, text):
    described = {words.name: words for words in changeovers_of(made.plan.maker, made.plan.layout)}
    buckle, ends = described["buckle, regime 2"], described["ends, regime 2"]
    assert (buckle.before, buckle.after) == ("plain 80 %, none 20 %", "roller")
    assert buckle.sources == ("day-book",)
    assert buckle.judged_by == ("Assessor <i>B</i>",)
    lines = SHARP.splitlines()
    assert "state: roller" in lines[buckle.line - 1]
    assert "state: metal" in lines[ends.line - 1]
    assert (ends.event, ends.sources) == ("new-shop", ())
    assert f"example.yaml, line {buckle.line}" in text


def test_the_same_result_gives_the_same_bytes(result, text):
    plan, tree = result
    again = outcome_of(plan, tree, health_of(tree))
    assert learned_page(again, dict(pictures_of(again))) == text


def test_unsound_draws_are_said_to_be_so_on_top(made, pictures):
    for health, warned in ((BAD, True), (GOOD, False)):
        page = learned_page(dataclasses.replace(made, health=health), pictures)
        assert ("The draws are not sound" in page) is warned
        assert ("3 divergent transitions: raise --accept" in page) is warned
        if warned:
            assert page.index("The draws are not sound") < page.index("<main>")


def test_the_picture_of_a_changeover_shows_judgement_data_and_posterior(made):
    for place, shift in enumerate(made.shifts):
        figure = draw_changeover(made, place)
        above, below = figure.axes
        first = made.plan.maker.period.first
        start, stop = below.get_xlim()
        assert above.get_xlim() == (start, stop)
        for point in (*shift.judged, *shift.learned):
            assert start < (first + point) / 12 < stop
        solid = below.lines[0]
        when = (first + shift.learned[1] + np.array([-12, 24]) - 0.5) / 12
        assert np.interp(when, solid.get_xdata(), solid.get_ydata()) == pytest.approx(
            [0, 1], abs=0.02
        )
        words = figure.get_label()
        assert month_words(floor(first + shift.learned[1])) in words
        assert shift.name in words
        assert {text.get_text() for text in figure.legends[0].get_texts()} >= {
            "judged",
            "learned",
            "data alone",
        }


def test_the_bars_are_the_dated_instruments(made):
    seen = made.observed[2]
    below = draw_changeover(made, 2).axes[1]
    curve, new, old = (patch for patch in below.patches)
    assert curve.get_data().values == pytest.approx(seen.curve, nan_ok=True)
    up = new.get_data().values - new.get_data().baseline
    down = old.get_data().baseline - old.get_data().values
    most = max(seen.new.max(), seen.old.max())
    assert up / up.max() * seen.new.max() == pytest.approx(seen.new)
    assert down.max() / up.max() == pytest.approx(seen.old.max() / seen.new.max())
    assert seen.new.sum() > 30 < seen.old.sum()
    assert most > 1


def test_a_certain_first_use_is_drawn_as_a_line(made):
    certain = np.full_like(made.judged, 30.0)
    values = np.full_like(made.learned.values, 30.0)
    learned = dataclasses.replace(made.learned, values=values)
    figure = draw_changeover(dataclasses.replace(made, judged=certain, learned=learned), 2)
    upright = [line for line in figure.axes[0].lines if list(line.get_ydata()) == [0, 1]]
    assert len(upright) == 2
    for line in upright:
        assert line.get_xdata() == pytest.approx(1930 + 30 / 12)


def test_the_overview_has_a_row_for_each_changeover_in_the_order_of_time(made):
    axes = draw_overview(made).axes[0]
    names = [label.get_text() for label in axes.get_yticklabels()]
    assert names == [s.name for s in sorted(made.shifts, key=lambda shift: shift.learned[1])]


def test_the_numbers_that_mixed_worst_are_drawn(made):
    figure = draw_mixing(made)
    sizes = made.summary[["ess_bulk", "ess_tail"]].min(axis=1)
    assert len(figure.axes) == 6
    assert sizes.idxmin() in figure.get_label()
    assert figure.axes[0].get_xlabel() == sizes.idxmin()


def test_judged_and_learned_can_be_told_apart_in_grey():
    core, doubt, rest = (np.dot(to_rgb(c), (0.299, 0.587, 0.114)) for c in (CORE, DOUBT, REST))
    assert core + 0.2 < doubt < rest - 0.2


def test_a_picture_keeps_its_words_and_its_bytes(made):
    first, second = (picture_of(draw_changeover(made, 0)) for _ in range(2))
    assert first == second
    assert first.words == draw_changeover(made, 0).get_label()


def test_the_printed_text_says_what_rests_on_what_and_who_did_better(made):
    printed = after_learning(made)
    assert max(len(line) for line in printed.splitlines()) <= 80
    for shift in made.shifts:
        assert shift.name in printed
    letters = {"data": "D", "judgement": "J", "both": "B", "neither": "N", "": "-"}
    for shift in made.shifts:
        line = printed[printed.index(shift.name) :].splitlines()[1]
        pair = [letters[made.rests_on(shift.name, what)] for what in ("first use", "overlap")]
        assert line.endswith(f"  {shift.shared_area:.2f}  {'/'.join(pair)}")
    instruments = {found.instrument for found in made.contradictions}
    assert f"{len(instruments)} dated instrument" in printed
    assert "C-late (line 122), built 1934-06: ends wood" in printed
    assert printed.count("(line ") == 3 < len(made.contradictions)


def test_where_only_free_forms_are_left_open_the_page_says_that_nothing_was_sampled(tmp_path):
    before, _, _ = ONE_RAMP.partition("        history:")
    maker = f"{before}        free_form: true\n"
    plan = plan_of(*written(tmp_path, maker, one_ramp_rows(40)))
    tree = learn(plan)
    made = outcome_of(plan, tree, health_of(tree))
    text = learned_page(made, dict(pictures_of(made)))
    page = Page(text)
    assert not page.all("img")
    assert "The maker file has no changeovers." in text
    assert "so there are no draws to diagnose" in text
    assert "chains of" not in text
    assert "(ends) are not shown here" in text


def run(folder, *more):
    arguments = ["learn", folder / "example.yaml", folder / "corpus.csv", "--out", folder / "o.nc"]
    return CliRunner().invoke(main, [str(argument) for argument in [*arguments, *more]])


def never(*arguments, **options):
    raise AssertionError("sampling was started")


@pytest.fixture
def folder(tmp_path, result, monkeypatch):
    """A folder with both files, where the sampler gives the result it has given before."""
    written(tmp_path, SHARP, rows(120), HEADER)
    monkeypatch.setattr(sampling, "learn", lambda *arguments, **options: result[1].copy())
    return tmp_path


def test_the_command_writes_the_page_beside_the_result(folder, made, monkeypatch):
    monkeypatch.setattr("dating.learning.run.health_of", lambda tree: GOOD)
    shown = run(folder, "--report", folder / "r.html")
    assert shown.exit_code == 0, shown.output
    assert (folder / "o.nc").exists()
    text = (folder / "r.html").read_text(encoding="utf-8")
    assert Page(text).all("h1")[0][1].startswith("Example <b>Reed</b> & Works")
    assert "The draws are not sound" not in text
    assert made.shifts[0].name in shown.output


def test_unsound_draws_give_a_page_only_when_one_insists(folder, monkeypatch):
    monkeypatch.setattr("dating.learning.run.health_of", lambda tree: BAD)
    assert run(folder, "--report", folder / "r.html").exit_code == 1
    assert not (folder / "r.html").exists()
    assert run(folder, "--report", folder / "r.html", "--insist", "--replace").exit_code == 0
    assert "The draws are not sound" in (folder / "r.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("r.pdf", "a report is an HTML page"),
        ("r", "a report is an HTML page"),
        ("no/such/r.html", "the folder for the report does not exist"),
    ],
)
def test_a_page_that_cannot_be_written_is_refused_before_any_work(folder, monkeypatch, name, why):
    monkeypatch.setattr(sampling, "learn", never)
    refused = run(folder, "--report", folder / name)
    assert refused.exit_code == 2
    assert why in refused.output
    assert str(folder / name) in refused.output
    assert sorted(path.name for path in folder.iterdir()) == ["corpus.csv", "example.yaml"]


def test_a_page_in_the_place_of_the_result_is_refused(folder, monkeypatch):
    monkeypatch.setattr(sampling, "learn", never)
    refused = run(folder, "--out", folder / "x.html", "--report", folder / "x.html")
    assert refused.exit_code == 2
    assert "the report would replace the learned file" in refused.output


@pytest.mark.parametrize("missing", ["jinja2", "matplotlib"])
def test_a_missing_library_is_named_before_any_work(folder, monkeypatch, missing):
    real = importlib.util.find_spec
    absent = lambda name, *more: None if name == missing else real(name, *more)  # noqa: E731
    monkeypatch.setattr(importlib.util, "find_spec", absent)
    monkeypatch.setattr(sampling, "learn", never)
    refused = run(folder, "--report", folder / "r.html")
    assert refused.exit_code == 1
    assert f"learning needs {missing}; install instrument-dating[learn]" in refused.output
