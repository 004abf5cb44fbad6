"""What was learned with one state of a maker file, carried over to another.

Parts of the maker file that an edit does not touch keep their draws. A part that has changed, or
is new, takes draws of its own judgement, independent of the rest; a part that is gone is left out.
A changeover that comes with an event goes the way of the event: its lag was learned together with
the date that the event had.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING

import numpy as np

from dating.arrays import Floats
from dating.learning.edits import Comparison, Edits, Parts
from dating.learning.latent.rows import free_form_features
from dating.learning.layout import layout_of
from dating.learning.parts import LISTED_VARIANTS, OUTPUT, PERIOD, parts_of
from dating.learning.prior import prior_draws
from dating.learning.quantities import SAMPLE, arrays_of, names_of, statements_of, variables_of
from dating.learning.walk import DEVIATION, STEP
from dating.maker import Maker

if TYPE_CHECKING:
    import xarray as xr


class TransferError(ValueError):
    """What was learned cannot be carried over to a maker file; the message says why."""


def transfer(tree: xr.DataTree, maker: Maker) -> tuple[xr.DataTree, Edits]:
    """Carry a result over to another state of its maker file.

    Raises TransferError when it does not say with which parts it was learned; when the period, the
    variants, or the number of regimes of a course has changed.
    """
    import xarray as xr  # noqa: PLC0415

    before, after = _parts_in(tree), parts_of(maker)
    _check(before, after)
    comparison = Comparison(before, after, layout_of(maker))
    edits = comparison.edits(corrected="levels" in tree)
    if not edits and _in_one_order(tree, maker):
        return tree, edits
    groups = {
        "posterior": _posterior(tree, maker, comparison),
        "constant_data": statements_of(maker),
    }
    if "latent" in tree:
        latent = tree["latent"].to_dataset()
        if features := _kept_free_form(latent, maker, comparison):
            groups["latent"] = _latent(latent, features)
    if "levels" in tree and not edits:
        groups["levels"] = tree["levels"].to_dataset()
    result = xr.DataTree.from_dict(groups)
    result.attrs = dict(tree.attrs)
    return result, edits


def unlearned_free_form(tree: xr.DataTree, maker: Maker) -> set[str]:
    """Name the free-form features of which a result holds no shares."""
    known = _free_form(tree["latent"].to_dataset()).values() if "latent" in tree else ()
    return set(free_form_features(maker)) - set(known)


def _in_one_order(tree: xr.DataTree, maker: Maker) -> bool:
    """Say whether what is stated stands in the order in which it stood."""
    then, now = tree["constant_data"].to_dataset(), statements_of(maker)
    gauged = ("stated_anchor", "stated_measurement", "stated_mark")
    dimensions = ("number", "course", "feature", *gauged)
    return all(names_of(then, each) == names_of(now, each) for each in dimensions)


def _parts_in(tree: xr.DataTree) -> dict[str, str]:
    """Read with which parts of a maker file a result was learned."""
    if "constant_data" not in tree or "maker_part" not in tree["constant_data"]:
        raise TransferError("it does not say with which parts of the maker file")
    stated = tree["constant_data"].to_dataset()
    prints = map(str, stated["maker_part"].values.ravel().tolist())
    return dict(zip(names_of(stated, "part"), prints, strict=True))


def _check(before: Parts, after: Parts) -> None:
    """Refuse what cannot be carried over."""
    for name, what in {PERIOD: "its period", LISTED_VARIANTS: "its variants"}.items():
        then, now = before.get(name, ""), after[name]
        if then != now:
            raise TransferError(f"{what} changed from {then or 'none'} to {now or 'none'}")
    for name in after:
        if name.startswith("regimes of ") and before.get(name, after[name]) != after[name]:
            course = name.removeprefix("regimes of ")
            change = f"from {before[name]} regimes to {after[name]}"
            raise TransferError(f"the history of {course} changed {change}")


def _posterior(tree: xr.DataTree, maker: Maker, comparison: Comparison) -> xr.Dataset:
    """Put the draws that are kept among draws of the present judgements."""
    layout, old = comparison.layout, arrays_of(tree)
    posterior = tree["posterior"].to_dataset()
    if not layout.is_open:
        return posterior[list(SAMPLE)]
    stated = tree["constant_data"].to_dataset()
    arrays = _judged(maker, (posterior.sizes["chain"], posterior.sizes["draw"]))

    def keep(array: str, dimension: str, names: list[str], labels: Collection[str]) -> None:
        places = {name: place for place, name in enumerate(names_of(stated, dimension))}
        for place, name in enumerate(names):
            if name in labels and name in places:
                arrays[array][..., place] = old[array][..., places[name]]

    numbers, features = list(layout.numbers), list(maker.features())
    keep("value", "number", numbers, [name for name in numbers if comparison.same_number(name)])
    for array, what in (("slip", "slip"), ("replaced", "replacement")):
        labels = [name for name in features if comparison.same_chance(what, name)]
        keep(array, "feature", features, labels)
    anchors = {
        f"{gauge.name} at {anchor}"
        for gauge in layout.gauges
        if comparison.same(f"measurement {gauge.name}")
        for anchor in gauge.anchors
    }
    keep("mean", "stated_anchor", layout.anchor_names, anchors)
    gauges, marks = ([g.name for g in layout.gauges], [lag.mark for lag in layout.lags])
    keep("spread", "stated_measurement", gauges, _same(comparison, "measurement", gauges))
    for array in ("lag", "lag_ratio"):
        keep(array, "stated_mark", marks, _same(comparison, "mark", marks))
    if layout.walk is not None and comparison.same(OUTPUT):
        arrays |= {name: old[name] for name in ("output_scale", "output_share")}
    courses = {label: place for place, label in enumerate(names_of(stated, "course"))}
    for place, track in enumerate(layout.tracks):
        width = len(track.states)
        for regime in range(len(track.shares)):
            if comparison.same_shares(track, regime + 1):
                kept_shares = old["share"][:, :, courses[track.label], regime, :width]
                arrays["share"][:, :, place, regime, :width] = kept_shares
    return variables_of(maker, arrays)


def _same(comparison: Comparison, kind: str, names: list[str]) -> set[str]:
    """Name the measurements or marks that are what they were."""
    return {name for name in names if comparison.same(f"{kind} {name}")}


def _judged(maker: Maker, lead: tuple[int, int]) -> dict[str, Floats]:
    """Draw everything from the present judgements, each number independent of the others."""
    draws, generator = prior_draws(maker), np.random.default_rng(7)
    count = lead[0] * lead[1]
    rows = np.resize(np.arange(len(draws.values)), count)
    arrays = {
        "value": generator.permuted(draws.values[rows], axis=0),
        "share": draws.shares[generator.permutation(rows)],
        "slip": generator.permuted(draws.slip[rows], axis=0),
        "replaced": generator.permuted(draws.replaced[rows], axis=0),
        "mean": generator.permuted(draws.means[rows], axis=0),
        "spread": generator.permuted(draws.spreads[rows], axis=0),
        "lag": generator.permuted(draws.lags[rows, :, 0], axis=0),
        "lag_ratio": generator.permuted(draws.lags[rows, :, 1], axis=0),
        "output_share": draws.output[generator.permutation(rows)],
    }
    if draws.output.size:
        arrays["output_scale"] = np.tile([STEP, DEVIATION], (count, 1))
    return {name: array.reshape(*lead, *array.shape[1:]) for name, array in arrays.items()}


def _free_form(latent: xr.Dataset) -> dict[str, str]:
    """Give the free-form features by the variables that hold their shares."""
    names = [str(name) for name in latent.data_vars if str(name).startswith("shares ")]
    return {name: str(latent[name].attrs["feature"]) for name in names}


def _kept_free_form(latent: xr.Dataset, maker: Maker, comparison: Comparison) -> list[str]:
    """Name the variables of free-form features that are what they were, in their present order."""
    variables = {feature: name for name, feature in _free_form(latent).items()}
    return [
        variables[name]
        for name in free_form_features(maker)
        if name in variables and comparison.same_feature(name)
    ]


def _latent(latent: xr.Dataset, features: list[str]) -> xr.Dataset:
    """Keep the shares of some free-form features."""
    shares = {}
    for place, name in enumerate(features):
        state = str(latent[name].dims[1])
        shares[f"shares {place}"] = latent[name].rename({state: f"state {place}"})
    return latent.drop_vars(list(_free_form(latent))).assign(shares)
