"""Every reference instrument dated as if it were undated, with itself left out of learning.

Sampled draws are reweighted by the inverse of the instrument's own likelihood, smoothed (PSIS-LOO);
free-form shares and latent variants are fitted anew for each fold. Judgements alone have learned
nothing, so that nothing need be left out of them. The likelihood is the one that was sampled from:
free-form features are no part of it, each sighting is swapped by itself, and no recorded state and
no date of a mark is impossible.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import exp
from typing import cast

import numpy as np
from numpy.typing import NDArray

from dating.arrays import Floats
from dating.engine import ComponentEvidence, Weighing
from dating.evidence import Piece, without_slip
from dating.evidence_cache import EvidenceCache
from dating.examination import ABSENT
from dating.learning.corpus import Corpus, Reference
from dating.learning.latent.search import fold_fits, folds_of
from dating.learning.layout import FLOOR
from dating.learning.learned import Learned, learned_tables, tables_for
from dating.likelihoods import mark_stretches
from dating.magnitudes import LEAST, Magnitudes, wide
from dating.maker import Maker
from dating.tables import MonthTables
from dating.tabulation import month_tables

WIDEST = 12
"""Months beyond which a stated date is too wide to judge a posterior by."""


@dataclass(frozen=True)
class Omissions:
    """How many instruments of the corpus say nothing about a posterior, and why.

    Parameters
    ----------
    doubted : int
        Their stated date is not trusted wholly.
    wide : int
        Their stated date is wider than a year.
    impossible : int
        No month of the period allows what was seen on them.
    undated : int
        No date is stated.
    """

    doubted: int
    wide: int
    impossible: int
    undated: int = 0


@dataclass(frozen=True, eq=False)
class DatedReferences:
    """Reference instruments dated with themselves left out.

    Parameters
    ----------
    references : tuple of Reference
        Those whose date is trusted and no wider than a year.
    posterior : ndarray of float64, shape (instrument, month)
        Each row sums to one.
    uncorrected : ndarray of float64, shape (instrument, month)
        The same without the correction of levels that what was learned may carry.
    shaky : ndarray of bool, shape (instrument,)
        Where the smoothed weights cannot be relied on: learning leans on this instrument.
    passed_over : Omissions
        The others.
    """

    references: tuple[Reference, ...]
    posterior: Floats
    uncorrected: Floats
    shaky: NDArray[np.bool_]
    passed_over: Omissions


def dated_without(corpus: Corpus, learned: Learned | None) -> DatedReferences:
    """Date every reference instrument with itself left out of learning.

    Parameters
    ----------
    corpus : Corpus
        The corpus; where something was learned, the one it was learned from.
    learned : Learned or None
        What was learned; None for the judgements alone.

    Returns
    -------
    DatedReferences
        In the order of the corpus.

    References
    ----------
    Vehtari, A., Simpson, D., Gelman, A., Yao, Y. and Gabry, J. (2024). Pareto smoothed importance
    sampling. *Journal of Machine Learning Research* 25(72), 1-58.
    """
    dated = [place for place, r in enumerate(corpus.references) if r.dated]
    trusted = [place for place in dated if corpus.references[place].trust == 1]
    judged = [p for p in trusted if corpus.references[p].window.sum() <= WIDEST]
    posteriors = np.full((len(corpus.references), len(corpus.maker.period)), np.nan)
    shaky = np.zeros(len(posteriors), dtype=bool)
    for stock, places in stocks_for(corpus, learned, judged):
        for place in places:
            reference = corpus.references[place]
            weighing = stock.weighing(reference.examination)
            posteriors[place], shaky[place] = _posterior(weighing, reference, learned, corpus.maker)
    possible = [place for place in judged if np.isfinite(posteriors[place]).all()]
    uncorrected = posteriors[possible]
    return DatedReferences(
        tuple(corpus.references[place] for place in possible),
        uncorrected if learned is None else learned.corrected(uncorrected),
        uncorrected,
        shaky[possible],
        Omissions(
            doubted=len(dated) - len(trusted),
            wide=len(trusted) - len(judged),
            impossible=len(judged) - len(possible),
            undated=corpus.undated,
        ),
    )


def stocks_for(
    corpus: Corpus, learned: Learned | None, places: list[int]
) -> Iterator[tuple[EvidenceCache, list[int]]]:
    """Pair instruments with tables that know nothing of their free-form sightings."""
    maker = corpus.maker
    if learned is None or learned.latent is None:
        yield EvidenceCache(maker, tables_for(maker, learned)), places
        return
    fold = folds_of(corpus, learned.seed)
    fits = fold_fits(corpus, month_tables(maker).output, learned.latent, learned.seed)
    for part, latent in enumerate(fits):
        tables = learned_tables(maker, replace(learned, latent=latent))
        yield EvidenceCache(maker, tables), [p for p in places if fold[p] == part]


def _posterior(
    weighing: Weighing, reference: Reference, learned: Learned | None, maker: Maker
) -> tuple[Floats, bool]:
    """Give the posterior without the instrument, and whether the weights are shaky."""
    joint = weighing.joint.sum(axis=1)
    if not joint.sum():
        return np.full(joint.shape[-1], np.nan), False
    weights, shaky = left_out_weights(weighing, reference, learned, maker)
    total = weights @ joint
    if not total.sum() >= LEAST:
        total = weights @ weighing.widened().joint.sum(axis=1)
    return total / total.sum(), shaky


def left_out_weights(
    weighing: Weighing, reference: Reference, learned: Learned | None, maker: Maker
) -> tuple[Floats, bool]:
    """Weigh the draws so that what was learned knows nothing of an instrument.

    Shape: (draw,).
    """
    if learned is None or not learned.has_draws:
        draws = len(weighing.joint)
        return np.full(draws, 1 / draws), False
    return _smoothed_weights(_log_sampled_likelihood(weighing, reference, learned, maker))


def _log_sampled_likelihood(
    weighing: Weighing, reference: Reference, learned: Learned, maker: Maker
) -> Floats:
    """Give log P(stated date and sightings) as learning had it, shape (draw,)."""
    months = np.flatnonzero(reference.window)
    likelihood = wide(prior_in_months(weighing.tables, months))
    free_form = learned.latent.features if learned.latent is not None else ()
    for piece in weighing.pieces:
        if piece.name not in free_form:
            alone = likelihood_with_swap(weighing, piece, maker)
            alone = alone if alone.shape[2] == 1 else alone[:, :, months]
            likelihood = likelihood * alone
    return cast(Magnitudes, likelihood.sum(axis=(1, 2))).log()


def prior_in_months(tables: MonthTables, months: NDArray[np.int64]) -> Floats:
    """Give P(variant, month) in some months; no variant is impossible, shape (draw, variant, ...).

    Latent variants stand within the others.
    """
    prior = tables.prior[:, :, months]
    if not tables.variants:
        return prior
    split = prior.reshape(len(prior), len(tables.variants), -1, len(months))
    any_variant = split.sum(axis=1, keepdims=True)
    return (split * (1 - FLOOR) + any_variant * FLOOR).reshape(prior.shape)


def likelihood_with_swap(weighing: Weighing, piece: Piece, maker: Maker) -> Floats:
    """Give the likelihood of one piece with a swap of its own, shape (draw, variant, month).

    As learning has it: no old stock, no slips of the pen, and no mark that is absent.
    """
    if piece.component is None or piece.observation == ABSENT:
        return piece.likelihood if piece.component is None else np.ones((1, 1, 1))
    part = weighing.parts[piece.component]
    if piece.kind == "measurement":
        piece = without_slip(piece).widened()
    likelihood = ComponentEvidence(part.name, part.swapped, part.donor, (piece,)).likelihood
    if piece.kind == "measurement":
        return likelihood
    anything = FLOOR
    if piece.kind == "mark":
        mark = maker.marks()[piece.name][1]
        stretches = mark_stretches(piece.observation, mark, maker.period, datetime.date.today())
        anything *= sum(stop - start for start, stop in stretches) / len(maker.period)
    return likelihood * exp(piece.log_scale) * (1 - FLOOR) + anything


def _smoothed_weights(log_likelihood: Floats) -> tuple[Floats, bool]:
    """Give Pareto-smoothed weights in inverse proportion to the instrument's own likelihood."""
    from arviz_stats.base.array import array_stats  # noqa: PLC0415

    if np.ptp(log_likelihood) < 1e-12:
        return np.full(len(log_likelihood), 1 / len(log_likelihood)), False
    try:
        logs, shape = array_stats.psislw(log_likelihood)
    except ValueError:  # the largest weights are all the same: there is no tail to smooth
        logs, shape = -log_likelihood, 0.0
    weights = np.exp(logs - logs.max())
    trusted = min(1 - 1 / np.log10(len(log_likelihood)), 0.7)
    return weights / weights.sum(), bool(shape > trusted)
