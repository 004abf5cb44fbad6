"""What learning takes from a maker file as it stands, by course and by measurement."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dating.arrays import Floats
from dating.evidence import swapped_chances
from dating.learning.layout import VARIANTS, Layout
from dating.maker import Maker
from dating.tables import MonthTables


@dataclass(frozen=True, eq=False)
class Constants:
    """What the model takes from the maker file as it stands, by course and by measurement.

    Parameters
    ----------
    features : tuple of str
        Names of the features, in the order of slips and replacements.
    feature : ndarray of int64, shape (track,)
        Position of the course's feature; one beyond the last for the variants.
    states : ndarray of float64, shape (track,)
        How many states the course has.
    slip, replaced : ndarray of float64, shape (feature,)
        Stated chances.
    replacement : ndarray of float64, shape (track, state)
        Shares of later replacements.
    swapped : ndarray of float64, shape (track,)
        Chance that the component was swapped.
    donor : ndarray of float64, shape (track, month)
        Build month of the donor.
    gauge_swapped : ndarray of float64, shape (gauge,)
        Chance that the component under a measurement was swapped.
    gauge_donor : ndarray of float64, shape (gauge, month)
        Build month of its donor.
    mark_swapped : ndarray of float64, shape (mark,)
        Chance that the component under a mark was swapped.
    mark_donor : ndarray of float64, shape (mark, month)
        Build month of its donor.
    """

    features: tuple[str, ...]
    feature: NDArray[np.int64]
    states: Floats
    slip: Floats
    replaced: Floats
    replacement: Floats
    swapped: Floats
    donor: Floats
    gauge_swapped: Floats
    gauge_donor: Floats
    mark_swapped: Floats
    mark_donor: Floats


def constants_of(maker: Maker, layout: Layout, tables: MonthTables) -> Constants:
    """Collect what the model takes as it stands."""
    features = maker.features()
    names = tuple(features)
    width = max((len(track.states) for track in layout.tracks), default=0)
    replacement = np.zeros((len(layout.tracks), width))
    chance = swapped_chances(maker)
    months = {name: donor.sum(axis=1).mean(axis=0) for name, donor in tables.donors.items()}
    swapped = np.zeros(len(layout.tracks))
    donor = np.tile(tables.output, (len(layout.tracks), 1))
    for position, track in enumerate(layout.tracks):
        if track.name == VARIANTS:
            continue
        part, feature = features[track.name]
        uniform = dict.fromkeys(track.states, 1 / len(track.states))
        shares = feature.replacement or uniform
        replacement[position, : len(track.states)] = [shares.get(s, 0.0) for s in track.states]
        swapped[position] = chance[part]
        donor[position] = months[part]
    places = {name: place for place, name in enumerate(names)}
    gauged, marked = ([on.component for on in each] for each in (layout.gauges, layout.lags))
    return Constants(
        features=names,
        feature=np.array([places.get(t.name, len(names)) for t in layout.tracks], dtype=np.int64),
        states=np.array([float(len(track.states)) for track in layout.tracks]),
        slip=np.array([feature.slip.value for _, feature in features.values()]),
        replaced=np.array([feature.replaced.value for _, feature in features.values()]),
        replacement=replacement,
        swapped=swapped,
        donor=donor,
        gauge_swapped=np.array([chance[part] for part in gauged]),
        gauge_donor=np.reshape([months[part] for part in gauged], (-1, layout.months)),
        mark_swapped=np.array([chance[part] for part in marked]),
        mark_donor=np.reshape([months[part] for part in marked], (-1, layout.months)),
    )
