"""Group files are read, and what cannot be so or is hardly meant is named with its place."""

import itertools
import random

import pytest
import yaml
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from dating.cli.doubts import doubts
from dating.cli.main import main
from dating.files import read_maker
from dating.kinds import kind_of
from dating.maker import Maker
from dating.months import Period, month_number
from dating.reading import InputError
from dating.succession.files import group_of, read_group
from dating.succession.references import group_problems, group_warnings
from dating.succession.relations import Group, Relation, relation_words
from dating.words.file_summary import understood
from tests.mutating import WHOLE, spoiled_structure, spoiled_text, written
from tests.test_mutations import SMALL_EXAMINATION, SMALL_MAKER, check_problems

NAMES = ("E-1", "E-2", "E-3", "E-4")
GROUP = """\
maker: small
group: four on a bench
invented: true
note: one of each kind
examinations: [E-1.yaml, E-2.yaml, E-3.yaml, E-4.yaml]
known:
  - older: {instruments: [E-1, E-3], at_least: 2, at_most: 40}
    source: letter
    trust: 0.9
  - apart: {instruments: [E-1, E-2], at_most: 6}
    source: inventory
    trust: 1
  - same_batch: {instruments: [E-1, E-2, E-4], within: 2}
    source: parcel label
    trust: 0.5
  - photographed: {instruments: [E-1, E-3], date: "[1927-05,1928-02]"}
    source: photograph
    trust: 1
    note: dated on the back
  - consecutive: {instruments: [E-4, E-2], within: 1}
    source: work numbers
    trust: 0.95
"""
SEEN = SMALL_EXAMINATION.replace("not_before: 1924}", "not_before: 1924, trust: 1}")
HEAD = "maker: small\nexaminations: [E-1.yaml, E-2.yaml, E-3.yaml, E-4.yaml]\nknown:\n"
PERIOD = "March 1923 to November 1928"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("group")
    (folder / "small.yaml").write_text(SMALL_MAKER, "utf-8")
    for name in NAMES:
        text = SEEN.replace("E-1", name)
        (folder / f"{name}.yaml").write_text(text, "utf-8")
    return folder


@pytest.fixture(scope="module")
def small(folder):
    return read_maker(folder / "small.yaml")


@pytest.fixture(scope="module")
def write(folder):
    def write(text):
        file = folder / "group.yaml"
        file.write_bytes(text if isinstance(text, bytes) else text.encode())
        return file

    return write


@pytest.fixture(scope="module")
def problems(write, small):
    def problems(text):
        file = write(text)
        with pytest.raises(InputError) as refusal:
            group_of(read_group(file), small)
        content = text if isinstance(text, bytes) else text.encode()
        check_problems(refusal.value.problems, str(file), content)
        return refusal.value.problems

    return problems


@pytest.fixture(scope="module")
def warnings(write, small):
    def warnings(text):
        group = read_group(write(text))
        return group_warnings(group, {}, small) if group_of(group, small) else None

    return warnings


def known(*said, trust=1):
    """Write statements, three lines each, from line 4 on."""
    entry = "  - {said}\n    source: source {number}\n    trust: {trust}\n"
    trusts = trust if isinstance(trust, tuple) else (trust,) * len(said)
    return HEAD + "".join(
        entry.format(said=one, number=number, trust=trusts[number])
        for number, one in enumerate(said)
    )


def changed(old, new):
    assert GROUP.count(old) == 1
    return GROUP.replace(old, new)


def line_of(part):
    (line,) = (k for k, row in enumerate(GROUP.splitlines(), start=1) if part in row)
    return line


# What is read


def test_every_kind_is_read(write, small):
    file = write(GROUP)
    group = read_group(file)
    assert (group.maker, group.group, group.invented) == ("small", "four on a bench", True)
    assert group.origin.file == str(file)
    assert tuple(relation.kind for relation in group.known) == Relation.kinds
    older, apart, batch, photographed, consecutive = (each.content for each in group.known)
    assert (older.instruments, older.at_least, older.at_most) == (("E-1", "E-3"), 2, 40)
    assert (apart.instruments, apart.at_most) == (("E-1", "E-2"), 6)
    assert (batch.instruments, batch.within) == (("E-1", "E-2", "E-4"), 2)
    assert photographed.last == month_number(1928, 2)
    assert (consecutive.instruments, consecutive.within) == (("E-4", "E-2"), 1)
    assert [each.trust for each in group.known] == [0.9, 1, 0.5, 1, 0.95]
    assert group.known[3].note == "dated on the back"
    assert group.known[0].source == "letter"
    assert list(group_of(group, small)) == list(NAMES)


