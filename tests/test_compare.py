"""Several instruments side by side: the command, its text, record, pictures and page."""

import csv
import dataclasses
import html
import json
import re
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

import dating
from dating.cells import cells_of
from dating.cli.main import main
from dating.figures.files import save_picture
from dating.figures.succession import draw_comparison, draw_pairs, draw_row
from dating.learning.files import write_learned
from dating.learning.health import Health
from dating.months import month_label
from dating.succession.files import group_of, read_group
from dating.words.phrases import percent
from dating.words.succession import comparison_text, groups_of, trust_words
from dating.words.succession_page import comparison_page
from dating.words.succession_record import comparison_record
from dating.words.succession_rows import (
    alike_words,
    changes_between,
    difference_lines,
    known_lines,
    look_lines,
    moved_words,
    reason_lines,
    row_lines,
    seen_on,
)
from tests.learning import ONE_RAMP, one_ramp_rows, written

BAD = Health(1.2, 30.0, 3, "z")
MAKER, GROUP = "priors/marrowby.yaml", "demo_data/marrowby_group.yaml"
CORPUS, SALE = "demo_data/marrowby_corpus.csv", "demo_data/marrowby_sale.csv"
M_001, M_002, M_003, M_004 = (f"demo_data/examinations/M-00{n}.yaml" for n in (1, 2, 3, 4))
V_001 = "demo_data/velquist_examinations/V-001.yaml"
CLASHING = """\
maker: marrowby
known:
  - older: {instruments: [M-002, M-004]}
    source: memory of a dealer
    trust: 0.6
"""


def run(*arguments):
    return CliRunner().invoke(main, ["compare", *map(str, arguments)], catch_exceptions=False)


def flat(text):
    """The words of a text, without the breaks of its lines."""
    return " ".join(text.split())


def record_of(*arguments):
    shown = run(*arguments, "--as", "json")
    assert shown.exit_code == 0, shown.output
    return json.loads(shown.stdout)


@pytest.fixture(scope="module")
def maker():
    return dating.read_maker(MAKER)


@pytest.fixture(scope="module")
def four(maker):
    """Four instruments between which something is known."""
    group = read_group(GROUP)
    return dating.compare(maker, [*group_of(group, maker).values()], group=group)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """What the command says and writes of them."""
    folder = tmp_path_factory.mktemp("made")
    picture, page = folder / "row.png", folder / "row.html"
    shown = run("--known", GROUP, "--picture", picture, "--page", page)
    assert shown.exit_code == 0, shown.output
    return SimpleNamespace(shown=shown, picture=picture, page=page)


@pytest.fixture(scope="module")
def two(maker):
    return dating.compare(maker, [dating.read_examination(path) for path in (M_001, M_003)])


@pytest.fixture(scope="module")
def many(maker):
    """More than stand in a short text."""
    corpus = dating.read_corpus(CORPUS, maker)
    return dating.compare(maker, [each.examination for each in corpus.references[:21]])


def written_table(path, rows, *comments):
    columns = list(dict.fromkeys(name for row in rows for name in row))
    with path.open("w", encoding="utf-8", newline="") as file:
        file.writelines(f"# {comment}\n" for comment in comments)
        writer = csv.DictWriter(file, columns)
        writer.writeheader()
        writer.writerows(rows)
    return path


# The command ---------------------------------------------------------------------------------


def test_the_text_has_its_parts_in_turn_within_80_columns(made, four):
    shown = made.shown
    assert shown.stdout == comparison_text(four)
    assert shown.stderr == ""
    titles = re.findall(r"^[A-Z][A-Z ,]+$", shown.stdout, re.MULTILINE)
    assert titles == [
        "THE ROW, OLDEST FIRST",
        "HOW FAR THE ROW MAY BE TRUSTED",
        "EVERY PAIR",
        "NEIGHBOURS",
        "WHAT DIFFERS",
        "KNOWN BETWEEN THEM",
        "WHAT TO LOOK AT NEXT",
    ]
    assert max(map(len, shown.stdout.splitlines())) <= 80
    assert "(invented): 4 instruments side by side" in flat(shown.stdout)
    assert "An opinion with a probability, not a certificate" in flat(shown.stdout)


def test_the_record_of_the_command_is_that_of_the_interface(four):
    assert record_of("--known", GROUP) == comparison_record(four)


def test_a_group_file_goes_with_files_that_are_named(four):
    shown = run(M_001, M_002, M_003, M_004, "--known", GROUP)
    assert shown.stdout == comparison_text(four)


