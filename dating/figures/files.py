"""Pictures saved whole, reproducibly, in the format that the file's name asks for."""

from __future__ import annotations

import io
from pathlib import Path
from typing import TYPE_CHECKING

from dating.figures.style import own_settings
from dating.reading import InputError, Problem, write_whole

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FORMATS = (".svg", ".png", ".pdf")


def check_picture_name(path: Path) -> None:
    """Refuse a file name that no picture can be saved under.

    Raises InputError when the ending is not one of .svg, .png and .pdf, the folder does not exist,
    or matplotlib is not installed.
    """
    message = ""
    if path.suffix.lower() not in FORMATS:
        allowed = ", ".join(FORMATS)
        problem = Problem(str(path), None, "", "no such format of picture", path.suffix, allowed)
        raise InputError([problem])
    if not path.parent.is_dir():
        message = "the folder for the picture does not exist"
    try:
        import matplotlib  # noqa: F401, PLC0415
    except ImportError:
        message = "pictures need matplotlib; install instrument-dating[picture]"
    if message:
        raise InputError([Problem(str(path), None, "", message)])


def save_picture(figure: Figure, path: Path) -> None:
    """Save a figure whole or not at all; the same figure gives the same bytes.

    Raises InputError when the file cannot be written.
    """
    kind = path.suffix.lower().removeprefix(".")
    words = str(figure.get_label())
    metadata = {
        "svg": {"Title": words, "Description": words, "Date": None},
        "png": {"Title": words, "Description": words, "Software": None},
        "pdf": {"Title": words, "Subject": words, "CreationDate": None},
    }[kind]
    stream = io.BytesIO()
    with own_settings({"svg.hashsalt": "dating", "svg.fonttype": "path", "savefig.dpi": 150}):
        figure.savefig(stream, format=kind, metadata=metadata)
    write_whole(path, stream.getvalue())
