"""The groups of a result: draws, what they rest on, and what the model expects of the corpus.

They are those of ArviZ, whose tools take them as they are: ``posterior``, ``prior``,
``posterior_predictive``, ``prior_predictive``, ``observed_data``, ``log_likelihood`` (by
instrument), ``log_prior`` (by kind of unknown), ``sample_stats``, ``constant_data``; and
``unknowns``, the standard normal coordinates in which the model is sampled.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from dating.arrays import Floats
from dating.learning import compiled_density as kernels
from dating.learning.corpus import Corpus
from dating.learning.density import Density
from dating.learning.layout import Layout
from dating.learning.parts import parts_dataset
from dating.learning.quantities import SAMPLE, particulars_of, statements_of, variables_of
from dating.learning.records import Records, predict_records
from dating.maker import Maker

if TYPE_CHECKING:
    import xarray as xr


PRIOR_DRAWS = 1000
PREDICTED = 50
"""Draws of each chain from which records are foretold, evenly spaced."""
MOST_CELLS = 16_000_000
"""Numbers of the log likelihood that are kept by instrument; above it, only their sums."""
_BLOCKS = {
    "z": "dates_and_lengths",
    "z share": "shares",
    "z slip": "slips",
    "z replaced": "replacements",
    "z mean": "means",
    "z spread": "spreads",
    "z lag": "mark_lags",
    "z output scale": "output_scales",
    "z output": "output",
}


def unknowns_group(density: Density, unknowns: Floats) -> xr.Dataset:
    """Label the coordinates in which the model is sampled.

    Shapes: unknowns (chain, draw, unknown).
    """
    import xarray as xr  # noqa: PLC0415

    names = [*map(str, density.names)]
    chains, draws, _ = unknowns.shape
    coords = {"chain": np.arange(chains), "draw": np.arange(draws), "unknown": _apart(names)}
    z = xr.DataArray(unknowns, coords, (*SAMPLE, "unknown"), attrs={"units": "standard deviations"})
    return xr.Dataset({"z": z})


def constant_group(maker: Maker, corpus: Corpus, output: Floats) -> xr.Dataset:
    """Give what is stated: by the maker file of all numbers, by the corpus of each instrument.

    Shapes: output (month,).
    """
    stated, references = statements_of(maker).merge(particulars_of(maker)), corpus.references
    names = [reference.examination.instrument for reference in references]
    return (
        stated.merge(parts_dataset(maker))
        .assign(
            output=("month", output, {"units": "probability of the build month"}),
            built=("instrument", [reference.stated for reference in references]),
            trust=("instrument", [float(r.trust) for r in references], {"units": "probability"}),
            line=("instrument", [reference.line for reference in references]),
        )
        .assign_coords(month=list(maker.period.labels()), instrument=names)
    )


def further_groups(
    maker: Maker,
    corpus: Corpus,
    layout: Layout,
    output: Floats,
    *,
    density: Density,
    by_instrument: Density,
    unknowns: Floats,
    seed: int,
) -> dict[str, xr.Dataset]:
    """Work out all groups that follow from the draws.

    Shapes: output (month,); unknowns (chain, draw, unknown).
    """
    import xarray as xr  # noqa: PLC0415

    chains, draws, size = unknowns.shape
    sizes = {"chain": np.arange(chains), "draw": np.arange(draws)}
    records = Records(corpus, layout, output)
    before = np.random.default_rng((seed, 8)).standard_normal((1, PRIOR_DRAWS, size))
    places = np.unique(np.linspace(0, draws - 1, PREDICTED).round().astype(int))
    priors = {
        _BLOCKS.get(name, name): (SAMPLE, -0.5 * (z**2 + np.log(2 * np.pi)).sum(axis=-1))
        for name, z in density.split(unknowns).items()
    }
    few = before[:, :: PRIOR_DRAWS // (4 * PREDICTED)]
    return {
        "log_likelihood": log_likelihood_group(by_instrument, unknowns, records.instruments),
        "log_prior": xr.Dataset(priors, sizes),
        "prior": variables_of(maker, density.quantities(before)).astype(np.float32),
        "posterior_predictive": _foretold(records, density, unknowns[:, places], places, seed),
        "prior_predictive": _foretold(records, density, few, np.arange(few.shape[1]), seed),
        "observed_data": _observed(records),
    }


def log_likelihoods(by_instrument: Density, unknowns: Floats) -> Floats:
    """Give the log likelihood of every instrument in every draw.

    Shapes: unknowns (chain, draw, unknown); gives (chain, draw, instrument).
    """
    terms, (chains, draws, size) = by_instrument.terms, unknowns.shape
    by_row = np.empty((chains * draws, len(terms.rows.row) - 1))
    kernels.log_likelihoods(np.ascontiguousarray(unknowns.reshape(-1, size)), terms, by_row)
    return by_row.reshape(chains, draws, -1)


def log_likelihood_group(
    by_instrument: Density, unknowns: Floats, instruments: list[str]
) -> xr.Dataset:
    """Label the log likelihood of every instrument.

    Shapes: unknowns (chain, draw, unknown).
    """
    import xarray as xr  # noqa: PLC0415

    values = log_likelihoods(by_instrument, unknowns)
    if values.size > MOST_CELLS:
        values, instruments = values.sum(axis=-1, keepdims=True), ["all instruments"]
    chains, draws, _ = values.shape
    coords = {"chain": np.arange(chains), "draw": np.arange(draws), "instrument": instruments}
    record = xr.DataArray(values.astype(np.float32), coords, (*SAMPLE, "instrument"))
    return xr.Dataset({"record": record.assign_attrs(units="natural logarithm")})


def _foretold(
    records: Records, density: Density, x: Floats, draws: NDArray[np.int64], seed: int
) -> xr.Dataset:
    """Label predictions; draws are named as in the group that they are made from."""
    codes, values = predict_records(records, density, x.reshape(-1, x.shape[-1]), seed)
    return _labelled(records, codes, values, {"chain": np.arange(len(x)), "draw": draws})


def _observed(records: Records) -> xr.Dataset:
    codes = np.array([code for _, _, code in records.sights], dtype=np.int64)
    values = np.array([value for _, _, value, _ in records.readings])
    return _labelled(records, codes, values, {})


def _labelled(
    records: Records, codes: NDArray[np.int64], values: Floats, sample: dict[str, Any]
) -> xr.Dataset:
    """Label states, their counts by feature, and measured values; those that there are."""
    import xarray as xr  # noqa: PLC0415

    names, gauges = records.instruments, [gauge.name for gauge in records.layout.gauges]
    lead, dims = tuple(len(at) for at in sample.values()), tuple(sample)

    def array(flat: NDArray[Any], dim: str, units: str) -> tuple[Any, ...]:
        return (*dims, dim), flat.reshape(*lead, flat.shape[-1]), {"units": units}

    variables: dict[str, Any] = {}
    coords: dict[str, Any] = dict(sample)
    if records.sights:
        variables["state"] = array(
            codes.astype(np.int8), "sight", "position among the feature's states"
        )
        coords["sight"] = [f"{names[place]}: {feature}" for place, feature, _ in records.sights]
        variables["count"] = array(
            records.counts(codes).astype(np.int32), "feature_state", "instruments"
        )
        coords["feature_state"] = [f"{name}, {state}" for name, state in records.feature_states]
    if records.readings:
        variables["measured"] = array(
            values.astype(np.float32), "reading", "unit of the measurement"
        )
        readings = [(names[place], gauges[gauge]) for place, gauge, _, _ in records.readings]
        coords["reading"] = [f"{name}: {gauge}" for name, gauge in readings]
    return xr.Dataset(variables, coords)


def _apart(names: list[str]) -> list[str]:
    """Tell apart the names that stand several times, by a number."""
    return [
        name if names.count(name) == 1 else f"{name} ({names[: place + 1].count(name)})"
        for place, name in enumerate(names)
    ]