def test_another_seed_and_level_are_taken():
    record = record_of(M_001, M_003, "--seed", 7, "--level", 0.5)
    assert record["provenance"]["seed"] == 7
    assert {each["built"]["level"] for each in record["row"]} == {0.5}
    other = record_of(M_001, M_003)
    assert record["pairs"] != other["pairs"]
    assert record["pairs"][0]["older"] == pytest.approx(other["pairs"][0]["older"], abs=0.05)


def test_a_folder_is_read_and_what_is_no_examination_is_passed_over(tmp_path):
    for path in (M_001, M_003):
        (tmp_path / Path(path).name).write_bytes(Path(path).read_bytes())
    (tmp_path / "marrowby.yaml").write_bytes(Path(MAKER).read_bytes())
    (tmp_path / "lists.yaml").write_text("shopping: [glue]\n", "utf-8")
    (tmp_path / "notes.txt").write_text("no file of ours", "utf-8")
    shown = run(tmp_path, "--as", "json")
    assert shown.exit_code == 0
    assert flat(shown.stderr).endswith("as no examination: lists.yaml, marrowby.yaml.")
    assert json.loads(shown.stdout)["pairs"] == record_of(M_001, M_003)["pairs"]


def test_a_table_of_examinations_says_what_files_say(tmp_path):
    seen = [dating.read_examination(path) for path in (M_001, M_003)]
    table = written_table(tmp_path / "two.csv", [cells_of(each) for each in seen])
    record = record_of(table, "--maker", MAKER)
    assert record["pairs"] == record_of(M_001, M_003)["pairs"]
    assert {each["file"] for each in record["provenance"]["examinations"].values()} == {str(table)}


def test_the_dates_of_a_corpus_are_not_used(tmp_path):
    with Path(CORPUS).open(encoding="utf-8", newline="") as file:
        rows = [*csv.DictReader(line for line in file if not line.startswith("#"))][:3]
    plain = written_table(tmp_path / "plain.csv", rows, "maker: marrowby")
    undated = [{**row, "built": "about 1950?"} for row in rows]
    strange = written_table(tmp_path / "strange.csv", undated, "maker: marrowby")
    shown, other = (run(path, "--maker", MAKER, "--as", "json") for path in (plain, strange))
    assert shown.exit_code == other.exit_code == 0
    assert "The dates in the table are not used" in shown.stderr
    assert json.loads(shown.stdout)["pairs"] == json.loads(other.stdout)["pairs"]


@pytest.fixture(scope="module")
def world(tmp_path_factory):
    """A small maker and a corpus, and what was learned from it."""
    folder = tmp_path_factory.mktemp("world")
    maker, corpus = written(folder, ONE_RAMP, one_ramp_rows(12))
    write_learned(dating.learn(maker, corpus, draws=50, seed=4), folder / "learned.nc", BAD)
    return folder


def test_what_was_learned_takes_the_place_of_the_judgements(world):
    for name, state in (("X", "metal"), ("Y", "wood")):
        (world / f"{name}.yaml").write_text(
            f"instrument: {name}\nmaker: example\nseen: {{ends: {state}}}\n", "utf-8"
        )
    learned = ("--learned", world / "learned.nc")
    shown = run(world / "X.yaml", world / "Y.yaml", *learned)
    text = flat(shown.stdout)
    assert shown.exit_code == 0
    assert "It rests on what was learned from dated instruments." in text
    assert "Reference corpus: " in text
    assert "Not to be relied on" in text
    assert shown.stderr == ""
    shown = run(world / "corpus.csv", "--maker", world / "example.yaml", *learned)
    assert "rests on this very table and on the dates in it" in flat(shown.stderr)


def test_the_lots_of_a_sale_are_compared(tmp_path):
    lines = Path(SALE).read_text("utf-8").splitlines(keepends=True)
    head = next(k for k, line in enumerate(lines) if not line.startswith("#"))
    table = tmp_path / "lots.csv"
    table.write_text("".join(lines[: head + 3]), "utf-8")
    record = record_of(table, "--maker", MAKER)
    assert len(record["row"]) == 2


