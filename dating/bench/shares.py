"""The numbers behind the wall chart: shares of the states, and when each changeover came."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dating.arrays import Floats
from dating.bench.forms import place_text
from dating.bench.judgement_places import forms_of
from dating.distributions import Judgement, Pool
from dating.draws import scrambled_sobol
from dating.learning.comparison import points_of
from dating.learning.layout import VARIANTS, Layout, layout_of
from dating.learning.learned import Learned
from dating.maker import Maker, Regime
from dating.reading import KeyPath
from dating.tables import MonthTables
from dating.words.changeovers import place_of

type Points = tuple[float, float, float]

_POINTS = 512


@dataclass(frozen=True, eq=False)
class Shares:
    """The states of one feature over time, for one variant or all.

    Parameters
    ----------
    name : str
        The feature, or "variants".
    variant : str or None
        The variant it holds for; None for all.
    states : tuple of str
        Names of the states.
    by_month : ndarray of float64, shape (state, month)
        P(state | month), averaged over the draws.
    """

    name: str
    variant: str | None
    states: tuple[str, ...]
    by_month: Floats


@dataclass(frozen=True)
class ChangeoverDate:
    """When one changeover came.

    Parameters
    ----------
    name : str
        The feature, or "variants".
    variant : str or None
        The variant it holds for; None for all.
    to : str
        The states that it led to.
    start, end : tuple of three floats
        5, 50 and 95 % points of the first use and of the end, as month numbers.
    path : tuple of str or int
        Keys down to its regime.
    regime : Regime
        What the maker file says of it.
    """

    name: str
    variant: str | None
    to: str
    start: Points
    end: Points
    path: KeyPath
    regime: Regime

    @property
    def judgements(self) -> list[tuple[str, str]]:
        """Its own judgements that can be opened, as words and place."""
        keys = {"first_use": "first use", "lag": "lag", "overlap": "overlap"}
        places = [(w, place_text((*self.path, k))) for k, w in keys.items() if self._has(k)]
        if self.regime.event is not None:
            places.append((self.regime.event, place_text(("events", self.regime.event, "when"))))
        return places

    def _has(self, key: str) -> bool:
        return getattr(self.regime, key) is not None


def shares_of(tables: MonthTables, name: str) -> list[Shares]:
    """Average the month table of a feature over its draws."""
    table = tables.features[name]
    values = table.by_state()
    named: tuple[str | None, ...] = tables.variants or (None,)
    if values.shape[2] == 1:
        mean = np.einsum("d,sdm->sm", _weights(tables, values.shape[1]), values[:, :, 0])
        return [Shares(name, None, table.states, mean)]
    prior = tables.prior.sum(axis=0).reshape(len(named), tables.latent, -1)
    whole = prior.sum(axis=1, keepdims=True)
    among = np.where(whole > 0, prior / np.where(whole > 0, whole, 1.0), 1 / tables.latent)
    mean = np.einsum("d,sdvm->svm", _weights(tables, values.shape[1]), values)
    mean = mean.reshape(len(mean), len(named), tables.latent, -1)
    by_variant = np.einsum("svkm,vkm->vsm", mean, np.broadcast_to(among, mean.shape[1:]))
    same = all(np.array_equal(by_variant[0], each) for each in by_variant)
    pairs = [(None, by_variant[0])] if same else list(zip(named, by_variant, strict=True))
    return [Shares(name, variant, table.states, each) for variant, each in pairs]


def variant_shares(tables: MonthTables) -> Shares | None:
    """Give the share of each variant in each month."""
    if not tables.variants:
        return None
    joint = tables.prior.sum(axis=0).reshape(len(tables.variants), tables.latent, -1).sum(axis=1)
    whole = joint.sum(axis=0)
    by_month = np.divide(joint, whole, out=np.zeros_like(joint), where=whole > 0)
    return Shares(VARIANTS, None, tables.variants, by_month)


def mean_of(tables: MonthTables, name: str) -> Floats:
    """Average the mean of a measurement over the draws.

    Shape: (month,).
    """
    means = tables.means[name]
    return _weights(tables, len(means)) @ means


def changeovers(maker: Maker, learned: Learned | None) -> list[ChangeoverDate]:
    """Say when each changeover came, as judged or as learned."""
    layout = layout_of(maker)
    cube = scrambled_sobol(3, _POINTS, 1, seed=1)
    dates = []
    for track in layout.tracks:
        place = place_of(maker, track)
        for position, ramp in enumerate(track.ramps, start=1):
            regime = (place.course.history or ())[position]
            if learned is None:
                start, end = _judged(maker, regime, cube)
            else:
                start, end = _learned(maker, layout, learned, ramp)
            path = (*place.path, "history", position)
            to = forms_of(regime)
            dates.append(ChangeoverDate(track.name, track.variant, to, start, end, path, regime))
    return dates


def _weights(tables: MonthTables, draws: int) -> Floats:
    return tables.weights if draws > 1 else np.ones(1)


def _judged(maker: Maker, regime: Regime, cube: Floats) -> tuple[Points, Points]:
    overlap = _quantiles(regime.judged_overlap(), cube[:, 2])
    if regime.first_use is not None:
        judged = regime.first_use.distribution()
        first = _quantiles(judged, cube[:, 0])
        low, middle, high = judged.quantile([0.05, 0.5, 0.95]).tolist()
        return (low, middle, high), points_of(first + overlap)
    event = maker.events[regime.event or ""].when.distribution()
    first = _quantiles(event, cube[:, 0]) + _quantiles(regime.judged_lag(), cube[:, 1])
    return points_of(first), points_of(first + overlap)


def _quantiles(judged: Judgement, p: Floats) -> Floats:
    """Draw a number; of a pool, a member by its weight, and its quantile by what is left of p."""
    if not isinstance(judged, Pool):
        return judged.quantile(p)
    values, start = np.empty(len(p)), 0.0
    for member, weight in zip(judged.members, judged.weights, strict=True):
        mine = (p >= start) & (p < start + weight)
        values[mine] = member.quantile(np.clip((p[mine] - start) / weight, 1e-6, 1 - 1e-6))
        start += weight
    return np.where(p >= start, judged.members[-1].quantile(0.5), values)


def _learned(maker: Maker, layout: Layout, learned: Learned, ramp: int) -> tuple[Points, Points]:
    start = maker.period.first + layout.starts(learned.values)[:, ramp]
    return points_of(start), points_of(start + layout.overlaps(learned.values)[:, ramp])
