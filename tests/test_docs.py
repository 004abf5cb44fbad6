"""The documents are complete, their links lead somewhere, and their code runs."""

import re
from pathlib import Path

import click
import pytest

import dating
from dating import maker as maker_file
from dating.cautions import HAZARDS
from dating.claims import statements as claims_file
from dating.claims.files import manuscript_of, read_claims
from dating.claims.weighing import weigh_manuscript
from dating.cli.main import main
from dating.examination import Examination, Paper, Reading, Sight
from dating.statements import CountOpinion, DateOpinion, SpanOpinion

DOCUMENTS = ["README.md", "DEVELOPERS.md", "demo_data/README.md"]
MODELS = [
    maker_file.Maker,
    maker_file.SourceNote,
    maker_file.Output,
    maker_file.Event,
    maker_file.Variants,
    maker_file.Component,
    maker_file.Donors,
    maker_file.Feature,
    maker_file.Regime,
    maker_file.Look,
    maker_file.Mark,
    maker_file.Measurement,
    Examination,
    Sight,
    Reading,
    Paper,
    DateOpinion,
    SpanOpinion,
    CountOpinion,
    claims_file.Claims,
    claims_file.Claim,
    claims_file.Assertion,
    claims_file.Built,
    claims_file.Original,
    claims_file.Apart,
    claims_file.Older,
    claims_file.Use,
    claims_file.ChangedFirst,
    claims_file.ClaimedChangeover,
    claims_file.Overlap,
    claims_file.Share,
    claims_file.NumberMade,
    claims_file.Survival,
]


def text_of(document):
    return Path(document).read_text(encoding="utf-8")


def blocks(document, language):
    return re.findall(rf"```{language}\n(.*?)```", text_of(document), flags=re.DOTALL)


@pytest.mark.parametrize("document", DOCUMENTS)
def test_links_lead_somewhere(document):
    for target in re.findall(r"\]\(([^)]+)\)", text_of(document)):
        file, _, anchor = target.partition("#")
        assert not target.startswith("http"), target
        linked = Path(document).parent / file if file else Path(document)
        assert linked.exists(), target
        if anchor:
            titles = re.findall(r"^#+ (.*)$", linked.read_text(encoding="utf-8"), re.MULTILINE)
            assert anchor in {title.lower().replace(" ", "-") for title in titles}


@pytest.mark.parametrize("document", DOCUMENTS)
def test_python_in_the_documents_runs(document):
    for block in blocks(document, "python"):
        exec(compile(block, document, "exec"), {})


def test_readme_opens_with_one_paragraph_and_two_commands():
    opening = text_of("README.md").split("\n\n")[1]
    assert opening.startswith("This project turns")
    commands = blocks("README.md", "sh")
    assert len(commands) == 2
    assert "venv" in commands[0]
    assert "pytest" in commands[1]


def test_yaml_in_the_readme_is_understood(tmp_path):
    _, examination, claims = blocks("README.md", "yaml")
    file = tmp_path / "x.yaml"
    file.write_text(examination, encoding="utf-8")
    maker = dating.read_maker("priors/marrowby.yaml")
    made = dating.estimate(maker, dating.read_examination(file))
    assert made.posterior.sum() == pytest.approx(1)
    file = tmp_path / "claims.yaml"
    folder = Path("demo_data/examinations").resolve()
    file.write_text(claims.replace("examinations/", f"{folder}/"), encoding="utf-8")
    assert len(weigh_manuscript(manuscript_of(read_claims(file), maker))) == 2


def test_every_command_and_option_is_in_the_readme():
    readme = text_of("README.md")
    for name, command in main.commands.items():
        assert f"`dating {name}" in readme
        for option in command.params:
            if isinstance(option, click.Option):
                assert f"`{option.opts[0]}" in readme, option.opts


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.__name__)
def test_every_key_of_the_files_is_documented(model):
    documented = set(re.findall(r"`([a-z_ -]+)`", text_of("DEVELOPERS.md")))
    keys = {field.alias or name for name, field in model.model_fields.items()}
    assert keys <= documented


def test_every_hazard_is_documented():
    assert set(HAZARDS) <= set(re.findall(r"`([a-z ]+)`", text_of("DEVELOPERS.md")))


def test_every_module_is_in_the_map():
    documented = set(re.findall(r"`([a-z_]+)`", text_of("DEVELOPERS.md").split("## The model")[0]))
    names = {path.stem for path in Path("dating").glob("*.py")} - {"__init__"}
    packages = {path.parent.name for path in Path("dating").glob("*/__init__.py")}
    assert names | packages <= documented
