"""Only the one at the bench is answered, nothing outside the folder is read, nothing is lost."""

import errno
import html
import os
import re
import threading
from pathlib import Path
from urllib.parse import quote, urlencode

import pytest
import yaml

from dating.bench import guard
from dating.bench.app import LOOKED_AT
from dating.bench.file_cache import FileCache
from dating.bench.guard import COOKIE, LARGEST_REQUEST, GuardedApplication, guard_for
from dating.bench.listing import File
from dating.bench.requests import _TEMPLATES, filled
from dating.bench.workspace import (
    LARGEST,
    ChangedError,
    NotThereError,
    Workspace,
    version_of,
)
from dating.reading import InputError
from dating.words.page import templates_in
from tests.serving import HOST, Page, ask, copied_demo, held_by, linked, pages_of

MAKER = "priors/marrowby.yaml"
ADDRESS = "192.0.2.7:8000"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return copied_demo(tmp_path_factory.mktemp("demo"))


@pytest.fixture(scope="module")
def app(folder):
    return pages_of(folder)


# Who may ask ------------------------------------------------------------------------------------


@pytest.mark.parametrize("host", ["127.0.0.1:8000", "localhost:8000", "[::1]:8000"])
def test_own_hosts_are_answered(app, host):
    assert ask(app, host=host).status == 200


@pytest.mark.parametrize(
    "host",
    [
        "elsewhere.invalid:8000",
        "elsewhere.invalid",
        "127.0.0.1",
        "127.0.0.1:8001",
        "localhost.elsewhere.invalid:8000",
        "127.0.0.1:8000.elsewhere.invalid",
        "elsewhere.invalid@127.0.0.1:8000",
        "",
    ],
)
def test_a_foreign_host_is_refused(app, host):
    answer = ask(app, host=host)
    assert answer.status == 421
    assert b"marrowby" not in answer.body


def test_a_missing_or_repeated_host_is_refused(app):
    assert ask(app, headers=[("host", HOST), ("host", HOST)]).status == 421
    assert ask(app, headers=[("host", "elsewhere.invalid"), ("host", HOST)]).status == 421


@pytest.mark.parametrize(
    ("host", "address"),
    [
        ("::1", "[::1]:8000"),
        ("[::1]", "[::1]:8000"),
        ("0:0:0:0:0:0:0:1", "[::1]:8000"),
        ("127.0.0.1", "127.0.0.1:8000"),
        ("LocalHost", "localhost:8000"),
    ],
)
def test_the_address_that_is_listened_on_is_the_one_that_is_told(folder, host, address):
    guard = guard_for(host, 8000)
    assert guard.hosts[0] == address
    assert not guard.token
    answer = ask(GuardedApplication(pages_of(folder).app, guard), host=address)
    assert answer.status == 200


def test_a_port_that_browsers_leave_out_may_be_left_out():
    assert "localhost" in guard_for("127.0.0.1", 80).hosts
    assert "localhost" not in guard_for("127.0.0.1", 8000).hosts


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH"])
@pytest.mark.parametrize(
    "headers",
    [
        [("origin", "http://elsewhere.invalid")],
        [("origin", "null")],
        [("origin", "")],
        [("origin", "https://127.0.0.1:8000")],
        [("origin", "http://127.0.0.1:8001")],
        [("origin", "http://localhost:8000")],
        [("origin", "http://elsewhere.invalid"), ("origin", f"http://{HOST}")],
        [("sec-fetch-site", "cross-site")],
        [("sec-fetch-site", "same-site")],
        [("origin", f"http://{HOST}"), ("sec-fetch-site", "cross-site")],
    ],
)
def test_what_another_page_sends_is_refused(app, method, headers):
    assert ask(app, method, headers=headers).status == 403


def test_what_our_own_page_sends_is_not_refused(app):
    headers = [("origin", f"http://{HOST}"), ("sec-fetch-site", "same-origin")]
    assert ask(app, "POST", headers=headers).status == 405  # "/" is looked at only


# The token --------------------------------------------------------------------------------------


