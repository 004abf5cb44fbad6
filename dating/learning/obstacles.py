"""What keeps chains from becoming sound: the number that is stuck, and what makes it so."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dating.arrays import Floats
from dating.learning.contradictions import contradictions_of
from dating.learning.corpus import Reference
from dating.learning.health import LEAST_ESS, MOST_RHAT
from dating.learning.layout import Track
from dating.learning.learned import learned_from
from dating.learning.quantities import arrays_of, names_of
from dating.learning.sampling import Plan
from dating.learning.thresholds import observed_of, side_of

if TYPE_CHECKING:
    import xarray as xr


MOST = 3
"""Numbers that are named at most."""
_SILENT = 0.05
_SHORTEST_GAP = 3
_PART = 0.02
_SURE = 0.01
_BIMODAL, _APART = 4.5, 3.0
_SMALLER = 0.05


@dataclass(frozen=True)
class TwoPlaces:
    """The draws of a first use lie around two months.

    Parameters
    ----------
    first, second : float
        Months from the start of the period.
    """

    first: float
    second: float


@dataclass(frozen=True)
class Gap:
    """No dated instrument of some months shows one form or the other.

    Parameters
    ----------
    first, last : int
        Months counted from 0 at the start of the period, both included.
    """

    first: int
    last: int


@dataclass(frozen=True)
class Wall:
    """One instrument that is trusted wholly, and that a linear ramp reaches in some draws only.

    Parameters
    ----------
    instrument : str
        Its name.
    line : int
        Line of the corpus, counted from 1.
    built : str
        Its stated date.
    end : str
        ``start`` or ``end``: which end of the ramp would have to reach it.
    """

    instrument: str
    line: int
    built: str
    end: str


@dataclass(frozen=True)
class Against:
    """One instrument contradicts a changeover, and the slip of its feature is stated as zero.

    Parameters
    ----------
    feature : str
        The feature.
    instrument : str
        Name of the instrument.
    line : int
        Line of the corpus, counted from 1.
    built : str
        Its stated date.
    observation : str
        What was seen.
    """

    feature: str
    instrument: str
    line: int
    built: str
    observation: str


@dataclass(frozen=True)
class Silence:
    """No dated instrument shows one form or the other at all."""


type Reason = TwoPlaces | Gap | Wall | Against | Silence


@dataclass(frozen=True)
class Obstacle:
    """One number that is stuck.

    Parameters
    ----------
    name : str
        In the words of the maker file.
    rhat, ess : float
        Its diagnostics.
    changeover : str
        The changeover that it belongs to; empty for shares, chances and means.
    reasons : tuple of Reason
        What in the files makes it so; empty where nothing stands out.
    """

    name: str
    rhat: float
    ess: float
    changeover: str
    reasons: tuple[Reason, ...]


def obstacles_of(plan: Plan, tree: xr.DataTree) -> tuple[Obstacle, ...]:
    """Find what is stuck, and why."""
    import arviz as az  # noqa: PLC0415

    if "unknowns" not in tree:
        return ()
    draws = tree["unknowns"].to_dataset()
    rhat = az.rhat(draws)["z"].values
    ess = np.minimum(az.ess(draws)["z"].values, az.ess(draws, method="tail")["z"].values)
    names = names_of(draws, "unknown")
    order = np.lexsort([ess, -rhat]) if rhat.max() > MOST_RHAT else np.argsort(ess)
    stuck = [p for p in order.tolist() if rhat[p] > MOST_RHAT or ess[p] < LEAST_ESS][:MOST]
    causes = _Causes(plan, tree)
    return tuple(
        Obstacle(names[p], float(rhat[p]), float(ess[p]), *causes.of(names[p])) for p in stuck
    )


class _Causes:
    """Looks for reasons in the draws, the layout and the corpus."""

    def __init__(self, plan: Plan, tree: xr.DataTree) -> None:
        self.plan, self.tree, self.layout = plan, tree, plan.layout
        self.value = arrays_of(tree)["value"]
        flat = self.value.reshape(-1, self.value.shape[-1])
        self.starts, self.overlaps = self.layout.starts(flat), self.layout.overlaps(flat)
        self.observed = observed_of(plan.corpus, self.layout, plan.tables.output)
        self.against = contradictions_of(
            plan.maker, plan.corpus, self.layout, learned_from(tree), most=_SMALLER
        )

    def of(self, name: str) -> tuple[str, tuple[Reason, ...]]:
        """Give the changeover of a number with the most reasons, and these."""
        numbers = list(self.layout.numbers)
        if name not in numbers:
            return "", ()
        place = numbers.index(name)
        reasons = [
            (self.layout.ramp_names[ramp], tuple(self._reasons(ramp)))
            for ramp, r in enumerate(self.layout.ramps)
            if place in {r.start, r.lag, r.overlap}
        ]
        return max(reasons, key=lambda pair: len(pair[1]), default=("", ()))

    def _reasons(self, ramp: int) -> Iterator[Reason]:
        chains = self.value.shape[:2]
        if places := two_places(self.starts[:, ramp].reshape(chains)):
            yield TwoPlaces(*places)
        yield from self._gap(ramp)
        yield from self._walls(ramp)
        yield from self._contradictions(ramp)

    def _gap(self, ramp: int) -> Iterator[Gap | Silence]:
        """Find the longest silence in the months in which the changeover may lie."""
        seen = self.observed[ramp]
        if seen is None:
            yield Silence()
            return
        start, end = self.starts[:, ramp], self.starts[:, ramp] + self.overlaps[:, ramp]
        low, high = (int(np.floor(q)) for q in (np.quantile(start, 0.05), np.quantile(end, 0.95)))
        low, high = max(low, 0), min(high, self.layout.months - 1)
        silent = (seen.old + seen.new)[low : high + 1] < _SILENT
        edges = np.flatnonzero(np.diff(np.concatenate([[False], silent, [False]])))
        runs = edges.reshape(-1, 2)
        if len(runs):
            first, stop = runs[np.argmax(runs[:, 1] - runs[:, 0])]
            if stop - first >= _SHORTEST_GAP:
                yield Gap(low + int(first), low + int(stop) - 1)

    def _walls(self, ramp: int) -> Iterator[Wall]:
        """Find instruments that a linear ramp reaches in some draws, and in others does not."""
        track, step = self._course(ramp)
        if self.layout.ramps[ramp].logistic or not self._is_hard(track):
            return
        dated = [
            (int(np.flatnonzero(r.window)[0]), side, r)
            for r in self.plan.corpus.references
            if r.trust == 1 and r.window.sum() == 1 and (side := side_of(r, track, step))
        ]
        begun = min((at for at in dated if at[1] == "new"), key=lambda at: at[0], default=None)
        last = max((at for at in dated if at[1] == "old"), key=lambda at: at[0], default=None)
        end = self.starts[:, ramp] + self.overlaps[:, ramp]
        if begun and _PART < np.mean(self.starts[:, ramp] >= begun[0] + 1) < 1 - _PART:
            yield _wall(begun[2], "start")
        if last and _PART < np.mean(end <= last[0]) < 1 - _PART:
            yield _wall(last[2], "end")

    def _contradictions(self, ramp: int) -> Iterator[Against]:
        features = self.plan.maker.features()
        for each in self.against:
            mine = each.changeover == self.layout.ramp_names[ramp] and each.feature in features
            if mine and features[each.feature][1].slip.value == 0:
                yield Against(
                    each.feature, each.instrument, each.line, each.built, each.observation
                )
                return

    def _course(self, ramp: int) -> tuple[Track, int]:
        return next((t, t.ramps.index(ramp)) for t in self.layout.tracks if ramp in t.ramps)

    def _is_hard(self, track: Track) -> bool:
        """Whether hardly anything but the ramp explains what is seen."""
        features = self.plan.maker.features()
        if track.name not in features:
            return True
        part, feature = features[track.name]
        swapped = self.plan.maker.components[part].swapped.value
        return max(feature.slip.value, feature.replaced.value, swapped) <= _SURE


def _wall(reference: Reference, end: str) -> Wall:
    return Wall(reference.examination.instrument, reference.line, reference.stated, end)


def two_places(draws: Floats) -> tuple[float, float] | None:
    """Say around which two places draws lie, if they do.

    The draws are parted where the parts differ most from each other, relative to what is left
    within them. Chains that stay apart have middles farther from each other than three times the
    spread within a chain.

    Parameters
    ----------
    draws : ndarray of float64, shape (chain, draw)
        Draws of one number.

    Returns
    -------
    tuple of two floats, or None
        Medians of the two parts, the lower first; None where there is one place.

    References
    ----------
    Otsu, N. (1979). A threshold selection method from gray-level histograms. *IEEE Transactions on
    Systems, Man, and Cybernetics* 9(1), 62-66, for the parting. doi:10.1109/TSMC.1979.4310076

    Ashman, K. M., Bird, C. M. and Zepf, S. E. (1994). Detecting bimodality in astronomical
    datasets. *Astronomical Journal* 108, 2348-2361, for the distance between parts.
    doi:10.1086/117248

    Examples
    --------
    >>> noise = np.random.default_rng(1).normal(size=(4, 500))
    >>> two_places(noise) is None
    True
    >>> low, high = two_places(noise + [[0], [0], [20], [20]])
    >>> round(low), round(high)
    (0, 20)
    """
    ordered = np.sort(draws.ravel())
    count = np.arange(1, len(ordered))
    below = np.cumsum(ordered)[:-1] / count
    above = (ordered.sum() - np.cumsum(ordered)[:-1]) / (len(ordered) - count)
    cut = int(np.argmax(count * (len(ordered) - count) * (above - below) ** 2)) + 1
    low, high = ordered[:cut], ordered[cut:]
    few = min(len(low), len(high)) < _SMALLER * len(ordered)
    within = np.sqrt((low.var() + high.var()) / 2)
    bimodal = not few and high.mean() - low.mean() > _BIMODAL * within
    middles = np.sort(np.median(draws, axis=1))
    apart = np.ptp(middles) > _APART * np.median(draws.std(axis=1))
    if apart:
        step = int(np.argmax(np.diff(middles))) + 1
        return float(np.median(middles[:step])), float(np.median(middles[step:]))
    return (float(np.median(low)), float(np.median(high))) if bimodal else None
