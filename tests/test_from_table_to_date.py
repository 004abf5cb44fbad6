"""From a table as people keep it to a date: all faults at once, a margin, and what is left out."""

import csv
import json
from collections import Counter
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

import dating
from dating.batch import estimate_many
from dating.cli.main import main
from dating.files import read_maker
from dating.learning.corpus import read_corpus
from dating.learning.drafting import draft
from dating.learning.spread import margin_of, wider
from dating.months import Period
from dating.notes.languages import language
from dating.notes.lots import read_lots
from dating.notes.note import note_of
from dating.notes.sale import entry_of
from dating.notes.sentences import Wording
from dating.words.soundness import DRAFT

MESSY = """\
instrument,built,wood,screw,serial,,wood,stamp
A-1,1931,Oak,flat,1,,oak,
A-2,c. 1932,oak,?,2,,oak,
A-3,1933,ash,round
A-1,1934,elm,flat,4,,oak,
A-5,1935/1936,oak,flat,5,,oak,
A-6,1936,oak,xSIXTYONE,6,,oak,
""".replace("SIXTYONE", "x" * 60)


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def sheet(path, rows):
    with open(path, "w", encoding="utf-8", newline="") as stream:
        csv.writer(stream).writerows(rows)
    return path


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    """A drafted maker file of sixty instruments, some of them without a date that can be read."""
    folder = tmp_path_factory.mktemp("kept")
    rng = np.random.default_rng(4)
    rows = [["instrument", "built", "wood", "screw"]]
    for number in range(60):
        year = int(rng.integers(1930, 1950))
        built = {7: "", 21: "c. 1940", 40: "before the war"}.get(number, str(year))
        screw = "round" if rng.random() < (year - 1930) / 20 else "flat"
        rows.append([f"A-{number}", built, rng.choice(["oak", "ash"]), screw])
    table = sheet(folder / "table.csv", rows)
    draft = run(
        "draft", table, "--out", folder / "draft.yaml", "--name", "Example", "--leave-out-undated"
    )
    maker = read_maker(folder / "draft.yaml")
    return SimpleNamespace(folder=folder, table=table, rows=rows, maker=maker, draft=draft)


# Everything at once --------------------------------------------------------------------------


def test_everything_that_needs_attention_is_named_at_once(tmp_path):
    (tmp_path / "table.csv").write_text(MESSY, "utf-8")
    with pytest.raises(dating.InputError) as refusal:
        draft(tmp_path / "table.csv", "Example Works")
    problems = refusal.value.problems
    places = [(problem.line, problem.key) for problem in problems]
    wanted = {
        (1, ""): "column 6 has no name",
        (1, "wood"): "two columns of this name",
        (1, "stamp"): "no state in this column",
        (3, "built"): "does not say how far off",
        (4, ""): "8 columns, and this row has 4",
        (5, "instrument"): "given twice",
        (6, "built"): "an interval lasts",
        (7, "screw"): "1 to 60 printable characters",
    }
    assert set(places) == set(wanted)
    assert len(places) == len(set(places))
    told = dict(zip(places, problems, strict=True))
    assert all(words in told[place].message for place, words in wanted.items())


def test_states_that_are_spelt_in_two_ways_or_are_no_states_are_named(tmp_path):
    rows = [["instrument", "built", "wood", "screw"]]
    woods, screws = ["Oak", "oak", "o-ak", "ash"], ["flat", "?", "unknown", "n/a"]
    rows += [[f"A-{n}", str(1930 + n), woods[n % 4], screws[n % 4]] for n in range(40)]
    table = sheet(tmp_path / "table.csv", rows)
    done = run("draft", table, "--out", tmp_path / "draft.yaml", "--name", "Example Works")
    said = " ".join(done.output.split())
    assert "treated as different states: wood Oak and oak and o-ak." in said
    assert "Treated as states, probably by mistake: screw ?, screw unknown, screw n/a." in said


# Rows without a date -------------------------------------------------------------------------


def test_undated_rows_are_left_out_when_told_to(kept):
    assert kept.draft.exit_code == 0, kept.draft.output
    said = " ".join(kept.draft.output.split())
    assert "drafted from 57 dated instruments" in said
    assert "3 rows are left out for want of a readable date: line 9, 23, 42." in said
    assert said.endswith("--out LEARNED.nc --leave-out-undated")
    corpus = read_corpus(kept.table, kept.maker, leave_out_undated=True)
    assert corpus.left_out == (9, 23, 42)
    assert len(corpus.references) == 57
    with pytest.raises(dating.InputError) as refusal:
        read_corpus(kept.table, kept.maker)
    assert [problem.line for problem in refusal.value.problems] == [23, 42]


def test_a_table_of_nothing_dated_is_refused_all_the_same(tmp_path):
    table = sheet(
        tmp_path / "table.csv", [["instrument", "built", "wood"], ["A", "c. 1930", "oak"]]
    )
    with pytest.raises(dating.InputError, match="no row states a date with two ends"):
        draft(table, "Example Works", leave_out_undated=True)


# The margin ----------------------------------------------------------------------------------


@pytest.mark.parametrize("count", [12, 40, 200])
def test_the_margin_is_missed_in_one_case_of_twenty(count):
    """The distribution of the largest of n even ones: David and Nagaraja (2003), *Order
    Statistics*, section 2.1, P(largest <= x) = x^n; the margin is rounded up to a month."""
    period = Period.parse("1900/1969")
    margin = margin_of([(period.first, period.last)] * count, period)
    if 12 < margin < 120:
        whole = len(period) + margin
        assert (len(period) / whole) ** count <= 0.05 < (len(period) / (whole - 1)) ** count
    else:
        assert margin == (120 if count == 12 else 12)


