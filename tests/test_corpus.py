"""A reference corpus is read from CSV; mistakes are located by file, line and column."""

import csv
import random
import re
import shutil
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from dating import InputError, estimate, read_corpus, read_examination, read_maker
from dating.cells import cells_of
from dating.cli.main import main
from dating.examination import Sight
from dating.reading import MOST_SHOWN
from dating.sheet_rows import MOST_COLUMNS, MOST_ROWS
from dating.sheets import LARGEST_SHEET
from tests.inventing import invented
from tests.mutating import WHOLE, spoiled_text
from tests.test_mutations import SMALL_MAKER

CORPUS = """\
# Invented.
# maker: small
instrument,built,known_by,trust,variant,joint,nut,binding,label,pencil,depth
E-1,1925-04,dated bill,0.9,plain,dowelled,bone (0.8),white | none,other: printed,1925-02-17,21.4 within 0.3
E-2,"[1926-01,1926-03..1926-05]",stock list,,,tapered,,not examined,,1926,22

E-3,[..1924],photograph,1,concert,,plastic,,,,
"""  # noqa: E501


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    folder = tmp_path_factory.mktemp("corpus")
    (folder / "small.yaml").write_text(SMALL_MAKER, "utf-8")
    return folder / "small.yaml"


@pytest.fixture
def read(small):
    """Write a corpus beside its maker file, and read it."""

    def read(text):
        file = small.parent / "corpus.csv"
        file.write_bytes(text if isinstance(text, bytes) else text.encode())
        return read_corpus(file)

    return read


@pytest.fixture
def problems(read):
    def problems(text):
        with pytest.raises(InputError) as refusal:
            read(text)
        return refusal.value.problems

    return problems


def changed(text, old, new):
    assert text.count(old) == 1
    return text.replace(old, new)


# What a row says


def test_a_row_is_an_examination_with_a_stated_date(read):
    corpus = read(CORPUS)
    first, second, third = corpus.references
    assert corpus.maker.maker == "Example Works"
    assert len(corpus.fingerprint) == 64
    assert [r.line for r in corpus.references] == [4, 5, 7]
    assert [r.trust for r in corpus.references] == [0.9, 1, 1]
    assert first.known_by == "dated bill"
    made = first.examination
    assert (made.instrument, made.maker, made.invented) == ("E-1", "small", True)
    assert made.variant == Sight(state="plain")
    assert made.seen == {
        "joint": Sight(state="dowelled"),
        "nut": Sight(state="bone", sure=0.8),
        "binding": Sight(one_of=("white", "none")),
        "label": Sight(other="printed"),
    }
    assert made.marks == {"pencil": "1925-02-17"}
    assert (made.measured["depth"].value, made.measured["depth"].within) == (21.4, 0.3)
    assert second.examination.variant is None
    assert set(second.examination.seen) == {"joint"}
    assert set(third.examination.seen) == {"nut"}


@pytest.mark.parametrize(
    ("built", "months"),
    [
        ("1925-04", [25]), ("1925-04-30", [25]), ("1925", range(22, 34)), ("1923", range(10)),
        ("192X", range(69)), ('"[1926-01,1926-03..1926-05]"', [34, 36, 37, 38]),
        ("[..1924-01]", range(11)), ("[1928-10..]", [67, 68]), ("[..1923-03]", [0]),
        ('"[1920-01,1925-04]"', [25]), ("[1928-11..]", [68]), ("[1910..1950]", range(69)),
    ],
)  # fmt: skip
def test_a_stated_date_allows_months_of_the_period(read, built, months):
    (reference,) = read(f"# maker: small\ninstrument,built\nE-1,{built}\n").references
    assert np.flatnonzero(reference.window).tolist() == list(months)
    assert set(reference.window) <= {0.0, 1.0}
    open_ended = ".]" in built or "[." in built
    assert reference.open_ended == open_ended
    assert reference.month == (months[0] if len(months) == 1 and not open_ended else None)
    with pytest.raises(ValueError, match="read-only"):
        reference.window[0] = 1.0


