"""The fields of a form: each is named by its key path in the file, such as ``seen.ring.sure``.

A list is counted from 0, and may have gaps: ``documents.0.trust``, ``documents.2.trust``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import unquote

from dating.reading import KeyPath

type Fields = Mapping[str, str]

ONE_OF = "one_of"
OTHER = "other"
NOT = "not"
STATE = "="
"""Stands before the name of a state in its field, so that a state may be named ``other``."""


def place_text(path: KeyPath) -> str:
    """Join keys with dots; a dot or blank in a key is escaped, so that no two paths look alike.

    Examples
    --------
    >>> place_text(("events", "no. 2 works", "when", 0))
    'events.no%2E%202%20works.when.0'
    """
    return ".".join(
        str(part).replace("%", "%25").replace(".", "%2E").replace(" ", "%20") for part in path
    )


def flat(data: Any, path: KeyPath = ()) -> dict[str, str]:
    """Give nested data as the fields of a form.

    Examples
    --------
    >>> flat({"by": "me", "documents": [{"what": "a bill", "not_after": 1934}]})
    {'by': 'me', 'documents.0.what': 'a bill', 'documents.0.not_after': '1934'}
    """
    if isinstance(data, Mapping):
        parts: Any = data.items()
    elif isinstance(data, Sequence) and not isinstance(data, str):
        parts = enumerate(data)
    else:
        return {place_text(path): str(data)}
    return {k: v for key, each in parts for k, v in flat(each, (*path, key)).items()}


def nested(fields: Fields) -> dict[str, Any]:
    """Give the fields of a form as nested data; a list is a mapping of its numbers.

    Examples
    --------
    >>> nested({"by": "me", "documents.0.what": "a bill", "documents.0.not_after": "1934"})
    {'by': 'me', 'documents': {'0': {'what': 'a bill', 'not_after': '1934'}}}
    """
    whole: dict[str, Any] = {}
    for name, text in fields.items():
        here = whole
        *above, last = map(unquote, name.split("."))
        for key in above:
            if not isinstance(here.get(key), dict):
                here[key] = {}
            here = here[key]
        if not isinstance(here.get(last), dict):
            here[last] = text
    return whole


def at_path(data: Any, path: KeyPath) -> Any:
    """Go down the keys of nested data; None where there is nothing."""
    for key in path:
        data = data.get(str(key)) if isinstance(data, dict) else None
    return data


def text_at(data: Any, path: KeyPath) -> str:
    """Give the text of one field, without white space at its ends."""
    value = at_path(data, path)
    return value.replace("\r\n", "\n").strip() if isinstance(value, str) else ""


def items_at(data: Any, path: KeyPath) -> dict[int, Any]:
    """Give the items of a list by their numbers, in order.

    Examples
    --------
    >>> items_at(nested({"source.2": "diary", "source.0": "bill"}), ("source",))
    {0: 'bill', 2: 'diary'}
    """
    items = at_path(data, path)
    numbered = items if isinstance(items, dict) else {}
    known = {
        k: each for k, each in numbered.items() if k.isascii() and k.isdecimal() and len(k) <= 6
    }
    return {int(k): known[k] for k in sorted(known, key=int)}


@dataclass(frozen=True)
class Form:
    """The fields of a form, as a template asks for them.

    Parameters
    ----------
    fields : mapping of str to str
        As sent, or as they stand for a file.

    Examples
    --------
    >>> form = Form({"by": "assessor A", "seen.ring.one_of.1": "inlaid"})
    >>> form("by"), form("note"), form.ticked("seen.ring", "inlaid"), form.further("seen.ring")
    ('assessor A', '', True, True)
    >>> form.papers
    (0,)
    """

    fields: Fields

    def __call__(self, name: str) -> str:
        """Give one field."""
        return self.fields.get(name, "")

    def ticked(self, question: str, state: str, among: str = ONE_OF) -> bool:
        """Say whether a state is one of those that are possible, or excluded."""
        states = (
            text for name, text in self.fields.items() if name.startswith(f"{question}.{among}.")
        )
        return state in states

    def further(self, question: str) -> bool:
        """Say whether an answer holds more than a state."""
        own = {n: text for n, text in self.fields.items() if text and n.startswith(f"{question}.")}
        plain = own.pop(f"{question}.state", "")
        return bool(own) or plain in {ONE_OF, OTHER, NOT}

    @property
    def papers(self) -> tuple[int, ...]:
        """Numbers of the documents, and of an empty one to fill in."""
        numbers = tuple(items_at(nested(self.fields), ("documents",)))
        return (*numbers, max(numbers, default=-1) + 1)
