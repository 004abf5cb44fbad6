"""The picture of how the chains mixed, for the numbers that mixed worst."""

from __future__ import annotations

from typing import TYPE_CHECKING

import arviz as az
import matplotlib.pyplot as plt
import xarray as xr

from dating.figures.style import CORE, DOUBT, INK, SET, plain

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from dating.learning.outcome import Outcome

_CHAINS = {"color": [CORE, DOUBT, SET, INK], "linestyle": ["-", "--", "-.", ":"]}


def draw_mixing(outcome: Outcome) -> Figure:
    """Draw the three numbers that mixed worst: each chain's density and its ranks.

    Parameters
    ----------
    outcome : Outcome
        The result.

    Returns
    -------
    Figure
        A matplotlib figure; its label says in words what it shows.

    References
    ----------
    Saeilynoja, T., Buerkner, P.-C. and Vehtari, A. (2022). Graphical test for discrete uniformity
    and its applications in goodness-of-fit evaluation and multiple sample comparison. *Statistics
    and Computing* 32:32. doi:10.1007/s11222-022-10090-6
    """
    sizes = outcome.summary[["ess_bulk", "ess_tail"]].min(axis=1)
    worst = {
        str(name): outcome.draws.sel(number=name, drop=True) for name in sizes.nsmallest(3).index
    }
    collection = az.plot_rank_dist(
        xr.DataTree.from_dict({"posterior": xr.Dataset(worst)}),
        compact=False,
        backend="matplotlib",
        aes={"color": ["chain"], "linestyle": ["chain"]},
        figure_kwargs={"figsize": (7.6, 1.5 * len(worst) + 0.3), "layout": "constrained"},
        **_CHAINS,
    )
    figure: Figure = collection.viz["figure"].item()
    plt.close(figure)
    for axes in figure.axes:
        plain(axes)
        axes.set_ylabel("")
        axes.set_xlabel(
            axes.get_xlabel().replace("Fractional ranks", "rank"), fontsize=8, color=INK
        )
        for text in axes.texts:
            text.remove()
    figure.set_label(
        f"Density and ranks of each of the four chains for {'; '.join(worst)}, which mixed worst."
    )
    return figure