def test_the_name_of_a_state_comes_before_its_reading_as_a_doubt(small, tmp_path):
    file = tmp_path / "odd.yaml"
    file.write_text(small.read_text("utf-8").replace("[bone, plastic]", "[bone, bone (0.5)]")
                    .replace("plastic", "bone (0.5)"), "utf-8")  # fmt: skip
    (tmp_path / "c.csv").write_text("instrument,built,nut\nE-1,1925,bone (0.5)\nE-2,1925,bone\n")
    first, second = read_corpus(tmp_path / "c.csv", read_maker(file)).references
    assert first.examination.seen["nut"] == Sight(state="bone (0.5)")
    assert second.examination.seen["nut"] == Sight(state="bone")


def test_what_a_spreadsheet_does_to_a_file_is_taken(read):
    plain = read(CORPUS).references
    wide = CORPUS.replace("# maker: small", '"# maker: small",,,,,,,,,,')
    saved = read(b"\xef\xbb\xbf" + wide.replace("\n", "\r\n").encode() + b",,,,,,,,,,\r\n")
    for one, other in zip(saved.references, plain, strict=True):
        assert one.examination.model_dump() == other.examination.model_dump()
    assert [r.line for r in saved.references] == [4, 5, 7]


def test_a_cell_of_several_lines_keeps_the_lines_below_in_place(problems):
    text = changed(CORPUS, "dated bill", '"dated\nbill"')
    (problem,) = problems(changed(text, "E-3,[..1924]", "E-3,1924-13"))
    assert (problem.line, problem.key) == (8, "built")


def test_a_maker_that_is_passed_needs_no_comment(read, small):
    bare = "instrument,built,joint\nE-1,1925,tapered\n"
    file = small.parent / "bare.csv"
    file.write_text(bare)
    assert len(read_corpus(file, read_maker(small)).references) == 1
    with pytest.raises(InputError, match="add a first line such as # maker: marrowby"):
        read_corpus(file)


# Mistakes

