"""A learned file held against its maker file: names, shapes, and numbers that can be right."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from dating.learning.health import health_from
from dating.learning.latent.mixture import Settings
from dating.learning.latent.rows import Cells, free_form_features
from dating.learning.layout import Layout, layout_of
from dating.maker import Maker
from dating.reading import Problem

if TYPE_CHECKING:
    import xarray as xr

type Floats = NDArray[np.float64]

FEWEST_DRAWS = 8
_CENTURY = 1200
_ROUNDING = 1e-6
_UNLIKELY = 1e-6
_FINGERPRINT = 64


def faults_of(tree: xr.DataTree, maker: Maker, file: str) -> list[Problem]:
    """Find what cannot be right in a learned file.

    Parameters
    ----------
    tree : DataTree
        What the file holds.
    maker : Maker
        The maker file that it was learned with.
    file : str
        Its name, as the user gave it.

    Returns
    -------
    list of Problem
        Arrays that are missing, have another shape than the maker file asks for, or hold numbers
        that are not finite, chances beyond 0 and 1, shares that do not sum to one, lengths below
        zero, or dates more than a century from the period and from what was judged.
    """
    found = _Inspection(file)
    _inspect_attributes(tree, found)
    if "posterior" not in tree:
        found.add("posterior", "there are no draws")
        return found.problems
    draws = _inspect_posterior(tree["posterior"].to_dataset(), maker, found)
    states = free_form_features(maker)
    if ("latent" in tree) != bool(states):
        said = "are missing" if states else "are none of this maker's"
        found.add("latent", f"free-form shares {said}")
    elif states:
        _inspect_latent(tree["latent"].to_dataset(), maker, draws, found)
    if "levels" in tree:
        _inspect_levels(tree["levels"].to_dataset(), found)
    return found.problems


class _Inspection:
    """Collects problems, each located in one file."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.problems: list[Problem] = []

    def add(self, key: str, message: str, found: object = "", allowed: str = "") -> None:
        self.problems.append(Problem(self.file, None, key, message, str(found), allowed))

    def array(
        self, dataset: xr.Dataset, key: str, name: str, shape: tuple[int | None, ...]
    ) -> Floats | None:
        """Give an array of finite numbers of a shape, of which None stands for any length."""
        if name not in dataset.variables:
            self.add(key, "is missing")
            return None
        values = np.asarray(dataset[name].values)
        fits = len(values.shape) == len(shape) and all(
            wanted in {None, length} for wanted, length in zip(shape, values.shape, strict=True)
        )
        if not fits:
            allowed = " × ".join("any" if length is None else str(length) for length in shape)
            found = " × ".join(map(str, values.shape))
            self.add(key, "has another shape than the maker file asks for", found, allowed)
            return None
        if values.dtype.kind not in "biuf":
            self.add(key, "must hold numbers", f"{values.dtype}")
            return None
        made = values.astype(float)
        if count := int((~np.isfinite(made)).sum()):
            self.add(key, "numbers are missing or infinite", f"{count:,} of {made.size:,}")
            return None
        return made

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
            found = f"sums from {total.min():.6g} to {total.max():.6g}"
            self.add(key, f"the shares of the {of} must sum to one", found)


def _inspect_attributes(tree: xr.DataTree, found: _Inspection) -> None:
    """Ask for the seed, the corpus and the diagnostics."""
    attributes = tree.attrs
    corpus = str(attributes.get("corpus_fingerprint", ""))
    if len(corpus) != _FINGERPRINT or not set(corpus) <= set("0123456789abcdef"):
        found.add("corpus_fingerprint", "must be a SHA-256 of 64 signs", corpus)
    _tried(lambda: int(attributes["seed"]) >= 0, "seed", "must be a whole number from 0 up", found)
    _tried(
        lambda: not health_from(attributes).divergences < 0,
        "rhat, ess, divergences, worst",
        "the diagnostics of the draws must be told",
        found,
    )


def _tried(rule: Callable[[], bool], key: str, message: str, found: _Inspection) -> None:
    try:
        holds = rule()
    except (KeyError, TypeError, ValueError, OverflowError):
        holds = False
    if not holds:
        found.add(key, message)


def _inspect_posterior(posterior: xr.Dataset, maker: Maker, found: _Inspection) -> int:
    """Inspect draws against the layout of the maker file; give how many there are."""
    layout, features = layout_of(maker), list(maker.features())
    draws = tuple(int(posterior.sizes.get(name, 0)) for name in ("chain", "draw"))
    if (count := draws[0] * draws[1]) < FEWEST_DRAWS:
        found.add("posterior", "has too few draws", count, f"at least {FEWEST_DRAWS}")
        return count
    for name in ("slip", "replaced"):
        if features:
            key = f"posterior/{name}"
            values = found.array(posterior, key, name, (*draws, len(features)))
            found.within(key, values, 0, 1, "a chance lies from 0 to 1")
    _inspect_names(posterior, "feature", features, found)
    if layout.tracks:
        _inspect_numbers(posterior, layout, draws, found)
        _inspect_shares(posterior, layout, draws, found)
    if layout.gauges:
        found.array(posterior, "posterior/mean", "mean", (*draws, len(layout.anchor_names)))
    return count


