"""Mistakes are located: file, line, key, what was found, what is allowed, the nearest name."""

import os
import stat
from pathlib import Path

import pytest

from dating import InputError, estimate, read_examination, read_maker
from dating.files import find_maker
from dating.kinds import kind_of
from dating.reading import (
    DEEPEST_NESTING,
    LARGEST_FILE,
    MOST_ALIASES,
    MOST_VALUES,
    Problem,
    nearest_name,
    read_yaml,
    shown,
    write_whole,
)

MAKER = """\
maker: Example Works
product: lyres
period: 1923-03/1928-11
sources:
  pay-book: {title: Pay book}
output:
  - {during: 1923-03/1927-12, made: [400, 700, 1100], source: pay-book}
events:
  new-works: {what: move, when: 1925-06}
variants:
  states: [plain, concert]
  history: [{state: plain}, {state: concert, first_use: 1926-01}]
components:
  neck:
    swapped: 0.05
    features:
      joint:
        ask: How does the neck meet the body?
        states: {tapered: tapered tenon, dowelled: two dowels}
        slip: 0.01
        history:
          - state: tapered
          - state: dowelled
            with: new-works
            overlap: {shortest: 1, likely: 4, longest: 12}
    marks:
      pencil: {ask: Any date?, lag: [0, 1, 4]}
    measurements:
      depth: {unit: mm, spread: 0.4, mean: {1923-03: 23.5, 1926-01: 21.0}}
"""
EXAMINATION = """\
instrument: E-1
maker: example
seen:
  joint: dowelled
marks:
  pencil: 1926-02-17
measured:
  depth: 21.4
documents:
  - what: bill of sale
    not_after: 1927-06
"""


@pytest.fixture
def read(tmp_path):
    """Write a text under the name of a maker file or an examination, and read it."""

    def read(text):
        name = "E-1.yaml" if "instrument" in text else "example.yaml"
        file = tmp_path / name
        file.write_text(text, "utf-8")
        return (read_examination if "instrument" in text else read_maker)(file)

    return read


@pytest.fixture
def problems(read):
    def problems(text):
        with pytest.raises(InputError) as refusal:
            read(text)
        return refusal.value.problems

    return problems


@pytest.fixture
def dated(read):
    def dated(text):
        return estimate(read(MAKER), read(text))

    return dated


def changed(text, old, new):
    assert text.count(old) == 1
    return text.replace(old, new)


def line_of(text, part):
    return next(i for i, line in enumerate(text.splitlines(), start=1) if part in line)


def test_the_files_themselves_are_right(dated):
    assert dated(EXAMINATION).probabilities.sum() == pytest.approx(1)


