"""Learning: the joint model sampled, and free-form shares and latent variants fitted."""

from __future__ import annotations

import platform
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from importlib.metadata import version
from typing import TYPE_CHECKING

import numpy as np

from dating.learning.constants import constants_of
from dating.learning.corpus import Corpus
from dating.learning.files import FORMAT
from dating.learning.latent.finding import found_in, levels_in
from dating.learning.latent.mixture import FITS
from dating.learning.latent.rows import free_form_features
from dating.learning.layout import Layout, layout_of
from dating.learning.tally import Tally, tally_of
from dating.maker import Maker
from dating.tables import MonthTables
from dating.tabulation import month_tables

if TYPE_CHECKING:
    import xarray as xr

    from dating.learning.density import Density

ACCEPT = 0.9


@dataclass(frozen=True, eq=False)
class Plan:
    """What learning will work on, before it starts.

    Parameters
    ----------
    maker : Maker
        The maker file.
    corpus : Corpus
        The corpus.
    layout : Layout
        The maker file's numbers, ramps and courses.
    tables : MonthTables
        The month tables of the judgements.
    tally : Tally
        The corpus as counts and cases.
    """

    maker: Maker
    corpus: Corpus
    layout: Layout
    tables: MonthTables
    tally: Tally

    @property
    def uncertain(self) -> int:
        """How many dates and lengths are uncertain."""
        return sum(float(np.ptp(j.nodes()[0])) > 0 for j in self.layout.numbers.values())

    @cached_property
    def density(self) -> Density:
        """The log posterior of everything uncertain but free-form shares."""
        from dating.learning.density import density_of  # noqa: PLC0415

        constants = constants_of(self.maker, self.layout, self.tables)
        return density_of(self.layout, constants, self.tally)

    def processor_seconds(self, draws: int | None = None) -> float:
        """Foretell how long sampling takes on one core.

        Parameters
        ----------
        draws : int or None
            Draws in each chain; None where they go on until they are sound.

        Returns
        -------
        float
            Seconds: the time that one gradient takes here, times as many as are usual.
        """
        from dating.learning.chains import usual_gradients  # noqa: PLC0415

        return usual_gradients(self.density.size, draws) * self.density.processor_seconds()

    @property
    def free_form(self) -> tuple[str, ...]:
        """The features whose shares are left to be learned."""
        return tuple(free_form_features(self.maker))

    @property
    def all_free_form(self) -> bool:
        """Whether free-form features are all that can bear on a date."""
        others = self.layout.tracks or self.layout.gauges or self.maker.marks()
        return bool(self.free_form) and not others

    @property
    def counted(self) -> int:
        """How many instruments enter as counts."""
        return len(self.corpus.references) - self.tally.rows


def plan_of(maker: Maker, corpus: Corpus) -> Plan:
    """Lay out the work.

    Parameters
    ----------
    maker : Maker
        The maker file.
    corpus : Corpus
        The corpus.

    Returns
    -------
    Plan
        Ready to be sampled.
    """
    layout, tables = layout_of(maker), month_tables(maker)
    return Plan(maker, corpus, layout, tables, tally_of(corpus, layout, tables.output))


def learn(
    plan: Plan,
    *,
    draws: int | None = None,
    accept: float = ACCEPT,
    seed: int = 1,
    report: Callable[[str], None] = lambda _: None,
) -> xr.DataTree:
    """Sample the joint posterior of everything uncertain, with nutpie's NUTS.

    Where the maker file leaves shares to be learned, free-form shares and latent variants are
    found as well; where it leaves nothing else open, nothing is sampled.

    Parameters
    ----------
    plan : Plan
        From :func:`plan_of`.
    draws : int, optional
        Draws in each of four chains; as many as make them sound unless given.
    accept : float
        Acceptance that the sampler aims at; raised after a divergence where ``draws`` is not given.
    seed : int
        Seed of the sampler.
    report : callable
        Told in words what is being done.

    Returns
    -------
    DataTree
        Groups ``posterior`` and ``sample_stats``, where there are free-form features ``latent``,
        where there is nothing else ``levels``, and attributes that say where it comes from.
    """
    groups = _found(plan, seed, report) if plan.free_form else {}
    if plan.layout.tracks:
        sampled, accept = _sampled(plan, draws=draws, accept=accept, seed=seed, report=report)
        groups |= sampled
    else:
        groups |= _nothing_sampled(plan)
    return _result(groups, plan, accept=accept, seed=seed)


