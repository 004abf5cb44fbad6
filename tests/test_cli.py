"""What a user sees on the command line."""

import json
import re
import subprocess
import sys
from pathlib import Path

import click
import pytest
import yaml
from click.testing import CliRunner

from dating.cli.main import main

M_001 = "demo_data/examinations/M-001.yaml"
M_003 = "demo_data/examinations/M-003.yaml"


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def test_text_answers_every_question_within_80_columns():
    shown = run("estimate", M_001)
    assert shown.exit_code == 0
    for title in (
        "WHEN IT WAS BUILT",
        "DO THE PARTS BELONG TOGETHER?",
        "WHAT EACH OBSERVATION SAYS",
        "CONTRADICTIONS",
        "WHAT TO LOOK AT NEXT",
    ):
        assert title in shown.output
    assert max(len(line) for line in shown.output.splitlines()) <= 80
    assert "not a certificate" in " ".join(shown.output.split())
    assert "invented" in shown.output


def test_every_examination_of_the_demo_can_be_shown():
    for file in sorted(Path("demo_data/examinations").glob("*.yaml")):
        shown = run("estimate", file)
        assert shown.exit_code == 0
        assert max(len(line) for line in shown.output.splitlines()) <= 80


def test_json_carries_everything_with_units_and_provenance():
    record = json.loads(run("estimate", M_003, "--as", "json").output)
    assert sum(month["probability"] for month in record["built"]["by_month"]) == pytest.approx(1)
    assert sum(record["built"]["by_year"].values()) == pytest.approx(1)
    assert record["units"]["weight"].startswith("bits")
    provenance = record["provenance"]
    assert re.fullmatch("[0-9a-f]{64}", provenance["maker_file"]["sha256"])
    assert provenance["maker_file"]["file"] == "priors/marrowby.yaml"
    assert provenance["seed"] == 1
    assert provenance["draws"] >= 128
    assert set(provenance["versions"]) == {"instrument-dating", "numpy", "python"}
    neck = next(part for part in record["components"] if part["component"] == "neck")
    assert neck["original"] < 0.5


def test_each_piece_of_evidence_names_the_lines_it_rests_on():
    record = json.loads(run("estimate", M_001, "--as", "json").output)
    piece = next(item for item in record["evidence"] if item["name"] == "heel-joint")
    lines = Path("priors/marrowby.yaml").read_text(encoding="utf-8").splitlines()
    assert piece["from"]["maker_file"]["key"] == "components.neck.features.heel-joint"
    assert lines[piece["from"]["maker_file"]["line"] - 1].strip().startswith("heel-joint:")
    seen = Path(M_001).read_text(encoding="utf-8").splitlines()
    assert seen[piece["from"]["examination"]["line"] - 1].strip().startswith("heel-joint:")
    assert piece["from"]["sources"]


def test_yaml_says_the_same_as_json():
    as_json = json.loads(run("estimate", M_001, "--as", "json").output)
    assert yaml.safe_load(run("estimate", M_001, "--as", "yaml").output) == as_json


def test_the_same_seed_gives_the_same_bytes_and_another_seed_does_not():
    first = run("estimate", M_001, "--as", "json", "--seed", 7).output
    assert run("estimate", M_001, "--as", "json", "--seed", 7).output == first
    other = json.loads(run("estimate", M_001, "--as", "json", "--seed", 8).output)
    assert other["built"]["by_month"] != json.loads(first)["built"]["by_month"]


def test_level_widens_the_set():
    def months(level):
        record = json.loads(run("estimate", M_001, "--as", "json", "--level", level).output)
        return record["built"]["highest_density"][-1]["months"]

    assert months(0.6) < months(0.9) < months(0.99)


@pytest.mark.parametrize("level", ["0", "1", "90", "nan", "much"])
def test_a_level_that_is_none_is_refused(level):
    refused = run("estimate", M_001, "--level", level)
    assert refused.exit_code == 2
    assert "--level" in refused.output


@pytest.mark.parametrize("ending", ["svg", "png", "pdf"])
def test_a_picture_is_drawn_reproducibly(tmp_path, ending):
    first, second = tmp_path / f"a.{ending}", tmp_path / f"b.{ending}"
    assert run("estimate", M_001, "--picture", first).exit_code == 0
    run("estimate", M_001, "--picture", second)
    assert first.read_bytes() == second.read_bytes()
    assert len(first.read_bytes()) > 5_000