def test_the_output_may_go_to_a_file_which_is_kept(tmp_path):
    out = tmp_path / "row.txt"
    shown = run(M_001, M_003, "--out", out)
    assert (shown.exit_code, shown.stdout) == (0, "")
    assert out.read_text("utf-8") == run(M_001, M_003).stdout
    out.write_text("mine", "utf-8")
    refused = run(M_001, M_003, "--out", out)
    assert refused.exit_code == 2
    assert "the comparison would replace it" in flat(refused.output)
    assert out.read_text("utf-8") == "mine"
    assert run(M_001, M_003, "--out", out, "--replace").exit_code == 0
    assert out.read_text("utf-8") != "mine"


@pytest.mark.parametrize("option", ["--out", "--picture", "--page"])
def test_nothing_that_is_read_is_replaced(tmp_path, option):
    ending = {"--out": ".yaml", "--picture": ".svg", "--page": ".html"}[option]
    file = tmp_path / f"one{ending}"
    file.write_bytes(Path(M_001).read_bytes())
    refused = run(file, M_003, "--maker", MAKER, option, file, "--replace")
    assert refused.exit_code == 2
    assert "would replace a file that this command reads" in flat(refused.output)
    assert file.read_bytes() == Path(M_001).read_bytes()


@pytest.mark.parametrize(
    ("arguments", "status", "words"),
    [
        ((), 2, "name two examinations or more"),
        ((M_001,), 2, "from 2 to 500 instruments are set side by side; found 1"),
        ((M_001, M_001), 1, "M-001.yaml, line 2: instrument: this instrument comes twice"),
        ((M_001, V_001), 1, "V-001.yaml, line 4: maker: instruments of one maker are compared"),
        ((M_001, MAKER), 1, "this is a maker file; an examination of one instrument is expected"),
        ((M_001, CORPUS), 2, "name one table by itself"),
        ((M_001, M_003, "--known", GROUP), 1, "known[1].older.instruments[1]: no examination"),
        ((V_001, V_001, "--known", GROUP), 1, "maker: the instruments are of another maker"),
        ((M_001, M_003, "--level", "1.5"), 2, "a level lies between 0 and 1"),
        ((M_001, M_003, "--picture", "row.gif"), 2, "no such format of picture"),
        ((M_001, M_003, "--page", "row.pdf"), 2, "the page is HTML"),
        ((M_001, M_003, "--out", "nowhere/row.txt"), 2, "the folder does not exist"),
        (("priors",), 1, "priors: there is no examination in this folder"),
    ],
)
def test_what_cannot_be_compared_is_refused_with_its_place(arguments, status, words):
    refused = run(*arguments)
    assert refused.exit_code == status, refused.output
    assert words in flat(refused.output)


def test_faults_of_all_files_and_rows_are_told_at_once(tmp_path):
    faulty = Path(M_001).read_text("utf-8").replace("heel-joint: dowelled", "heel-joint: glued")
    for name in ("a", "b"):
        (tmp_path / f"{name}.yaml").write_text(faulty, "utf-8")
    refused = run(tmp_path, "--maker", MAKER)
    assert refused.exit_code == 1
    assert [f"{name}.yaml, line 10: seen.heel-joint" in refused.output for name in "ab"] == [
        True
    ] * 2
    table = tmp_path / "t.csv"
    table.write_text("instrument,heel-joint\n,dowelled\nA,glued\nB\n", "utf-8")
    refused = run(table, "--maker", MAKER)
    assert refused.exit_code == 1
    for words in ("line 2: instrument:", "line 3: heel-joint:", "line 4: there are 2 columns"):
        assert words in refused.output


def test_unlisted_states_are_taken_where_that_is_asked_for(tmp_path):
    table = tmp_path / "t.csv"
    table.write_text("instrument,heel-joint\nA,glued\nB,screwed\n", "utf-8")
    shown = run(table, "--maker", MAKER, "--allow-unlisted")
    assert shown.exit_code == 0
    assert "1 cell names states that the maker file does not list" in flat(shown.stderr)
    assert "glued" in shown.stdout


def test_a_group_file_that_lists_nothing_needs_instruments(tmp_path):
    file = tmp_path / "group.yaml"
    file.write_text(CLASHING, "utf-8")
    refused = run("--known", file, "--maker", MAKER)
    assert refused.exit_code == 1
    assert "examinations: no examinations are listed here" in flat(refused.output)


# The text ------------------------------------------------------------------------------------


