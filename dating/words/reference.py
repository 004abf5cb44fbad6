"""The keys of a kind of file, from its schema: as data, and as plain text."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from dating.schemas import Schema
from dating.words.plain import hanging

_WORDS = {
    "integer": "a whole number",
    "number": "a number",
    "string": "text",
    "boolean": "true or false",
    "object": "a mapping",
    "array": "a list",
}


@dataclass(frozen=True)
class KeyEntry:
    """One key.

    Parameters
    ----------
    name : str
        The key as it is written.
    needed : bool
        Whether it must be there.
    words : str
        What it means, what may stand there, and what holds unless it is given.
    """

    name: str
    needed: bool
    words: str


@dataclass(frozen=True)
class KeySection:
    """The keys of one mapping.

    Parameters
    ----------
    title : str
        What the mapping is.
    about : str
        What it says, in a sentence.
    keys : tuple of KeyEntry
        Its keys.
    """

    title: str
    about: str
    keys: tuple[KeyEntry, ...]


def reference_of(schema: Schema) -> tuple[KeySection, ...]:
    """Give every key, with what it means, whether it is needed, and what is allowed.

    Examples
    --------
    >>> from dating.schemas import schema_of
    >>> reference_of(schema_of("examination"))[0].keys[0].words
    'Name or number of the instrument. Text.'
    """
    each = [schema, *schema["$defs"].values()]
    forms = [form for part in each for form in part.get("anyOf", (part,)) if "properties" in form]
    return tuple(_section(form, schema) for form in forms)


def reference_text(schema: Schema, width: int) -> str:
    """List every key as plain text.

    Examples
    --------
    >>> from dating.schemas import schema_of
    >>> print(reference_text(schema_of("examination"), 72).splitlines()[5])
    instrument (needed): Name or number of the instrument. Text.
    """
    return "\n".join(_section_text(section, width) for section in reference_of(schema))


def _section(part: Schema, whole: Schema) -> KeySection:
    """Read a heading, what it is about, and its keys."""
    about = str(part.get("description", "")).split("\n\n", maxsplit=1)[0]
    plain = about.replace("\n", " ").replace("``", "")
    return KeySection(str(part["title"]), plain, tuple(_keys(part, whole)))


def _section_text(section: KeySection, width: int) -> str:
    lines = [section.about]
    lines += [f"{k.name}{' (needed)' if k.needed else ''}: {k.words}" for k in section.keys]
    first, *keys = (hanging([line], width).rstrip("\n") for line in lines)
    under = "=" * len(section.title)
    return "\n".join([section.title, under, "", first.replace("\n    ", "\n"), "", *keys, ""])


def _keys(part: Schema, whole: Schema) -> Iterator[KeyEntry]:
    needed = set(part.get("required", ()))
    for key, value in part["properties"].items():
        about = value.get("description", _resolved(value, whole).get("description", ""))
        words = [about, *_allowed(value, whole)]
        yield KeyEntry(key, key in needed, " ".join(word for word in words if word))


def _allowed(value: Schema, whole: Schema) -> Iterator[str]:
    """Say what may stand there, an example, and what holds where nothing is said."""
    forms = _forms(value, whole)
    if forms:
        text = " or ".join(forms)
        yield f"{text[0].upper() if _is_phrase(forms[0]) else text[0]}{text[1:]}."
    for example in _resolved(value, whole).get("examples", ())[:1]:
        yield f"Such as {example}."
    default = value.get("default")
    if default not in (None, "") and isinstance(default, int | float | str):
        yield f"{_written(default)} unless given."


def _is_phrase(form: str) -> bool:
    """Say whether a form is described, and is not a value to be written as it stands."""
    return form in _WORDS.values() or form.startswith(("a ", "by name"))


def _written(default: float | str) -> str:
    """Write what holds unless something is said as it would be written in the file."""
    if isinstance(default, bool):
        return str(default).lower()
    return default if isinstance(default, str) else f"{default:g}"


def _forms(value: Schema, whole: Schema) -> list[str]:
    """Name the forms that a value may take, each once."""
    each = _resolved(value, whole)
    if "anyOf" in each:
        forms = [form for one in each["anyOf"] for form in _forms(one, whole)]
        return list(dict.fromkeys(forms))
    if "properties" in each:
        return [f"a mapping (see {each['title']})"]
    if "enum" in each or "const" in each:
        return [str(one) for one in each.get("enum", (each.get("const"),))]
    types = each.get("type", ())
    named = [types] if isinstance(types, str) else list(types)
    forms = [_form(one, each, whole) for one in named if one != "null"]
    numbers = {"a number", "a whole number"} if "text" in forms else set()  # they are taken as text
    return [form for form in forms if form not in numbers]


def _form(kind: str, value: Schema, whole: Schema) -> str:
    """Name one form, and what is in a list or a mapping."""
    inner: Any = value.get("items") if kind == "array" else value.get("additionalProperties")
    forms = _forms(inner, whole) if isinstance(inner, dict) else []
    if forms and not any("each" in form for form in forms):
        return f"{'a list' if kind == 'array' else 'by name'}, each {' or '.join(forms)}"
    return _WORDS.get(kind, kind)


def _resolved(value: Schema, whole: Schema) -> Schema:
    """Follow references to what they stand for."""
    while "$ref" in value:
        value = whole["$defs"][value["$ref"].rsplit("/", 1)[-1]]
    return value
