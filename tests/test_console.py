"""What goes in and out: standard input, outputs that break, signs that cannot be shown, widths."""

import io
import json
import os
import subprocess
import sys
from importlib.metadata import version
from pathlib import Path

import pytest
from click.testing import CliRunner

import dating
from dating import libraries
from dating.cli.main import main
from dating.cli.streams import CLOSED_PIPE, plain_sign, text_width
from dating.escapes import escaped
from dating.kinds import kind_of
from dating.notes.rules import rules_text
from dating.reading import InputError, Problem, read_yaml, write_whole
from dating.words.text import as_text

M_003 = "demo_data/examinations/M-003.yaml"
CORPUS, SALE = "demo_data/marrowby_corpus.csv", "demo_data/marrowby_sale.csv"
CLAIMS, MAKER = "demo_data/marrowby_claims.yaml", "priors/marrowby.yaml"


def run(*arguments, **options):
    return CliRunner().invoke(main, [str(argument) for argument in arguments], **options)


def command(*arguments, **variables):
    """Start the command as a person does, and give the process."""
    return subprocess.Popen(
        [sys.executable, "-m", "dating", *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env={**os.environ, **variables},
    )


@pytest.mark.parametrize("encoding", ["cp437", "ascii"])
def test_signs_that_an_output_cannot_carry_are_replaced(encoding):
    process = command("estimate", M_003, PYTHONIOENCODING=encoding)
    text, errors = process.communicate()
    assert (process.returncode, errors) == (0, b"")
    bar = "█" if encoding == "cp437" else "#"
    assert f"46 %  {bar * 15}" in text.decode(encoding)


@pytest.mark.parametrize(
    ("sign", "plain"), [("–", "-"), ("é", "e"), ("字", "?"), ("\udcff", r"\xff")]
)
def test_a_sign_is_replaced_by_what_comes_near_it(sign, plain):
    assert plain_sign(sign) == plain


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no full device here")
@pytest.mark.parametrize("arguments", [["check", M_003], ["--help"]])
def test_a_full_device_is_told_in_one_line(arguments):
    with open("/dev/full", "wb") as full:
        code = [sys.executable, "-m", "dating", *arguments]
        done = subprocess.run(code, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert done.returncode == 1
    assert done.stderr == "Error: the output cannot be written: No space left on device\n"


def test_a_reader_that_has_gone_ends_the_command_without_a_word():
    with command("check", M_003) as process:
        process.stdout.close()
        assert process.stderr.read() == b""
    assert process.returncode == CLOSED_PIPE


@pytest.mark.parametrize(
    "arguments", [["check", "a\0b"], ["estimate", M_003, "--picture", "a\0.svg"]]
)
def test_nul_in_a_path_is_wrong_usage(arguments):
    refused = run(*arguments)
    assert refused.exit_code == 2
    assert "NUL" in refused.output


def test_nul_in_a_path_within_a_file_is_a_located_problem(tmp_path):
    file = tmp_path / "claims.yaml"
    text = Path(CLAIMS).read_text(encoding="utf-8")
    file.write_text(text.replace("examinations/M-001.yaml", '"M\\0.yaml"', 1), encoding="utf-8")
    refused = run("weigh", file, "--maker", MAKER)
    assert (refused.exit_code, type(refused.exception)) == (1, SystemExit)
    assert "claims.yaml, line 5: examinations[1]: cannot be read" in refused.output
    assert r"'M\x00.yaml'" in refused.output
    with pytest.raises(InputError, match="cannot be written"):
        write_whole(tmp_path / "a\0b", b"")


def test_control_characters_of_a_file_are_shown_as_escapes(tmp_path):
    assert escaped("a\x1b[2J\r\u202e\x9b\n") == r"a\x1b[2J\r\u202e\x9b\n"
    assert escaped("שלום \u200f नमस्\u200dते é", "\n") == "שלום \u200f नमस्\u200dते é"
    assert "\x1b" not in str(Problem("a\x1b.yaml", 1, "k\u202e", "m\x00", "f", "a", "n\r"))
    file = tmp_path / "e.yaml"
    file.write_text(
        'instrument: "M \\e[31m \\u202e1931"\nmaker: marrowby\nseen: {nut: {other: "[/b]\\e"}}\n'
    )
    for arguments in (["estimate", file, "--maker", MAKER], ["check", file]):
        shown = run(*arguments, env={"COLUMNS": "100"})
        assert not {"\x1b", "\u202e"} & set(shown.output)
        assert shown.exit_code == 0
    assert r"M \x1b[31m \u202e1931" in run("estimate", file, "--maker", MAKER).output
    record = run("estimate", file, "--maker", MAKER, "--as", "json").output
    assert "\u202e" not in record
    assert json.loads(record)["instrument"] == "M \x1b[31m \u202e1931"


@pytest.mark.parametrize(
    ("arguments", "file", "said"),
    [
        (["estimate", "-"], M_003, "M-003: Marrowby Fretted Instrument Works, student"),
        (["check", "-"], M_003, "Examination standard input: no mistakes"),
        (["check", "-"], CORPUS, "Reference corpus standard input: no mistakes"),
        (["check", "-"], SALE, "Sale of 40 lots, standard input: no mistakes"),
        (["check", "-"], MAKER, "Maker file standard input: no mistakes"),
        (["draft", "-", "--name", "X", "--out", "{folder}/x.yaml"], CORPUS, "from 400 dated"),
        (["sale", "-", "--table", "{folder}/x.csv", "--maker", MAKER], "table", "1 instruments"),
    ],
)
def test_a_dash_is_standard_input(tmp_path, arguments, file, said):
    arguments = [argument.format(folder=tmp_path) for argument in arguments]
    content = "instrument,nut\nX,bone\n" if file == "table" else Path(file).read_bytes()
    shown = run(*arguments, input=content)
    assert shown.exit_code == 0
    assert said in shown.output


def test_names_in_standard_input_start_from_the_present_folder(monkeypatch):
    text = Path(CLAIMS).read_bytes()
    shown = run("check", "-", input=text).output
    assert "standard input, line 5: examinations[1]: there is no such file" in shown
    monkeypatch.chdir("demo_data")
    assert run("check", "-", input=text).output.startswith(
        "Claims file standard input: no mistakes"
    )


def test_standard_input_is_named_in_messages_and_read_once():
    refused = run("check", "-", input="instrument: X\nmaker: marrowby\nsen: {}\n")
    assert refused.exit_code == 1
    assert "standard input, line 3: sen" in refused.output
    assert run("check", "-", "-", input="").exit_code == 2


@pytest.mark.parametrize("columns", ["40", "100"])
def test_text_is_as_wide_as_the_terminal(columns):
    for arguments in (["estimate", M_003], ["check", MAKER, SALE], ["note", "--rules"]):
        lines = run(*arguments, env={"COLUMNS": columns}).output.splitlines()
        assert 0.8 * int(columns) < max(map(len, lines)) <= int(columns)


def test_no_word_is_broken_in_the_tables_of_forty_columns():
    estimate = dating.estimate(dating.read_maker(MAKER), dating.read_examination(M_003))
    narrow, wide = as_text(estimate, 40).split(), as_text(estimate).split()
    assert {"open-pored", "January", "tailpiece:", "celluloid"} <= set(narrow) & set(wide)
    assert "".join(rules_text(40).split()) == "".join(rules_text().split())


def test_the_width_of_text_has_bounds(monkeypatch):
    monkeypatch.delenv("COLUMNS", raising=False)
    monkeypatch.setattr(sys, "stdout", io.StringIO())
    assert text_width() == 80
    for columns, width in {"7": 40, "64": 64, "500": 100, "many": 80, "0": 80}.items():
        monkeypatch.setenv("COLUMNS", columns)
        assert text_width() == width


def test_each_command_has_a_line_of_help_that_is_whole():
    lines = run("--help", env={"COLUMNS": "80"}).output.split("Commands:\n")[1].splitlines()
    assert [line.split()[0] for line in lines] == list(main.commands)
    assert all(line.endswith(".") and "..." not in line for line in lines)


def test_check_tells_kinds_apart_by_keys_and_columns(tmp_path):
    shown = run("check", SALE, CLAIMS, "dating/notes/languages/de.yaml")
    assert shown.exit_code == 0
    assert "Sale of 40 lots" in shown.output
    assert "Language file" in shown.output
    bad = tmp_path / "sale.csv"
    text = Path(SALE).read_text(encoding="utf-8").splitlines()
    bad.write_text("\n".join([*text, text[3]]) + "\n", encoding="utf-8")
    refused = run("check", bad)
    assert refused.exit_code == 1
    assert "this lot is given twice, first in line 4" in refused.output


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("a.csv", b"instrument,bult\nX,1931\n", "nearest:  built"),
        ("a.yaml", b"period: 1931\nseed: 3\n", "judging by its keys"),
        ("a.xlsx", b"PK\x03\x04", "not a workbook"),
        ("a.docx", b"PK\x03\x04", "save a sheet as .xlsx or CSV"),
        ("a.parquet", b"PAR1", "dating sale --table"),
        ("a.md", b"# Notes: one\n\n- two: [", "not a known kind"),
        ("a.bin", b"\xff\xfe\x00", "not a known kind"),
        ("a.nc", b"\x89HDF\r\n\x1a\n" + b"\0" * 99, "it is no file that dating learn has written"),
    ],
)
def test_check_says_of_other_files_that_they_are_none_of_ours(tmp_path, name, content, said):
    file = tmp_path / name
    file.write_bytes(content)
    refused = run("check", file)
    assert (refused.exit_code, type(refused.exception)) == (1, SystemExit)
    assert f"{file}" in refused.output
    assert said in refused.output


