"""The guide, followed: what it says to write is understood, what it says to type runs."""

import base64
import glob
import html
import re
import shlex
import shutil
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

import click
import numpy as np
import pytest
from click.testing import CliRunner
from matplotlib.image import imread
from PIL import Image

import dating
from dating.claims.files import read_claims
from dating.cli.main import main
from dating.words.guide import PICTURES, TOPICS, guide_markdown, guide_text

TIMELY = {"check", "estimate", "note", "draft", "keys", "guide"}
"""Commands that take seconds; the others are tested with learning, and here for their options."""
EXPECTED = {"COMMAND", "EXAMINATION", "EXAMINATIONS", "CORPUS", "CLAIMS", "LOTS", "MAKER"}
EXPECTED |= {"FILE", "FOLDER", "KIND", "TOPIC"}
"""Words that stand for what a reader puts in their place."""


def written_commands(text):
    """Every command of a text: on lines of their own, and inside sentences and tables."""
    lines = re.findall(r"^    (dating .*)$", text, re.MULTILINE)
    inline = re.findall(r"`(dating(?: [^`]*)?)`", text)
    return [re.split(r" (?=[^ ])", line)[1:] for line in dict.fromkeys([*lines, *inline])]


def is_pattern(words):
    """Whether a command has something in it for the reader to put in, or to choose."""
    return any(word.strip("[].") in EXPECTED or set(word) & set("{|") for word in words)


def commands(topic):
    found = written_commands(guide_markdown(topic))
    return [shlex.split(" ".join(words)) for words in found if words and not is_pattern(words)]


def patterns():
    texts = [*map(guide_markdown, TOPICS), Path("README.md").read_text("utf-8")]
    found = [words for text in texts for words in written_commands(text) if is_pattern(words)]
    return [list(words) for words in dict.fromkeys(map(tuple, found))]


def yaml_blocks(topic):
    return re.findall(r"```yaml\n(.*?)```", guide_text(topic), re.DOTALL)


@pytest.fixture
def folder(tmp_path, monkeypatch):
    for name in ("priors", "demo_data"):
        shutil.copytree(name, tmp_path / name)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def written(folder, name, block):
    file = folder / name
    file.parent.mkdir(exist_ok=True)
    file.write_text(block, encoding="utf-8")
    return file


@pytest.mark.parametrize("topic", TOPICS)
def test_the_command_shows_every_topic_and_lists_them(topic):
    assert CliRunner().invoke(main, ["guide", topic]).output == guide_text(topic)
    assert f"dating guide {topic}" in CliRunner().invoke(main, ["guide"]).output


def test_no_text_is_without_a_topic():
    assert {path.stem for path in Path(dating.__file__).parent.glob("guide/*.md")} == set(TOPICS)


@pytest.mark.parametrize(
    ("topic", "arguments"), [(t, a) for t in TOPICS for a in commands(t) if len(a) > 1], ids=str
)
def test_commands_run_as_they_are_written(topic, arguments, folder):
    for block in yaml_blocks("specialist")[:1]:
        written(folder, "bench/M-017.yaml", block)
    name, *rest = [path for word in arguments for path in sorted(glob.glob(word)) or [word]]
    if name not in TIMELY or "learned.nc" in rest:
        known = {option for p in main.commands[name].params for option in p.opts}
        assert {word for word in rest if word.startswith("--")} <= known
        files = [w for w in rest if "/" in w and not w.startswith("--")]
        assert all(Path(file).exists() for file in files)
        return
    outcome = CliRunner().invoke(main, [name, *rest])
    assert outcome.exit_code == 0, outcome.output
    if "--out" in rest:
        assert Path(rest[rest.index("--out") + 1]).exists()


def test_what_it_says_to_write_is_understood(folder):
    examination, maker = yaml_blocks("specialist")
    read = dating.read_maker(written(folder, "ours.yaml", maker))
    assert read.features()["fretwork"][1].history[1].judged_overlap().quantile(0.5) == 12
    seen = dating.read_examination(written(folder, "bench/M-017.yaml", examination))
    assert dating.estimate(dating.read_maker("priors/marrowby.yaml"), seen).posterior.sum() > 0.999
    claims, further = yaml_blocks("author")
    assert len(read_claims(written(folder, "claims.yaml", claims)).claims) == 1
    both = f"{claims.rstrip()}\n{further}"
    assert len(read_claims(written(folder, "both.yaml", both)).claims) == 2


def test_every_command_of_the_tool_is_a_command(folder):
    for topic in TOPICS:
        assert {name for name, *_ in commands(topic)} <= set(main.commands)
    assert isinstance(main.commands["guide"], click.Command)


@pytest.mark.parametrize("words", patterns(), ids=" ".join)
def test_what_a_reader_puts_in_is_what_the_command_takes(words):
    """In ``dating learn MAKER CORPUS`` both are arguments of the command, in this order."""
    name, *rest = words
    if name == "COMMAND":
        assert rest == ["--help"]
        return
    command = main.commands[name]
    known = {option for one in command.params for option in one.opts}
    assert {word for word in rest if word.startswith("--")} <= known
    context = click.Context(command, info_name=name)
    taken = [one.make_metavar(context) for one in command.params if isinstance(one, click.Argument)]
    valued = {o for one in command.params if not getattr(one, "is_flag", True) for o in one.opts}
    values = [after for word, after in pairwise(rest) if word in valued]
    given = [word for word in rest if not word.startswith("--") and word not in values]
    plain = [re.sub(r"[\[\]{}.]", "", word).removesuffix("S") for word in taken]
    if name in {"keys", "guide"}:
        assert given == taken or given in (["KIND"], ["TOPIC"])
    else:
        assert [re.sub(r"[\[\].]", "", word).removesuffix("S") for word in given] == plain


