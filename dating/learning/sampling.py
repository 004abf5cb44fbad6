"""Learning: the joint model sampled, and free-form shares and latent variants fitted."""

from __future__ import annotations

import platform
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from importlib.metadata import version
from typing import TYPE_CHECKING

import numpy as np

from dating.learning.constants import Constants, constants_of
from dating.learning.corpus import Corpus
from dating.learning.files import FORMAT
from dating.learning.health import health_of
from dating.learning.latent.fitting import FITS
from dating.learning.latent.rows import free_form_features
from dating.learning.latent.search import PLAIN_FITS, found_in, levels_in
from dating.learning.layout import Layout, layout_of
from dating.learning.quantities import SAMPLE, variables_of
from dating.learning.tally import Tally, tally_of
from dating.maker import Maker
from dating.tables import MonthTables
from dating.tabulation import month_tables

if TYPE_CHECKING:
    import xarray as xr

    from dating.learning.chains import Chains
    from dating.learning.density import Density

ACCEPT = 0.8


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
    def constants(self) -> Constants:
        """What learning takes as it stands."""
        return constants_of(self.maker, self.layout, self.tables)

    @cached_property
    def density(self) -> Density:
        """The log posterior of everything uncertain but free-form shares."""
        from dating.learning.density import density_of  # noqa: PLC0415

        return density_of(self.layout, self.constants, self.tally)

    @cached_property
    def by_instrument(self) -> Density:
        """The same log posterior with each instrument as a row of its own."""
        from dating.learning.density import density_of  # noqa: PLC0415

        tally = tally_of(self.corpus, self.layout, self.tables.output, pooled=False)
        return density_of(self.layout, self.constants, tally)

    def processor_seconds(self, draws: int | None = None) -> float:
        """Foretell how long sampling takes on one core."""
        from dating.learning.chains import usual_seconds  # noqa: PLC0415

        return usual_seconds(self.density, draws)

    @property
    def free_form(self) -> tuple[str, ...]:
        """The features whose shares are left to be learned."""
        return tuple(free_form_features(self.maker))

    @property
    def all_free_form(self) -> bool:
        """Whether free-form features are all that can bear on a date."""
        others = self.layout.is_open or self.maker.marks()
        return bool(self.free_form) and not others

    @property
    def counted(self) -> int:
        """How many instruments enter as counts."""
        return len(self.corpus.references) - self.tally.rows


def plan_of(maker: Maker, corpus: Corpus) -> Plan:
    """Lay out the work."""
    layout, tables = layout_of(maker), month_tables(maker)
    return Plan(maker, corpus, layout, tables, tally_of(corpus, layout, tables.output))


def learn(
    plan: Plan,
    *,
    draws: int | None = None,
    accept: float = ACCEPT,
    seed: int = 1,
    before: xr.DataTree | None = None,
    report: Callable[[str], None] = lambda _: None,
) -> xr.DataTree:
    """Sample the joint posterior of everything uncertain, with nutpie's NUTS.

    Where the maker file leaves shares to be learned, free-form shares and latent variants are
    found as well; where it leaves nothing else open, nothing is sampled.
    """
    from dating.learning.chains import chains_of  # noqa: PLC0415
    from dating.learning.groups import constant_group, further_groups  # noqa: PLC0415

    groups = {"constant_data": constant_group(plan.maker, plan.corpus, plan.tables.output)}
    if plan.free_form:
        groups |= _free_form_groups(plan, seed, report)
    if not plan.layout.is_open:
        fits = groups["latent"].sizes["fit"] if plan.free_form else FITS
        return _result(groups | _nothing_sampled(fits), plan, accept=accept, seed=seed)
    chains = chains_of(
        plan.density,
        draws=draws,
        accept=accept,
        seed=seed if before is None else _next_seed(before),
        before=None if before is None else _chains_in(before),
        report=report,
    )
    record = chains.thinned() if draws is None and chains.health.good else chains
    groups |= _sampled(plan, record)
    if not chains.stopped:
        report("what the model expects")
        groups |= further_groups(
            plan.maker,
            plan.corpus,
            plan.layout,
            plan.tables.output,
            density=plan.density,
            by_instrument=plan.by_instrument,
            unknowns=groups["unknowns"]["z"].values,
            seed=seed,
        )
    tree = _result(groups, plan, accept=chains.accept, seed=seed)
    tree.attrs["runs"] = 1 if before is None else int(before.attrs["runs"]) + 1
    if record is not chains:
        tree.attrs.update(chains.health.attributes())
    if chains.stopped:
        tree.attrs["stopped"] = 1
    return tree


def _chains_in(tree: xr.DataTree) -> Chains:
    """Take the chains out of a result."""
    from dating.learning.chains import Chains  # noqa: PLC0415

    unknowns = tree["unknowns"]["z"].transpose("chain", "draw", ...).values
    stats = tree["sample_stats"].to_dataset()
    return Chains(unknowns, stats, float(tree.attrs["accept"]), health_of(tree))


def _next_seed(tree: xr.DataTree) -> int:
    """Give the seed of the chains that go on with a result."""
    words = (int(tree.attrs["seed"]), int(tree.attrs["runs"]))
    return int(np.random.SeedSequence(words).generate_state(1)[0] >> 1)


def _sampled(plan: Plan, chains: Chains) -> dict[str, xr.Dataset]:
    """Give the groups of the draws themselves."""
    from dating.learning.groups import unknowns_group  # noqa: PLC0415

    quantities = plan.density.quantities(chains.unknowns)
    stats = chains.stats.drop_vars(["draw", "chain"], errors="ignore").drop_attrs()
    sizes = {
        name: np.arange(length) for name, length in zip(SAMPLE, chains.unknowns.shape, strict=False)
    }
    return {
        "posterior": variables_of(plan.maker, quantities),
        "unknowns": unknowns_group(plan.density, chains.unknowns),
        "sample_stats": stats.assign_coords(sizes),
    }


def _nothing_sampled(fits: int) -> dict[str, xr.Dataset]:
    """Give empty draws, one for each fit of the latent variants."""
    import xarray as xr  # noqa: PLC0415

    sizes = {"chain": np.arange(1), "draw": np.arange(fits)}
    diverging = (SAMPLE, np.zeros((1, fits), dtype=bool))
    return {
        "posterior": xr.Dataset(coords=sizes),
        "sample_stats": xr.Dataset({"diverging": diverging}, sizes),
    }


def _free_form_groups(
    plan: Plan, seed: int, report: Callable[[str], None]
) -> dict[str, xr.Dataset]:
    output = plan.tables.output
    plain_fits = FITS if plan.layout.tracks else PLAIN_FITS
    latent = found_in(plan.corpus, output, seed, report, plain_fits)
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
