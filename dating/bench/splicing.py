"""One judgement of a maker file rewritten, and every other byte left as it is.

The text is not written anew from data: the places of the judgement's own values are found, and
only they are replaced. Afterwards the whole is read again, and must say what was asked for, and
nothing else that it did not say before.
"""

from __future__ import annotations

import json
import re
import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path, PurePosixPath
from textwrap import dedent
from typing import Any

import yaml

from dating.files import read_maker
from dating.maker import Maker
from dating.reading import InputError, KeyPath, Problem, key_text, plain_number

type Value = str | int | float | tuple[str, ...]
type Written = Value | Mapping[str, Value]

_LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_SAFE = re.compile(r"[^\W\d_](?:[\w .()'/&+-]*[\w.)])?")
_POINT = re.compile(r"[0-9]{4}-[0-9]{2}(-[0-9]{2})?")
_WORDS = {"null", "true", "false", "yes", "no", "on", "off", "y", "n", "nan", "inf"}
_NEUTRAL: dict[str, tuple[Any, ...]] = {
    "by": ("",),
    "source": ((), []),
    "coverage": (0.9,),
    "weight": (1, 1.0),
}
"""What an assessor's keys say where they are left out."""
_EMPTY = {"by": '""', "source": "[]", "coverage": "0.9", "weight": "1"}


def rewritten(text: str, path: KeyPath, new: Written, before: Maker, file: str = "") -> str:
    """Write one judgement into the text of a maker file, and check the whole.

    Parameters
    ----------
    text : str
        What the file says, with its line ends as they are.
    path : tuple of str or int
        Keys down to the judgement, and the position of the assessor where there are several.
    new : str, number or mapping
        One plain value, or the three values and what is said of them.
    before : Maker
        The maker file that was read from the text.
    file : str
        Name of the file, for messages.

    Returns
    -------
    str
        The new text; the same where it says that already.

    Raises
    ------
    InputError
        When the new text is no valid maker file, or the judgement cannot be rewritten alone.
    """
    made = spliced(text, path, new, file)
    if made == text:
        return text
    after, old = read_in(made, file).origin.data, before.origin.data
    said = _plain(_said(_at(after, path), new)) == _plain(new)
    if not said or _with(after, path, None) != _with(old, path, None):
        message = (
            "it cannot be rewritten here without touching something else, such as a value that is "
            "shared by an anchor; change it in the file"
        )
        line = before.origin.places.get(path, (None, 0))[0]
        raise InputError([Problem(file, line, key_text(path), message)])
    return made


def spliced(text: str, path: KeyPath, new: Written, file: str = "") -> str:
    """Replace the values of one judgement, unchecked.

    Parameters
    ----------
    text : str
        What the file says, with its line ends as they are.
    path : tuple of str or int
        Keys down to the judgement, and the position of the assessor where there are several.
    new : str, number or mapping
        One plain value, or the three values and what is said of them.
    file : str
        Name of the file, for messages.

    Returns
    -------
    str
        The new text. A value that is the same stays as it is written, with its quotation marks.

    Raises
    ------
    InputError
        When there is nothing at this place, or a comment would be lost.

    Examples
    --------
    >>> text = "when: {earliest: 1929-06, likely: 1929-12, latest: 1930-08}  # seen"
    >>> new = {"earliest": "1929-06", "likely": "1930-01", "latest": "1930-08", "by": "A"}
    >>> spliced(text, ("when",), new)
    'when: {earliest: 1929-06, likely: 1930-01, latest: 1930-08, by: A}  # seen'
    """
    mark, made = text[: text.startswith("\ufeff")], text.removeprefix("\ufeff")
    node = _node_at(yaml.compose(made, Loader=_LOADER), path)
    if node is None:
        raise InputError([Problem(file, None, key_text(path), "there is no such judgement now")])
    edits = sorted(_edits(made, node, new), reverse=True)
    whole = -1 if isinstance(node, yaml.ScalarNode) else _start(made, node)
    if any(start == whole and "#" in made[start:stop] for start, stop, _ in edits):
        message = "it holds a comment, which would be lost; change it in the file"
        raise InputError([Problem(file, node.start_mark.line + 1, key_text(path), message)])
    for start, stop, words in edits:
        made = made[:start] + words + made[stop:]
    return mark + made


