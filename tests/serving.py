"""The pages under test: a copy of the demo, raw requests, and all that a folder holds."""

from __future__ import annotations

import asyncio
import hashlib
import shutil
from collections.abc import Iterable
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import quote, unquote_to_bytes, urlencode

from dating.bench.app import make_app
from dating.bench.guard import guard_for
from dating.bench.workspace import Workspace

ROOT = Path(__file__).parents[1]
HOST = "127.0.0.1:8000"


@dataclass(frozen=True)
class Answer:
    status: int
    headers: dict[str, str]
    body: bytes
    times: int
    """How often something was waited for from the one who asks."""

    @property
    def text(self) -> str:
        return self.body.decode("utf-8")


def copied_demo(folder: Path) -> Path:
    """Copy the demo to a folder, as the command does."""
    for name in ("priors", "demo_data"):
        shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns("*.py", "__*"))
    return folder


def pages_of(folder: Path, host: str = "127.0.0.1", port: int = 8000):
    return make_app(Workspace(folder), guard_for(host, port))


def ask(
    app,
    method: str = "GET",
    address: str = "/",
    *,
    query: str | bytes | dict = b"",
    headers: Iterable[tuple[str, str]] = (),
    body: bytes | dict | Iterable[bytes] = b"",
    host: str = HOST,
    kind: str = "http",
    broken_off: bool = False,
) -> Answer:
    """Send one request, as raw as it is given, and wait for the whole answer."""
    if isinstance(query, dict):
        query = urlencode(query)
    if isinstance(body, dict):
        body = urlencode(body, doseq=True).encode()
    chunks = [body] if isinstance(body, bytes) else list(body)
    said = (
        [*headers] if any(n.lower() == "host" for n, _ in headers) else [("host", host), *headers]
    )
    messages = [
        {"type": "http.request", "body": chunk, "more_body": broken_off or i < len(chunks) - 1}
        for i, chunk in enumerate(chunks)
    ]
    sent: list[dict] = []
    waited = 0

    async def receive():
        nonlocal waited
        waited += 1
        if not messages and not broken_off:
            await asyncio.Event().wait()  # the one who asks waits for the answer
        return messages.pop(0) if messages else {"type": "http.disconnect"}

    async def send(message):
        sent.append(message)

    scope = {
        "type": kind,
        "asgi": {"version": "3.0", "spec_version": "2.3"},
        "http_version": "1.1",
        "method": method,
        "scheme": "http" if kind == "http" else "ws",
        "path": unquote_to_bytes(address).decode("utf-8", "replace"),
        "raw_path": quote(address, safe="/%").encode(),
        "root_path": "",
        "query_string": query if isinstance(query, bytes) else query.encode("utf-8", "replace"),
        "headers": [(n.lower().encode("latin-1"), v.encode("latin-1")) for n, v in said],
        "client": ("127.0.0.1", 50000),
        "server": ("127.0.0.1", 8000),
    }
    asyncio.run(app(scope, receive, send))
    if kind != "http":
        return Answer(0, {}, repr(sent).encode(), waited)
    if not sent:
        return Answer(0, {}, b"", waited)
    start = sent[0]
    found = {n.decode(): v.decode("latin-1") for n, v in start.get("headers", [])}
    return Answer(start["status"], found, b"".join(m.get("body", b"") for m in sent[1:]), waited)


def held_by(folder: Path) -> str:
    """Fingerprint everything that a folder holds: names, kinds and contents."""
    told = hashlib.sha256()
    for path in sorted(folder.rglob("*")):
        told.update(path.relative_to(folder).as_posix().encode("utf-8", "surrogateescape") + b"\0")
        if path.is_file() and not path.is_symlink():
            told.update(path.read_bytes())
    return told.hexdigest()


class Page(HTMLParser):
    """What a page holds: elements, attributes, links, and forms as a browser would send them."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: set[str] = set()
        self.attributes: set[str] = set()
        self.links: list[str] = []
        self.forms: list[list[tuple[str, str]]] = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        said = dict(attrs)
        self.elements.add(tag)
        self.attributes |= set(said)
        if tag == "form":
            self.forms.append([])
        elif tag == "a":
            self.links.append(said.get("href") or "")
        elif tag in {"input", "textarea", "select"} and self.forms and said.get("name"):
            picked = said.get("type") not in {"radio", "checkbox"} or "checked" in said
            self.forms[-1] += [(said["name"], said.get("value") or "")] if picked else []


def linked(app, each: int) -> dict[str, list[tuple[str, Answer]]]:
    """Follow the links from the first page on; so many pages of each address at most."""
    waiting, seen = ["/"], {"/"}
    found: dict[str, list[tuple[str, Answer]]] = {}
    while waiting:
        place = waiting.pop(0)
        address, _, query = place.partition("?")
        if len(found.get(address, ())) >= each:
            continue
        answer = ask(app, address=address, query=query)
        found.setdefault(address, []).append((place, answer))
        links = [link.partition("#")[0] for link in Page(answer.text).links if link[:1] == "/"]
        fresh = [link for link in dict.fromkeys(links) if link not in seen]
        seen.update(fresh)
        waiting += fresh
    return found
