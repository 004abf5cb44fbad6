"""Text and YAML in, located problems out, and files written whole or not at all.

A file is read into plain data together with the place of every key. Whatever is found wrong
with it, here or by a model, becomes a :class:`Problem` that names file, line, key, what was
found, what is allowed and the nearest valid name.
"""

from __future__ import annotations

import difflib
import hashlib
import os
import re
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import cycle, repeat
from pathlib import Path
from typing import Any

import yaml

from dating.escapes import escaped
from dating.standard_input import FileContent

LARGEST_FILE = 2_000_000
DEEPEST_NESTING = 40
MOST_ALIASES = 200
MOST_VALUES = 200_000
MOST_SHOWN = 50

type Place = tuple[int, int]
type KeyPath = tuple[str | int, ...]

_LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_LONGEST_NUMBER = 300
_INTEGER = re.compile(r"[-+]?(0|[1-9][0-9]*)")
_NUMBER = re.compile(r"[-+]?(\.[0-9]+|(0|[1-9][0-9]*)(\.[0-9]*)?)([eE][-+]?[0-9]+)?")
_WORDS = {"": None, "~": None, "null": None, "true": True, "false": False}


@dataclass(frozen=True)
class Problem:
    """One thing wrong with one file.

    Parameters
    ----------
    file : str
        The file, as the user named it.
    line : int or None
        Line, counted from 1.
    key : str
        Path of keys down to the place, joined with dots; empty for the file as a whole.
    message : str
        The rule that is broken.
    found, allowed, nearest : str
        What was found, what is allowed, the nearest valid name; empty where it does not apply.
    expected : str
        What would be expected, where the thing is allowed and hardly meant: a warning.
    """

    file: str
    line: int | None
    key: str
    message: str
    found: str = ""
    allowed: str = ""
    nearest: str = ""
    expected: str = ""

    def __str__(self) -> str:
        """Return the problem as the user reads it."""
        place = self.file if self.line is None else f"{self.file}, line {self.line}"
        lines = [f"{place}: {self.key}: {self.message}" if self.key else f"{place}: {self.message}"]
        lines += [f"    {name + ':':<9} {text}" for name, text in self.details().items() if text]
        return "\n".join(escaped(line) for line in lines)

    def details(self) -> dict[str, str]:
        """Return what was found and what is wanted, by what it is."""
        names = ("found", "allowed", "nearest", "expected")
        return {name: getattr(self, name) for name in names}


class InputError(Exception):
    """Input that cannot be used; carries every problem that was found, and shows the first fifty.

    Parameters
    ----------
    problems : sequence of Problem
        At least one.
    """

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        lines = [str(problem) for problem in self.problems[:MOST_SHOWN]]
        if more := len(self.problems) - len(lines):
            lines.append(f"and {more:,} more")
        super().__init__("\n".join(lines))

    def __reduce__(self) -> tuple[type[InputError], tuple[tuple[Problem, ...]]]:
        """Be made again from the problems, where an error goes from one process to another."""
        return type(self), (self.problems,)


@dataclass(frozen=True)
class Source:
    """A file that has been read: plain data, the place of each key, a fingerprint.

    Parameters
    ----------
    file : str
        The file, as the user named it.
    data : object
        Mappings, lists, text, numbers, booleans and None.
    places : dict of key path to (line, column)
        Both counted from 1; a line of 0 stands for what was entered in a form, and is not shown.
    fingerprint : str
        SHA-256 of the file's bytes, in hexadecimal.
    """

    file: str
    data: Any
    places: dict[KeyPath, Place]
    fingerprint: str

    def problem(
        self,
        path: KeyPath,
        message: str,
        *,
        found: object = None,
        allowed: Iterable[str] | str = "",
    ) -> Problem:
        """Make a problem located at a key, with the nearest valid name worked out."""
        known = path
        while known and known not in self.places:
            known = known[:-1]
        names = allowed if isinstance(allowed, str) else sorted(allowed)
        return Problem(
            file=self.file,
            line=self.places[known][0] or None if known in self.places else None,
            key=key_text(path),
            message=message,
            found="" if found is None else shown(found),
            allowed=names if isinstance(names, str) else (", ".join(names) or "nothing"),
            nearest="" if isinstance(names, str) else nearest_name(str(found), names),
        )


def read_bytes(path: str | os.PathLike[str], largest: int | None = None) -> bytes:
    """Read a file, or its first bytes.

    Raises InputError when the file cannot be read.
    """
    if isinstance(path, FileContent):
        return path.content[:largest]
    file = os.fspath(path)
    try:
        with open(file, "rb") as stream:
            return stream.read(largest)
    except (OSError, ValueError) as error:
        raise InputError([Problem(file, None, "", _why_unreadable(error))]) from None