@pytest.fixture
def shared(folder):
    guard = guard_for("192.0.2.7", 8000)
    from dating.bench.app import make_app  # noqa: PLC0415

    return make_app(Workspace(folder), guard), guard.token


def test_without_its_token_an_open_address_shows_nothing(shared):
    app, _ = shared
    for address in [*LOOKED_AT, "/static/bench.css", "/nothing"]:
        answer = ask(app, address=address, host=ADDRESS)
        assert answer.status == 403
        assert b"marrowby" not in answer.body


def test_a_wrong_token_is_refused_wherever_it_stands(shared):
    app, token = shared
    for wrong in ("", "x", token[:-1], token + "x", token.swapcase(), "\u00e9", "%00", "\x80" * 40):
        assert ask(app, query={"token": wrong}, host=ADDRESS).status == 403
        cookie = [("cookie", f"{COOKIE}={quote(wrong, safe='%')}")]
        assert ask(app, headers=cookie, host=ADDRESS).status == 403
    assert ask(app, headers=[("cookie", 'a="; =;=;\x01')], host=ADDRESS).status == 403
    assert ask(app, headers=[("authorization", token)], host=ADDRESS).status == 403


def test_the_token_moves_from_the_address_into_a_cookie(shared):
    app, token = shared
    answer = ask(app, query={"token": token}, host=ADDRESS)
    assert answer.status == 303
    assert answer.headers["location"] == "/"
    cookie = answer.headers["set-cookie"]
    assert all(word in cookie for word in ("HttpOnly", "SameSite=Strict", "Path=/"))
    assert ask(app, headers=[("cookie", cookie.split(";")[0])], host=ADDRESS).status == 200


def test_the_token_leads_nowhere_else(shared):
    app, token = shared
    for path in ("//elsewhere.invalid/x", "/\\elsewhere.invalid", "/%0d%0ax: y"):
        place = ask(app, address=path, query={"token": token}, host=ADDRESS).headers["location"]
        assert re.fullmatch(r"/[^/\\\r\n][^\r\n]*", place)


def test_tokens_differ_and_are_long():
    tokens = {guard_for("192.0.2.7", 8000).token for _ in range(50)}
    assert len(tokens) == 50
    assert min(map(len, tokens)) >= 40


def test_tokens_are_compared_in_constant_time(shared, monkeypatch):
    app, token = shared
    compared = []
    honest = guard.secrets.compare_digest

    def watching(a, b):
        compared.append((a, b))
        return honest(a, b)

    monkeypatch.setattr(guard.secrets, "compare_digest", watching)
    ask(app, query={"token": token}, host=ADDRESS)
    ask(app, headers=[("cookie", f"{COOKIE}={token}")], host=ADDRESS)
    assert len(compared) >= 4  # both places each time, whichever of them held it
    assert not re.search(r"==\s*self\.guard\.token", Path(guard.__file__).read_text("utf-8"))


# Headers ----------------------------------------------------------------------------------------


def _answers(app):
    yield ask(app)
    yield ask(app, address="/static/bench.css")
    yield ask(app, address="/static/bench.js")
    yield ask(app, address="/static/none.js")
    yield ask(app, address="/static/")
    yield ask(app, address="/nothing")
    yield ask(app, "HEAD")
    yield ask(app, "BREW")
    yield ask(app, host="elsewhere.invalid")
    yield ask(app, "POST", headers=[("origin", "null")])
    yield ask(app, "POST", body=b"x" * (LARGEST_REQUEST + 1))


def test_every_answer_carries_the_headers(app):
    statuses = set()
    for answer in _answers(app):
        statuses.add(answer.status)
        policy = answer.headers["content-security-policy"]
        rules = dict(rule.split(" ", 1) for rule in policy.split("; "))
        assert rules["default-src"] == "'none'"
        assert rules["script-src"] == rules["style-src"] == rules["connect-src"] == "'self'"
        assert rules["frame-ancestors"] == rules["base-uri"] == "'none'"
        assert "unsafe" not in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "same-origin"
        assert answer.headers["cache-control"] == "no-store"
        assert answer.headers["x-frame-options"] == "DENY"
        assert answer.headers["cross-origin-resource-policy"] == "same-origin"
        assert "access-control-allow-origin" not in answer.headers
    assert {200, 403, 404, 405, 413, 421} <= statuses