def test_a_library_within_one_that_is_missing_is_missing_too():
    assert libraries.missing_of(["json", "no_such.library", "no_such"]) == [
        "no_such.library",
        "no_such",
    ]


ON_A_SMALL_INSTALLATION = """
import sys
from importlib.machinery import PathFinder
MISSING = set({missing!r}.split())
class Found(PathFinder):
    @classmethod
    def find_spec(cls, name, path=None, target=None):
        return None if name.split(".")[0] in MISSING else super().find_spec(name, path, target)
sys.meta_path = [finder for finder in sys.meta_path if finder is not PathFinder] + [Found]
from click.testing import CliRunner
from dating.cli.main import main
for arguments in {commands!r}:
    shown = CliRunner().invoke(main, arguments)
    print(shown.exit_code, type(shown.exception).__name__, shown.output.strip().split("\\n")[-1])
"""
LEARN = "pymc nutpie arviz arviz_stats arviz_plots arviz_base h5netcdf h5py scipy pytensor"
NOTE = "jinja2 markupsafe matplotlib cromulent docx typst xlsxwriter"


def on_a_small_installation(missing, *commands):
    code = ON_A_SMALL_INSTALLATION.format(missing=missing, commands=commands)
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return done.stdout.splitlines()


def test_without_extras_every_command_names_those_that_it_needs(tmp_path):
    learned, out = tmp_path / "x.nc", str(tmp_path / "out")
    learned.write_bytes(b"\x89HDF\r\n\x1a\n")
    wanted = {
        ("estimate", M_003, "--picture", f"{out}.svg"): "picture",
        ("estimate", M_003, "--learned", str(learned)): "learn",
        ("compare", M_003, M_003, "--picture", f"{out}.svg"): "picture",
        ("compare", M_003, M_003, "--page", f"{out}.html"): "note",
        ("compare", M_003, M_003, "--learned", str(learned)): "learn",
        ("learn", MAKER, CORPUS, "--out", f"{out}.nc"): "learn",
        ("learn", MAKER, CORPUS, "--out", f"{out}.nc", "--report", f"{out}.html"): "learn",
        ("calibrate", MAKER, CORPUS): "learn",
        ("calibrate", MAKER, CORPUS, "--picture", f"{out}.svg"): "learn",
        ("weigh", CLAIMS): "learn",
        ("weigh", CLAIMS, "--page", f"{out}.html"): "learn",
        ("note", M_003): "note",
        ("note", M_003, "--learned", str(learned)): "note,learn",
        ("sale", SALE, "--out", out): "note",
        ("sale", SALE, "--out", out, "--table", f"{out}.parquet"): "note,table",
        ("sale", SALE, "--table", f"{out}.parquet", "--maker", MAKER): "table",
        ("serve", "demo_data"): "bench",
        ("check", str(learned)): "learn",
    }
    missing = f"{LEARN} {NOTE} pyarrow numba dask starlette uvicorn"
    said = on_a_small_installation(missing, *map(list, wanted))
    for line, (arguments, extras) in zip(said, wanted.items(), strict=True):
        assert line.startswith("1 SystemExit "), (arguments, line)
        assert line.endswith(f"install instrument-dating[{extras}]"), (arguments, line)