def test_a_period_never_leaves_what_a_period_may_be():
    assert str(wider(Period.parse("0001/0003"), 120)) == "0001-01/0013-12"
    assert len(wider(Period.parse("1700/1895"), 120)) == 2400
    assert len(wider(Period.parse("1700/1899"), 120)) == 2400


def test_a_later_instrument_has_a_chance(kept):
    maker = kept.maker
    output, last = dating.month_tables(maker).output, maker.output[-1].during
    assert output[maker.period.inside(last)].sum() == pytest.approx(1 / (57 + 2), rel=0.02)
    assert str(last).startswith("1950-01/")
    assert (
        "begins 13 months before the dates in the table and ends 13 months after them"
        in " ".join(kept.draft.output.split())
    )


# States that are not listed ------------------------------------------------------------------

LATER = [
    ["instrument", "built", "wood", "screw"],
    ["B-1", "1950", "elm", "round"],
    ["B-2", "1931", "oak | elm", "flat"],
    ["B-3", "1932", "elm (0.8)", "flat"],
    ["B-4", "1933", "elm", "flat"],
    ["B-5", "1934", "ash", "other: brass"],
]
COUNTED = {"wood": Counter({"elm": 2, "oak | elm": 1, "elm (0.8)": 1})}


def test_states_that_are_not_listed_are_refused_unless_allowed(kept, tmp_path):
    table = sheet(tmp_path / "later.csv", LATER)
    with pytest.raises(dating.InputError) as refusal:
        read_corpus(table, kept.maker)
    assert [(p.line, p.key) for p in refusal.value.problems] == [(n, "wood") for n in (2, 3, 4, 5)]
    corpus = read_corpus(table, kept.maker, allow_unlisted=True)
    assert corpus.unlisted == COUNTED
    seen = [reference.examination.seen.get("wood") for reference in corpus.references]
    assert [sight.other for sight in seen] == ["elm", "oak | elm", "elm (0.8)", "elm", None]


def test_a_table_with_such_states_is_dated_as_if_they_were_blank(kept, tmp_path):
    later = pd.DataFrame(LATER[1:], columns=LATER[0]).drop(columns="built")
    blank = later.copy()
    blank.loc[:3, "wood"] = None
    dated = estimate_many(kept.maker, later, allow_unlisted=True)
    assert dated.attrs["unlisted"] == {"wood": dict(COUNTED["wood"])}
    expected = estimate_many(kept.maker, blank)
    pd.testing.assert_frame_equal(dated, expected, check_flags=False)
    later.to_csv(tmp_path / "later.csv", index=False)
    assert estimate_many(kept.maker, tmp_path / "later.csv", allow_unlisted=True).equals(expected)
    with pytest.raises(dating.InputError):
        estimate_many(kept.maker, later)


def test_the_command_counts_them(kept, tmp_path):
    rows = [["instrument", "wood", "screw"], *([a, c, d] for a, _, c, d in LATER[1:])]
    table = sheet(tmp_path / "later.csv", rows)
    order = ("sale", table, "--maker", kept.folder / "draft.yaml", "--table", tmp_path / "out.csv")
    assert run(*order).exit_code == 1
    assert not (tmp_path / "out.csv").exists()
    done = run(*order, "--allow-unlisted")
    assert done.exit_code == 0, done.output
    said = " ".join(done.output.split())
    assert "4 cells name states that the maker file does not list, and say nothing" in said
    assert "wood elm (2), wood oak | elm (1), wood elm (0.8) (1)" in said
    assert DRAFT in said


def test_lots_of_a_sale_with_such_states_are_read(kept, tmp_path):
    rows = [["lot", "wood", "screw"], *([n, row[2], row[3]] for n, row in enumerate(LATER[1:]))]
    table = sheet(tmp_path / "sale.csv", rows)
    assert sum(lot.examination is None for lot in read_lots(table, kept.maker).lots) == 4
    sale = read_lots(table, kept.maker, allow_unlisted=True)
    assert all(lot.examination is not None for lot in sale.lots)
    assert sale.unlisted == COUNTED


# A draft says that it is one -----------------------------------------------------------------


def test_a_date_from_a_bare_draft_says_so_first(kept):
    (kept.folder / "x.yaml").write_text("instrument: X\nmaker: draft\nseen: {screw: flat}\n")
    text = run("estimate", kept.folder / "x.yaml").output
    words = " ".join(text.split())
    assert words.index(DRAFT) < words.index("WHEN IT WAS BUILT")
    record = json.loads(run("estimate", kept.folder / "x.yaml", "--as", "json").output)
    assert record["draft"] is True


@pytest.mark.parametrize(("code", "word"), [("en", "draft"), ("de", "Entwurf")])
def test_a_note_and_a_sale_say_so(kept, code, word):
    seen = dating.Examination.model_validate({"instrument": "X", "maker": "draft"})
    wording = Wording(language(code))
    made = dating.estimate(kept.maker, seen)
    assert word in note_of(made, wording).date.sentences[0]
    assert any(word in reason for reason in entry_of(made, wording, "1", "").why)
    judged = kept.maker.model_copy(update={"draft": False})
    made = dating.estimate(judged, seen)
    assert not any(word in sentence for sentence in note_of(made, wording).date.sentences)
