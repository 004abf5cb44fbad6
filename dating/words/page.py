"""A page that needs nothing beside it, and the pictures that stand in it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dating.words.spacing import keep_per_cent

if TYPE_CHECKING:
    from jinja2 import Environment

TEMPLATES = Path(__file__).parent / "templates"


@dataclass(frozen=True)
class PagePicture:
    """A picture that stands inside a page.

    Parameters
    ----------
    source : str
        The picture itself, as a data address.
    words : str
        What it shows, for those who do not see it.
    """

    source: str
    words: str


@lru_cache
def templates_in(*folders: Path) -> Environment:
    """Read the templates of folders, the first before the next; every name must be given."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined  # noqa: PLC0415

    return Environment(
        loader=FileSystemLoader(folders),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def page_of(template: str, content: Mapping[str, Any]) -> str:
    """Fill a template."""
    page = templates_in(TEMPLATES).get_template(template).render(**content).strip() + "\n"
    return keep_per_cent(page)