def test_what_is_not_stated_is_assumed(write):
    text = "maker: small\nknown:\n  - older: {instruments: [E-1, 2]}\n    source: 1934\n"
    (relation,) = read_group(write(text)).known
    assert (relation.trust, relation.source) == (0.98, "1934")
    older = relation.content
    assert (older.instruments, older.at_least, older.at_most) == (("E-1", "2"), 0, None)


@pytest.mark.parametrize(
    ("date", "last"),
    [
        ("1927-05-30", (1927, 5)),
        ("1927", (1927, 12)),
        ("1926-03/1927-02", (1927, 2)),
        ("'[1926-03..1927-04]'", (1927, 4)),
        ("'[..1927-04]'", (1927, 4)),
        ("192X", (1929, 12)),
        ("[1926-03, 1927-04]", (1927, 4)),
    ],
)
def test_of_a_photograph_the_last_month_counts(write, date, last):
    (relation,) = read_group(
        write(known(f"photographed: {{instruments: [E-1, E-2], date: {date}}}"))
    ).known
    assert relation.content.last == month_number(*last)


def test_without_examinations_no_name_is_unknown(write, small):
    group = read_group(
        write(known("older: {instruments: [X, Y]}").replace(HEAD, "maker: small\nknown:\n"))
    )
    assert group_of(group, small) == {}
    (first, second) = group_problems(group, ["Y1"], small)
    assert (first.found, second.found, second.nearest) == ("'X'", "'Y'", "Y1")


WORDS = [
    ("older: {instruments: [A, B]}", "A is older than B"),
    ("older: {instruments: [A, B], at_least: 1}", "A is at least 1 month older than B"),
    ("older: {instruments: [A, B], at_least: 2, at_most: 40}",
     "A is at least 2 and at most 40 months older than B"),
    ("older: {instruments: [A, B], at_least: 3, at_most: 3}", "A is 3 months older than B"),
    ("older: {instruments: [A, B], at_most: 3}", "A is older than B, by at most 3 months"),
    ("older: {instruments: [A, B], at_most: 0}", "A is older than B, and of the same month"),
    ("apart: {instruments: [A, B], at_most: 6}", "A and B were completed at most 6 months apart"),
    ("apart: {instruments: [A, B], at_most: 0}", "A and B were completed in the same month"),
    ("same_batch: {instruments: [A, B, C], within: 2}",
     "A, B and C belong to one batch, completed within 2 months"),
    ("same_batch: {instruments: [A, B], within: 0}",
     "A and B belong to one batch, completed in one month"),
    ("photographed: {instruments: [A, B], date: 1934}",
     "A and B were photographed together, not after December 1934"),
    ("consecutive: {instruments: [A, B], within: 1}",
     "A and B have consecutive work numbers, each completed at most 1 month after the one before"),
    ("consecutive: {instruments: [A, B], within: 0}",
     "A and B have consecutive work numbers, each completed in the same month as the one before"),
]  # fmt: skip


@pytest.mark.parametrize(("said", "words"), WORDS)
def test_what_is_known_is_said_in_words(said, words):
    assert relation_words(relation(said)) == words


def relation(said, trust=1.0):
    """Make a statement of YAML or of plain data."""
    data = said if isinstance(said, dict) else yaml.safe_load(said)
    return Relation.model_validate({**data, "source": "a letter", "trust": trust})


# What is refused


