"""The usual cautions, by hazard, and the materials that bring them.

Each caution is kept by the name of its hazard, so that a note in another language replaces the
words and keeps the rule. They are common practice, no source, and give way to local law and to
licensed practice.
"""

from __future__ import annotations

from typing import Literal, get_args

type Hazard = Literal[
    "mains",
    "stored charge",
    "hot glass",
    "string tension",
    "celluloid",
    "lead",
    "old finish",
    "protected wood",
    "ivory",
    "tortoiseshell",
    "shell",
    "protected material",
]
HAZARDS: tuple[str, ...] = get_args(Hazard.__value__)

CAUTIONS: dict[str, str] = {
    "mains": "disconnect from the mains; work inside is for licensed practice under local law",
    "stored charge": "capacitors hold a lethal charge after switching off; have them discharged "
    "by someone qualified",
    "hot glass": "valves and what stands near them burn the skin, and their glass breaks; let "
    "them cool, and leave any test under power to licensed practice",
    "string tension": "slacken the strings evenly before anything that bears them is moved, and "
    "leave repair to someone trained",
    "celluloid": "celluloid burns fiercely and its fumes corrode; no heat, spark or solvent, "
    "store it apart, and keep, send and dispose of it as local law allows",
    "lead": "old solder and paint may hold lead; do not sand, heat or scrape, wash your hands, "
    "and leave its removal to licensed practice under local law",
    "old finish": "old finish is evidence and may be harmful as dust; do not scrape, sand or "
    "try solvents, and leave treatment to someone trained, under local law",
    "protected wood": "trade in some woods is restricted; see the current CITES appendices and "
    "local law before it is sold, sampled or taken across a border",
    "ivory": "trade in ivory is restricted or forbidden in many places; see the current CITES "
    "appendices and local law before it is sold, sampled or taken across a border",
    "tortoiseshell": "trade in tortoiseshell is restricted or forbidden in many places; see the "
    "current CITES appendices and local law before it is sold, sampled or taken across a border",
    "shell": "shell dust harms the lungs, so do not sand or drill it; trade in some shell is "
    "restricted: see the current CITES appendices and local law before it crosses a border",
    "protected material": "ivory, tortoiseshell and some woods are protected; moving, selling or "
    "sampling them is for local law to allow",
}

type Material = Literal[
    "strings",
    "celluloid",
    "old finish",
    "lead paint",
    "lead solder",
    "rosewood",
    "ebony",
    "mahogany",
    "ivory",
    "tortoiseshell",
    "shell",
    "valves",
    "mains transformer",
    "capacitors",
]
MATERIALS: dict[Material, tuple[Hazard, ...]] = {
    "strings": ("string tension",),
    "celluloid": ("celluloid",),
    "old finish": ("old finish",),
    "lead paint": ("lead",),
    "lead solder": ("lead",),
    "rosewood": ("protected wood",),
    "ebony": ("protected wood",),
    "mahogany": ("protected wood",),
    "ivory": ("ivory",),
    "tortoiseshell": ("tortoiseshell",),
    "shell": ("shell",),
    "valves": ("mains", "stored charge", "hot glass"),
    "mains transformer": ("mains",),
    "capacitors": ("stored charge",),
}
"""What each material brings with it; common practice, no source.

A wood is named here because restrictions on its trade are common talk in the trade. Which species
are restricted, and how, is for the current CITES appendices and local law to say.
"""


OF_THE_WHOLE: frozenset[Hazard] = frozenset(
    {"mains", "stored charge", "hot glass", "string tension"}
)
"""Hazards that reach beyond the component that brings them, once an instrument is opened."""


def caution_words(hazards: tuple[str, ...], words: str = "") -> tuple[str, ...]:
    """Give the usual caution for each hazard, and the maker file's own words.

    Examples
    --------
    >>> len(caution_words(("mains", "lead"), "two screws are long"))
    3
    """
    return (*(CAUTIONS[hazard] for hazard in hazards), *((words,) if words else ()))


def caution_text(hazards: tuple[str, ...], words: str = "") -> str:
    """Join the usual cautions for some hazards with the maker file's own words.

    Parameters
    ----------
    hazards : tuple of str
        Names from ``HAZARDS``.
    words : str
        What the maker file adds.

    Returns
    -------
    str
        One sentence, or an empty text.

    Examples
    --------
    >>> caution_text(("mains",), "two screws are long")
    'disconnect from the mains; work inside is for licensed practice under local law; two screws \
are long'
    """
    return "; ".join(caution_words(hazards, words))


def materials_in(words: str) -> tuple[Material, ...]:
    """Name the materials that free words mention, such as those of an unlisted state.

    Examples
    --------
    >>> materials_in("Green celluloid over old finish"), materials_in("eggshell white")
    (('celluloid', 'old finish'), ())
    """
    spaced = "".join(letter if letter.isalnum() else " " for letter in words.lower())
    padded = f" {' '.join(spaced.split())} "
    return tuple(material for material in MATERIALS if f" {material} " in padded)
