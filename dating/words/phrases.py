"""Small phrases that text, records and pictures share."""

from __future__ import annotations

from collections.abc import Callable
from math import inf
from pathlib import PurePath

from dating.estimates import Estimate
from dating.evidence import Piece
from dating.months import month_words
from dating.reading import Problem
from dating.statements import plain_name
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


def set_words(months: MonthSet) -> str:
    """Write a set of months for people, joined by "or".

    Examples
    --------
    >>> from dating.summaries import Stretch
    >>> set_words(MonthSet(0.9, (Stretch(23172, 23175, 0.6), Stretch(23177, 23177, 0.3))))
    'January 1931 to April 1931, or June 1931'
    """
    ends = (dict.fromkeys((each.first, each.last)) for each in months.stretches)
    return ", or ".join(" to ".join(map(month_words, pair)) for pair in ends)


def short_set(months: MonthSet, write: Callable[[MonthSet], str] = str, most: int = 2) -> str:
    """Write a set of months in little room: its ends only when it falls into many stretches.

    Examples
    --------
    >>> from dating.summaries import Stretch
    >>> short_set(MonthSet(0.9, (Stretch(23172, 23175, 0.9),)))
    '1931-01 to 1931-04'
    """
    if len(months.stretches) <= most:
        return write(months)
    first, last = months.stretches[0].first, months.stretches[-1].last
    hull = MonthSet(months.level, (type(months.stretches[0])(first, last, months.mass),))
    return f"{write(hull)}, with gaps"


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
    doubtful = {name: chance for name, chance in chances.items() if chance < 0.75}
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
    if sight is None:
        return piece.observation
    words = " or ".join(states.get(name) or name for name in sight.named())
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