SAID_WRONGLY = [
    ("older: {instruments: [E-1, E-2], at_least: 5, at_most: 2}", "older",
     "at_least (5) is more than at_most (2)"),
    ("older: {instruments: [E-1]}", "older.instruments", "at least 2"),
    ("older: {instruments: [E-1, E-2, E-3]}", "older.instruments", "at most 2"),
    ("older: {instruments: [E-1, E-1]}", "older.instruments[2]", "an instrument is named once"),
    ("older: {instruments: [E-1, E-2], at_least: -1}", "older.at_least", "at least 0"),
    ("older: {instruments: [E-1, E-2], at_least: 1.5}", "older.at_least", "whole number"),
    ("older: {instruments: [E-1, E-2], at_least: true}", "older.at_least", "a number is expected"),
    ("apart: {instruments: [E-1, E-2]}", "apart.at_most", "this key is missing"),
    ("apart: {instruments: [E-1, E-2], at_most: 3, within: 3}", "apart.within",
     "this key is not known here"),
    ("same_batch: {instruments: [E-1, E-2, E-1], within: 3}", "same_batch.instruments[3]",
     "an instrument is named once"),
    ("same_batch: {instruments: [E-1], within: 3}", "same_batch.instruments", "at least 2"),
    ("consecutive: {instruments: [E-1, E-2]}", "consecutive.within", "this key is missing"),
    ("photographed: {instruments: [E-1, E-2], date: 1927~}", "photographed.date",
     "~ does not say how far off"),
    ("photographed: {instruments: [E-1, E-2], date: '{1926,1927}'}", "photographed.date",
     "a photograph is of one date"),
    ("photographed: {instruments: [E-1, E-2], date: '[1926..]'}", "photographed.date",
     "no last day is known"),
    ("photographed: {instruments: [E-1, E-2], date: 1927-21}", "photographed.date",
     "no last day is known"),
    ("photographed: {instruments: [E-1, E-2], date: May 1927}", "photographed.date",
     "write 1927-05"),
    ("photographed: {instruments: [E-1, E-2], date: [[1926]]}", "photographed.date",
     "a date is expected here"),
    ("photographed: {instruments: [E-1, E-2], date: 1923-02}", "photographed.date",
     "this excludes every month: the maker began in March 1923"),
    ("younger: {instruments: [E-1, E-2]}", "younger", "this key is not known here"),
    ("older: {instruments: [E-1, E-2], at_least: 69}", "older",
     "E-1 is at least 69 months older than E-2 (line 4) and all were completed from "
     f"{PERIOD}: these cannot both be so"),
]  # fmt: skip


@pytest.mark.parametrize(("said", "key", "message"), SAID_WRONGLY)
def test_what_is_said_wrongly_is_located(problems, said, key, message):
    problem = problems(known(said))[0]
    assert (problem.line, problem.key) == (4, f"known[1].{key}")
    assert message in problem.message


def test_one_mistake_is_told_once(problems):
    for said, *_ in SAID_WRONGLY:
        assert len(problems(known(said))) == 1


def test_an_unknown_instrument_is_named_with_the_nearest(problems):
    (problem,) = problems(changed("[E-1, E-2, E-4]", "[E-1, E-22, E-4]"))
    assert (problem.line, problem.key) == (
        line_of("same_batch"),
        "known[3].same_batch.instruments[2]",
    )
    assert problem.message == "no examination of this instrument is given"
    assert (problem.found, problem.nearest) == ("'E-22'", "E-2")
    assert problem.allowed == "E-1, E-2, E-3, E-4"


@pytest.mark.parametrize(
    ("text", "line", "key", "message"),
    [
        (changed("    source: letter\n", ""), 7, "known[1].source", "this key is missing"),
        (changed("source: letter", "source: ' '"), 8, "known[1].source", "text is expected here"),
        (changed("trust: 0.9\n", "trust: 0\n"), 9, "known[1].trust", "more than 0"),
        (changed("trust: 0.9\n", "trust: 1.1\n"), 9, "known[1].trust", "a number of at most 1 is"),
        (changed("trust: 0.9\n", "trust: true\n"), 9, "known[1].trust", "a number is expected"),
        (changed("    trust: 0.9\n", "    apart: {instruments: [E-1, E-2], at_most: 6}\n"), 7,
         "known[1]", "exactly one thing is said at a time"),
        ("maker: small\nknown: []\n", 2, "known", "at least 1 item is expected here"),
        ("maker: small\ngroup: x\n", 1, "known", "this key is missing"),
        (changed("group: four", "name: four"), 2, "name", "this key is not known here"),
        (changed("E-2.yaml", "E-9.yaml"), 5, "examinations[2]", "there is no such file"),
        (changed("E-2.yaml", "E-1.yaml"), 5, "examinations[2]", "this instrument is listed twice"),
    ],
)  # fmt: skip
def test_faults_of_a_group_file_are_located(problems, text, line, key, message):
    problem = problems(text)[0]
    assert (problem.line, problem.key) == (line, key)
    assert message in problem.message


def test_only_one_kind_is_said_at_a_time(problems):
    (problem,) = problems(HEAD + "  - source: letter\n")
    assert problem.allowed == "one of older, apart, same_batch, photographed, consecutive"


