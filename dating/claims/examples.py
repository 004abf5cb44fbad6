"""The dated instruments, and on an instrument the observations, that speak for or against a claim.

They are ranked by what each contributes. Those whose record is more probably explained by something
else, a swap, a later part, a slip or a wrong date, stand apart.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from dating.claims.evidence import Evidence
from dating.claims.explanations import Explanation
from dating.claims.row_evidence import Turning
from dating.claims.statements import (
    Assertion,
    Built,
    ChangedFirst,
    Claim,
    ClaimedChangeover,
    NumberMade,
    Overlap,
    Share,
    Use,
)
from dating.claims.truth import all_true
from dating.engine import Weighing
from dating.examination import Examination
from dating.learning.corpus import Corpus, Reference
from dating.learning.layout import VARIANTS, Layout, layout_of
from dating.learning.thresholds import sides_of
from dating.statements import plain_name

type Side = Literal["for", "against"]

SHOWN = 5
_LEAST = 0.1
"""Bits below which an instrument is said to carry no weight."""
_TRIED = 12
"""Records that are explained, where the draws do not rank them."""


@dataclass(frozen=True)
class Witness:
    """One instrument, or one observation, that speaks for or against a claim.

    Parameters
    ----------
    side : {"for", "against"}
        Which way it speaks.
    name : str
        The instrument of the corpus, or what was observed.
    words : str
        What it shows and when it was built.
    line : int or None
        Its line in the corpus; None for an observation.
    bits : float or None
        What it contributes by itself, towards its side: log2 of the factor on the odds. None where
        the draws do not tell.
    explanation : Explanation or None
        What else may explain its record; None for an observation.
    is_weighty : bool
        Whether it contributes, and its record is more probably what it seems than not.
    """

    side: Side
    name: str
    words: str
    line: int | None
    bits: float | None = None
    explanation: Explanation | None = None
    is_weighty: bool = True


def examples_of(claim: Claim, corpus: Corpus | None, evidence: Evidence) -> tuple[Witness, ...]:
    """List what speaks for and against a claim, what contributes most first."""
    witnesses: list[Witness] = []
    for saying in claim.sayings():
        if isinstance(built := saying.content, Built):
            seen = evidence.examinations[built.instrument]
            witnesses += _observations(built, evidence.weighing_of(seen, [saying]))
    if corpus is not None:
        witnesses += _dated(on_production(claim), corpus, evidence)
    unique = dict.fromkeys(witnesses)
    return tuple(sorted(unique, key=lambda each: (not each.is_weighty, each.side != "against")))


def on_production(claim: Claim) -> list[Assertion]:
    """Take out of a claim what is said of production."""
    return [saying for saying in claim.sayings() if not saying.instruments()]


def turning_of(claim: Claim, corpus: Corpus | None, evidence: Evidence) -> Turning | None:
    """Find the fewest dated instruments without which a claim about production would turn.

    None where nothing was learned from this corpus, or the claim is about instruments as well.
    """
    sayings, learned = on_production(claim), evidence.learned
    if corpus is None or learned is None or len(sayings) != len(claim.sayings()):
        return None
    if not learned.rests_on(corpus.fingerprint):
        return None
    rows = evidence.rows(corpus, features_in(sayings), known=True)
    return rows.turning(all_true(sayings, rows.production))


def features_in(sayings: Iterable[Assertion]) -> tuple[str, ...]:
    """Name the features that claims about production are about, each once."""
    return tuple(dict.fromkeys(name for saying in sayings for name in features_of(saying)))


@dataclass(frozen=True)
class _Spoken:
    """An instrument whose record speaks, and how many months its date lies from what is claimed."""

    side: Side
    reference: Reference
    shows: str
    distance: int


def _dated(sayings: Sequence[Assertion], corpus: Corpus, evidence: Evidence) -> Iterator[Witness]:
    """Rank dated instruments by what they contribute; name those that only seem to contradict."""
    features = features_in(sayings)
    if not features:
        return
    rows = evidence.rows(corpus, features, known=False)
    bits = rows.bits(all_true(sayings, rows.production))
    spoken = {one.reference.line: one for saying in sayings for one in _of_corpus(saying, corpus)}

    def witness(reference: Reference, side: Side, worth: float | None) -> Witness:
        record = spoken.get(reference.line)
        shows = record.shows if record is not None else _shown(reference, features)
        trust = "" if reference.trust == 1 else f", trust {reference.trust:g}"
        built = f"built {reference.stated}" if reference.dated else reference.stated
        told = evidence.explanation(reference, features)
        name, words = reference.examination.instrument, f"{shows}, {built}{trust}"
        weighty = told.stands >= 0.5 and (worth is None or worth >= _LEAST)
        return Witness(side, name, words, reference.line, worth, told, weighty)

    records = sorted(spoken.values(), key=lambda one: (one.distance, one.reference.line))
    worths = {} if bits is None else dict(zip(rows.places, map(float, bits), strict=True))
    for side in ("against", "for"):
        sign = 1 if side == "for" else -1
        if bits is None:
            chosen = [one.reference for one in records if one.side == side][:_TRIED]
            told = [witness(reference, side, None) for reference in chosen]
            told.sort(key=lambda each: each.explanation is not None and -each.explanation.stands)
            yield from [each for each in told if each.is_weighty][:SHOWN]
        else:
            ordered = sorted(worths, key=lambda place: -sign * worths[place])[: 2 * SHOWN]
            told = [witness(corpus.references[p], side, sign * worths[p]) for p in ordered]
            yield from [each for each in told if each.is_weighty][:SHOWN]
            by_line = {corpus.references[p].line: sign * worth for p, worth in worths.items()}
            idle = [one for one in records if one.side == side and one.reference.line in by_line]
            told = [witness(o.reference, side, by_line[o.reference.line]) for o in idle[:_TRIED]]
            told = [each for each in told if each.explanation and each.explanation.stands < 0.5]
        yield from [each for each in told if not each.is_weighty][:SHOWN]


def _shown(reference: Reference, features: Sequence[str]) -> str:
    """Say what an instrument shows of some features."""
    seen = {name: reference.examination.seen.get(name) for name in features}
    shows = [f"{sight.words()} {plain_name(name)}" for name, sight in seen.items() if sight]
    return " and ".join(shows) or "the variant"


def _of_corpus(saying: Assertion, corpus: Corpus) -> Iterator[_Spoken]:
    """Name who speaks; an undated instrument may tell what changed first, and nothing of when."""
    layout, references = layout_of(corpus.maker), corpus.references
    if not isinstance(saying.content, ChangedFirst):
        references = tuple(reference for reference in references if reference.dated)
    spans = [_span(reference, corpus) for reference in references]
    match saying.content:
        case Use() as use:
            first_use = saying.kind == "first_use"
            sides = [_on_use(use, first_use, *each) for each in zip(references, spans, strict=True)]
        case Share() as share:
            sides = [_on_share(share, *each) for each in zip(references, spans, strict=True)]
        case ChangedFirst() as order:
            sides = [_on_changed_first(order, reference, layout) for reference in references]
        case Overlap() as overlap:
            sides = _on_overlap(overlap, references, spans, layout)
        case _:
            return
    for reference, reading in zip(references, sides, strict=True):
        if reading is not None:
            side, shows, distance = reading
            yield _Spoken(side, reference, shows, distance)


def _span(reference: Reference, corpus: Corpus) -> tuple[int, int]:
    """Give the first and last month that the stated date allows, as month numbers."""
    built = np.flatnonzero(reference.window) + corpus.maker.period.first
    return int(built[0]), int(built[-1])


def features_of(saying: Assertion) -> tuple[str, ...]:
    """Name the features that a claim about production is about."""
    match saying.content:
        case Use(feature=feature) | Overlap(changeover=ClaimedChangeover(feature=feature)):
            return (feature,)
        case ChangedFirst(earlier=earlier, later=later):
            return (earlier.feature, later.feature)
        case Share(states=states) | NumberMade(states=states):
            return tuple(states)
        case _:
            return ()


type _Found = tuple[Side, str, int] | None


def _on_use(use: Use, first_use: bool, reference: Reference, span: tuple[int, int]) -> _Found:
    first, last = span
    has = _has(reference.examination, {use.feature: (use.state,)}, use.variant)
    low, high = use.not_before or use.within, use.not_after or use.within
    if has is None:
        return None
    before = low.first - last if low is not None else 0
    after = first - high.last if high is not None else 0
    wrong = before if first_use else after
    if first_use:
        inside = high is not None and last <= high.last
    else:
        inside = low is not None and first >= low.first
    one_sided = use.within is None
    if wrong > 0 and (has or one_sided):
        side: Side = "against" if has else "for"
        feature = plain_name(use.feature)
        return side, f"{use.state} {feature}" if has else f"{feature} of another form", wrong
    if has and inside:
        return "for", f"{use.state} {plain_name(use.feature)}", 0
    return None


def _on_share(share: Share, reference: Reference, span: tuple[int, int]) -> _Found:
    first, last = span
    inside = share.during.first <= first and last <= share.during.last
    has = _has(reference.examination, share.states, share.variant)
    if has is None or not inside:
        return None
    is_for = share.was != "none"
    shows = " and ".join(
        f"{reference.examination.seen[name].words()} {plain_name(name)}"  # type: ignore[union-attr]
        for name in share.states
        if reference.examination.seen.get(name) is not None
    )
    side: Side = "for" if has == is_for else "against"
    return side, shows or "the variant", share.during.last - last


def _on_changed_first(order: ChangedFirst, reference: Reference, layout: Layout) -> _Found:
    early, late = (_past(way, reference, layout) for way in (order.earlier, order.later))
    if early is None or late is None or early == late:
        return None
    new, old = (order.earlier, order.later) if early else (order.later, order.earlier)
    side: Side = "for" if early else "against"
    feature, other = plain_name(new.feature), plain_name(old.feature)
    return side, f"{new.to} {feature}, {other} not yet {old.to}", 0


def _on_overlap(
    overlap: Overlap,
    references: Sequence[Reference],
    spans: Sequence[tuple[int, int]],
    layout: Layout,
) -> list[_Found]:
    """Find the first with the new state and the last with the old, if they lie too far apart."""
    way, dates = overlap.changeover, []
    for reference, (first, last) in zip(references, spans, strict=True):
        past = _past(overlap.changeover, reference, layout)
        dates.append((past, last if past else first))
    new, old = ([at for past, at in dates if past is side] for side in (True, False))
    if not new or not old or max(old) - min(new) < overlap.shorter_than:
        return [None] * len(dates)
    ends = {True: min(new), False: max(old)}
    feature = plain_name(way.feature)
    shows = {True: f"{way.to} {feature}", False: f"{feature} of the older form"}
    return [
        ("against", shows[past], 0) if past is not None and at == ends[past] else None
        for past, at in dates
    ]


def _past(way: ClaimedChangeover, reference: Reference, layout: Layout) -> bool | None:
    """Say whether an instrument shows the new side of a changeover; None where it does not tell."""
    for track in layout.tracks:
        if track.name != way.feature or (way.variant or track.variant) != track.variant:
            continue
        has = track.shares > 0
        step = next(
            (k for k in range(len(track.ramps)) if has[k + 1][track.states.index(way.to)]), None
        )
        if step is None:
            continue
        old, new = sides_of(track, step)
        for states, side in ((new, True), (old, False)):
            if states and _has(reference.examination, {way.feature: tuple(states)}, way.variant):
                return side
    return None


def _has(
    seen: Examination, states: Mapping[str, Sequence[str]], variant: str | None
) -> bool | None:
    """Say whether an instrument shows a combination of states; None where it does not tell."""
    required = dict(states) | ({VARIANTS: (variant,)} if variant is not None else {})
    matches: list[bool] = []
    for feature, names in required.items():
        sight = seen.variant if feature == VARIANTS else seen.seen.get(feature)
        if sight is None or sight.is_neutral or sight.sure is not None:
            return None
        named = set(sight.named())
        if named & set(names) and not named <= set(names):
            return None
        matches.append(named <= set(names))
        if not matches[-1] and feature == VARIANTS and variant is not None:
            return None
    return all(matches)


def _observations(built: Built, weighing: Weighing) -> Iterator[Witness]:
    """Name the observations that by themselves speak for or against the claimed stretch."""
    output, inside = weighing.tables.output, weighing.tables.period.inside(built.within)
    ratios = []
    for piece in weighing.pieces:
        joint = weighing.likelihood_alone(piece) * output
        parts = [(joint[side].sum(), output[side].sum()) for side in (inside, ~inside)]
        if all(mass > 0 for _, mass in parts):
            here, there = (total / mass for total, mass in parts)
            ratio = np.log2(max(here, 1e-300) / max(there, 1e-300))
            ratios.append((float(ratio), piece))
    for ratio, piece in sorted(ratios, key=lambda pair: -abs(pair[0])):
        if abs(ratio) >= 1:
            side: Side = "for" if ratio > 0 else "against"
            words = f"{plain_name(piece.name)}: {piece.observation}"
            yield Witness(side, piece.name, words, None, abs(ratio))


def dated_with(use: Use, corpus: Corpus, has: bool) -> list[tuple[int, int]]:
    """List the stated dates of the instruments that show a state, or that show another."""
    states = {use.feature: (use.state,)}
    shown = (r for r in corpus.references if _has(r.examination, states, use.variant) is has)
    spans = (_span(reference, corpus) for reference in shown if reference.dated)
    return [(first, last) for first, last in spans if last - first < 12]