def test_the_row_and_its_trust_are_those_of_the_comparison(four):
    lines = row_lines(four)
    assert tuple(line.name for line in lines) == four.row
    assert [line.place for line in lines] == [1, 2, 3, 4]
    assert [line.bracket for line in lines] == ["first", "last", "", ""]
    text = flat(comparison_text(four))
    assert "Cannot be told apart: M-004 and M-003." in text
    wrong = f"Of 6 pairs, {four.arrangement.wrong_pairs:.1f} are expected to stand the wrong way"
    assert wrong in text
    assert f"is right with probability {percent(four.arrangement.whole)}." in text
    assert f"standard error of at most {four.error:.1g}." in text
    assert "was used to" not in text


def test_evidence_on_changeovers_that_counts_in_part_is_told(two):
    joint = dataclasses.replace(two.joint, least=float(len(two.joint.weights)))
    partly = dataclasses.replace(two, joint=joint)
    assert partly.joint.share < 1
    sentence = f"was used to {percent(partly.joint.share)} of its weight"
    assert sentence in " ".join(trust_words(partly))


def test_brackets_stand_where_there_is_room(four):
    wide, narrow = (comparison_text(four, width).split("\n\n")[1] for width in (80, 44))
    rows = wide.splitlines()[2:6]
    assert [line.split()[:3] for line in rows] == [
        ["/", "1", "M-004"],
        ["\\", "2", "M-003"],
        ["3", "M-001", "July"],
        ["4", "M-002", "February"],
    ]
    assert "no. 1\n" in comparison_text(four, 44)
    assert max(map(len, comparison_text(four, 44).splitlines())) <= 44
    assert "/" not in narrow


def test_a_row_of_two_says_whether_it_is_right(two):
    sentence = next(iter(trust_words(two)))
    assert sentence == f"This row is right with probability {percent(two.arrangement.whole)}."
    assert "EVERY PAIR" not in comparison_text(two)


def test_the_pairs_of_a_short_row_stand_in_a_table(four):
    lines = comparison_text(four).split("EVERY PAIR\n")[1].split("\n\n")[0].splitlines()[2:]
    assert [line.split()[0] for line in lines] == list(four.row)
    shown = [re.findall(r"[<>]?\d+ %", line) for line in lines]
    for name, chances in zip(four.row, shown, strict=True):
        others = [other for other in four.row if other != name]
        older = four.older.sel(instrument=name, other=others).values
        assert chances == [percent(float(chance)) for chance in older]


def test_neighbours_and_what_decides_between_them_are_told(four):
    text = flat(comparison_text(four))
    for pair in four.neighbours:
        chances = [percent(chance) for chance in (pair.older, pair.same, pair.younger)]
        words = f"{pair.first} was built before {pair.second} with probability {chances[0]}, "
        assert f"{words}in the same month {chances[1]}, after it {chances[2]}." in text
        lines = reason_lines(four, pair)
        assert 0 < len(lines) <= 5
        bits = [abs(float(line.bits)) for line in lines]
        assert bits == sorted(bits, reverse=True)


def test_states_are_worded_as_in_the_maker_file(four):
    assert seen_on(four, "M-001", "heel-joint") == "two dowels"
    assert seen_on(four, "M-002", "finish") == "sprayed cellulose lacquer (sure 0.8)"
    assert seen_on(four, "M-001", "lining") == ""
    assert seen_on(four, "M-001", "neck-depth") == "22.9 mm"
    text = comparison_text(four)
    assert "tapered dovetail (M-004); two wood screws from inside (M-003)" in flat(text)


def test_documents_are_told_by_what_they_are(maker):
    seen = [dating.read_examination(f"demo_data/examinations/{name}.yaml") for name in NAMED]
    comparison = dating.compare(maker, seen)
    paper = seen[0].documents[0]
    assert seen_on(comparison, NAMED[0], "document 1") == f"{paper.what}, {paper.words()}"
    assert seen_on(comparison, NAMED[1], "document 1") == "none"


NAMED = ("M-006", "M-001")


def test_what_is_alike_and_what_differs_is_parted(four):
    lines = {line.name: line for line in difference_lines(four)}
    assert lines["heel joint"].differs
    assert not lines["bars"].differs
    alike = alike_words(four, [*lines.values()])
    assert alike[0].startswith("The same on all: tailpiece: cast")
    assert "bars: three cross bars (M-004, M-003 and M-001)" in alike[1]
    assert "head joint: no glue line (M-002)" in alike[2]
    assert all("heel joint" not in sentence for sentence in alike)


