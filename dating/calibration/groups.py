"""How well instruments were dated, all of them and by group, beside what chance alone would leave.

Groups are of what a posterior says and of what was seen, never of the true date: among calibrated
posteriors those of any such group are calibrated too, while the instruments built earliest are
dated too late on the whole, and the latest too early.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dating.arrays import Floats
from dating.calibration.cross_validation import DatedReferences
from dating.calibration.scores import Scores, medians_of
from dating.learning.corpus import Reference
from dating.maker import Maker
from dating.months import month_label

LEVELS = (0.5, 0.8, 0.9)
BAND = 0.95
_DRAWS = 999
_UNTOLD = "not certain"
_THIRDS = (1 / 3, 2 / 3)


@dataclass(frozen=True)
class Coverage:
    """How often the sets of one level held the date.

    Parameters
    ----------
    level : float
        What was stated.
    share : float
        The share of instruments whose date lay in their set.
    low, high : float
        Between which that share lies with probability 95 % if the statement is right.
    """

    level: float
    share: float
    low: float
    high: float

    @property
    def right(self) -> bool:
        """Whether the share is within what chance allows."""
        return self.low <= self.share <= self.high


@dataclass(frozen=True)
class MedianError:
    """How far off the posteriors' medians were.

    Parameters
    ----------
    months : float
        Median over the instruments of the months between a posterior's median and the date.
    low, high : float
        Between which that lies with probability 95 % if each date is drawn from its posterior.
    """

    months: float
    low: float
    high: float

    @property
    def right(self) -> bool:
        """Whether the error is within what chance allows."""
        return self.low <= self.months <= self.high


@dataclass(frozen=True)
class ReferenceGroup:
    """Some of the instruments, and how they came out.

    Parameters
    ----------
    name : str
        Which they are.
    instruments : int
        How many.
    coverage : tuple of Coverage
        By level.
    error : MedianError
        How far off the medians were.
    crps, log_score, width : float
        Mean score in months, mean log score, and mean months in the 90 % set.
    """

    name: str
    instruments: int
    coverage: tuple[Coverage, ...]
    error: MedianError
    crps: float
    log_score: float
    width: float


@dataclass(frozen=True)
class ReferenceGroups:
    """Everything together, and divided in four ways.

    Parameters
    ----------
    overall : ReferenceGroup
        All instruments.
    by_date : tuple of ReferenceGroup
        By the third of the maker's period in which the posterior's median lies.
    by_width : tuple of ReferenceGroup
        By the width of the 90 % set, about a third of the instruments in each.
    by_variant : tuple of ReferenceGroup
        By the variant that was recorded; empty where the maker has none.
    by_seen : tuple of ReferenceGroup
        By how much was examined.
    """

    overall: ReferenceGroup
    by_date: tuple[ReferenceGroup, ...]
    by_width: tuple[ReferenceGroup, ...]
    by_variant: tuple[ReferenceGroup, ...]
    by_seen: tuple[ReferenceGroup, ...]

    def divided(self) -> dict[str, tuple[ReferenceGroup, ...]]:
        """Give the groups of each way of dividing that has any."""
        ways = {
            "posterior date": self.by_date,
            "width": self.by_width,
            "variant": self.by_variant,
            "amount seen": self.by_seen,
        }
        return {name: groups for name, groups in ways.items() if groups}


def groups_of(maker: Maker, dated: DatedReferences, scores: Scores) -> ReferenceGroups:
    """Say how well instruments were dated, together and by group."""
    chance = _chance_errors(dated.posterior)
    period, medians = maker.period, medians_of(dated.posterior)
    starts = np.linspace(0, len(period), 4).round().astype(int)
    seen = np.array([_seen(reference) for reference in dated.references])

    def chosen(keys: NDArray[np.int64], names: Sequence[str]) -> tuple[ReferenceGroup, ...]:
        places = (keys == key for key in range(len(names)))
        return tuple(
            _group(name, scores.chosen(place), chance[place])
            for name, place in zip(names, places, strict=True)
            if place.any()
        )

    dates = [
        f"{month_label(period.first + first)} to {month_label(period.first + after - 1)}"
        for first, after in zip(starts[:-1].tolist(), starts[1:].tolist(), strict=True)
    ]
    named = [*maker.variant_names(), _UNTOLD] if maker.variant_names() else []
    variants = [named.index(_variant(r)) for r in dated.references] if named else []
    return ReferenceGroups(
        overall=_group("all", scores, chance),
        by_date=chosen(np.digitize(medians, starts[1:-1]), dates),
        by_width=chosen(*_thirds(scores.width, "months")),
        by_variant=chosen(np.array(variants), named) if named else (),
        by_seen=chosen(*_thirds(seen, "seen")),
    )


def _group(name: str, scores: Scores, chance: Floats) -> ReferenceGroup:
    """Sum up instruments; ``chance`` has errors that chance would leave, (instrument, draw)."""
    count = len(scores.level)
    low, high = np.quantile(np.median(chance, axis=0), [(1 - BAND) / 2, (1 + BAND) / 2])
    return ReferenceGroup(
        name,
        count,
        tuple(Coverage(level, scores.covered(level), *_band(level, count)) for level in LEVELS),
        MedianError(float(np.median(scores.error)), float(low), float(high)),
        float(scores.crps.mean()),
        float(scores.log_score.mean()),
        float(scores.width.mean()),
    )


def _band(level: float, count: int) -> tuple[float, float]:
    from scipy.stats import binom  # noqa: PLC0415

    low, high = binom.interval(BAND, count, level)
    return float(low) / count, float(high) / count


def _chance_errors(posterior: Floats) -> Floats:
    """Give months between medians and dates drawn from the posteriors, (instrument, draw)."""
    generator = np.random.default_rng(2)
    reached, last = np.cumsum(posterior, axis=1), posterior.shape[1] - 1
    errors = np.empty((len(posterior), _DRAWS))
    for place, (row, median) in enumerate(zip(reached, medians_of(posterior), strict=True)):
        months = np.searchsorted(row, generator.random(_DRAWS), side="right")
        errors[place] = np.abs(np.minimum(months, last) - median)
    return errors


def _thirds(values: Floats, what: str) -> tuple[NDArray[np.int64], list[str]]:
    """Divide instruments by thirds of a number, and name each third by its ends."""
    third = np.searchsorted(np.quantile(values, _THIRDS), values, side="left")
    groups = (values[third == place] for place in range(3))
    ends = ((each.min(), each.max()) if len(each) else (0, 0) for each in groups)
    names = (f"{low:g} to {high:g}" if low < high else f"{low:g}" for low, high in ends)
    return third, [f"{name} {what}" for name in names]


def _seen(reference: Reference) -> int:
    examination = reference.examination
    return (
        len(examination.seen)
        + len(examination.marks)
        + len(examination.measured)
        + (examination.variant is not None)
    )


def _variant(reference: Reference) -> str:
    """Name the variant that was recorded without doubt."""
    sight = reference.examination.variant
    certain = sight is not None and sight.state is not None and sight.sure in {None, 1}
    return str(sight.state) if sight is not None and certain else _UNTOLD