def read_in(text: str, file: str) -> Maker:
    """Read the text of a maker file with the project's own reader, before it is written anywhere.

    Parameters
    ----------
    text : str
        What the file shall say.
    file : str
        Name of the file, for messages.

    Returns
    -------
    Maker
        Validated.

    Raises
    ------
    InputError
        With one located problem for each thing wrong.
    """
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / (PurePosixPath(file).name or "maker.yaml")
        path.write_bytes(text.encode("utf-8"))
        try:
            return read_maker(path)
        except InputError as error:
            raise InputError([replace(p, file=file) for p in error.problems]) from None


def stated_at(text: str, path: KeyPath) -> str | None:
    """Read what stands at a place of a file that may have become invalid.

    Parameters
    ----------
    text : str
        What the file says.
    path : tuple of str or int
        Keys down to the place.

    Returns
    -------
    str or None
        The lines it stands on, without their indentation; None where there is no such place.
    """
    try:
        node = _node_at(yaml.compose(text.removeprefix("\ufeff"), Loader=_LOADER), path)
    except (yaml.YAMLError, RecursionError):
        return None
    if node is None:
        return None
    first, last = node.start_mark.line, max(leaf.end_mark.line for leaf in _leaves(node))
    return dedent("\n".join(text.splitlines()[first : last + 1]))


def as_yaml(new: Written) -> str:
    """Write a judgement in one line.

    Parameters
    ----------
    new : str, number or mapping
        One plain value, or the three values and what is said of them.

    Returns
    -------
    str
        YAML.

    Examples
    --------
    >>> as_yaml({"earliest": "1929-06", "likely": "1929-12", "latest": "1930-08", "by": "A: me"})
    '{earliest: 1929-06, likely: 1929-12, latest: 1930-08, by: "A: me"}'
    """
    if isinstance(new, Mapping):
        return "{" + ", ".join(f"{key}: {_scalar(value)}" for key, value in new.items()) + "}"
    return _scalar(new)


def _edits(text: str, node: yaml.Node, new: Written) -> Iterator[tuple[int, int, str]]:
    """Give the stretches of text to replace, none of which overlap."""
    if isinstance(new, Mapping) and isinstance(node, yaml.MappingNode):
        yield from _in_mapping(text, node, new)
        return
    items = node.value if isinstance(node, yaml.SequenceNode) else []
    if isinstance(new, Mapping) and len(new) == len(items) == 3:
        for item, value in zip(items, new.values(), strict=True):
            yield from _in_scalar(text, item, value)
    elif not isinstance(new, Mapping) and isinstance(node, yaml.ScalarNode):
        yield from _in_scalar(text, node, new)
    else:
        yield _start(text, node), _end(text, node), as_yaml(new)


def _in_mapping(
    text: str, node: yaml.MappingNode, new: Mapping[str, Value]
) -> Iterator[tuple[int, int, str]]:
    known = {key.value: value for key, value in node.value}
    for key, value in new.items():
        if key in known:
            yield from _in_scalar(text, known[key], value)
    yield from _left_out(text, node, new)
    added = {key: value for key, value in new.items() if key not in known}
    if not added:
        return
    pairs = [f"{key}: {_scalar(value)}" for key, value in added.items()]
    stop = _end(text, node.value[-1][1])
    if node.flow_style:
        yield stop, stop, "".join(f", {pair}" for pair in pairs)
    else:
        line_end = "\r\n" if "\r\n" in text else "\n"
        indent = " " * node.value[0][0].start_mark.column
        stop = (text + "\n").index("\n", stop)
        stop -= text[:stop].endswith("\r")
        yield stop, stop, "".join(f"{line_end}{indent}{pair}" for pair in pairs)


def _left_out(
    text: str, node: yaml.MappingNode, new: Mapping[str, Value]
) -> Iterator[tuple[int, int, str]]:
    """Take out what is no longer said; beside a comment, or in lines, it is emptied instead."""
    last = None
    for key, value in node.value:
        stop = _end(text, value)
        if key.value not in new and key.value in _EMPTY and not _says_nothing(key, value):
            alone = last is not None and "#" not in text[last : key.start_mark.index]
            if node.flow_style and alone and last is not None:
                yield last, stop, ""
            else:
                yield _start(text, value), stop, _EMPTY[key.value]
        last = stop


