"""Every judgement of a maker file that a page can open: where it stands, and what it is about."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal

from dating.bench.forms import place_text
from dating.maker import Course, Maker, Regime
from dating.reading import KeyPath
from dating.statements import DateOpinion, DelayOpinion, Judged, Opinion, SpanOpinion

type JudgementKind = Literal["date", "delay", "span"]

OPINIONS: dict[JudgementKind, type[Opinion]] = {
    "date": DateOpinion,
    "delay": DelayOpinion,
    "span": SpanOpinion,
}


@dataclass(frozen=True)
class JudgementPlace:
    """One judgement of a maker file.

    Parameters
    ----------
    path : tuple of str or int
        Keys down to it.
    kind : {"date", "delay", "span"}
        A point in time, months after an event (negative before it), or a length in months.
    judged : Judged
        What is judged now, by one assessor or several.
    what : str
        What it is, such as ``first use of dowelled``.
    about : str
        What it belongs to: a feature, with its variant where there is one, a mark or an event.
    ask : str
        The question of that feature or mark, or what the event is.
    regime : Regime or None
        The regime that it leads to; None for an event and for a mark.
    """

    path: KeyPath
    kind: JudgementKind
    judged: Judged[Any]
    what: str
    about: str
    ask: str
    regime: Regime | None = None

    @property
    def place(self) -> str:
        """The keys joined with dots, as the address has them."""
        return place_text(self.path)


def spots_of(maker: Maker) -> dict[str, JudgementPlace]:
    """List every judgement of a maker file: events, first uses, lags, overlaps, lags of marks.

    Examples
    --------
    >>> from dating.files import read_maker
    >>> spots = spots_of(read_maker("priors/marrowby.yaml"))
    >>> spots["components.neck.features.heel-joint.history.1.first_use"].what
    'first use of dowelled'
    """
    return {spot.place: spot for spot in _spots(maker)}


def _spots(maker: Maker) -> Iterator[JudgementPlace]:
    for name, event in maker.events.items():
        yield JudgementPlace(
            ("events", name, "when"), "date", event.when, f"date of {name}", name, event.what
        )
    if maker.variants is not None:
        yield from _of_course(maker.variants, ("variants",), "variants", maker.variants.ask)
    for part, component in maker.components.items():
        here: KeyPath = ("components", part)
        for name, feature in component.features.items():
            path: KeyPath = (*here, "features", name)
            yield from _of_course(feature, path, name, feature.ask)
            for variant, course in feature.by_variant.items():
                about = f"{name} of {variant}"
                yield from _of_course(course, (*path, "by_variant", variant), about, feature.ask)
        for variant, courses in component.by_variant.items():
            for name, course in courses.items():
                about, path = f"{name} of {variant}", (*here, "by_variant", variant, name)
                ask = component.features[name].ask if name in component.features else ""
                yield from _of_course(course, path, about, ask)
        for name, mark in component.marks.items():
            path = (*here, "marks", name, "lag")
            what = "time from the mark to completion"
            yield JudgementPlace(path, "span", mark.lag, what, name, mark.ask)


def _of_course(course: Course, path: KeyPath, about: str, ask: str) -> Iterator[JudgementPlace]:
    for position, regime in enumerate(course.history or ()):
        here, new = (*path, "history", position), forms_of(regime)
        if regime.first_use is not None:
            what = f"first use of {new}"
            yield JudgementPlace(
                (*here, "first_use"), "date", regime.first_use, what, about, ask, regime
            )
        if regime.lag is not None:
            what = f"time from {regime.event} to the first use of {new}"
            yield JudgementPlace((*here, "lag"), "delay", regime.lag, what, about, ask, regime)
        if regime.overlap is not None:
            what = f"time until all are {new}"
            yield JudgementPlace(
                (*here, "overlap"), "span", regime.overlap, what, about, ask, regime
            )


def forms_of(regime: Regime) -> str:
    """Name the states of a regime, the most frequent first."""
    shares = [regime.shares_of(None)] if regime.by_variant is None else regime.by_variant.values()
    named: dict[str, None] = {}
    for each in shares:
        named |= dict.fromkeys(sorted(each, key=lambda name: -each[name]))
    return "/".join(named)