CONTRADICTIONS = [
    (["older: {instruments: [E-1, E-3]}", "older: {instruments: [E-3, E-1]}"],
     "E-1 is older than E-3 (line 4) and E-3 is older than E-1 (line 7): these cannot both be so"),
    (["older: {instruments: [E-1, E-2]}", "apart: {instruments: [E-3, E-4], at_most: 1}",
      "older: {instruments: [E-2, E-3]}", "consecutive: {instruments: [E-3, E-4, E-1], within: 9}"],
     "E-1 is older than E-2 (line 4), E-2 is older than E-3 (line 10) and E-3, E-4 and E-1 have "
     "consecutive work numbers, each completed at most 9 months after the one before (line 13): "
     "these cannot all be so"),
    (["older: {instruments: [E-1, E-2], at_least: 7}", "apart: {instruments: [E-2, E-1], "
      "at_most: 6}"],
     "E-1 is at least 7 months older than E-2 (line 4) and E-2 and E-1 were completed at most 6 "
     "months apart (line 7): these cannot both be so"),
    (["same_batch: {instruments: [E-1, E-2, E-3], within: 4}",
      "older: {instruments: [E-2, E-4], at_least: 3}",
      "older: {instruments: [E-4, E-3], at_least: 2}"],
     "E-1, E-2 and E-3 belong to one batch, completed within 4 months (line 4), E-2 is at least 3 "
     "months older than E-4 (line 7) and E-4 is at least 2 months older than E-3 (line 10): these "
     "cannot all be so"),
    (["older: {instruments: [E-1, E-2], at_most: 3}",
      "older: {instruments: [E-1, E-2], at_least: 4}"],
     "E-1 is older than E-2, by at most 3 months (line 4) and E-1 is at least 4 months older than "
     "E-2 (line 7): these cannot both be so"),
    (["consecutive: {instruments: [E-1, E-2, E-3], within: 2}",
      "older: {instruments: [E-1, E-3], at_least: 5}"],
     "E-1, E-2 and E-3 have consecutive work numbers, each completed at most 2 months after the "
     "one before (line 4) and E-1 is at least 5 months older than E-3 (line 7): these cannot both "
     "be so"),
    (["older: {instruments: [E-1, E-2], at_least: 13}",
      "photographed: {instruments: [E-2, E-3], date: 1924-03}"],
     "E-1 is at least 13 months older than E-2 (line 4), E-2 and E-3 were photographed together, "
     f"not after March 1924 (line 7) and all were completed from {PERIOD}: these cannot all be so"),
]  # fmt: skip


@pytest.mark.parametrize(("said", "message"), CONTRADICTIONS)
def test_what_cannot_all_be_so_is_refused_with_its_lines(problems, said, message):
    (problem,) = problems(known(*said))
    kind = said[-1].split(":")[0]
    assert problem.message == message
    assert (problem.line, problem.key) == (1 + 3 * len(said), f"known[{len(said)}].{kind}")


@pytest.mark.parametrize(("said", "message"), CONTRADICTIONS)
def test_where_a_source_may_be_wrong_it_is_a_warning(warnings, said, message):
    trusts = (0.9, *(1,) * (len(said) - 1))
    (warning,) = warnings(known(*said, trust=trusts))
    assert warning.message == message
    assert "at least one of these is taken for wrong" in warning.expected
    assert warning.line == 1 + 3 * len(said)


SATISFIED = [
    ["older: {instruments: [E-1, E-2], at_least: 7}", "apart: {instruments: [E-2, E-1], "
     "at_most: 7}"],
    ["older: {instruments: [E-1, E-2]}", "apart: {instruments: [E-2, E-1], at_most: 0}"],
    ["older: {instruments: [E-1, E-2]}", "same_batch: {instruments: [E-2, E-3], within: 0}",
     "older: {instruments: [E-3, E-1]}"],
    ["older: {instruments: [E-1, E-2], at_least: 68}"],
    ["older: {instruments: [E-1, E-2], at_most: 4}",
     "older: {instruments: [E-1, E-2], at_least: 4}"],
    ["consecutive: {instruments: [E-1, E-2, E-3], within: 2}",
     "older: {instruments: [E-1, E-3], at_least: 4}"],
    ["older: {instruments: [E-1, E-2], at_least: 12}",
     "photographed: {instruments: [E-2, E-3], date: 1924-03}"],
]  # fmt: skip