def read_yaml(path: str | os.PathLike[str]) -> Source:
    """Read a YAML file safely: no tags, no repeated keys, limits on size, depth and aliases.

    Dates, ``yes`` and ``no`` stay text; only numbers, true, false and null are taken as such.

    Raises InputError when the file cannot be read or is not plain YAML within the limits.
    """
    text, fingerprint = read_text(path)
    return _parse(os.fspath(path), text, fingerprint)


def source_of(file: str, text: str) -> Source:
    """Read YAML that is not, or not yet, in a file.

    Raises InputError when it is not valid.
    """
    return _parse(file, text, hashlib.sha256(text.encode("utf-8")).hexdigest())


def read_text(path: str | os.PathLike[str], largest: int = LARGEST_FILE) -> tuple[str, str]:
    """Read a file of UTF-8 text within the limit on size; a byte order mark is dropped.

    Raises InputError when the file cannot be read, is too large or is not UTF-8.
    """
    file = os.fspath(path)
    content = read_bytes(path, largest + 1)
    if len(content) > largest:
        message = f"the file is larger than {largest:,} bytes"
        raise InputError([Problem(file, None, "", message)])
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise InputError([Problem(file, line, "", "the file is not UTF-8 text")]) from None
    return text, hashlib.sha256(content).hexdigest()


def write_whole(path: str | os.PathLike[str], content: bytes) -> None:
    """Write a file under a temporary name, then rename it: whole or not at all.

    Raises InputError when the folder does not exist or cannot be written to.
    """
    target = Path(path)
    temporary = None
    try:
        descriptor, temporary = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.")
        with os.fdopen(descriptor, "wb") as stream:
            stream.write(content)
        os.chmod(temporary, 0o666 & ~_umask())
        os.replace(temporary, target)
    except (OSError, ValueError) as error:
        if temporary is not None:
            Path(temporary).unlink(missing_ok=True)
        message = f"cannot be written: {getattr(error, 'strerror', None) or error}"
        raise InputError([Problem(str(target), None, "", message)]) from None


def plain_number(text: str) -> int | float | None:
    """Read a number as it is written in files: digits, with a point and an exponent if need be.

    Examples
    --------
    >>> plain_number("21.4"), plain_number("-4"), plain_number("1931-02")
    (21.4, -4, None)
    """
    if len(text) > _LONGEST_NUMBER:
        return None
    if _INTEGER.fullmatch(text):
        return int(text)
    return float(text) if _NUMBER.fullmatch(text) else None


def key_text(path: KeyPath) -> str:
    """Write a key path as text: names joined with dots, list positions counted from 1.

    Examples
    --------
    >>> key_text(("documents", 1, "not_after"))
    'documents[2].not_after'
    """
    text = ""
    for part in path:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{part}"
    return text.removeprefix(".")


def nearest_name(name: str, names: Iterable[str]) -> str:
    """Return the valid name that is most like the one found, or an empty text.

    Examples
    --------
    >>> nearest_name("doweled", ["dovetail", "dowelled", "screwed"])
    'dowelled'
    """
    close = difflib.get_close_matches(name[:80], list(names), n=1, cutoff=0.5)
    return close[0] if close else ""


def shown(value: object) -> str:
    """Show a value in a message, cut to a length that can be read.

    Examples
    --------
    >>> shown("dowelled"), shown({"a": 1})
    ("'dowelled'", 'a mapping with the keys a')
    """
    if isinstance(value, dict):
        keys = ", ".join(str(key) for key in list(value)[:4])
        return f"a mapping with the keys {keys[:50]}" if value else "an empty mapping"
    if isinstance(value, list):
        return f"a list of {len(value)}"
    text = "nothing" if value is None else repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _parse(file: str, text: str, fingerprint: str) -> Source:
    try:
        _check_limits(file, text)
        root = yaml.compose(text, Loader=_LOADER)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        message = f"not valid YAML: {error.problem or error.context}"
        raise InputError([Problem(file, mark.line + 1 if mark else None, "", message)]) from None
    except yaml.YAMLError as error:
        message = f"not valid YAML: {str(error).splitlines()[0]}"
        raise InputError([Problem(file, _line_of(error, text), "", message)]) from None
    if root is None:
        raise InputError([Problem(file, 1, "", "the file is empty")])
    builder = _Builder(file)
    data = builder.build(root, (), 0)
    if builder.problems:
        raise InputError(builder.problems)
    return Source(file, data, builder.places, fingerprint)


