"""The log posterior of learning as one function of its unknowns, with its gradient.

It is that of :func:`dating.learning.model.learning_model`, which is what is read and what this is
held to; the unknowns are the same, one after the other in the order of the model.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from dating.arrays import Floats
from dating.distributions import Certain
from dating.learning import compiled_density as kernels
from dating.learning.constants import Constants
from dating.learning.density_terms import open_chances, terms_of, unknowns_of
from dating.learning.layout import Layout
from dating.learning.tally import Tally
from dating.learning.terms import Terms


@dataclass(frozen=True, eq=False)
class Density:
    """The log posterior of everything uncertain.

    Parameters
    ----------
    terms : Terms
        What it is made of.
    blocks : dict of str to int
        How many unknowns each variable of the model has, in order.
    names : tuple of str
        What each unknown belongs to, in the words of the maker file.
    """

    terms: Terms
    blocks: dict[str, int]
    names: tuple[str, ...]

    @property
    def size(self) -> int:
        """How many unknowns there are."""
        return sum(self.blocks.values())

    def __call__(self, x: Floats) -> tuple[float, Floats]:
        """Give the log posterior and its gradient.

        Shapes: x (unknown,); gives gradient (unknown,).
        """
        gradient = np.empty(len(x))
        value, _ = kernels.log_posterior(x, self.terms, gradient)
        return value, gradient

    def processor_seconds(self, calls: int = 30) -> float:
        """Measure how long one call takes."""
        x = np.zeros(self.size)
        self(x)
        begun = time.process_time()
        for _ in range(calls):
            self(x)
        return (time.process_time() - begun) / calls

    def log_prior(self, x: Floats) -> Floats:
        """Give the logarithm of the prior density.

        Shapes: x (..., unknown); gives (...).
        """
        return np.asarray(-0.5 * (x**2 + np.log(2 * np.pi)).sum(axis=-1))

    def quantities(self, x: Floats) -> dict[str, Floats]:
        """Give what unknowns stand for, as the model names it.

        Shapes: x (chain, draw, unknown); gives (chain, draw, ...).
        """
        t, lead = self.terms, x.shape[:-1]
        flat = np.ascontiguousarray(x.reshape(-1, self.size))
        inner = {
            "value": t.numbers.kind.shape,
            "share": t.shares.stated.shape,
            "slip": (len(t.chances.slip) + 1,),
            "replaced": (len(t.chances.slip) + 1,),
            "mean": t.gauges.anchor_mean.shape,
            "spread": t.gauges.gauge_spread.shape,
            "lag": t.marks.lag_median.shape,
            "lag_ratio": t.marks.lag_median.shape,
            "output_scale": (2 if len(t.walk.reach) else 0,),
            "output_share": (len(t.walk.cosines) if len(t.walk.reach) else 0,),
        }
        arrays = {name: np.empty((len(flat), *shape)) for name, shape in inner.items()}
        kernels.quantities(flat, t, *arrays.values())
        arrays |= {name: arrays[name][:, :-1] for name in ("slip", "replaced")}
        present = {name: array for name, array in arrays.items() if array.shape[1:] != (0,)}
        return {name: array.reshape(*lead, *array.shape[1:]) for name, array in present.items()}

    def split(self, x: Floats) -> dict[str, Floats]:
        """Give the unknowns by the variables of the model.

        Shapes: x (..., unknown); gives (..., size of the variable).
        """
        ends = np.cumsum(list(self.blocks.values()))
        return dict(zip(self.blocks, np.split(x, ends[:-1], axis=-1), strict=True))


def density_of(layout: Layout, constants: Constants, tally: Tally) -> Density:
    """Lay out the log posterior of a corpus.

    Examples
    --------
    >>> from dating.files import read_maker
    >>> from dating.learning.constants import constants_of
    >>> from dating.learning.corpus import read_corpus
    >>> from dating.learning.layout import layout_of
    >>> from dating.learning.tally import tally_of
    >>> from dating.tabulation import month_tables
    >>> maker = read_maker("priors/marrowby.yaml")
    >>> corpus = read_corpus("demo_data/marrowby_corpus.csv", maker)
    >>> layout, tables = layout_of(maker), month_tables(maker)
    >>> tally = tally_of(corpus, layout, tables.output)
    >>> density = density_of(layout, constants_of(maker, layout, tables), tally)
    >>> value, gradient = density(np.zeros(density.size))
    >>> bool(np.isfinite(value)), gradient.shape == (density.size,)
    (True, True)
    """
    names = [name for name, j in layout.numbers.items() if not isinstance(j, Certain)]
    names += _mixed_names(layout)
    names += [f"slip of {constants.features[k]}" for k in open_chances(constants.slip)]
    names += [f"replacement of {constants.features[k]}" for k in open_chances(constants.replaced)]
    names += [f"mean of {anchor}" for anchor in layout.anchor_names]
    names += [f"spread of {gauge.name}" for gauge in layout.gauges]
    names += [f"lag of {lag.mark}" for lag in layout.lags if lag.learned for _ in range(2)]
    names += ["output"] * (0 if layout.walk is None else 2 + len(layout.walk.reach))
    blocks = {name: size for name, size in unknowns_of(layout, constants).items() if size}
    return Density(terms_of(layout, constants, tally), blocks, tuple(names))


def _mixed_names(layout: Layout) -> Iterator[str]:
    """Name the regime that each contrast of shares belongs to."""
    for track, mixed in zip(layout.tracks, layout.mixed, strict=True):
        for regime, states in enumerate(mixed, start=1):
            for _ in range(int(states.sum()) - 1):
                yield f"shares of {track.label}, regime {regime}"
