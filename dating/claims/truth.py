"""Whether a claim about production is true, in each joint draw."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dating.arrays import Floats
from dating.claims.counts import chance_between, chance_of_none
from dating.claims.production import Production
from dating.claims.statements import (
    Assertion,
    ChangedFirst,
    ClaimedChangeover,
    NumberMade,
    Overlap,
    Share,
    Survival,
    Use,
)
from dating.learning.layout import Track
from dating.months import Period


def needs_tables(saying: Assertion) -> bool:
    """Say whether a claim is about shares or numbers, for which month tables are needed."""
    return isinstance(saying.content, Share | NumberMade)


def all_true(sayings: Sequence[Assertion], production: Production) -> Floats:
    """Give the probability that several claims about production are true, in each draw.

    Given a draw, numbers and strict shares of different combinations are taken as independent;
    what is said of one and the same number is taken together.

    Shape: (draw,).
    """
    true = np.ones(len(production.draws.values))
    numbers: dict[str, tuple[NumberMade, float, float]] = {}
    for saying in {each.model_dump_json(): each for each in sayings}.values():
        if isinstance(number := saying.content, NumberMade):
            key = number.model_dump_json(exclude={"between", "about", "give_or_take"})
            low, high = number.ends()
            _, least, most = numbers.get(key, (number, 0.0, np.inf))
            numbers[key] = (number, max(low, least), min(high, most))
        else:
            true = true * chance_true(saying, production)
    for number, low, high in numbers.values():
        stretch = _stretch(number, production)
        true = true * (
            chance_between(low, high, stretch.numbers, stretch.both) if low <= high else 0.0
        )
    return true


def chance_true(saying: Assertion, production: Production) -> Floats:
    """Give the probability that a claim about production is true, in each draw.

    Shape: (draw,).
    """
    match saying.content:
        case Use() as use:
            return _bounded(use, quantity(saying, production), production.maker.period)
        case ChangedFirst(by=by):
            lead = quantity(saying, production)
            return np.asarray(lead >= by if by > 0 else lead > 0, dtype=float)
        case Overlap(shorter_than=most):
            return np.asarray(quantity(saying, production) < most, dtype=float)
        case Share() as share:
            return _share_true(share, production)
        case NumberMade() as number:
            stretch = _stretch(number, production)
            return chance_between(*number.ends(), stretch.numbers, stretch.both)
        case content:
            raise TypeError(f"{type(content).__name__} is no claim about production")


def quantity(saying: Assertion, production: Production) -> Floats:
    """Give the number that a claim about production is about, in each draw.

    Shape: (draw,).
    """
    match saying.content:
        case Use(feature=feature, state=state, variant=variant):
            first = saying.kind == "first_use"
            find = production.first_use if first else production.last_use
            return find(feature, state, variant)
        case ChangedFirst(earlier=earlier, later=later):
            starts = production.starts
            return np.asarray(
                starts[:, ramp_to(production, later)] - starts[:, ramp_to(production, earlier)]
            )
        case Overlap(changeover=changeover):
            return production.overlap(ramp_to(production, changeover))
        case Share() as share:
            return _stretch(share, production).share()
        case NumberMade() as number:
            stretch = _stretch(number, production)
            return np.asarray((stretch.numbers * stretch.both).sum(axis=1))
        case content:
            raise TypeError(f"{type(content).__name__} is no claim about production")


def ramp_to(production: Production, changeover: ClaimedChangeover) -> int:
    """Find the changeover with which a state came in.

    Raises LookupError when there is none, or more than one.
    """
    tracks = production.layout.tracks_of(changeover.feature, changeover.variant)
    ramps = [ramp for track in tracks for ramp in ramps_to(track, changeover.to)]
    if len(set(ramps)) != 1:
        raise LookupError(f"{len(set(ramps))} changeovers lead to {changeover.to}")
    return ramps[0]


def ramps_to(track: Track, state: str) -> list[int]:
    """List the changeovers of a course that bring in a state which was not there before."""
    has = track.shares[:, track.states.index(state)] > 0
    return [ramp for k, ramp in enumerate(track.ramps) if has[k + 1] and not has[k]]


def _bounded(use: Use, at: Floats, period: Period) -> Floats:
    """Say whether a first or last use lies within the bounds; a bound's months are included."""
    if use.not_before is not None:
        return np.asarray(at >= use.not_before.first - period.first, dtype=float)
    if use.not_after is not None:
        return np.asarray(at < use.not_after.last + 1 - period.first, dtype=float)
    stretch = use.within or period
    low, high = stretch.first - period.first, stretch.last + 1 - period.first
    return np.asarray((at >= low) & (at < high), dtype=float)


@dataclass(frozen=True, eq=False)
class _Stretch:
    """A stretch of production by draw and month: made, of the kind in question, and so built.

    ``kind`` is the chance that an instrument is of the variant in question, ``both`` that it has
    the combination of states besides.
    """

    numbers: Floats
    kind: Floats
    both: Floats

    def share(self) -> Floats:
        """Give the share of those of the kind; not-a-number where none were made."""
        whole = (self.numbers * self.kind).sum(axis=1)
        part = (self.numbers * self.both).sum(axis=1)
        return np.divide(part, whole, out=np.full_like(part, np.nan), where=whole > 0)


def _stretch(content: Share | NumberMade, production: Production) -> _Stretch:
    period = production.maker.period
    inside = period.inside(content.during or period)
    kind = production.chance_of({}, content.variant)[:, inside]
    both = production.chance_of(content.states, content.variant)[:, inside]
    both = np.minimum(both, kind)
    if isinstance(content, NumberMade) and content.survival is not None:
        both = both * _survives(content.survival, len(both))[:, None]
    return _Stretch(production.weights()[:, inside], np.clip(kind, 0, 1), np.clip(both, 0, 1))


def _share_true(share: Share, production: Production) -> Floats:
    """Say so; where none of the kind were made, none and all of them had the states."""
    stretch = _stretch(share, production)
    if share.was is not None and not share.tolerance:
        missed = stretch.both if share.was == "none" else stretch.kind - stretch.both
        return chance_of_none(stretch.numbers, missed)
    true_share = stretch.share()
    match share.was:
        case "none":
            return np.asarray(~(true_share > share.tolerance), dtype=float)
        case "all":
            return np.asarray(~(true_share < 1 - share.tolerance), dtype=float)
        case _:
            return np.asarray(true_share >= (share.at_least or 0.0), dtype=float)


def _survives(survival: Survival, count: int) -> Floats:
    """Draw the share that survives."""
    uniform = np.random.default_rng(13).uniform(1e-9, 1 - 1e-9, count)
    return np.asarray(1 / (1 + np.exp(-survival.log_odds().quantile(uniform))))
