"""Signs that cannot be seen, shown as escapes in messages and text."""

from __future__ import annotations

import re

_UNSEEN = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")
_SHORT = {"\n": r"\n", "\r": r"\r", "\t": r"\t"}


def escaped(text: str, exceptions: str = "") -> str:
    r"""Show signs that cannot be seen, or that turn what follows, as escapes.

    Control characters, the overrides and isolates of writing direction, and bytes that are not
    text could make a terminal show something else than what a file says. All other signs stand as
    they are, those of every script among them.

    Examples
    --------
    >>> print(escaped("red \x1b[31m"), escaped("d\u00e9but 1931"))
    red \x1b[31m début 1931
    """

    def escape(match: re.Match[str]) -> str:
        sign = match[0]
        code = ord(sign)
        if sign in exceptions:
            return sign
        if 0xDC80 <= code <= 0xDCFF:  # a byte of a file's name that is not text
            code -= 0xDC00
        return _SHORT.get(sign) or (f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}")

    return _UNSEEN.sub(escape, text)
