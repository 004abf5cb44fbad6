"""Spoiled files are read and used, or refused with located problems; nothing else happens."""

import random
from math import isnan
from pathlib import Path

import pytest

from dating import InputError, estimate, read_examination, read_maker
from dating.reading import read_yaml
from tests.mutating import WHOLE, spoiled_structure, spoiled_text, written

ROOT = Path(__file__).parents[1]
MARROWBY = ROOT / "priors" / "marrowby.yaml"
EXAMINATIONS = sorted((ROOT / "demo_data" / "examinations").glob("M-*.yaml"))

SMALL_MAKER = """\
maker: Example Works
product: lyres
invented: true
period: 1923-03/1928-11
sources:
  pay-book: {title: Pay book, kind: factory record}
output:
  - {during: 1923-03/1925-12, made: [400, 700, 1100], source: pay-book}
  - {during: 1926-01/1928-11, made: 4000}
events:
  new-works:
    what: move to the new works
    when: {earliest: 1925-02, likely: 1925-06, latest: 1926-01, by: A, source: pay-book}
variants:
  states: {plain: plain grade, concert: better grade}
  history:
    - state: plain
    - {shares: {plain: 0.7, concert: 0.3}, first_use: [1925-01, 1925-08, 1926-06], overlap: 6}
components:
  neck:
    swapped: 0.05
    donors: [{during: 1924, share: 0.4}, {during: 1925/1927, share: 0.6}]
    features:
      joint:
        ask: How does the neck meet the body?
        look: {how: mirror, invasive: low, hazards: [string tension], caution: gently}
        states: {tapered: tapered tenon, dowelled: two dowels, screwed: wood screws}
        slip: 0.01
        history:
          - state: tapered
          - state: dowelled
            first_use: {earliest: 1924-06, likely: 1925-01, latest: 1925-09, source: pay-book}
            overlap: {shortest: 1, likely: 4, longest: 12}
          - {shares: {dowelled: 0.3, screwed: 0.7}, with: new-works, lag: [0, 1, 3], overlap: 2}
      nut:
        ask: Which nut?
        states: [bone, plastic]
        slip: {value: 0.01, by: A}
        replaced: 0.1
        replacement: {bone: 0.2, plastic: 0.8}
        history: [{state: bone}, {state: plastic, with: new-works, shape: logistic}]
    marks:
      pencil: {ask: Any date?, precision: day, lag: {shortest: 0, likely: 1, longest: 4}}
    measurements:
      depth: {unit: mm, spread: 0.4, tails: 5, mean: {1923-03: 23.5, 1926-01: 21.0}}
  body:
    swapped: 0.02
    by_variant: {concert: {label: {shares_at: {1924-01: {round: 1}}}}}
    features:
      binding:
        ask: Which binding?
        states: [none, white]
        by_variant:
          plain: {history: [{state: none}, {state: white, first_use: 1926-04-11}]}
          concert: {shares_at: {1923-03: {none: 1}, 1928-01: {none: 0.5, white: 0.5}}}
        slip: 0.02
      label:
        ask: Which label?
        states: [round, square]
        slip: 0.01
        history:
          - state: round
          - {by_variant: {plain: {square: 1}, concert: {round: 1}}, first_use: 1925-07}
"""
SMALL_EXAMINATION = """\
instrument: E-1
maker: small
examined: 2026-03-09
by: assessor C
variant: {one_of: [plain, concert]}
seen:
  joint: dowelled
  nut: {state: bone, sure: 0.8, note: worn}
  binding: {one_of: [white, none]}
  label: {other: a printed one}
marks: {pencil: 1925-02-17}
measured: {depth: {value: 21.4, within: 0.3}}
documents:
  - {what: bill of sale, not_after: 1927-06, trust: 0.95}
  - {what: patent, not_before: 1924}
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("spoiled")
    (folder / "small.yaml").write_text(SMALL_MAKER, "utf-8")
    (folder / "E-1.yaml").write_text(SMALL_EXAMINATION, "utf-8")
    return folder


@pytest.fixture(scope="module")
def small(folder):
    return read_maker(folder / "small.yaml"), read_examination(folder / "E-1.yaml")


@pytest.fixture(scope="module")
def marrowby():
    return read_maker(MARROWBY)


def used_or_refused(content, folder, use):
    """Write the file, use it; whatever is refused is located, and nothing else is written."""
    file = folder / "spoiled.yaml"
    file.write_bytes(content)
    before = {path: path.stat().st_mtime_ns for path in folder.rglob("*")}
    try:
        use(file)
    except InputError as refusal:
        check_problems(refusal.problems, str(file), content)
        return False
    finally:
        assert {path: path.stat().st_mtime_ns for path in folder.rglob("*")} == before
        assert file.read_bytes() == content
    return True


def check_problems(problems, file, content):
    lines = content.count(b"\n") + content.count(b"\r") + 2
    assert problems
    for problem in problems:
        assert problem.file == file
        assert problem.line is not None or not problem.key
        assert problem.line is None or 1 <= problem.line <= lines
        text = str(problem)
        assert text.startswith(file)
        assert problem.message.strip() == problem.message != ""
        assert len(text) < 2500
        assert not any(
            word in text for word in ("Traceback", "pydantic", "input_value", "object at")
        )


def use_maker(examination=None):
    def use(file):
        maker = read_maker(file)
        if examination is not None:
            try:
                made = estimate(maker, examination)
            except InputError:
                return  # it names what this maker no longer has, or cannot be
            assert made.probabilities.sum() == pytest.approx(1)
            assert len(made.findings) == len(made.pieces)
            assert made.advice is not None

    return use


def use_examination(maker):
    def use(file):
        made = estimate(maker, read_examination(file))
        assert made.probabilities.sum() == pytest.approx(1)
        assert all(0 <= p <= 1 + 1e-9 for p in made.originality.values())
        assert len(made.findings) == len(made.pieces)
        assert not isnan(made.conflict.bits)
        assert not any(isnan(finding.weight) for finding in made.findings)
        assert made.advice is not None

    return use


def test_the_unspoiled_files_are_used(folder, small, marrowby):
    assert used_or_refused(SMALL_MAKER.encode(), folder, use_maker(small[1]))
    assert used_or_refused(SMALL_EXAMINATION.encode(), folder, use_examination(small[0]))
    for path in EXAMINATIONS:
        assert used_or_refused(path.read_bytes(), folder, use_examination(marrowby))


@pytest.mark.parametrize("block", range(10))
def test_spoiled_structure_of_a_maker_file(block, folder, small):
    rng = random.Random(f"maker {block}")
    data = read_yaml(folder / "small.yaml").data
    for _ in range(30):
        used_or_refused(written(spoiled_structure(data, rng)), folder, use_maker(small[1]))


@pytest.mark.parametrize("block", range(10))
def test_spoiled_text_of_a_maker_file(block, folder, small):
    rng = random.Random(f"text {block}")
    for _ in range(20):
        used_or_refused(spoiled_text(SMALL_MAKER.encode(), rng), folder, use_maker(small[1]))


@pytest.mark.parametrize("block", range(10))
def test_spoiled_structure_of_an_examination(block, folder, small):
    rng = random.Random(f"examination {block}")
    data = read_yaml(folder / "E-1.yaml").data
    for _ in range(30):
        content = written(spoiled_structure(data, rng))
        used_or_refused(content, folder, use_examination(small[0]))


@pytest.mark.parametrize("path", EXAMINATIONS, ids=lambda path: path.stem)
def test_spoiled_text_of_an_examination(path, folder, marrowby):
    rng = random.Random(path.stem)
    for _ in range(15):
        used_or_refused(spoiled_text(path.read_bytes(), rng), folder, use_examination(marrowby))


def test_spoiled_text_of_a_long_maker_file(folder):
    rng = random.Random("marrowby")
    outcomes = [
        used_or_refused(spoiled_text(MARROWBY.read_bytes(), rng), folder, use_maker())
        for _ in range(40)
    ]
    assert {True, False} == set(outcomes)


@pytest.mark.parametrize("content", WHOLE.values(), ids=WHOLE.keys())
@pytest.mark.parametrize("use", [read_maker, read_examination])
def test_files_that_are_nothing_of_the_kind_are_refused(content, use, folder):
    assert not used_or_refused(content, folder, use)