MAKER_MISTAKES = [
    # what is written, what instead, key, message, found, allowed, nearest
    ("slip: 0.01", "slipp: 0.01", "joint.slipp", "not known here", "'slipp'", "slip", "slip"),
    ("period: 1923-03/1928-11", "period: 1928/1923", "period", "earlier date comes first",
     "1928/1923", "1923-03/1941-11", ""),
    ("period: 1923-03/1928-11", "period: soon", "period", "not an EDTF date", "soon", "months", ""),
    ("ask: Any date?, ", "", "pencil.ask", "this key is missing", "", "", ""),
    ("swapped: 0.05", "swapped: 1.05", "neck.swapped", "a number of at most 1 is", "1.05", "", ""),
    ("swapped: 0.05", "swapped: often", "swapped", "a probability is expected here", "'often'",
     "a number from 0 to 1", ""),
    ("with: new-works", "with: new-work", "history[2].with", "no such event", "'new-work'",
     "new-works", "new-works"),
    ("source: pay-book", "source: paybook", "output[1].source", "not listed under sources",
     "'paybook'", "pay-book", "pay-book"),
    ("- state: tapered\n", "- state: taperd\n", "history[1].state", "no such state", "'taperd'",
     "dowelled, tapered", "tapered"),
    ("{shortest: 1, likely: 4, longest: 12}", "{shortest: 9, likely: 4, longest: 12}",
     "overlap", "must ascend", "", "", ""),
    ("{shortest: 1, likely: 4, longest: 12}", "{shortest: 1, likely: 12, longest: 12}",
     "overlap", "half the belief would lie at 12", "", "", ""),
    ("{shortest: 1, likely: 4, longest: 12}", "[1, 4]", "overlap", "three values", "a list of 2",
     "[shortest, likely, longest]", ""),
    ("spread: 0.4", "spread: 0", "depth.spread", "at least 1e-06", "0", "", ""),
    ("unit: mm, spread: 0.4", "unit: mm, spread: wide", "depth.spread", "a number is expected here",
     "'wide'", "", ""),
    ("with: new-works", "first_use: 1931.02", "first_use", "not an EDTF date", "1931.02",
     "1931-02", ""),
    ("with: new-works", "shape: linear", "features.joint", "regime 2 must say when it came", "",
     "first_use", ""),
    ("        history:\n", "        shares_at: {1924-01: {tapered: 0.4}}\n        history:\n",
     "shares_at", "sum to one", "", "", ""),
    ("during: 1923-03/1927-12", "during: 1922-03/1925-12", "output[1].during",
     "must lie within the period", "'1922-03/1925-12'", "", ""),
    ("{state: concert,", "{by_variant: {plain: {plain: 1}},", "variants", "cannot differ", "", "",
     ""),
    ("        slip: 0.01\n", "        by_variant: {plain: {}}\n", "by_variant.plain",
     "a course is expected", "an empty mapping", "a history, or shares_at", ""),
    ("    swapped: 0.05\n", "    by_variant: {plain: {joint: {}}}\n", "plain.joint",
     "a course is expected", "an empty mapping", "a history, or shares_at", ""),
    ("state: tapered\n", "by_variant: {}\n", "history[1].by_variant", "at least 1",
     "an empty mapping", "", ""),
    ("when: 1925-06", "when: [1000-01, 1925-06, 2800-01]", "new-works.when", "200 years apart", "",
     "", ""),
    ("period: 1923-03/1928-11", f"period: {'x' * 5000}", "period", "at most 1000 characters", "",
     "", ""),
    ("      pencil:", "      joint:", "joint", "used more than once", "", "", ""),
]  # fmt: skip
ELSEWHERE = {
    "this key is missing": "pencil:",
    "regime 2 must say when it came": "joint:",
    "cannot differ": "variants:",
}


@pytest.mark.parametrize("mistake", MAKER_MISTAKES, ids=lambda mistake: mistake[1][:40])
def test_mistakes_in_a_maker_file(problems, tmp_path, mistake):
    old, new, key, message, found, allowed, nearest = mistake
    text = changed(MAKER, old, new)
    made = problems(text)
    match = [p for p in made if key in p.key and message in p.message]
    assert match, made
    problem = match[0]
    assert problem.file == str(tmp_path / "example.yaml")
    assert found in problem.found
    assert allowed in problem.allowed
    assert problem.nearest == nearest
    at = ELSEWHERE.get(message) or new.strip().splitlines()[0]
    assert problem.line == line_of(text, at)


EXAMINATION_MISTAKES = [
    ("joint: dowelled", "joint: doweled", "seen.joint", "no such state", "'doweled'",
     "dowelled, tapered", "dowelled"),
    ("joint: dowelled", "jont: dowelled", "seen.jont", "no such feature", "'jont'", "joint",
     "joint"),
    ("joint: dowelled", "joint: {one_of: [dowelled, glued]}", "seen.joint", "no such state",
     "'glued'", "dowelled, tapered", ""),
    ("joint: dowelled", "joint: [dowelled, tapered]", "seen.joint", "one_of: [...]", "", "", ""),
    ("joint: dowelled", "joint: {state: dowelled, sure: 2}", "seen.joint", "at most 1",
     "2", "", ""),
    ("joint: dowelled", "joint: {sure: 0.5}", "seen.joint", "say one of", "", "", ""),
    ("  pencil: 1926-02-17", "  pencl: 1926-02-17", "marks.pencl", "no such", "'pencl'", "pencil",
     "pencil"),
    ("pencil: 1926-02-17", "pencil: Feb 1926", "marks.pencil", "write 1926-02", "'Feb 1926'", "",
     ""),
    ("pencil: 1926-02-17", "pencil: 1926-02-30", "marks.pencil", "", "'1926-02-30'", "", ""),
    ("pencil: 1926-02-17", "pencil: 1926-02/..", "marks.pencil", "both ends", "'1926-02/..'", "",
     ""),
    ("depth: 21.4", "depth: thick", "measured.depth", "", "'thick'", "", ""),
    ("depth: 21.4", "width: 21.4", "measured.width", "no such", "'width'", "depth", "depth"),
    ("not_after: 1927-06", "not_after: 1927-13", "documents[1].not_after", "", "'1927-13'",
     "a year, month or day", ""),
    ("not_after: 1927-06", "trust: 0.5", "documents[1]", "not_before, not_after or both", "", "",
     ""),
    ("not_after: 1927-06", "not_afte: 1927-06", "documents[1].not_afte", "not known here",
     "'not_afte'", "not_after", "not_after"),
    ("maker: example\n", "maker: example\nvariant: consert\n", "variant", "no such state",
     "'consert'", "concert, plain", "concert"),
    ("seen:\n", "sen:\n", "sen", "not known here", "'sen'", "seen", "seen"),
]  # fmt: skip


