"""The dated instruments that contradict a judgement: what they show was not to be expected then."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from dating.arrays import Floats
from dating.evidence import state_weights
from dating.examination import Sight
from dating.learning.corpus import Corpus, Reference
from dating.learning.layout import VARIANTS, Layout
from dating.learning.learned import Learned, learned_tables
from dating.maker import Maker
from dating.tables import MonthTables
from dating.tabulation import month_tables


@dataclass(frozen=True)
class CorpusContradiction:
    """One state, recorded on a dated instrument, that the judgements did not expect there.

    Parameters
    ----------
    instrument : str
        Name of the instrument.
    line : int
        Line of the corpus on which its row starts, counted from 1.
    feature : str
        The feature, or "variants".
    observation : str
        What was seen, in words.
    built : str
        The stated date, as written.
    changeover : str
        The changeover that stands in the way, such as ``heel-joint, regime 2``.
    early : bool
        Whether the state came before that changeover leads to it; else it came after the
        changeover leads away from it.
    judged, learned : float
        Probability of what was recorded, given the stated date, by judgement and as learned.
    """

    instrument: str
    line: int
    feature: str
    observation: str
    built: str
    changeover: str
    early: bool
    judged: float
    learned: float


def contradictions_of(
    maker: Maker, corpus: Corpus, layout: Layout, learned: Learned, most: float = 0.05
) -> tuple[CorpusContradiction, ...]:
    """Find the dated instruments that contradict a judgement.

    Slip, replacement and swap are in the probabilities, so an instrument is found only where these
    do not explain it well. What is rare in every regime, or follows a table of shares, contradicts
    no changeover and is left out; so is an instrument of a date at which nothing was made.
    """
    judged = _Expectation(maker, month_tables(maker))
    after = _Expectation(maker, learned_tables(maker, learned))
    middles = _middles(layout)
    contradictions = []
    for reference in (reference for reference in corpus.references if reference.dated):
        for feature, sight in _sights(reference):
            known = _known(reference, feature, judged.tables)
            weights = state_weights(sight, judged.states(feature))
            chance = judged.probability(feature, weights, known)
            if chance is None or chance > most:
                continue
            nearest = _nearest(layout, middles, feature, weights, known)
            relearned = after.probability(feature, weights, known)
            if nearest is None or relearned is None:
                continue
            contradictions.append(
                CorpusContradiction(
                    instrument=reference.examination.instrument,
                    line=reference.line,
                    feature=feature,
                    observation=sight.words(),
                    built=reference.stated,
                    changeover=layout.ramp_names[nearest],
                    early=bool(known.middle < middles[nearest]),
                    judged=chance,
                    learned=relearned,
                )
            )
    return tuple(sorted(contradictions, key=lambda item: item.judged))


@dataclass(frozen=True, eq=False)
class _Known:
    """What is known of an instrument beside the state in question.

    ``dated`` is P(stated date | month); ``middle`` is the mean of the stated months, counted from
    the start of the period, the month's middle counting.
    """

    dated: Floats
    middle: float
    variants: dict[str, float]


def _known(reference: Reference, feature: str, tables: MonthTables) -> _Known:
    stated = tables.output * reference.window
    whole = stated.sum()
    dated = reference.likelihood(tables.output)
    middle = float((np.arange(len(stated)) + 0.5) @ stated / whole) if whole > 0 else 0.0
    sight = reference.examination.variant
    if feature == VARIANTS or sight is None or sight.is_neutral:
        return _Known(dated, middle, dict.fromkeys(tables.variants, 1.0))
    weights = state_weights(sight, tables.variants).tolist()
    return _Known(dated, middle, dict(zip(tables.variants, weights, strict=True)))


class _Expectation:
    """What month tables lead one to expect of an instrument, averaged over their draws."""

    def __init__(self, maker: Maker, tables: MonthTables) -> None:
        self.maker, self.tables = maker, tables
        self.built = tables.prior.sum(axis=0)
        self.recorded: dict[tuple[str, tuple[float, ...]], Floats] = {}

    def states(self, feature: str) -> tuple[str, ...]:
        tables = self.tables
        return tables.variants if feature == VARIANTS else tables.features[feature].states

    def probability(self, feature: str, weights: Floats, known: _Known) -> float | None:
        """Give P(recorded | date, variant); None where the maker file has nothing made then."""
        variants = self._within(np.array(list(known.variants.values()) or [1.0]))
        allowed = variants[:, None] * known.dated
        whole = float((allowed * self.built).sum())
        if whole <= 0:
            return None
        key = (feature, tuple(weights.tolist()))
        if key not in self.recorded:
            self.recorded[key] = self._recorded(feature, weights)
        return float((allowed * self.recorded[key]).sum()) / whole

    def _within(self, by_variant: Floats) -> Floats:
        """Give each latent variant within a variant what the variant has."""
        return np.repeat(by_variant, self.tables.latent)

    def _recorded(self, feature: str, weights: Floats) -> Floats:
        """Give P(built in the month, variant, and so recorded), shape (variant, month)."""
        if feature == VARIANTS:
            return self._within(weights)[:, None] * self.built
        tables, part = self.tables, self.maker.features()[feature][0]
        own, _ = tables.features[feature].seen(weights)
        donor = (tables.donors[part] * own).sum(axis=(1, 2), keepdims=True)
        swapped = self.maker.components[part].swapped.value
        mixed = (1 - swapped) * own + swapped * donor
        return np.asarray((tables.prior * mixed).sum(axis=0))


def _sights(reference: Reference) -> Iterator[tuple[str, Sight]]:
    """List what was seen and has a place in the maker file, the variant first."""
    for name, sight in {
        VARIANTS: reference.examination.variant,
        **reference.examination.seen,
    }.items():
        if sight is not None and not sight.is_neutral:
            yield name, sight


def _middles(layout: Layout) -> Floats:
    """Give the judged middle of every changeover, in months since the start of the period."""
    medians = np.array([[float(judged.quantile(0.5)) for judged in layout.numbers.values()]])
    return np.asarray(layout.starts(medians)[0] + layout.overlaps(medians)[0] / 2)


def _nearest(
    layout: Layout, middles: Floats, feature: str, weights: Floats, known: _Known
) -> int | None:
    """Find the nearest changeover that leads to what was seen later, or away from it earlier."""
    ramps: dict[int, float] = {}
    for track in layout.tracks:
        if track.name == feature and (track.variant is None or known.variants[track.variant] > 0):
            rises = np.diff(track.shares @ weights)
            for ramp, rise in zip(track.ramps, rises, strict=False):
                ahead = float(middles[ramp]) - known.middle
                if rise * ahead > 0:
                    ramps[ramp] = abs(ahead)
    return min(ramps, key=lambda ramp: ramps[ramp], default=None)
