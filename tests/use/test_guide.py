"""The guide, followed: what it says to write is understood, what it says to type runs."""

import re
import shlex
import shutil
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

import dating
from dating.claims.files import read_claims
from dating.cli.main import main
from dating.words.guide import TOPICS, guide_text

TIMELY = {"check", "estimate", "note", "draft", "keys"}
"""Commands that take seconds; the others are tested with learning, and here for their options."""


def commands(topic):
    text = guide_text(topic)
    lines = re.findall(r"^    (dating .*)$", text, re.MULTILINE)
    inline = re.findall(r"`(dating [^`]*)`", text)
    return [shlex.split(line)[1:] for line in (*lines, *inline)]


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
    ("topic", "arguments"), [(t, a) for t in TOPICS for a in commands(t)], ids=str
)
def test_commands_run_as_they_are_written(topic, arguments, folder):
    for block in yaml_blocks("specialist")[:1]:
        written(folder, "bench/M-017.yaml", block)
    name, *rest = arguments
    if name not in TIMELY or "learned.nc" in rest:
        known = {option for p in main.commands[name].params for option in p.opts}
        assert {word for word in rest if word.startswith("--")} <= known
        files = [w for w in rest if "/" in w and not w.startswith("--")]
        assert all(Path(file).exists() for file in files)
        return
    outcome = CliRunner().invoke(main, arguments)
    assert outcome.exit_code == 0, outcome.output
    if "--out" in rest:
        assert Path(rest[rest.index("--out") + 1]).exists()


def test_what_it_says_to_write_is_understood(folder):
    examination, maker = yaml_blocks("specialist")
    read = dating.read_maker(written(folder, "ours.yaml", maker))
    assert read.features()["fretwork"][1].history[1].judged_overlap().quantile(0.5) == 12
    seen = dating.read_examination(written(folder, "bench/M-017.yaml", examination))
    assert dating.estimate(dating.read_maker("priors/marrowby.yaml"), seen).posterior.sum() > 0.999
    (claims,) = yaml_blocks("author")
    assert len(read_claims(written(folder, "claims.yaml", claims)).claims) == 1


def test_every_command_of_the_tool_is_a_command(folder):
    for topic in TOPICS:
        assert {name for name, *_ in commands(topic)} <= set(main.commands)
    assert isinstance(main.commands["guide"], click.Command)
