"""A maker file drafted from a table: it reads back, the table reads against it, or is refused."""

import csv
import random

import pytest
from click.testing import CliRunner
from hypothesis import example, given, settings
from hypothesis import strategies as st

from dating import InputError, read_corpus, read_maker
from dating.cli.main import main
from dating.learning.drafting import MOST_STATES, states_in
from dating.learning.drafting import draft as text_of
from dating.months import Period
from dating.statements import LONGEST_NAME
from tests.mutating import WHOLE, spoiled_text

TABLE = """\
# Invented.
instrument,built,known_by,trust,variant,wood,screw count,clasp
A-1,1931-04,bill,1,home,oak,4,hook
A-2,1932,photograph,0.9,stage,ash | elm,,stud (0.8)
A-3,[1934-02..1935-01],,,home | stage,elm,6,not examined
A-4,[..1930-11],,,home,other: green,4,hook
A-5,1933-12-24,,,,oak (0.7),1e5,
"""


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


@pytest.fixture
def draft(tmp_path):
    """Draft from text, write, and read the draft and the table against it."""

    def draft(text, name="Example Works"):
        table, file = tmp_path / "table.csv", tmp_path / "drafted.yaml"
        table.write_bytes(text if isinstance(text, bytes) else text.encode())
        file.write_text(text_of(table, name), encoding="utf-8")
        maker = read_maker(file)
        return maker, read_corpus(table, maker)

    return draft


@pytest.fixture
def problems(tmp_path):
    def problems(text, name="Example Works"):
        table = tmp_path / "table.csv"
        table.write_bytes(text if isinstance(text, bytes) else text.encode())
        with pytest.raises(InputError) as refusal:
            text_of(table, name)
        found = refusal.value.problems
        assert {problem.file for problem in found} == {str(table)}
        return [(problem.line, problem.key, problem.message) for problem in found]

    return problems


# What is drafted -----------------------------------------------------------------------------


def test_every_column_is_a_feature_and_every_value_a_state(draft):
    maker, corpus = draft(TABLE)
    features = {name: list(feature.states) for name, (_, feature) in maker.features().items()}
    assert features == {
        "wood": ["oak", "ash", "elm"],
        "screw count": ["4", "6", "1e5"],
        "clasp": ["hook", "stud"],
    }
    assert all(feature.free_form for _, feature in maker.features().values())
    assert maker.maker == "Example Works"
    assert len(corpus.references) == 5
    assert corpus.references[4].examination.seen["screw count"].state == "1e5"


def test_the_period_holds_every_stated_date(draft):
    """From the end of the date that is open before to the last date of all, and as long again."""
    maker, _ = draft(TABLE)
    assert [str(maker.output[place].during) for place in (0, -1)] == [
        "1926-08/1930-10",
        "1935-02/1939-04",
    ]
    assert maker.period == Period.parse("1926-08/1939-04")


def test_the_output_is_how_the_instruments_are_spread(draft):
    rows = [f"A-{n},{1930 + n % 10},oak" for n in range(95)]
    rows += [f"B-{n},1937,oak" for n in range(60)]
    maker, _ = draft("instrument,built,wood\n" + "\n".join(rows))
    made = {str(o.during): o.made.distribution().mean() for o in maker.output}
    assert len(made) == 12
    assert sum(made.values()) == pytest.approx(155 + 2, abs=0.1)
    assert max(made, key=made.get) == "1937-01/1937-12"
    assert made["1930-01/1930-12"] == pytest.approx(10, rel=0.15)
    assert 35 < made["1937-01/1937-12"] < 69


def test_one_of_several_dates_is_spread_from_the_first_to_the_last_in_any_order(draft):
    maker, _ = draft('instrument,built,wood\nA,"[1935,1931]",oak\n')
    assert maker.period == Period.parse("1926/1940")
    made = [output.made.distribution().mean() for output in maker.output[1:-1]]
    assert sum(made) == pytest.approx(1, abs=0.1)
    assert max(made) < 2 * min(made)


def test_a_column_of_variants_becomes_variants_in_the_shares_that_were_counted(draft):
    maker, corpus = draft(TABLE)
    (shares,) = maker.variants.shares_at.values()
    assert shares == pytest.approx({"home": 2.5 / 4, "stage": 1.5 / 4})
    assert corpus.references[2].examination.variant.one_of == ("home", "stage")