def test_only_what_cannot_be_the_same_counts_as_a_change(maker):
    sights = {
        "S": {"state": "screwed"},
        "T": {"state": "screwed", "sure": 0.8},
        "U": {"one_of": ["dowelled", "screwed"]},
        "D": {"state": "dowelled"},
    }
    seen = [
        dating.Examination.model_validate(
            {"instrument": name, "maker": "marrowby", "seen": {"heel-joint": sights[name]}}
        )
        for name in sights
    ]
    comparison = dating.compare(maker, seen)
    assert changes_between(comparison, "S", "T") == []
    assert changes_between(comparison, "U", "D") == []
    assert changes_between(comparison, "S", "D") == [
        "heel joint: two wood screws from inside → two dowels"
    ]
    (line,) = difference_lines(comparison)
    assert set(line.by_words) == {
        "two wood screws from inside",
        "two dowels or two wood screws from inside",
        "two dowels",
    }


def test_what_is_known_is_told_with_what_it_does(four):
    text = flat(comparison_text(four))
    for line, effect in zip(known_lines(four), four.effects, strict=True):
        assert line.before == percent(effect.before)
        assert line.after == percent(effect.after)
        assert effect.after > effect.before
        assert not line.clashes
    assert moved_words(four.effects) in text
    assert "speaks against" not in text


def test_a_statement_that_clashes_is_named(tmp_path):
    file = tmp_path / "group.yaml"
    file.write_text(CLASHING, "utf-8")
    shown = run(M_002, M_004, "--known", file)
    assert shown.exit_code == 0
    text = flat(shown.stdout)
    assert "What was seen speaks against this: M-002 is older than M-004." in text
    (known,) = record_of(M_002, M_004, "--known", file)["known"]
    assert known["clashes"]
    assert known["before"] < 0.05


def test_looks_say_which_share_of_the_doubt_they_take_away(four):
    lines, text = look_lines(four), flat(comparison_text(four))
    assert [line.share for line in lines] == [
        percent(look.bits / four.doubt) for look in four.looks[: len(lines)]
    ]
    assert f"({four.doubt:.1f} bits over all pairs)" in text
    assert f"{lines[0].instrument}, {lines[0].name}: {lines[0].ask} {lines[0].how}" in text
    for line in lines:
        assert line.caution in text
    assert any(line.caution for line in lines)


def test_a_long_row_is_told_in_groups(many):
    text = flat(comparison_text(many))
    assert sum(map(len, groups_of(many))) == len(many.row)
    assert tuple(name for group in groups_of(many) for name in group) == many.row
    tie = next(group for group in groups_of(many) if len(group) > 1)
    first = many.row.index(tie[0]) + 1
    assert f"{first} to {first + len(tie) - 1}: {tie[0]}" in text
    assert "cannot be told apart. " in text
    assert "was built before" not in text
    assert "The table is on the page (--page) and in --as json." in text
    assert "EVERY PAIR" not in text


# The record ----------------------------------------------------------------------------------


def test_the_record_has_the_numbers_of_the_comparison(four):
    record = comparison_record(four)
    assert record["schema"] == "instrument-dating/comparison/1"
    assert tuple(each["instrument"] for each in record["row"]) == four.row
    for each in record["row"]:
        name = each["instrument"]
        assert each["median"] == month_label(four.median(name))
        assert tuple(each["places"]) == four.rank_ranges[name]
        assert np.allclose(each["by_month"], four.posterior.sel(instrument=name).values)
        assert np.allclose(each["by_place"], four.rank.sel(instrument=name).values)
    assert len(record["pairs"]) == record["trust"]["pairs"] == 6
    for pair in record["pairs"]:
        first, second = pair["first"], pair["second"]
        assert four.row.index(first) < four.row.index(second)
        assert pair["older"] == float(four.older.sel(instrument=first, other=second))
        younger = float(four.older.sel(instrument=second, other=first))
        assert pair["younger"] == pytest.approx(younger, abs=1e-9)
        assert pair["older"] + pair["same_month"] + pair["younger"] == pytest.approx(1)
    assert record["trust"]["wrong_pairs"] == four.arrangement.wrong_pairs
    assert [tuple(tie) for tie in record["trust"]["ties"]] == list(four.ties)
    reasons = [each["reasons"] for each in record["neighbours"]]
    assert [[r["bits"] for r in each] for each in reasons] == [
        [r.bits for r in pair.reasons] for pair in four.neighbours
    ]
    assert [look["gain"] for look in record["look_next"]] == [look.bits for look in four.looks]


