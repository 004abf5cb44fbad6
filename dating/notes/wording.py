"""How notes are worded, as a user chooses it."""

from __future__ import annotations

import os
from typing import get_args

from dating.notes.languages import Style, language
from dating.notes.phrasing import CIRCA
from dating.notes.sentences import Wording


def wording_of(tongue: str | os.PathLike[str], dates: Style, circa: int, level: float) -> Wording:
    """Read the language, and say how notes are worded.

    Raises InputError when there is no such language, or its file is not complete; ValueError when
    there is no such style of days, or no such meaning of "circa".

    Examples
    --------
    >>> wording_of("en", "british", 4, 0.9)
    Traceback (most recent call last):
    ...
    ValueError: "circa" means 5 or 10 years on either side; found 4
    """
    if dates not in (styles := get_args(Style.__value__)):
        raise ValueError(f"days are written as {' or '.join(styles)}; found {dates}")
    if circa not in CIRCA:
        years = " or ".join(map(str, CIRCA))
        raise ValueError(f'"circa" means {years} years on either side; found {circa}')
    return Wording(language(tongue, dates), level, CIRCA[circa])
