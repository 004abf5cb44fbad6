"""A learned file held against its maker file: names, shapes, and numbers that can be right."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import fields
from typing import TYPE_CHECKING, Any

import numpy as np

from dating.arrays import Floats
from dating.learning.health import health_from
from dating.learning.latent.mixture import Settings
from dating.learning.latent.rows import free_form_features
from dating.learning.latent.time_cells import Cells
from dating.learning.layout import Layout, layout_of
from dating.learning.quantities import (
    NUMBERS,
    SAMPLE,
    arrays_of,
    names_of,
    outline_of,
    statements_of,
)
from dating.maker import Maker
from dating.reading import Problem

if TYPE_CHECKING:
    import xarray as xr


FEWEST_DRAWS = 8
_CENTURY = 1200
_ROUNDING = 1e-6
_UNLIKELY = 1e-6
_FINGERPRINT = 64


def faults_of(
    tree: xr.DataTree, maker: Maker, file: str, without: Collection[str] = ()
) -> list[Problem]:
    """Find what cannot be right in a learned file."""
    inspection = _Inspection(file)
    _inspect_attributes(tree, inspection)
    if "posterior" not in tree:
        inspection.add("posterior", "there are no draws")
        return inspection.problems
    draws = _inspect_posterior(tree, maker, inspection)
    states = {n: s for n, s in free_form_features(maker).items() if n not in without}
    if ("latent" in tree) != bool(states):
        fault = "are missing" if states else "are none of this maker's"
        inspection.add("latent", f"free-form shares {fault}")
    elif states:
        _inspect_latent(tree["latent"].to_dataset(), len(maker.period), states, draws, inspection)
    if "levels" in tree:
        _inspect_levels(tree["levels"].to_dataset(), inspection)
    return inspection.problems


class _Inspection:
    """Collects problems, each located in one file."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.problems: list[Problem] = []

    def add(self, key: str, message: str, value: object = "", allowed: str = "") -> None:
        self.problems.append(Problem(self.file, None, key, message, str(value), allowed))

    def array(
        self, dataset: xr.Dataset, key: str, name: str, shape: tuple[int | None, ...]
    ) -> Floats | None:
        """Give an array of finite numbers of a shape, of which None stands for any length."""
        if name not in dataset.variables:
            self.add(key, "is missing")
            return None
        values = np.asarray(dataset[name].values)
        fits = len(values.shape) == len(shape) and all(
            size in {None, length} for size, length in zip(shape, values.shape, strict=True)
        )
        if not fits:
            allowed = " × ".join("any" if length is None else str(length) for length in shape)
            lengths = " × ".join(map(str, values.shape))
            self.add(key, "has another shape than the maker file asks for", lengths, allowed)
            return None
        if values.dtype.kind not in "biuf":
            self.add(key, "must hold numbers", f"{values.dtype}")
            return None
        numbers = values.astype(float)
        if count := int((~np.isfinite(numbers)).sum()):
            self.add(key, "numbers are missing or infinite", f"{count:,} of {numbers.size:,}")
            return None
        return numbers

    def names(self, key: str, own: list[str], names: list[str]) -> None:
        """Say that names along a dimension are not those of the maker file, in its order."""
        other = next((t for t, n in zip(own, names, strict=False) if t != n), f"{len(own)}")
        self.add(key, "names differ from those of the maker file", other)

    def within(self, key: str, values: Floats | None, low: Any, high: Any, what: str) -> None:
        """Say which values lie below or above what can be."""
        if values is None or not values.size:
            return
        below, above = values < np.asarray(low), values > np.asarray(high)
        if (below | above).any():
            outside = values[below | above]
            self.add(key, what, f"{outside.min():g} to {outside.max():g}")

    def sums(self, key: str, values: Floats | None, axis: int, of: str) -> None:
        """Say where probabilities are none, or do not sum to one."""
        if values is None or not values.size:
            return
        self.within(key, values, -_ROUNDING, 1 + _ROUNDING, "a share lies from 0 to 1")
        total = values.sum(axis=axis)
        if np.abs(total - 1).max() > _ROUNDING:
            extent = f"sums from {total.min():.6g} to {total.max():.6g}"
            self.add(key, f"the shares of the {of} must sum to one", extent)