@pytest.mark.parametrize("said", SATISFIED)
def test_what_can_just_be_so_is_not_refused(warnings, said):
    assert warnings(known(*said)) == ()


def test_each_contradiction_is_named(problems):
    said = [f"older: {{instruments: [{a}, {b}]}}" for a, b in ("12", "34", "21", "43")]
    text = known(*said).replace("[", "[E-").replace(", ", ", E-").replace("E-E-", "E-")
    found = problems(text)
    assert [problem.line for problem in found] == [10, 13]
    assert "E-3 is older than E-4 (line 7)" in found[1].message


def test_the_least_trusted_is_the_first_to_be_left_out(warnings):
    """One doubtful statement against two others is one warning, not two."""
    said = ["older: {instruments: [E-2, E-1]}", "older: {instruments: [E-1, E-2]}",
            "older: {instruments: [E-1, E-2], at_least: 2}"]  # fmt: skip
    for trust, count in (((0.5, 0.9, 0.9), 1), ((0.9, 0.5, 0.6), 2)):
        assert len(warnings(known(*said, trust=trust))) == count


def test_a_long_contradiction_names_most_statements_by_line(small):
    names = [f"E-{number}" for number in range(40)]
    pairs = [*itertools.pairwise(names), (names[-1], names[0])]
    group = group_from([relation({"older": {"instruments": list(pair)}}) for pair in pairs])
    (problem,) = group_problems(group, names, small)
    assert "E-5 is older than E-6 (statement 6)" in problem.message
    assert "what is said in statement 7, statement 8" in problem.message
    assert "statement 39 and statement 40: these cannot all be so" in problem.message


def group_from(relations):
    return Group(maker="small", known=tuple(relations))


# What is hardly meant


HARDLY_MEANT = [
    (changed("    trust: 0.9\n", ""), 7, "known[1].older", "no trust in this is stated; 0.98 is"),
    (changed("within: 1}", "within: 68}"), 20, "known[5].consecutive.within",
     "no two months of the period lie more than 68 apart: this bounds nothing"),
    (changed("at_most: 40", "at_most: 69"), 7, "known[1].older.at_most", "this bounds nothing"),
    (changed("at_most: 6}", "at_most: 100}"), 10, "known[2].apart.at_most", "this bounds nothing"),
    (changed("within: 2}", "within: 100}"), 13, "known[3].same_batch.within", "bounds nothing"),
    (changed("within: 2}", "within: 0}"), 13, "known[3].same_batch.within",
     "so many were hardly completed in one and the same month"),
    (changed('"[1927-05,1928-02]"', "1928-11"), 16, "known[4].photographed.date",
     "this excludes no month: the maker ended in November 1928"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "line", "key", "message"), HARDLY_MEANT)
def test_what_is_hardly_meant_gets_a_warning(warnings, text, line, key, message):
    found = [warning for warning in warnings(text) if message in warning.message]
    assert [(warning.line, warning.key) for warning in found] == [(line, key)]
    assert all(warning.expected for warning in found)


def test_what_is_meant_gets_none(warnings):
    assert warnings(GROUP) == ()
    assert warnings(changed("[E-1, E-2, E-4], within: 2", "[E-1, E-2], within: 0")) == ()


def test_a_photograph_of_too_early_a_date_excludes_every_month_unless_it_is_wrong(warnings):
    said = "photographed: {instruments: [E-1, E-2], date: 1923-02}"
    (warning,) = warnings(known(said, trust=0.9))
    assert (warning.line, warning.key) == (4, "known[1].photographed.date")
    assert warning.message == "this excludes every month: the maker began in March 1923"


def test_a_statement_twice_from_one_source_counts_twice(warnings):
    again = (
        "  - apart: {instruments: [E-2, E-1], at_most: 6}\n    source: Inventory\n    trust: 1\n"
    )
    (warning,) = warnings(GROUP + again)
    assert (warning.line, warning.key) == (23, "known[6].apart")
    assert warning.message == "this says again what is said in line 10, and so counts twice"
    assert warnings(GROUP + again.replace("Inventory", "diary")) == ()
    assert warnings(GROUP + again.replace("at_most: 6", "at_most: 7")) == ()
    again = "  - older: {instruments: [E-3, E-1], at_least: 2, at_most: 40}\n    source: letter\n"
    (warning,) = warnings(GROUP + again + "    trust: 0.9\n")
    assert warning.message.endswith("these cannot both be so")  # the other is the older


