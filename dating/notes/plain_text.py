"""Text from data as every format may print it: one line, and nothing that cannot be seen."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from dataclasses import fields, is_dataclass, replace
from typing import Any, cast

_SPACE = re.compile(r"[^\S\N{NO-BREAK SPACE}\N{NARROW NO-BREAK SPACE}]+")
_UNSEEN = {"Cc", "Cs"}
_TURNING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def one_line(text: str) -> str:
    r"""Put text on one line and leave out what no document may hold.

    Examples
    --------
    >>> one_line(" paper\n label\x00 ")
    'paper label'
    """
    spaced = _SPACE.sub(" ", text)
    return "".join(sign for sign in spaced if _may_stand(sign)).strip()


def each_text[T](value: T, rule: Callable[[str], str]) -> T:
    """Apply a rule to every text in plain data.

    Examples
    --------
    >>> each_text(("a", ("b", 1)), str.upper)
    ('A', ('B', 1))
    """
    return cast(T, _changed(value, rule))


def _changed(value: Any, rule: Callable[[str], str]) -> Any:
    if isinstance(value, str):
        return rule(value)
    if isinstance(value, tuple):
        return tuple(_changed(item, rule) for item in value)
    if is_dataclass(value) and not isinstance(value, type):
        parts = {field.name: _changed(getattr(value, field.name), rule) for field in fields(value)}
        return replace(value, **parts)
    return value


def _may_stand(sign: str) -> bool:
    code = ord(sign)
    nowhere = 0xFDD0 <= code <= 0xFDEF or code & 0xFFFE == 0xFFFE
    return not (nowhere or sign in _TURNING or unicodedata.category(sign) in _UNSEEN)
