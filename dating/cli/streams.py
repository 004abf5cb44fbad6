"""What goes out: signs that an output cannot carry, outputs that break, and the width of text."""

from __future__ import annotations

import codecs
import io
import os
import sys
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import IO

import click

NARROWEST, USUAL, WIDEST = 40, 80, 100
"""Columns of text."""
CLOSED_PIPE = 128 + 13
"""Exit status of a command whose reader has gone, as the system gives it."""

_ASCII = "plain_ascii"
_PLAIN = {
    **dict.fromkeys("\N{HYPHEN}\N{NON-BREAKING HYPHEN}–—\N{MINUS SIGN}", "-"),
    **dict.fromkeys("‘’", "'"),
    **dict.fromkeys("“”„«»", '"'),
    **dict.fromkeys("\N{NO-BREAK SPACE}\N{NARROW NO-BREAK SPACE}", " "),
    "→": "->",
    "±": "+/-",
    "×": "x",
    "≤": "<=",
    "≥": ">=",
    "·": "-",
    "•": "*",
    "█": "#",
    "\N{FRACTION SLASH}": "/",
    "ß": "ss",
    "æ": "ae",
    "ø": "o",
    "œ": "oe",
    "ł": "l",
    "€": "EUR",
    "£": "GBP",
}


def text_width() -> int:
    """Give the width that text is wrapped at."""
    columns = os.environ.get("COLUMNS", "")
    wide = int(columns) if columns.isdecimal() and len(columns) < 10 else 0
    if not wide and _is_terminal(sys.stdout):
        with suppress(OSError, ValueError):
            wide = os.get_terminal_size(sys.stdout.fileno()).columns
    return min(max(wide or USUAL, NARROWEST), WIDEST)


def message_text(message: object, lead: str = "") -> str:
    """Wrap what is wrong with files on a terminal that is narrower than usual."""
    text = f"{lead}{message}"
    return (filled(text) if text_width() < USUAL else text).removeprefix(lead)


def filled(text: str) -> str:
    """Wrap lines to the width of text; no word is broken, so that paths can be copied."""
    from dating.words.plain import hanging  # noqa: PLC0415

    return hanging(text.splitlines(), text_width()).removesuffix("\n")


def carries(text: str) -> bool:
    """Say whether the output can carry a text as it is."""
    try:
        text.encode(getattr(sys.stdout, "encoding", None) or "utf-8")
    except (UnicodeError, LookupError):
        return False
    return True


def plain_sign(sign: str) -> str:
    """Write a sign with those that every output carries.

    Examples
    --------
    >>> [plain_sign(sign) for sign in "–é½字"]
    ['-', 'e', '1/2', '?']
    """
    if sign in _PLAIN:
        return _PLAIN[sign]
    if "\udc80" <= sign <= "\udcff":  # a byte of a file's name that is not text
        return f"\\x{ord(sign) - 0xDC00:02x}"
    parts = unicodedata.normalize("NFKD", sign)
    near = "".join(_PLAIN.get(part, part) for part in parts if not unicodedata.combining(part))
    return near if near and near.isascii() else "?"


def use_plain_signs() -> None:
    """Let output and messages write what they cannot carry with signs that come near it."""
    codecs.register_error("plain signs", _replacement)
    codecs.register(_plain_ascii)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            in_ascii = codecs.lookup(stream.encoding).name == "ascii"
            encoding = _ASCII if in_ascii else stream.encoding
            stream.reconfigure(encoding=encoding, errors="plain signs")


@contextmanager
def unbroken() -> Iterator[None]:
    """Turn outputs that break into the end of the command, and other refusals into messages.

    Raises SystemExit without a word, when whoever reads the output has gone; ClickException when
    the output, or a file, cannot be read or written.
    """
    try:
        yield
    except BrokenPipeError:
        give_up()
        raise SystemExit(CLOSED_PIPE) from None
    except OSError as error:
        why = error.strerror or str(error)
        if error.filename is not None:
            raise click.ClickException(f"{error.filename}: {why}") from None
        _discard(sys.stdout)
        raise click.ClickException(f"the output cannot be written: {why}") from None


def give_up() -> None:
    """Let nothing more go out, so that the end of Python does not try again."""
    _discard(sys.stdout)
    _discard(sys.stderr)


def _plain_ascii(name: str) -> codecs.CodecInfo | None:
    """Give ASCII under a name of its own: click writes UTF-8 where it reads that of ASCII."""
    if name != _ASCII:
        return None
    known = codecs.lookup("ascii")
    return codecs.CodecInfo(
        known.encode,
        known.decode,
        incrementalencoder=known.incrementalencoder,
        incrementaldecoder=known.incrementaldecoder,
        name=name,
    )


def _replacement(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    signs = error.object[error.start : error.end]
    return "".join(plain_sign(sign) for sign in signs), error.end


def _is_terminal(stream: IO[str] | None) -> bool:
    return stream is not None and not stream.closed and stream.isatty()


def _discard(stream: IO[str] | None) -> None:
    """Point a stream nowhere, where it belongs to the system."""
    with suppress(OSError, ValueError, AttributeError):
        number = stream.fileno()  # type: ignore[union-attr]
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, number)
        os.close(nowhere)