def test_warnings_of_the_examinations_are_among_them(folder, write):
    late = SEEN.replace("E-1", "E-5").replace("1924, trust: 1}", "1924}")
    (folder / "E-5.yaml").write_text(late, "utf-8")
    found = doubts(write(changed("E-4.yaml]", "E-4.yaml, E-5.yaml]")))
    assert [w.message for w in found] == ["no trust in this document is stated; 0.98 is assumed"]
    assert found[0].file == str(folder / "E-5.yaml")


# The command


def test_the_command_says_what_was_understood(write):
    file = write(GROUP)
    assert kind_of(file) == "group"
    words = " ".join(understood(file, 400).split())  # a temporary folder may have a long name
    assert words.startswith(
        f"Group file {file}: no mistakes found four on a bench, checked against "
        f"{file.parent / 'small.yaml'} (invented) examined: E-1, E-2, E-3, E-4 "
        "E-1 is at least 2 and at most 40 months older than E-3 (letter, trust 0.9) "
        "E-1 and E-2 were completed at most 6 months apart (inventory, trust 1)"
    )


def test_the_command_counts_problems_and_warnings(write):
    twice = ["older: {instruments: [E-1, E-3]}", "older: {instruments: [E-3, E-1]}"]
    refused = run("check", write(known(*twice)))
    assert refused.exit_code == 1
    assert "line 7: known[2].older: E-1 is older than E-3 (line 4)" in " ".join(
        refused.output.split()
    )
    file = write(known(*twice, trust=0.9))
    assert run("check", file).exit_code == 0
    assert "1 warning in 1 file(s)" in run("check", file).output
    assert run("check", "--strict", file).exit_code == 1


def test_a_group_file_is_named_where_another_is_expected(write):
    file = write(GROUP)
    refused = run("estimate", file)
    assert refused.exit_code == 1
    assert "this is a group file; an examination of one instrument is expected here" in " ".join(
        refused.output.split()
    )
    with pytest.raises(InputError, match="this is a maker file; a group file is expected here"):
        read_group("priors/marrowby.yaml")


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


# Spoiled files


@pytest.mark.parametrize("name", WHOLE)
def test_what_is_no_group_file_is_refused(problems, name):
    problems(WHOLE[name])


def test_spoiled_group_files_are_read_or_refused(write, small):
    data, rng = yaml.safe_load(GROUP), random.Random(7)
    contents = [written(spoiled_structure(data, rng)) for _ in range(150)]
    contents += [spoiled_text(GROUP.encode(), rng) for _ in range(150)]
    read = 0
    for content in contents:
        file = write(content)
        try:
            group = read_group(file)
            group_warnings(group, group_of(group, small), small)
            read += 1
        except InputError as error:
            inside = [problem for problem in error.problems if problem.file == str(file)]
            assert inside
            check_problems(inside, str(file), content)
    assert 0 < read < len(contents)


# Properties


SPAN = 7
SHORT = Maker.model_validate(
    {
        "maker": "x",
        "product": "y",
        "period": "1925-01/1925-07",
        "components": {"body": {}},
    }
)
FIRST = Period.parse("1925-01").first
LETTERS = ("A", "B", "C")


@st.composite
def statements(draw, names=LETTERS, kinds=Relation.kinds):
    """Draw one statement about some of the names."""
    kind = draw(st.sampled_from(kinds))
    pair = kind in {"older", "apart"}
    count = 2 if pair else draw(st.integers(2, len(names)))
    chosen = draw(st.permutations(names))[:count]
    months = st.integers(0, SPAN)
    content = {"instruments": chosen}
    if kind == "older":
        content["at_least"] = draw(months)
        content["at_most"] = draw(st.none() | st.integers(content["at_least"], SPAN + 2))
    elif kind == "photographed":
        content["date"] = f"1925-{draw(st.integers(1, SPAN)):02}"
    else:
        content["at_most" if kind == "apart" else "within"] = draw(months)
    return {kind: content}


