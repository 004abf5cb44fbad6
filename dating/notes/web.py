"""A note as one page that needs nothing beside it, and runs nothing."""

from __future__ import annotations

import base64
import hashlib
from typing import Any

from dating.notes.filling import fill
from dating.notes.house import House
from dating.notes.note import Note
from dating.notes.picture import NotePicture
from dating.notes.plain_text import each_text, one_line
from dating.words.spacing import keep_per_cent


def as_html(note: Note, house: House, picture: NotePicture | None = None) -> str:
    """Set a note as a page.

    Raises InputError when the house's template has a fault.
    """
    content = {"note": each_text(note, one_line), "picture": each_text(picture, one_line)}
    return page(house, "note.html.j2", content)


def page(house: House, name: str, content: dict[str, Any]) -> str:
    """Fill a page with its style, and allow the browser that style and pictures inside alone.

    Parameters
    ----------
    house : House
        Where template and style come from.
    name : str
        The template.
    content : dict of str to object
        What it names beside ``style`` and ``policy``.

    Returns
    -------
    str
        HTML in which per cent keeps to its number.

    Raises
    ------
    InputError
        When the template has a fault.

    References
    ----------
    Content Security Policy Level 3 (W3C working draft, 2024), section 2.3.1 on hash sources.
    """
    from markupsafe import Markup  # noqa: PLC0415

    style = "\n" + keep_per_cent(house.style.replace("\r\n", "\n").replace("\r", "\n")) + "\n"
    fingerprint = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    policy = (
        f"default-src 'none'; style-src 'sha256-{fingerprint}'; img-src data:; "
        "base-uri 'none'; form-action 'none'"
    )
    safe = {"style": Markup(style), "policy": Markup(policy)}  # noqa: S704
    return keep_per_cent(fill(house, name, content | safe))