@pytest.mark.parametrize(
    ("cell", "states"),
    [
        ("", []),
        ("not examined", []),
        ("other: green | blue", []),
        ("plain", ["plain"]),
        ("plain (0.8)", ["plain"]),
        ("plain (747)", ["plain (747)"]),
        ("plain (new)", ["plain (new)"]),
        ("plain | lined | plain", ["plain", "lined"]),
        ("plain|", ["plain", ""]),
    ],
)
def test_states_in_a_cell(cell, states):
    assert states_in(cell) == states


@pytest.mark.parametrize(
    "state",
    ["1e5", "1.5e3", ".5", "5.", "007", "-3", "no", "Yes", "null", "~", "true", "1931-04", "0x1F",
     "1_000", "12:30", "- x", "a: b", "#1", "x #1", "'", '"', "{a}", "[", "&a", "*a", "!x", "%",
     "?", "|x", ">", "@", "`", "\\n", "=", "<<", "é 漢 😀", "x" * LONGEST_NAME, "instrument"],
)  # fmt: skip
def test_a_state_of_any_spelling_reads_back(tmp_path, draft, state):
    """Numbers, words and signs that YAML would take for something else."""
    if "|" in state:
        state = state.replace("|", "/")
    table = tmp_path / "made.csv"
    with open(table, "w", encoding="utf-8", newline="") as stream:
        csv.writer(stream).writerows([["instrument", "built", "wood"], ["A", "1931", state]])
    maker, corpus = draft(table.read_text("utf-8"))
    assert list(maker.features()["wood"][1].states) == [state]
    assert corpus.references[0].examination.seen["wood"].state == state


# What is refused -----------------------------------------------------------------------------

HEAD = "instrument,built,wood"
BAD = {
    "no date column": ("instrument,wood\nA,oak\n", (1, "built", "this column is missing")),
    "no name column": ("built,wood\n1931,oak\n", (1, "instrument", "this column is missing")),
    "no feature": ("instrument,built\nA,1931\n", (1, "", "no column for a feature")),
    "only a variant": (
        "instrument,built,variant\nA,1931,home\n",
        (1, "", "no column for a feature"),
    ),
    "a nameless column": (f"{HEAD},\nA,1931,oak,x\n", (1, "", "column 4 has no name")),
    "a column twice": (
        f"{HEAD},wood\nA,1931,oak,ash\n",
        (1, "wood", "two columns of this name"),
    ),
    "a blank column": (f"{HEAD},screw\nA,1931,oak,\n", (1, "screw", "no state in this column")),
    "a column with nothing known": (
        f"{HEAD},screw\nA,1931,oak,other: x\nB,1931,oak,not examined\n",
        (1, "screw", "no state in this column"),
    ),
    "a kept name": (
        f"{HEAD},document 1\nA,1931,oak,x\n",
        (1, "document 1", "kept for another use"),
    ),
    "a long name of a column": (f"{HEAD},{'x' * 61}\nA,1931,oak,x\n", (1, "x" * 61, "1 to 60")),
    "colons": ("instrument:built:wood\nA:1931:oak\n", (1, "instrument", "this column is missing")),
    "a ragged row": (f"{HEAD}\nA,1931,oak\nB,1931\n", (3, "", "3 columns, and this row has 2")),
    "a long state": (f"{HEAD}\nA,1931,{'x' * 61}\n", (2, "wood", "1 to 60")),
    "a state that cannot be printed": (f"{HEAD}\nA,1931,x\x07y\n", (2, "wood", "1 to 60")),
    "half of several": (f"{HEAD}\nA,1931,oak |\n", (2, "wood", "1 to 60")),
    "no date": (f"{HEAD}\nA,,oak\n", (None, "built", "no row states a date with two ends")),
    "no date that is read": (f"{HEAD}\nA,c1931,oak\n", (2, "built", "how far off")),
    "some date that is not read": (
        f"{HEAD}\nA,1931,oak\nB,c1931,oak\nC,,oak\n",
        (3, "built", "how far off"),
    ),
    "no date with two ends": (f"{HEAD}\nA,[..1931],oak\n", (None, "built", "two ends")),
    "an interval": (f"{HEAD}\nA,1931,oak\nB,1931/1932,oak\n", (3, "built", "an interval lasts")),
    "about": (f"{HEAD}\nA,1931,oak\nB,1931~,oak\n", (3, "built", "does not say how far off")),
    "centuries": (f"{HEAD}\nA,1931,oak\nB,1031,oak\n", (None, "built", "at most 200 years")),
    "a trust of two": (f"{HEAD},trust\nA,1931,oak,2\n", (2, "trust", "trust is the probability")),
    "an instrument twice": (f"{HEAD}\nA,1931,oak\nA,1932,oak\n", (3, "instrument", "given twice")),
    "no instruments": (f"{HEAD}\n", (1, "", "no instruments")),
}


