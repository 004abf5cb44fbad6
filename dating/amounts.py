"""Numbers as people write them in a form: a decimal comma, per cent, a unit.

What can be meant in one way only is read, and what is not written as a file would have it is said
back; what can be meant in two ways is refused, with both ways of writing it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal

from dating.reading import plain_number

CHANCES = "a number from 0 to 1, or per cent such as 80 %"
_COMMA = re.compile(r"([-+]?)([0-9]{0,15}),([0-9]{1,15})")
_PER_CENT = re.compile(r"(.+?)\s*(?:%|per ?cent)", re.IGNORECASE)
_WITH_UNIT = re.compile(r"([-+]?[0-9]*[.,]?[0-9]+)\s*([^\W\d_][^\d]{0,30}|\")\.?")
_UNITS: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("length", "1", ("mm", "millimetre", "millimetres", "millimeter", "millimeters")),
    ("length", "10", ("cm", "centimetre", "centimetres", "centimeter", "centimeters")),
    ("length", "1000", ("m", "metre", "metres", "meter", "meters")),
    ("length", "25.4", ("in", "inch", "inches", '"')),
    ("mass", "1", ("g", "gram", "grams", "gramme", "grammes")),
    ("mass", "1000", ("kg", "kilogram", "kilograms", "kilogramme", "kilogrammes")),
)
"""What is measured, how many of the first unit, and names. An inch is 25.4 mm exactly, by the
agreement on the international yard of 1959 (from memory)."""


class AmountError(ValueError):
    """A text is not such a number, or can be meant in two ways."""


@dataclass(frozen=True)
class Amount:
    """A number that was entered.

    Parameters
    ----------
    number : float
        As a file has it.
    words : str
        What it was taken for; empty where it was written as a file has it.
    """

    number: float
    words: str = ""


def decimal_of(text: str) -> float | None:
    """Read a number with a decimal point or comma.

    Raises AmountError where a comma may stand between thousands.

    Examples
    --------
    >>> decimal_of("21.4"), decimal_of("21,4"), decimal_of("0,125"), decimal_of("none")
    (21.4, 21.4, 0.125, None)
    """
    match = _COMMA.fullmatch(text)
    if not match:
        return plain_number(text)
    sign, whole, part = match.groups()
    if len(part) == 3 and whole.lstrip("0"):
        thousands, decimal = f"{sign}{whole}{part}", f"{sign}{whole}.{part}"
        raise AmountError(f"this may be {decimal} or {thousands}; write it without a comma")
    return float(f"{sign}{whole or 0}.{part}")


def chance_of(text: str) -> Amount:
    """Read a probability, from 0 to 1 or in per cent.

    From 10 on a number can only be meant in per cent; 1 is certainty. Between 1 and 10 it may be
    per cent, or of ten.

    Raises AmountError where it is none, or can be meant in two ways.

    Examples
    --------
    >>> chance_of("0.7"), chance_of("70")
    (Amount(number=0.7, words=''), Amount(number=0.7, words='70 %'))
    """
    per_cent = _PER_CENT.fullmatch(text)
    number = decimal_of(per_cent[1].strip() if per_cent else text)
    if number is None:
        raise AmountError("a probability is expected here")
    if not per_cent and 1 < number < 10:
        ways = f"{_plain(_shifted(number, -2))} ({number:g} %) or {_plain(_shifted(number, -1))}"
        raise AmountError(f"this may be {ways}; write which")
    chance = _shifted(number, -2) if per_cent or number > 1 else number
    if not 0 <= chance <= 1:
        raise AmountError("a probability is expected here")
    words = "" if plain_number(text) == chance else f"{_plain(_shifted(chance, 2))} %"
    return Amount(chance, words)


def measure_of(text: str, unit: str) -> Amount:
    """Read a measured value, in the unit of the maker file or in another one of the same kind.

    Raises AmountError where it is no number, or its unit cannot be turned into that one.

    Examples
    --------
    >>> measure_of("21,4 mm", "mm"), measure_of("2.14 cm", "mm")
    (Amount(number=21.4, words='21.4 mm'), Amount(number=21.4, words='21.4 mm'))
    """
    number, own_unit = decimal_of(text), ""
    if number is None and (match := _WITH_UNIT.fullmatch(text)):
        number, own_unit = decimal_of(match[1]), match[2].strip().rstrip(".")
    if number is None:
        raise AmountError("a number is expected here")
    if own_unit and own_unit.casefold() != unit.casefold():
        number = _shifted_unit(number, own_unit, unit)
    return Amount(number, "" if plain_number(text) == number else f"{_plain(number)} {unit}")


def _shifted_unit(number: float, own_unit: str, unit: str) -> float:
    """Turn a number of one unit into another one."""
    known = {name: (what, size) for what, size, names in _UNITS for name in names}
    here, there = known.get(own_unit.casefold()), known.get(unit.casefold())
    if here is None or there is None or here[0] != there[0]:
        raise AmountError(f"the unit here is {unit}, and {own_unit} cannot be turned into it")
    return float(Decimal(str(number)) * Decimal(here[1]) / Decimal(there[1]))


def _shifted(number: float, places: int) -> float:
    """Shift the decimal point, without the dust that a product would leave."""
    return float(Decimal(str(number)).scaleb(places))


def _plain(number: float) -> str:
    return f"{number:.12g}"
