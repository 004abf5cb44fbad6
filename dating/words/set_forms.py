"""Which form of words a stretch of a set of months is given.

Every form claims exactly the months of the stretch. One that begins with the first month of the
maker's period says only how late, one that ends with the last only how early; whole calendar years,
half years and quarters are told as such.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from dating.months import Period
from dating.summaries import MonthSet, Stretch

type SetForm = Literal[
    "any",
    "month",
    "until_month",
    "until_year",
    "from_month",
    "from_year",
    "year",
    "years",
    "first_half",
    "second_half",
    "first_quarter",
    "second_quarter",
    "third_quarter",
    "last_quarter",
    "months",
]
_PARTS: dict[tuple[int, int], SetForm] = {
    (0, 11): "year",
    (0, 5): "first_half",
    (6, 11): "second_half",
    (0, 2): "first_quarter",
    (3, 5): "second_quarter",
    (6, 8): "third_quarter",
    (9, 11): "last_quarter",
}
"""Parts of a calendar year, by their first and last month."""
FEW = 2
"""Stretches that are told one by one; of more, only the first and the last month are told."""


@dataclass(frozen=True)
class ToldSet:
    """A set of months as it is to be worded.

    Parameters
    ----------
    stretches : tuple of (SetForm, int, int)
        Form, first and last month number of each stretch that is told, in order.
    gaps : bool
        Whether months between the first and the last are left out and not told.
    mass : float
        Probability that the set holds.
    """

    stretches: tuple[tuple[SetForm, int, int], ...]
    gaps: bool
    mass: float

    @property
    def is_any(self) -> bool:
        """Whether the set is the whole period."""
        return not self.gaps and [form for form, _, _ in self.stretches] == ["any"]


def told_set(months: MonthSet, period: Period, most: int | None = None) -> ToldSet:
    """Choose the forms of words for a set of months of a maker's period.

    Of a set of more stretches than ``most`` only the first and the last month are told.

    Examples
    --------
    >>> period, half = Period.parse("1923-03/1941-11"), Period.parse("1931-01/1931-06")
    >>> told_set(MonthSet(0.9, (Stretch(half.first, half.last, 0.93),)), period).stretches
    (('first_half', 23172, 23177),)
    """
    told = months.stretches
    gaps = most is not None and len(told) > most
    if gaps:
        told = (Stretch(told[0].first, told[-1].last, months.mass),)
    forms = tuple((_form(each, period), each.first, each.last) for each in told)
    if gaps and forms[0][0] == "any":
        forms = (("months", period.first, period.last),)
    return ToldSet(forms, gaps, months.mass)


def _form(stretch: Stretch, period: Period) -> SetForm:
    begins, ends = stretch.first == period.first, stretch.last == period.last
    first, last = stretch.first % 12, stretch.last % 12
    if begins and ends:
        return "any"
    if stretch.first == stretch.last:
        return "month"
    if begins:
        return "until_year" if last == 11 else "until_month"
    if ends:
        return "from_year" if first == 0 else "from_month"
    if stretch.first // 12 == stretch.last // 12:
        return _PARTS.get((first, last), "months")
    return "years" if (first, last) == (0, 11) else "months"