def test_templates_hold_nothing_inline_and_nothing_from_elsewhere():
    folder = Path(guard.__file__).parent
    for path in sorted(folder.glob("templates/*.j2")):
        text = path.read_text("utf-8")
        assert not re.search(r"<style|\sstyle=|\son[a-z]+=|javascript:|\|\s*safe\b", text), path
        assert not re.search(r"<script(?![^>]*\ssrc=)", text), path
        assert not re.search(r"(src|href|action)=\"(https?:)?//", text), path
    for path in sorted(folder.glob("static/*.*s")):
        text = path.read_text("utf-8")
        assert not re.search(r"https?://(?!www\.w3\.org/)|@import|innerHTML|\beval\(", text), path


def test_templates_escape():
    assert templates_in(_TEMPLATES).autoescape is True


# Paths ------------------------------------------------------------------------------------------

BAD_NAMES = [
    "..",
    "../secret.yaml",
    "priors/../../secret.yaml",
    "priors/../priors/marrowby.yaml",
    "/etc/passwd",
    "//etc/passwd",
    "..\\secret.yaml",
    "priors\\marrowby.yaml",
    "C:\\secret.yaml",
    "C:secret.yaml",
    "priors/marrowby.yaml\0",
    "priors/\0/marrowby.yaml",
    "%2e%2e/secret.yaml",
    "..%2fsecret.yaml",
    ".hidden.yaml",
    ".git/config",
    "priors/.hidden.yaml",
    "~/secret.yaml",
    "priors/marrowby.yaml:stream",
    "CON",
    "con.yaml",
    "priors/NUL.yaml",
    "COM1.yaml",
    "lpt9",
    "aux .yaml",
    "priors/marrowby.yaml.",
    "priors/marrowby.yaml ",
    "",
    ".",
    "/",
    "a" * 300,
    "\u6728" * 90 + ".yaml",
    "a/" * 300,
    "priors",
    "outside.yaml",
    "outside/secret.yaml",
    "pipe.yaml",
    "\ud800.yaml",
    "priors/mar\nrowby.yaml",
    "priors/\u202emarrowby.yaml",
]


@pytest.fixture(scope="module")
def trapped(tmp_path_factory):
    """A folder with ways out of it."""
    above = tmp_path_factory.mktemp("above")
    (above / "secret.yaml").write_text("instrument: SECRET\nmaker: marrowby\n", encoding="utf-8")
    root = above / "folder"
    root.mkdir()
    copied_demo(root)
    (root / ".hidden.yaml").write_text("instrument: SECRET\nmaker: marrowby\n", encoding="utf-8")
    (root / "outside.yaml").symlink_to(above / "secret.yaml")
    (root / "outside").symlink_to(above)
    os.mkfifo(root / "pipe.yaml")
    return root


@pytest.mark.parametrize("name", BAD_NAMES)
def test_no_name_leads_out_of_the_folder(trapped, name):
    work = Workspace(trapped)
    before = held_by(trapped.parent)
    with pytest.raises(NotThereError):
        work.read(name)
    with pytest.raises(NotThereError):
        FileCache(work).examination(name)
    if name not in {"pipe.yaml"}:
        with pytest.raises(NotThereError):
            work.save(name, "instrument: X\n", "")
    assert held_by(trapped.parent) == before


def test_the_list_shows_nothing_hidden_or_linked(trapped):
    names = {file.name for file in Workspace(trapped).files()}
    assert MAKER in names
    assert not {n for n in names if "hidden" in n or "outside" in n or "secret" in n or "pipe" in n}
    assert b"SECRET" not in ask(pages_of(trapped)).body


