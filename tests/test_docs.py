"""The documents are complete, their links lead somewhere, and their code runs."""

import inspect
import re
from pathlib import Path

import click
import pytest

import dating
from dating import maker as maker_file
from dating.bench.guide_markup import anchor_of
from dating.cautions import HAZARDS, MATERIALS
from dating.claims import statements as claims_file
from dating.claims.files import manuscript_of, read_claims
from dating.claims.weighing import weigh_manuscript
from dating.cli.main import main
from dating.examination import Examination, Paper, Reading, Sight
from dating.schemas import schema_of
from dating.statements import Chance, CountOpinion, DateOpinion, SpanOpinion
from dating.succession import relations
from dating.succession.files import group_of, read_group
from dating.words.guide import TOPICS
from dating.words.reference import reference_of, reference_text
from tests.use.command_text import row_of, section_of

GUIDE = [f"dating/guide/{topic}.md" for topic in TOPICS]
DOCUMENTS = ["README.md", "DEVELOPERS.md", "demo_data/README.md", *GUIDE]
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
    maker_file.StatedCourse,
    Chance,
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
    relations.Group,
    relations.Relation,
    relations.OlderBy,
    relations.ApartAtMost,
    relations.SameBatch,
    relations.Photographed,
    relations.Consecutive,
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
            assert anchor in {anchor_of(title) for title in titles}


@pytest.mark.parametrize("document", GUIDE)
def test_the_guide_links_to_nothing_beyond_it(document):
    """What is installed, and shown on the pages, is the guide alone."""
    targets = re.findall(r"\]\(([^)#]*)[^)]*\)", text_of(document))
    assert all(re.fullmatch(r"|[a-z]+\.md|pictures/[\w-]+\.(png|svg)", t) for t in targets), targets


def test_every_text_of_the_guide_is_linked_from_the_readme():
    linked = set(re.findall(r"\]\((dating/guide/[a-z]+\.md)\)", text_of("README.md")))
    assert linked == set(GUIDE)


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


A_MAKER = """
maker: x
product: y
period: 1925/1940
sources: {pay-book: {title: a pay book}}
events: {second-works: {what: a move, when: 1931-06}}
"""


def test_yaml_in_the_guide_to_files_is_understood(tmp_path):
    part_of_maker, coded_parts, examination, claims, group = blocks("dating/guide/files.md", "yaml")
    file = tmp_path / "maker.yaml"
    file.write_text(A_MAKER + part_of_maker, encoding="utf-8")
    (regime,) = dating.read_maker(file).features()["heel-joint"][1].history[1:2]
    assert regime.judged_overlap().quantile(0.5) == 4
    file.write_text(A_MAKER + coded_parts, encoding="utf-8")
    coded = dating.read_maker(file)
    component, mark = coded.marks()["speaker-code"]
    assert mark.stock in coded.stocks
    assert coded.stocks[mark.stock].delay.distribution().quantile(0.5) > 0
    assert coded.components[component].old_stock.chance.value == 0.05
    assert (mark.format, mark.supplier_code) == ("source-date", ("9312",))
    assert (mark.replaced.value, mark.doubt.value) == (0.15, 0.002)
    file = tmp_path / "x.yaml"
    file.write_text(examination, encoding="utf-8")
    maker = dating.read_maker("priors/marrowby.yaml")
    made = dating.estimate(maker, dating.read_examination(file))
    assert made.posterior.sum() == pytest.approx(1)
    file = tmp_path / "claims.yaml"
    folder = Path("demo_data/examinations").resolve()
    file.write_text(claims.replace("examinations/", f"{folder}/"), encoding="utf-8")
    assert len(weigh_manuscript(manuscript_of(read_claims(file), maker))) == 2
    file = tmp_path / "group.yaml"
    file.write_text(group.replace("examinations/", f"{folder}/"), encoding="utf-8")
    shown = read_group(file)
    assert list(group_of(shown, maker)) == ["M-001", "M-002", "M-003"]
    assert tuple(relation.kind for relation in shown.known) == relations.Relation.kinds


def test_every_command_is_in_the_readme():
    readme = text_of("README.md")
    assert all(f"`dating {name}" in readme for name in main.commands)


@pytest.mark.parametrize("name", main.commands)
def test_every_command_and_option_is_in_the_guide_as_the_command_says(name):
    text = text_of("dating/guide/commands.md")
    assert row_of(name) in text
    assert section_of(name) + "\n" in text
    section = text.split(f"## `dating {name}", maxsplit=1)[1].split("\n## ", maxsplit=1)[0]
    for option in main.commands[name].params:
        if isinstance(option, click.Option):
            assert f"- `{option.opts[0]}" in section, option.opts


def test_the_guide_describes_no_command_that_is_not_there():
    titles = re.findall(r"^## `dating (\w+)", text_of("dating/guide/commands.md"), re.MULTILINE)
    assert titles == list(main.commands)


def test_every_name_of_the_interface_is_in_the_guide():
    rows = re.findall(r"^\| `(\w+)` \| (.*) \|$", text_of("dating/guide/python.md"), re.MULTILINE)
    expected = {name: inspect.getdoc(getattr(dating, name)) for name in dating.__all__}
    assert dict(rows) == {
        name: text.splitlines()[0].replace("``", "`") for name, text in expected.items()
    }


def listed():
    """Every section of keys that the command lists, by its title."""
    kinds = ("maker", "examination", "claims", "group")
    return {one.title: one for kind in kinds for one in reference_of(schema_of(kind))}


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.__name__)
def test_every_key_of_the_files_is_described(model):
    section = listed()[model.model_config["title"]]
    keys = {field.alias or name for name, field in model.model_fields.items()}
    assert {key.name for key in section.keys} == keys
    assert all(key.words for key in section.keys)


def test_every_hazard_and_material_is_described():
    text = " ".join(reference_text(schema_of("maker"), 100).split())
    assert "each " + " or ".join(HAZARDS) in text
    assert "each " + " or ".join(MATERIALS) in text


def test_every_module_is_in_the_map():
    documented = set(
        re.findall(r"`([a-z_]+)`", text_of("DEVELOPERS.md").split("## How the model")[0])
    )
    names = {path.stem for path in Path("dating").glob("*.py")} - {"__init__"}
    packages = {path.parent.name for path in Path("dating").glob("*/__init__.py")}
    assert names | packages <= documented


def test_the_earliest_known_in_the_guide_for_authors_is_as_told(tmp_path):
    """Older by far, and yet improbable together with the neck, which was once another's."""
    _, together = blocks("dating/guide/author.md", "yaml")
    folder = Path("demo_data/examinations").resolve()
    listed = f"[{folder}/M-003.yaml, {folder}/M-006.yaml]"
    alone = together.replace("    all_of:\n      - {earliest", "    says:\n      {earliest")
    alone = "\n".join(alone.replace("earliest-screws", "alone").rstrip().splitlines()[:-1])
    file = tmp_path / "claims.yaml"
    head = f"maker: marrowby\nexaminations: {listed}\nclaims:\n"
    file.write_text(f"{head}{together.rstrip()}\n{alone}\n", encoding="utf-8")
    made = dating.weigh(read_claims(file))
    assert [one.claim.claim for one in made] == ["earliest-screws", "alone"]
    assert made[0].posterior.value < 0.1
    assert made[1].posterior.value > 0.9