MISTAKES = [
    # what is written, what instead, line, column, message, found, allowed, nearest
    ("joint,nut", "jont,nut", 3, "jont", "no feature, mark or measurement", "'jont'", "joint",
     "joint"),
    ("nut,binding", "joint,binding", 3, "joint", "two columns of this name", "", "", ""),
    ("nut,binding", ",binding", 3, "", "column 7 has no name", "", "", ""),
    ("instrument,built", "instrument,build", 3, "built", "this column is missing", "", "", ""),
    ("dowelled", "doweled", 4, "joint", "no such state", "'doweled'", "dowelled, screwed, tapered",
     "dowelled"),
    ("white | none", "white | non", 4, "binding", "no such state", "'non'", "none, white", "none"),
    ("white | none", "white | ", 4, "binding", "a name has 1 to 60", "''", "", ""),
    ("bone (0.8)", "bone (8)", 4, "nut", "a number of at most 1 is", "8", "", ""),
    ("bone (0.8)", "bone (sure)", 4, "nut", "no such state", "'bone (sure)'", "bone, plastic",
     "bone"),
    ("0.9,plain", "0.9,plane", 4, "variant", "no such state", "'plane'", "concert, plain", "plain"),
    ("1925-04,", "April 1925,", 4, "built", "write 1925-04", "'April 1925'", "[1931-04..1931-09]",
     ""),
    ("1925-04,", "1925-02-30,", 4, "built", "not an EDTF date", "'1925-02-30'", "a day", ""),
    ("1925-04,", "1931-04,", 4, "built", "outside the period 1923-03/1928-11", "'1931-04'", "", ""),
    ("1925-04,", "1925~,", 4, "built", "how far off", "'1925~'", "", ""),
    ("1925-04,", "1925/1926,", 4, "built", "write [1925..1926]", "'1925/1926'", "", ""),
    ("1925-04,", "1925/..,", 4, "built", "write [1925..]", "'1925/..'", "", ""),
    ("1925-04,", '"{1925,1926}",', 4, "built", "write [1925,1926]", "'{1925,1926}'", "", ""),
    ("1925-04,", "1925-21,", 4, "built", "a season has no fixed months", "'1925-21'", "", ""),
    ("1925-04,", "[..1925-21],", 4, "built", "a season has no fixed months", "", "", ""),
    ("0.9,plain", "1.1,plain", 4, "trust", "probability that the stated date is right", "'1.1'",
     "a number from 0 to 1", ""),
    ("0.9,plain", "-0.1,plain", 4, "trust", "probability", "'-0.1'", "", ""),
    ("0.9,plain", "nan,plain", 4, "trust", "probability", "'nan'", "", ""),
    ("0.9,plain", "high,plain", 4, "trust", "probability", "'high'", "a number from 0 to 1", ""),
    ("21.4 within 0.3", "thick", 4, "depth", "a number is expected here", "'thick'",
     "21.4 within 0.3", ""),
    ("21.4 within 0.3", '"21,400"', 4, "depth", "this may be 21.400 or 21400", "'21,400'", "", ""),
    ("21.4 within 0.3", "21.4 within a bit", 4, "depth", "a number is expected here", "", "", ""),
    ("21.4 within 0.3", "21.4 within -1", 4, "depth", "a number of at least 0 is", "-1", "", ""),
    ("21.4 within 0.3", "1e999", 4, "depth", "finite", "inf", "", ""),
    ("1925-02-17", "1925-02-31", 4, "pencil", "not an EDTF date", "'1925-02-31'", "", ""),
    ("1925-02-17", "[1925..]", 4, "pencil", "both ends", "'[1925..]'", "", ""),
    ("1926,22", "1926", 5, "", "11 columns, and this row has 10 cells", "", "", ""),
    ("1926,22", "1926,22,", 5, "", "11 columns, and this row has 12 cells", "", "", ""),
    ("E-3", "E-1", 7, "instrument", "given twice, first in line 4", "'E-1'", "", ""),
    ("E-3", " ", 7, "instrument", "needs a name or number", "", "", ""),
    ("stock list", '"stock" list', 5, "", "not valid CSV", "", "", ""),
    ("stock list", '"stock list', 5, "", "not valid CSV", "", "", ""),
    ("# maker: small", "# maker: smal", 2, "maker", "no maker file smal.yaml", "'smal'", "", ""),
    ("# maker: small", "# maker: ../small", 2, "maker", "a plain name", "'../small'", "", ""),
    ("# maker: small", "# maker: " + "x" * 300, 2, "maker", "a plain name", "", "", ""),
]  # fmt: skip


@pytest.mark.parametrize("mistake", MISTAKES, ids=lambda mistake: mistake[1][:30])
def test_mistakes_are_located(problems, small, mistake):
    old, new, line, column, message, found, allowed, nearest = mistake
    made = problems(changed(CORPUS, old, new))
    match = [p for p in made if message in p.message]
    assert match, made
    problem = match[0]
    assert problem.file == str(small.parent / "corpus.csv")
    assert (problem.line, problem.key) == (line, column)
    assert found in problem.found
    assert allowed in problem.allowed
    assert problem.nearest == nearest


def test_a_maker_without_variants_has_no_column_for_them(tmp_path):
    maker = tmp_path / "m.yaml"
    maker.write_text(
        "maker: A\nproduct: lyres\nperiod: 1930\ncomponents: {neck: {features: "
        "{nut: {ask: Which?, states: [bone], history: [{state: bone}]}}}}\n"
    )
    file = tmp_path / "c.csv"
    file.write_text("# maker: m\ninstrument,built,variant\nE-1,1930,plain\n")
    with pytest.raises(InputError, match="variant: A has no feature, mark or measurement"):
        read_corpus(file)


