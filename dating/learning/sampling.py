"""Learning: the joint model sampled, and latent variants found."""

from __future__ import annotations

import os
import platform
from collections.abc import Callable
from dataclasses import dataclass
from importlib.metadata import version
from typing import TYPE_CHECKING

import numpy as np

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

CHAINS = 4
DRAWS = 1000
ACCEPT = 0.99


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
    draws: int = DRAWS,
    accept: float = ACCEPT,
    seed: int = 1,
    progress: bool = False,
    report: Callable[[str], None] = lambda _: None,
) -> xr.DataTree:
    """Sample the joint posterior of everything uncertain, with nutpie's NUTS through PyMC.

    Where the maker file leaves shares to be learned, free-form shares and latent variants are
    found as well; where it leaves nothing else open, nothing is sampled.

    Parameters
    ----------
    plan : Plan
        From :func:`plan_of`.
    draws : int
        Draws in each of four chains, after as many for tuning.
    accept : float
        Acceptance that the sampler aims at.
    seed : int
        Seed of the sampler.
    progress : bool
        Whether to show the sampler's progress.
    report : callable
        Told in words what is being done besides sampling.

    Returns
    -------
    DataTree
        Groups ``posterior`` and ``sample_stats``, where there are free-form features ``latent``,
        where there is nothing else ``levels``, and attributes that say where it comes from.
    """
    groups = _found(plan, seed, report) if plan.free_form else {}
    if plan.layout.tracks:
        groups |= _sampled(plan, draws=draws, accept=accept, seed=seed, progress=progress)
    else:
        groups |= _nothing_sampled(plan)
    return _result(groups, plan, draws=draws, accept=accept, seed=seed)


def _sampled(
    plan: Plan, *, draws: int, accept: float, seed: int, progress: bool
) -> dict[str, xr.Dataset]:
    import pymc as pm  # noqa: PLC0415

    from dating.learning.model import constants_of, learning_model  # noqa: PLC0415

    constants = constants_of(plan.maker, plan.layout, plan.tables)
    with learning_model(plan.layout, constants, plan.tally):
        sampled = pm.sample(
            draws=draws,
            tune=draws,
            chains=CHAINS,
            cores=min(CHAINS, os.cpu_count() or 1),
            target_accept=accept,
            random_seed=seed,
            progressbar=progress,
            nuts_sampler="nutpie",
        )
    groups = {
        "posterior": sampled["posterior"].to_dataset(),
        "sample_stats": sampled["sample_stats"].to_dataset()[["diverging"]],
    }
    for group in groups.values():
        group.attrs.clear()
    return groups


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


def _result(
    groups: dict[str, xr.Dataset], plan: Plan, *, draws: int, accept: float, seed: int
) -> xr.DataTree:
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
        draws=draws,
        accept=accept,
        seed=seed,
        pymc=version("pymc"),
        nutpie=version("nutpie"),
        python=platform.python_version(),
    )
    return tree
