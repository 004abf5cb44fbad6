"""Options of the commands that write notes."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from dating.cli.inputs import INPUT
from dating.cli.needs import check_installed
from dating.notes.formats import ENDINGS, LIBRARIES

if TYPE_CHECKING:
    from dating.notes.house import House

FORMATS = tuple(ENDINGS)

_OPTIONS = (
    click.option(
        "--maker",
        type=INPUT,
        help="Maker file.  [default: the one the input file names, in a folder called priors]",
    ),
    click.option(
        "--learned",
        type=click.Path(path_type=Path),
        help="File written by dating learn; its draws replace the judgements.",
    ),
    click.option(
        "--level",
        type=click.FloatRange(0, 1, min_open=True, max_open=True),
        default=0.9,
        show_default=True,
        help="Probability that the stated date must reach.",
    ),
    click.option(
        "--language",
        "tongue",
        default="en",
        show_default=True,
        help="en, de, or a language file of your own (.yaml).",
    ),
    click.option(
        "--dates",
        type=click.Choice(["british", "american"]),
        default="british",
        show_default=True,
        help="Style of dates and percentages.",
    ),
    click.option(
        "--circa",
        type=click.Choice(["5", "10"]),
        default="5",
        show_default=True,
        help='Years either side that "circa" means; the note prints the choice.',
    ),
    click.option(
        "--templates",
        type=click.Path(path_type=Path),
        help="Folder of your own templates; each replaces the built-in one of the same name.",
    ),
    click.option(
        "--seed",
        type=click.IntRange(0, 2**63 - 1),
        default=1,
        show_default=True,
        help="Seed of the draws; the same seed always gives the same files.",
    ),
)


def worded(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the options that say how notes are worded."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


def house_for(
    templates: Path | None,
    formats: Sequence[str],
    more: Sequence[str] = (),
    learned: Path | None = None,
) -> House:
    """Check that everything is there that the formats need, and read the templates.

    Raises ClickException when a library is missing; InputError when a template has a fault.
    """
    needed = dict.fromkeys([*(name for form in formats for name in LIBRARIES[form]), *more])
    libraries = [*needed, *(["h5netcdf"] if learned else [])]
    check_installed("writing notes", libraries, "note,learn" if learned else "note")
    from dating.notes.house import house  # noqa: PLC0415

    return house(templates)


def inputs_of(options: Mapping[str, Any], house: House) -> list[Path]:
    """Name the files that the options of a command have it read."""
    tongue = str(options["tongue"])
    own = [Path(tongue)] if tongue.endswith((".yaml", ".yml")) else []
    named = [options[name] for name in ("maker", "learned") if options[name] is not None]
    return [*named, *own, *house.own_files]


def check_folder(out: Path) -> None:
    """Refuse a name that no folder can be made under, before any work.

    Raises BadParameter when it is a file, or the folder above it does not exist.
    """
    if out.exists() and not out.is_dir():
        message = f"{out}: the folder cannot be made: there is a file of this name"
        raise click.BadParameter(message, param_hint="--out")
    if not out.resolve().parent.is_dir():
        message = f"{out}: the folder cannot be made: there is no folder above it"
        raise click.BadParameter(message, param_hint="--out")


def folder_for(out: Path) -> Path:
    """Make the folder that files go to, where it is not there yet.

    Raises BadParameter when it is a file, or the folder above it does not exist.
    """
    try:
        out.mkdir(exist_ok=True)
    except OSError as error:
        message = f"the folder cannot be made: {error.strerror}"
        raise click.BadParameter(message, param_hint="--out") from None
    return out