@pytest.mark.parametrize("name", ["a.jpg", "a", "no/such/folder/a.svg"])
def test_a_picture_that_cannot_be_saved_is_refused_before_any_work(tmp_path, name):
    refused = run("estimate", M_001, "--picture", tmp_path / name)
    assert refused.exit_code == 2
    assert "WHEN IT WAS BUILT" not in refused.output
    assert list(tmp_path.iterdir()) == []


def test_unknown_names_are_answered_with_the_nearest(tmp_path):
    file = tmp_path / "x.yaml"
    file.write_text(
        "instrument: X\nmaker: marrowby\nseen:\n  heel-joint: doweled\n  hel-joint: dowelled\n",
        encoding="utf-8",
    )
    refused = run("estimate", file, "--maker", "priors/marrowby.yaml")
    assert refused.exit_code == 1
    assert f"{file}, line 4: seen.heel-joint" in refused.output
    assert "found:    'doweled'" in refused.output
    assert "nearest:  dowelled" in refused.output
    assert f"{file}, line 5: seen.hel-joint" in refused.output
    assert "nearest:  heel-joint" in refused.output
    assert "Traceback" not in refused.output


def test_a_missing_maker_file_is_named(tmp_path):
    file = tmp_path / "x.yaml"
    file.write_text("instrument: X\nmaker: marrowbee\n", encoding="utf-8")
    refused = run("estimate", file)
    assert refused.exit_code == 1
    assert "marrowbee.yaml" in refused.output
    assert "--maker" in refused.output


def test_impossible_evidence_names_what_excludes_what(tmp_path):
    file = tmp_path / "x.yaml"
    file.write_text(
        "instrument: X\nmaker: marrowby\ndocuments:\n"
        "  - {what: a receipt, not_after: 1930, trust: 1}\n"
        "  - {what: an advertisement, not_before: 1932, trust: 1}\n",
        encoding="utf-8",
    )
    refused = run("estimate", file, "--maker", "priors/marrowby.yaml")
    assert refused.exit_code == 1
    assert "document 1" in refused.output
    assert "document 2" in refused.output


def test_check_says_what_was_understood():
    shown = run("check", "priors/marrowby.yaml", M_001)
    assert shown.exit_code == 0
    assert "Maker file priors/marrowby.yaml: no mistakes found" in shown.output
    assert f"Examination {M_001}: no mistakes found" in shown.output
    assert "heel-joint" in shown.output
    assert "not examined:" in shown.output
    assert max(len(line) for line in shown.output.splitlines()) <= 80


def test_check_lists_all_problems_of_all_files(tmp_path):
    bad, worse = tmp_path / "bad.yaml", tmp_path / "worse.yaml"
    bad.write_text("instrument: X\nmaker: marrowby\nsen: {}\n", encoding="utf-8")
    worse.write_text("instrument: [X\n", encoding="utf-8")
    shown = run("check", bad, M_001, worse, tmp_path / "none.yaml")
    assert shown.exit_code == 1
    assert f"{bad}, line 3: sen" in shown.output
    assert f"{worse}, line " in shown.output
    assert "there is no such file" in shown.output
    assert f"Examination {M_001}: no mistakes found" in shown.output
    assert "3 problems in 4 file(s)" in shown.output


def test_every_command_has_help_that_ends_in_an_example():
    for name, command in main.commands.items():
        shown = run(name, "--help").output
        assert f"dating {name}" in shown
        assert f"Example:\n    dating {name} " in shown
        assert all(p.help for p in command.params if isinstance(p, click.Option))


@pytest.mark.parametrize("arguments", [["--help"], ["estimate", M_001], ["check", M_001]])
def test_nothing_heavy_is_imported(arguments):
    """PyMC, ArviZ, matplotlib, scipy, pandas and xarray are imported by what needs them only."""
    code = (
        "import sys; from dating.cli.main import main\n"
        f"try: main({arguments!r})\nexcept SystemExit: pass\n"
        "heavy = {'pymc', 'arviz', 'matplotlib', 'scipy', 'pandas', 'xarray'} & set(sys.modules)\n"
        "print('HEAVY', sorted(heavy))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "HEAVY []"
