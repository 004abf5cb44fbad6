"""The latent variants that were found, as they are kept and used."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np

from dating.arrays import Floats
from dating.learning.latent.mixture import Mixture, Settings
from dating.learning.latent.time_cells import Cells

if TYPE_CHECKING:
    import xarray as xr


@dataclass(frozen=True, eq=False)
class Latent:
    """Free-form shares by latent variant, in several bootstrap fits.

    Parameters
    ----------
    features : tuple of str
        The free-form features.
    mixtures : tuple of Mixture
        The fits.
    axis : Cells
        The cells of time.
    gain, error : float
        How much better, in mean log score of instruments left out, latent variants are than none;
        and the standard error of that.
    """

    features: tuple[str, ...]
    mixtures: tuple[Mixture, ...]
    axis: Cells
    gain: float
    error: float

    @property
    def variants(self) -> int:
        """How many latent variants there are; 1 where none were found."""
        return int(self.mixtures[0].weight.shape[1])

    @property
    def fits(self) -> int:
        """How many fits stand beside each other."""
        return len(self.mixtures)

    def weights(self) -> Floats:
        """Give P(latent variant | month).

        Shape: (fit, variant, month).
        """
        along = self.axis.spread()
        return np.array([mixture.weight.T @ along for mixture in self.mixtures])

    def curves(self, feature: str) -> Floats:
        """Give P(state | month, latent variant) of one feature.

        Shape: (state, fit, variant, month).
        """
        along, place = self.axis.spread(), self.features.index(feature)
        return np.stack(
            [np.swapaxes(mixture.shares[place], 1, 2) @ along for mixture in self.mixtures], axis=1
        )

    def dataset(self) -> xr.Dataset:
        """Give weights and shares with labels, as they are kept in a file."""
        import xarray as xr  # noqa: PLC0415

        variables: dict[str, xr.DataArray] = {
            "weight": xr.DataArray(
                np.array([mixture.weight for mixture in self.mixtures]),
                dims=("fit", "cell", "latent"),
            )
        }
        for place, name in enumerate(self.features):
            values = np.array([mixture.shares[place] for mixture in self.mixtures])
            dims = ("fit", f"state {place}", "cell", "latent")
            variables[f"shares {place}"] = xr.DataArray(values, dims=dims, attrs={"feature": name})
        for knob in (field.name for field in fields(Settings)):
            chosen = [getattr(mixture.settings, knob) for mixture in self.mixtures]
            variables[knob] = xr.DataArray(chosen, dims="fit")
        variables["edge"] = xr.DataArray(np.array(self.axis.edges), dims="side")
        return xr.Dataset(variables, attrs={"gain": self.gain, "error": self.error})


def latent_from(dataset: xr.Dataset) -> Latent:
    """Read what was kept."""
    weight = dataset["weight"].values
    names = [str(name) for name in dataset.data_vars if str(name).startswith("shares ")]
    shares = [dataset[name].values for name in names]
    settings = [
        Settings(**{f.name: dataset[f.name].values[fit].item() for f in fields(Settings)})
        for fit in range(len(weight))
    ]
    mixtures = tuple(
        Mixture(settings[fit], weight[fit], tuple(each[fit] for each in shares))
        for fit in range(len(weight))
    )
    attrs = dataset.attrs
    return Latent(
        features=tuple(str(dataset[name].attrs["feature"]) for name in names),
        mixtures=mixtures,
        axis=Cells(tuple(dataset["edge"].values.tolist())),
        gain=float(attrs["gain"]),
        error=float(attrs["error"]),
    )
