"""``dating check``: validate files and list their contents."""

from __future__ import annotations

from pathlib import Path

import click

from dating.cli.inputs import INPUT
from dating.cli.needs import check_reading
from dating.cli.streams import filled, message_text, text_width


@click.command()
@click.argument("files", nargs=-1, required=True, type=INPUT, metavar="FILE...")
@click.option(
    "--strict",
    is_flag=True,
    help="Treat warnings as problems: the exit status is then 1.",
)
def check(files: tuple[Path, ...], strict: bool) -> None:
    """Validate files of every kind, and list their contents.

    Maker files, examinations, claims, group files and language files are YAML; reference corpora,
    sales, and the simple kinds of claims, are sheets (CSV or .xlsx); what was learned is netCDF.
    The command tells the kind of a file from its keys or columns.

    Each problem is shown with its file, line and key; in a corpus the key is the column. The exit
    status is 1 if there is a problem. A valid entry that looks like a mistake, such as a
    measurement that fits no month, gets a warning.

    \b
    Example:
      dating check priors/marrowby.yaml demo_data/examinations/*.yaml demo_data/*.csv
    """  # noqa: D301 (click wants the backspace itself)
    from dating.cli.doubts import doubts  # noqa: PLC0415
    from dating.reading import InputError  # noqa: PLC0415

    problems = warnings = 0
    for position, file in enumerate(files):
        if position:
            click.echo()
        try:
            click.echo(_understood(file), nl=False)
            for doubt in doubts(file):
                warnings += 1
                lines = str(doubt) if strict else f"warning: {doubt}"
                click.echo(filled(lines), err=True)
        except InputError as error:
            problems += len(error.problems)
            click.echo(message_text(error), err=True)
    counted = [_count(problems, "problem")] if problems or not warnings else []
    counted += [_count(warnings, "warning")] if warnings else []
    summary = f"{' and '.join(counted)} in {len(files)} file(s)"
    if problems or (strict and warnings):
        raise click.ClickException(summary)
    if warnings:
        click.echo(summary, err=True)


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _understood(file: Path) -> str:
    """Read a file of any kind, and list their contents."""
    from dating.kinds import kind_of  # noqa: PLC0415

    kind, width = kind_of(file), text_width()
    if kind == "sale":
        from dating.notes.checks import sale_text  # noqa: PLC0415

        return sale_text(file, width)
    if kind == "language":
        from dating.notes.checks import language_text  # noqa: PLC0415

        return language_text(file, width)
    if kind == "learned":
        check_reading(file)
    from dating.words.file_summary import understood  # noqa: PLC0415

    return understood(file, width)
