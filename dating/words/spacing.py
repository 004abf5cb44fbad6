"""Per cent keeps to its number where lines are broken."""

from __future__ import annotations

SPACE = "\N{NO-BREAK SPACE}"


def keep_per_cent(text: str) -> str:
    r"""Keep per cent to its number.

    Examples
    --------
    >>> keep_per_cent("90 %") == "90\N{NO-BREAK SPACE}%"
    True
    """
    return text.replace(" %", f"{SPACE}%")
