"""What is valid and hardly meant is named with its place, and hinders nothing."""

import datetime as dt
import json
import re
from pathlib import Path

import pytest
import yaml
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

import dating
from dating.cli.doubts import doubts
from dating.cli.main import main
from dating.notes.languages import language
from dating.notes.sale import second_look
from dating.notes.sentences import Wording
from dating.plausibility.examination import estimate_warnings, examination_warnings
from dating.plausibility.maker import maker_warnings
from dating.words.record import as_record
from dating.words.text import as_text
from tests.inventing import invented
from tests.serving import ask, pages_of

MAKER = """\
maker: Example Works
product: lyres
period: 1930-01/1939-12
output:
  - {during: 1930-01/1934-12, made: 100}
  - {during: 1935-01/1939-12, made: 100}
events:
  move: {what: move of the works, when: 1936-01}
components:
  neck:
    swapped: 0.05
    features:
      heel:
        ask: Which?
        states: {a: one dowel, b: two dowels, c: screws}
        slip: 0.01
        replaced: 0
        history:
          - state: a
          - {state: b, first_use: 1931-06}
          - {state: c, with: move, lag: 2}
    marks:
      pencil: {ask: A date?, lag: 1, replaced: 0.1, doubt: 0.02}
    measurements:
      depth: {unit: mm, spread: 0.5, slip: 0.02, mean: {1930-01: 23.6, 1939-12: 20.4}}
"""
LOPSIDED = "first_use: {earliest: 1931-01, likely: 1931-02, latest: 1939-12}"
EXAMINATION = """\
instrument: E-1
maker: example
examined: 2026-01-05
seen:
  heel: b
marks:
  pencil: 1932-05
measured:
  depth: 22.9
documents:
  - {what: letter, not_before: 1932, not_after: 1938, trust: 0.9}
"""
CORPUS = """\
# maker: example
instrument,built,trust,heel,pencil,depth
R-1,1932-04,0.9,b,1932-03,22.9
R-2,1934-05,,b,1934-04,22.1
"""
PAIR = "{earliest: 1931-01, likely: 1931-06, latest: 1931-11, by: B}"
OF_MAKER = [
    ("first_use: 1931-06", "first_use: 1936-06", 21, "the changeover to c (likely March 1936) is "
     "dated before the one it follows, to b (likely June 1936)"),
    ("first_use: 1931-06", "first_use: 1831-06", 20, "the first use of b is dated far outside"),
    ("when: 1936-01", "when: 1836-01", 8, "the event move is dated far outside the period"),
    ("1939-12: 20.4", "2039-12: 20.4", 25, "a mean of depth is dated far outside the period"),
    ("1935-01/1939-12", "1934-01/1939-12", 6, "January 1934 to December 1934 counts in both"),
    ("1935-01/1939-12", "1936-01/1939-12", 4, "no output is stated for January 1935 to December"),
    ("1935-01/1939-12", "1935-01/1939-10", 4, "no output is stated for November 1939 to December"),
    ("made: 100", "made: 0.1", 4, "all outputs together come to likely 0.2 instruments"),
    ("1931-06", f"[{PAIR}, {PAIR}]", 20, "B is pooled twice here"),
    ("state: b", "state: a", 20, "a follows itself"),
    ("{state: c, with: move, lag: 2}", "{state: a, first_use: 1936-01}", 21,
     "a is in this history twice, and no event brings it back"),
    ("state: c, ", "state: b, ", 15, "c is listed and never made"),
    ("slip: 0.01", "slip: 1", 16, "with so high a slip"),
    ("replaced: 0\n", "replaced: 1\n", 17, "every heel was replaced later"),
    ("replaced: 0.1", "replaced: 1", 23, "every pencil was replaced later"),
    ("swapped: 0.05", "swapped: 1", 11, "every neck comes from another instrument"),
    ("lag: 2", "lag: 200", 21, "longer than the whole period of 120 months"),
    ("        slip: 0.01\n", "", 9, "chances that are not stated are assumed: slip 0.01 of heel"),
    (", replaced: 0.1", "", 9, "chances that are not stated are assumed: replaced 0.01 of pencil"),
    (", doubt: 0.02", "", 9, "chances that are not stated are assumed: doubt 0.02 of pencil"),
    (", slip: 0.02", "", 9, "chances that are not stated are assumed: slip 0.01 of depth"),
    ("    swapped: 0.05\n", "", 9, "chances that are not stated are assumed: swapped 0.01 of neck"),
]  # fmt: skip
OF_EXAMINATION = [
    ("22.9", "229", 9, "229 is 411 spreads from any month; 22.9 would fit (a tenth)"),
    ("22.9", "{value: -22.9}", 9, "22.9 would fit (without the minus)"),
    ("22.9", "-3", 9, "-3 is 47 spreads from any month"),
    ("22.9", "2.29", 9, "2.29 is 36 spreads from any month; 22.9 would fit (10 times)"),
    ("22.9", "0.9", 9, "22.86 would fit (25.4 times, as inches in millimetres)"),
    ("heel: b", "heel: {state: b, sure: 0}", 5, "this says that it is certainly not b"),
    ("heel: b", "heel: {state: b, sure: 0.2}", 5,
     "so low a sureness counts against b and for the others"),
    ("heel: b", "heel: {one_of: [a, a]}", 5, "a is given twice"),
    ("heel: b", "heel: {other: ' B'}", 5, "names the listed state b"),
    ("heel: b", "heel: {other: two  Dowels}", 5, "names the listed state b"),
    ("2026-01-05", "9999-01-05", 3, "the examination lies in the future"),
    ("2026-01-05", "1926-01-05", 3, "the examination lies before the maker began"),
    ("1932-05", "1832-05", 7, "this date lies long before the maker's first month"),
    ("1932-05", "1982-05", 7, "this date lies after the maker's last month"),
    ("before: 1932", "before: 1939", 11, "its not_before lies after its not_after"),
    ("not_before: 1932, not_after: 1938", "not_after: 1838", 11, "the maker began in January 1930"),
    ("not_after: 1938", "not_after: 2038", 0, ""),
    ("1932, not_after: 1938", "1993", 11, "the maker ended in December 1939"),
    ("trust: 0.9", "trust: 0", 11, "a document without any trust says nothing"),
    ("trust: 0.9}", "trust: 0.9}\n  - {what: Letter, not_before: 1932, not_after: 1938}", 12,
     "this is document 1 again"),
]  # fmt: skip
OF_CORPUS = [
    ("22.9", "2.29 within 0.01", 3, "depth", "22.9 would fit (10 times)"),
    ("1932-04", "[1925-01..1932-04]", 3, "built", "part of this date lies outside"),
    ("0.9", "0", 3, "trust", "a date without any trust says nothing"),
    ("R-2", "r 1", 4, "instrument", "may be the same instrument as R-1 in line 3"),
]
REFUSED_IN_MAKER = [
    ("slip: 0.01", "slip: true", "slip"),
    ("swapped: 0.05", "swapped: {value: false}", "swapped.value"),
    ("lag: 2", "lag: true", "lag"),
    ("spread: 0.5", "spread: true", "spread"),
    ("23.6", "true", "1930-01"),
    ("made: 100", "made: {fewest: true, likely: 2, most: 3}", "fewest"),
    ("1931-06", "{earliest: 1931-01, likely: 1931-02, latest: 1931-03, weight: true}", "weight"),
    ("product: lyres", "product: ''", "product"),
    ("ask: Which?", "ask: ' '", "ask"),
    ("{a: one dowel,", "{'': one dowel,", "states"),
    ("  neck:", "  '':", "components"),
    ("{a: one dowel, b: two dowels, c: screws}", "[a, a, b, c]", "states"),
    ("{a: one dowel, b: two dowels, c: screws}", "[a, true, b, c]", "states"),
]
REFUSED_IN_EXAMINATION = [
    ("instrument: E-1", "instrument: ''", "instrument"),
    ("instrument: E-1", "instrument: '  '", "instrument"),
    ("heel: b", "heel: ''", "heel"),
    ("heel: b", "heel: {other: ''}", "other"),
    ("heel: b", "heel: {state: b, sure: true}", "sure"),
    ("22.9", "true", "depth"),
    ("22.9", "{value: 22.9, within: false}", "within"),
    ("trust: 0.9", "trust: true", "trust"),
    ("what: letter", "what: ' '", "what"),
]


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def spoiled(text, old, new):
    assert old in text
    return text.replace(old, new)


