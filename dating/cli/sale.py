"""``dating sale``: the notes, the index and the spreadsheet of a whole sale."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from dating.cli.inputs import INPUT, unlisted_option
from dating.cli.outputs import OutputFile, check_outputs, replacing
from dating.cli.signals import ended_by_signals
from dating.cli.table import check_table, learned_of, maker_of, tabulate, tabulate_alone
from dating.cli.usage import as_usage
from dating.cli.wording import FORMATS, check_folder, house_for, inputs_of, worded

if TYPE_CHECKING:
    from dating.learning.learned import Learned
    from dating.notes.house import House
    from dating.notes.lots import Lot, Lots
    from dating.notes.neighbours import LotNeighbour
    from dating.notes.sale_folder import LotRecord, SaleFolder
    from dating.notes.sale_move import Remainder
    from dating.notes.sentences import Wording

INDEX = ("index.html", "index.md", "index.xlsx")
_CHOICES = ("tongue", "dates", "circa", "level", "seed", "allow_unlisted", "side_by_side")
_STOPPED = 130
"""Exit status of a command that the keyboard has stopped: 128 and the number of the signal."""


@click.command()
@click.argument("lots", type=INPUT)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="Folder for the notes, the index (index.html, index.md) and a spreadsheet (index.xlsx).",
)
@click.option(
    "--as",
    "formats",
    type=click.Choice([*FORMATS, "none"]),
    multiple=True,
    help="Format of the notes; may be repeated; none writes only the index.  [default: html]",
)
@click.option(
    "--table",
    type=click.Path(path_type=Path),
    help="Also write the estimates of all lots as one table, with a column for each year "
    "(.csv or .parquet).",
)
@click.option(
    "--side-by-side",
    is_flag=True,
    help="Also compare the lots; each note then names the nearest in the row of lots that is "
    "surely older or younger, if any is.",
)
@worded
@unlisted_option
@replacing
def sale(
    lots: Path, out: Path | None, formats: tuple[str, ...], table: Path | None, **options: Any
) -> None:
    """Write the notes of all lots in the file LOTS.

    The command also writes an index and a spreadsheet. LOTS is a sheet (CSV or .xlsx), with a row
    for each lot and a column for each thing seen. A lot that cannot be read is reported and does
    not stop the others; the exit status is then 1. To resume a sale that was stopped, repeat the
    command. With --table alone, LOTS may be any table of examinations, a sheet or Parquet, of any
    length.

    \b
    Example:
      dating sale demo_data/marrowby_sale.csv --out sale --as html --as pdf
    """  # noqa: D301 (click wants the backspace itself)
    if out is None and table is None:
        raise click.UsageError("say where to write: --out FOLDER, --table FILE, or both")
    with as_usage():
        check_table(table, out)
    written = dict.fromkeys(form for form in formats or ("html",) if form != "none")
    if options["side_by_side"] and (out is None or not written):
        raise click.UsageError("--side-by-side adds to the notes: write them, with --out and --as")
    if out is None:
        tabulate_alone(lots, table or Path(), options)
    else:
        _print_sale(lots, out, tuple(written), table, options)


@dataclass(frozen=True)
class _Job:
    """A sale that is to be written."""

    lots: Lots
    names: Sequence[str]
    wording: Wording
    house: House
    formats: tuple[str, ...]
    inputs: Sequence[Path]


def _job(lots: Path, formats: tuple[str, ...], options: dict[str, Any]) -> _Job:
    """Read everything but what was learned."""
    house = house_for(options["templates"], formats, ("jinja2", "xlsxwriter"), options["learned"])
    from dating.notes.lot_dates import note_names  # noqa: PLC0415
    from dating.notes.lots import read_lots  # noqa: PLC0415
    from dating.notes.wording import wording_of  # noqa: PLC0415

    tongue, dates, circa, level = (options[n] for n in ("tongue", "dates", "circa", "level"))
    wording = wording_of(tongue, dates, int(circa), level)
    maker = maker_of(options["maker"]) if options["maker"] else None
    read = read_lots(lots, maker, allow_unlisted=options["allow_unlisted"])
    if options["side_by_side"]:
        _check_number(len(read.lots))
    known = [] if options["maker"] else [Path(read.maker.origin.file)]
    inputs = [lots, *known, *inputs_of(options, house)]
    return _Job(read, note_names(read), wording, house, formats, inputs)


def _check_number(count: int) -> None:
    from dating.succession.run import MOST_INSTRUMENTS  # noqa: PLC0415

    if count > MOST_INSTRUMENTS:
        raise click.UsageError(
            f"--side-by-side compares at most {MOST_INSTRUMENTS} lots; found {count}"
        )


def _outputs(job: _Job, out: Path, table: Path | None) -> list[OutputFile]:
    from dating.notes.note_files import document_names  # noqa: PLC0415
    from dating.notes.sale_move import MANIFEST  # noqa: PLC0415

    notes = [file for name in job.names for file in document_names(name, job.formats)]
    outputs = [OutputFile(out / name, "the sale") for name in (*INDEX, MANIFEST, *notes)]
    return outputs if table is None else [*outputs, OutputFile(table, "the table")]


def _print_sale(
    lots: Path, out: Path, formats: tuple[str, ...], table: Path | None, options: dict[str, Any]
) -> None:
    check_folder(out)
    job = _job(lots, formats, options)
    from dating.notes.sale_folder import SaleFolder, begin, fingerprint_of  # noqa: PLC0415

    SaleFolder(out).restore()
    check_outputs(_outputs(job, out, table), job.inputs, replace=options["replace"])
    learned = learned_of(options, job.lots.maker)
    choices = {name: options[name] for name in _CHOICES}
    dated: Any = None
    folder = begin(out, fingerprint_of(job.inputs, {**choices, "formats": formats}))
    records: list[LotRecord] = []
    with _message_on_stop(folder, records, len(job.names)):
        beside = _neighbours(job, folder, learned, options)
        for lot, name in _watched(zip(job.lots.lots, job.names, strict=True), len(job.names)):
            known = folder.record(lot.line)
            records.append(
                known
                or _finish(lot, name, job, folder, learned, options["seed"], beside.get(lot.number))
            )
        _check_dated(records, folder)
        seen = [lot.examination for lot in job.lots.lots if lot.examination is not None]
        if table is not None:
            dated = tabulate(job.lots.maker, seen, learned, options)
        others = folder.put_in_place(records, _index(records, job))
    if table is not None:
        from dating.batch import write_estimates  # noqa: PLC0415

        write_estimates(dated, table)
    _close(out, records, job, others, table)


@contextmanager
def _message_on_stop(
    folder: SaleFolder, records: Sequence[LotRecord], count: int
) -> Iterator[None]:
    """Say what is kept where the work is stopped; where there is nothing, leave nothing."""
    from dating.reading import InputError  # noqa: PLC0415

    try:
        with ended_by_signals():
            yield
    except InputError:
        if not records:
            folder.give_up()
        raise
    except (KeyboardInterrupt, SystemExit) as end:
        click.echo(
            f"Stopped: {len(records)} of {count} lots are finished, and kept in "
            f"{folder.unfinished}. Repeat the command to continue from there, or remove that "
            "folder to give up the sale.",
            err=True,
        )
        raise click.exceptions.Exit(getattr(end, "code", _STOPPED)) from None


def _check_dated(records: Sequence[LotRecord], folder: SaleFolder) -> None:
    """Refuse a sale of which no lot could be dated."""
    if all(one.entry.failed for one in records):
        _tell_problems(records)
        folder.give_up()
        raise click.ClickException("no lot could be dated; nothing was written")


def _neighbours(
    job: _Job, folder: SaleFolder, learned: Learned | None, options: dict[str, Any]
) -> dict[str, LotNeighbour]:
    """Compare the lots where that is asked for, unless all of them are finished."""
    if not options["side_by_side"] or all(folder.record(lot.line) for lot in job.lots.lots):
        return {}
    from rich.console import Console  # noqa: PLC0415

    from dating.notes.neighbours import lot_neighbours  # noqa: PLC0415

    with Console(stderr=True).status("comparing the lots"):
        return lot_neighbours(job.lots, learned=learned, seed=options["seed"])


def _finish(  # noqa: PLR0917 (one lot, and all that it needs)
    lot: Lot,
    name: str,
    job: _Job,
    folder: SaleFolder,
    learned: Learned | None,
    seed: int,
    neighbour: LotNeighbour | None,
) -> LotRecord:
    """Date one lot and set its note, and keep them."""
    from dating.notes.lot_dates import sell_lot  # noqa: PLC0415
    from dating.notes.note_files import documents_of  # noqa: PLC0415

    sold = sell_lot(
        lot, name, job.lots.maker, job.wording, learned=learned, seed=seed, neighbour=neighbour
    )
    entry = sold.entry if job.formats else replace(sold.entry, note="")
    if sold.estimate_note is None or not job.formats:
        return folder.keep(lot.line, entry, {}, sold.problems)
    documents = documents_of(sold.estimate_note, job.wording, job.house, job.formats, name)
    return folder.keep(lot.line, entry, documents.files, sold.problems, documents.missing)


def _index(records: Sequence[LotRecord], job: _Job) -> dict[str, bytes]:
    """Set the index in its three forms."""
    from dating.notes.formats import ENDINGS  # noqa: PLC0415
    from dating.notes.index import index_html, index_markdown, index_of  # noqa: PLC0415
    from dating.notes.spreadsheet import index_xlsx  # noqa: PLC0415

    entries, language = [one.entry for one in records], job.wording.language
    endings = [ENDINGS[form] for form in job.formats]
    index = index_of(entries, language, endings)
    page, text = index_html(index, job.house), index_markdown(index, job.house)
    forms = (page.encode(), text.encode(), index_xlsx(entries, language, endings))
    return dict(zip(INDEX, forms, strict=True))


def _close(
    out: Path, records: Sequence[LotRecord], job: _Job, others: Remainder, table: Path | None
) -> None:
    """Say what was written, what could not be, and what was left alone."""
    from dating.notes.sale import count_words  # noqa: PLC0415
    from dating.words.omissions import unlisted_words  # noqa: PLC0415

    _tell_problems(records)
    for sentence in unlisted_words(job.lots.unlisted):
        click.echo(sentence, err=True)
    within = table is not None and table.resolve().parent == out.resolve()
    strange = [name for name in others.strange if not (within and table and name == table.name)]
    if strange:
        click.echo(f"{out}: left in place, as no sale wrote it: {_some(strange)}", err=True)
    if others.changed:
        what = "left from an earlier sale, as it has changed since"
        click.echo(f"{out}: {what}: {_some(others.changed)}", err=True)
    entries = tuple(one.entry for one in records)
    click.echo(f"{out}: {count_words(entries, job.wording.language)}")
    if failed := sum(entry.failed for entry in entries):
        raise click.ClickException(
            f"{failed} of {len(entries)} lots could not be read or dated; the others were written"
        )


def _tell_problems(records: Sequence[LotRecord]) -> None:
    for one in records:
        for problem in one.problems:
            click.echo(str(problem), err=True)
        if one.missing:
            signs = " ".join(one.missing)
            click.echo(
                f"lot {one.entry.lot}: the PDF's fonts have no character for {signs}", err=True
            )


def _some(names: Sequence[str]) -> str:
    """Name at most ten."""
    more = len(names) - 10
    return ", ".join(names[:10]) + (f" and {more:,} more" if more > 0 else "")


def _watched[T](lots: Iterable[T], count: int) -> Iterable[T]:
    """Show on the terminal how many lots are done."""
    from rich.console import Console  # noqa: PLC0415
    from rich.progress import track  # noqa: PLC0415

    console = Console(stderr=True)
    hidden = not console.is_terminal
    return track(lots, "lots", total=count, console=console, transient=True, disable=hidden)
