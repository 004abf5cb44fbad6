"""Why one observation says what it says, and what another answer would say."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dating.bench.answers import answer_field
from dating.bench.curves import Curves, draw_curves
from dating.bench.forms import STATE, Fields
from dating.bench.judgement_sources import Judgement, judgements_behind
from dating.bench.month_shapes import axis_of, draw_strip
from dating.bench.panels import DatePanel, dated_of
from dating.bench.reference_examples import Examples, states_of
from dating.bench.requests import BadRequestError
from dating.bench.time_axis import TimeAxis
from dating.estimates import Estimate
from dating.evidence import Piece
from dating.maker import Maker
from dating.months import month_words
from dating.summaries import MonthSet
from dating.words.phrases import held_set, percent, seen_words
from dating.words.set_forms import FEW
from dating.words.soundness import on_grounds


@dataclass(frozen=True)
class Explanation:
    """What stands behind one observation.

    Parameters
    ----------
    name, observation : str
        The piece of evidence, and what was seen.
    states : tuple of str
        The states of the feature; empty where it has none.
    curves : tuple of Curves
        Their shares over time, by variant where that matters.
    strip : str
        How probable each month makes what was seen, as a path, where there are no curves.
    axis : TimeAxis
        The months of the strip.
    judgements : tuple of Judgement
        What it rests on.
    learned : bool
        Whether dated instruments have moved these judgements.
    unsound : tuple of str
        That they are not to be relied on, where they are not.
    examples : Examples or None
        Dated instruments, where there is a corpus in the folder.
    without, without_median : str
        What the date would be without it.
    level : str
        Of that set.
    """

    name: str
    observation: str
    states: tuple[str, ...]
    curves: tuple[Curves, ...]
    strip: str
    axis: TimeAxis
    judgements: tuple[Judgement, ...]
    learned: bool
    unsound: tuple[str, ...]
    examples: Examples | None
    without: str
    without_median: str
    level: str


@dataclass(frozen=True)
class WhatIf:
    """Two answers to one question.

    Parameters
    ----------
    name, answer : str
        The feature, and the other answer.
    now, then : DatePanel
        As it is, with the other answer drawn over it; and with the other answer.
    """

    name: str
    answer: str
    now: DatePanel
    then: DatePanel


def explained(estimate: Estimate, name: str, examples: Examples | None) -> Explanation:
    """Say what stands behind one observation.

    Raises BadRequestError when there is no such piece.

    Examples
    --------
    >>> from dating import estimate, read_examination, read_maker
    >>> maker = read_maker("priors/marrowby.yaml")
    >>> result = estimate(maker, read_examination("demo_data/examinations/M-001.yaml"))
    >>> [row.what for row in explained(result, "heel-joint", None).judgements[:2]]
    ['first use', 'overlap']
    """
    finding = next((f for f in estimate.findings if f.piece.name == name), None)
    if finding is None:
        raise BadRequestError(f"{name} was not recorded, or says nothing about the date")
    maker, period = estimate.maker, estimate.period
    axis = axis_of(period)
    reported = estimate.highest_density(estimate.level)
    curves = _curves(estimate, finding.piece, reported)
    return Explanation(
        name=name,
        observation=seen_words(finding.piece, estimate),
        states=tuple(line.state for line in curves[0].lines) if curves else (),
        curves=curves,
        strip="" if curves else draw_strip(estimate.likelihood_alone(name), axis, period),
        axis=axis,
        judgements=tuple(judgements_behind(maker, finding.piece)),
        learned=estimate.learned is not None,
        unsound=tuple(on_grounds(estimate.maker, estimate.learned)),
        examples=examples,
        without=held_set(finding.without, period, FEW),
        without_median=month_words(finding.without_median),
        level=percent(estimate.level),
    )


def what_if(now: Estimate, then: Estimate, name: str, answer: str) -> WhatIf:
    """Set two answers to one question side by side."""
    return WhatIf(name, answer, dated_of(now, then), dated_of(then))


def other_answers(maker: Maker, name: str, now: str) -> dict[str, str]:
    """List what else could have been answered.

    Examples
    --------
    >>> from dating.files import read_maker
    >>> other_answers(read_maker("priors/marrowby.yaml"), "lining", "=solid")
    {'=kerfed': 'kerfed', '': 'not examined'}
    """
    states = states_of(maker, name)
    named = {f"{STATE}{state}": state for state in states} | (
        {"": "not examined"} if states else {}
    )
    return {answer: called for answer, called in named.items() if answer != now}


def with_answer(fields: Fields, name: str, answer: str) -> dict[str, str]:
    """Give the fields of a form with one answer changed, and nothing else said beside it."""
    field = answer_field(name)
    others = {k: v for k, v in fields.items() if not k.startswith(field.removesuffix("state"))}
    return others | {field: answer}


def _curves(estimate: Estimate, piece: Piece, reported: MonthSet) -> tuple[Curves, ...]:
    tables, period = estimate.tables, estimate.period
    examination = estimate.examination
    if piece.kind == "variant" and examination.variant is not None:
        seen = examination.variant.named()
        prior = tables.prior.reshape(len(tables.prior), len(tables.variants), tables.latent, -1)
        by_variant = prior.sum(axis=2)
        total = by_variant.sum(axis=1, keepdims=True)
        shares = np.moveaxis(
            np.divide(by_variant, total, where=total > 0, out=by_variant * 0), 0, 1
        )
        names = tables.variants
        return (draw_curves(shares, tables.weights, names, seen, period, shaded=reported),)
    if piece.kind != "feature":
        return ()
    sight = examination.seen[piece.name]
    seen = sight.named() if sight is not None else ()
    table = tables.feature(piece.name)
    states = [str(state) for state in table.coords["state"].values]
    variants = [str(variant) for variant in table.coords["variant"].values]
    return tuple(
        draw_curves(
            table.values[:, :, position],
            tables.weights,
            states,
            seen,
            period,
            title=variant if len(variants) > 1 else "",
            shaded=reported,
        )
        for position, variant in enumerate(variants)
    )
