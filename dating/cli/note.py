"""``dating note``: catalogue notes of single instruments."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from dating.cli.inputs import INPUT
from dating.cli.outputs import OutputFile, check_outputs, replacing
from dating.cli.streams import filled, text_width
from dating.cli.wording import (
    FORMATS,
    check_folder,
    folder_for,
    house_for,
    inputs_of,
    worded,
)

if TYPE_CHECKING:
    from dating.estimates import Estimate
    from dating.examination import Examination


@click.command()
@click.argument("examinations", nargs=-1, type=INPUT)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="Folder for the notes; without it, they are printed as Markdown.",
)
@click.option(
    "--as",
    "formats",
    type=click.Choice(FORMATS),
    multiple=True,
    help="Format of the files; may be repeated.  [default: html]",
)
@click.option("--rules", is_flag=True, help="Print the rules for the wording of notes, and stop.")
@worded
@replacing
def note(
    examinations: tuple[Path, ...],
    out: Path | None,
    formats: tuple[str, ...],
    rules: bool,
    **options: Any,
) -> None:
    """Write catalogue notes for the instruments in EXAMINATIONS.

    Each of these files describes one instrument. Its note is as certain as the evidence allows
    and no more. It defines "circa" and says that a date is an opinion.

    \b
    Example:
      dating note demo_data/examinations/M-003.yaml --out notes --as html --as pdf
    """  # noqa: D301 (click wants the backspace itself)
    if rules:
        from dating.notes.rules import rules_text  # noqa: PLC0415

        click.echo(rules_text(text_width()), nl=False)
        return
    if not examinations:
        raise click.UsageError("name one examination or more; see dating note --help")
    if formats and out is None:
        raise click.UsageError("--as needs --out FOLDER; without it, notes are printed")
    _write(examinations, out, formats or ("html",), **options)


def _write(
    examinations: tuple[Path, ...],
    out: Path | None,
    formats: tuple[str, ...],
    **options: Any,
) -> None:
    house = house_for(
        options["templates"], formats if out else ("markdown",), learned=options["learned"]
    )
    from dating.notes.file_names import file_names  # noqa: PLC0415
    from dating.notes.markdown import as_markdown  # noqa: PLC0415
    from dating.notes.note import EstimateNote, note_of  # noqa: PLC0415
    from dating.notes.note_files import document_names, documents_of, write_all  # noqa: PLC0415
    from dating.notes.wording import wording_of  # noqa: PLC0415

    tongue, dates, circa, level = (options[n] for n in ("tongue", "dates", "circa", "level"))
    wording = wording_of(tongue, dates, int(circa), level)
    seen = _seen(examinations, options["maker"])
    names = file_names([examination.instrument for examination, _ in seen])
    if out is not None:
        files = [Path(file) for name in names for file in document_names(name, formats)]
        inputs = [*examinations, *inputs_of(options, house), *(maker for _, maker in seen)]
        outputs = [OutputFile(out / file, "the notes") for file in files]
        check_outputs(outputs, inputs, replace=options["replace"])
        check_folder(out)
    files_by_name: dict[str, bytes] = {}
    for estimate, name in zip(_estimates(seen, options), names, strict=True):
        for warning in estimate.warnings:
            click.echo(filled(f"warning: {warning}"), err=True)
        estimate_note = EstimateNote(estimate, note_of(estimate, wording))
        if out is None:
            click.echo(as_markdown(estimate_note.note, house))
            continue
        documents = documents_of(estimate_note, wording, house, formats, name)
        files_by_name |= documents.files
        if documents.missing:
            signs = " ".join(documents.missing)
            click.echo(f"{name}: the PDF's fonts have no character for {signs}", err=True)
    if out is not None:
        for path in write_all(folder_for(out), files_by_name):
            click.echo(path)


def _seen(examinations: tuple[Path, ...], maker: Path | None) -> list[tuple[Examination, Path]]:
    """Read every examination, and find its maker file."""
    from dating.files import find_maker, read_examination  # noqa: PLC0415

    read = [read_examination(path) for path in examinations]
    return [(examination, maker or find_maker(examination)) for examination in read]


def _estimates(seen: list[tuple[Examination, Path]], options: dict[str, Any]) -> Iterator[Estimate]:
    """Date each instrument; maker files and what was learned are read once."""
    from dating.estimates import estimate  # noqa: PLC0415
    from dating.files import read_maker  # noqa: PLC0415
    from dating.learning.files import read_draws  # noqa: PLC0415

    makers, known = {}, {}
    for examination, file in seen:
        if file not in makers:
            makers[file] = read_maker(file)
            learned = options["learned"]
            known[file] = read_draws(learned, makers[file]) if learned else None
        maker, learned = makers[file], known[file]
        level, seed = options["level"], options["seed"]
        yield estimate(maker, examination, level=level, seed=seed, learned=learned)
