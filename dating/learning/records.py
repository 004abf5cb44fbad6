"""What was recorded of a corpus as plain arrays, and what the model expects to be recorded of it.

Only what was recorded without doubt is set beside a prediction: one state, or a measured value.
A prediction takes what is stated of an instrument's date and variant, and nothing else that was
seen on it: its month and variant are drawn from that, and then each record apart.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from dating.arrays import Floats, Positions
from dating.evidence import state_weights
from dating.learning import compiled_density as kernels
from dating.learning.corpus import Corpus, Reference
from dating.learning.density import Density
from dating.learning.layout import VARIANTS, Layout
from dating.learning.terms import Terms


@dataclass(frozen=True, eq=False)
class Records:
    """States and measured values recorded of dated instruments.

    Parameters
    ----------
    corpus : Corpus
        The instruments.
    layout : Layout
        The maker file's courses and measurements.
    output : ndarray of float64, shape (month,)
        Prior probability of each build month.
    """

    corpus: Corpus
    layout: Layout
    output: Floats

    @cached_property
    def instruments(self) -> list[str]:
        """Names of the instruments, in the order of the corpus."""
        return [reference.examination.instrument for reference in self.corpus.references]

    @cached_property
    def months(self) -> Floats:
        """P(build month | stated date) summed up along the months, shape (instrument, month)."""
        probabilities = [
            reference.months_given(self.output) for reference in self.corpus.references
        ]
        return np.cumsum(probabilities, axis=1)

    @cached_property
    def variants(self) -> Floats:
        """What is recorded of the variant, as weights, shape (instrument, variant)."""
        names = self._variant_names
        return np.array([_variant_weights(r, names) for r in self.corpus.references])

    @cached_property
    def courses(self) -> dict[str, Positions]:
        """The course of each feature for each variant, shape (variant,); ``variants`` has one."""
        count = self.variants.shape[1]
        by_feature: dict[str, Positions] = {}
        for place, track in enumerate(self.layout.tracks):
            row = by_feature.setdefault(track.name, np.zeros(count, dtype=np.int64))
            only = None if track.variant is None else self._variant_names.index(track.variant)
            row[slice(None) if only is None else only] = place
        return by_feature

    @cached_property
    def sights(self) -> list[tuple[int, str, int]]:
        """Instrument, feature and position of the state, for each state seen without doubt."""
        rows = []
        for place, reference in enumerate(self.corpus.references):
            seen = {VARIANTS: reference.examination.variant, **reference.examination.seen}
            for name, states in self._states.items():
                sight = seen.get(name)
                if sight is not None and sight.sure is None and len(sight.named()) == 1:
                    (state,) = sight.named()
                    if not sight.is_neutral and state in states:
                        rows.append((place, name, states.index(state)))
        return rows

    @cached_property
    def readings(self) -> list[tuple[int, int, float, float]]:
        """Instrument, measurement, value and error of each measured value."""
        rows = []
        for place, reference in enumerate(self.corpus.references):
            for gauge, layout in enumerate(self.layout.gauges):
                read = reference.examination.measured.get(layout.name)
                if read is not None:
                    rows.append((place, gauge, float(read.value), float(read.within)))
        return rows

    @cached_property
    def feature_states(self) -> list[tuple[str, str]]:
        """Every feature that was seen without doubt, with each of its states."""
        seen = {name for _, name, _ in self.sights}
        return [(n, state) for n, states in self._states.items() if n in seen for state in states]

    def counts(self, codes: Positions) -> Positions:
        """Count the instruments that show each state of each feature.

        Shapes: codes (..., sight); gives (..., feature and state).
        """
        of = np.array([name for _, name, _ in self.sights])
        columns = [
            (codes[..., of == name] == self._states[name].index(state)).sum(axis=-1)
            for name, state in self.feature_states
        ]
        return np.stack(columns, axis=-1) if columns else np.zeros((*codes.shape[:-1], 0), int)

    @cached_property
    def _states(self) -> dict[str, tuple[str, ...]]:
        return {track.name: track.states for track in self.layout.tracks}

    @cached_property
    def _variant_names(self) -> tuple[str | None, ...]:
        return next((t.states for t in self.layout.tracks if t.name == VARIANTS), (None,))


def predict_records(
    records: Records, density: Density, x: Floats, seed: int
) -> tuple[Positions, Floats]:
    """Draw what the model expects to be recorded.

    Shapes: x (draw, unknown); gives codes (draw, sight), values (draw, reading).
    """
    t, generator = density.terms, np.random.default_rng((seed, 9))
    recorded = np.empty((*t.shares.stated.shape[::2], t.courses.donor.shape[1]))
    drift, spread = np.empty(t.gauges.gauge_donor.shape), np.empty(len(t.gauges.gauge_spread))
    codes = np.zeros((len(x), len(records.sights)), dtype=np.int64)
    values = np.zeros((len(x), len(records.readings)))
    for draw, each in enumerate(np.ascontiguousarray(x)):
        kernels.prediction(each, t, recorded, drift)
        month = _chosen(records.months, generator)
        codes[draw] = _states(records, t, recorded, month, generator)
        kernels.scales_of(each, t.gauges, spread, np.empty(0))
        values[draw] = _values(records, t, (drift, spread), month, generator)
    return codes, values


def _states(
    records: Records, t: Terms, recorded: Floats, month: Positions, generator: np.random.Generator
) -> Positions:
    """Draw a variant for each instrument, and a state for each of its sights."""
    if not records.sights:
        return np.zeros(0, dtype=np.int64)
    chances = records.variants
    if VARIANTS in records.courses:
        (among,) = {int(place) for place in records.courses[VARIANTS]}
        seen = recorded[among, : chances.shape[1], month]
        chances = chances * (seen * (1 - t.readings.floor) + t.readings.floor)
    variant = _chosen(np.cumsum(chances, axis=1), generator)
    instrument = np.array([place for place, _, _ in records.sights])
    courses = np.array([records.courses[name] for _, name, _ in records.sights])
    course = courses[np.arange(len(courses)), variant[instrument]]
    expected = recorded[course, :, month[instrument]] * (1 - t.readings.floor) + t.readings.floor
    expected *= np.arange(recorded.shape[1]) < t.courses.states[course][:, None]
    return _chosen(np.cumsum(expected, axis=1), generator)


def _values(
    records: Records,
    t: Terms,
    drifts: tuple[Floats, Floats],
    month: Positions,
    generator: np.random.Generator,
) -> Floats:
    """Draw measured values around the means of the instrument's or of a donor's month."""
    values, (drift, spread) = np.zeros(len(records.readings)), drifts
    for place, (instrument, gauge, _, within) in enumerate(records.readings):
        swapped = generator.random() < t.gauges.gauge_swapped[gauge]
        donor = int(_chosen(np.cumsum(t.gauges.gauge_donor[gauge])[None], generator)[0])
        mean = drift[gauge, donor if swapped else month[instrument]]
        freedom = t.gauges.tails[gauge]
        noise = generator.standard_t(freedom) if freedom else generator.standard_normal()
        values[place] = mean + np.hypot(spread[gauge], within) * noise
    return values


def _chosen(summed: Floats, generator: np.random.Generator) -> Positions:
    """Draw a place in each row of weights that are summed up along it."""
    at = generator.random((len(summed), 1)) * summed[:, -1:]
    return (summed <= at).sum(axis=1)


def _variant_weights(reference: Reference, names: tuple[str | None, ...]) -> Floats:
    """Give the weight of each variant, all alike where nothing is recorded of it."""
    sight = reference.examination.variant
    known = tuple(name for name in names if name is not None)
    if sight is None or sight.is_neutral or not known:
        return np.ones(len(names))
    return state_weights(sight, known)
