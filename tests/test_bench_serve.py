"""The command that serves the pages, as it is run; and the demo, from sources and from a wheel."""

import http.client
import os
import re
import signal
import socket
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
import zipfile
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlencode

import pytest
from click.testing import CliRunner

from dating import libraries
from dating.bench import demo
from dating.cli import serve as command
from dating.cli.main import main
from dating.reading import InputError
from tests.serving import ROOT, copied_demo

PATIENCE = 240
CLAIMS, MAKER = "demo_data/marrowby_claims.yaml", "priors/marrowby.yaml"
FORM = "application/x-www-form-urlencoded"


def as_at_a_terminal():
    """Let signals end the command even where the tests themselves run in the background."""
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, signal.SIG_DFL)


@contextmanager
def serving(tmp_path, *arguments, **variables):
    """Run the command; give the process and what it printed first."""
    program = [sys.executable, "-c", "from dating.cli.main import main; main()", "serve"]
    shown = {**os.environ, "TMPDIR": str(tmp_path), "PYTHONUNBUFFERED": "1", **variables}
    process = subprocess.Popen(
        [*program, *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=shown,
        cwd=ROOT,
        preexec_fn=as_at_a_terminal,  # noqa: PLW1509 (nothing else runs in this process yet)
    )
    try:
        yield process, process.stdout.readline().strip()
    finally:
        if process.poll() is None:
            process.kill()
        process.communicate(timeout=PATIENCE)


def looked_at(address):
    with urllib.request.urlopen(address, timeout=PATIENCE) as answer:
        return answer.status, answer.read().decode("utf-8")


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_a_copy_of_the_demo_is_served_and_removed_at_the_end(tmp_path, number):
    with serving(tmp_path, "--port", "0") as (process, address):
        assert re.fullmatch(r"http://127\.0\.0\.1:\d+/", address)
        status, page = looked_at(address)
        assert status == 200
        assert "priors/marrowby.yaml" in page
        assert "This is a copy of the invented demo" in page
        assert "Ctrl-C" in process.stdout.readline()
        (copy,) = tmp_path.glob("dating-demo-*")
        assert not list(copy.rglob("*.py"))
        process.send_signal(number)
        output, errors = process.communicate(timeout=PATIENCE)
    assert list(tmp_path.iterdir()) == []
    assert errors == ""
    assert process.returncode == (0 if number == signal.SIGINT else 128 + number)
    assert output == ("Stopped.\n" if number == signal.SIGINT else "")


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGHUP])
def test_what_is_under_way_at_the_end_is_cut_off_without_a_word(tmp_path, number):
    with serving(tmp_path, "--port", "0") as (process, address):
        host = address.removeprefix("http://").strip("/")
        body = urlencode({"file": CLAIMS, "maker": MAKER, "learned": "", "corpus": ""})
        asking = http.client.HTTPConnection(host, timeout=PATIENCE)
        headers = {"Origin": f"http://{host}", "Content-Type": FORM}
        asking.request("POST", "/claims/weigh?claim=lacquer-of-1934", body, headers)
        time.sleep(2)  # the first claim of a server takes longer than that
        process.send_signal(number)
        _, errors = process.communicate(timeout=PATIENCE)
        asking.close()
    assert errors == ""
    assert list(tmp_path.iterdir()) == []


def test_a_folder_is_served_and_left_alone(tmp_path):
    folder = copied_demo(tmp_path / "own")
    with serving(tmp_path, str(folder), "--port", "0") as (process, address):
        assert "copy of the invented demo" not in looked_at(address)[1]
        assert str(folder) in process.stdout.readline()
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=PATIENCE)
    assert (folder / "priors" / "marrowby.yaml").is_file()


def test_beyond_this_machine_a_token_is_printed_and_a_warning(tmp_path):
    host = "127.0.0.2"  # not the address that is taken for this machine alone
    try:
        with socket.socket() as trial:
            trial.bind((host, 0))
    except OSError:
        host = socket.gethostbyname(socket.gethostname())
    with serving(tmp_path, "--host", host, "--port", "0") as (process, address):
        assert re.fullmatch(rf"http://{re.escape(host)}:\d+/\?token=[\w-]{{40,}}", address)
        with pytest.raises(urllib.error.HTTPError, match="403"):
            looked_at(address.split("?", maxsplit=1)[0])
        opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
        with opener.open(address, timeout=PATIENCE) as answer:
            assert answer.status == 200
            assert "token" not in answer.url
        process.send_signal(signal.SIGINT)
        _, errors = process.communicate(timeout=PATIENCE)
    assert errors.startswith("Warning: others on the network can reach this address.")


def run(*arguments):
    return CliRunner().invoke(main, ["serve", *map(str, arguments)])


def test_a_port_that_is_taken_is_told(tmp_path):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        result = run(tmp_path, "--port", port)
    assert result.exit_code == 1
    assert f"cannot listen on 127.0.0.1, port {port}: Address already in use" in result.output


