"""Small phrases that text, records and pictures share."""

from __future__ import annotations

from collections.abc import Mapping
from math import inf
from pathlib import PurePath

from dating.estimates import Estimate
from dating.evidence import Piece
from dating.examination import Sight
from dating.months import Period, month_words
from dating.reading import Problem
from dating.statements import plain_name
from dating.summaries import MonthSet
from dating.words.set_forms import FEW, SetForm, ToldSet, told_set

DOUBTFUL = 0.75
"""Probability of being original below which a component is said not to belong, or perhaps not."""
OPINION = (
    "An opinion with a probability, not a certificate: it is as good as the maker file and the "
    "examination, and a new find may change it."
)


def percent(chance: float) -> str:
    """Write a probability in whole per cent, never rounded to none or all.

    Examples
    --------
    >>> percent(0.934), percent(0.0001), percent(0.9999), percent(1.0)
    ('93 %', '<1 %', '>99 %', '100 %')
    """
    if 0 < chance < 0.01:
        return "<1 %"
    if 0.99 < chance < 1 - 1e-12:
        return ">99 %"
    return f"{chance:.0%}".replace("%", " %")


_FORMS: dict[SetForm, str] = {
    "any": "any time",
    "month": "{first}",
    "until_month": "until {last}",
    "until_year": "until the end of {last_year}",
    "from_month": "from {first} on",
    "from_year": "from {first_year} on",
    "year": "{first_year}",
    "years": "{first_year} to {last_year}",
    "first_half": "the first half of {first_year}",
    "second_half": "the second half of {first_year}",
    "first_quarter": "the first quarter of {first_year}",
    "second_quarter": "the second quarter of {first_year}",
    "third_quarter": "the third quarter of {first_year}",
    "last_quarter": "the last quarter of {first_year}",
    "months": "{first} to {last}",
}


def set_words(months: MonthSet, period: Period, most: int | None = None) -> str:
    """Write a set of months of a maker's period for people, joined by "or".

    Of a set of more stretches than ``most`` only the first and the last month are written.

    Examples
    --------
    >>> from dating.summaries import Stretch
    >>> period = Period.parse("1923-03/1941-11")
    >>> set_words(MonthSet(0.9, (Stretch(23172, 23175, 0.6), Stretch(23177, 23177, 0.3))), period)
    'January 1931 to April 1931, or June 1931'
    >>> set_words(MonthSet(0.9, (Stretch(period.first, 23177, 0.9),)), period)
    'until June 1931'
    """
    return _told_words(told_set(months, period, most))


def claim_words(months: MonthSet, period: Period) -> str:
    """Write a set of months with its probability, as part of a sentence.

    Examples
    --------
    >>> from dating.summaries import Stretch
    >>> period = Period.parse("1923-03/1941-11")
    >>> claim_words(MonthSet(0.9, (Stretch(23172, 23183, 0.93),)), period)
    '1931 with probability 93 %'
    """
    return f"{set_words(months, period)} with probability {percent(months.mass)}"


def one_sided(months: MonthSet, period: Period) -> str:
    """Say in round words what a set says that reaches one end of the period; else nothing.

    The year is that whose beginning lies next to the end of the set.

    Examples
    --------
    >>> from dating.summaries import Stretch
    >>> period = Period.parse("1954-03/1967-08")
    >>> one_sided(MonthSet(0.9, (Stretch(period.first, 1962 * 12 + 9, 0.9),)), period)
    'before about 1963'
    """
    if len(months.stretches) != 1:
        return ""
    (stretch,) = months.stretches
    begins, ends = stretch.first == period.first, stretch.last == period.last
    if begins == ends:
        return ""
    if begins:
        return f"before about {(stretch.last + 1 + 6) // 12}"
    return f"after about {(stretch.first + 6) // 12}"


def held_set(months: MonthSet, period: Period, most: int | None = None) -> str:
    """Write a set of months with the probability that it holds.

    Examples
    --------
    >>> from dating.summaries import Stretch
    >>> period = Period.parse("1923-03/1941-11")
    >>> held_set(MonthSet(0.9, (Stretch(23172, 23183, 0.93),)), period)
    '1931 (holds 93 %)'
    """
    return f"{set_words(months, period, most)} (holds {percent(months.mass)})"


