"""The usual cautions for a look at an instrument, by hazard."""

from __future__ import annotations

from typing import Literal, get_args

type Hazard = Literal[
    "mains",
    "stored charge",
    "string tension",
    "celluloid",
    "lead",
    "old finish",
    "protected material",
]
HAZARDS: tuple[str, ...] = get_args(Hazard.__value__)

_CAUTIONS = {
    "mains": "disconnect from the mains; work inside is for licensed practice under local law",
    "stored charge": "capacitors hold a lethal charge after switching off; have them discharged "
    "by someone qualified",
    "string tension": "slacken the strings evenly before anything that bears them is moved",
    "celluloid": "celluloid burns fiercely and its fumes corrode; no heat, spark or solvent, "
    "and store it apart",
    "lead": "old solder and paint may hold lead; do not sand, heat or scrape, and wash your hands",
    "old finish": "old finish is evidence and may be harmful as dust; do not scrape, sand or "
    "try solvents",
    "protected material": "ivory, tortoiseshell and some woods are protected; moving, selling or "
    "sampling them is for local law to allow",
}


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
    >>> caution_text(("string tension",))
    'slacken the strings evenly before anything that bears them is moved'
    """
    return "; ".join([_CAUTIONS[hazard] for hazard in hazards] + ([words] if words else []))