@pytest.fixture
def folder(tmp_path):
    for name, text in {"example.yaml": MAKER, "e.yaml": EXAMINATION, "c.csv": CORPUS}.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    return tmp_path


def write(folder, name, text):
    (folder / name).write_text(text, encoding="utf-8")
    return folder / name


def test_nothing_is_said_of_files_that_are_meant(folder):
    assert [doubts(folder / name) for name in ("example.yaml", "e.yaml", "c.csv")] == [(), (), ()]
    shown = run("check", "--strict", folder / "example.yaml", folder / "e.yaml")
    assert shown.exit_code == 0
    assert "warning" not in shown.output


def test_the_demo_gives_one_warning_of_what_nobody_states():
    files = [*sorted(Path("demo_data/examinations").glob("*.yaml"))]
    files += ["demo_data/marrowby_corpus.csv", "demo_data/marrowby_claims.yaml"]
    files += ["demo_data/marrowby_group.yaml"]
    assert [doubts(file) for file in files] == [()] * len(files)
    papers = doubts("demo_data/marrowby_sale.csv")
    message = "no trust in this document is stated; 0.98 is assumed"
    assert [(w.line, w.key, w.message) for w in papers] == [
        (line, "document", message) for line in (8, 19)
    ]
    (only,) = doubts("priors/marrowby.yaml")
    assert only.message == (
        "chances that are not stated are assumed: doubt 0.02 of heel-pencil, back-stamp and "
        "plate-date; slip 0.01 of neck-depth and rim-depth"
    )


