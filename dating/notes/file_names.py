"""Names of files made from lots, so that none leads elsewhere, is refused or stands twice."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Collection, Iterable

LONGEST = 60
"""Characters of a name at most, its ending not counted."""
_OTHER = re.compile(r"[^A-Za-z0-9]+")
_RESERVED = re.compile(r"con|prn|aux|nul|conin|conout|(com|lpt)[0-9]|index", re.IGNORECASE)
"""Kept by Windows (Microsoft, *Naming Files, Paths, and Namespaces*), and by the index."""


def file_name(words: str, names: Collection[str] = ()) -> str:
    """Make a name for a file, without its ending.

    Examples
    --------
    >>> file_name("Lot 12/a"), file_name("../Größe", {"grosse"}), file_name("NUL")
    ('Lot-12-a', 'Grosse-2', 'lot-NUL')
    """
    plain = unicodedata.normalize("NFKD", words.replace("ß", "ss"))
    plain = "".join(sign for sign in plain if not unicodedata.combining(sign))
    name = _OTHER.sub("-", plain).strip("-")[:LONGEST].strip("-") or "lot"
    if _RESERVED.fullmatch(name):
        name = f"lot-{name}"
    known = {other.lower() for other in names}
    unique, number = name, 1
    while unique.lower() in known:
        number += 1
        unique = f"{name[: LONGEST - len(str(number)) - 1].rstrip('-')}-{number}"
    return unique


def file_names(each: Iterable[str]) -> list[str]:
    """Make names for several files, none twice.

    Examples
    --------
    >>> file_names(["lot 1", "lot 1"])
    ['lot-1', 'lot-1-2']
    """
    names: list[str] = []
    for words in each:
        names.append(file_name(words, names))
    return names
