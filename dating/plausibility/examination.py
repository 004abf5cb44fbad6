"""What an examination says that is valid and hardly meant."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping

from dating.examination import ABSENT, Examination, Paper, Sight
from dating.gross_errors import implausible
from dating.likelihoods import is_foreign, known_day, mark_stretches
from dating.maker import Maker, Mark
from dating.months import day_position, month_words
from dating.plausibility.chances import unstated_chances
from dating.plausibility.maker import mistakes
from dating.plausibility.warning import period_words, repeats, warning
from dating.reading import KeyPath, Problem, Source

_SURELY = 0.99
"""Share of the judged lags of a mark that must fail before it is called too early."""


def estimate_warnings(examination: Examination, maker: Maker) -> tuple[Problem, ...]:
    """List what is hardly meant in the two files that an estimate rests on."""
    records = {**examination.seen, **examination.marks}
    seen = {name for name, record in records.items() if record is not None}
    return (
        *examination_warnings(examination, maker),
        *mistakes(maker),
        *unstated_chances(maker, seen),
    )


def examination_warnings(
    examination: Examination, maker: Maker, today: datetime.date | None = None
) -> tuple[Problem, ...]:
    """List what an examination says that is valid and hardly meant.

    Examples
    --------
    >>> from dating.files import read_maker
    >>> seen = {"ring": {"one_of": ["inlaid", "inlaid"]}}
    >>> given = Examination(instrument="M-1", maker="marrowby", seen=seen)
    >>> [w.message for w in examination_warnings(given, read_maker("priors/marrowby.yaml"))]
    ['inlaid is given twice']
    """
    return (
        *_emptiness(examination, maker),
        *_day(examination, maker, today or datetime.date.today()),
        *_sights(examination, maker),
        *_marks(examination, maker),
        *_measured(examination, maker),
        *_papers(examination, maker),
    )


def _emptiness(examination: Examination, maker: Maker) -> Iterator[Problem]:
    records = (examination.seen, examination.marks, examination.measured)
    has_records = any(record is not None for some in records for record in some.values())
    if not has_records and examination.variant is None and not examination.documents:
        message = f"nothing is recorded, so the date is that of any instrument of {maker.maker}"
        yield warning(examination.origin, (), message, expected="at least one thing that was seen")


def _day(examination: Examination, maker: Maker, today: datetime.date) -> Iterator[Problem]:
    day, path, origin = examination.examined, ("examined",), examination.origin
    if day is not None and day > today:
        message = "the examination lies in the future"
        yield warning(origin, path, message, found=str(day), expected="today or before")
    elif day is not None and day_position(day) < maker.period.first:
        message = "the examination lies before the maker began"
        expected = f"after {month_words(maker.period.first)}"
        yield warning(origin, path, message, found=str(day), expected=expected)


def _sights(examination: Examination, maker: Maker) -> Iterator[Problem]:
    origin = examination.origin
    if examination.variant is not None and maker.variants is not None:
        yield from _sight(origin, ("variant",), examination.variant, maker.variants.states)
    features = maker.features()
    for name, sight in examination.seen.items():
        if sight is not None and name in features:
            yield from _sight(origin, ("seen", name), sight, features[name][1].states)


def _sight(
    origin: Source, path: KeyPath, sight: Sight, states: Mapping[str, str]
) -> Iterator[Problem]:
    """Check one sight of a feature, or of the variant."""
    if sight.other is not None and (state := _state_named(sight.other, states)):
        message = f"this names the listed state {state}; as something else it is not weighed"
        yield warning(
            origin, (*path, "other"), message, found=sight.other, nearest=state, expected=state
        )
    if sight.one_of is not None:
        for place, _ in repeats(sight.one_of):
            message = f"{sight.one_of[place]} is given twice"
            expected = "each state that it may be, once"
            yield warning(origin, (*path, "one_of", place), message, expected=expected)
    if sight.sure is not None and len(states) > 1 and sight.sure * len(states) < 1 - 1e-9:
        others = "others" if len(states) > 2 else "other"
        message = (
            f"so low a sureness counts against {sight.state} and for the {others}"
            if sight.sure
            else f"this says that it is certainly not {sight.state}"
        )
        expected = f"more than one in {len(states)}, as there are {len(states)} states; or one_of"
        yield warning(origin, (*path, "sure"), message, found=sight.sure, expected=expected)


def _state_named(other: str, states: Mapping[str, str]) -> str:
    """Find the state that is called so, by its name or by its description."""
    plain = _plain(other)
    called = {_plain(words): state for state, words in states.items() if words}
    called |= {_plain(state): state for state in states}
    return called.get(plain, "")


def _plain(text: str) -> str:
    return " ".join(text.casefold().split())


def _marks(examination: Examination, maker: Maker) -> Iterator[Problem]:
    known = maker.marks()
    for name, text in examination.marks.items():
        if text is not None and name in known and text != ABSENT:
            yield from _mark(examination, name, text, known[name][1], maker)


def _mark(
    examination: Examination, name: str, text: str, mark: Mark, maker: Maker
) -> Iterator[Problem]:
    """Find a mark of which no possible date allows a build in the period, or the source is not."""
    origin, day = examination.origin, examination.day
    stretches = mark_stretches(text, mark, maker.period, day)
    if is_foreign(text, mark, maker.period, day):
        message = "no reading of this code begins with the supplier's number"
        expected = " or ".join(mark.supplier_code)
        yield warning(origin, ("marks", name), message, found=text, expected=expected)
        return
    lag, months = mark.lag.distribution(), len(maker.period)
    shortest, longest = float(lag.quantile(1 - _SURELY)), float(lag.quantile(_SURELY))
    late = all(start + shortest >= months for start, _ in stretches)
    early = all(stop + longest <= 0 for _, stop in stretches)
    if late or early:
        when = "after the maker's last" if late else "long before the maker's first"
        follows = "the part is a later one" if late else "the build follows the mark"
        message = f"this date lies {when} month, and {follows}"
        expected = period_words(maker.period)
        yield warning(origin, ("marks", name), message, found=text, expected=expected)


def _measured(examination: Examination, maker: Maker) -> Iterator[Problem]:
    known = maker.measurements()
    for name, reading in examination.measured.items():
        wrong = implausible(maker, name, reading) if reading and name in known else None
        if reading and wrong:
            message, expected = wrong
            place = ("measured", name, "value")
            path = place if place in examination.origin.places else place[:2]
            origin, value = examination.origin, reading.value
            yield warning(origin, path, message, found=value, expected=expected)


def _papers(examination: Examination, maker: Maker) -> Iterator[Problem]:
    origin, papers = examination.origin, examination.documents
    contents = [(_plain(p.what), _text(p.not_before), _text(p.not_after), p.source) for p in papers]
    for place, first in repeats(contents):
        message = f"this is document {first + 1} again, and so counts twice"
        what = papers[place].what
        expected = "each document once"
        yield warning(origin, ("documents", place), message, found=what, expected=expected)
    for place, paper in enumerate(papers):
        yield from _paper(origin, ("documents", place), paper, maker)


def _text(bound: object) -> str:
    return getattr(bound, "text", "")


def _paper(origin: Source, path: KeyPath, paper: Paper, maker: Maker) -> Iterator[Problem]:
    """Check one document against itself and against the period."""
    before = known_day(paper.not_before.lower) if paper.not_before else None
    after = known_day(paper.not_after.upper) if paper.not_after else None
    period = maker.period
    if before and after and before > after:
        message = "this document allows no day: its not_before lies after its not_after"
        expected = f"at most {_text(paper.not_after)}"
        place, bound = (*path, "not_before"), _text(paper.not_before)
        yield warning(origin, place, message, found=bound, expected=expected)
    if after and after < _first_day(period.first):
        message = f"this excludes every month: the maker began in {month_words(period.first)}"
        place, bound, expected = (*path, "not_after"), _text(paper.not_after), "a later date"
        yield warning(origin, place, message, found=bound, expected=expected)
    if before and before > period.last_day:
        message = f"this excludes every month: the maker ended in {month_words(period.last)}"
        place, bound, expected = (*path, "not_before"), _text(paper.not_before), "an earlier date"
        yield warning(origin, place, message, found=bound, expected=expected)
    if "trust" not in paper.model_fields_set:
        message = f"no trust in this document is stated; {paper.trust:g} is assumed"
        yield warning(origin, path, message, expected="a trust, or 1 if it cannot be wrong")
    if paper.trust == 0:
        message = "a document without any trust says nothing"
        expected = "a trust above 0, or the document left out"
        yield warning(origin, (*path, "trust"), message, found=0, expected=expected)


def _first_day(month: int) -> datetime.date:
    return datetime.date(month // 12, month % 12 + 1, 1)