@pytest.mark.parametrize("mistake", EXAMINATION_MISTAKES, ids=lambda mistake: mistake[1][:40])
def test_mistakes_in_an_examination(dated, tmp_path, mistake):
    old, new, key, message, found, allowed, nearest = mistake
    text = changed(EXAMINATION, old, new)
    with pytest.raises(InputError) as refusal:
        dated(text)
    match = [p for p in refusal.value.problems if p.key.startswith(key) and message in p.message]
    assert match, refusal.value.problems
    problem = match[0]
    assert problem.file == str(tmp_path / "E-1.yaml")
    last = key.split(".")[-1]
    assert problem.line == line_of(text, "what:" if last.endswith("]") else f"{last}:")
    assert found in problem.found
    assert allowed in problem.allowed
    assert problem.nearest == nearest


@pytest.mark.parametrize("mark", ["9999-12-31", "9999", "0001-01", "[1926-02-17,9999-12]"])
def test_marks_at_the_ends_of_the_calendar_are_read(dated, mark):
    try:
        assert dated(changed(EXAMINATION, "1926-02-17", mark)).probabilities.sum() > 0
    except InputError as refusal:
        assert f"pencil ({mark})" in refusal.problems[0].message  # noqa: PT017


def test_every_mistake_is_reported_at_once(problems):
    text = changed(changed(MAKER, "slip: 0.01", "slip: 3"), "spread: 0.4", "spred: 0.4")
    assert {problem.key.rsplit(".", 1)[-1] for problem in problems(text)} >= {"spred", "spread"}
    assert any("slip" in problem.key for problem in problems(text))


def test_a_problem_reads_as_file_line_key_rule_and_remedy():
    problem = Problem("x.yaml", 4, "seen.joint", "no such state", "'a'", "b, c", "b")
    assert str(problem).splitlines() == [
        "x.yaml, line 4: seen.joint: no such state",
        "    found:    'a'",
        "    allowed:  b, c",
        "    nearest:  b",
    ]
    assert str(Problem("x.yaml", None, "", "no such file")) == "x.yaml: no such file"


# What no month allows


def test_what_cannot_be_together_is_named(read):
    strict = changed(MAKER, "slip: 0.01", "slip: 0\n        replaced: 0")
    strict = changed(strict, "swapped: 0.05", "swapped: 0")
    seen = changed(EXAMINATION, "not_after: 1927-06", "not_after: 1924-06\n    trust: 1")
    seen = changed(seen, "pencil: 1926-02-17", "pencil: not examined")
    with pytest.raises(InputError, match="no month of the period") as refusal:
        estimate(read(strict), read(seen))
    assert "allows together: joint (dowelled); document 1 (bill of sale" in str(refusal.value)
    assert refusal.value.problems[0].key == "seen.joint"


# Plain YAML


@pytest.mark.parametrize(
    ("written", "value"),
    [
        ("1931", 1931), ("-4", -4), ("0.5", 0.5), ("1e3", 1000.0), (".5", 0.5), ("true", True),
        ("False", False), ("null", None), ("~", None), ("", None), ("yes", "yes"), ("no", "no"),
        ("on", "on"), ("1931-02", "1931-02"), ("1931-02-17", "1931-02-17"), ("0123", "0123"),
        ("0x1f", "0x1f"), ("1_000", "1_000"), ("12:30", "12:30"), (".nan", ".nan"),
        (".inf", ".inf"), ("'1931'", "1931"), ('"true"', "true"), ("tRue", "tRue"),
    ],
)  # fmt: skip
def test_only_numbers_true_false_and_null_are_more_than_text(tmp_path, written, value):
    file = tmp_path / "x.yaml"
    file.write_text(f"key: {written}\n")
    read = read_yaml(file).data["key"]
    assert read == value
    assert type(read) is type(value)


