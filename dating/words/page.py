"""A page that needs nothing beside it, and the pictures that stand in it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

_TEMPLATES = Path(__file__).parent / "templates"


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


def page_of(template: str, content: Mapping[str, Any]) -> str:
    """Fill a template."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined  # noqa: PLC0415

    environment = Environment(
        loader=FileSystemLoader(_TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    page = environment.get_template(template).render(**content).strip() + "\n"
    return page.replace(" %", "\N{NO-BREAK SPACE}%")
