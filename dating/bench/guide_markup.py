"""Markdown of the guide as HTML: links lead to pages, commands that show a page lead to it too."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache
from html import escape
from itertools import pairwise
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from markdown_it import MarkdownIt
    from markdown_it.token import Token

PICTURES = "/guide/pictures"
"""Address under which the pictures of the guide lie."""
_TOPIC = re.compile(r"([a-z]+)\.md(#.*)?")


def markup_of(markdown: str, pages: Mapping[str, str]) -> tuple[str, str]:
    r"""Turn Markdown into its title and the HTML that stands below it; no HTML is taken over.

    ``pages`` are addresses by what is written as code and leads there.

    Examples
    --------
    >>> markup_of("# Model\n\nSee `dating keys maker`.", {"dating keys maker": "/guide/keys"})
    ('Model', '<p>See <a href="/guide/keys"><code>dating keys maker</code></a>.</p>\n')
    """
    renderer = _renderer()
    tokens = renderer.parse(markdown)
    first = next((i for i, token in enumerate(tokens) if token.type == "heading_close"), -1)
    title = _words(tokens[first - 1]) if first >= 0 else ""
    rest = tokens[first + 1 :]
    for heading, inline in pairwise(rest):
        if heading.type == "heading_open":
            heading.attrSet("id", anchor_of(_words(inline)))
    for token in rest:
        if token.type == "inline":
            token.children = list(_led(token.children or (), pages))
    return title, renderer.renderer.render(rest, renderer.options, {})


def anchor_of(title: str) -> str:
    """Name the place of a title, as links within Markdown do.

    Examples
    --------
    >>> anchor_of("A date as one assessor judges it"), anchor_of("`dating keys`, in full")
    ('a-date-as-one-assessor-judges-it', 'dating-keys-in-full')
    """
    return re.sub(r"[^\w -]", "", title.lower()).replace(" ", "-")


def _led(tokens: Sequence[Token], pages: Mapping[str, str]) -> Iterator[Token]:
    """Lead the links, pictures and commands of a line to where they lie on the pages."""
    from markdown_it.token import Token  # noqa: PLC0415

    inside = False
    for token in tokens:
        if token.type in {"link_open", "link_close"}:
            inside = token.type == "link_open"
        if token.type == "link_open":
            token.attrSet("href", _address(str(token.attrGet("href"))))
        elif token.type == "image":
            name = str(token.attrGet("src")).rpartition("/")[2]
            token.attrSet("src", f"{PICTURES}/{name}")
        if token.type == "code_inline" and token.content in pages and not inside:
            yield Token("link_open", "a", 1, attrs={"href": pages[token.content]})
            yield token
            yield Token("link_close", "a", -1)
        else:
            yield token


def _address(target: str) -> str:
    """Give the page of another text of the guide."""
    topic = _TOPIC.fullmatch(target)
    return f"/guide?topic={topic[1]}{topic[2] or ''}" if topic else target


def _words(inline: Token) -> str:
    return "".join(token.content for token in inline.children or ())


@lru_cache
def _renderer() -> MarkdownIt:
    from markdown_it import MarkdownIt  # noqa: PLC0415

    page = MarkdownIt("commonmark", {"html": False}).enable("table")
    for kind in ("fence", "code_block"):
        page.add_render_rule(kind, _block)
    page.add_render_rule("table_open", _constant('<div class="wide" tabindex="0">\n<table>\n'))
    page.add_render_rule("table_close", _constant("</table>\n</div>\n"))
    return page


def _block(_: object, tokens: Sequence[Token], place: int, *__: Any) -> str:
    """Write a block of code, which a keyboard can reach, as it may have to be moved sideways."""
    return f'<pre tabindex="0"><code>{escape(tokens[place].content)}</code></pre>\n'


def _constant(markup: str) -> Any:
    def rule(*_: Any) -> str:
        return markup

    return rule