def _says_nothing(key: yaml.Node, value: yaml.Node) -> bool:
    """Say whether a key says what holds without it."""
    if not isinstance(value, yaml.ScalarNode):
        return not value.value
    number = plain_number(value.value)
    return (value.value if number is None else number) in _NEUTRAL[key.value]


def _in_scalar(text: str, node: yaml.Node, value: Value) -> Iterator[tuple[int, int, str]]:
    """Replace one value, in the quotation marks it has; the same value stays as it is written."""
    if _same(node, value):
        return
    words = _scalar(value)
    style = node.style if isinstance(node, yaml.ScalarNode) else None
    if style in {"'", '"'} and isinstance(value, str) and not words.startswith('"'):
        words = (
            f"{style}{words.replace(chr(39), chr(39) * 2) if style == chr(39) else words}{style}"
        )
    yield _start(text, node), _end(text, node), words


def _same(node: yaml.Node, value: Value) -> bool:
    if isinstance(node, yaml.ScalarNode):
        written = str(node.value)
        if isinstance(value, tuple):
            return value == (written,)
        return written == value if isinstance(value, str) else plain_number(written) == value
    named = tuple(str(item.value) for item in node.value)
    return isinstance(value, tuple) and named == value


def _scalar(value: Value) -> str:
    if isinstance(value, tuple):
        if len(value) == 1:
            return _scalar(value[0])
        return "[" + ", ".join(map(_scalar, value)) + "]"
    if isinstance(value, int | float):
        return repr(value)
    plain = _POINT.fullmatch(value) or (_SAFE.fullmatch(value) and value.lower() not in _WORDS)
    return value if plain else json.dumps(value, ensure_ascii=False)


def _start(text: str, node: yaml.Node) -> int:
    """Say where a value starts; the quick loader marks the blank before a quotation mark."""
    start = int(node.start_mark.index)
    while start < len(text) and text[start].isspace():
        start += 1
    return start


def _end(text: str, node: yaml.Node) -> int:
    """Say where a value ends; the mark of a collection in lines lies behind what follows it."""
    leaf = list(_leaves(node))[-1]
    stop = int(node.end_mark.index if getattr(node, "flow_style", True) else leaf.end_mark.index)
    return len(text[:stop].rstrip()) if isinstance(node, yaml.ScalarNode) else stop


def _leaves(node: yaml.Node) -> Iterator[yaml.Node]:
    if isinstance(node, yaml.ScalarNode) or not node.value or getattr(node, "flow_style", False):
        yield node
    elif isinstance(node, yaml.SequenceNode):
        for item in node.value:
            yield from _leaves(item)
    else:
        for _, value in node.value:
            yield from _leaves(value)


def _node_at(node: yaml.Node | None, path: KeyPath) -> yaml.Node | None:
    for part in path:
        if isinstance(part, int) and isinstance(node, yaml.SequenceNode):
            node = node.value[part] if part < len(node.value) else None
        elif isinstance(node, yaml.MappingNode):
            node = next((value for key, value in node.value if key.value == str(part)), None)
        else:
            return None
    return node


def _at(data: Any, path: KeyPath) -> Any:
    for part in path:
        data = data[part]
    return data


def _with(data: Any, path: KeyPath, value: Any) -> Any:
    """Give the data with another value at one place."""
    if not path:
        return value
    copy: Any = list(data) if isinstance(data, list) else dict(data)
    copy[path[0]] = _with(data[path[0]], path[1:], value)
    return copy


def _said(data: Any, new: Written) -> Any:
    """Give three values in a list by the keys they stand for."""
    if isinstance(data, list) and isinstance(new, Mapping) and len(data) == len(new) == 3:
        return dict(zip(new, data, strict=True))
    return data


def _plain(value: Any) -> Any:
    """Bring forms of one judgement that mean the same to one form."""
    if isinstance(value, Mapping):
        kept = {key: _plain(each) for key, each in value.items()}
        return {k: v for k, v in kept.items() if v not in _NEUTRAL.get(k, ())}
    if isinstance(value, list | tuple):
        return _plain(value[0]) if len(value) == 1 else [_plain(each) for each in value]
    return value
