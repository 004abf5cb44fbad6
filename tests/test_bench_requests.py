"""Whatever is asked of the pages: an answer in words, nothing written, no failure of their own."""

import re
from pathlib import Path
from urllib.parse import quote_from_bytes

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dating.bench import app as bench
from dating.bench.workspace import Workspace
from tests.serving import HOST, Page, ask, copied_demo, held_by, linked, pages_of

ADDRESSES = sorted({*bench.LOOKED_AT, *bench.SENT})
FILES = [
    "priors/marrowby.yaml",
    "demo_data/examinations/M-001.yaml",
    "demo_data/marrowby_claims.yaml",
    "demo_data/marrowby_corpus.csv",
    "demo_data/marrowby_sale.csv",
    "demo_data/marrowby_truth.yaml",
]
EACH = max(40, -(-1200 // len(ADDRESSES)))
"""Requests to each address, at least 1,000 in all."""


def _names_of_fields() -> list[str]:
    """Every name that a template gives a field, with an odd end where a template makes it up."""
    folder = Path(bench.__file__).parent
    text = "".join(path.read_text("utf-8") for path in sorted(folder.glob("templates/*.j2")))
    text += "".join(path.read_text("utf-8") for path in sorted(folder.glob("*.py")))
    named = re.findall(r'name="([^"]+)"', text)
    named += re.findall(r'(?:field|require|get)\(f?"([^"]+)"', text)
    plain = {re.sub(r"\{\{?.*?\}\}?", "heel-joint", name) for name in named}
    return sorted(plain | {"file", "maker", "version", "text", "claim", "learned", "corpus"})


ODD = [
    "",
    "/",
    "//",
    ".",
    "..",
    " ",
    "\0",
    "0",
    "-1",
    "1e999",
    "nan",
    "inf",
    "9" * 400,
    "1" + "0" * 5000,
    "0x10",
    "\u0661\u0662",
    "\ud800",
    "\U0001f3bb\u202e",
    "../../etc/passwd",
    "{{ 7*7 }}",
    "<script>x</script>",
    "%00",
    "a: [b, {c: d}]",
    "- " * 500,
    "[" * 200,
    "&a [*a, *a]",
    "!!python/object:os.system x",
    "1931-13",
    "1931-02-30",
    "9999-12/0001-01",
    "1930-01/1931",
    "heel-joint",
    "dovetail",
    "true",
    "null",
    "en",
    "md",
    "docx",
]
NAMES = _names_of_fields()
odd_text = st.sampled_from(ODD) | st.text(max_size=40) | st.integers().map(str)
value = st.sampled_from(FILES) | odd_text | st.floats().map(str)
field = st.tuples(st.sampled_from(NAMES) | odd_text, value)
pairs = st.lists(field, max_size=8)
files_first = st.sampled_from(FILES).flatmap(
    lambda name: pairs.map(lambda given: [("file", name), ("maker", FILES[0]), *given])
)


def _encoded(given: list[tuple[str, str]]) -> bytes:
    def coded(text):
        return quote_from_bytes(text.encode("utf-8", "surrogatepass"))

    return "&".join(f"{coded(name)}={coded(text)}" for name, text in given).encode()


form = (pairs | files_first).map(_encoded)
junk = st.binary(max_size=200) | st.just(b"&" * 5000) | st.just(b"a=" + b"%" * 999) | st.just(b"=")
headers = st.lists(
    st.tuples(
        st.sampled_from(
            [
                "content-type",
                "cookie",
                "accept",
                "range",
                "if-none-match",
                "content-length",
                "transfer-encoding",
                "accept-language",
                "x-forwarded-host",
                "referer",
            ]
        ),
        st.sampled_from(
            [
                "",
                "application/json",
                "multipart/form-data",
                "bytes=5-2",
                "bytes=-",
                "*",
                "-5",
                "a=b;;",
            ]
        )
        | st.text(st.characters(max_codepoint=255), max_size=30),
    ),
    max_size=3,
)
method = st.sampled_from(
    ["GET", "GET", "POST", "POST", "POST", "HEAD", "PUT", "OPTIONS", "get", ""]
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return copied_demo(tmp_path_factory.mktemp("demo"))


@pytest.fixture(scope="module")
def app(folder):
    return pages_of(folder)


OTHER_VERSION = b"&version=" + b"0" * 64
"""Stands at the end of whatever is sent: no file has it, so nothing may be written."""


def _asked(app, folder, address, *, method, query, sent, given):
    before = held_by(folder)
    sent += OTHER_VERSION
    answer = ask(app, method, address, query=query, body=sent, headers=given)
    assert 200 <= answer.status < 500, answer
    assert held_by(folder) == before
    if answer.status >= 400 and method != "HEAD":
        of_a_page = answer.headers["content-type"].startswith("text/html")
        assert not of_a_page or 'id="trouble"' in answer.text or 'id="both"' in answer.text
    assert b"Traceback" not in answer.body


@pytest.mark.parametrize("address", ADDRESSES)
def test_no_request_makes_the_pages_fail(app, folder, address):
    @settings(max_examples=EACH, suppress_health_check=list(HealthCheck), deadline=None)
    @given(method=method, query=form | junk, sent=form | junk, given=headers)
    def trial(method, query, sent, given):
        _asked(app, folder, address, method=method, query=query, sent=sent, given=given)

    trial()


@pytest.fixture(scope="module")
def forms(app):
    pages = [Page(answer.text) for pages in linked(app, 2).values() for _, answer in pages]
    found = [form for page in pages for form in page.forms if form]
    assert len(found) >= 5
    return found


@pytest.mark.parametrize("address", sorted(bench.SENT))
def test_no_form_with_odd_answers_makes_the_pages_fail(app, folder, forms, address):
    @settings(max_examples=30, suppress_health_check=list(HealthCheck), deadline=None)
    @given(data=st.data())
    def trial(data):
        form = list(data.draw(st.sampled_from(forms)))
        for _ in range(data.draw(st.integers(0, 3))):
            place = data.draw(st.integers(0, len(form) - 1))
            name = form[place][0]
            form[place] = (name, data.draw(value))
        form += data.draw(st.lists(field, max_size=2))
        query = data.draw(st.sampled_from([b"", b"as=md", b"claim=no-screws", b"piece=nut"]) | junk)
        _asked(app, folder, address, method="POST", query=query, sent=_encoded(form), given=[])

    trial()


@settings(max_examples=300, suppress_health_check=list(HealthCheck), deadline=None)
@given(
    path=st.text(max_size=60) | st.sampled_from(["//", "/.", "/%2e%2e/", "/static//x", "/a" * 400]),
    method=method,
    query=form | junk,
)
def test_no_address_makes_the_pages_fail(app, folder, path, method, query):
    answer = ask(app, method, "/" + path.encode("utf-8", "replace").decode(), query=query)
    assert 200 <= answer.status < 500


def test_deeply_nested_and_very_many_fields_are_refused_in_words(app, folder):
    before = held_by(folder)
    for address in ADDRESSES:
        for sent in (b"a&" * 200_000, b"file=" + b"[" * 500_000, b"a[b]" * 1000 + b"=1"):
            headers = [("origin", f"http://{HOST}")]
            assert ask(app, "POST", address, body=sent, headers=headers).status < 500
    assert held_by(folder) == before


def test_the_names_of_fields_were_found():
    assert {"file", "maker", "version"} <= set(NAMES)
    assert not [name for name in NAMES if "{" in name]
    assert len(Workspace(Path(__file__).parents[1]).files("maker")) >= 1