def _inspect_attributes(tree: xr.DataTree, inspection: _Inspection) -> None:
    """Ask for the seed, the corpus and the diagnostics."""
    attributes = tree.attrs
    corpus = str(attributes.get("corpus_fingerprint", ""))
    if len(corpus) != _FINGERPRINT or not set(corpus) <= set("0123456789abcdef"):
        inspection.add("corpus_fingerprint", "must be a SHA-256 of 64 signs", corpus)
    _tried(
        lambda: int(attributes["seed"]) >= 0, "seed", "must be a whole number from 0 up", inspection
    )
    _tried(
        lambda: not health_from(attributes).divergences < 0,
        "rhat, ess, divergences, worst",
        "the diagnostics of the draws must be told",
        inspection,
    )


def _tried(rule: Callable[[], bool], key: str, message: str, inspection: _Inspection) -> None:
    try:
        holds = rule()
    except (KeyError, TypeError, ValueError, OverflowError):
        holds = False
    if not holds:
        inspection.add(key, message)


def _inspect_posterior(tree: xr.DataTree, maker: Maker, inspection: _Inspection) -> int:
    """Inspect draws against the layout of the maker file; give how many there are."""
    posterior = tree["posterior"].to_dataset()
    draws = tuple(int(posterior.sizes.get(name, 0)) for name in SAMPLE)
    if (count := draws[0] * draws[1]) < FEWEST_DRAWS:
        inspection.add("posterior", "has too few draws", count, f"at least {FEWEST_DRAWS}")
        return count
    before = len(inspection.problems)
    _inspect_stated(tree, maker, inspection)
    for name, expected in outline_of(maker).data_vars.items():
        key, dimension = f"posterior/{name}", str(expected.dims[-1])
        inspection.array(posterior, key, str(name), (*draws, expected.sizes[dimension]))
        labels = names_of(expected.to_dataset(name=name), dimension)
        if names_of(posterior, dimension) != labels:
            inspection.names(f"posterior/{dimension}", names_of(posterior, dimension), labels)
    if len(inspection.problems) == before:
        _inspect_ranges(arrays_of(tree), maker, inspection)
    return count


def _inspect_stated(tree: xr.DataTree, maker: Maker, inspection: _Inspection) -> None:
    """Ask for what the maker file states of all that may be learned."""
    if "constant_data" not in tree:
        inspection.add("constant_data", "what the maker file states is missing")
        return
    stated = tree["constant_data"].to_dataset()
    for name, expected in statements_of(maker).data_vars.items():
        key = f"constant_data/{name}"
        values = inspection.array(stated, key, str(name), expected.shape)
        if values is not None and not np.allclose(values, expected.values, rtol=1e-9, atol=1e-9):
            inspection.add(key, "differs from what the maker file states")
    for dimension in ("number", "feature"):
        named = names_of(statements_of(maker), dimension)
        if names_of(stated, dimension) != named:
            inspection.names(f"constant_data/{dimension}", names_of(stated, dimension), named)


def _inspect_ranges(arrays: dict[str, Floats], maker: Maker, inspection: _Inspection) -> None:
    """Ask for dates near the period, lengths from zero up, chances, and shares that sum to one."""
    layout = layout_of(maker)
    for name, variable in (("slip", "slip"), ("replaced", "replacement")):
        inspection.within(f"posterior/{variable}", arrays[name], 0, 1, "a chance lies from 0 to 1")
    for name, variable in (
        ("spread", "spread"),
        ("lag", "mark_lag"),
        ("lag_ratio", "mark_lag_ratio"),
    ):
        inspection.within(f"posterior/{variable}", arrays[name], 0, np.inf, "cannot be below zero")
    if layout.walk is not None:
        inspection.sums("posterior/output_share", arrays["output_share"], -1, "months")
    _inspect_numbers(arrays["value"], layout, inspection)
    for place, track in enumerate(layout.tracks):
        depth, width = track.shares.shape
        own = arrays["share"][:, :, place, :depth, :width]
        inspection.sums(f"posterior/share, {track.label}", own, -1, "states")


