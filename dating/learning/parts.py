"""What a maker file says, part by part, so that an edit of one leaves the others what they were.

Each part has a fingerprint of the numbers and names that learning and dating take from it. Texts
(questions, looks, hazards, notes, sources, comments) belong to no part.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from hashlib import sha256
from typing import TYPE_CHECKING, Any

from dating.learning.layout import VARIANTS, Layout, Track, layout_of
from dating.maker import LEARN, Feature, Maker, Regime
from dating.statements import Judged

if TYPE_CHECKING:
    import xarray as xr

PERIOD, OUTPUT, LISTED_VARIANTS = "period", "output", "variants"


def parts_of(maker: Maker) -> dict[str, str]:
    """Give what each part of a maker file says, or its fingerprint.

    Examples
    --------
    >>> from dating.files import read_maker
    >>> parts = parts_of(read_maker("priors/marrowby.yaml"))
    >>> parts["period"], parts["regimes of heel-joint"]
    ('1923-03/1941-11', '3')
    """
    layout = layout_of(maker)
    parts = {
        PERIOD: str(maker.period),
        LISTED_VARIANTS: ", ".join(maker.variant_names()),
        OUTPUT: _print(_output(maker)),
    }
    for name, component in maker.components.items():
        donors = [(str(donor.during), donor.share) for donor in component.donors]
        parts[f"component {name}"] = _print([component.swapped.value, donors])
    for name, event in maker.events.items():
        parts[f"event {name}"] = _print(_judged(event.when))
    for name, (part, feature) in maker.features().items():
        parts |= dict(_of_feature(name, part, feature, layout))
    for gauge in layout.gauges:
        content = [gauge.component, gauge.anchors, gauge.stated.tolist(), gauge.spread, gauge.tails]
        parts[f"measurement {gauge.name}"] = _print(content)
    for name, (part, mark) in maker.marks().items():
        content = [part, _judged(mark.lag), mark.replaced.value, mark.format]
        parts[f"mark {name}"] = _print(content)
    for track in layout.tracks:
        parts |= dict(_of_track(maker, track))
    return parts


def parts_dataset(maker: Maker) -> xr.Dataset:
    """Label what the parts of a maker file say, to be kept with what is learned."""
    import xarray as xr  # noqa: PLC0415

    parts = parts_of(maker)
    return xr.Dataset({"maker_part": ("part", list(parts.values()))}, {"part": list(parts)})


def _output(maker: Maker) -> list[Any]:
    """Give what is stated of the output, or the word that leaves it to be learned."""
    if maker.learns_output:
        return [LEARN]
    return [(str(each.during), _judged(each.made)) for each in maker.output]


def _of_feature(
    name: str, part: str, feature: Feature, layout: Layout
) -> Iterator[tuple[str, str]]:
    courses = [track.label for track in layout.tracks_of(name, None)]
    content = [part, list(feature.states), feature.free_form, feature.replacement, courses]
    yield f"feature {name}", _print(content)
    yield f"slip of {name}", _print(feature.slip.value)
    yield f"replacement of {name}", _print(feature.replaced.value)


def _of_track(maker: Maker, track: Track) -> Iterator[tuple[str, str]]:
    if track.name == VARIANTS and maker.variants is not None:
        history, anchors = maker.variants.history, maker.variants.shares_at
    else:
        course = maker.course_of(track.name, track.variant)
        history, anchors = course.history, course.shares_at
    yield f"regimes of {track.label}", str(len(track.shares))
    for place, shares in enumerate(track.shares.tolist(), start=1):
        at = sorted(anchors)[place - 1] if anchors is not None else None
        yield f"shares of {track.label}, regime {place}", _print([shares, at])
    for place, regime in enumerate((history or ())[1:], start=2):
        yield f"{track.label}, regime {place}", _print(_changeover(regime))


def _changeover(regime: Regime) -> list[Any]:
    numbers = [_judged(each) for each in (regime.first_use, regime.lag, regime.overlap)]
    return [regime.event, regime.shape, *numbers]


def _judged(judged: Judged[Any] | None) -> list[Any]:
    """Give the numbers of every opinion; who holds it, and from where, changes none."""
    return [[o.triple(), o.coverage, o.weight] for o in (judged.opinions if judged else ())]


def _print(content: Any) -> str:
    return sha256(json.dumps(content).encode()).hexdigest()[:16]