@pytest.mark.parametrize("address", sorted(LOOKED_AT))
@pytest.mark.parametrize("field", ["file", "maker", "claims", "examination", "learned", "corpus"])
def test_no_page_looks_outside(trapped, address, field):
    app = pages_of(trapped)
    for name in BAD_NAMES:
        if name in {"", "."} or "\ud800" in name:
            continue
        answer = ask(app, address=address, query={field: name, "name": name})
        assert answer.status < 500
        assert b"SECRET" not in answer.body
        assert b"root:" not in answer.body


@pytest.mark.parametrize(
    "path",
    [
        "../app.py",
        "%2e%2e/app.py",
        "..%2fapp.py",
        "..\\app.py",
        "%00",
        "bench.css%00.js",
        "/etc/passwd",
        "%2fetc%2fpasswd",
        "a" * 5000,
        "\u202e",
        ".",
    ],
)
def test_static_files_come_from_their_folder_alone(app, path):
    answer = ask(app, address=f"/static/{path}")
    assert answer.status == 404
    assert b"import" not in answer.body


def test_static_files_are_sent_whole(app):
    for path in sorted((Path(guard.__file__).parent / "static").iterdir()):
        for _ in range(5):
            assert ask(app, address=f"/static/{path.name}").body == path.read_bytes()


# Sizes ------------------------------------------------------------------------------------------


def test_a_large_request_is_refused_without_being_read(app):
    length = [("content-length", str(LARGEST_REQUEST + 1))]
    answer = ask(app, "POST", headers=length, body=[b"x"] * 10)
    assert (answer.status, answer.times) == (413, 0)
    assert ask(app, "POST", headers=[("content-length", "9" * 5000)]).status == 413
    million = b"x" * 1_000_000
    answer = ask(app, "POST", body=[million] * 50)
    assert (answer.status, answer.times) == (413, 3)


def test_a_request_that_breaks_off_does_nothing(app, monkeypatch):
    asked = []
    monkeypatch.setattr("dating.bench.requests._fields", lambda body: asked.append(body) or {})
    answer = ask(app, "POST", "/", body=b"file=x&text=half", broken_off=True)
    assert (answer.status, asked) == (0, [])


def test_a_large_file_is_not_read(tmp_path, monkeypatch):
    (tmp_path / "large.yaml").write_bytes(b"instrument: x\n" + b"#" * LARGEST)
    (tmp_path / "small.yaml").write_bytes(b"instrument: x\n")
    read = []
    honest = Path.read_bytes
    monkeypatch.setattr(Path, "read_bytes", lambda self: read.append(self.name) or honest(self))
    work = Workspace(tmp_path)
    assert work.read("small.yaml")[0] == "instrument: x\n"
    with pytest.raises(NotThereError):
        work.read("large.yaml")
    assert read == ["small.yaml"]


def test_a_large_text_is_not_saved(tmp_path):
    with pytest.raises(InputError, match="more than"):
        Workspace(tmp_path).save("a.yaml", "x" * (LARGEST + 1), "")
    assert list(tmp_path.iterdir()) == []


# Markup in files --------------------------------------------------------------------------------

MARKUP = "</textarea></title><x-planted onclick=x title='\"'><script>planted()</script>{{ 7*7 }}"


def _with_markup(data, keys):
    if isinstance(data, list):
        return [_with_markup(item, keys) for item in data]
    if not isinstance(data, dict):
        return data
    return {
        key: MARKUP if key in keys and isinstance(value, str) else _with_markup(value, keys)
        for key, value in data.items()
    }


@pytest.fixture(scope="module")
def planted(tmp_path_factory):
    """The demo with markup in every text that may be free."""
    folder = copied_demo(tmp_path_factory.mktemp("planted"))
    names = {MAKER: ("what", "note", "ask", "how", "caution", "title", "where", "product")}
    names["demo_data/marrowby_claims.yaml"] = ("sentence", "place", "source", "manuscript")
    for number in (1, 3):
        names[f"demo_data/examinations/M-{number:03}.yaml"] = ("note", "by", "what")
    for name, keys in names.items():
        path = folder / name
        data = _with_markup(yaml.safe_load(path.read_text("utf-8")), keys)
        path.write_text(yaml.safe_dump(data, sort_keys=False), encoding="utf-8")
    return folder