def evidence_set(months: MonthSet, period: Period) -> str:
    """Write the set of months that evidence leaves, in little room.

    Examples
    --------
    >>> from dating.summaries import Stretch
    >>> period = Period.parse("1923-03/1941-11")
    >>> evidence_set(MonthSet(0.9, (Stretch(period.first, period.last, 1.0),)), period)
    'any time (says little)'
    """
    if told_set(months, period).is_any:
        return f"{_FORMS['any']} (says little)"
    return held_set(months, period, FEW)


def _told_words(told: ToldSet) -> str:
    words = ", or ".join(
        _FORMS[form].format(
            first=month_words(first),
            last=month_words(last),
            first_year=first // 12,
            last_year=last // 12,
        )
        for form, first, last in told.stretches
    )
    return f"{words}, with gaps" if told.gaps else words


def bits(value: float) -> str:
    """Write a number of bits with its sign.

    Examples
    --------
    >>> bits(1.23), bits(-0.001), bits(float("inf"))
    ('+1.2', '0.0', 'decides')
    """
    if value in {inf, -inf}:
        return "decides"
    return "0.0" if abs(value) < 0.05 else f"{value:+.1f}"


def together(chances: dict[str, float]) -> str:
    """Say in one sentence whether the components belong together.

    Examples
    --------
    >>> together({"neck": 0.2, "body": 0.97})
    'The neck probably did not belong to this instrument originally (chance of being \
original: 20 %).'
    """
    doubtful = {name: chance for name, chance in chances.items() if chance < DOUBTFUL}
    if not doubtful:
        return "Nothing seen suggests that any part came from another instrument."
    sentences = []
    for name, chance in sorted(doubtful.items(), key=lambda item: item[1]):
        verdict = "probably did not belong" if chance < 0.5 else "may not have belonged"
        sentences.append(
            f"The {plain_name(name)} {verdict} to this instrument originally "
            f"(chance of being original: {percent(chance)})."
        )
    return " ".join(sentences)


def seen_words(piece: Piece, estimate: Estimate) -> str:
    """Write what was seen in the words that the maker file has for its states."""
    seen, maker = estimate.examination, estimate.maker
    if piece.kind == "mark":
        return " or ".join(mark_dates(piece.observation))
    if piece.kind == "variant" and maker.variants is not None:
        sight, states = seen.variant, maker.variants.states
    elif piece.kind == "feature":
        sight, states = seen.seen[piece.name], maker.features()[piece.name][1].states
    else:
        return piece.observation
    return piece.observation if sight is None else sight_words(sight, states)


def sight_words(sight: Sight, states: Mapping[str, str]) -> str:
    """Write what was seen of a feature or the variant in the maker file's words for its states.

    Examples
    --------
    >>> sight_words(Sight(state="lined", sure=0.8), {"lined": "ruled round the edge"})
    'ruled round the edge (sure 0.8)'
    """
    if sight.is_neutral:
        return sight.words().removeprefix("other: ")
    words = " or ".join(states.get(name) or name for name in sight.excluded or sight.named())
    if sight.excluded is not None:
        return f"not {words}"
    return words if sight.sure is None else f"{words} (sure {sight.sure:g})"


def mark_dates(mark: str) -> list[str]:
    """Give the dates of which a mark is one, as written; any other mark as it stands.

    Examples
    --------
    >>> mark_dates("[1928-05-17,1933-05-17]"), mark_dates("1931-02")
    (['1928-05-17', '1933-05-17'], ['1931-02'])
    """
    if not mark.startswith("[") or ".." in mark:
        return [mark]
    return [date.strip() for date in mark.strip("[]").split(",")]


def warning_words(problem: Problem) -> str:
    """Write what looks like a mistake, what was found and what would be expected.

    Examples
    --------
    >>> warning_words(Problem("M-1.yaml", 3, "measured.rim", "-3 fits no month", found="-3"))
    '-3 fits no month'
    """
    value = problem.found.strip("'")
    details = {"found": "" if value in problem.message else value, "expected": problem.expected}
    parts = [f"{name} {text}" for name, text in details.items() if text]
    return f"{problem.message} ({'; '.join(parts)})" if parts else problem.message


def place_words(problem: Problem) -> str:
    """Write the place of a problem in few words.

    Examples
    --------
    >>> place_words(Problem("examinations/M-1.yaml", 3, "measured.rim", "-3 fits no month"))
    'M-1.yaml, line 3, measured.rim'
    """
    line = f"line {problem.line}" if problem.line else ""
    return ", ".join(part for part in (PurePath(problem.file).name, line, problem.key) if part)
