"""``dating compare``: set several instruments of a maker side by side."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from dating.cli.inputs import (
    INPUT,
    form_option,
    learned_option,
    level_option,
    seed_option,
    unlisted_option,
)
from dating.cli.needs import check_installed, check_reading
from dating.cli.outputs import OutputFile, check_outputs, check_page_name, replacing
from dating.cli.streams import filled, text_width
from dating.cli.usage import as_usage

if TYPE_CHECKING:
    from dating.cli.instruments import Instruments
    from dating.succession.comparison import Comparison

_COUNTED = (
    "What was learned rests on this very table and on the dates in it. What its instruments say "
    "about the changeovers is not counted again."
)


@click.command()
@click.argument("examinations", nargs=-1, type=INPUT)
@click.option(
    "--maker",
    type=INPUT,
    help="Maker file.  [default: the one the input file names, in a folder called priors]",
)
@click.option(
    "--known",
    type=INPUT,
    help="Group file: what is known between the instruments, such as that one is older than "
    "another.",
)
@learned_option
@level_option("Probability that the reported months and places must reach.")
@seed_option
@form_option("Format of the output; json gives every pair and every number, with sources.")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="Write the output to this file instead of printing it.",
)
@click.option(
    "--picture",
    type=click.Path(path_type=Path),
    help="Also draw the row and every pair to this file: .svg, .png or .pdf.",
)
@click.option(
    "--page",
    type=click.Path(path_type=Path),
    help="Also write the comparison as one page with pictures (.html).",
)
@unlisted_option
@replacing
def compare(  # noqa: PLR0917 (click hands its options over by name)
    examinations: tuple[Path, ...],
    maker: Path | None,
    known: Path | None,
    learned: Path | None,
    level: float,
    seed: int,
    form: str,
    out: Path | None,
    picture: Path | None,
    page: Path | None,
    allow_unlisted: bool,
    replace: bool,
) -> None:
    """Set several instruments of one maker side by side.

    Says which is older and how sure that is, what differs between them, and which further look
    would tell most. EXAMINATIONS are files of one instrument each, a folder of such files, or one
    table (CSV or .xlsx) with a row for each; the dates in a reference corpus are not used. Without
    them, the instruments that the group file lists are compared. There may be from 2 to 500.

    \b
    Example:
      dating compare demo_data/examinations --picture row.svg
    """  # noqa: D301 (click wants the backspace itself)
    check_reading(learned)
    _check_names(out, picture, page)
    from dating.cli.instruments import read_instruments  # noqa: PLC0415

    read = read_instruments(examinations, maker, known, allow_unlisted=allow_unlisted)
    outputs = [
        OutputFile(path, what, valued)
        for path, what, valued in (
            (out, "the comparison", True),
            (picture, "the picture", False),
            (page, "the page", False),
        )
        if path is not None
    ]
    check_outputs(outputs, [*read.files, learned], replace=replace)
    for sentence in read.remarks:
        click.echo(filled(sentence), err=True)
    _check_number(len(read.examinations))
    comparison = _compared(read, learned, level, seed)
    words = _text(comparison, form)
    if picture is not None:
        from dating.figures.files import save_picture  # noqa: PLC0415
        from dating.figures.succession import draw_comparison  # noqa: PLC0415

        save_picture(draw_comparison(comparison), picture)
    if page is not None:
        _write_page(comparison, page)
    if out is None:
        click.echo(words, nl=False)
    else:
        from dating.reading import write_whole  # noqa: PLC0415

        write_whole(out, words.encode("utf-8"))


def _check_names(out: Path | None, picture: Path | None, page: Path | None) -> None:
    """Refuse names that nothing can be written under, and missing libraries, before any work."""
    if page is not None:
        check_installed("a page", ["jinja2", "matplotlib"], "note")
    if picture is not None:
        from dating.figures.files import check_picture_name  # noqa: PLC0415

        check_installed("a picture", ["matplotlib"], "picture")
        with as_usage():
            check_picture_name(picture)
    with as_usage():
        check_page_name(page)
    if out is not None and not out.parent.is_dir():
        raise click.BadParameter("the folder does not exist", param_hint="--out")


def _check_number(count: int) -> None:
    from dating.succession.run import MOST_INSTRUMENTS  # noqa: PLC0415

    if not 2 <= count <= MOST_INSTRUMENTS:
        raise click.UsageError(
            f"from 2 to {MOST_INSTRUMENTS} instruments are set side by side; found {count}"
        )


def _compared(read: Instruments, learned: Path | None, level: float, seed: int) -> Comparison:
    from dating.succession.run import compare as set_side_by_side  # noqa: PLC0415

    draws = None
    if learned is not None:
        from dating.learning.files import read_draws  # noqa: PLC0415

        draws = read_draws(learned, read.maker)
        if draws.corpus_fingerprint in {each.origin.fingerprint for each in read.examinations}:
            click.echo(filled(_COUNTED), err=True)
    with _progress() as progress:
        return set_side_by_side(
            read.maker,
            read.examinations,
            group=read.group,
            level=level,
            seed=seed,
            learned=draws,
            progress=progress,
        )


@contextmanager
def _progress() -> Iterator[Callable[[int, int], None]]:
    """Show on the terminal how many draws there are."""
    from rich.console import Console  # noqa: PLC0415
    from rich.progress import Progress  # noqa: PLC0415

    console = Console(stderr=True)
    with Progress(console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task("drawing", total=None)
        yield lambda draws, most: bar.update(task, completed=draws, total=most)


def _write_page(comparison: Comparison, page: Path) -> None:
    from dating.figures.pages import picture_of  # noqa: PLC0415
    from dating.figures.succession import draw_pairs, draw_row  # noqa: PLC0415
    from dating.reading import write_whole  # noqa: PLC0415
    from dating.words.succession_page import comparison_page  # noqa: PLC0415

    pictures = {
        "row": picture_of(draw_row(comparison)),
        "pairs": picture_of(draw_pairs(comparison)),
    }
    write_whole(page, comparison_page(comparison, pictures).encode("utf-8"))


def _text(comparison: Comparison, form: str) -> str:
    if form == "text":
        from dating.words.succession import comparison_text  # noqa: PLC0415

        return comparison_text(comparison, text_width())
    from dating.cli.records import as_json  # noqa: PLC0415
    from dating.words.succession_record import comparison_record  # noqa: PLC0415

    return as_json(comparison_record(comparison))
