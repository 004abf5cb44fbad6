"""What kind of file it is, told by what it holds: its keys, its columns or its first bytes."""

from __future__ import annotations

import os
import re
from collections.abc import Collection, Iterable, Iterator
from contextlib import contextmanager

from dating.reading import InputError, Problem, nearest_name, read_bytes, read_yaml
from dating.sheets import WORKBOOK, column_names, is_sheet

_YAML = {
    "claims": ("claims",),
    "group": ("known", "group"),
    "language": ("language",),
    "examination": ("instrument", "seen", "marks", "measured"),
    "maker": ("components", "product"),
}
"""Keys of which each kind has one at least; the first kind that has is it."""
_SHEETS = {
    "claims": ("claim", "kind"),
    "sale": ("lot",),
    "corpus": ("built",),
}
_SIGNATURES = {
    b"\x89HDF\r\n\x1a\n": "learned",
    b"CDF": "learned",
}
_OTHERS = {
    b"PK\x03\x04": "a Word document or a workbook of another kind; save a sheet as .xlsx or CSV",
    b"PAR1": "a Parquet table; dating sale --table reads it",
    b"%PDF": "a PDF document",
    b"\x89PNG": "a picture",
    b"<svg": "a picture",
    b"<?xml": "an XML file or a picture",
    b"<!doctype html": "a page",
}
_NAMES = {
    "maker": "a maker file",
    "examination": "an examination of one instrument",
    "claims": "a file of claims",
    "group": "a group file",
    "language": "a language file",
    "corpus": "a reference corpus",
    "sale": "a sheet of lots",
    "learned": "a file that dating learn has written",
}
_NOT_OURS = "not a known kind of file"
_KEYS = (
    "maker file (period, components), examination (instrument, seen), claims (claims), group "
    "(known), language file (language, months)"
)
_COLUMNS = "reference corpus (instrument, built), sale (lot), claims (claim, kind)"


def kind_of(path: str | os.PathLike[str]) -> str:
    """Tell what kind of file it is, before it is checked.

    Raises InputError when it cannot be read, or is of no kind that is known.

    Examples
    --------
    >>> kind_of("priors/marrowby.yaml"), kind_of("demo_data/marrowby_sale.csv")
    ('maker', 'sale')
    """
    start = read_bytes(path, 64)
    for signature, kind in _SIGNATURES.items():
        if start.startswith(signature):
            return kind
    if os.fspath(path).lower().endswith(WORKBOOK):
        return _kind_of_sheet(os.fspath(path), column_names(path))
    for signature, what in _OTHERS.items():
        if start.lstrip().lower().startswith(signature.lower()):
            raise InputError([Problem(os.fspath(path), None, "", f"{_NOT_OURS}, but {what}")])
    if is_sheet(path):
        return _kind_of_sheet(os.fspath(path), column_names(path))
    data = _data_of(path)
    keys = list(data) if isinstance(data, dict) else []
    for kind, some in _YAML.items():
        if set(some) & set(keys):
            return kind
    if {"maker", "period"} <= set(keys):
        return "maker"
    message, near = f"{_NOT_OURS}, judging by its keys", _near(keys, _YAML.values())
    raise InputError([Problem(os.fspath(path), 1, "", message, allowed=_KEYS, nearest=near)])


@contextmanager
def of_kind(path: str | os.PathLike[str], expected: str) -> Iterator[None]:
    """Name the kind of a file that cannot be read because it is of another kind.

    Raises InputError with one problem in place of many where it is of another kind, or of none.
    """
    try:
        yield
    except InputError as error:
        try:
            kind = kind_of(path)
        except InputError as other:
            if not other.problems[0].message.startswith(_NOT_OURS) or other.problems[0].allowed:
                raise error from None
            message = other.problems[0].message
        else:
            if kind == expected:
                raise
            message = f"this is {_NAMES[kind]}"
        message = f"{message}; {_NAMES[expected]} is expected here"
        raise InputError([Problem(os.fspath(path), None, "", message)]) from None


def _data_of(path: str | os.PathLike[str]) -> object:
    """Read YAML; what is not meant as YAML is no faulty YAML either."""
    try:
        return read_yaml(path).data
    except InputError:
        if os.path.splitext(path)[1].lower() in {"", ".yaml", ".yml"}:
            raise
        message = (
            f"{_NOT_OURS}: these are YAML (.yaml), CSV (.csv) or what dating learn has written"
        )
        raise InputError([Problem(os.fspath(path), None, "", message)]) from None


def _kind_of_sheet(file: str, columns: tuple[str, ...]) -> str:
    names = {part.strip() for cell in columns for part in re.split(r"[;\t]", cell)}
    for kind, required in _SHEETS.items():
        if set(required) <= names:
            return kind
    if names & {"claim", "sentence"}:
        return "claims"
    message = f"{_NOT_OURS}, judging by its columns"
    near = _near(sorted(names - {"instrument"}), _SHEETS.values())
    raise InputError([Problem(file, None, "", message, allowed=_COLUMNS, nearest=near)])


def _near(texts: Iterable[str], kinds: Iterable[Collection[str]]) -> str:
    names = [name for some in kinds for name in some]
    return next((name for text in texts if (name := nearest_name(text, names))), "")