def test_the_extra_of_notes_suffices_for_notes(tmp_path):
    forms = [part for form in ("markdown", "html", "linked-art") for part in ("--as", form)]
    missing = f"{LEARN} pyarrow numba dask starlette uvicorn"
    said = on_a_small_installation(missing, ["note", M_003, "--out", str(tmp_path / "n"), *forms])
    assert said[0].startswith("0 NoneType")


def test_the_package_shows_its_names_and_its_version():
    assert set(dating.__all__) | {"__version__"} <= set(dir(dating))
    assert dating.__version__ == version("instrument-dating")
    assert (Path(dating.__file__).parent / "py.typed").is_file()


def test_large_things_are_shown_shortly():
    maker, examination = dating.read_maker(MAKER), dating.read_examination(M_003)
    corpus = dating.read_corpus(CORPUS, maker)
    estimate = dating.estimate(maker, examination)
    for thing in (maker, examination, corpus, corpus.references[0], estimate):
        assert len(repr(thing)) < 200
        assert len(str(thing)) < 200
    assert "M-003" in repr(estimate)
    assert "median 1930-01, 90 % 1929-01 to 1931-03 (holds 91 %)" in repr(estimate)


def test_the_kind_of_a_file_is_told_before_it_is_checked():
    kinds = {MAKER: "maker", M_003: "examination", CORPUS: "corpus", SALE: "sale", CLAIMS: "claims"}
    kinds |= {"demo_data/marrowby_group.yaml": "group"}
    assert {file: kind_of(file) for file in kinds} == kinds
    assert read_yaml(MAKER).data["maker"]