def test_where_the_usual_port_is_taken_another_is_chosen():
    with socket.socket() as taken:
        try:
            taken.bind(("127.0.0.1", command.USUAL_PORT))
            taken.listen()
        except OSError:
            pass  # somebody else has it, which does as well
        with command._listening("127.0.0.1", None) as listener:
            assert listener.getsockname()[1] not in {0, command.USUAL_PORT}


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["none"], "there is no folder none"),
        (["pyproject.toml"], "there is no folder pyproject.toml"),
        (["--port", "65536"], "65536 is not in the range"),
        (["--port", "-1"], "-1 is not in the range"),
        (["--port", "x"], "is not a valid integer range"),
        (["--host", "0.0.0.0"], "name one address of this computer"),
        (["--host", "::"], "name one address of this computer"),
        (["--host", "0"], "name one address of this computer"),
        (["--host", "none.invalid"], "cannot listen on none.invalid"),
        (["--host", "192.0.2.7"], "cannot listen on 192.0.2.7"),
        (["--host", "a" * 70], "cannot listen on"),
        (["--host", "x\u00e9..y"], "cannot listen on"),
    ],
)
def test_what_cannot_be_served_is_told_in_words(arguments, words):
    result = run(*arguments)
    assert result.exit_code in {1, 2}
    assert words in " ".join(result.output.split())
    assert not isinstance(result.exception, (OSError, ValueError))


def test_missing_libraries_are_named(monkeypatch):
    monkeypatch.setattr(libraries, "missing_of", lambda names: ["starlette"])
    result = run()
    assert result.exit_code == 1
    assert "serving pages needs starlette; install instrument-dating[bench]" in result.output


def test_the_browser_is_opened_only_if_asked(tmp_path, monkeypatch):
    served, opened = [], []
    monkeypatch.setattr("uvicorn.Server.run", lambda self, sockets: served.append(self.config))
    monkeypatch.setattr(command, "_open", opened.append)
    assert run(tmp_path, "--port", 0).exit_code == 0
    assert (len(served), opened) == (1, [])
    assert run(tmp_path, "--port", 0, "--open").exit_code == 0
    assert len(opened) == 1
    config = served[0]
    assert config.limit_concurrency is not None
    assert (config.access_log, config.workers, config.http) == (False, 1, "h11")


def test_other_commands_do_not_wait_for_the_libraries_of_the_pages():
    program = (
        "import sys; from dating.cli.main import main\n"
        "try: main(['--help'])\n"
        "except SystemExit: pass\n"
        "names = {'starlette', 'uvicorn', 'jinja2', 'anyio', 'asyncio'} & set(sys.modules)\n"
        "sys.exit(f'imported {names}' if names else 0)"
    )
    subprocess.run([sys.executable, "-c", program], check=True, capture_output=True, cwd=ROOT)


# The demo ---------------------------------------------------------------------------------------


def test_the_demo_is_found_beside_the_sources():
    assert demo.demo_place() == ROOT


def test_without_a_demo_one_is_told(tmp_path):
    with pytest.raises(InputError, match="the demo is not installed; name a folder of your own"):
        demo.demo_place((tmp_path, tmp_path / "none"))


def test_a_copy_goes_even_after_a_fault():
    def fail(copy):
        (copy / "more.yaml").write_text("a: 1\n", encoding="utf-8")
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError), demo.passing_demo() as copy:
        fail(copy)
    assert not copy.exists()
    assert (ROOT / "priors" / "marrowby.yaml").is_file()


def test_the_demo_is_found_in_a_wheel(tmp_path):
    """Built, unpacked and run far away from the sources."""
    builder = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path)]
    subprocess.run(builder, check=True, capture_output=True, cwd=ROOT)
    (wheel,) = tmp_path.glob("*.whl")
    installed = tmp_path / "installed"
    with zipfile.ZipFile(wheel) as packed:
        packed.extractall(installed)
    program = (
        "import sys; sys.path.insert(0, sys.argv[1])\n"
        "import dating; from dating.bench.demo import passing_demo\n"
        "from dating.bench.workspace import Workspace\n"
        "assert dating.__file__.startswith(sys.argv[1]), dating.__file__\n"
        "with passing_demo() as copy:\n"
        "    print(*(f.name for f in Workspace(copy).files()), sep='\\n')\n"
        "from dating.bench.requests import filled; filled('trouble.html.j2', problems={'x': ''})\n"
        "from pathlib import Path; import dating.bench.app as app\n"
        "assert (app._STATIC / 'bench.css').is_file()\n"
        "from dating.words.guide import PICTURES, TOPICS, guide_text\n"
        "assert all(map(guide_text, TOPICS)) and (PICTURES / 'M-003.png').is_file()"
    )
    result = subprocess.run(
        [sys.executable, "-I", "-c", program, str(installed)],
        check=True,
        capture_output=True,
        text=True,
        cwd=tempfile.gettempdir(),
    )
    wanted = {p.relative_to(ROOT).as_posix() for p in Path(ROOT / "demo_data").rglob("M-*.yaml")}
    assert {*wanted, "priors/marrowby.yaml", "demo_data/marrowby_corpus.csv"} <= set(
        result.stdout.splitlines()
    )