@pytest.mark.parametrize(("text", "wanted"), BAD.values(), ids=BAD)
def test_a_bad_table_is_refused_with_its_place(problems, text, wanted):
    line, key, words = wanted
    found = problems(text)
    assert (line, key) == found[0][:2]
    assert words in found[0][2]


@pytest.mark.parametrize("name", ["", "  ", "x" * 61, "a\nb"])
def test_a_name_that_is_none_is_refused(problems, name):
    assert problems(TABLE, name)[0][1] == "name"


def test_all_bad_rows_are_named_at_once(problems):
    found = problems(f"{HEAD},screw\nA,1931,oak\nB,1931,oak,{'x' * 61}\nC,1931,| oak,flat\n")
    assert [(line, key) for line, key, _ in found] == [(2, ""), (3, "screw"), (4, "wood")]


def test_a_value_of_its_own_for_every_instrument_is_no_state(problems, draft):
    rows = [f"A-{n},1931,oak,{n}" for n in range(MOST_STATES)]
    ((line, key, message),) = problems(f"{HEAD},serial\n" + "\n".join(rows))
    assert (line, key) == (1, "serial")
    assert "cut its values into classes" in message
    draft(f"{HEAD},serial\n" + "\n".join(rows[1:]))


@pytest.mark.parametrize("content", WHOLE.values(), ids=WHOLE)
def test_what_is_no_table_is_refused(problems, content):
    assert problems(content)


# Whatever the table --------------------------------------------------------------------------

DATES = [
    "1931", "1931-04", "1931-04-30", "193X", "[1931,1933]", "[1934-02..1934-09]", "[..1929]",
    "[1941..]", "1936-05", "1931~", "", "1931/1932", "0031", "1931-13", "2001-21", "x",
]  # fmt: skip
LETTERS = st.text(st.sampled_from("ab1e5.-+:#&*{}[]'\"~!%@?,>é"), min_size=1, max_size=6)
WELL = st.one_of(st.sampled_from(["oak", "ash", "oak | ash", "oak (0.7)", "ash (7)"]), LETTERS)
ANY = st.one_of(
    st.sampled_from(["", "other: x", "not examined", "1e5 | ", " \x07", "variant", "trust"]),
    st.text(max_size=8),
)


@st.composite
def tables(draw):
    """Tables that are well for the most part."""
    kind = st.sampled_from([WELL] * 30 + [ANY])
    names = draw(st.lists(LETTERS | st.just("variant"), min_size=1, max_size=4, unique=True))
    columns = [draw(ANY) if draw(kind) is ANY else name for name in names]
    dates = st.sampled_from(DATES[:9] * 30 + DATES)
    rows = [
        [f"A-{n}", draw(dates), *(draw(draw(kind)) for _ in columns)]
        for n in range(draw(st.integers(1, 5)))
    ]
    return [["instrument", "built", *columns], *rows]


@settings(max_examples=200)
@given(tables())
@example([["instrument", "built", "1e5"], ["A", "1931", "1e5 | oak"]])
@example([["instrument", "built", "null"], ["A", "[1931-05,1931-02]", "1e5 (1)"]])
def test_a_draft_reads_back_and_its_table_reads_against_it(tmp_path_factory, rows):
    folder = tmp_path_factory.mktemp("any")
    with open(folder / "table.csv", "w", encoding="utf-8", errors="replace", newline="") as stream:
        csv.writer(stream).writerows(rows)
    try:
        text = text_of(folder / "table.csv", "Example Works")
    except InputError as refusal:
        text, found = None, {problem.file for problem in refusal.problems}
    if text is None:
        assert found == {str(folder / "table.csv")}
        return
    (folder / "drafted.yaml").write_text(text, encoding="utf-8")
    maker = read_maker(folder / "drafted.yaml")
    corpus = read_corpus(folder / "table.csv", maker)
    assert all(reference.window.any() for reference in corpus.references)
    named = {n: set(f.states) for n, (_, f) in maker.features().items()}
    seen = {name: set() for name in named}
    for reference in corpus.references:
        for name, sight in reference.examination.seen.items():
            seen[name] |= set(sight.named())
    assert seen == named


