"""When a part that was fitted later was itself made, read from its date or code."""

from __future__ import annotations

from dating.date_codes import CodeReading
from dating.edtf import parse_edtf
from dating.estimates import Estimate
from dating.likelihoods import code_readings, end_position, later_share
from dating.maker import Mark
from dating.months import day_position, month_number, month_words
from dating.statements import plain_name

_SHARE = 0.1
"""Share of the probability from which a reading is told."""


def part_date(name: str, estimate: Estimate) -> str:
    """Say when a part with a mark was made, if it was fitted after the build.

    Readings of a code are weighed by the share of the time from the build to the examination that
    each takes up; those of less than a tenth are left out.
    """
    mark = estimate.maker.marks()[name][1]
    text = str(estimate.examination.marks[name])
    period, day = estimate.period, estimate.examination.day
    until, months = end_position(day) - period.first, len(period)
    told = []
    for words, start, stop in _readings(text, mark, estimate):
        stretch = [(start - period.first, stop - period.first)]
        share = later_share(stretch, months, until)
        told.append((words, float(estimate.probabilities @ share)))
    total = sum(chance for _, chance in told)
    likely = [words for words, chance in told if chance >= _SHARE * total > 0]
    return " or ".join(likely) if likely else "of no date that fits"


def _readings(text: str, mark: Mark, estimate: Estimate) -> list[tuple[str, float, float]]:
    """Give each reading in words, with its start and end on the month axis."""
    if mark.format == "source-date":
        codes = code_readings(text, mark, estimate.period, estimate.examination.day)
        weeks = {(code.first_day, code.last_day): code for code in codes}
        return [
            (week_words(code), day_position(first), end_position(last))
            for (first, last), code in sorted(weeks.items())
        ]
    readings = []
    for first, last in parse_edtf(text).stretches:
        if first is not None and last is not None:
            number = month_number(first.year, first.month)
            whole = month_number(last.year, last.month)
            words = dict.fromkeys([month_words(number), month_words(whole)])
            readings.append((" to ".join(words), day_position(first), end_position(last)))
    return readings


def week_words(code: CodeReading) -> str:
    """Write the week of a code, and the month in which most of it lies.

    Examples
    --------
    >>> import datetime
    >>> from dating.date_codes import readings_of
    >>> (code,) = readings_of("312-6533", datetime.date(1970, 1, 1))
    >>> week_words(code)
    'week 33 of 1965, August 1965'
    """
    middle = code.first_day + (code.last_day - code.first_day) / 2
    month = month_words(month_number(middle.year, middle.month))
    return f"week {code.week} of {code.year}, {month}"


def later_words(name: str, chance: str, kind: str, estimate: Estimate) -> str:
    """Say that a part was probably replaced, and when a dated part was made."""
    plain = plain_name(name)
    if kind == "mark":
        return (
            f"The part with the {plain} was probably fitted later (probability {chance}); it was "
            f"itself made in {part_date(name, estimate)}."
        )
    return f"Later replacement of the {plain}: probability {chance}."