@pytest.mark.parametrize(("old", "new", "line", "message"), OF_MAKER)
def test_warnings_of_a_maker_file(folder, old, new, line, message):
    found = doubts(write(folder, "example.yaml", spoiled(MAKER, old, new)))
    assert [w.line for w in found if message in w.message] == [line]
    assert all(w.expected for w in found)


@pytest.mark.parametrize(("old", "new", "line", "message"), OF_EXAMINATION)
def test_warnings_of_an_examination(folder, old, new, line, message):
    found = doubts(write(folder, "e.yaml", spoiled(EXAMINATION, old, new)))
    assert [w.line for w in found if message in w.message] == [line] * bool(message)
    assert all(w.expected for w in found)


@pytest.mark.parametrize("case", OF_CORPUS, ids=lambda case: case[1])
def test_warnings_of_a_corpus(folder, case):
    old, new, *expected = case
    (found,) = doubts(write(folder, "c.csv", spoiled(CORPUS, old, new)))
    assert [found.line, found.key] == expected[:2]
    assert expected[2] in found.message


def test_rows_that_agree_in_everything_are_hardly_two_instruments(tmp_path):
    lines = Path("demo_data/marrowby_corpus.csv").read_text(encoding="utf-8").splitlines()[:4]
    file = write(tmp_path, "c.csv", "\n".join([*lines, lines[3].replace("R-001", "X-9")]))
    (found,) = doubts(file)
    assert (found.line, found.key) == (5, "instrument")
    assert found.message == "every cell but the name is that of R-001 in line 4"


@pytest.mark.parametrize(("old", "new", "key"), REFUSED_IN_MAKER)
def test_a_maker_file_without_names_or_numbers_is_refused(folder, old, new, key):
    refused(write(folder, "example.yaml", spoiled(MAKER, old, new)), key)