@pytest.mark.parametrize("seed", range(60))
def test_a_spoiled_table_is_drafted_from_or_refused(tmp_path, draft, seed):
    rng = random.Random(seed)
    content = TABLE.encode()
    for _ in range(rng.choice([1, 1, 2, 4])):
        content = spoiled_text(content, rng) or b"x"
    found = {str(tmp_path / "table.csv")}
    try:
        draft(content)
    except InputError as refusal:
        found = {problem.file for problem in refusal.problems}
    assert found == {str(tmp_path / "table.csv")}


# The command ---------------------------------------------------------------------------------


@pytest.fixture
def table(tmp_path):
    """A table of sixty instruments in two lines."""
    rng = random.Random(1)
    lines = ["instrument,built,wood,screw"]
    for number in range(60):
        year, first = rng.randrange(20), rng.random() < 0.5
        wood = "oak" if (rng.random() < 0.9) == first else "ash"
        screw = "round" if rng.random() < year / 20 else "flat"
        lines.append(f"A-{number},{1930 + year},{wood},{screw}")
    (tmp_path / "table.csv").write_text("\n".join(lines), encoding="utf-8")
    return tmp_path / "table.csv"


@pytest.mark.filterwarnings("ignore::FutureWarning", "ignore::UserWarning")
def test_from_a_table_to_a_date(table, tmp_path):
    """Draft, check, learn and estimate, each with the command."""
    file, learned = tmp_path / "drafted.yaml", tmp_path / "learned.nc"
    made = run("draft", table, "--out", file, "--name", "Example Works")
    assert made.exit_code == 0, made.output
    assert "60 dated instruments" in made.output
    assert "2 free-form features" in " ".join(made.output.split())
    assert f"dating learn {file} {table}" in made.output
    checked = run("check", file)
    assert checked.exit_code == 0, checked.output
    assert "to be learned from a corpus" in checked.output
    done = run("learn", file, table, "--out", learned)
    assert done.exit_code == 0, done.output
    (tmp_path / "x.yaml").write_text(
        "instrument: X\nmaker: drafted\nseen: {screw: flat}\n", "utf-8"
    )
    early = run("estimate", tmp_path / "x.yaml", "--learned", learned)
    assert early.exit_code == 0, early.output
    assert "no latent variants behind the 2 free-form" in " ".join(early.output.split())


def test_features_that_are_cut_too_fine_are_named(tmp_path):
    made = run(
        "draft", "demo_data/marrowby_corpus.csv", "--out", tmp_path / "m.yaml", "--name", "M"
    )
    assert made.exit_code == 0, made.output
    (line,) = [text for text in made.output.splitlines() if "four instruments" in text]
    assert "rim-depth" in line
    assert "binding" not in line


REFUSED = {
    "no such table": ("none.csv", "drafted.yaml", "there is no such file"),
    "a bad table": ("bad.csv", "drafted.yaml", "line 1: built: this column is missing"),
    "no YAML": ("table.csv", "drafted.csv", "a maker file is YAML"),
    "no such folder": ("table.csv", "none/drafted.yaml", "the folder does not exist"),
}


@pytest.mark.parametrize(("corpus", "out", "words"), REFUSED.values(), ids=REFUSED)
def test_refused_without_a_trace(table, tmp_path, corpus, out, words):
    (tmp_path / "bad.csv").write_text("instrument,wood\nA,oak\n", "utf-8")
    (tmp_path / "kept.yaml").write_text("kept\n", "utf-8")
    before = {path: path.read_bytes() for path in tmp_path.iterdir()}
    refused = run("draft", tmp_path / corpus, "--out", tmp_path / out, "--name", "Example Works")
    assert refused.exit_code == (1 if out == "drafted.yaml" else 2)
    assert words in refused.output
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == before


def test_a_maker_file_that_is_there_is_replaced_only_when_told_so(table, tmp_path):
    kept = tmp_path / "kept.yaml"
    kept.write_text("kept\n", "utf-8")
    order = ("draft", table, "--out", kept, "--name", "Example Works")
    refused = run(*order)
    assert refused.exit_code == 2
    assert "kept.yaml: a file of this name already exists" in refused.output
    assert kept.read_text("utf-8") == "kept\n"
    assert run(*order, "--replace").exit_code == 0
    assert kept.read_text("utf-8") != "kept\n"


def test_a_maker_needs_a_name(table, tmp_path):
    refused = run("draft", table, "--out", tmp_path / "drafted.yaml")
    assert refused.exit_code == 2
    assert "--name" in refused.output
