"""Which form of words a posterior may be given, and which months that form claims.

Every form of words claims certain months. Of all forms that hold at least the level the one that
claims the fewest months is taken, so wider evidence can never be put into narrower words: where a
posterior is blended with "any month alike", each form holds less than it did, until a form claims
so large a share of the period that "any month" holds the level too; such a form is not used.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from dating.arrays import Floats
from dating.months import Period

type Form = Literal["month", "months", "year", "years", "circa", "before", "not before", "whole"]

MONTHWISE = 60
"""Months up to which a stretch is told by its months; a longer one is told by years."""
APART = 12
"""Months that lie between two stretches at least, where they are told as two."""
EACH = 0.15
"""Probability that each of two stretches holds at least, and share of the period that it claims at
most; "any month alike" then never makes a stretch fit to be told."""
_ENOUGH = 1e-9


@dataclass(frozen=True)
class Convention:
    """What "circa" means, by a published convention.

    Parameters
    ----------
    years : int
        Calendar years on either side of the year that is named.
    source : str
        Where that is published.
    """

    years: int
    source: str


CIRCA = {
    5: Convention(5, "Cataloging Cultural Objects, 2006, section 4.2.3.2"),
    10: Convention(10, "Introduction to Object ID, 1999, guide to Date or Period"),
}


@dataclass(frozen=True)
class Phrase:
    """One stretch of time as it is to be worded.

    Parameters
    ----------
    form : {"month", "months", "year", "years", "circa", "before", "not before", "whole"}
        The form of words.
    first, last : int
        Month numbers of the first and last month that the words claim, both included.
    year : int or None
        The year that "circa" names.
    """

    form: Form
    first: int
    last: int
    year: int | None = None

    @property
    def months(self) -> int:
        """How many months the words claim."""
        return self.last - self.first + 1


@dataclass(frozen=True)
class DatePhrase:
    """A date as it is to be worded: one stretch of time, or two.

    Parameters
    ----------
    phrases : tuple of Phrase
        One, or two in order.
    """

    phrases: tuple[Phrase, ...]

    @property
    def months(self) -> int:
        """How many months the words claim, in which two stretches may overlap."""
        return sum(phrase.months for phrase in self.phrases)

    def __contains__(self, month: int) -> bool:
        """Return whether the words allow a month number."""
        return any(phrase.first <= month <= phrase.last for phrase in self.phrases)


def phrase_of(
    probabilities: Floats, period: Period, level: float, convention: Convention
) -> DatePhrase:
    """Choose the form of words for a posterior.

    Shapes: probabilities (month,).

    Examples
    --------
    >>> from dating.months import Period
    >>> chances = np.array([0.1, 0.6, 0.3, *[0.0] * 9])
    >>> phrase_of(chances, Period.parse("1931-01/1931-12"), 0.9, CIRCA[5])
    DatePhrase(phrases=(Phrase(form='months', first=23173, last=23174, year=None),))
    """
    family = _family(period.first, period.last, convention.years)
    sums = np.concatenate([[0.0], np.cumsum(probabilities)])
    mass = sums[family.stop] - sums[family.start]
    enough = level - _ENOUGH
    chosen = family.narrowest(np.flatnonzero(mass >= enough), mass)
    pair = family.narrowest_pair(mass, enough, chosen[0].months if chosen else len(period))
    chosen = pair or chosen
    if not chosen or sum(phrase.months for phrase in chosen) >= level * len(period):
        return DatePhrase((Phrase("whole", period.first, period.last),))
    return DatePhrase(chosen)


@dataclass(frozen=True, eq=False)
class _Family:
    """Every stretch of time that there are words for, by falling preference among equals.

    Parameters
    ----------
    phrases : tuple of Phrase
        The stretches.
    size : ndarray of int64, shape (phrase,)
        How many months each claims.
    start, stop : ndarray of int64, shape (phrase,)
        Which months of the period it holds, counted from 0; stop excluded.
    months : int
        Length of the period.
    """

    phrases: tuple[Phrase, ...]
    size: NDArray[np.int64]
    start: NDArray[np.int64]
    stop: NDArray[np.int64]
    months: int

    def narrowest(self, among: NDArray[np.intp], mass: Floats) -> tuple[Phrase, ...]:
        """Give the narrowest of some stretches; none where there is none."""
        if not len(among):
            return ()
        least = among[self.size[among] == self.size[among].min()]
        years = [place for place in least if self.phrases[place].form == "year"]
        return (self.phrases[max(years or least, key=lambda place: (mass[place], -place))],)

    def narrowest_pair(self, mass: Floats, enough: float, below: int) -> tuple[Phrase, ...]:
        """Give the narrowest two stretches that hold enough and claim fewer months than that.

        Stretches that end by a cut and stretches that begin well after it are summed up by their
        size, so that pairs need not be gone through one by one.
        """
        sizes = np.unique(self.size[self.size < min(below, EACH * self.months + 1)])
        cuts = self.months - APART
        if cuts < 1 or not len(sizes):
            return ()
        left = np.stack([self._best_by(mass, size) for size in sizes])[:, :cuts]
        right = np.stack([self._best_from(mass, size) for size in sizes])[:, APART : APART + cuts]
        claimed = sizes[:, None] + sizes[None, :]
        best = np.array([(row + right).max(axis=1) for row in left])
        fits = (best >= enough) & (claimed < below)
        if not fits.any():
            return ()
        narrowest = np.where(fits & (claimed == claimed[fits].min()), best, -np.inf)
        first, second = np.unravel_index(int(narrowest.argmax()), narrowest.shape)
        cut = int((left[first] + right[second]).argmax())
        ending = (self.size == sizes[first]) & (self.stop <= cut)
        beginning = (self.size == sizes[second]) & (self.start >= cut + APART)
        return (self._likeliest(ending, mass), self._likeliest(beginning, mass))

    def _best_by(self, mass: Floats, size: int) -> Floats:
        """Give what the best stretch of a size holds that ends by each month."""
        best = np.full(self.months + 1, -np.inf)
        of_size = (self.size == size) & (mass >= EACH)
        np.maximum.at(best, self.stop[of_size], mass[of_size])
        return np.maximum.accumulate(best)

    def _best_from(self, mass: Floats, size: int) -> Floats:
        """Give what the best stretch of a size holds that begins at each month or later."""
        best = np.full(self.months + 1, -np.inf)
        of_size = (self.size == size) & (mass >= EACH)
        np.maximum.at(best, self.start[of_size], mass[of_size])
        return np.maximum.accumulate(best[::-1])[::-1]

    def _likeliest(self, among: NDArray[np.bool_], mass: Floats) -> Phrase:
        places = np.flatnonzero(among)
        return self.phrases[int(places[mass[places].argmax()])]


@lru_cache
def _family(first: int, last: int, circa: int) -> _Family:
    """List every stretch of time that there are words for, within a period."""
    phrases = tuple(_phrases(first, last, circa))
    begins = np.array([phrase.first for phrase in phrases])
    ends = np.array([phrase.last for phrase in phrases])
    months = last - first + 1
    return _Family(
        phrases=phrases,
        size=ends - begins + 1,
        start=np.clip(begins - first, 0, months),
        stop=np.clip(ends - first + 1, 0, months),
        months=months,
    )


def _phrases(first: int, last: int, circa: int) -> Iterator[Phrase]:
    for begins in range(first, last + 1):
        yield Phrase("month", begins, begins)
        for ends in range(begins + 1, min(begins + MONTHWISE - 1, last) + 1):
            if not _whole_years(begins, ends):
                yield Phrase("months", begins, ends)
    years = range(first // 12, last // 12 + 1)
    for year in years:
        yield Phrase("year", 12 * year, 12 * year + 11)
        if years.start < year - circa and year + circa < years.stop - 1:
            yield Phrase("circa", 12 * (year - circa), 12 * (year + circa) + 11, year)
        for final in range(year + 1, years.stop):
            form = _by_years(year, final, years)
            if form != "years" or final - year != 2 * circa:
                yield Phrase(form, 12 * year, 12 * final + 11)


def _whole_years(begins: int, ends: int) -> bool:
    return begins % 12 == 0 and ends % 12 == 11


def _by_years(year: int, final: int, years: range) -> Form:
    """Name the form for whole years, which may reach to an end of the period."""
    if year == years.start and final < years.stop - 1:
        return "before"
    if final == years.stop - 1 and year > years.start:
        return "not before"
    return "years"