def _inspect_names(
    dataset: xr.Dataset, dimension: str, names: list[str], found: _Inspection
) -> None:
    """Hold the names along a dimension against those of the maker file, in its order."""
    if dimension in dataset.coords:
        told = [str(name) for name in dataset[dimension].values.ravel().tolist()]
        if told != names:
            other = next((t for t, n in zip(told, names, strict=False) if t != n), f"{len(told)}")
            key = f"posterior/{dimension}"
            found.add(key, "names differ from those of the maker file", other)


def _inspect_numbers(
    posterior: xr.Dataset, layout: Layout, draws: tuple[int, ...], found: _Inspection
) -> None:
    """Ask for numbers within a century of period and judgement, and overlaps not below zero."""
    key, names = "posterior/value", list(layout.numbers)
    if not names:
        return
    if "number" not in posterior.coords:
        found.add("posterior/number", "the names of the numbers are missing")
    _inspect_names(posterior, "number", names, found)
    values = found.array(posterior, key, "value", (*draws, len(names)))
    ends = [judged.quantile([_UNLIKELY, 1 - _UNLIKELY]) for judged in layout.numbers.values()]
    overlap = np.array([name.endswith(", overlap") for name in names])  # a lag may lead its event
    low = np.minimum([float(end[0]) for end in ends], 0.0) - _CENTURY
    high = np.maximum([float(end[1]) for end in ends], layout.months) + _CENTURY
    found.within(
        key,
        values,
        np.where(overlap, 0.0, low),
        high,
        "dates lie more than a century from the maker's period, or overlaps below zero",
    )


def _inspect_shares(
    posterior: xr.Dataset, layout: Layout, draws: tuple[int, ...], found: _Inspection
) -> None:
    """Sum the shares of every regime over the states of its own course."""
    key = "posterior/share"
    shares = found.array(posterior, key, "share", (*draws, *layout.stated_shares.shape))
    if shares is None:
        return
    for place, track in enumerate(layout.tracks):
        depth, width = track.shares.shape
        own = shares[:, :, place, :depth, :width]
        found.sums(f"{key}, {track.label}", own, -1, "states")


def _inspect_latent(dataset: xr.Dataset, maker: Maker, draws: int, found: _Inspection) -> None:
    """Inspect free-form shares and latent variants against the features that are free-form."""
    months, states = len(maker.period), free_form_features(maker)
    cells = _cells(dataset, months, found)
    if cells is None:
        return
    weight = found.array(dataset, "latent/weight", "weight", (None, len(cells), None))
    if weight is None:
        return
    fits, _, variants = weight.shape
    if not 0 < fits <= draws or not variants:
        allowed = f"1 to {draws} fits, 1 variant or more"
        found.add("latent/weight", "cannot be used", f"{fits} fits, {variants} variants", allowed)
        return
    found.sums("latent/weight", weight, 2, "latent variants")
    kept = [str(name) for name in dataset.data_vars if str(name).startswith("shares ")]
    told = [str(dataset[name].attrs.get("feature", "")) for name in kept]
    if told != list(states) or kept != [f"shares {place}" for place in range(len(states))]:
        allowed = ", ".join(states)
        found.add("latent", "has other features than the maker file", ", ".join(told), allowed)
        return
    for name, feature in zip(kept, told, strict=True):
        key = f"latent/{name} ({feature})"
        shape = (fits, len(states[feature]), len(cells), variants)
        found.sums(key, found.array(dataset, key, name, shape), 1, "states")
    _inspect_settings(dataset, fits, variants, found)


def _cells(dataset: xr.Dataset, months: int, found: _Inspection) -> Cells | None:
    try:
        cells = Cells(int(dataset.attrs["months"]), int(dataset.attrs["width"]))
        told = [float(dataset.attrs[name]) for name in ("gain", "error")]
    except (KeyError, TypeError, ValueError, OverflowError):
        found.add("latent", "months, width, gain and error must be numbers")
        return None
    if cells.months != months or not 0 < cells.width <= months or not np.isfinite(told).all():
        words = f"{cells.months} months in cells of {cells.width}"
        found.add("latent", "has another period than the maker file", words, f"{months} months")
        return None
    return cells


def _inspect_settings(dataset: xr.Dataset, fits: int, variants: int, found: _Inspection) -> None:
    for name in (field.name for field in fields(Settings)):
        key = f"latent/{name}"
        values = found.array(dataset, key, name, (fits,))
        low, high = (variants, variants) if name == "variants" else (0, np.inf)
        found.within(key, values, low, high, "cannot be")


def _inspect_levels(dataset: xr.Dataset, found: _Inspection) -> None:
    """Ask for a correction that rises from 0 to 1, and from how many instruments it comes."""
    key = "levels/held"
    held = found.array(dataset, key, "held", (None,))
    if held is not None and not _rising(held):
        found.add(key, "must rise from 0 to 1")
    instruments = dataset.attrs.get("instruments")
    _tried(lambda: int(instruments or 0) > 0, "levels", "instruments must be a number", found)


def _rising(held: Floats) -> bool:
    rises = bool(len(held) > 1 and (np.diff(held) >= 0).all())
    return rises and abs(held[0]) <= _ROUNDING and abs(held[-1] - 1) <= _ROUNDING