def holds(statement, place):
    """Say whether a statement holds of months with places within them; place[name] is a pair."""
    ((kind, content),) = statement.items()
    placed = [place[name] for name in content["instruments"]]
    months = [month for month, _ in placed]
    most = content.get("at_most", content.get("within"))
    if kind == "older":
        apart = months[1] - months[0]
        return placed[0] < placed[1] and content["at_least"] <= apart <= (
            most or 99 * (most is None)
        )
    if kind == "apart":
        return abs(months[0] - months[1]) <= most
    if kind == "same_batch":
        return max(months) - min(months) <= most
    if kind == "photographed":
        return max(months) <= int(content["date"][-2:]) - 1
    return all(a < b and b[0] - a[0] <= most for a, b in itertools.pairwise(placed))


PLACES = [
    dict(zip(LETTERS, zip(months, within, strict=True), strict=True))
    for months in itertools.product(range(SPAN), repeat=3)
    for within in itertools.permutations(range(3))
]


@settings(max_examples=300, deadline=None)
@given(st.lists(statements(), min_size=1, max_size=4))
def test_certain_statements_are_refused_just_where_no_months_satisfy_them(said):
    """By trying all months of three instruments, and all orders within a month."""
    group = group_from([relation(statement) for statement in said])
    possible = any(all(holds(each, place) for each in said) for place in PLACES)
    assert (not group_problems(group, LETTERS, SHORT)) == possible


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_each_statement_that_is_named_is_needed_for_the_contradiction(data):
    said = data.draw(st.lists(statements(), min_size=2, max_size=6))
    group = group_from([relation(statement) for statement in said])
    for problem in group_problems(group, LETTERS, SHORT)[:1]:
        named = [k for k in range(len(said)) if f"(statement {k + 1})" in problem.message]
        for left_out in named:
            fewer = [said[k] for k in named if k != left_out]
            assert any(all(holds(each, place) for each in fewer) for place in PLACES)


MANY = tuple(f"E-{number}" for number in range(12))


@settings(max_examples=100, deadline=None)
@given(st.data())
def test_statements_about_true_months_are_never_refused(small, data):
    """Statements that hold of random months; the bounds as close as they can be, or wider."""
    last = len(small.period) - 1
    true = {name: (data.draw(st.integers(0, last)), place) for place, name in enumerate(MANY)}
    said = [
        data.draw(true_statement(true, small.period)) for _ in range(data.draw(st.integers(1, 40)))
    ]
    group = group_from([relation(statement) for statement in said])
    assert group_problems(group, MANY, small) == []


@st.composite
def true_statement(draw, true, period):
    kind = draw(st.sampled_from(Relation.kinds))
    count = 2 if kind in {"older", "apart"} else draw(st.integers(2, 6))
    names = sorted(draw(st.permutations(MANY))[:count], key=true.__getitem__)
    months = [true[name][0] for name in names]
    more = draw(st.integers(0, 5))
    reach = months[-1] - months[0]
    match kind:
        case "older":
            most = draw(st.sampled_from([None, reach, reach + more]))
            least = max(reach - more, 0)
            return {kind: {"instruments": names, "at_least": least, "at_most": most}}
        case "apart":
            return {kind: {"instruments": draw(st.permutations(names)), "at_most": reach + more}}
        case "same_batch":
            return {kind: {"instruments": draw(st.permutations(names)), "within": reach + more}}
        case "photographed":
            year, month = divmod(period.first + months[-1] + more, 12)
            return {kind: {"instruments": names, "date": f"{year}-{month + 1:02}"}}
    step = max(b - a for a, b in itertools.pairwise(months))
    return {kind: {"instruments": names, "within": step + more}}


@settings(max_examples=100, deadline=None)
@given(st.data())
def test_a_ring_of_older_and_consecutive_is_always_refused(small, data):
    ring = data.draw(st.permutations(MANY))[: data.draw(st.integers(2, 12))]
    said = [
        data.draw(st.sampled_from([
            {"older": {"instruments": list(pair), "at_least": data.draw(st.integers(0, 3))}},
            {"consecutive": {"instruments": list(pair), "within": data.draw(st.integers(0, 90))}},
        ]))
        for pair in [*itertools.pairwise(ring), (ring[-1], ring[0])]
    ]  # fmt: skip
    said += data.draw(st.lists(statements(MANY, ("apart", "same_batch")), max_size=4))
    said = data.draw(st.permutations(said))
    group = group_from([relation(statement) for statement in said])
    assert group_problems(group, MANY, small)
    doubted = group_from([relation(statement, trust=0.9) for statement in said])
    assert group_problems(doubted, MANY, small) == []
    messages = [warning.message for warning in group_warnings(doubted, {}, small)]
    assert any(message.endswith("be so") for message in messages)
