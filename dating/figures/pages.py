"""Pictures made ready for a page: self-contained, reproducible, and following a dark screen."""

from __future__ import annotations

import base64
import io
import re
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from dating.figures.style import CORE, DOUBT, INK, REST, SET, own_settings
from dating.words.page import PagePicture

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from dating.learning.outcome import Outcome

_DARK = {
    INK: "#e6e4df",
    "#000000": "#e6e4df",
    CORE: "#8dbfe6",
    SET: "#3d6d92",
    REST: "#465059",
    DOUBT: "#ec9c57",
    "#ffffff": "#14181b",
}
_FONTS = {"font.family": "sans-serif", "font.sans-serif": ["DejaVu Sans"]}
_PATH, _DECIMALS = re.compile(r' d="[^"]*"'), re.compile(r"(\.\d\d)\d+")
_PLAIN = {"Format": None, "Type": None, "Creator": None, "Date": None}


def pictures_of(outcome: Outcome) -> Iterator[tuple[str, PagePicture]]:
    """Draw every picture of a result, one after the other."""
    # What notes need of this module does without the libraries of these two.
    from dating.figures.changeovers import draw_changeover, draw_overview  # noqa: PLC0415
    from dating.figures.mixing import draw_mixing  # noqa: PLC0415

    if outcome.draws.size:
        yield "mixing", picture_of(draw_mixing(outcome))
    if outcome.shifts:
        yield "overview", picture_of(draw_overview(outcome))
    for place, shift in enumerate(outcome.shifts):
        yield shift.name, picture_of(draw_changeover(outcome, place))


def picture_of(figure: Figure) -> PagePicture:
    """Make a picture that a page can hold; the same figure gives the same text."""
    stream = io.BytesIO()
    reproducible: Any = {"svg.hashsalt": "dating", "svg.fonttype": "none", **_FONTS}
    with own_settings(reproducible):
        figure.savefig(stream, format="svg", transparent=True, metadata=_PLAIN)
    drawing = stream.getvalue().decode("utf-8")
    drawing = _following_the_screen(_short(drawing[drawing.index("<svg") :]))
    encoded = base64.b64encode(drawing.encode("utf-8")).decode("ascii")
    return PagePicture(f"data:image/svg+xml;base64,{encoded}", str(figure.get_label()))


def _short(drawing: str) -> str:
    """Give the paths two decimals, of a point of print: a page holds many pictures."""
    return _PATH.sub(lambda path: _DECIMALS.sub(r"\1", path[0]), drawing)


def _following_the_screen(drawing: str) -> str:
    """Turn each colour into a variable that a dark screen sets anew."""
    for colour in _DARK:
        drawing = drawing.replace(colour, f"var(--c{colour[1:]}, {colour})")
    dark = "".join(f"--c{colour[1:]}: {other};" for colour, other in _DARK.items())
    rule = f"<style>@media (prefers-color-scheme: dark) {{ :root {{ {dark} }} }}</style>"
    opening = drawing.index(">") + 1
    return drawing[:opening] + rule + drawing[opening:]