def _inspect_numbers(values: Floats, layout: Layout, inspection: _Inspection) -> None:
    """Ask for numbers within a century of period and judgement, and overlaps not below zero."""
    names = list(layout.numbers)
    ends = [judged.quantile([_UNLIKELY, 1 - _UNLIKELY]) for judged in layout.numbers.values()]
    overlap = np.array([name.endswith(", overlap") for name in names])  # a lag may lead its event
    low = np.minimum([float(end[0]) for end in ends], 0.0) - _CENTURY
    high = np.maximum([float(end[1]) for end in ends], layout.months) + _CENTURY
    for kind in NUMBERS:
        own = [place for place, name in enumerate(names) if kind.label(name)]
        inspection.within(
            f"posterior/{kind.name}",
            values[..., own],
            np.where(overlap, 0.0, low)[own],
            high[own],
            "dates lie more than a century from the maker's period, or overlaps below zero",
        )


def _inspect_latent(
    dataset: xr.Dataset,
    months: int,
    states: Mapping[str, tuple[str, ...]],
    draws: int,
    inspection: _Inspection,
) -> None:
    """Inspect free-form shares and latent variants against the features that are free-form."""
    cells = _cells(dataset, months, inspection)
    if cells is None:
        return
    weight = inspection.array(dataset, "latent/weight", "weight", (None, len(cells), None))
    if weight is None:
        return
    fits, _, variants = weight.shape
    if not 0 < fits <= draws or not variants:
        allowed = f"1 to {draws} fits, 1 variant or more"
        inspection.add(
            "latent/weight", "cannot be used", f"{fits} fits, {variants} variants", allowed
        )
        return
    inspection.sums("latent/weight", weight, 2, "latent variants")
    variables = [str(name) for name in dataset.data_vars if str(name).startswith("shares ")]
    features = [str(dataset[name].attrs.get("feature", "")) for name in variables]
    if features != list(states) or variables != [f"shares {place}" for place in range(len(states))]:
        allowed = ", ".join(states)
        inspection.add(
            "latent", "has other features than the maker file", ", ".join(features), allowed
        )
        return
    for name, feature in zip(variables, features, strict=True):
        key = f"latent/{name} ({feature})"
        shape = (fits, len(states[feature]), len(cells), variants)
        inspection.sums(key, inspection.array(dataset, key, name, shape), 1, "states")
    _inspect_settings(dataset, fits, variants, inspection)


def _cells(dataset: xr.Dataset, months: int, inspection: _Inspection) -> Cells | None:
    """Give the cells of time, which must cover the period of the maker file."""
    try:
        settings = [float(dataset.attrs[name]) for name in ("gain", "error")]
    except (KeyError, TypeError, ValueError):
        inspection.add("latent", "gain and error must be numbers")
        return None
    edges = inspection.array(dataset, "latent/edge", "edge", (None,))
    if edges is None:
        return None
    rises = len(edges) > 1 and (np.diff(edges) > 0).all() and (edges == np.rint(edges)).all()
    if not rises or edges[0] or edges[-1] != months or not np.isfinite(settings).all():
        words = f"edges {edges[0]:g} to {edges[-1]:g}" if len(edges) else "no edges"
        inspection.add("latent", "has another period than the maker file", words, f"0 to {months}")
        return None
    return Cells(tuple(int(edge) for edge in edges))


def _inspect_settings(
    dataset: xr.Dataset, fits: int, variants: int, inspection: _Inspection
) -> None:
    for name in (field.name for field in fields(Settings)):
        key = f"latent/{name}"
        values = inspection.array(dataset, key, name, (fits,))
        low, high = (1, variants) if name == "variants" else (0, np.inf)
        inspection.within(key, values, low, high, "cannot be")


def _inspect_levels(dataset: xr.Dataset, inspection: _Inspection) -> None:
    """Ask for a correction that rises from 0 to 1, and from how many instruments it comes."""
    key = "levels/held"
    curve = inspection.array(dataset, key, "held", (None,))
    if curve is not None and not _rising(curve):
        inspection.add(key, "must rise from 0 to 1")
    instruments = dataset.attrs.get("instruments")
    _tried(lambda: int(instruments or 0) > 0, "levels", "instruments must be a number", inspection)


def _rising(curve: Floats) -> bool:
    rises = bool(len(curve) > 1 and (np.diff(curve) >= 0).all())
    return rises and abs(curve[0]) <= _ROUNDING and abs(curve[-1] - 1) <= _ROUNDING