def test_every_option_that_a_sentence_names_is_one():
    known = {option for one in main.commands.values() for p in one.params for option in p.opts}
    known |= {"--help", "--version"}
    for topic in TOPICS:
        named = set(re.findall(r"`(--[a-z-]+)", guide_markdown(topic)))
        assert named <= known, topic


@pytest.mark.parametrize("topic", TOPICS)
def test_in_a_terminal_links_are_commands_and_pictures_are_words(topic):
    text, markdown = guide_text(topic), guide_markdown(topic)
    assert "](" not in text
    for words in re.findall(r"!\[([^\]]*)\]", markdown):
        assert f"[Picture: {words}]" in " ".join(text.split())
    for words, other in re.findall(r"(?<!!)\[([^\]]*)\]\(([a-z]+)\.md", markdown):
        assert f"{words} (`dating guide {other}`)" in text
        assert other in TOPICS


# The pictures, drawn again ----------------------------------------------------------------------

NAMED = {
    name: words
    for document in ("README.md", *(f"dating/guide/{topic}.md" for topic in TOPICS))
    for words, name in re.findall(
        r"!\[([^\]]*)\]\(\S*pictures/([^)]*)\)", Path(document).read_text("utf-8")
    )
}


def test_every_picture_is_named_once_and_the_other_way_round():
    assert {path.name for path in PICTURES.iterdir()} == set(NAMED)


@pytest.mark.parametrize("name", ["M-001", "M-003"])
def test_the_picture_of_an_estimate_is_what_the_command_draws(name, folder):
    """Pixel by pixel but for what another version of the library puts elsewhere."""
    file = f"demo_data/examinations/{name}.yaml"
    outcome = CliRunner().invoke(main, ["estimate", file, "--picture", f"{name}.png"])
    assert outcome.exit_code == 0
    with Image.open(f"{name}.png") as picture:
        assert picture.info["Title"] == NAMED[f"{name}.png"]
    drawn, kept = imread(f"{name}.png"), imread(PICTURES / f"{name}.png")
    assert drawn.shape == kept.shape
    assert (np.abs(drawn - kept).max(axis=2) > 0.1).mean() < 0.005


def test_the_picture_of_a_row_is_what_the_command_draws(folder):
    arguments = ["compare", "--known", "demo_data/marrowby_group.yaml", "--picture", "row.png"]
    assert CliRunner().invoke(main, arguments).exit_code == 0
    with Image.open("row.png") as picture:
        assert picture.info["Title"] == NAMED["row.png"]
    drawn, kept = imread("row.png"), imread(PICTURES / "row.png")
    assert drawn.shape == kept.shape
    assert (np.abs(drawn - kept).max(axis=2) > 0.1).mean() < 0.005


def same_drawing(one, other):
    """Whether two drawings have the same elements, with points that lie in the same places."""
    for left, right in zip(one.iter(), other.iter(), strict=True):
        assert left.tag == right.tag
        if left.tag.endswith("path") and not left.get("id", "").startswith("DejaVu"):
            points = [re.findall(r"-?[0-9.]+", each.get("d", "")) for each in (left, right)]
            assert np.allclose(*(np.array(each, dtype=float) for each in points), atol=1.0)


def test_the_picture_of_a_note_is_what_the_command_draws(folder):
    file = "demo_data/examinations/M-001.yaml"
    arguments = ["note", file, "--as", "markdown", "--out", "notes"]
    assert CliRunner().invoke(main, arguments).exit_code == 0
    note = Path("notes/M-001.md").read_text("utf-8")
    assert f"![{NAMED['note-M-001.svg']}](M-001.svg)" in note
    drawn, kept = Path("notes/M-001.svg"), PICTURES / "note-M-001.svg"
    same_drawing(ElementTree.parse(drawn), ElementTree.parse(kept))


def test_the_picture_of_a_claim_is_what_the_command_draws(folder):
    claims = Path("demo_data/marrowby_claims.yaml").read_text("utf-8")
    head, *each = claims.split("  - claim: ")
    (one,) = [text for text in each if text.startswith("dowels-early\n")]
    Path("demo_data/one.yaml").write_text(f"{head}  - claim: {one}", encoding="utf-8")
    corpus = ["--corpus", "demo_data/marrowby_corpus.csv", "--judgements-only"]
    outcome = CliRunner().invoke(
        main, ["weigh", "demo_data/one.yaml", *corpus, "--page", "claims.html"]
    )
    assert outcome.exit_code == 0
    page = Path("claims.html").read_text("utf-8").replace("\u00a0", " ")
    (tag,) = re.findall(r'<img[^>]*src="data:image/svg[^>]*>', page)
    assert html.escape(NAMED["claim-dowels-early.svg"]) in tag
    drawn = base64.b64decode(re.search(r"base64,([^\"]+)", tag)[1])
    kept = ElementTree.parse(PICTURES / "claim-dowels-early.svg")
    same_drawing(ElementTree.ElementTree(ElementTree.fromstring(drawn)), kept)
