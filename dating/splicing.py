"""Judgements of a maker file rewritten, and every other byte left as it is.

The text is not written anew from data: the places of a judgement's own values are found, and only
they are replaced. Afterwards the whole is read again, and must say what was asked for, and nothing
else that it did not say before.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from textwrap import dedent
from typing import Any

import yaml

from dating.files import read_maker
from dating.maker import Maker
from dating.reading import InputError, KeyPath, Problem, key_text, plain_number
from dating.standard_input import FileContent
from dating.yaml_text import (
    Edit,
    added_edit,
    apply_edits,
    as_yaml,
    end_of,
    leaves,
    line_end_of,
    node_at,
    nodes_of,
    scalar_edit,
    start_of,
    value_edit,
)

type Value = str | int | float | tuple[str, ...]
type Written = Value | Mapping[str, Written]

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
    first, last = node.start_mark.line, max(leaf.end_mark.line for leaf in leaves(node))
    return dedent("\n".join(text.splitlines()[first : last + 1]))


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
        yield value_edit(text, node, as_yaml(new))


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
    added = [f"{key}: {as_yaml(value)}" for key, value in new.items() if key not in known]
    if added:
        yield added_edit(text, node, node.value[-1][1], added)


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
    line_end, stop = line_end_of(text), start + len(line)
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
    """Replace one value; the same value stays as it is written."""
    if not _same(node, value):
        yield scalar_edit(text, node, value)


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
