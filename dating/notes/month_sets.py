"""A set of months in the words of a language, for the table of what evidence says."""

from __future__ import annotations

from dating.months import Period
from dating.notes.languages import Language
from dating.summaries import MonthSet
from dating.words.set_forms import FEW, SetForm, told_set


def evidence_set_words(months: MonthSet, period: Period, language: Language) -> str:
    """Write the set of months that evidence leaves, with the probability that it holds.

    Examples
    --------
    >>> from dating.notes.languages import language
    >>> from dating.summaries import Stretch
    >>> period = Period.parse("1923-03/1941-11")
    >>> early = MonthSet(0.9, (Stretch(period.first, 23177, 0.93),))
    >>> evidence_set_words(early, period, language("en"))
    'until June 1931 (holds 93 %)'
    """
    words = month_set_words(months, period, language)
    if told_set(months, period, FEW).is_any:
        return language.say("set.little", months=words)
    return language.say("set.holds", months=words, chance=language.percent(months.mass))


def month_set_words(months: MonthSet, period: Period, language: Language) -> str:
    """Write a set of months, its ends only where it falls into many stretches."""
    told = told_set(months, period, FEW)
    words = language.listed([_stretch_words(*each, language) for each in told.stretches], "or")
    return language.say("set.gaps", months=words) if told.gaps else words


def _stretch_words(form: SetForm, first: int, last: int, language: Language) -> str:
    return language.say(
        f"set.{form}",
        first=language.month(first),
        last=language.month(last),
        first_year=first // 12,
        last_year=last // 12,
    )
