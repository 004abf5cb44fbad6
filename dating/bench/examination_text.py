"""The text of an examination's file: new, or the old one with only what has changed rewritten."""

from __future__ import annotations

import datetime
import io
import re
from collections.abc import Mapping
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.comments import CommentedMap, CommentedSeq
from ruamel.yaml.error import YAMLError
from ruamel.yaml.scalarstring import DoubleQuotedScalarString

from dating.bench.examination_yaml import plain_data
from dating.examination import NOT_EXAMINED, Examination
from dating.files import read_examination
from dating.reading import InputError, Problem, plain_number
from dating.standard_input import FileContent

_GROUPS = ("seen", "marks", "measured")
_WORDS = {"null", "true", "false"}
_PLAIN = re.compile(r"\w(?:[\w .()+/;-]*[\w.)])?")
"""Text that every reader of YAML takes for the same text without quotation marks."""
_DAY = re.compile(r"[12][0-9]{3}-[01][0-9]-[0-3][0-9]")
_DASH = re.compile(r"(?m)^documents:[^\n]*\n(?:[ \t]*#[^\n]*\n|[ \t]*\n)*([ ]*)-([ ]+)")


def new_text(examination: Examination) -> str:
    """Write the file of an examination afresh.

    Raises InputError when something in it cannot be written so that it reads back the same.

    Examples
    --------
    >>> given = Examination(instrument="M-1", maker="marrowby", seen={"ring": "inlaid"})
    >>> print(new_text(given), end="")
    instrument: M-1
    maker: marrowby
    seen:
      ring: inlaid
    """
    whole = CommentedMap()
    for key, value in plain_data(examination).items():
        whole[key] = _node_of_key(key, value)
    return _checked(_dumped(_yaml(""), whole), examination)


def amended_text(text: str, was: Examination, examination: Examination) -> str:
    r"""Rewrite in the text of a file what has changed; comments and order stay.

    Raises InputError when it cannot be written so that it reads back the same.

    Examples
    --------
    >>> was = Examination(instrument="M-1", maker="marrowby", seen={"ring": "inlaid"})
    >>> now = Examination(instrument="M-1", maker="marrowby", seen={"ring": "painted"})
    >>> text = "instrument: M-1  # on the label\nmaker: marrowby\nseen: {ring: inlaid}\n"
    >>> print(amended_text(text, was, now), end="")
    instrument: M-1  # on the label
    maker: marrowby
    seen: {ring: painted}
    """
    old, new = plain_data(was), plain_data(examination)
    if trimmed(old) == trimmed(new):
        return text
    yaml = _yaml(text)
    try:
        whole = yaml.load(text)
    except YAMLError:
        return new_text(examination)
    for key in dict.fromkeys((*old, *new)):
        before, after = old.get(key), new.get(key)
        if trimmed(before) != trimmed(after):
            _amend(whole, key, before, after)
    return _checked(_dumped(yaml, whole), examination)


def trimmed(value: Any) -> Any:
    r"""Leave white space at the ends of texts out of a comparison.

    Examples
    --------
    >>> trimmed({"note": " torn\n"})
    {'note': 'torn'}
    """
    if isinstance(value, str):
        return value.replace("\r\n", "\n").strip()
    if isinstance(value, dict):
        return {name: trimmed(inner) for name, inner in value.items()}
    return [trimmed(inner) for inner in value] if isinstance(value, list) else value


def _amend(whole: CommentedMap, key: str, before: Any, after: Any) -> None:
    here = whole.get(key)
    if key in _GROUPS and isinstance(here, CommentedMap):
        _amend_group(here, before or {}, after or {})
    elif key == "documents" and isinstance(here, CommentedSeq) and after:
        _amend_papers(here, before or [], after)
    elif after is None:
        whole.pop(key, None)
    elif isinstance(here, CommentedMap) and isinstance(after, dict):
        _amend_mapping(whole, key, here, after)
    elif key in whole:
        whole[key] = _node_of_key(key, after)
    else:
        whole.insert(_place(whole, key), key, _node_of_key(key, after))


def _place(whole: CommentedMap, key: str) -> int:
    """Say where a new key goes: behind those that come before it in the usual order."""
    order = list(Examination.model_fields)
    earlier = order[: order.index(key)]
    return max((place for place, name in enumerate(whole) if name in earlier), default=-1) + 1