SENDS = r'(?:action|formaction|data-live|data-save|data-load|data-weigh)="(/[^"]+)"'


def test_no_text_of_a_file_becomes_markup(planted):
    app, shelf = pages_of(planted), FileCache(Workspace(planted))
    assert shelf.maker(MAKER).product == MARKUP
    assert "x-planted" in str(shelf.examination("demo_data/examinations/M-001.yaml").model_dump())
    looked = linked(app, 2)
    assert set(looked) >= set(LOOKED_AT)
    answers = [answer for pages in looked.values() for _, answer in pages]
    for page in list(answers):
        form = max(Page(page.text).forms, key=len, default=[])
        for place in sorted(set(re.findall(SENDS, page.text)))[:3]:
            address, _, query = html.unescape(place).partition("?")
            answers.append(ask(app, "POST", address, query=query, body=urlencode(form).encode()))
    shown = 0
    for answer in answers:
        if not answer.headers["content-type"].startswith("text/html"):
            continue
        page = Page(answer.text)
        assert "x-planted" not in page.elements
        assert not {name for name in page.attributes if name.startswith("on")}
        assert "<script>planted" not in answer.text
        assert MARKUP.replace("{{ 7*7 }}", "49") not in html.unescape(answer.text)
        shown += "x-planted" in answer.text
    assert shown >= 4


def test_a_folder_named_like_markup_stays_text(tmp_path):
    (tmp_path / "a.yaml").write_text("instrument: [<x-planted>\n", encoding="utf-8")
    for address in LOOKED_AT:
        answer = ask(pages_of(tmp_path), address=address, query={"file": "<x-planted>"})
        assert "<x-planted>" not in answer.text
        answer = ask(pages_of(tmp_path), address=address, query={"file": "a.yaml"})
        assert answer.status < 500
        assert "<x-planted>" not in answer.text


def test_per_cent_keeps_to_its_number_but_not_in_what_is_sent_back():
    body = filled("trouble.html.j2", 400, problems={"90 % </li>": ""}).body.decode()
    assert "90\N{NO-BREAK SPACE}% &lt;/li&gt;" in body
    from dating.bench.requests import _keeping_per_cent  # noqa: PLC0415

    same = '<input value="90 %"><textarea a="b">90 % of\nall 80 %</textarea><pre>5 %</pre>'
    assert _keeping_per_cent(same) == same


def test_text_that_is_no_unicode_is_still_answered():
    assert filled("trouble.html.j2", 400, problems={"\ud800": ""}).status_code == 400


# Saving -----------------------------------------------------------------------------------------


