"""Files that a command reads: by their paths, or ``-`` for standard input."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import click

from dating.standard_input import StandardInput

_TAKEN = "dating.cli.inputs"


unlisted_option = click.option(
    "--allow-unlisted",
    is_flag=True,
    help="Accept states that the maker file does not list. They say nothing about the date; the "
    "command counts them.",
)
undated_option = click.option(
    "--leave-out-undated",
    is_flag=True,
    help="Leave out rows with a missing or unreadable date, and list their lines.",
)
learned_option = click.option(
    "--learned",
    type=click.Path(path_type=Path),
    help="File written by dating learn; its draws replace the judgements.",
)
seed_option = click.option(
    "--seed",
    type=click.IntRange(0, 2**63 - 1),
    default=1,
    show_default=True,
    help="Seed of the draws; the same seed always gives the same result.",
)


def _level(ctx: click.Context, parameter: click.Parameter, value: float) -> float:  # noqa: ARG001
    if not 0 < value < 1:
        raise click.BadParameter(f"a level lies between 0 and 1, such as 0.9; found {value:g}")
    return value


def level_option(words: str) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Give the option of the level that a command reports at."""
    return click.option(
        "--level", type=float, default=0.9, callback=_level, show_default=True, help=words
    )


def form_option(words: str, *more: str) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Give the option that says whether a command answers in plain text or as data."""
    return click.option(
        "--as",
        "form",
        type=click.Choice(["text", "json", *more]),
        default="text",
        show_default=True,
        help=words,
    )


class InputFile(click.Path):
    """A file to read; ``-`` is standard input, of which there is one."""

    def __init__(self) -> None:
        super().__init__(path_type=Path, allow_dash=True)

    def convert(
        self,
        value: str | os.PathLike[str],
        param: click.Parameter | None,
        ctx: click.Context | None,
    ) -> Path:
        """Give the path of a file, or standard input in place of it."""
        if value != "-":
            return Path(os.fsdecode(super().convert(value, param, ctx)))
        if ctx is not None:
            if _TAKEN in ctx.meta:
                self.fail("standard input can be read only once", param, ctx)
            ctx.meta[_TAKEN] = True
        return StandardInput()


INPUT = InputFile()
