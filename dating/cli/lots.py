"""``dating lots``: a blank workbook to enter the lots of a sale in."""

from __future__ import annotations

from pathlib import Path

import click

from dating.cli.inputs import INPUT
from dating.cli.needs import check_installed
from dating.cli.outputs import OutputFile, check_outputs, replacing


@click.command()
@click.argument("maker", type=INPUT)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    required=True,
    help="Workbook to write (.xlsx).",
)
@replacing
def lots(maker: Path, out: Path, replace: bool) -> None:
    """Write a blank workbook for the lots of a sale of one MAKER.

    There is a column for each thing to look at, with its question, what may stand in it, how to
    look and what to beware of; states can be chosen from lists. Fill it in, a row for each lot,
    and give it to dating sale. The same columns serve for a table of examinations.

    \b
    Example:
      dating lots priors/marrowby.yaml --out lots.xlsx
    """  # noqa: D301 (click wants the backspace itself)
    if out.suffix.lower() != ".xlsx":
        raise click.UsageError(f"a workbook ends in .xlsx; found {out.name}")
    check_installed("a workbook", ["xlsxwriter"], "note")
    check_outputs([OutputFile(out, "the workbook")], [maker], replace=replace)
    from dating.files import read_maker  # noqa: PLC0415
    from dating.notes.blank_workbook import blank_workbook  # noqa: PLC0415
    from dating.reading import write_whole  # noqa: PLC0415

    write_whole(out, blank_workbook(read_maker(maker)))
    click.echo(f"{out}: fill in a row for each lot, then: dating sale {out} --out sale")
