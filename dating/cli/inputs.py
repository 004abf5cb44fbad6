"""Files that a command reads: by their paths, or ``-`` for standard input."""

from __future__ import annotations

import os
from pathlib import Path

import click

from dating.standard_input import StandardInput

_TAKEN = "dating.cli.inputs"


unlisted_option = click.option(
    "--allow-unlisted",
    is_flag=True,
    help="Take a state that the maker file does not list for one that says nothing, and count it, "
    "rather than refuse the table.",
)
undated_option = click.option(
    "--leave-out-undated",
    is_flag=True,
    help="Leave out rows whose date is missing or cannot be read, and name their lines.",
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
                self.fail("standard input can be read once only", param, ctx)
            ctx.meta[_TAKEN] = True
        return StandardInput()


INPUT = InputFile()