@pytest.mark.parametrize(("old", "new", "key"), REFUSED_IN_EXAMINATION)
def test_an_examination_without_names_or_numbers_is_refused(folder, old, new, key):
    file = write(folder, "e.yaml", spoiled(EXAMINATION, old, new))
    refused(file, key)
    assert run("estimate", file).exit_code == 1


def refused(file, key):
    shown = run("check", file)
    assert shown.exit_code == 1
    assert isinstance(shown.exception, SystemExit)
    assert key in shown.output.split("found:")[0]
    lines = [line for line in shown.output.splitlines() if line.startswith(str(file))]
    assert len(lines) == len(set(lines))


def test_strict_turns_warnings_into_problems(folder):
    file = write(folder, "e.yaml", spoiled(EXAMINATION, "22.9", "229"))
    shown, strict = run("check", file), run("check", "--strict", file)
    place = f"{file}, line 9: measured.depth: 229 is 411 spreads"
    assert (shown.exit_code, strict.exit_code) == (0, 1)
    assert f"warning: {place}" in " ".join(shown.output.split())
    assert "1 warning in 1 file(s)" in shown.output
    assert f"nothing {place}" in " ".join(strict.output.split())
    assert "    expected: about 20.4 to 23.6 mm" in strict.output


def test_impossible_evidence_is_a_warning_of_check_and_an_error_of_estimate(folder):
    papers = "\n  - {what: receipt, not_after: 1931, trust: 1}"
    papers += "\n  - {what: notice, not_before: 1935, trust: 1}"
    file = write(folder, "e.yaml", spoiled(EXAMINATION, "trust: 0.9}", "trust: 0.9}" + papers))
    shown = run("check", file)
    assert shown.exit_code == 0
    assert "warning:" in shown.output
    assert "document 2" in shown.output
    assert "document 3" in shown.output
    assert run("check", "--strict", file).exit_code == 1
    assert run("estimate", file).exit_code == 1


def test_every_estimate_carries_its_warnings(folder):
    maker = dating.read_maker(write(folder, "example.yaml", spoiled(MAKER, "lag: 2", "lag: 200")))
    bare = dating.read_examination(folder / "e.yaml")
    spoilt = write(folder, "e.yaml", spoiled(EXAMINATION, "22.9", "229"))
    made = dating.estimate(maker, dating.read_examination(spoilt))
    assert [problem.line for problem in made.warnings] == [9, 21, 21]
    text = as_text(made)
    assert "WHAT MAY BE A MISTAKE\n  e.yaml, line 9, measured.depth: 229 is 411 spreads" in text
    assert max(len(line) for line in text.splitlines()) <= 80
    first, *_ = json.loads(json.dumps(as_record(made)))["warnings"]
    assert first["expected"] == "about 20.4 to 23.6 mm"
    assert {"file", "line", "key", "message", "found", "expected", "nearest"} == set(first)
    plain = dating.estimate(dating.read_maker(write(folder, "example.yaml", MAKER)), bare)
    assert plain.warnings == ()
    assert "MISTAKE" not in as_text(plain)
    wording = Wording(language("en"))
    flag = "something recorded looks like a mistake"
    assert (flag in second_look(made, wording), flag in second_look(plain, wording)) == (
        True,
        False,
    )


def test_every_chance_that_an_estimate_assumes_is_told(folder):
    def told(old, new):
        file = write(folder, "example.yaml", spoiled(MAKER, old, new))
        examination = dating.read_examination(folder / "e.yaml")
        return [w.message for w in estimate_warnings(examination, dating.read_maker(file))]

    start = "chances that are not stated are assumed: "
    assert told("lag: 1", "lag: 2") == []
    assert told("        replaced: 0\n", "") == [f"{start}replaced 0.01 of heel"]
    assert told("        slip: 0.01\n", "") == [f"{start}slip 0.01 of heel"]
    assert told("        slip: 0.01\n        replaced: 0\n", "") == [
        f"{start}slip 0.01 of heel; replaced 0.01 of heel"
    ]
    assert told(", replaced: 0.1, doubt: 0.02", "") == [
        f"{start}replaced 0.01 of pencil; doubt 0.02 of pencil"
    ]


