"""What each changeover is, in the words of the maker file: forms, assessors, sources, lines."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from dating.learning.layout import VARIANTS, Layout, Track
from dating.learning.thresholds import Observed
from dating.maker import Course, Maker, Regime
from dating.reading import KeyPath
from dating.statements import Judged, Opinion
from dating.words.phrases import percent


@dataclass(frozen=True)
class StatedChangeover:
    """One changeover as the maker file states it.

    Parameters
    ----------
    name : str
        As in the layout, such as ``heel-joint, regime 2``.
    before, after : str
        The forms of the two regimes, with shares where there are several.
    event : str
        The event that it comes with; empty for a first use of its own.
    judged_by : tuple of str
        The assessors, each once.
    sources : tuple of str
        Names of the sources, each once: those of its judgements, or else of the feature.
    line : int or None
        Line of the maker file on which the new regime starts.
    """

    name: str
    before: str
    after: str
    event: str
    judged_by: tuple[str, ...]
    sources: tuple[str, ...]
    line: int | None


@dataclass(frozen=True)
class Place:
    """Where the course of a track stands in the maker file.

    Parameters
    ----------
    course : Course
        Its history or its table of shares.
    path : tuple of str
        Keys down to it.
    sources : tuple of str
        Sources of the feature, or else of the component.
    """

    course: Course
    path: KeyPath
    sources: tuple[str, ...]


def changeovers_of(maker: Maker, layout: Layout) -> tuple[StatedChangeover, ...]:
    """Describe every changeover.

    Examples
    --------
    >>> from dating.files import read_maker
    >>> from dating.learning.layout import layout_of
    >>> maker = read_maker("priors/marrowby.yaml")
    >>> heel = changeovers_of(maker, layout_of(maker))[2]
    >>> heel.name, heel.before, heel.after, heel.judged_by
    ('heel-joint, regime 2', 'dovetail', 'dowelled', ('assessor A',))
    """
    return tuple(_described(maker, layout))


def place_of(maker: Maker, track: Track) -> Place:
    """Find where the course of a track stands."""
    if track.name == VARIANTS and maker.variants is not None:
        return Place(maker.variants, ("variants",), maker.variants.source)
    name, variant = track.name, track.variant or ""
    course = maker.course_of(name, track.variant)
    part, feature = maker.features()[name]
    component = maker.components[part]
    path: KeyPath = ("components", part, "features", name)
    if course is component.by_variant.get(variant, {}).get(name):
        path = ("components", part, "by_variant", variant, name)
    elif course is not feature:
        path = (*path, "by_variant", variant)
    return Place(course, path, feature.source or component.source)


def counted(seen: Observed | None) -> str:
    """Say how many dated instruments tell the two sides of a changeover apart."""
    if seen is None:
        return "No dated instrument tells the two sides apart."
    old, new = seen.old.sum(), seen.new.sum()
    return f"Dated instruments with a form of one side alone: {old:.0f} old, {new:.0f} new."


def _described(maker: Maker, layout: Layout) -> Iterator[StatedChangeover]:
    for track in layout.tracks:
        place = place_of(maker, track)
        history = place.course.history or ()
        for position, ramp in enumerate(track.ramps, start=1):
            old, new = history[position - 1], history[position]
            opinions = _opinions(maker, new)
            named = [name for opinion in opinions for name in opinion.source]
            stated = (*new.source, *(maker.events[new.event].source if new.event else ()))
            yield StatedChangeover(
                name=layout.ramp_names[ramp],
                before=_forms(old, track.variant),
                after=_forms(new, track.variant),
                event=new.event or "",
                judged_by=_once(opinion.by for opinion in opinions),
                sources=_once([*named, *stated]) or place.sources,
                line=_line(maker, (*place.path, "history", position)),
            )


def _opinions(maker: Maker, regime: Regime) -> list[Opinion]:
    """Collect what every assessor says of the event, the first use, the lag and the overlap."""
    event = maker.events[regime.event].when if regime.event else None
    judged: list[Judged[Any] | None] = [event, regime.first_use, regime.lag, regime.overlap]
    return [opinion for each in judged if each is not None for opinion in each.opinions]


def _forms(regime: Regime, variant: str | None) -> str:
    shares = regime.shares_of(variant)
    if len(shares) == 1:
        return next(iter(shares))
    return ", ".join(f"{name} {percent(share)}" for name, share in shares.items())


def _line(maker: Maker, path: KeyPath) -> int | None:
    place = maker.origin.places.get(path)
    return place[0] if place else None


def _once(names: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(name for name in names if name))