def test_of_two_savers_the_second_is_refused_and_nothing_is_lost(tmp_path):
    work = Workspace(tmp_path)
    work.save("a.yaml", "first\n", "")
    _, version = work.read("a.yaml")
    saved, refused = [], []
    ready = threading.Barrier(16)

    def saver(number):
        ready.wait()
        try:
            work.save("a.yaml", f"by {number}\n", version)
            saved.append(number)
        except ChangedError as error:
            refused.append((number, error.text))

    threads = [threading.Thread(target=saver, args=(n,)) for n in range(16)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(saved) == 1
    assert len(refused) == 15
    assert work.read("a.yaml")[0] == f"by {saved[0]}\n"
    assert {text for _, text in refused} == {f"by {saved[0]}\n"}


def test_a_new_file_does_not_replace_one_that_came_meanwhile(tmp_path):
    work = Workspace(tmp_path)
    work.save("a.yaml", "one\n", "")
    with pytest.raises(ChangedError) as caught:
        work.save("a.yaml", "two\n", "")
    assert (caught.value.text, caught.value.version) == ("one\n", version_of(b"one\n"))
    (tmp_path / "a.yaml").unlink()
    with pytest.raises(ChangedError):
        work.save("a.yaml", "two\n", version_of(b"one\n"))
    assert list(tmp_path.iterdir()) == []


def test_an_empty_file_that_came_meanwhile_is_not_replaced(tmp_path):
    (tmp_path / "a.yaml").write_bytes(b"")
    with pytest.raises(ChangedError):
        Workspace(tmp_path).save("a.yaml", "two\n", "")
    Workspace(tmp_path).save("a.yaml", "two\n", version_of(b""))


def _full(*args, **kwargs):
    raise OSError(errno.ENOSPC, "No space left on device")


@pytest.mark.parametrize("where", ["os.replace", "os.fdopen", "os.chmod", "tempfile.mkstemp"])
def test_a_save_that_fails_leaves_the_old_file_alone(tmp_path, monkeypatch, where):
    work = Workspace(tmp_path)
    version = work.save("a.yaml", "old\n", "")
    before = held_by(tmp_path)
    monkeypatch.setattr(where, _full)
    with pytest.raises(InputError, match="No space left"):
        work.save("a.yaml", "new\n", version)
    monkeypatch.undo()
    assert held_by(tmp_path) == before
    assert work.save("a.yaml", "new\n", version) == version_of(b"new\n")


@pytest.mark.parametrize("where", ["os.replace", "os.fdopen"])
def test_a_crash_in_the_middle_of_a_save_leaves_the_old_file(tmp_path, monkeypatch, where):
    """As when the machine loses its power: nothing runs after it, not even tidying up."""

    def crash(*args, **kwargs):
        raise KeyboardInterrupt

    work = Workspace(tmp_path)
    version = work.save("a.yaml", "old\n", "")
    monkeypatch.setattr(where, crash)
    with pytest.raises(KeyboardInterrupt):
        work.save("a.yaml", "new\n", version)
    monkeypatch.undo()
    assert work.read("a.yaml") == ("old\n", version)
    assert work.files() == []  # what was left behind is not shown
    work.save("a.yaml", "new\n", version)


def test_a_file_that_cannot_be_read_is_told_in_words(tmp_path, monkeypatch):
    work = Workspace(tmp_path)
    version = work.save("a.yaml", "old\n", "")

    def refuse(self):
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(Path, "read_bytes", refuse)
    with pytest.raises(InputError, match=r"a\.yaml: cannot be read: Permission denied"):
        work.save("a.yaml", "new\n", version)


def test_only_yaml_is_saved_and_only_in_folders_that_are_there(tmp_path):
    work = Workspace(tmp_path)
    for name in ("a.py", "a", "a.yaml.exe", "none/a.yaml", "a.csv"):
        with pytest.raises(NotThereError):
            work.save(name, "x: 1\n", "")
    assert list(tmp_path.iterdir()) == []


def test_a_changed_file_is_read_anew(tmp_path):
    copied_demo(tmp_path)
    shelf = FileCache(Workspace(tmp_path))
    first = shelf.maker(MAKER)
    assert shelf.maker(MAKER) is first
    text, version = shelf.workspace.read(MAKER)
    shelf.workspace.save(MAKER, text + "# changed\n", version)
    assert shelf.maker(MAKER) is not first


# Other ways of asking ---------------------------------------------------------------------------


def test_sockets_are_refused(app):
    assert b"websocket.close" in ask(app, kind="websocket").body


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "TRACE", "CONNECT", "BREW", "get"])
def test_odd_methods_are_refused(app, folder, method):
    before = held_by(folder)
    for address in [*LOOKED_AT, "/static/bench.css"]:
        assert ask(app, method, address).status == 405
    assert held_by(folder) == before


def test_files_are_listed_with_their_kind(folder):
    found = Workspace(folder).files()
    assert File(MAKER, "maker") in found
    assert File("demo_data/marrowby_claims.yaml", "claims") in found
    assert File("demo_data/marrowby_corpus.csv", "corpus") in found
    assert File("demo_data/marrowby_sale.csv", "lots") in found
    assert not [file for file in found if "truth" in file.name]
