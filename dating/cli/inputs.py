"""Files that a command reads: by their paths, or ``-`` for standard input."""

from __future__ import annotations

import os
from pathlib import Path

import click

from dating.standard_input import StandardInput

_TAKEN = "dating.cli.inputs"


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
        """Give the path of a file, or standard input in place of it.

        Parameters
        ----------
        value : str or path
            As it was given.
        param : Parameter or None
            The argument or option.
        ctx : Context or None
            The call.

        Returns
        -------
        Path
            To be read.
        """
        if value != "-":
            return Path(os.fsdecode(super().convert(value, param, ctx)))
        if ctx is not None:
            if _TAKEN in ctx.meta:
                self.fail("standard input can be read once only", param, ctx)
            ctx.meta[_TAKEN] = True
        return StandardInput()


INPUT = InputFile()