def _sampled(
    plan: Plan, *, draws: int | None, accept: float, seed: int, report: Callable[[str], None]
) -> tuple[dict[str, xr.Dataset], float]:
    """Give the groups of the chains, and the acceptance that was aimed at in the end."""
    import xarray as xr  # noqa: PLC0415

    from dating.learning.chains import chains_of  # noqa: PLC0415

    density = plan.density
    chains = chains_of(density, draws=draws, accept=accept, seed=seed, report=report)
    log_likelihood = chains.stats["logp"].values - density.log_prior(chains.unknowns)
    arrays = {
        **density.split(chains.unknowns),
        **density.quantities(chains.unknowns),
        "log likelihood": log_likelihood,
    }
    inner = {
        "value": ("number",),
        "share": ("share_dim_0", "share_dim_1", "share_dim_2"),
        "slip": ("feature",),
        "replaced": ("feature",),
        "mean": ("anchor",),
        "log likelihood": (),
    }
    coords = {
        "number": list(plan.layout.numbers),
        "feature": list(plan.maker.features()),
        "anchor": plan.layout.anchor_names,
    }
    posterior = xr.Dataset(
        {
            name: (("chain", "draw", *inner.get(name, (f"{name}_dim_0",))), values)
            for name, values in arrays.items()
        },
        coords,
    )
    kept = ["diverging", "n_steps", "step_size", "energy", "logp", "depth"]
    stats = chains.stats[[name for name in kept if name in chains.stats]]
    return {"posterior": posterior, "sample_stats": stats}, chains.accept


def _nothing_sampled(plan: Plan) -> dict[str, xr.Dataset]:
    """Give the chances as they are stated, once for each fit of the latent variants."""
    import xarray as xr  # noqa: PLC0415

    features = [feature for _, feature in plan.maker.features().values()]
    coords = {"feature": list(plan.maker.features())}
    dims = ("chain", "draw", "feature")
    stated = {
        "slip": [feature.slip.value for feature in features],
        "replaced": [feature.replaced.value for feature in features],
    }
    arrays = {name: (dims, np.tile(values, (1, FITS, 1))) for name, values in stated.items()}
    if plan.layout.gauges:
        means = np.concatenate([gauge.stated for gauge in plan.layout.gauges])
        arrays["mean"] = (("chain", "draw", "anchor"), np.tile(means, (1, FITS, 1)))
    diverging = (("chain", "draw"), np.zeros((1, FITS), dtype=bool))
    return {
        "posterior": xr.Dataset(arrays, coords),
        "sample_stats": xr.Dataset({"diverging": diverging}),
    }


def _found(plan: Plan, seed: int, report: Callable[[str], None]) -> dict[str, xr.Dataset]:
    output = plan.tables.output
    latent = found_in(plan.corpus, output, seed, report)
    groups = {"latent": latent.dataset()}
    if plan.all_free_form:
        report("levels, from instruments left out")
        groups["levels"] = levels_in(plan.corpus, output, latent, seed).dataset()
    return groups


def _result(groups: dict[str, xr.Dataset], plan: Plan, *, accept: float, seed: int) -> xr.DataTree:
    import xarray as xr  # noqa: PLC0415

    tree = xr.DataTree.from_dict(groups)
    tree.attrs.update(
        format=FORMAT,
        maker=plan.maker.maker,
        maker_file=plan.maker.origin.file,
        maker_fingerprint=plan.maker.origin.fingerprint,
        corpus_file=plan.corpus.file,
        corpus_fingerprint=plan.corpus.fingerprint,
        instruments=len(plan.corpus.references),
        draws=groups["posterior"].sizes["draw"],
        accept=accept,
        seed=seed,
        nutpie=version("nutpie"),
        python=platform.python_version(),
    )
    return tree