def _amend_group(here: CommentedMap, before: Mapping[str, Any], after: Mapping[str, Any]) -> None:
    """Change the answers of one group; one that is taken back is said to be not examined."""
    keys = {str(name): name for name in here}
    for name in dict.fromkeys((*before, *after)):
        key, value = keys.get(name, _node(name)), after.get(name)
        if trimmed(before.get(name)) == trimmed(value):
            continue
        if value is None:
            here[key] = NOT_EXAMINED
        elif isinstance(here.get(key), CommentedMap) and isinstance(value, dict):
            _amend_mapping(here, key, here[key], value)
        else:
            here[key] = _node(value)


def _amend_mapping(outer: Any, key: Any, here: CommentedMap, after: Mapping[str, Any]) -> None:
    if here.yaml_anchor() is not None:
        outer[key] = _node(dict(after))
        return
    for name in [name for name in here if name not in after]:
        del here[name]
    for name, value in after.items():
        if name not in here or trimmed(_read(here[name])) != trimmed(_read(value)):
            here[name] = _node(value)


def _amend_papers(here: CommentedSeq, before: list[Any], after: list[Any]) -> None:
    """Keep the documents that stay, change those in the same place, add and drop the others."""
    old, new = [trimmed(paper) for paper in before], [trimmed(paper) for paper in after]
    if [paper for paper in old if paper in new] == new:
        for position in reversed([i for i, paper in enumerate(old) if paper not in new]):
            del here[position]
        return
    while len(here) > len(after):
        del here[-1]
    for position, paper in enumerate(after):
        if position >= len(here):
            here.append(_node(paper))
        elif old[position] != new[position]:
            _amend_mapping(here, position, here[position], paper)


def _node_of_key(key: str, value: Any) -> Any:
    """Write a group over several lines, and what is in it on one line each."""
    if key in _GROUPS:
        return CommentedMap({_node(name): _node(inner) for name, inner in value.items()})
    if key == "documents":
        return CommentedSeq([_node(inner) for inner in value])
    return _node(value)


def _node(value: Any) -> Any:
    """Write a value on one line, text in quotation marks where it could be taken for a number."""
    if isinstance(value, dict):
        node = CommentedMap({name: _node(inner) for name, inner in value.items()})
        node.fa.set_flow_style()
        return node
    if isinstance(value, list):
        items = CommentedSeq([_node(inner) for inner in value])
        items.fa.set_flow_style()
        return items
    if isinstance(value, str):
        if _DAY.fullmatch(value):
            return _day(value)
        plain = _PLAIN.fullmatch(value) and value.lower() not in _WORDS
        if not plain or plain_number(value) is not None:
            return DoubleQuotedScalarString(value)
    return value


def _day(text: str) -> datetime.date | str:
    try:
        return datetime.date.fromisoformat(text)
    except ValueError:
        return text


def _read(value: Any) -> Any:
    """Take a node of the file for the plain data that it stands for."""
    if isinstance(value, datetime.date):
        return value.isoformat()
    return [_read(inner) for inner in value] if isinstance(value, list) else value


def _yaml(text: str) -> YAML:
    """Make a reader and writer that keeps the indentation of a text."""
    yaml = YAML(typ="rt")
    yaml.preserve_quotes = True
    yaml.width = 100_000
    dash = _DASH.search(text)
    offset, gap = (len(dash[1]), len(dash[2])) if dash else (2, 1)
    yaml.indent(mapping=2, sequence=offset + 1 + gap, offset=offset)
    return yaml


def _dumped(yaml: YAML, whole: Any) -> str:
    stream = io.StringIO()
    yaml.dump(whole, stream)
    return stream.getvalue()


def _checked(text: str, examination: Examination) -> str:
    """Make sure that the command will read what was entered."""
    try:
        read = plain_data(read_examination(FileContent("examination.yaml", text.encode("utf-8"))))
    except InputError:
        read = {}
    if trimmed(read) != trimmed(plain_data(examination)):
        message = "this cannot be written so that it reads back the same; use plainer text"
        raise InputError([Problem("what you entered", None, "", message)])
    return text
