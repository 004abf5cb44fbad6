"""Whether the parts belong together, in words: what is known before, and what was seen."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from dating.disagreement import gain, ratio_bits
from dating.estimates import Estimate
from dating.statements import plain_name
from dating.stories import has_swap
from dating.summaries import highest_density
from dating.words.later_parts import later_words
from dating.words.phrases import DOUBTFUL, held_set, percent, together
from dating.words.set_forms import FEW

_SPEAKS = 1.0
"""Bits from which what was seen is said to speak for or against a component."""
_TELLING = 0.25


@dataclass(frozen=True)
class PartRow:
    """What is said of one component.

    Parameters
    ----------
    name : str
        The component.
    chance : float
        P(it is original | everything seen).
    before : float
        The same before anything was seen.
    seen : int
        How many things on it were seen and weighed.
    verdict : str
        What they say of it, in words.
    own : str
        Its own date (90 %), in words.
    """

    name: str
    chance: float
    before: float
    seen: int
    verdict: str
    own: str


DEPENDS = "Whether the parts belong together depends on which of the ways above it was."


def together_words(estimate: Estimate) -> str:
    """Say in a sentence whether the components belong together."""
    if has_swap(estimate.stories) and min(estimate.originality.values()) >= DOUBTFUL:
        return DEPENDS
    return together(estimate.originality)


def part_rows(estimate: Estimate) -> list[PartRow]:
    """Say of each component what was seen on it, and whether that speaks for or against it.

    Examples
    --------
    >>> from dating import estimate, read_examination, read_maker
    >>> maker = read_maker("priors/marrowby.yaml")
    >>> result = estimate(maker, read_examination("demo_data/examinations/M-003.yaml"))
    >>> [row.verdict for row in part_rows(result)][:2]
    ['4 seen, against it', '4 seen, for it']
    """
    seen = Counter(piece.component for piece in estimate.pieces)
    rows = []
    for name, chance in estimate.originality.items():
        before = 1 - estimate.weighing.parts[name].swapped
        own = highest_density(estimate.own_month(name), estimate.period, 0.9)
        rows.append(
            PartRow(
                name=name,
                chance=chance,
                before=before,
                seen=seen[name],
                verdict=_verdict(seen[name], originality_bits(chance, before)),
                own=held_set(own, estimate.period, FEW),
            )
        )
    return rows


def originality_bits(chance: float, before: float) -> float:
    """Give the bits by which what was seen changes the odds of a component being original.

    Examples
    --------
    >>> round(originality_bits(0.5, 0.8), 6), originality_bits(1.0, 1.0)
    (-2.0, 0.0)
    """
    return gain(ratio_bits(chance, 1 - chance), ratio_bits(before, 1 - before))


def _verdict(seen: int, bits: float) -> str:
    if not seen:
        return "not looked at"
    little = "says little" if seen == 1 else "say little"
    way = "for it" if bits >= _SPEAKS else "against it" if bits <= -_SPEAKS else little
    return f"{seen} seen, {way}"


def whole_rows(estimate: Estimate) -> list[tuple[str, str]]:
    """Give the probability that no component was swapped, and that no part was replaced either."""
    rows = [("no component swapped", percent(estimate.all_original))]
    if any(piece.later.max() > 0 for piece in estimate.pieces):
        rows.append(("and no part replaced", percent(estimate.nothing_replaced)))
    return rows


def replacements(estimate: Estimate) -> list[str]:
    """Say which parts were probably replaced, and when those with a date were made."""
    return [
        later_words(finding.piece.name, percent(finding.replaced), finding.piece.kind, estimate)
        for finding in estimate.findings
        if finding.replaced is not None and finding.replaced >= _TELLING
    ]


def unseen_parts(rows: Sequence[PartRow]) -> str:
    """Name the components on which nothing was seen; empty where there are none."""
    names = [plain_name(row.name) for row in rows if not row.seen]
    if not names:
        return ""
    return (
        f"Nothing was seen on: {', '.join(names)}. What is said of it is the maker file's chance "
        "of a swap alone."
    )