@pytest.mark.parametrize(
    ("content", "line", "message"),
    [
        (b"", 1, "the file is empty"),
        (b"# maker: small\n", 1, "no line with the names of the columns"),
        (b"# maker: small\ninstrument,built\n\n", 2, "no instruments below"),
        (b"# maker: small\ninstrument,built\nE-1,\x81\n", 3, "not text in UTF-8"),
        (b"\xff\xfe# maker", None, "not UTF-16 text"),
        (b"#" * (LARGEST_SHEET + 1), None, f"larger than {LARGEST_SHEET:,} bytes"),
        (b"a\n" * (MOST_ROWS + 2), MOST_ROWS + 2, f"at most {MOST_ROWS:,} rows"),
        (b"a," * MOST_COLUMNS, 1, f"{MOST_COLUMNS:,} columns"),
        (b'a\n"' + b"x" * 200_000 + b'"\n', 2, "field larger than field limit"),
    ],
)
def test_files_that_are_no_corpus(problems, content, line, message):
    problem = problems(content)[0]
    assert message in problem.message
    assert problem.line == line


def test_a_corpus_that_is_not_there(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        read_corpus(tmp_path / "none.csv")


def test_every_mistake_is_reported_at_once_and_a_few_are_shown(read, problems):
    text = changed(changed(CORPUS, "dowelled", "doweled"), "E-2,", ",")
    assert [(p.line, p.key) for p in problems(text)] == [(4, "joint"), (5, "instrument")]
    rows = "".join(f"E-{n},1950\n" for n in range(MOST_SHOWN + 17))
    with pytest.raises(InputError) as refusal:
        read(f"# maker: small\ninstrument,built\n{rows}")
    assert len(refusal.value.problems) == MOST_SHOWN + 17
    assert str(refusal.value).count("outside the period") == MOST_SHOWN
    assert str(refusal.value).endswith("\nand 17 more")


def test_a_maker_file_may_not_take_the_names_of_columns(tmp_path):
    file = tmp_path / "m.yaml"
    file.write_text(SMALL_MAKER.replace("pencil:", "built:"), "utf-8")
    with pytest.raises(InputError, match="this name is kept for another use"):
        read_maker(file)


# There and back


def plain(sights):
    """Leave out what was not examined; one of a single state is that state."""
    return {
        name: Sight(state=sight.one_of[0])
        if sight.one_of and len(sight.one_of) == 1
        else sight.model_copy(update={"note": ""})
        for name, sight in sights.items()
        if sight is not None
    }


@given(seed=st.integers(0, 10_000))
def test_a_written_row_reads_back_as_the_examination(tmp_path_factory, seed):
    maker, examination = invented(seed)
    file = tmp_path_factory.getbasetemp() / "written.csv"
    position = seed % len(maker.period)
    cells = cells_of(examination) | {"built": maker.period.labels()[position]}
    with open(file, "w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, list(cells))
        writer.writeheader()
        writer.writerow(cells)
    (reference,) = read_corpus(file, maker).references
    made = reference.examination
    assert reference.month == position
    assert made.instrument == examination.instrument
    assert plain({"variant": made.variant}) == plain({"variant": examination.variant})
    assert made.seen == plain(examination.seen)
    assert made.marks == {k: v for k, v in examination.marks.items() if v is not None}
    assert made.measured == {k: v for k, v in examination.measured.items() if v is not None}


def test_a_row_is_dated_like_the_examination_it_came_from(tmp_path):
    maker = read_maker("priors/marrowby.yaml")
    examination = read_examination("demo_data/examinations/M-001.yaml")
    cells = cells_of(examination) | {"built": "1930"}
    with open(tmp_path / "c.csv", "w", encoding="utf-8", newline="") as stream:
        csv.writer(stream).writerows([list(cells), list(cells.values())])
    (reference,) = read_corpus(tmp_path / "c.csv", maker).references
    dated = estimate(maker, reference.examination).probabilities
    np.testing.assert_array_equal(dated, estimate(maker, examination).probabilities)


# Spoiled files


def used_or_refused(content, folder):
    """Whether a corpus is read; if not, every problem is located in it."""
    file = folder / "spoiled.csv"
    file.write_bytes(content)
    try:
        corpus = read_corpus(file)
    except InputError as refusal:
        problems = refusal.problems
    else:
        assert_sound(corpus)
        return True
    lines = 1 + content.count(b"\n") + content.count(b"\r")
    assert problems
    for problem in problems:
        assert problem.file == str(file)
        assert problem.message
        assert problem.line is None or 1 <= problem.line <= lines
    return False


def assert_sound(corpus):
    assert corpus.references
    for reference in corpus.references:
        assert reference.window.any()
        assert 0 <= reference.trust <= 1
        assert reference.examination.instrument


@pytest.mark.parametrize("block", range(10))
def test_spoiled_corpora_are_read_or_refused(block, small):
    rng = random.Random(f"corpus {block}")
    outcomes = set()
    for _ in range(30):
        content = spoiled_text(CORPUS.encode(), rng)
        if rng.random() < 0.3:
            content = spoiled_text(content, rng) if content else content
        outcomes.add(used_or_refused(content, small.parent))
    assert outcomes == {True, False}


def test_a_demo_corpus_that_is_spoiled(small):
    rng = random.Random("demo corpus")
    content = Path("demo_data/marrowby_corpus.csv").read_bytes()[:6_000].rpartition(b"\n")[0]
    shutil.copy("priors/marrowby.yaml", small.parent)
    outcomes = [used_or_refused(spoiled_text(content, rng), small.parent) for _ in range(60)]
    assert {True, False} == set(outcomes)


@pytest.mark.parametrize("content", WHOLE.values(), ids=WHOLE.keys())
def test_files_that_are_nothing_of_the_kind_are_refused(content, small):
    assert not used_or_refused(content, small.parent)


# The documents

GUIDE = "dating/guide/files.md"


def test_the_corpus_in_the_guide_is_understood(tmp_path):
    (block,) = re.findall(r"```csv\n(.*?)```", Path(GUIDE).read_text("utf-8"), re.DOTALL)
    (tmp_path / "c.csv").write_text(block, "utf-8")
    corpus = read_corpus(tmp_path / "c.csv")
    assert [len(r.examination.seen) for r in corpus.references] == [4, 2, 2]
    assert corpus.references[1].trust == 0.9


def test_every_column_is_documented(problems):
    documented = set(re.findall(r"`([a-z_]+)`", Path(GUIDE).read_text("utf-8")))
    (problem,) = problems(changed(CORPUS, "built,known_by", "built,known_bi"))
    columns = set(problem.allowed.split(", ")) - {"joint", "nut", "binding", "label"}
    assert columns - {"pencil", "depth"} - {"neck", "body"} <= documented


# On the command line


def test_check_says_what_was_understood(small):
    file = small.parent / "shown.csv"
    file.write_text(CORPUS)
    shown = CliRunner().invoke(main, ["check", str(file)])
    assert shown.exit_code == 0
    text = " ".join(shown.output.split())
    assert f"Reference corpus {file}: no mistakes found" in text
    assert "3 instruments" in text
    assert "dated to the month: 1; to several months: 1; with an open end: 1" in text
    assert "with a trust below 1: 1" in text
    assert "features recorded: joint 2, nut 2, binding 1, label 1" in text
    assert "marks recorded: pencil 2" in text
    assert "never examined: no feature" in text


def test_check_names_the_features_never_examined_and_what_is_wrong(small):
    file = small.parent / "shown.csv"
    file.write_text("# maker: small\ninstrument,built,nut\nE-1,1925,bone\n")
    assert "never examined: joint, binding, label" in CliRunner().invoke(
        main, ["check", str(file)]
    ).output.replace("\n", " ")
    file.write_text("# maker: small\ninstrument,built,nut\nE-1,1925,bon\n")
    shown = CliRunner().invoke(main, ["check", str(file)])
    assert shown.exit_code == 1
    assert f"{file}, line 3: nut: no such state" in shown.output
    assert "nearest:  bone" in shown.output
