"""Chains of the log posterior by nutpie's NUTS, gone on with until they can be relied on.

Four chains run side by side. At stated numbers of draws they are looked at, and when the rules of
:class:`~dating.learning.health.Health` are met, exactly so many draws are kept: the result depends
on the seed, and not on the machine's speed. A divergence does not heal with more draws; the chains
then begin again and aim at a higher acceptance.

Chains may be gone on with: new ones begin at last points of the earlier ones, tune anew, and their
draws are put behind the earlier draws. What was sampled with a divergence only gives the points.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from dating.arrays import Floats
from dating.learning import compiled_density as kernels
from dating.learning.coordinates import Coordinates, coordinates_of
from dating.learning.density import Density
from dating.learning.health import Health, health_of_unknowns

if TYPE_CHECKING:
    import xarray as xr


CHAINS = 4
TUNE = 200
LOOKS = (500, 600, 700, 850, 1000, 1200, 1500, 2000, 2500, 3000, 4000, 5500, 7500, 10_000)
"""Draws in each chain after which it is asked whether they can be relied on."""
MORE = (250, 500, 1000, 2000, 4000, 8000)
"""The same for further draws, where chains are gone on with."""
MOST_KEPT = 2500
"""Draws of each chain that are kept of sound chains that had to go on for longer."""
FEWEST = 10
"""Draws in each chain below which nothing is kept of chains that are stopped."""
_HIGHEST = 0.985
_USUAL_DRAWS, _USUAL_STEPS = 700, 25
_TOGETHER = 1.4  # what a gradient takes among others that run at once, beside one alone
_SPREAD = 0.5
_PATIENCE = 0.05


@dataclass(frozen=True, eq=False)
class Chains:
    """Draws of the unknowns, and how the sampler came by them.

    Parameters
    ----------
    unknowns : ndarray of float64, shape (chain, draw, unknown)
        The draws.
    stats : Dataset, dims (chain, draw)
        What the sampler tells of each draw.
    accept : float
        The acceptance that was aimed at in the end.
    health : Health
        Whether the draws can be relied on.
    stopped : bool
        Whether the user stopped them before they were through.
    """

    unknowns: Floats
    stats: xr.Dataset
    accept: float
    health: Health
    stopped: bool = False

    def thinned(self, most: int = MOST_KEPT) -> Chains:
        """Keep some of the draws of each chain, evenly spaced."""
        count = self.unknowns.shape[1]
        if count <= most:
            return self
        kept = np.linspace(0, count - 1, most).round().astype(int)
        return replace(self, unknowns=self.unknowns[:, kept], stats=self.stats.isel(draw=kept))


def chains_of(
    density: Density,
    *,
    draws: int | None,
    accept: float,
    seed: int,
    count: int = CHAINS,
    before: Chains | None = None,
    report: Callable[[str], None] = lambda _: None,
) -> Chains:
    """Sample a density.

    Raises KeyboardInterrupt when the user stops them before there is anything to keep.
    """
    report("looking for the mode")
    coordinates = coordinates_of(density)
    usual = LOOKS if before is None else MORE
    looks = usual if draws is None else (draws,)
    if before is not None and before.health.divergences and draws is None:
        accept = _raised(before.accept)
    while True:
        last = draws is not None or accept > _HIGHEST
        run = _Run(density, coordinates, accept, seed, looks, count, last, report, before)
        chains = run.chains()
        if chains is not None:
            return chains
        accept = _raised(accept)


def _raised(accept: float) -> float:
    """Aim half way to one."""
    return 1 - (1 - accept) / 2


def usual_seconds(density: Density, draws: int | None) -> float:
    """Foretell how long the chains take on one core."""
    kept = draws or _USUAL_DRAWS
    steps = _USUAL_STEPS * float(np.sqrt(density.size / 100))
    gradients = CHAINS * (min(TUNE, kept) + kept) * steps
    return _TOGETHER * gradients * density.processor_seconds()


@dataclass(eq=False)
class _Run:
    """One run of all chains, which note their draws here as they come."""

    density: Density
    coordinates: Coordinates
    accept: float
    seed: int
    looks: tuple[int, ...]
    count: int
    last: bool
    report: Callable[[str], None]
    before: Chains | None
    progress: list[Any] = field(default_factory=list)

    @property
    def tune(self) -> int:
        """Draws for tuning."""
        return min(TUNE, self.looks[-1])

    def chains(self) -> Chains | None:
        """Run until a look is content or the last one over; none where they are to begin again."""
        sampler = self._sampler()
        try:
            for look in self.looks[:-1]:
                self._wait(sampler, look)
                if _is_finished(sampler):
                    break
                sampler.pause()
                if self._divergences(look):
                    trace = sampler.abort()
                    return self._kept(trace, look) if self.last else None
                chains = self._kept(sampler.inspect(), look)
                if chains.health.good:
                    sampler.cancel()
                    return chains
                sampler.resume()
            chains = self._first_content(sampler.wait())
            return chains if self.last or not chains.health.divergences else None
        except KeyboardInterrupt:
            look = min((chain.finished_draws for chain in self.progress), default=0) - self.tune
            if look < FEWEST:
                sampler.cancel()
                raise
            return replace(self._kept(sampler.abort(), look), stopped=True)
        except BaseException:  # nothing goes on sampling by itself
            sampler.cancel()
            raise

    def _first_content(self, trace: xr.DataTree) -> Chains:
        """Keep what the looks would have kept, had the chains not been faster than they."""
        for look in self.looks:
            chains = self._kept(trace, look)
            if chains.health.good or chains.health.divergences:
                break
        return chains

    def _sampler(self) -> Any:
        import nutpie  # noqa: PLC0415
        from nutpie.compiled_pyfunc import from_pyfunc  # noqa: PLC0415

        density, terms, size = self.density, self.density.terms, self.density.size

        def log_posterior() -> Callable[[Floats], tuple[float, Floats]]:
            return lambda u: kernels.log_posterior_at(u, terms, *self.coordinates)

        def unknowns(*_: int) -> Callable[[Floats], dict[str, Floats]]:
            return lambda u: {"unknowns": self.coordinates.unknowns(density, u)}

        def begin(seed: int) -> Floats:
            generator = np.random.default_rng(seed)
            if self.before is not None:
                last = self.before.unknowns[:, -1]
                return self.coordinates.coordinates(density, last[generator.integers(len(last))])
            return _SPREAD * generator.standard_normal(size)

        model = from_pyfunc(
            size,
            log_posterior,
            unknowns,
            [np.dtype(float)],
            [(size,)],
            ["unknowns"],
            make_initial_point_fn=begin,
        )
        return nutpie.sample(
            model,
            draws=self.looks[-1],
            tune=self.tune,
            chains=self.count,
            cores=self.count,
            seed=self.seed,
            target_accept=self.accept,
            save_warmup=False,
            progress_bar=False,
            progress_callback=self._note,
            blocking=False,
        )

    def _note(self, progress: list[Any]) -> None:
        self.progress = list(progress)
        least = min((chain.finished_draws for chain in self.progress), default=0)
        self.report(f"draw {max(least - self.tune, 0):,} of each chain")

    def _wait(self, sampler: Any, look: int) -> None:
        """Wait until every chain has as many draws as a look wants, or all are to begin again."""
        while not _is_finished(sampler) and (self.last or not self._divergences(look)):
            done = [chain.finished_draws for chain in self.progress]
            if len(done) == self.count and min(done) >= self.tune + look:
                return
            time.sleep(_PATIENCE)

    def _divergences(self, look: int) -> int:
        """Count the divergent draws up to a look."""
        first, last = self.tune, self.tune + look
        return sum(first <= at < last for c in self.progress for at in c.divergent_draws)

    def _kept(self, trace: xr.DataTree, look: int) -> Chains:
        posterior = trace["posterior"].to_dataset().isel(draw=slice(0, look))
        stats = trace["sample_stats"].to_dataset().isel(draw=slice(0, look))
        unknowns = posterior["unknowns"].transpose("chain", "draw", ...).values
        stats = stats[[name for name, each in stats.items() if each.dtype.kind in "biuf"]]
        if self.before is not None and not self.before.health.divergences:
            unknowns = np.concatenate([self.before.unknowns, unknowns], axis=1)
            stats = _joined(self.before.stats, stats)
        health = health_of_unknowns(unknowns, self.density.names, int(stats["diverging"].sum()))
        return Chains(unknowns, stats, self.accept, health)


def _joined(before: xr.Dataset, after: xr.Dataset) -> xr.Dataset:
    """Put what is told of draws behind what was told of earlier ones, and count the draws anew."""
    import xarray as xr  # noqa: PLC0415

    both = [name for name in after.data_vars if name in before]
    parts = [part[both].drop_vars("draw", errors="ignore") for part in (before, after)]
    joined = xr.concat(parts, "draw", join="override")
    return joined.assign_coords(draw=np.arange(joined.sizes["draw"]))


def _is_finished(sampler: Any) -> bool:
    try:
        return bool(sampler.is_finished)
    except TimeoutError:  # so it says that it is not
        return False
