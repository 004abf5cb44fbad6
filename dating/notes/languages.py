"""Languages of catalogue notes: every word of ours in one file, held against the English one."""

from __future__ import annotations

import datetime
import os
import re
import string
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal

from dating.cautions import CAUTIONS
from dating.kinds import of_kind
from dating.reading import InputError, KeyPath, Problem, Source, nearest_name, read_yaml
from dating.standard_input import StandardInput

type Style = Literal["british", "american"]

_FOLDER = Path(__file__).parent / "languages"
_ENGLISH = "en"
_CODE = re.compile("[A-Za-z]{2,3}(-[A-Za-z0-9]{2,8})*")
"""A code of a language as it stands in files: BCP 47 (RFC 5646, 2009), section 2.1, without the
codes for private use and for extensions."""


@dataclass(frozen=True, eq=False)
class Language:
    """The words of a language, in one style of dates.

    Parameters
    ----------
    code : str
        Its code, as HTML wants it (BCP 47), such as ``en``.
    texts : mapping of str to str
        By key, groups and names joined with dots; places in braces are to be filled.
    months : tuple of str
        Names of the months, January first.
    style : {"british", "american"}
        Order of day and month, and how per cent is set.
    """

    code: str
    texts: Mapping[str, str]
    months: tuple[str, ...]
    style: Style

    def say(self, key: str, **places: object) -> str:
        """Fill a text.

        Raises KeyError when there is no such key.

        Examples
        --------
        >>> language("en").say("date.circa", year=1931)
        'circa 1931'
        """
        return self.texts[key].format(**places)

    def month(self, number: int) -> str:
        """Write a month."""
        return self.say("month", month=self.months[number % 12], year=number // 12)

    def day(self, day: datetime.date) -> str:
        """Write a day."""
        name = self.months[day.month - 1]
        return self.say(self._styled("day"), day=day.day, month=name, year=day.year)

    def percent(self, chance: float) -> str:
        """Write a probability in whole per cent, never rounded to none or all."""
        number = f"{100 * chance:.0f}"
        if 0 < chance < 0.01:
            number = "<1"
        elif 0.99 < chance < 1 - 1e-12:
            number = ">99"
        return self.say(self._styled("percent"), number=number)

    def number(self, value: float, digits: int) -> str:
        """Write a number."""
        marks = {",": self.texts["thousands"], ".": self.texts["decimal"]}
        return "".join(marks.get(sign, sign) for sign in f"{value:,.{digits}f}")

    def listed(self, items: Sequence[str], by: Literal["and", "or"] = "and") -> str:
        """Join words."""
        if len(items) == 1:
            return items[0]
        first = self.texts["join.comma"].join(items[:-1])
        return self.say(f"join.{by}", first=first, last=items[-1])

    def _styled(self, key: str) -> str:
        return f"{key}_american" if self.style == "american" else key


def languages() -> list[str]:
    """Name the languages that come with the project.

    Examples
    --------
    >>> languages()
    ['de', 'en']
    """
    return sorted(path.stem for path in _FOLDER.glob("*.yaml"))


def language(name: str | os.PathLike[str], style: Style = "british") -> Language:
    """Read a language.

    Raises InputError when there is no such language, or when its file lacks a key, has one too
    many, or a text has other places than the English one.

    Examples
    --------
    >>> language("de").month(1931 * 12 + 2)
    'März 1931'
    """
    file = os.fspath(name)
    if file in languages():
        data = _own(file)
    elif file.endswith((".yaml", ".yml")) or isinstance(name, StandardInput):
        with of_kind(name, "language"):
            data = _checked(read_yaml(name))
    else:
        message = "no such language; name a .yaml file for one of your own"
        allowed = ", ".join(languages())
        near = nearest_name(file, languages())
        raise InputError([Problem("--language", None, "", message, file, allowed, near)])
    texts = {".".join(map(str, path)): text for path, text in _texts(data) if path[0] != "months"}
    code = texts["language"]
    if code == _ENGLISH and style == "american":
        code = "en-US"
    return Language(code, texts, tuple(map(str, data["months"])), style)


@lru_cache
def _own(code: str) -> dict[str, Any]:
    source = read_yaml(_FOLDER / f"{code}.yaml")
    return {**source.data, "cautions": CAUTIONS} if code == _ENGLISH else _checked(source)


def _texts(data: Mapping[str, Any], above: tuple[str, ...] = ()) -> Iterator[tuple[KeyPath, Any]]:
    """List every text with the keys that lead to it."""
    for key, value in data.items():
        path = (*above, str(key))
        if isinstance(value, dict):
            yield from _texts(value, path)
        else:
            yield path, value


def _checked(source: Source) -> dict[str, Any]:
    if not isinstance(source.data, dict):
        problem = source.problem((), "a mapping (key: text) is expected here", found=source.data)
        raise InputError([problem])
    if problems := list(_problems(source, dict(_texts(_own(_ENGLISH))))):
        raise InputError(problems)
    return dict(source.data)


def _problems(source: Source, english: Mapping[KeyPath, Any]) -> Iterator[Problem]:
    """Hold a language against the English one."""
    texts = dict(_texts(source.data))
    known = [".".join(map(str, path)) for path in english]
    for path in texts.keys() - english.keys():
        key = ".".join(map(str, path))
        yield source.problem(path, "there is no such text", found=key, allowed=known)
    for path in english.keys() - texts.keys():
        text = str(english[path])
        yield source.problem((), f"{'.'.join(map(str, path))} is missing", allowed=text)
    for path in english.keys() & texts.keys():
        yield from _text_problems(source, path, texts[path], english[path])


def _text_problems(source: Source, path: KeyPath, text: Any, english: Any) -> Iterator[Problem]:
    if path == ("months",):
        if not isinstance(text, list) or len(text) != 12:
            yield source.problem(path, "the names of twelve months are expected here", found=text)
        return
    if not isinstance(text, str) or not text.strip():
        yield source.problem(path, "text is expected here; in quotation marks", found=text)
        return
    if path == ("language",) and not _CODE.fullmatch(text):
        allowed = "a code of BCP 47, such as en, fr-CA or nds"
        yield source.problem(path, "no code of a language", found=text, allowed=allowed)
    places = _places(english)
    try:
        same = _places(text) == places
    except ValueError:
        same = False
    if not same:
        allowed = ", ".join(f"{{{place}}}" for place in sorted(places)) or "none"
        yield source.problem(path, "other places than in English", found=text, allowed=allowed)


def _places(text: str) -> set[str]:
    """Name the places of a text; a format or conversion behind one makes it another."""
    parts = string.Formatter().parse(text)
    return {
        f"{name}{conversion or ''}{form or ''}"
        for _, name, form, conversion in parts
        if name is not None
    }