def test_places_and_fingerprint_are_kept(tmp_path):
    file = tmp_path / "x.yaml"
    file.write_bytes(b"\xef\xbb\xbfa: 1\r\nb:\r\n  - c: 2\r\n  - d\r\n")
    source = read_yaml(file)
    assert source.data == {"a": 1, "b": [{"c": 2}, "d"]}
    assert source.places["b", 0, "c"] == (3, 5)
    assert source.places["b", 1][0] == 4
    assert len(source.fingerprint) == 64
    file.write_bytes(file.read_bytes() + b"#")
    assert read_yaml(file).fingerprint != source.fingerprint


@pytest.mark.parametrize(
    ("content", "line", "message"),
    [
        (b"", 1, "the file is empty"),
        (b"a: 1\nb: caf\xe9\n", 2, "not UTF-8"),
        (b"a: 1\nb: 2\na: 3\n", 3, "given twice, first in line 1"),
        (b"a: 1\nb: !!str 2\nc: !secret 3\n", 3, "tags are not used"),
        (b"a: 1\n---\nb: 2\n", 2, "more than one YAML document"),
        (b"a:\n\tb: 1\n", 2, "not valid YAML"),
        (b"a: [1\n", None, "not valid YAML"),
        (b"a: 1\n? [b]\n: 2\n", 2, "a key must be a plain word"),
        (b"a: *b\n", 1, "not valid YAML"),
        (b"a: &b [*b]\n", 1, "once its aliases are followed"),
        (b"a: 1\nb: \x00\n", 2, "not valid YAML"),
        (b"a: " + b"[" * (DEEPEST_NESTING + 1), 1, f"more than {DEEPEST_NESTING} deep"),
        (b"a: &a 1\nb:\n" + b"- *a\n" * (MOST_ALIASES + 1), MOST_ALIASES + 3, "aliases"),
        (b"a:\n" + b"- 1\n" * MOST_VALUES, None, "too much"),
        (b"#" * (LARGEST_FILE + 1), None, f"larger than {LARGEST_FILE:,} bytes"),
    ],
)
def test_files_that_are_not_plain_yaml_within_the_limits(tmp_path, content, line, message):
    file = tmp_path / "x.yaml"
    file.write_bytes(content)
    with pytest.raises(InputError) as refusal:
        read_yaml(file)
    problem = refusal.value.problems[0]
    assert message in problem.message
    assert problem.file == str(file)
    if line is not None:
        assert problem.line == line


def test_the_limits_themselves_are_allowed(tmp_path):
    file = tmp_path / "x.yaml"
    deep = DEEPEST_NESTING - 1
    file.write_bytes(
        b"a: &a 1\nb: [" + b"*a," * MOST_ALIASES + b"]\nc: " + b"[" * deep + b"]" * deep
    )
    assert len(read_yaml(file).data["b"]) == MOST_ALIASES


def test_a_file_that_is_not_there_or_not_a_file(tmp_path):
    for path, message in ((tmp_path / "none.yaml", "no such file"), (tmp_path, "this is a folder")):
        with pytest.raises(InputError, match=message) as refusal:
            read_yaml(path)
        assert refusal.value.problems[0].file == str(path)


def test_which_kind_of_file(tmp_path):
    for name, text in (("m.yaml", MAKER), ("e.yaml", EXAMINATION), ("x.yaml", "instrumnt: 3\n")):
        (tmp_path / name).write_text(text)
    assert kind_of(tmp_path / "m.yaml") == "maker"
    assert kind_of(tmp_path / "e.yaml") == "examination"
    with pytest.raises(InputError, match="not a known kind of file") as refusal:
        kind_of(tmp_path / "x.yaml")
    assert refusal.value.problems[0].nearest == "instrument"


