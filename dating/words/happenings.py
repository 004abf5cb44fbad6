"""Dated happenings and what was seen on either side of them, in words."""

from __future__ import annotations

from collections.abc import Iterator

from dating.estimates import Estimate
from dating.months import month_words
from dating.statements import plain_name

_LEAST = 2
"""Things seen that must move with a happening for it to be told."""


def happening_words(estimate: Estimate) -> list[str]:
    """Say which observations stand before and which after an event that moves several of them.

    Examples
    --------
    >>> from dating import estimate, read_examination, read_maker
    >>> maker = read_maker("priors/marrowby.yaml")
    >>> result = estimate(maker, read_examination("demo_data/examinations/M-002.yaml"))
    >>> happening_words(result)[0][:66]
    'Move to the second works, about June 1931: before the move stand h'
    """
    return list(_sentences(estimate))


def _sentences(estimate: Estimate) -> Iterator[str]:
    for name, event in estimate.maker.events.items():
        middle = float(event.when.distribution().quantile(0.5))
        sides: dict[str, list[str]] = {"before": [], "after": []}
        for finding in estimate.findings:
            if name in finding.piece.events:
                side = "before" if finding.alone_median < middle else "after"
                sides[side].append(plain_name(finding.piece.name))
        if sum(map(len, sides.values())) < _LEAST or not all(sides.values()):
            continue
        what = event.what[:1].upper() + event.what[1:]
        short = event.what.split()[0]
        yield (
            f"{what}, about {month_words(int(middle))}: before the {short} stand "
            f"{', '.join(sides['before'])}; after the {short} stand {', '.join(sides['after'])}."
        )
