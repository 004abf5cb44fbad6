"""What is learned as variables with labels, and back as the plain arrays that month tables take.

A variable holds only what is learned: what is certain, or stated as never or always so, stands in
the group ``constant_data`` of a result, beside the judged medians of the rest.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from dating.arrays import Floats
from dating.distributions import Certain
from dating.learning.layout import Layout, layout_of, mixed_of
from dating.learning.walk import DEVIATION, STEP
from dating.maker import Maker
from dating.months import month_label

if TYPE_CHECKING:
    import xarray as xr


SAMPLE = ("chain", "draw")


@dataclass(frozen=True)
class Variable:
    """How one kind of number is kept.

    Parameters
    ----------
    name, dimension : str
        The variable, and the dimension along which its numbers are named.
    before, behind : str
        What the layout writes before and behind that name.
    """

    name: str
    dimension: str
    before: str
    behind: str

    def label(self, number: str) -> str | None:
        """Give what a number of the layout is named along the dimension."""
        if not (number.startswith(self.before) and number.endswith(self.behind)):
            return None
        return number[len(self.before) : len(number) - len(self.behind)]


NUMBERS = (
    Variable("event_month", "event", "event ", ""),
    Variable("first_use", "changeover", "", ", first use"),
    Variable("lag", "event_changeover", "", ", lag"),
    Variable("overlap", "gradual_changeover", "", ", overlap"),
)
_YEARS = {"event_month": "event_year", "first_use": "first_use_year"}
_CHANCES = {
    "slip": ("slip", "slip_feature", "a slip"),
    "replaced": ("replacement", "replacement_feature", "a later replacement"),
}

_OTHERS = {
    "spread": ("spread", "measurement"),
    "lag": ("mark_lag", "mark"),
    "lag_ratio": ("mark_lag_ratio", "mark"),
    "output_scale": ("output_scale", "scale"),
    "output_share": ("output_share", "month"),
}
"""Variable and dimension of what is named as the density names it."""


def variables_of(maker: Maker, arrays: Mapping[str, Floats]) -> xr.Dataset:
    """Label draws of everything that is learned.

    Shapes: arrays (chain, draw, ...); gives (chain, draw, one more).
    """
    import xarray as xr  # noqa: PLC0415

    layout = layout_of(maker)
    chains, draws = next(iter(arrays.values())).shape[:2]
    sizes = {"chain": np.arange(chains), "draw": np.arange(draws)}
    variables: dict[str, xr.DataArray] = {}
    for name, dimension, labels, values, units in _learned(maker, layout, arrays):
        if labels:
            coords = {dimension: labels}
            dims = (*SAMPLE, dimension)
            variables[name] = xr.DataArray(values, coords, dims, attrs={"units": units})
    for name, year in _YEARS.items():
        if name in variables:
            units = "calendar years; 1930.5 is the start of July 1930"
            variables[year] = (variables[name] + maker.period.first) / 12
            variables[year].attrs["units"] = units
    return xr.Dataset(variables, sizes)


def statements_of(maker: Maker) -> xr.Dataset:
    """Give what the maker file states of everything that may be learned."""
    import xarray as xr  # noqa: PLC0415

    layout, features = layout_of(maker), maker.features()
    coords = {
        "number": list(layout.numbers),
        "course": [track.label for track in layout.tracks],
        "feature": list(features),
        "stated_anchor": layout.anchor_names,
        "stated_measurement": [gauge.name for gauge in layout.gauges],
        "stated_mark": [lag.mark for lag in layout.lags],
    }
    medians = [float(judged.quantile(0.5)) for judged in layout.numbers.values()]
    stated: dict[str, tuple[Any, Any]] = {
        "stated_number": ("number", medians),
        "stated_share": (("course", "regime_of_course", "state_of_course"), layout.stated_shares),
        "stated_slip": ("feature", [feature.slip.value for _, feature in features.values()]),
        "stated_replacement": ("feature", [f.replaced.value for _, f in features.values()]),
        "stated_mean": ("stated_anchor", [m for gauge in layout.gauges for m in gauge.stated]),
        "stated_spread": ("stated_measurement", [gauge.spread for gauge in layout.gauges]),
        "stated_mark_lag": ("stated_mark", [lag.median for lag in layout.lags]),
        "stated_mark_lag_ratio": ("stated_mark", [1.0 for _ in layout.lags]),
    }
    if layout.walk is not None:
        stated["stated_output_scale"] = ("stated_scale", [STEP, DEVIATION])
        even = np.full(layout.months, 1 / layout.months)
        stated["stated_output_share"] = ("stated_month", even)
    arrays = {k: v for k, v in stated.items() if np.size(v[1])}
    used = {dim for dims, _ in arrays.values() for dim in np.atleast_1d(dims).tolist()}
    return xr.Dataset(arrays, {dim: names for dim, names in coords.items() if dim in used})


def outline_of(maker: Maker) -> xr.Dataset:
    """Give one draw as it is stated, to hold the names and shapes of others against.

    Shape: (chain, draw, one more).
    """
    import xarray as xr  # noqa: PLC0415

    if not layout_of(maker).is_open:
        return xr.Dataset()
    groups = {"posterior": xr.Dataset(coords={"chain": [0], "draw": [0]})}
    tree = xr.DataTree.from_dict(groups | {"constant_data": statements_of(maker)})
    return variables_of(maker, arrays_of(tree))


def arrays_of(tree: xr.DataTree) -> dict[str, Floats]:
    """Put what was learned into its places among all that is stated.

    Shape: (chain, draw, ...).
    """
    posterior = tree["posterior"].to_dataset()
    stated = tree["constant_data"].to_dataset()
    lead = tuple(posterior.sizes[dim] for dim in SAMPLE)

    def filled(name: str, empty: tuple[int, ...]) -> Floats:
        values = stated[name].values if name in stated else np.zeros(empty)
        return np.array(np.broadcast_to(values, (*lead, *values.shape)), dtype=float)

    def put(array: Floats, name: str, places: list[int]) -> None:
        if places:
            array[..., places] = posterior[name].transpose(*SAMPLE, ...).values

    value = filled("stated_number", (0,))
    names = names_of(stated, "number")
    for kind in NUMBERS:
        if kind.name in posterior:
            _put_numbers(value, posterior[kind.name], kind, names)
    share = filled("stated_share", (0, 0, 0))
    if "share" in posterior:
        mixed = np.flatnonzero(mixed_of(stated["stated_share"].values))
        put(share.reshape(*lead, share[0, 0].size), "share", mixed.tolist())
    arrays = {"value": value, "share": share}
    for name, (variable, dimension, _) in _CHANCES.items():
        arrays[name] = filled(f"stated_{variable}", (0,))
        features = names_of(stated, "feature")
        labels = names_of(posterior, dimension)
        put(arrays[name], variable, [features.index(label) for label in labels])
    arrays["mean"] = filled("stated_mean", (0,))
    put(arrays["mean"], "mean", list(range(posterior.sizes.get("anchor", 0))))
    for name, (variable, dimension) in _OTHERS.items():
        arrays[name] = filled(f"stated_{variable}", (0,))
        labels = names_of(posterior, dimension) if variable in posterior else []
        of = names_of(stated, f"stated_{dimension}") or labels
        put(arrays[name], variable, [of.index(label) for label in labels])
    return arrays


def names_of(dataset: xr.Dataset, dimension: str) -> list[str]:
    """Give the labels along a dimension."""
    if dimension not in dataset.coords:
        return []
    return [str(name) for name in dataset[dimension].values.ravel().tolist()]


def _put_numbers(value: Floats, numbers: xr.DataArray, kind: Variable, names: list[str]) -> None:
    """Put the numbers of one kind into their places; a first use after an event is none of them."""
    places = {label: place for place, name in enumerate(names) if (label := kind.label(name))}
    labels = [str(label) for label in numbers[kind.dimension].values.tolist()]
    chosen = [(place, places[label]) for place, label in enumerate(labels) if label in places]
    if chosen:
        of, to = map(list, zip(*chosen, strict=True))
        value[..., to] = numbers.transpose(*SAMPLE, ...).values[..., of]


def _learned(
    maker: Maker, layout: Layout, arrays: Mapping[str, Floats]
) -> Iterator[tuple[str, str, list[str], Floats, str]]:
    """Give name, dimension, labels, values and unit of each variable."""
    if "value" in arrays:
        yield from _numbers(maker, layout, arrays["value"])
    if "share" in arrays:
        mixed = layout.mixed
        flat = arrays["share"].reshape(*arrays["share"].shape[:2], -1)
        labels = [" ".join((f"{c}, regime {r},", s)) for c, r, s in _mixed(layout)]
        yield "share", "regime_state", labels, flat[..., mixed.ravel()], "share of production"
    features = maker.features()
    for name, (variable, dimension, of) in _CHANCES.items():
        if name in arrays:
            chances = [getattr(feature, name).value for _, feature in features.values()]
            open_ = [place for place, chance in enumerate(chances) if 0 < chance < 1]
            labels = [list(features)[place] for place in open_]
            yield variable, dimension, labels, arrays[name][..., open_], f"probability of {of}"
    if "mean" in arrays:
        units = "unit of the measurement"
        yield "mean", "anchor", layout.anchor_names, arrays["mean"], units
    yield from _others(maker, layout, arrays)


def _others(
    maker: Maker, layout: Layout, arrays: Mapping[str, Floats]
) -> Iterator[tuple[str, str, list[str], Floats, str]]:
    """Give spreads of measurements, lags of marks, and the output."""
    learned = [place for place, lag in enumerate(layout.lags) if lag.learned]
    marks = [layout.lags[place].mark for place in learned]
    labels = {
        "spread": ([gauge.name for gauge in layout.gauges], "unit of the measurement"),
        "lag": (marks, "months, median over instruments"),
        "lag_ratio": (marks, "ratio to what was judged, on the log scale"),
        "output_scale": (["step", "deviation"], "logarithm of the output"),
        "output_share": (maker.period.labels(), "share of what was made"),
    }
    for name, (variable, dimension) in _OTHERS.items():
        if name in arrays and arrays[name].size:
            named, units = labels[name]
            values = arrays[name][..., learned] if dimension == "mark" else arrays[name]
            yield variable, dimension, named, values, units


def _numbers(
    maker: Maker, layout: Layout, value: Floats
) -> Iterator[tuple[str, str, list[str], Floats, str]]:
    """Give events, lags and overlaps, and the first use of every changeover that is uncertain."""
    uncertain = [not isinstance(judged, Certain) for judged in layout.numbers.values()]
    since = f"months from the start of {month_label(maker.period.first)}"
    for kind in NUMBERS:
        named = [(place, kind.label(name)) for place, name in enumerate(layout.numbers)]
        chosen = [(place, label) for place, label in named if label and uncertain[place]]
        values = value[..., [place for place, _ in chosen]]
        labels = [label for _, label in chosen]
        units = since if kind.name in _YEARS else "months"
        if kind.name == "first_use":
            moving = [
                p
                for p, r in enumerate(layout.ramps)
                if uncertain[r.start] or _is_uncertain(uncertain, r.lag)
            ]
            chains, draws, numbers = value.shape
            starts = layout.starts(value.reshape(chains * draws, numbers))
            values = starts.reshape(chains, draws, starts.shape[1])[..., moving]
            labels = [layout.ramp_names[place] for place in moving]
        yield kind.name, kind.dimension, labels, values, units


def _is_uncertain(uncertain: list[bool], place: int | None) -> bool:
    return place is not None and uncertain[place]


def _mixed(layout: Layout) -> Iterator[tuple[str, int, str]]:
    """Give course, regime counted from 1, and state of every share that is learned."""
    for course, regime, state in zip(*np.nonzero(layout.mixed), strict=True):
        track = layout.tracks[course]
        yield track.label, int(regime) + 1, track.states[state]


def particulars_of(maker: Maker) -> xr.Dataset:
    """Say of each share and each mean to what it belongs."""
    import xarray as xr  # noqa: PLC0415

    layout = layout_of(maker)
    more: dict[str, Any] = {}
    if mixed := list(_mixed(layout)):
        course, regime, state = map(list, zip(*mixed, strict=True))
        more["course_of_share"] = ("regime_state", course)
        more["regime_of_share"] = ("regime_state", regime)
        more["state_of_share"] = ("regime_state", state)
    if layout.gauges:
        units = {name: measured.unit for name, (_, measured) in maker.measurements().items()}
        anchors = [(gauge, anchor) for gauge in layout.gauges for anchor in gauge.anchors]
        more["measurement_of_mean"] = ("anchor", [gauge.name for gauge, _ in anchors])
        more["component_of_mean"] = ("anchor", [gauge.component for gauge, _ in anchors])
        more["month_of_mean"] = ("anchor", [anchor for _, anchor in anchors])
        more["unit_of_mean"] = ("anchor", [units[gauge.name] for gauge, _ in anchors])
    return xr.Dataset(more)
