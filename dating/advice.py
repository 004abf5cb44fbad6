"""What to look at next: the expected gain of each look that has not been taken.

The gain is the mutual information between the answer and what is asked after, in bits, under
everything that is known so far (Lindley 1956). It is worked out from the joint probability of
answer and build month, without dating the instrument anew for each answer.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from dating.arrays import Floats
from dating.cautions import caution_words
from dating.engine import ComponentEvidence, Response, Weighing
from dating.examination import Examination
from dating.likelihoods import log_density, mark_likelihood, mark_likelihoods, presence
from dating.maker import Look, Maker, Mark
from dating.tables import FeatureTable, MonthTables

type LookKind = Literal["feature", "mark", "measurement", "variant"]

_QUARTER = 3
_BINS = 24


@dataclass(frozen=True)
class Advice:
    """One look that has not been taken.

    Parameters
    ----------
    name : str
        The feature, mark or measurement; "variant" for the variant.
    kind : {"feature", "mark", "measurement", "variant"}
        What it is.
    component : str or None
        The component it sits on.
    ask, how : str
        What to ask, and how to look.
    operation : str
        What has to be done first; empty where that is nothing.
    invasive : str
        none, low, moderate or high.
    cautions : tuple of str
        What to beware of, one by one.
    bits : float
        Expected gain about the build month. For a mark, read to a quarter of a year, and
        weighed with the chance that there is one.
    originality_bits : float or None
        Expected gain about whether the component is original; None where there is none.
    answers : dict of str to float
        The probability of each answer; empty for marks and measurements.
    """

    name: str
    kind: LookKind
    component: str | None
    ask: str
    how: str
    operation: str
    invasive: str
    cautions: tuple[str, ...]
    bits: float
    originality_bits: float | None
    answers: dict[str, float]

    @property
    def caution(self) -> str:
        """What to beware of, in one sentence; empty when there is nothing."""
        return "; ".join(self.cautions)


def advise(weighing: Weighing, maker: Maker, examination: Examination) -> tuple[Advice, ...]:
    """List the looks that have not been taken, most informative first.

    Parameters
    ----------
    weighing : Weighing
        The instrument's evidence.
    maker : Maker
        The maker file.
    examination : Examination
        What has been examined.

    Returns
    -------
    tuple of Advice
        By falling gain about the build month.

    References
    ----------
    Lindley, D. V. (1956). On a measure of the information provided by an experiment. *Annals
    of Mathematical Statistics* 27(4), 986-1005. doi:10.1214/aoms/1177728069
    """
    looks = [
        advice
        for part in weighing.parts.values()
        for advice in _on_component(weighing, part, maker, examination)
    ]
    if maker.variants is not None and examination.variant is None:
        variants = maker.variants
        question = Question(
            "variant", "variant", None, variants.ask, variants.look, tuple(variants.states)
        )
        by_variant = weighing.by_month.reshape(len(variants.states), weighing.tables.latent, -1)
        looks.append(_advice(maker, question, by_variant.sum(axis=1), None))
    return tuple(sorted(looks, key=lambda advice: (-advice.bits, advice.name)))


def information_bits(joint: Floats) -> float:
    """Give the mutual information of the two axes of a joint distribution.

    Shapes: joint (answer, month).

    Examples
    --------
    >>> information_bits(np.eye(2)), information_bits(np.ones((2, 5)))
    (1.0, 0.0)
    """
    joint = joint / joint.sum()
    apart = joint.sum(axis=1, keepdims=True) * joint.sum(axis=0, keepdims=True)
    possible = joint > 0
    return max(float((joint[possible] * np.log2(joint[possible] / apart[possible])).sum()), 0.0)


@dataclass(frozen=True)
class Question:
    """Something not yet examined, and the chance that there is anything to be seen.

    Parameters
    ----------
    name : str
        The feature, mark or measurement.
    kind : {"feature", "mark", "measurement", "variant"}
        What it is.
    component : str or None
        The component it sits on.
    ask : str
        The question to the examiner.
    look : Look
        How to look, and what to do first.
    states : tuple of str
        The answers of a feature.
    presence : float
        Chance that there is anything to be seen.
    """

    name: str
    kind: LookKind
    component: str | None
    ask: str
    look: Look
    states: tuple[str, ...] = ()
    presence: float = 1.0


def _on_component(
    weighing: Weighing, part: ComponentEvidence, maker: Maker, examination: Examination
) -> Iterator[Advice]:
    """Ask all questions whose answers have no draws in one go, the others one by one."""
    together: dict[int, list[tuple[Question, Floats]]] = {}
    for question in questions_of(part.name, maker, examination):
        answers = _answers(question, maker, weighing.tables)
        if answers.shape[1] == 1:
            together.setdefault(answers.shape[2], []).append((question, answers[:, 0]))
        else:
            response = _response_varying(weighing, question, answers)
            yield _component_advice(maker, question, response)
    for group in together.values():
        rows = np.concatenate([answers for _, answers in group])
        response, start = weighing.respond(part.name, part.fixed * rows), 0
        for question, answers in group:
            here = slice(start, start + len(answers))
            start += len(answers)
            split = Response(response.original[here], response.swapped[here])
            yield _component_advice(maker, question, split)


def questions_of(part: str, maker: Maker, examination: Examination) -> Iterator[Question]:
    """List what has not been examined on one component."""
    component = maker.components[part]
    for name, feature in component.features.items():
        if examination.seen.get(name) is None:
            states = tuple(feature.states)
            yield Question(name, "feature", part, feature.ask, feature.look, states)
    for name, mark in component.marks.items():
        if examination.marks.get(name) is None:
            yield Question(
                name,
                "mark",
                part,
                mark.ask,
                mark.look,
                presence=float(presence(mark, maker.period).mean()),
            )
    for name, measurement in component.measurements.items():
        if examination.measured.get(name) is None:
            ask = measurement.question(name)
            yield Question(name, "measurement", part, ask, measurement.look)


def _answers(question: Question, maker: Maker, tables: MonthTables) -> Floats:
    """Give P(answer | month), shape (answer, draw, variant, month).

    For a feature whose course does not depend on the variant and has draws, the answers are
    its regimes instead of its states: there are fewer, and they need no further array.
    """
    if question.kind == "mark":
        return mark_answers(maker, tables, question.name)
    if question.kind == "measurement":
        return readings(maker, tables, question.name)
    table = tables.features[question.name]
    if _by_regime(table):
        return table.blends[0].regimes[:, :, None]
    return table.recorded_states()


def _response_varying(weighing: Weighing, question: Question, answers: Floats) -> Response:
    response = weighing.respond_varying(question.component or "", answers)
    table = weighing.tables.features[question.name]
    if not _by_regime(table):
        return response
    recorded = table.recorded(table.blends[0].shares[None, :, 0])[0].T
    return Response(recorded @ response.original, recorded @ response.swapped)


def _by_regime(table: FeatureTable) -> bool:
    if table.curves is not None:
        return False
    settled = table.blends[0].shares.shape[1] == len(table.slip) == len(table.replaced) == 1
    return settled and len(table.blends) == 1 and table.blends[0].regimes.shape[1] > 1


def _component_advice(maker: Maker, question: Question, response: Response) -> Advice:
    origin = np.stack([response.original.sum(axis=1), response.swapped.sum(axis=1)])
    about_origin = question.presence * information_bits(origin) if origin[1].sum() else None
    return _advice(maker, question, response.total, about_origin)


def _advice(
    maker: Maker, question: Question, joint: Floats, originality_bits: float | None
) -> Advice:
    look = question.look
    chances = (joint.sum(axis=1) / joint.sum()).tolist()
    answers = dict(zip(question.states, chances, strict=True)) if question.states else {}
    return Advice(
        name=question.name,
        kind=question.kind,
        component=question.component,
        ask=question.ask,
        how=look.how,
        operation=look.operation,
        invasive=look.invasive,
        cautions=caution_words(maker.hazards_of(look, question.component), look.caution),
        bits=question.presence * information_bits(joint),
        originality_bits=originality_bits,
        answers=answers,
    )


@lru_cache(maxsize=256)
def mark_answers(maker: Maker, tables: MonthTables, name: str) -> Floats:
    """Give P(date of the mark | month) by quarters of a year, or by years if so marked.

    Shape: (date, 1, 1, month).
    """
    starts, after = _mark_starts(maker, tables, name)
    built, later = _mark_dates(maker, name, starts, after.mean(axis=0, keepdims=True))
    return built + later


def marks_there(maker: Maker, tables: MonthTables, name: str, places: NDArray[np.intp]) -> Floats:
    """Give P(there is a mark, and its date | month), in some draws where marks share a delay.

    Shapes: places (draw,); gives (date, draw, 1, month).
    """
    starts, after = _mark_starts(maker, tables, name)
    if name not in tables.delays:
        after = after.mean(axis=0, keepdims=True)
    built, later = _mark_dates(maker, name, starts, after if len(after) == 1 else after[places])
    there = presence(maker.marks()[name][1], maker.period)
    return np.asarray(there * built + there.mean() * later)


def _mark_starts(maker: Maker, tables: MonthTables, name: str) -> tuple[Floats, Floats]:
    """Give where dates start, and P(build so many months after the first of them, from a date).

    Shapes: (date,), (draw, month).
    """
    mark = maker.marks()[name][1]
    width, months = _width(mark), len(maker.period)
    lag, delays = mark.lag.distribution(), tables.delays.get(name)
    longest = float(lag.quantile(0.999)) + (0.0 if delays is None else float(delays.max()))
    before = -int(np.ceil(min(longest, months) / width)) * width
    stretches, learned = [(0.0, float(width))], tables.lags.get(name)
    if learned is None:
        after = mark_likelihood(stretches, lag, months - before, delays)
    else:
        q = learned.quantiles if delays is None else learned.quantiles + delays[:, None]
        after = mark_likelihoods(stretches, q, learned.reached, months - before)
    return np.arange(float(before), months, width), after


def _mark_dates(maker: Maker, name: str, starts: Floats, after: Floats) -> tuple[Floats, Floats]:
    """Give P(date | month) of the build and of any other origin, from what is built after a date.

    Shapes: starts (date,), after (draw, month); gives (date, draw, 1, month), (date, 1, 1, 1).
    """
    mark, months = maker.marks()[name][1], len(maker.period)
    padded = np.concatenate([np.zeros((len(after), months)), after], axis=1)
    original = np.array([padded[:, months - x : 2 * months - x] for x in starts.astype(int)])
    built, *_ = mark.chances
    later = np.where(starts >= 0, np.clip(months - starts, 0, _width(mark)) / months, 0.0)
    return (built * original)[:, :, None], ((1 - built) * later)[:, None, None, None]


def _width(mark: Mark) -> int:
    return 12 if mark.precision == "year" else _QUARTER


@lru_cache(maxsize=256)
def readings(maker: Maker, tables: MonthTables, name: str) -> Floats:
    """Give P(reading | month) over a few dozen bins, averaged over the draws of the means."""
    measurement = maker.measurements()[name][1]
    mean, spread = tables.means[name], tables.spreads[name][:, None]
    reach = 4 * float(spread.mean())
    centres = np.linspace(mean.min() - reach, mean.max() + reach, _BINS)
    logs = log_density(centres[:, None, None], mean, spread, measurement.tails)
    density = np.exp(logs).mean(axis=1)
    return np.asarray(density / density.sum(axis=0))[:, None, None]
