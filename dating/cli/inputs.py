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
