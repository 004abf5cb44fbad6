"""The text of a YAML file: where each value stands, and edits that change no other byte."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any

import yaml

from dating.reading import KeyPath

type Edit = tuple[int, int, str]
"""Where a stretch of text starts and stops, and what shall stand there."""

_LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_SAFE = re.compile(r"[^\W\d_](?:[\w .()'/&+-]*[\w.)])?")
_POINT = re.compile(r"[0-9]{4}-[0-9]{2}(-[0-9]{2})?")
_WORDS = {"null", "true", "false", "yes", "no", "on", "off", "y", "n", "nan", "inf"}
_DASH = re.compile(r"(?m)^ *-(?=\s)")


def nodes_of(text: str) -> yaml.Node | None:
    """Read YAML as nodes, each of which knows where it stands."""
    root: yaml.Node | None = yaml.compose(text, Loader=_LOADER)
    return root


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


def start_of(text: str, node: yaml.Node) -> int:
    """Say where a value starts; the quick loader marks the blank before a quotation mark."""
    if _is_blank(node):
        return end_of(text, node)
    start = int(node.start_mark.index)
    while start < len(text) and text[start].isspace():
        start += 1
    return start


def end_of(text: str, node: yaml.Node) -> int:
    """Say where a value ends; the mark of a collection in lines lies behind what follows it."""
    leaf = list(leaves(node))[-1]
    stop = int(node.end_mark.index if getattr(node, "flow_style", True) else leaf.end_mark.index)
    return len(text[:stop].rstrip()) if isinstance(leaf, yaml.ScalarNode) else stop


def leaves(node: yaml.Node) -> Iterator[yaml.Node]:
    """Give the values in lines that hold no others, and those in brackets and braces whole."""
    if isinstance(node, yaml.ScalarNode) or not node.value or getattr(node, "flow_style", False):
        yield node
    elif isinstance(node, yaml.SequenceNode):
        for item in node.value:
            yield from leaves(item)
    else:
        for _, value in node.value:
            yield from leaves(value)


def line_end_of(text: str) -> str:
    """Give the line end that a text has."""
    return "\r\n" if "\r\n" in text else "\n"


def line_stop(text: str, place: int) -> int:
    """Give the end of the line that holds a place, so that a comment stays beside what it is of."""
    stop = (text + "\n").index("\n", place)
    return stop - text[:stop].endswith("\r")


def apply_edits(text: str, edits: Iterable[Edit]) -> str:
    """Replace stretches of a text, none of which overlap; what is put in one place keeps its order.

    Examples
    --------
    >>> apply_edits("one two", [(0, 3, "1"), (4, 7, "2")])
    '1 2'
    """
    for start, stop, words in sorted(edits, key=lambda edit: edit[:2])[::-1]:
        text = text[:start] + words + text[stop:]
    return text


def as_yaml(value: Any) -> str:
    """Write a value in one line.

    Examples
    --------
    >>> as_yaml({"earliest": "1929-06", "likely": "1929-12", "latest": "1930-08", "by": "A: me"})
    '{earliest: 1929-06, likely: 1929-12, latest: 1930-08, by: "A: me"}'
    """
    if isinstance(value, Mapping):
        return "{" + ", ".join(_pair(key, each) for key, each in value.items()) + "}"
    if isinstance(value, tuple) and len(value) == 1:
        return as_yaml(value[0])
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(as_yaml, value)) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int | float):
        return repr(value)
    plain = _POINT.fullmatch(value) or (_SAFE.fullmatch(value) and value.lower() not in _WORDS)
    return value if plain else _quoted(value)


def in_lines(key: str, value: Any, line_end: str = "\n") -> str:
    """Write an entry of a whole file: what a mapping or list holds on a line each.

    Examples
    --------
    >>> print(in_lines("seen", {"ring": "inlaid"}))
    seen:
      ring: inlaid
    """
    if isinstance(value, Mapping):
        entries = [_pair(name, each) for name, each in value.items()]
    elif isinstance(value, list):
        entries = [f"- {as_yaml(each)}" for each in value]
    else:
        return _pair(key, value)
    return f"{line_end}  ".join([f"{as_yaml(key)}:", *entries])


def value_edit(text: str, node: yaml.Node, words: str) -> Edit:
    """Put other words in the place of a value; behind a key, on the line of the key."""
    start, stop = start_of(text, node), end_of(text, node)
    behind = len(text[:start].rstrip())
    if text[:behind].endswith(":") and (start == behind or not isinstance(node, yaml.ScalarNode)):
        return behind, stop, f" {words}"
    return start, stop, words


def scalar_edit(text: str, node: yaml.Node, value: Any) -> Edit:
    """Replace one value, in the quotation marks it has."""
    words = as_yaml(value)
    style = node.style if isinstance(node, yaml.ScalarNode) else None
    if style in {"'", '"'} and isinstance(value, str) and not words.startswith('"'):
        words = f"{style}{words.replace("'", "''") if style == "'" else words}{style}"
    return value_edit(text, node, words)


def added_edit(text: str, node: yaml.Node, last: yaml.Node, entries: Iterable[str]) -> Edit:
    """Add entries to a mapping or list behind one of its values, as the others are written."""
    stop = end_of(text, last)
    if getattr(node, "flow_style", False):
        blank = " " if text[:stop].endswith(":") else ""
        return stop, stop, blank + "".join(f", {entry}" for entry in entries)
    if isinstance(node, yaml.SequenceNode):
        head = f"{_dash_of(text, last)[0]} "
    else:
        head = " " * node.value[0][0].start_mark.column
    stop = line_stop(text, stop)
    return stop, stop, "".join(f"{line_end_of(text)}{head}{entry}" for entry in entries)


def merged(text: str, before: Mapping[str, Any], after: Mapping[str, Any]) -> str:
    r"""Write into the text of a file what has changed from one state of its data to another.

    Only the entries that differ are touched. A new key goes behind those that come before it in the
    new data.

    Examples
    --------
    >>> text = "by: me  # the owner\nseen: {ring: inlaid, nut: bone}\n"
    >>> before = {"by": "me", "seen": {"ring": "inlaid", "nut": "bone"}}
    >>> print(merged(text, before, {"by": "me", "seen": {"ring": "painted"}}), end="")
    by: me  # the owner
    seen: {ring: painted}
    """
    mark, body = text[: text.startswith("\ufeff")], text.removeprefix("\ufeff")
    return mark + apply_edits(body, _in_mapping(body, nodes_of(body), before, after, in_lines))


def _edits(text: str, node: yaml.Node, before: Any, after: Any) -> Iterator[Edit]:
    """Give the stretches of text to replace, none of which overlap."""
    known = before if isinstance(before, Mapping) else {}
    if before == after:
        return
    if (known or not before) and isinstance(after, Mapping) and _keeps_some(node, known, after):
        yield from _in_mapping(text, node, known, after, _pair)
    elif before and after and isinstance(before, list) and isinstance(after, list):
        aligned = isinstance(node, yaml.SequenceNode) and len(before) == len(node.value)
        yield from (
            _in_list(text, node, before, after) if aligned else [scalar_edit(text, node, after)]
        )
    else:
        yield scalar_edit(text, node, after)


def _keeps_some(node: yaml.Node, before: Mapping[str, Any], after: Mapping[str, Any]) -> bool:
    pairs = node.value if isinstance(node, yaml.MappingNode) else []
    return any(key.value in after or key.value not in before for key, _ in pairs)


def _in_mapping(
    text: str,
    node: Any,
    before: Mapping[str, Any],
    after: Mapping[str, Any],
    write: Callable[[str, Any, str], str],
) -> Iterator[Edit]:
    values = {str(key.value): value for key, value in node.value}
    for name, value in values.items():
        if name in after:
            yield from _edits(text, value, before.get(name), after[name])
    gone = [name in before and name not in after for name in values]
    yield from _taken_out(text, node, node.value, gone)
    left = [name for name, out in zip(values, gone, strict=True) if not out]
    added: dict[str, list[str]] = {}
    names, line_end = list(after), line_end_of(text)
    for name in names:
        if name not in values:
            earlier = [each for each in left if each in names[: names.index(name)]]
            entry = _pair if node.flow_style else write
            added.setdefault((earlier or left)[-1], []).append(entry(name, after[name], line_end))
    for name, entries in added.items():
        yield added_edit(text, node, values[name], entries)


def _in_list(text: str, node: Any, before: list[Any], after: list[Any]) -> Iterator[Edit]:
    """Keep the items that stay, change the others in their place, add and drop at the end."""
    gone = [item not in after for item in before]
    if [item for item in before if item in after] != after:
        gone = [place >= len(after) for place in range(len(before))]
        for item, old, new in zip(node.value, before, after, strict=False):
            yield from _edits(text, item, old, new)
        if more := after[len(before) :]:
            yield added_edit(text, node, node.value[-1], map(as_yaml, more))
    yield from _taken_out(text, node, [(item, item) for item in node.value], gone)


def _taken_out(
    text: str,
    node: Any,
    parts: Sequence[tuple[yaml.Node, yaml.Node]],
    gone: Sequence[bool],
) -> Iterator[Edit]:
    """Take entries out of a mapping or list; their lines go, but no comment on other lines."""
    starts, edge = [start_of(text, first) for first, _ in parts], None
    for place, (item, last) in enumerate(parts):
        start, stop = starts[place], end_of(text, last)
        if gone[place] and not node.flow_style:
            if isinstance(node, yaml.SequenceNode):
                start = _dash_of(text, item).end() - 1
            head, stop = len(text[:start].rstrip(" ")), line_stop(text, stop)
            if head:
                yield head - _length_of_line_end(text[:head]), stop, ""
            else:
                yield head, (text + "\n").index("\n", stop) + 1, ""
        elif gone[place] and edge is not None and "#" not in text[edge:start]:
            yield edge, stop, ""
            edge = stop
        elif gone[place]:
            yield start, starts[place + 1] if place + 1 < len(starts) else stop, ""
            edge = None
        else:
            edge = stop


def _dash_of(text: str, item: yaml.Node) -> re.Match[str]:
    """Find the dash of an item in lines, with the blanks before it."""
    return list(_DASH.finditer(text, 0, start_of(text, item)))[-1]


def _length_of_line_end(text: str) -> int:
    return len(text) - len(text.removesuffix("\n").removesuffix("\r")) if text[-1] == "\n" else 0


def _is_blank(node: yaml.Node) -> bool:
    return isinstance(node, yaml.ScalarNode) and not node.value and node.style in {None, ""}


def _pair(key: str, value: Any, _line_end: str = "") -> str:
    return f"{as_yaml(key)}: {as_yaml(value)}"


def _quoted(text: str) -> str:
    """Write text in quotation marks, and what does not print by its number."""
    marks = json.dumps(text, ensure_ascii=False)
    return "".join(each if each.isprintable() else f"\\U{ord(each):08X}" for each in marks)