def test_the_day_after_which_examinations_lie_in_the_future_can_be_said(folder):
    maker = dating.read_maker(folder / "example.yaml")
    examination = dating.read_examination(folder / "e.yaml")
    assert examination_warnings(examination, maker, dt.date(2026, 1, 5)) == ()
    (found,) = examination_warnings(examination, maker, dt.date(2026, 1, 4))
    assert found.key == "examined"


def test_pages_show_what_may_be_a_mistake(folder):
    write(folder, "e.yaml", spoiled(EXAMINATION, "22.9", "229"))
    write(folder, "good.yaml", EXAMINATION)
    write(folder, "odd.yaml", spoiled(MAKER, "lag: 2", "lag: 200"))
    app = pages_of(folder)
    texts = {
        file: " ".join(ask(app, address=page, query={"file": file}).text.split())
        for page, file in [
            ("/examine", "e.yaml"),
            ("/examine", "good.yaml"),
            ("/maker", "odd.yaml"),
            ("/maker", "example.yaml"),
        ]
    }
    link = r'<li><a href="#(q[0-9]+)" data-jump>depth</a>: 229 is 411 spreads from any month'
    question = re.search(link, texts["e.yaml"])[1]
    assert f'id="{question}"' in texts["e.yaml"]
    assert "2 things in this file may be a mistake" in texts["odd.yaml"]
    assert "maker file, line 21, components.neck.features.heel.history[3]" in texts["odd.yaml"]
    assert "may be a mistake" not in texts["good.yaml"] + texts["example.yaml"]


def test_claims_that_hold_whatever_is_found(folder):
    claims = {
        "maker": "example",
        "examinations": ["e.yaml"],
        "claims": [
            {"claim": "x", "sentence": "Old.", "says": {"built": {"instrument": "E-1",
             "within": "1930/1939"}}},
            {"claim": "y", "sentence": " old.", "says": {"share": {"states": {"heel": "b"},
             "during": 1932, "at_least": 0}}},
        ],
    }  # fmt: skip
    file = write(folder, "claims.yaml", yaml.safe_dump(claims))
    write(folder, "e.yaml", spoiled(EXAMINATION, "22.9", "229"))
    assert [w.key for w in doubts(file)] == [
        "measured.depth",
        "claims[2].sentence",
        "claims[1].says.built.within",
        "claims[2].says.share.at_least",
    ]


@settings(max_examples=40)
@given(st.integers(0, 10**6))
def test_no_valid_maker_file_or_examination_is_too_odd_to_be_judged(seed):
    maker, examination = invented(seed)
    found = (*maker_warnings(maker), *estimate_warnings(examination, maker))
    assert all(str(problem) and problem.message and problem.expected for problem in found)


def test_an_examination_in_which_nothing_is_recorded_is_told():
    maker = dating.read_maker("priors/marrowby.yaml")
    empty = dating.Examination(instrument="X", maker="marrowby", seen={"ring": None})
    messages = [doubt.message for doubt in examination_warnings(empty, maker)]
    assert [m for m in messages if "that of any instrument" in m] == messages != []
    seen = dating.Examination(instrument="X", maker="marrowby", seen={"ring": "inlaid"})
    assert not examination_warnings(seen, maker)


@pytest.mark.parametrize(("latest", "warned"), [("1939-12", True), ("1931-12", False)])
def test_a_likely_value_beside_an_outer_one_is_doubted(tmp_path, latest, warned):
    file = tmp_path / "example.yaml"
    judged = LOPSIDED.replace("1939-12", latest)
    file.write_text(MAKER.replace("first_use: 1931-06", judged), encoding="utf-8")
    messages = [warning.message for warning in doubts(file)]
    assert any("all but coincides with the earliest" in each for each in messages) is warned
    checked = CliRunner().invoke(main, ["check", str(file)], env={"COLUMNS": "200"})
    words = " ".join(checked.stdout.split())
    assert "half the belief on either side of 1931-02, in two pieces" in words
