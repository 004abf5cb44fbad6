"""``dating check``: validate files and say what was understood."""

from __future__ import annotations

from pathlib import Path

import click


@click.command()
@click.argument(
    "files", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="FILE..."
)
def check(files: tuple[Path, ...]) -> None:
    """Validate files of every kind, and say what was understood.

    Maker files, examinations and claims files are YAML; reference corpora, and the simple kinds
    of claims, are CSV.

    Every problem is shown with its file, line and key; in a corpus the key is the
    column. The exit status is 1 when there is any.

    \b
    Example:
      dating check priors/marrowby.yaml demo_data/examinations/*.yaml demo_data/*.csv
    """  # noqa: D301 (click wants the backspace itself)
    from dating.reading import InputError  # noqa: PLC0415
    from dating.words.understood import understood  # noqa: PLC0415

    problems = 0
    for position, file in enumerate(files):
        if position:
            click.echo()
        try:
            click.echo(understood(file), nl=False)
        except InputError as error:
            problems += len(error.problems)
            click.echo(str(error), err=True)
    if problems:
        plural = "problem" if problems == 1 else "problems"
        raise click.ClickException(f"{problems} {plural} in {len(files)} file(s)")