def test_the_maker_file_is_found_beside_or_above_or_the_nearest_is_named(tmp_path):
    seen = tmp_path / "shelf" / "seen"
    (tmp_path / "priors").mkdir()
    seen.mkdir(parents=True)
    (seen / "E-1.yaml").write_text(EXAMINATION)
    examination = read_examination(seen / "E-1.yaml")
    (tmp_path / "priors" / "exampel.yaml").write_text(MAKER)
    with pytest.raises(InputError, match=r"no maker file example\.yaml") as refusal:
        find_maker(examination)
    assert refusal.value.problems[0].nearest == "exampel"
    above = tmp_path / "priors" / "example.yaml"
    above.write_text(MAKER)
    assert find_maker(examination).resolve() == above.resolve()
    (seen / "example.yaml").write_text(MAKER)
    assert find_maker(examination).resolve() == (seen / "example.yaml").resolve()


# Small helpers


def test_nearest_names():
    assert nearest_name("doweled", ["dovetail", "dowelled"]) == "dowelled"
    assert nearest_name("xyz", ["dovetail", "dowelled"]) == ""
    assert nearest_name("a" * 100_000, ["dovetail"]) == ""


def test_values_are_shown_short():
    assert shown("x" * 500) == "'" + "x" * 56 + "..."
    assert shown(["a", "b"]) == "a list of 2"
    assert shown({"k" * 100: 1}).startswith("a mapping with the keys kkk")
    assert len(shown({"k" * 100: 1})) < 90
    assert shown({}) == "an empty mapping"
    assert shown(None) == "nothing"


# Writing


def test_a_file_is_written_whole_with_usual_permissions(tmp_path):
    target = tmp_path / "out.txt"
    write_whole(target, b"one")
    write_whole(target, b"two")
    assert target.read_bytes() == b"two"
    assert os.listdir(tmp_path) == ["out.txt"]
    mask = os.umask(0)
    os.umask(mask)
    assert stat.S_IMODE(target.stat().st_mode) == 0o666 & ~mask


@pytest.mark.parametrize("broken", ["fdopen", "replace", "chmod"])
def test_a_failed_write_leaves_the_old_file_and_nothing_else(tmp_path, monkeypatch, broken):
    target = tmp_path / "out.txt"
    write_whole(target, b"old")

    def fail(*args, **kwargs):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, broken, fail)
    with pytest.raises(InputError, match="cannot be written: No space left") as refusal:
        write_whole(target, b"new")
    assert refusal.value.problems[0].file == str(target)
    assert target.read_bytes() == b"old"
    assert os.listdir(tmp_path) == ["out.txt"]


def test_writing_into_no_folder_is_refused(tmp_path):
    with pytest.raises(InputError, match="cannot be written"):
        write_whole(tmp_path / "none" / "out.txt", b"x")
    assert os.listdir(tmp_path) == []


def test_a_maker_is_a_plain_name(tmp_path):
    file = tmp_path / "x.yaml"
    file.write_text("instrument: X\nmaker: ../secret\n", encoding="utf-8")
    with pytest.raises(InputError, match="a plain name is expected here"):
        find_maker(read_examination(file))


def test_a_judgement_of_dates_is_refused_in_dates(tmp_path):
    text = Path("priors/marrowby.yaml").read_text(encoding="utf-8")
    first = "earliest: 1929-06, likely: 1929-12, latest: 1930-08"
    assert first in text
    file = tmp_path / "m.yaml"
    spoiled = "earliest: 1929-06, likely: 1929-06, latest: 1935-09"
    file.write_text(text.replace(first, spoiled), encoding="utf-8")
    with pytest.raises(InputError, match="half the belief would lie at 1929-06 alone"):
        read_maker(file)


def test_a_course_stated_twice_is_refused(tmp_path):
    file = tmp_path / "m.yaml"
    file.write_text(
        "maker: Example Works\nproduct: lyres\ninvented: true\nperiod: 1930\n"
        "variants: {states: [plain, fine], shares_at: {1930-01: {plain: 0.5, fine: 0.5}}}\n"
        "components:\n  neck:\n    features:\n      nut:\n        ask: Which?\n"
        "        states: [bone, horn]\n        history: [{state: bone}]\n"
        "        by_variant: {fine: {history: [{state: horn}]}}\n"
        "    by_variant: {fine: {nut: {history: [{state: horn}]}}}\n",
        encoding="utf-8",
    )
    with pytest.raises(InputError, match="stated at the feature too") as refused:
        read_maker(file)
    assert refused.value.problems[0].line == 14
