"""Which further look, on which instrument, would settle most of the pairs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dating.advice import Question, mark_answers, questions_of, readings
from dating.arrays import Floats
from dating.cautions import caution_words
from dating.engine import Weighing
from dating.examination import Examination
from dating.maker import Maker
from dating.succession.joint_months import Samples
from dating.succession.months_by_draw import by_draw


@dataclass(frozen=True)
class FurtherLook:
    """A look that has not been taken, and what it would do for the row.

    Parameters
    ----------
    instrument : str
        Where to look.
    name : str
        The feature, mark or measurement.
    component : str or None
        The component it sits on.
    ask, how, operation : str
        The question, how to look, and what has to be done first; the last two may be empty.
    cautions : tuple of str
        What to beware of.
    invasive : str
        none, low, moderate or high.
    bits : float
        By how much the doubt about its pairs with all others is expected to fall, summed over them.
    """

    instrument: str
    name: str
    component: str | None
    ask: str
    how: str
    operation: str
    cautions: tuple[str, ...]
    invasive: str
    bits: float

    @property
    def caution(self) -> str:
        """What to beware of, in one sentence; empty when there is nothing."""
        return "; ".join(self.cautions)


def further_looks(
    weighing: Weighing,
    maker: Maker,
    examination: Examination,
    place: int,
    samples: Samples,
) -> list[FurtherLook]:
    """List what has not been looked at on one instrument, with what it would settle of the row.

    Parameters
    ----------
    weighing : Weighing
        Its evidence.
    maker : Maker
        The maker file.
    examination : Examination
        What was seen on it.
    place : int
        Its position among the instruments.
    samples : Samples
        Joint draws of the months of all, whose draws are those of the weighing.

    Returns
    -------
    list of FurtherLook
        Each with a gain that is above nought.

    References
    ----------
    Lindley, D. V. (1956). On a measure of the information provided by an experiment. *Annals of
    Mathematical Statistics* 27(4), 986-1005. doi:10.1214/aoms/1177728069, for a look's worth as
    what its answer is expected to change.
    """
    own = samples.months[:, [place]]
    first = (own < samples.months) + 0.5 * (own == samples.months)
    first = np.delete(first, place, axis=1)
    looks = []
    for question in _all_questions(weighing, maker, examination):
        answers = _answers(question, maker, weighing)
        chances = _chances(weighing, question, answers, samples.draws, samples.months[:, place])
        bits = question.presence * _bits(chances, first)
        if bits > 0:
            hazards = maker.hazards_of(question.look, question.component)
            looks.append(
                FurtherLook(
                    examination.instrument,
                    question.name,
                    question.component,
                    question.ask,
                    question.look.how,
                    question.look.operation,
                    caution_words(hazards, question.look.caution),
                    question.look.invasive,
                    bits,
                )
            )
    return looks


def _all_questions(
    weighing: Weighing, maker: Maker, examination: Examination
) -> Sequence[Question]:
    return [
        question for part in weighing.parts for question in questions_of(part, maker, examination)
    ]


def _answers(question: Question, maker: Maker, weighing: Weighing) -> Floats:
    """Give P(answer | month), shape (answer, draw, variant, month)."""
    tables = weighing.tables
    if question.kind == "mark":
        return _by_fours(mark_answers(maker, tables, question.name))
    if question.kind == "measurement":
        return _by_fours(readings(maker, tables, question.name))
    return tables.features[question.name].recorded_states()


def _by_fours(answers: Floats) -> Floats:
    """Put four neighbouring dates or readings together: a row needs no finer ones."""
    return np.asarray(np.add.reduceat(answers, np.arange(0, len(answers), 4), axis=0))


def _chances(
    weighing: Weighing,
    question: Question,
    answers: Floats,
    draws: NDArray[np.intp],
    months: NDArray[np.intp],
) -> Floats:
    """Give P(answer | draw, month, everything seen) of each sample, shape (answer, sample)."""
    part = weighing.parts[question.component or ""]
    rest, evidence = weighing.rest((part.name,)), part.varying * part.fixed
    rows = [
        by_draw(weighing, (rest * part.likelihood_of(evidence * answer)).sum(axis=1))
        for answer in answers
    ]
    logs = np.array([total[draws] + _log(given[draws, months]) for given, total in rows])
    logs -= logs.max(axis=0)
    chances = np.exp(logs)
    return np.asarray(chances / chances.sum(axis=0))


def _bits(chances: Floats, first: Floats) -> float:
    """Give by how much the entropies of pairs are expected to fall, summed over the pairs.

    Shapes: chances (answer, sample), first (sample, other instrument).
    """
    each = chances.mean(axis=1)
    joint = chances @ first / len(first)
    after = (each[:, None] * pair_entropy(joint / each[:, None])).sum(axis=0)
    return float((pair_entropy(first.mean(axis=0)) - after).sum())


def pair_entropy(first: Floats) -> Floats:
    """Give the bits of doubt about which of two came first, of any shape.

    Examples
    --------
    >>> pair_entropy(np.array([0.5, 1.0])).tolist()
    [1.0, 0.0]
    """
    p = np.clip(first, 1e-15, 1 - 1e-15)
    return np.asarray(np.maximum(-p * np.log2(p) - (1 - p) * np.log2(1 - p), 0.0)).round(12)


def _log(array: Floats) -> Floats:
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(array))
