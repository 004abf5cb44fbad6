"""Judgements of a maker file rewritten, and every other byte left as it is.

The text is not written anew from data: the places of a judgement's own values are found, and only
they are replaced. Afterwards the whole is read again, and must say what was asked for, and nothing
else that it did not say before.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Mapping
from textwrap import dedent
from typing import Any

import yaml

from dating.files import read_maker
from dating.maker import Maker
from dating.reading import InputError, KeyPath, Problem, key_text, plain_number
from dating.standard_input import FileContent

type Value = str | int | float | tuple[str, ...]
type Written = Value | Mapping[str, Written]
type Edit = tuple[int, int, str]
"""Where a stretch of text starts and stops, and what shall stand there."""

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
_WIDTH = 110
_EMPTY = {"by": '""', "source": "[]", "coverage": "0.9", "weight": "1"}


def rewritten(text: str, path: KeyPath, new: Written, before: Maker, file: str = "") -> str:
    """Write one judgement into the text of a maker file, and check the whole.

    Raises InputError when the new text is no valid maker file, or the judgement cannot be rewritten
    alone.
    """
    result = spliced(text, path, new, file)
    if result == text:
        return text
    after, old = read_in(result, file).origin.data, before.origin.data
    agrees = _plain(_by_key(_at(after, path), new)) == _plain(new)
    if not agrees or _with(after, path, None) != _with(old, path, None):
        message = (
            "it cannot be rewritten here without touching something else, such as a value that is "
            "shared by an anchor; change it in the file"
        )
        line = before.origin.places.get(path, (None, 0))[0]
        raise InputError([Problem(file, line, key_text(path), message)])
    return result


def spliced(text: str, path: KeyPath, new: Written, file: str = "") -> str:
    """Replace the values of one judgement, unchecked.

    Raises InputError when there is nothing at this place, or a comment would be lost.

    Examples
    --------
    >>> text = "when: {earliest: 1929-06, likely: 1929-12, latest: 1930-08}  # seen"
    >>> new = {"earliest": "1929-06", "likely": "1930-01", "latest": "1930-08", "by": "A"}
    >>> spliced(text, ("when",), new)
    'when: {earliest: 1929-06, likely: 1930-01, latest: 1930-08, by: A}  # seen'
    """
    return splice_all(text, {path: new}, file)


def splice_all(text: str, changes: Mapping[KeyPath, Written], file: str = "") -> str:
    r"""Replace the values of several judgements, unchecked; none may lie within another.

    Raises InputError with one problem for each place that is not there, or where a comment would be
    lost.

    Examples
    --------
    >>> text = "slip: 0.01\nshares: {a: 0.5, b: 0.5}"
    >>> changes = {("slip",): 0.02, ("shares",): {"a": 0.25, "b": 0.75}}
    >>> splice_all(text, changes)
    'slip: 0.02\nshares: {a: 0.25, b: 0.75}'
    """
    mark, result = text[: text.startswith("\ufeff")], text.removeprefix("\ufeff")
    root = nodes_of(result)
    edits: list[Edit] = []
    problems = []
    for path, new in changes.items():
        node = node_at(root, path)
        if node is None:
            message = "there is no such judgement now"
            problems.append(Problem(file, None, key_text(path), message))
            continue
        own = list(_edits(result, node, new))
        if any(_holds(result, edit, node) and "#" in result[edit[0] : edit[1]] for edit in own):
            message = "it holds a comment, which would be lost; change it in the file"
            problems.append(Problem(file, node.start_mark.line + 1, key_text(path), message))
        edits += own
    if problems:
        raise InputError(problems)
    return mark + apply_edits(result, edits)


def apply_edits(text: str, edits: Iterable[Edit]) -> str:
    """Replace stretches of a text, none of which overlap.

    Examples
    --------
    >>> apply_edits("one two", [(0, 3, "1"), (4, 7, "2")])
    '1 2'
    """
    for start, stop, words in sorted(edits, reverse=True):
        text = text[:start] + words + text[stop:]
    return text


def fold_lines(text: str, before: Iterable[str] = (), width: int = _WIDTH) -> str:
    """Break lines that are too long before keys of mappings in braces.

    Examples
    --------
    >>> print(fold_lines("ring: {earliest: 1929-06, likely: 1930-01, latest: 1930-09}", width=37))
    ring: {earliest: 1929-06,
        likely: 1930-01, latest: 1930-09}
    """
    mark, body = text[: text.startswith("\ufeff")], text.removeprefix("\ufeff")
    lines: dict[int, list[tuple[int, int]]] = {}
    for depth, place in _keys_in_braces(nodes_of(body), 0):
        lines.setdefault(body.rfind("\n", 0, place) + 1, []).append((depth, place))
    lines_before = {line.rstrip() for line in before}
    edits = [
        edit
        for start, keys in lines.items()
        if body[start:].split("\n", 1)[0].rstrip() not in lines_before
        for edit in _folds(body, start, keys, width)
    ]
    return mark + apply_edits(body, edits)


def aliases_in(text: str) -> Iterator[tuple[int, str]]:
    r"""Find the places where a value stands that is written elsewhere.

    Examples
    --------
    >>> list(aliases_in("one: &a 1\ntwo: *a"))
    [(2, 'a')]
    """
    for event in yaml.parse(text, Loader=_LOADER):
        if isinstance(event, yaml.AliasEvent):
            yield event.start_mark.line + 1 if event.start_mark else 1, str(event.anchor)


def nodes_of(text: str) -> yaml.Node | None:
    """Read YAML as nodes, each of which knows where it stands."""
    root: yaml.Node | None = yaml.compose(text, Loader=_LOADER)
    return root


def read_in(text: str, file: str) -> Maker:
    """Read the text of a maker file with the project's own reader, before it is written anywhere.

    Raises InputError with one located problem for each thing wrong.
    """
    return read_maker(FileContent(file, text.encode("utf-8")))


def stated_at(text: str, path: KeyPath) -> str | None:
    """Read what stands at a place of a file that may have become invalid."""
    try:
        node = node_at(nodes_of(text.removeprefix("\ufeff")), path)
    except (yaml.YAMLError, RecursionError):
        return None
    if node is None:
        return None
    first, last = node.start_mark.line, max(leaf.end_mark.line for leaf in _leaves(node))
    return dedent("\n".join(text.splitlines()[first : last + 1]))


def as_yaml(new: Written) -> str:
    """Write a judgement in one line.

    Examples
    --------
    >>> as_yaml({"earliest": "1929-06", "likely": "1929-12", "latest": "1930-08", "by": "A: me"})
    '{earliest: 1929-06, likely: 1929-12, latest: 1930-08, by: "A: me"}'
    """
    return _scalar(new)


def _edits(text: str, node: yaml.Node, new: Written) -> Iterator[Edit]:
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
        start, stop = start_of(text, node), end_of(text, node)
        key = len(text[:start].rstrip())
        if text[:key].endswith(":"):
            yield key, stop, f" {as_yaml(new)}"
        else:
            yield start, stop, as_yaml(new)


def _holds(text: str, edit: Edit, node: yaml.Node) -> bool:
    """Say whether an edit replaces a collection as a whole."""
    if isinstance(node, yaml.ScalarNode):
        return False
    return edit[0] <= start_of(text, node) and edit[1] >= end_of(text, node)


def _in_mapping(text: str, node: yaml.MappingNode, new: Mapping[str, Any]) -> Iterator[Edit]:
    known = {key.value: value for key, value in node.value}
    for key, value in new.items():
        if key in known:
            yield from _in_scalar(text, known[key], value)
    yield from _left_out(text, node, new)
    added = {key: value for key, value in new.items() if key not in known}
    if not added:
        return
    pairs = [f"{key}: {_scalar(value)}" for key, value in added.items()]
    stop = end_of(text, node.value[-1][1])
    if node.flow_style:
        yield stop, stop, "".join(f", {pair}" for pair in pairs)
    else:
        line_end = "\r\n" if "\r\n" in text else "\n"
        indent = " " * node.value[0][0].start_mark.column
        stop = (text + "\n").index("\n", stop)
        stop -= text[:stop].endswith("\r")
        yield stop, stop, "".join(f"{line_end}{indent}{pair}" for pair in pairs)


def _left_out(text: str, node: yaml.MappingNode, new: Mapping[str, Any]) -> Iterator[Edit]:
    """Take out what is no longer said; beside a comment, or in lines, it is emptied instead."""
    last = None
    for key, value in node.value:
        stop = end_of(text, value)
        if key.value not in new and key.value in _EMPTY and not _says_nothing(key, value):
            alone = last is not None and "#" not in text[last : key.start_mark.index]
            if node.flow_style and alone and last is not None:
                yield last, stop, ""
            else:
                yield start_of(text, value), stop, _EMPTY[key.value]
        last = stop


def _folds(text: str, start: int, keys: list[tuple[int, int]], width: int) -> Iterator[Edit]:
    """Break one line before the outermost keys that fit."""
    line = text[start:].split("\n", 1)[0].rstrip()
    indent = len(line) - len(line.lstrip(" -")) + 4
    line_end, stop = "\r\n" if "\r\n" in text else "\n", start + len(line)
    begin, used = start, 0
    while stop - begin + used > width:
        fitting = [key for key in keys if begin < key[1] and key[1] - begin + used <= width + 1]
        if not fitting:
            return
        _, place = min(fitting, key=lambda key: (key[0], -key[1]))
        blank = len(text[:place].rstrip())
        yield blank, place, line_end + " " * indent
        begin, used = place, indent


def _keys_in_braces(node: yaml.Node | None, depth: int) -> Iterator[tuple[int, int]]:
    """Give depth and place of every key in braces but the first."""
    if isinstance(node, yaml.MappingNode):
        for position, (key, value) in enumerate(node.value):
            if node.flow_style and position:
                yield depth, key.start_mark.index
            yield from _keys_in_braces(value, depth + 1)
    elif isinstance(node, yaml.SequenceNode):
        for item in node.value:
            yield from _keys_in_braces(item, depth + 1)


def _says_nothing(key: yaml.Node, value: yaml.Node) -> bool:
    """Say whether a key says what holds without it."""
    if not isinstance(value, yaml.ScalarNode):
        return not value.value
    number = plain_number(value.value)
    return (value.value if number is None else number) in _NEUTRAL[key.value]


def _in_scalar(text: str, node: yaml.Node, value: Any) -> Iterator[Edit]:
    """Replace one value, in the quotation marks it has; the same value stays as it is written."""
    if _same(node, value):
        return
    words = _scalar(value)
    style = node.style if isinstance(node, yaml.ScalarNode) else None
    if style in {"'", '"'} and isinstance(value, str) and not words.startswith('"'):
        words = (
            f"{style}{words.replace(chr(39), chr(39) * 2) if style == chr(39) else words}{style}"
        )
    yield start_of(text, node), end_of(text, node), words


def _same(node: yaml.Node, value: Value) -> bool:
    if isinstance(node, yaml.ScalarNode):
        form = str(node.value)
        if isinstance(value, tuple):
            return value == (form,)
        return form == value if isinstance(value, str) else plain_number(form) == value
    if isinstance(node, yaml.MappingNode):
        return False
    named = tuple(str(item.value) for item in node.value)
    return isinstance(value, tuple) and named == value


def _scalar(value: Any) -> str:
    if isinstance(value, Mapping):
        pairs = (f"{_scalar(key)}: {_scalar(each)}" for key, each in value.items())
        return "{" + ", ".join(pairs) + "}"
    if isinstance(value, tuple):
        if len(value) == 1:
            return _scalar(value[0])
        value = list(value)
    if isinstance(value, list):
        return "[" + ", ".join(map(_scalar, value)) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int | float):
        return repr(value)
    plain = _POINT.fullmatch(value) or (_SAFE.fullmatch(value) and value.lower() not in _WORDS)
    return value if plain else json.dumps(value, ensure_ascii=False)


def start_of(text: str, node: yaml.Node) -> int:
    """Say where a value starts; the quick loader marks the blank before a quotation mark."""
    start = int(node.start_mark.index)
    while start < len(text) and text[start].isspace():
        start += 1
    return start


def end_of(text: str, node: yaml.Node) -> int:
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


def node_at(node: yaml.Node | None, path: KeyPath) -> yaml.Node | None:
    """Go down the keys of a path."""
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


def _by_key(data: Any, new: Written) -> Any:
    """Give three values in a list by the keys they stand for."""
    if isinstance(data, list) and isinstance(new, Mapping) and len(data) == len(new) == 3:
        return dict(zip(new, data, strict=True))
    return data


def _plain(value: Any) -> Any:
    """Bring forms of one judgement that mean the same to one form."""
    if isinstance(value, Mapping):
        entries = {key: _plain(each) for key, each in value.items()}
        return {k: v for k, v in entries.items() if v not in _NEUTRAL.get(k, ())}
    if isinstance(value, list | tuple):
        return _plain(value[0]) if len(value) == 1 else [_plain(each) for each in value]
    return value
