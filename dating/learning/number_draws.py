"""Every number that was sampled, under a name that can be read, and how well it was sampled."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from dating.arrays import Floats
from dating.learning.layout import Layout, Track
from dating.learning.quantities import arrays_of, names_of

if TYPE_CHECKING:
    import pandas as pd
    import xarray as xr


LEVEL = 0.9


def number_draws(layout: Layout, tree: xr.DataTree) -> xr.DataArray:
    """Collect all numbers that vary between draws.

    Shape: (chain, draw, number).
    """
    import xarray as xr  # noqa: PLC0415

    arrays = arrays_of(tree)
    named = {name: values for name, values in _named(layout, tree, arrays) if np.ptp(values) > 0}
    draws = arrays["value"].shape[:2]
    return xr.DataArray(
        np.stack([np.zeros(draws), *named.values()], axis=-1)[..., 1:],
        coords={"number": list(named)},
        dims=("chain", "draw", "number"),
        name="drawn",
    )


def summary_of(draws: xr.DataArray) -> pd.DataFrame:
    """Summarize each number with its diagnostics, by ArviZ.

    Shapes: draws (chain, draw, number).
    """
    import arviz as az  # noqa: PLC0415
    import pandas as pd  # noqa: PLC0415

    columns = ["mean", "sd", "hdi90_lb", "hdi90_ub", "ess_bulk", "ess_tail", "r_hat"]
    if not draws.sizes["number"]:
        return pd.DataFrame(columns=columns)
    table: pd.DataFrame = az.summary(
        draws.to_dataset(), ci_prob=LEVEL, ci_kind="hdi", round_to="none"
    )
    table = table[columns]
    return table.set_axis(draws["number"].values, axis="index")


def share_name(track: Track, regime: int, state: str) -> str:
    """Name one share, such as ``share of screwed, heel-joint, regime 3``."""
    return f"share of {state}, {track.label}, regime {regime + 1}"


def _named(
    layout: Layout, tree: xr.DataTree, arrays: dict[str, Floats]
) -> Iterator[tuple[str, Floats]]:
    stated = tree["constant_data"].to_dataset()
    features = names_of(stated, "feature")
    titles = {
        "value": ("", list(layout.numbers)),
        "slip": ("slip of ", features),
        "replaced": ("replacement of ", features),
        "mean": ("mean of ", layout.anchor_names),
        "spread": ("spread of ", [gauge.name for gauge in layout.gauges]),
        "lag": ("lag of ", [lag.mark for lag in layout.lags]),
        "lag_ratio": ("ratio of the lags of ", [lag.mark for lag in layout.lags]),
        "output_scale": ("output, ", [] if layout.walk is None else ["step", "deviation"]),
    }
    for variable, (title, names) in titles.items():
        for place, name in enumerate(names):
            yield f"{title}{name}", arrays[variable][..., place]
    shares = arrays["share"]
    for place, track in enumerate(layout.tracks):
        for regime in range(len(track.shares)):
            for position, state in enumerate(track.states):
                yield share_name(track, regime, state), shares[..., place, regime, position]
