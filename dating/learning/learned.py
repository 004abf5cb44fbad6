"""What was learned: draws with their diagnostics, as an estimate uses them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from dating.arrays import Floats
from dating.learning.edits import NO_EDITS, Edits
from dating.learning.gauges import means_by_gauge, spreads_by_gauge
from dating.learning.health import Health, health_from
from dating.learning.lags import lag_tables
from dating.learning.latent.variants import Latent, latent_from
from dating.learning.layout import VARIANTS, Layout, Track, layout_of
from dating.learning.levels import Correction, correction_from
from dating.learning.quantities import arrays_of, names_of
from dating.maker import Maker
from dating.tables import Blend, FeatureTable, MonthTables
from dating.tabulation import (
    MOST_POINTS,
    POINTS,
    month_tables,
    replacement_shares,
    stock_delays,
)

if TYPE_CHECKING:
    import xarray as xr


DRAWS = 512
"""Draws that an estimate begins with, evenly spaced over those that were kept."""
MOST_DRAWS = 2048
"""Draws that it takes at most, where fewer leave too large a standard error."""
IN_MEMORY = "what was learned"
"""What stands in messages for a tree that comes from no file."""
BATCHES = 8
_MOST_CELLS = 2_000_000


@dataclass(frozen=True, eq=False)
class Learned:
    """Draws of everything learned from a corpus.

    Parameters
    ----------
    maker_fingerprint : str
        SHA-256 of the maker file that it was learned with.
    corpus_fingerprint : str
        SHA-256 of the corpus that it was learned from.
    numbers : tuple of str
        Names of the uncertain numbers.
    values : ndarray of float64, shape (draw, number)
        Dates in months since the start of the period, and lengths in months.
    shares : ndarray of float64, shape (draw, track, regime, state)
        Shares of the states in each regime of each course.
    slip, replaced : ndarray of float64, shape (draw, feature)
        Chances, in the order of the maker file's features.
    means : ndarray of float64, shape (draw, anchor)
        Means of the measurements at their anchors, in the order of the maker file.
    seed : int
        What it was sampled with.
    spreads : ndarray of float64, shape (draw, measurement)
        Spreads of production, in the order of the maker file; empty where nothing was sampled.
    lags : ndarray of float64, shape (draw, mark, 2)
        Median of each lag in months, and how many times as far apart as judged the logarithms of
        its quantiles lie; empty where nothing was sampled.
    output : ndarray of float64, shape (draw, month)
        Share of each month in what was made; empty where it was not left to be learned.
    latent : Latent or None
        Free-form shares and latent variants, where the maker file leaves shares to be learned.
    correction : Correction or None
        How stated levels are corrected, where instruments left out showed that they must be.
    health : Health or None
        Diagnostics of the draws; None where they come from no file.
    edits : Edits
        What has changed in the maker file since.
    instruments : int
        How many instruments were learned from; nought where that is not recorded.
    """

    maker_fingerprint: str
    corpus_fingerprint: str
    numbers: tuple[str, ...]
    values: Floats
    shares: Floats
    slip: Floats
    replaced: Floats
    means: Floats
    seed: int
    spreads: Floats = field(default_factory=lambda: np.zeros((0, 0)))
    lags: Floats = field(default_factory=lambda: np.zeros((0, 0, 2)))
    output: Floats = field(default_factory=lambda: np.zeros((0, 0)))
    latent: Latent | None = None
    correction: Correction | None = None
    health: Health | None = None
    edits: Edits = NO_EDITS
    instruments: int = 0

    @property
    def has_draws(self) -> bool:
        """Whether anything was sampled."""
        sampled = (self.values, self.shares, self.means, self.output)
        moved = self.lags.size > 0 and bool(np.ptp(self.lags, axis=0).any())
        return moved or any(array.size > 0 for array in sampled)

    @property
    def unsound(self) -> str:
        """What is wrong with the draws, where they were kept all the same; empty otherwise."""
        return self.health.fault if self.health is not None else ""

    def rests_on(self, fingerprint: str) -> bool:
        """Say whether a table, by the SHA-256 of its bytes, is what was learned from."""
        return fingerprint == self.corpus_fingerprint != ""

    def __repr__(self) -> str:
        """Count the draws and the numbers; give the fingerprints of maker file and corpus."""
        count = f"{len(self.values)} draws of {len(self.numbers)} dates and lengths"
        prints = f"{self.maker_fingerprint[:12]}, corpus {self.corpus_fingerprint[:12]}"
        return f"Learned({count}, maker {prints})"

    def corrected(self, posterior: Floats) -> Floats:
        """Correct the levels of posterior probabilities where that is due.

        Shapes: posterior (..., month); gives (..., month).
        """
        return posterior if self.correction is None else self.correction.apply(posterior)

    def thinned(self, count: int) -> Learned:
        """Keep some of the draws, evenly spaced."""
        places = np.linspace(0, len(self.values) - 1, min(count, len(self.values)))
        sampled = ("values", "shares", "slip", "replaced", "means", "spreads", "lags", "output")
        arrays = {name: getattr(self, name) for name in sampled}
        chosen = places.round().astype(int)
        return replace(self, **{n: array[chosen] for n, array in arrays.items() if len(array)})


def learned_from(tree: xr.DataTree, most: int = DRAWS) -> Learned:
    """Take the draws out of a tree of results."""
    latent = latent_from(tree["latent"].to_dataset()) if "latent" in tree else None
    correction = correction_from(tree["levels"].to_dataset()) if "levels" in tree else None
    by_chain = arrays_of(tree)
    count = int(np.prod(by_chain["value"].shape[:2]))
    arrays = {name: array.reshape(count, *array.shape[2:]) for name, array in by_chain.items()}
    places = np.linspace(0, count - 1, min(most, count // BATCHES * BATCHES)).round().astype(int)
    return Learned(
        maker_fingerprint=str(tree.attrs["maker_fingerprint"]),
        corpus_fingerprint=str(tree.attrs["corpus_fingerprint"]),
        numbers=tuple(names_of(tree["constant_data"].to_dataset(), "number")),
        values=arrays["value"][places],
        shares=arrays["share"][places],
        slip=arrays["slip"][places],
        replaced=arrays["replaced"][places],
        means=arrays["mean"][places],
        seed=int(tree.attrs["seed"]),
        spreads=arrays["spread"][places],
        lags=np.stack([arrays["lag"], arrays["lag_ratio"]], axis=-1)[places],
        output=arrays["output_share"][places],
        latent=latent,
        correction=correction,
        health=health_from(tree.attrs) if "rhat" in tree.attrs else None,
        instruments=int(tree.attrs.get("instruments", 0)),
    )


def draws_of(
    learned: Learned | xr.DataTree | None, maker: Maker, most: int = MOST_DRAWS
) -> Learned | None:
    """Give the draws of what was learned, of whichever form; the same object for the same tree.

    Raises InputError when a tree does not agree with the maker file, or cannot be relied on;
    TypeError when it is no tree.
    """
    if learned is None or isinstance(learned, Learned):
        return learned
    return _draws_in(TreeState(learned), maker, most)


@lru_cache(maxsize=2)
def _draws_in(state: TreeState, maker: Maker, most: int) -> Learned:
    from dating.learning.files import draws_in  # noqa: PLC0415

    return draws_in(state.tree, maker, IN_MEMORY, most)


class TreeState:
    """A tree as it stands, so that its draws need not be taken out again.

    Two states are equal where the tree is the same object with the same arrays and attributes.

    Parameters
    ----------
    tree : DataTree
        What was learned. Numbers written into its arrays are not noticed; another array is.

    Raises
    ------
    TypeError
        When it is no tree.
    """

    def __init__(self, tree: xr.DataTree) -> None:
        import xarray as xr  # noqa: PLC0415

        if not isinstance(tree, xr.DataTree):
            raise TypeError(
                "what was learned is given as dating.learn and dating.read_learned give it; "
                f"found {type(tree).__name__}"
            )
        self.tree = tree
        groups = [group.data_vars.items() for group in tree.subtree]
        arrays = tuple((name, id(value.data)) for group in groups for name, value in group)
        self._state = (id(tree), repr(tree.attrs), arrays)

    def __hash__(self) -> int:
        return hash(self._state)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, TreeState) and self._state == other._state


def tables_for(maker: Maker, learned: Learned | None) -> MonthTables:
    """Give the month tables of what was learned, or else of the judgements."""
    return month_tables(maker) if learned is None else learned_tables(maker, learned)


def rounds_of(maker: Maker, learned: Learned | None, seed: int) -> Iterator[MonthTables]:
    """Give month tables with twice the draws each time, for what has not converged.

    Examples
    --------
    >>> from dating.files import read_maker
    >>> maker = read_maker("priors/marrowby.yaml")
    >>> [tables.draws for tables in rounds_of(maker, None, seed=1)][:3]
    [128, 256, 512]
    """
    if learned is None:
        points = POINTS
        while points <= MOST_POINTS:
            tables = month_tables(maker, points, seed)
            yield tables
            points = points * 2 if tables.draws > 1 else MOST_POINTS + 1
        return
    count = DRAWS
    yield learned_tables(maker, thinned(learned, count))
    while count < len(learned.values) and learned.latent is None:
        count *= 2
        yield learned_tables(maker, thinned(learned, count))


@lru_cache(maxsize=8)
def thinned(learned: Learned, count: int) -> Learned:
    """Keep some of the draws; always the same object, so that its tables are made once."""
    return learned if count >= len(learned.values) else learned.thinned(count)


@lru_cache(maxsize=4)
def learned_tables(maker: Maker, learned: Learned) -> MonthTables:
    """Turn learned draws into month tables; all blocks are joint."""
    layout, judged = layout_of(maker), month_tables(maker)
    learned = affordable(maker, learned)
    latent, count = learned.latent, len(learned.values)
    shares = {track: learned.shares[:, place] for place, track in enumerate(layout.tracks)}
    variant_shares = _variant_shares(layout, learned, shares)
    if latent is not None:
        among = np.repeat(latent.weights(), count // latent.fits, axis=0)
        variant_shares = variant_shares[:, :, None] * among[:, None]
        variant_shares = variant_shares.reshape(count, -1, len(judged.period))
    output = learned.output if learned.output.size else judged.output[None]
    prior = variant_shares * output[:, None] / count
    places = {name: place for place, name in enumerate(maker.features())}
    features = {
        name: judged.features[name]
        if feature.free_form
        else FeatureTable(
            tuple(feature.states),
            tuple(
                _blend(layout, learned, track, shares[track])
                for track in layout.tracks
                if track.name == name
            ),
            slip=learned.slip[:, places[name]],
            replaced=learned.replaced[:, places[name]],
            replacement=replacement_shares(feature),
            latent=latent.variants if latent else 1,
        )
        for name, (_, feature) in maker.features().items()
    }
    if latent is not None:
        features |= _free_form(maker, latent, count)
    donors = {
        name: variant_shares * donor.sum(axis=1, keepdims=True).mean(axis=0, keepdims=True)
        for name, donor in judged.donors.items()
    }
    return MonthTables(
        period=judged.period,
        output=output.mean(axis=0),
        variants=judged.variants,
        latent=latent.variants if latent else 1,
        prior=np.broadcast_to(prior, (count, *prior.shape[1:])),
        weights=np.full(count, 1 / count),
        features=features,
        donors=donors,
        means=means_by_gauge(layout.gauges, learned.means),
        spreads={**judged.spreads, **spreads_by_gauge(layout.gauges, learned.spreads)},
        lags=lag_tables(layout.lags, learned.lags),
        delays=stock_delays(maker, count, learned.seed),
        ages=judged.ages,
        shared=dict(zip(learned.numbers, learned.values.T, strict=True)),
        draws=count,
        replicates=_replicates(latent, count),
        seed=learned.seed,
    )


def _replicates(latent: Latent | None, count: int) -> int:
    """Say into how many independent batches the draws fall, one after the other."""
    if latent is None:
        return BATCHES if count >= BATCHES else 1
    return BATCHES if latent.fits % (2 * BATCHES) == 0 else latent.fits


def affordable(maker: Maker, learned: Learned) -> Learned:
    """Thin the draws to those that month tables are made from."""
    if learned.latent is None:
        return learned
    fits, size = learned.latent.fits, max(1, len(maker.variant_names())) * len(maker.period)
    most = max(1, _MOST_CELLS // (size * learned.latent.variants * fits)) * fits
    count = max(min(len(learned.values), most) // fits, 1) * fits
    return learned.thinned(count)


def _free_form(maker: Maker, latent: Latent, count: int) -> dict[str, FeatureTable]:
    """Give the tables of free-form features; what was recorded includes slips already."""
    never, tables = np.zeros(1), {}
    for name in latent.features:
        feature = maker.features()[name][1]
        curves = np.repeat(latent.curves(name), count // latent.fits, axis=1)
        curves = np.tile(curves, (1, 1, max(1, len(maker.variant_names())), 1))
        tables[name] = FeatureTable(
            tuple(feature.states),
            (),
            slip=never,
            replaced=never,
            replacement=replacement_shares(feature),
            latent=latent.variants,
            curves=curves,
        )
    return tables


def _blend(layout: Layout, learned: Learned, track: Track, shares: Floats) -> Blend:
    depth, width = track.shares.shape
    by_regime = np.moveaxis(shares[:, :depth, :width], 1, 0)
    return Blend(layout.regimes(track, learned.values), by_regime)


def _variant_shares(layout: Layout, learned: Learned, shares: dict[Track, Floats]) -> Floats:
    """P(variant | month) in each draw, shape (draw, variant, month)."""
    for track in layout.tracks:
        if track.name == VARIANTS:
            blend = _blend(layout, learned, track, shares[track])
            each = [blend.weighed(row) for row in np.eye(len(track.states))]
            return np.stack(np.broadcast_arrays(*each), axis=1)
    return np.ones((1, 1, layout.months))
