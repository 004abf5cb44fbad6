"""A corpus turned into counts and weighed months, the form in which the sampler takes it.

What was recorded becomes *readings*: a course together with a weight for each of its states, a
measurement together with its value, or a mark together with the stretches of time that it names.
Instruments whose month is known, trusted and of known variant enter as counts by reading and
month, so that their number does not matter. All others are summed over the months and variants
they may have come from: each month in which an instrument may have been built, as one variant, is
a *case* with its readings and a weight. Cases without weight are none, so that a narrow date costs
little.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from dating.arrays import Floats, Positions
from dating.evidence import state_weights
from dating.examination import ABSENT, Examination
from dating.learning.corpus import Corpus, Reference
from dating.learning.layout import VARIANTS, Layout
from dating.likelihoods import end_position, mark_stretches
from dating.maker import Maker

type Key = tuple[int, int, tuple[float, ...]]
"""A reading: its kind, the place of what it is of, and its weights, its value or its stretches."""

_STATE, _MEASURED, _MARK = range(3)


@dataclass(frozen=True, eq=False)
class Tally:
    """What a corpus says, without the corpus.

    Parameters
    ----------
    track : ndarray of int64, shape (sighting,)
        The course that a reading is of, for those of features and variants, which come first.
    weights : ndarray of float64, shape (sighting, state)
        Weights of the states, zero beyond those of the course.
    gauge : ndarray of int64, shape (measured,)
        The measurement that a reading is of, for those that come next.
    measured : ndarray of float64, shape (measured, 2)
        Its value, and the error of measuring, in its unit.
    mark : ndarray of int64, shape (marked,)
        The mark that a reading is of, for those that remain.
    stretches : tuple of tuple of (float, float), one for each marked
        Start and end of the stretches it may lie in, in months since the start of the period.
    otherwise : ndarray of float64, shape (marked, month)
        P(date | month) where it does not tell the build.
    counts : ndarray of float64, shape (reading, month)
        Instruments of known month with this reading.
    known : ndarray of float64, shape (month,)
        Instruments of known month.
    cases : ndarray of int64, shape (case, most)
        Which readings a case has, as positions in the readings laid out month by month, one
        reading after the other; a position beyond the last stands for no reading.
    case_weight : ndarray of float64, shape (case,)
        Prior probability of its month, given what is stated of the date, times the examiner's
        weight for the variant; above zero. Where the output is left to be learned, the probability
        of what is stated given the month instead.
    case_month : ndarray of int64, shape (case,)
        Its month.
    case_row : ndarray of int64, shape (case,)
        The instrument that a case belongs to, counted over those summed over.
    rows : int
        How many instruments are summed over.
    """

    track: Positions
    weights: Floats
    gauge: Positions
    measured: Floats
    mark: Positions
    stretches: tuple[tuple[tuple[float, float], ...], ...]
    otherwise: Floats
    counts: Floats
    known: Floats
    cases: Positions
    case_weight: Floats
    case_month: Positions
    case_row: Positions
    rows: int


def tally_of(corpus: Corpus, layout: Layout, output: Floats, *, pooled: bool = True) -> Tally:
    """Tally a corpus.

    Shapes: output (month,).
    """
    return _Tallying(corpus.maker, layout, output, pooled=pooled).tally(corpus)


class _Tallying:
    """Collects readings, counts and cases."""

    def __init__(self, maker: Maker, layout: Layout, output: Floats, *, pooled: bool) -> None:
        self.layout, self.output, self.pooled = layout, output, pooled
        self.period, self.marks = maker.period, maker.marks()
        self.known = np.zeros(layout.months)
        self.width = max((len(track.states) for track in layout.tracks), default=1)
        self.counts: dict[Key, Floats] = {}
        self.cases: list[tuple[int, Floats, list[Key]]] = []
        variants = [track.states for track in layout.tracks if track.name == VARIANTS]
        self.variants: tuple[str | None, ...] = variants[0] if variants else (None,)

    def tally(self, corpus: Corpus) -> Tally:
        rows = 0
        for reference in corpus.references:
            months = np.flatnonzero(reference.window)
            known = self._known_variant(reference.examination) if self.pooled else None
            if len(months) == 1 and reference.trust == 1 and known is not None:
                self.known[months[0]] += 1
                for key in self._readings(reference.examination, known):
                    self.counts[key][months[0]] += 1
            else:
                self._add_cases(reference, rows)
                rows += 1
        return self._arrays(rows)

    def _known_variant(self, examination: Examination) -> str | None:
        """Name the variant where it is settled; an empty text where there are none."""
        if self.variants == (None,):
            return ""
        sight = examination.variant
        return sight.state if sight is not None and sight.sure is None else None

    def _readings(self, examination: Examination, variant: str | None) -> list[Key]:
        keys = [*self._sighted(examination, variant), *self._measured(examination)]
        keys += self._marked(examination)
        for key in keys:
            self.counts.setdefault(key, np.zeros(self.layout.months))
        return keys

    def _sighted(self, examination: Examination, variant: str | None) -> Iterator[Key]:
        for position, track in enumerate(self.layout.tracks):
            if track.variant not in {None, variant}:
                continue
            if track.name == VARIANTS:
                weights = np.array([1.0 if state == variant else 0.0 for state in track.states])
            else:
                sight = examination.seen.get(track.name)
                if sight is None or sight.is_neutral:
                    continue
                weights = state_weights(sight, track.states)
            padded = np.zeros(self.width)
            padded[: len(weights)] = weights
            yield _STATE, position, tuple(padded.tolist())

    def _measured(self, examination: Examination) -> Iterator[Key]:
        for position, gauge in enumerate(self.layout.gauges):
            read = examination.measured.get(gauge.name)
            if read is not None:
                yield _MEASURED, position, (read.value, read.within)

    def _marked(self, examination: Examination) -> Iterator[Key]:
        for position, lag in enumerate(self.layout.lags):
            text = examination.marks.get(lag.mark)
            if text is not None and text != ABSENT:
                mark, day = self.marks[lag.mark][1], examination.day
                stretches = mark_stretches(text, mark, self.period, day)
                until = end_position(day) - self.period.first
                ends = tuple(end for stretch in stretches for end in stretch)
                yield _MARK, position, (until, *ends)

    def _add_cases(self, reference: Reference, row: int) -> None:
        open_ = self.layout.walk is not None
        stated = reference.likelihood if open_ else reference.months_given
        weights = stated(self.output)
        doubt = self._variant_weights(reference.examination)
        for variant, weight in doubt.items():
            readings = self._readings(reference.examination, variant)
            self.cases.append((row, weights * weight, readings))

    def _variant_weights(self, examination: Examination) -> dict[str | None, float]:
        sight = examination.variant
        if sight is None or sight.is_neutral or self.variants == (None,):
            return dict.fromkeys(self.variants, 1.0)
        names = tuple(name for name in self.variants if name is not None)
        weights = state_weights(sight, names)
        return {n: w for n, w in zip(names, weights.tolist(), strict=True) if w > 0}

    def _arrays(self, rows: int) -> Tally:
        months = self.layout.months
        keys = sorted(self.counts, key=lambda key: key[0])
        sighted, measured, marked = (
            [key for key in keys if key[0] == kind] for kind in (_STATE, _MEASURED, _MARK)
        )
        places = {key: place for place, key in enumerate(keys)}
        most = max((len(readings) for _, _, readings in self.cases), default=0)
        cases, weights, of_row = [np.zeros((0, most), dtype=np.int64)], [np.zeros(0)], []
        months_of = [np.zeros(0, dtype=np.int64)]
        for row, weight, readings in self.cases:
            month = np.flatnonzero(weight > 0)
            padded = np.full((len(month), most), len(keys) * months)
            padded[:, : len(readings)] = np.array([places[k] for k in readings], int) * months
            padded[:, : len(readings)] += month[:, None]
            cases.append(padded)
            weights.append(weight[month])
            months_of.append(month)
            of_row += [row] * len(month)
        return Tally(
            track=np.array([track for _, track, _ in sighted], dtype=np.int64),
            weights=np.array([weights for _, _, weights in sighted]).reshape(-1, self.width),
            gauge=np.array([gauge for _, gauge, _ in measured], dtype=np.int64),
            measured=np.array([value for _, _, value in measured]).reshape(-1, 2),
            mark=np.array([mark for _, mark, _ in marked], dtype=np.int64),
            stretches=tuple(_pairs(ends) for _, _, (_, *ends) in marked),
            otherwise=np.array(
                [
                    self.layout.lags[mark].otherwise(_pairs(ends), until)
                    for _, mark, (until, *ends) in marked
                ]
            ).reshape(-1, months),
            counts=np.array([self.counts[key] for key in keys]).reshape(-1, months),
            known=self.known,
            cases=np.concatenate(cases),
            case_weight=np.concatenate(weights),
            case_month=np.concatenate(months_of),
            case_row=np.array(of_row, dtype=np.int64),
            rows=rows,
        )


def _pairs(ends: Sequence[float]) -> tuple[tuple[float, float], ...]:
    """Pair the starts and ends of stretches that stand one after the other."""
    return tuple(zip(ends[::2], ends[1::2], strict=True))
