"""Diagnostics of the draws: whether they can be relied on, and what they rest on in a file."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from dating.arrays import Floats

if TYPE_CHECKING:
    import xarray as xr


MOST_RHAT = 1.01
LEAST_ESS = 400


@dataclass(frozen=True)
class Health:
    """Whether the draws can be relied on.

    Parameters
    ----------
    rhat : float
        Largest split R-hat.
    ess : float
        Smallest effective sample size, of bulk and tails; infinite where nothing was sampled.
    divergences : int
        Divergent transitions after tuning.
    worst : str
        The number with the largest R-hat where that is too large, else with the smallest effective
        sample size.

    References
    ----------
    Vehtari, A., Gelman, A., Simpson, D., Carpenter, B. and Buerkner, P.-C. (2021).
    Rank-normalization, folding, and localization: an improved R-hat. *Bayesian Analysis* 16(2),
    667-718. doi:10.1214/20-BA1221
    """

    rhat: float
    ess: float
    divergences: int
    worst: str

    @property
    def good(self) -> bool:
        """R-hat at most 1.01, effective size at least 400, no divergences."""
        return self.mixed and self.divergences == 0

    @property
    def mixed(self) -> bool:
        """R-hat at most 1.01, and effective size at least 400."""
        return self.rhat <= MOST_RHAT and self.ess >= LEAST_ESS

    @property
    def fault(self) -> str:
        """What is wrong with the draws; empty when all is well."""
        words = []
        if self.divergences:
            transitions = "transition" if self.divergences == 1 else "transitions"
            words.append(f"{self.divergences} divergent {transitions}")
        if not self.mixed:
            words.append(
                f"R-hat {self.rhat:.3f} (at most {MOST_RHAT} wanted) and effective sample size "
                f"{self.ess:.0f} (at least {LEAST_ESS} wanted), worst for {self.worst}"
            )
        return "; ".join(words)

    def advice(self) -> str:
        """Say what is wrong and what to change."""
        remedies = []
        if self.divergences:
            remedies.append("raise --accept, or give a slip to the features that have none")
        if not self.mixed:
            remedies.append("more draws are wanted")
        faults = self.fault.split("; ") if self.fault else []
        return "; ".join(f"{a}: {b}" for a, b in zip(faults, remedies, strict=True))

    def attributes(self) -> dict[str, Any]:
        """Give the diagnostics as they are kept in a file."""
        return asdict(self)


def health_from(attributes: Mapping[Hashable, Any]) -> Health:
    """Read diagnostics that were kept.

    Raises KeyError, TypeError, ValueError when one is missing, or is not of its kind.
    """
    return Health(
        float(attributes["rhat"]),
        float(attributes["ess"]),
        int(attributes["divergences"]),
        str(attributes["worst"]),
    )


def health_of(tree: xr.DataTree) -> Health:
    """Work out the diagnostics of a result."""
    if "unknowns" not in tree:
        return Health(1.0, np.inf, 0, "")
    divergences = int(tree["sample_stats"]["diverging"].sum())
    return health_of_draws(tree["unknowns"].to_dataset(), divergences)


def health_of_unknowns(unknowns: Floats, names: tuple[str, ...], divergences: int) -> Health:
    """Work out the diagnostics of draws of the unknowns.

    Shapes: unknowns (chain, draw, unknown).
    """
    import xarray as xr  # noqa: PLC0415

    dims = ("chain", "draw", "unknown")
    named = xr.DataArray(unknowns, {"unknown": list(names)}, dims, name="z")
    return health_of_draws(named.to_dataset(), divergences)


def health_of_draws(draws: xr.Dataset, divergences: int) -> Health:
    """Work out the diagnostics of some draws.

    Shapes: draws (chain, draw, one more).
    """
    import arviz as az  # noqa: PLC0415

    bulk, tail, rhats = az.ess(draws), az.ess(draws, method="tail"), az.rhat(draws)
    sizes = [np.minimum(bulk[name], tail[name]) for name in draws.data_vars]
    least = min(sizes, key=lambda size: float(size.min()))
    most = max((rhats[name] for name in draws.data_vars), key=lambda rhat: float(rhat.max()))
    rhat, ess = float(most.max()), float(least.min())
    worst = most[most.values.argmax()] if rhat > MOST_RHAT else least[least.values.argmin()]
    labels = [label.item() for label in worst.coords.values()]
    return Health(rhat, ess, divergences, str(labels[0] if labels else worst.name))