def test_the_record_says_where_it_is_from(four, maker):
    origin = comparison_record(four)["provenance"]
    assert origin["maker_file"] == {"file": MAKER, "sha256": maker.origin.fingerprint}
    assert origin["group_file"]["file"] == GROUP
    assert {name: each["file"] for name, each in origin["examinations"].items()} == {
        f"M-00{n}": f"demo_data/examinations/M-00{n}.yaml" for n in (1, 2, 3, 4)
    }
    assert origin["draws"] == len(four.joint.weights)
    assert origin["effective_draws"] == four.joint.effective
    assert origin["share"] == 1


# Pictures and the page -----------------------------------------------------------------------


def test_pictures_say_in_words_what_they_show(tmp_path, made, four):
    save_picture(draw_comparison(four), tmp_path / "row.svg")
    words = str(draw_comparison(four).get_label())
    with Image.open(made.picture) as picture:
        assert picture.info["Description"] == words
    assert words in (tmp_path / "row.svg").read_text("utf-8")
    assert "Oldest first: M-004, February 1929 to" in words
    assert "Cannot be told apart: M-004 and M-003." in words
    assert words.endswith("An opinion, not a certificate.")


def test_a_short_row_shows_what_changes_and_its_brackets(four):
    (axes,) = draw_row(four).axes
    assert [tick.get_text() for tick in axes.get_yticklabels()] == list(four.row)
    between = [text.get_text() for text in axes.texts]
    assert len(between) == 3
    assert "heel joint: tapered dovetail → two wood screws from inside" in between[0]
    medians = [line.get_xdata()[0] for line in axes.lines[:4]]
    assert medians == [(four.median(name) + 0.5) / 12 for name in four.row]
    assert len(axes.lines) == 4 + len(four.ties)
    low, high = axes.get_ylim()
    assert low > high


def test_pairs_are_drawn_with_their_numbers_in_the_row_s_sequence(four):
    (axes,) = draw_pairs(four).axes
    shown = {
        (round(t.get_position()[1]), round(t.get_position()[0])): t.get_text() for t in axes.texts
    }
    assert len(shown) == 12
    for (row, column), text in shown.items():
        chance = float(four.older.sel(instrument=four.row[row], other=four.row[column]))
        assert f"{text} %" == percent(chance)


def test_a_long_row_is_drawn_without_words_between_and_numbers(many):
    (row,), (pairs,) = draw_row(many).axes, draw_pairs(many).axes
    assert not row.texts
    assert not pairs.texts
    assert "The oldest and the youngest:" in str(draw_row(many).get_label())


def test_the_page_holds_all_of_it_and_asks_for_nothing(made, four):
    text = made.page.read_text("utf-8").replace("\N{NO-BREAK SPACE}", " ")
    for title in ("row", "trust", "neighbours", "differences", "known", "looks", "origin"):
        assert f'<h2 id="{title}">' in text
    assert re.findall(r'(?:src|href)="(?!#|data:image/svg)[^"]*"', text) == []
    assert text.count('alt="Marrowby Fretted Instrument Works') == 2
    table = text.split('id="table-pairs"')[1].split("<tbody>")[1].split("</tbody>")[0]
    cells = re.findall(r'<td class="number whole">([^<]*)</td>', table)
    older = four.older.sel(instrument=list(four.row), other=list(four.row)).values
    expected = np.array([[percent(float(chance)) for chance in row] for row in older])
    np.fill_diagonal(expected, "")
    assert [*map(html.unescape, cells)] == expected.ravel().tolist()
    assert text.count("<details open>") == 3
    assert four.maker.origin.fingerprint in text
    assert "not a certificate" in text


def test_the_page_of_a_clash_or_of_a_long_row(many, tmp_path):
    nothing = {name: _Drawn() for name in ("row", "pairs")}
    text = comparison_page(many, nothing)
    assert 'id="table-pairs"' not in text
    assert 'id="known"' not in text
    assert text.count("<details>") == len(many.row) - 1
    assert text.count("<dt>") == 2
    file = tmp_path / "group.yaml"
    file.write_text(CLASHING, "utf-8")
    page = tmp_path / "row.html"
    assert run(M_002, M_004, "--known", file, "--page", page).exit_code == 0
    text = page.read_text("utf-8")
    assert '<p class="warning" role="note">What was seen speaks against this' in text
    assert text.count('class="number whole doubt"') == 1


class _Drawn:
    source, words = "data:image/svg+xml;base64,", "drawn"
