"""Whether a changeover rests on its judgement or on the corpus, by power-scaling.

Power-scaling asks what the answer would be had the judgement, or the corpus, said the same a little
louder or softer: its log density is multiplied by 0.99 and by 1.01, and the posterior follows by
importance weights, without learning anew. What moves with the one rests on it.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import chain
from typing import TYPE_CHECKING, Literal

import numpy as np

from dating.distributions import Certain
from dating.learning.layout import Layout
from dating.learning.quantities import arrays_of

if TYPE_CHECKING:
    import xarray as xr

type What = Literal["first use", "overlap"]

THRESHOLD = 0.05
"""Sensitivity from which a quantity counts as resting on what was scaled (Kallioinen et al.)."""


@dataclass(frozen=True)
class Sensitivity:
    """What one quantity of a changeover rests on.

    Parameters
    ----------
    name : str
        The changeover, such as ``heel-joint, regime 2``.
    what : {"first use", "overlap"}
        Its date or its width.
    to_judgement : float
        Sensitivity to the judgement of the changeover's own numbers.
    to_data : float
        Sensitivity to the corpus.
    rests_on : str
        "data", "judgement", "both" or "neither", as the two reach 0.05.
    """

    name: str
    what: What
    to_judgement: float
    to_data: float
    rests_on: str


def sensitivities_of(layout: Layout, tree: xr.DataTree) -> tuple[Sensitivity, ...]:
    """Work out what the date and the width of every changeover rest on.

    Only the judgement of the changeover's own numbers is scaled (its first use, or its event and
    lag, and its overlap): a maker file has a hundred numbers, and scaling all judgements at once
    would drown the one in question. They are scaled as standard normals, which leaves the medians
    where they are and serves judgements that have no density, such as a certain assessor's.
    Overlaps are taken by their logarithms, or their long tails would count for too much. The
    corpus is scaled as a whole, as one sum; among a hundred uncertain
    numbers and with 4,000 draws, chance alone then gives one of which it says nothing about 0.03.

    Parameters
    ----------
    layout : Layout
        The maker file's changeovers.
    tree : DataTree
        A result of learning, with its groups ``posterior``, ``constant_data``, ``unknowns`` and
        ``log_likelihood``.

    Returns
    -------
    tuple of Sensitivity
        By changeover, in the order of the maker file, the first use before the overlap; what is
        certain is left out.

    References
    ----------
    Kallioinen, N., Paananen, T., Buerkner, P.-C. and Vehtari, A. (2024). Detecting and diagnosing
    prior and likelihood sensitivity with power-scaling. *Statistics and Computing* 34:57, for the
    method, the scaling of selected priors and the threshold. doi:10.1007/s11222-023-10366-5
    """
    import arviz as az  # noqa: PLC0415

    own = _own_numbers(layout)
    questions = [
        (ramp, what) for ramp, numbers in enumerate(own) for what in numbers if numbers[what]
    ]
    if not questions:
        return ()
    draws = _Draws(layout, tree)
    scaled = draws.arranged(questions, [[*chain(*numbers.values())] for numbers in own])
    to_data = np.zeros(len(questions))
    if draws.has_data:
        to_data = az.psense(scaled, group="likelihood")["asked"].values
    sensitivities = []
    for place, (ramp, what) in enumerate(questions):
        chosen, prior = {"place": [place]}, {"ramp": [ramp]}
        moved = az.psense(scaled, group="prior", coords=chosen, group_coords=prior)
        scores = float(moved["asked"].item()), float(to_data[place])
        sensitivities.append(
            Sensitivity(layout.ramp_names[ramp], what, *scores, _rests_on(*scores))
        )
    return tuple(sensitivities)


class _Draws:
    """The draws of a result, and their arrangement as power-scaling takes them."""

    def __init__(self, layout: Layout, tree: xr.DataTree) -> None:
        value = arrays_of(tree)["value"]
        z = tree["unknowns"]["z"].transpose("chain", "draw", ...).values
        record = tree["log_likelihood"]["record"].astype(float)
        log_likelihood = record.sum("instrument").transpose("chain", "draw").values
        flat = value.reshape(-1, value.shape[-1])
        self.z, self.log_likelihood = z, log_likelihood
        self.has_data = float(np.ptp(log_likelihood)) > 0
        self.by_what = {
            "first use": layout.starts(flat).reshape(*z.shape[:2], -1),
            "overlap": np.log(layout.overlaps(flat)).reshape(*z.shape[:2], -1),
        }

    def arranged(self, questions: list[tuple[int, What]], own: list[list[int]]) -> xr.DataTree:
        """Arrange what is asked about, the log density of judgements by ramp, and the corpus's."""
        import xarray as xr  # noqa: PLC0415

        values = [self.by_what[what][..., ramp] for ramp, what in questions]
        judged = [-0.5 * (self.z[..., places] ** 2).sum(axis=-1) for places in own]
        groups = {
            "posterior": ("asked", "place", np.stack(values, axis=-1)),
            "log_prior": ("judgement", "ramp", np.stack(judged, axis=-1)),
            "log_likelihood": ("corpus", "whole", self.log_likelihood[..., None]),
        }
        return xr.DataTree.from_dict(
            {
                group: xr.Dataset(
                    {name: (("chain", "draw", dim), array)}, {dim: range(array.shape[-1])}
                )
                for group, (name, dim, array) in groups.items()
            }
        )


def _own_numbers(layout: Layout) -> list[dict[What, list[int]]]:
    """Give, by changeover, the positions in z of the uncertain numbers of its date and width."""
    judged = enumerate(layout.numbers.values())
    uncertain = [place for place, number in judged if not isinstance(number, Certain)]
    position = {place: z for z, place in enumerate(uncertain)}
    return [
        {
            "first use": [position[p] for p in (ramp.start, ramp.lag) if p in position],
            "overlap": [position[p] for p in (ramp.overlap,) if p in position],
        }
        for ramp in layout.ramps
    ]


def _rests_on(to_judgement: float, to_data: float) -> str:
    """Put the two sensitivities into one word."""
    match to_judgement >= THRESHOLD, to_data >= THRESHOLD:
        case True, True:
            return "both"
        case True, False:
            return "judgement"
        case False, True:
            return "data"
        case _:
            return "neither"
