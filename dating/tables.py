"""Month tables: P(state | month) for every feature, as the engine takes them.

Arrays are kept in the order draw, variant, month; an axis has length 1 where it does not
matter.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from dating.arrays import Floats
from dating.months import Period

if TYPE_CHECKING:
    import xarray as xr


@dataclass(frozen=True, eq=False)
class Blend:
    """The states of one feature, for one variant or all, as a blend of regimes.

    Parameters
    ----------
    regimes : ndarray of float64, shape (regime, draw, month)
        Probability of each regime (or weight of each anchor of a table of shares).
    shares : ndarray of float64, shape (regime, draw, state)
        Shares of the states in each regime.
    """

    regimes: Floats
    shares: Floats

    def weighed(self, weights: Floats) -> Floats:
        """Give the weighted sum of the states' probabilities.

        Shapes: weights (state,) or (cell, state); gives (draw, month) or (cell, draw, month).
        """
        # A matrix product would differ in its last bits by how many cells there are.
        chances = np.vecdot(self.shares, weights[..., None, None, :])
        return np.asarray((chances[..., None] * self.regimes).sum(axis=-3))


@dataclass(frozen=True, eq=False)
class FeatureTable:
    """P(state | month) of one feature.

    Parameters
    ----------
    states : tuple of str
        Names of the states.
    blends : tuple of Blend
        One for each variant, or a single one where the variant does not matter.
    slip, replaced : ndarray of float64, shape (draw,)
        Chance of a slip, and of a later replacement.
    replacement : ndarray of float64, shape (state,)
        Shares of later replacements.
    latent : int
        Latent variants within each variant, over which a blend is the same.
    curves : ndarray of float64, shape (state, draw, variant, month), or None
        P(state | month) of a free-form feature, in place of blends.
    """

    states: tuple[str, ...]
    blends: tuple[Blend, ...]
    slip: Floats
    replaced: Floats
    replacement: Floats
    latent: int = 1
    curves: Floats | None = None

    def weighed(self, weights: Floats) -> Floats:
        """Give the weighted sum of the states' probabilities.

        Shapes: weights (state,) or (cell, state); gives (draw, variant, month) or (cell, draw,
        variant, month).
        """
        if self.curves is not None:
            return np.asarray(np.tensordot(weights, self.curves, 1))
        table = _stacked([blend.weighed(weights) for blend in self.blends])
        return table if len(self.blends) == 1 else np.repeat(table, self.latent, axis=-2)

    def by_state(self) -> Floats:
        """Give the probabilities of all states.

        Shape: (state, draw, variant, month).
        """
        return np.array([self.weighed(row) for row in np.eye(len(self.states))])

    def recorded(self, shares: Floats) -> Floats:
        """Give the probability that each state is recorded, slip and replacement included.

        Shapes: shares (draw, ..., state); gives (draw, ..., state).
        """
        by_draw = (-1,) + (1,) * (shares.ndim - 1)
        slip, replaced = self.slip.reshape(by_draw), self.replaced.reshape(by_draw)
        original = (1 - slip) * shares + slip / len(self.states)
        return np.asarray((1 - replaced) * original + replaced * self.replacement)

    def seen(self, weights: Floats) -> tuple[Floats, Floats]:
        """Give the probability of what was seen, slip and replacement included.

        Shapes: weights (state,) or (cell, state); gives total (draw, variant, month) or (cell,
        draw, variant, month), later (draw, 1, 1) or (cell, draw, 1, 1).
        """
        replaced = self.replaced[:, None, None]
        built = (1 - replaced) * (1 - self.slip[:, None, None]) * self.weighed(weights)
        later = replaced * (weights @ self.replacement)[..., None, None, None]
        return built + self.misread(weights) + later, later

    def misread(self, weights: Floats) -> Floats:
        """Give the part of the same that a slip explains.

        Shapes: weights (state,) or (cell, state); gives (draw, 1, 1) or (cell, draw, 1, 1).
        """
        mean = weights.mean(axis=-1)[..., None, None, None]
        return np.asarray(((1 - self.replaced) * self.slip)[:, None, None] * mean)

    def recorded_states(self) -> Floats:
        """Give the probability that each state is recorded.

        Shape: (state, draw, variant, month).
        """
        return np.moveaxis(self.recorded(np.moveaxis(self.by_state(), 0, -1)), -1, 0)

    def at_draws(self, places: NDArray[np.intp]) -> FeatureTable:
        """Keep some of the draws.

        Shapes: places (draw,).
        """
        return replace(
            self,
            blends=tuple(
                Blend(_at(blend.regimes, places, 1), _at(blend.shares, places, 1))
                for blend in self.blends
            ),
            slip=_at(self.slip, places),
            replaced=_at(self.replaced, places),
            curves=None if self.curves is None else _at(self.curves, places, 1),
        )


@dataclass(frozen=True, eq=False)
class LagTable:
    """The lag of a mark as it was learned: quantiles, between which lags are evenly spread.

    Parameters
    ----------
    quantiles : ndarray of float64, shape (draw, quantile)
        In months, ascending.
    reached : ndarray of float64, shape (quantile,)
        Probability that a lag is at most the quantile; 1 at the last.
    """

    quantiles: Floats
    reached: Floats


@dataclass(frozen=True, eq=False)
class MonthTables:
    """Everything the engine needs of a maker file.

    Parameters
    ----------
    period : Period
        The months.
    output : ndarray of float64, shape (month,)
        Prior probability of each build month.
    variants : tuple of str
        Names of the variants; empty when there are none.
    latent : int
        Latent variants within each of them, or within all; the variant axis counts these fastest.
    prior : ndarray of float64, shape (draw, variant, month)
        P(month) P(variant | month) times the weight of the draw; one variant where the maker
        file has none.
    weights : ndarray of float64, shape (draw,)
        Weights of the draws, which sum to one.
    features : mapping of str to FeatureTable
        By name of feature.
    donors : mapping of str to ndarray of float64, shape (draw, variant, month)
        Build month and variant of the donor of a swapped component, by name of component.
    means : mapping of str to ndarray of float64, shape (draw, month)
        Mean of each measurement, in its unit.
    spreads : mapping of str to ndarray of float64, shape (draw,)
        Spread of production of each measurement, in its unit.
    lags : mapping of str to LagTable
        Lags of those marks of which they were learned; the others are as judged.
    delays : mapping of str to ndarray of float64, shape (draw,)
        What a shared stock adds to the lags of its marks, in months, by name of mark.
    ages : mapping of str to ndarray of float64, shape (month, month)
        P(a component was made in month u | its instrument was built in month t), rows by t, of
        those components that may be old stock.
    shared : mapping of str to ndarray of float64, shape (draw,)
        The numbers that are drawn, in months since the start of the period.
    draws, replicates : int
        How many draws there are, and into how many replicates, one after the other, they fall.
    seed : int
        What the draws were made from.
    """

    period: Period
    output: Floats
    variants: tuple[str, ...]
    latent: int
    prior: Floats
    weights: Floats
    features: Mapping[str, FeatureTable]
    donors: Mapping[str, Floats]
    means: Mapping[str, Floats]
    spreads: Mapping[str, Floats]
    lags: Mapping[str, LagTable]
    delays: Mapping[str, Floats]
    ages: Mapping[str, Floats]
    shared: Mapping[str, Floats]
    draws: int
    replicates: int
    seed: int

    def at_draws(self, places: NDArray[np.intp]) -> MonthTables:
        """Keep some of the draws, each with the same weight; a draw may be kept more than once.

        Shapes: places (draw,).
        """
        chosen = self.weights[places][:, None, None]
        lags = {
            name: replace(lag, quantiles=_at(lag.quantiles, places))
            for name, lag in self.lags.items()
        }
        return replace(
            self,
            prior=np.broadcast_to(self.prior, (self.draws, *self.prior.shape[1:]))[places]
            / (chosen * len(places)),
            weights=np.full(len(places), 1 / len(places)),
            features={name: table.at_draws(places) for name, table in self.features.items()},
            donors={name: _at(donor, places) for name, donor in self.donors.items()},
            means={name: _at(mean, places) for name, mean in self.means.items()},
            spreads={name: _at(spread, places) for name, spread in self.spreads.items()},
            lags=lags,
            delays={name: _at(delay, places) for name, delay in self.delays.items()},
            shared={name: _at(values, places) for name, values in self.shared.items()},
            draws=len(places),
            replicates=1,
        )

    def feature(self, name: str) -> xr.DataArray:
        """Give P(state | month) of one feature with labels.

        Examples
        --------
        >>> from dating.files import read_maker
        >>> from dating.tabulation import month_tables
        >>> tables = month_tables(read_maker("priors/marrowby.yaml"))
        >>> table = tables.feature("heel-joint")
        >>> bool(abs(table.sum("state") - 1).max() < 1e-12)
        True
        """
        import xarray as xr  # noqa: PLC0415

        table = self.features[name]
        values = table.by_state()
        named = self.variants or ("any",)
        if self.latent > 1:
            named = tuple(f"{name} {k + 1}" for name in named for k in range(self.latent))
        variants = named if values.shape[2] > 1 else ("any",)
        return xr.DataArray(
            values,
            dims=("state", "draw", "variant", "month"),
            coords={
                "state": list(table.states),
                "variant": list(variants),
                "month": self.period.axis().astype("datetime64[s]"),
            },
            name=name,
        )


def _at(array: Floats, places: NDArray[np.intp], axis: int = 0) -> Floats:
    """Keep some of the draws, where there are several."""
    return array if array.shape[axis] == 1 else array.take(places, axis)


def _stacked(parts: list[Floats]) -> Floats:
    """Stack (..., draw, month) arrays of several variants; draws are repeated where they differ."""
    shape = np.broadcast_shapes(*(part.shape for part in parts))
    return np.stack([np.broadcast_to(part, shape) for part in parts], axis=-2)
