"""What keeps the pages private: hosts, origins, a token, sizes and headers."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie
from ipaddress import ip_address
from typing import TYPE_CHECKING
from urllib.parse import parse_qs, quote

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

LARGEST_REQUEST = 2_000_000
COOKIE = "bench-token"
LOOPBACK = ("127.0.0.1", "localhost", "[::1]")
_HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
        "font-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; "
        "frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",  # with none at all, forms would not say where they come from
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "x-frame-options": "DENY",
    "cache-control": "no-store",
}


@dataclass(frozen=True)
class Guard:
    """Who may ask.

    Parameters
    ----------
    hosts : tuple of str
        What the header Host may say, with the port.
    token : str
        What every request must carry; empty where none is wanted.
    """

    hosts: tuple[str, ...]
    token: str = ""


def guard_for(host: str, port: int) -> Guard:
    """Make the guard for an address; a token is wanted wherever others could ask.

    Examples
    --------
    >>> guard_for("127.0.0.1", 8000).token, len(guard_for("192.0.2.7", 8000).token) > 30
    ('', True)
    >>> guard_for("0:0:0:0:0:0:0:1", 8000).hosts[0]
    '[::1]:8000'
    """
    own = _as_in_address(host)
    local = own in LOOPBACK
    names = dict.fromkeys((own, *LOOPBACK)) if local else (own,)
    token = "" if local else secrets.token_urlsafe(32)
    hosts = [f"{name}:{port}" for name in names]
    if port == 80:  # browsers leave it out
        hosts += names
    return Guard(tuple(hosts), token)


def _as_in_address(host: str) -> str:
    """Write an address as browsers do behind http://: the short form, IPv6 in brackets."""
    bare = host.removeprefix("[").removesuffix("]").lower()
    try:
        address = ip_address(bare)
    except ValueError:
        return bare
    return f"[{address.compressed}]" if address.version == 6 else str(address)


class GuardedApplication:
    """An application behind a guard.

    Parameters
    ----------
    app : ASGI application
        The pages.
    guard : Guard
        Who may ask.
    """

    def __init__(self, app: ASGIApp, guard: Guard) -> None:
        self.app = app
        self.guard = guard

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request, or refuse it."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            await send({"type": "websocket.close", "code": 1008})
            return
        send = _with_headers(send)
        headers = _said_once(scope)
        refusal = self._refusal(scope, headers)
        if refusal is not None:
            await _answer(send, *refusal)
            return
        if self.guard.token and self._is_token(_token_in(scope)):
            await _welcome(send, scope["path"], self.guard.token)
            return
        content = await _content(receive, headers.get("content-length", "0"))
        if content is None:
            await _answer(send, 413, "The request is too large.")
            return
        if content is not _BROKEN_OFF:
            await self.app(scope, _once(bytes(content), receive), send)

    def _refusal(self, scope: Scope, headers: dict[str, str]) -> tuple[int, str] | None:
        if headers.get("host", "") not in self.guard.hosts:
            return 421, "These pages answer only at their own address."
        if scope["method"] not in {"GET", "HEAD"}:
            own = f"http://{headers['host']}"
            site = headers.get("sec-fetch-site", "none")
            if headers.get("origin", own) != own or site not in {"same-origin", "none"}:
                return 403, "The request came from another page."
        if self.guard.token and not self._known(scope, headers):
            return 403, "Open the full address, with its token, as printed at the start."
        return None

    def _known(self, scope: Scope, headers: dict[str, str]) -> bool:
        try:
            cookie = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
        except CookieError:
            cookie = None
        return any(
            [self._is_token(cookie.value if cookie else ""), self._is_token(_token_in(scope))]
        )

    def _is_token(self, text: str) -> bool:
        """Compare in a time that does not tell how much of it is right."""
        return secrets.compare_digest(text.encode("utf-8", "replace"), self.guard.token.encode())


def _said_once(scope: Scope) -> dict[str, str]:
    """Give the headers by name; of one that is repeated all that was said, which no rule allows."""
    headers: dict[str, str] = {}
    for raw_name, raw_value in scope["headers"]:
        name, value = raw_name.decode("latin-1").lower(), raw_value.decode("latin-1")
        headers[name] = f"{headers[name]}, {value}" if name in headers else value
    return headers


def _token_in(scope: Scope) -> str:
    """Give the token in the address, if there is one."""
    try:
        query: bytes = scope["query_string"]
        fields: dict[str, list[str]] = parse_qs(query.decode("latin-1"), max_num_fields=200)
    except ValueError:
        return ""
    return fields.get("token", [""])[0]


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            own = [(name.encode(), value.encode()) for name, value in _HEADERS.items()]
            headers = message.get("headers", [])
            others = [pair for pair in headers if pair[0].decode("latin-1") not in _HEADERS]
            message = {**message, "headers": others + own}
        await send(message)

    return sending


_BROKEN_OFF = bytearray()


async def _content(receive: Receive, length: str) -> bytearray | None:
    """Read the whole request; None where it is too large, and nothing of one broken off."""
    if length.isdecimal() and (len(length) > 20 or int(length) > LARGEST_REQUEST):
        return None
    content = bytearray()
    while True:
        message = await receive()
        if message["type"] == "http.disconnect":
            return _BROKEN_OFF
        content += message.get("body", b"")
        if len(content) > LARGEST_REQUEST:
            return None
        if not message.get("more_body", False):
            return content


def _once(content: bytes, receive: Receive) -> Receive:
    """Give a request that has been read whole to the pages; after it comes what really comes."""
    messages = [{"type": "http.request", "body": content, "more_body": False}]

    async def receiving() -> Message:
        return messages.pop() if messages else await receive()

    return receiving


async def _answer(send: Send, status: int, words: str) -> None:
    headers = [(b"content-type", b"text/plain; charset=utf-8")]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": words.encode()})


async def _welcome(send: Send, path: str, token: str) -> None:
    """Keep the token in a cookie, and take it out of the address."""
    cookie = f"{COOKIE}={token}; HttpOnly; SameSite=Strict; Path=/"
    place = quote("/" + path.lstrip("/\\"))
    headers = [(b"location", place.encode()), (b"set-cookie", cookie.encode())]
    await send({"type": "http.response.start", "status": 303, "headers": headers})
    await send({"type": "http.response.body", "body": b""})