def _check_limits(file: str, text: str) -> None:
    """Walk the events, which needs no recursion, before anything nested is built."""
    counts: list[Iterator[int]] = [repeat(1)]
    values = aliases = documents = 0
    for event in yaml.parse(text, Loader=_LOADER):
        message = ""
        if isinstance(event, yaml.NodeEvent):
            values += next(counts[-1])
            if values > MOST_VALUES:
                message = f"too much: more than {MOST_VALUES:,} values"
        if isinstance(event, yaml.CollectionStartEvent):
            # A key of a mapping is no value, and what follows it is one.
            counts.append(cycle((0, 1)) if isinstance(event, yaml.MappingStartEvent) else repeat(1))
            if len(counts) > DEEPEST_NESTING + 1:
                message = f"nested more than {DEEPEST_NESTING} deep"
        elif isinstance(event, yaml.CollectionEndEvent):
            counts.pop()
        elif isinstance(event, yaml.AliasEvent):
            aliases += 1
            if aliases > MOST_ALIASES:
                message = f"more than {MOST_ALIASES} aliases"
        elif isinstance(event, yaml.DocumentStartEvent):
            documents += 1
            if documents > 1:
                message = "more than one YAML document in the file"
        if message:
            line = event.start_mark.line + 1 if event.start_mark else 1
            raise InputError([Problem(file, line, "", message)])


class _Builder:
    """Turns YAML nodes into plain data and notes the place of every key."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.places: dict[KeyPath, Place] = {}
        self.problems: list[Problem] = []
        self.values = 0

    def build(self, node: yaml.Node, path: KeyPath, depth: int) -> Any:
        self.places.setdefault(path, _place(node))
        self.values += 1
        if self.values > MOST_VALUES or depth > DEEPEST_NESTING:
            message = "too much once its aliases are followed"
            raise InputError([Problem(self.file, _place(node)[0], key_text(path), message)])
        if isinstance(node, yaml.ScalarNode):
            return self._scalar(node, path)
        if not node.tag.startswith("tag:yaml.org,2002:"):
            self._refuse_tag(node, path)
        if isinstance(node, yaml.SequenceNode):
            return [self.build(item, (*path, i), depth + 1) for i, item in enumerate(node.value)]
        return self._mapping(node, path, depth)

    def _mapping(self, node: yaml.Node, path: KeyPath, depth: int) -> dict[str, Any]:
        data: dict[str, Any] = {}
        for key_node, value_node in node.value:
            line = _place(key_node)[0]
            if not isinstance(key_node, yaml.ScalarNode):
                message = "a key must be a plain word"
                self.problems.append(Problem(self.file, line, key_text(path), message))
                continue
            key = str(key_node.value)
            if key in data:
                message = f"the key is given twice, first in line {self.places[(*path, key)][0]}"
                self.problems.append(Problem(self.file, line, key_text((*path, key)), message))
                continue
            self.places[(*path, key)] = _place(key_node)
            data[key] = self.build(value_node, (*path, key), depth + 1)
        return data

    def _scalar(self, node: yaml.ScalarNode, path: KeyPath) -> Any:
        text = str(node.value)
        plain = node.style is None or node.style == ""
        if not node.tag.startswith("tag:yaml.org,2002:"):
            self._refuse_tag(node, path)
        if not plain:
            return text
        if text.lower() in _WORDS and text in {text.lower(), text.capitalize(), text.upper()}:
            return _WORDS[text.lower()]
        number = plain_number(text)
        return text if number is None else number

    def _refuse_tag(self, node: yaml.Node, path: KeyPath) -> None:
        message = "YAML tags are not used here; remove it"
        self.problems.append(
            Problem(self.file, _place(node)[0], key_text(path), message, found=node.tag[:60])
        )


def _place(node: yaml.Node) -> Place:
    return node.start_mark.line + 1, node.start_mark.column + 1


def _line_of(error: yaml.YAMLError, text: str) -> int | None:
    position = getattr(error, "position", None)
    return text[:position].count("\n") + 1 if isinstance(position, int) else None


def _why_unreadable(error: OSError | ValueError) -> str:
    if isinstance(error, FileNotFoundError):
        return "there is no such file"
    if isinstance(error, IsADirectoryError):
        return "this is a folder; name a file in it"
    return f"cannot be read: {getattr(error, 'strerror', None) or error}"


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
