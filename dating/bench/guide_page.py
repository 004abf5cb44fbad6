"""The guide as pages: its topics, the keys of files, and the rules by which notes are worded."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from markupsafe import Markup
from starlette.exceptions import HTTPException
from starlette.responses import Response

from dating.bench.guide_markup import anchor_of, markup_of
from dating.bench.requests import PageRequest, filled
from dating.notes.rules import rules_text
from dating.schemas import MODELS, schema_of
from dating.words.guide import TOPICS, guide_markdown
from dating.words.reference import KeyEntry, reference_of

RULES = "/guide/rules"
_SEE = re.compile(r"\(see ([^)]*)\)")


@dataclass(frozen=True)
class GuideLink:
    """A page of the guide as others name it.

    Parameters
    ----------
    address : str
        Where it is.
    command : str
        The command that shows the same in a terminal.
    title : str
        Its title in the list of all pages.
    about : str
        What it is about.
    """

    address: str
    command: str
    title: str
    about: str


def _links() -> Iterator[GuideLink]:
    for topic, about in TOPICS.items():
        address = f"/guide?topic={topic}"
        yield GuideLink(address, f"dating guide {topic}", topic.capitalize(), about)
    for kind, model in MODELS.items():
        name = str(model.model_config["title"])
        title = f"Keys of {name[0].lower()}{name[1:]}"
        about = "what each means, whether it is needed, what is allowed"
        yield GuideLink(f"/guide/keys?of={kind}", f"dating keys {kind}", title, about)
    about = "how a note says no more than the evidence"
    yield GuideLink(RULES, "dating note --rules", "Rules of wording", about)


LINKS = tuple(_links())
_PAGES = {link.command: link.address for link in LINKS}


def guide(request: PageRequest) -> Response:
    """Show a topic, or all that there are."""
    topic = request.query.get("topic", "")
    if not topic:
        return filled("guide.html.j2", title="Guide", here="", links=LINKS, content="")
    if topic not in TOPICS:
        raise HTTPException(404)
    title, content = markup_of(guide_markdown(topic), _PAGES)
    return _shown(f"/guide?topic={topic}", title, content)


def rules(_: PageRequest) -> Response:
    """Show the rules by which notes are worded."""
    _title, content = markup_of(f"# \n\n{rules_text()}", _PAGES)
    return _shown(RULES, "How notes are worded", content)


def keys(request: PageRequest) -> Response:
    """Show the keys of a kind of file."""
    kind = next((kind for kind in MODELS if kind == request.query.get("of", "")), None)
    if kind is None:
        raise HTTPException(404)
    sections = [
        (section, anchor_of(section.title), [(key, _pieces(key)) for key in section.keys])
        for section in reference_of(schema_of(kind))
    ]
    return filled(
        "guide_keys.html.j2", here=f"/guide/keys?of={kind}", links=LINKS, sections=sections
    )


def _shown(here: str, title: str, content: str) -> Response:
    """Show a text; its markup was made from Markdown that comes with the package."""
    markup = Markup(content)  # noqa: S704
    return filled("guide.html.j2", title=title, here=here, links=LINKS, content=markup)


def _pieces(key: KeyEntry) -> list[tuple[str, str]]:
    """Cut the words about a key into text and titles that it refers to, with their anchors."""
    parts = _SEE.split(key.words)
    return [(part, anchor_of(part) if odd % 2 else "") for odd, part in enumerate(parts)]
