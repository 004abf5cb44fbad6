"""Small phrases that text, records and pictures share."""

from __future__ import annotations

from math import inf
from pathlib import PurePath

from dating.reading import Problem
from dating.summaries import MonthSet

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


def short_set(months: MonthSet) -> str:
    """Write a set of months in little room: its ends only when it falls into many stretches.

    Examples
    --------
    >>> from dating.summaries import Stretch
    >>> short_set(MonthSet(0.9, (Stretch(23172, 23175, 0.9),)))
    '1931-01 to 1931-04'
    """
    if len(months.stretches) <= 2:
        return str(months)
    first, last = months.stretches[0].first, months.stretches[-1].last
    hull = MonthSet(months.level, (type(months.stretches[0])(first, last, months.mass),))
    return f"{hull}, with gaps"


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
    'The neck is probably not original to this instrument (20 %).'
    """
    doubtful = {name: chance for name, chance in chances.items() if chance < 0.75}
    if not doubtful:
        return "Nothing seen speaks against the parts belonging together."
    sentences = []
    for name, chance in sorted(doubtful.items(), key=lambda item: item[1]):
        verdict = "is probably not" if chance < 0.5 else "may not be"
        sentences.append(f"The {name} {verdict} original to this instrument ({percent(chance)}).")
    return " ".join(sentences)


def warning_words(problem: Problem) -> str:
    """Write what is hardly meant, what was found and what would be expected.

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
