"""The text of an examination's file: new, or the old one with only what has changed rewritten."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dating.bench.examination_yaml import plain_data
from dating.examination import NOT_EXAMINED, Examination
from dating.files import read_examination
from dating.reading import InputError, Problem
from dating.standard_input import FileContent
from dating.yaml_text import in_lines, merged

_GROUPS = {"seen": "state", "marks": "", "measured": "value"}
"""With the key of an answer in long form that may stand alone."""


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
    entries = plain_data(examination).items()
    return _checked("".join(f"{in_lines(key, value)}\n" for key, value in entries), examination)


def amended_text(text: str, was: Examination, examination: Examination) -> str:
    r"""Rewrite in the text of a file what has changed; every other byte stays.

    An answer that is taken back is said to be not examined. Raises InputError when it cannot be
    written so that it reads back the same.

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
    stated = was.origin.data or {}
    old, new = (_in_the_form_of(stated, plain_data(each)) for each in (was, examination))
    for group in _GROUPS:
        answers = {**dict.fromkeys(old.get(group, {}), NOT_EXAMINED), **new.get(group, {})}
        new |= {group: answers} if answers else {}
    in_order = {key: new[key] for key in Examination.model_fields if key in new}
    return text if old == in_order else _checked(merged(text, old, in_order), examination)


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


def _in_the_form_of(stated: Mapping[str, Any], data: Mapping[str, Any]) -> dict[str, Any]:
    """Write in long form the answers that a file has in long form, whose lines then stay."""
    whole: dict[str, Any] = trimmed(data)
    for group, key in _GROUPS.items():
        answers, here = whole.get(group, {}), stated.get(group) or {}
        for name, answer in answers.items():
            if isinstance(here.get(name), dict) and not isinstance(answer, dict):
                answers[name] = {key: answer}
    return whole


def _checked(text: str, examination: Examination) -> str:
    """Make sure that the command will read what was entered."""
    try:
        read = plain_data(read_examination(FileContent("examination.yaml", text.encode("utf-8"))))
    except InputError:
        read = {}
    if trimmed(read) != trimmed(plain_data(examination)):
        message = (
            "this cannot be written so that it reads back the same; use plainer text, or where the "
            "file shares a value by an anchor, change it in the file"
        )
        raise InputError([Problem("what you entered", None, "", message)])
    return text
