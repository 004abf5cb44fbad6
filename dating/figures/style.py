"""What the pictures share: colours that differ in lightness, the axis of years, plain frames."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from matplotlib.axes import Axes

INK = "#1b1b1b"
CORE = "#14466b"
SET = "#6f9fc4"
REST = "#d8dde1"
DOUBT = "#c9681a"


@contextmanager
def own_settings(settings: Mapping[str, Any]) -> Iterator[None]:
    """Draw with matplotlib's own settings and a few of ours, whatever others have set before.

    Examples
    --------
    >>> import matplotlib as mpl
    >>> with mpl.rc_context({"font.size": 30}), own_settings({"axes.grid": True}):
    ...     mpl.rcParams["font.size"], mpl.rcParams["axes.grid"]
    (10.0, True)
    """
    import matplotlib as mpl  # noqa: PLC0415

    with mpl.rc_context():
        mpl.rcdefaults()
        ours: Any = dict(settings)
        mpl.rcParams.update(ours)
        yield


def plain(axes: Axes) -> None:
    """Take the frame away above and to the right."""
    axes.spines[["top", "right"]].set_visible(False)
    axes.tick_params(labelsize=8, colors=INK)


def year_ticks(axes: Axes, start: float, stop: float) -> None:
    """Label whole years, and mark the quarters where there is room."""
    axes.set_xlim(start, stop)
    step = int(np.ceil((stop - start) / 12))
    axes.set_xticks(np.arange(np.ceil(start), stop + 0.01, step))
    axes.xaxis.set_major_formatter("{x:.0f}")
    if step == 1:
        axes.set_xticks(np.arange(np.ceil(start * 4) / 4, stop + 0.01, 0.25), minor=True)
