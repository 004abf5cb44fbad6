"""``dating sale``: the notes, the index and the spreadsheet of a whole sale."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from dating.cli.inputs import INPUT
from dating.cli.needs import check_installed, check_reading
from dating.cli.usage import as_usage
from dating.cli.wording import FORMATS, folder_for, house_for, worded, wording_of

if TYPE_CHECKING:
    from dating.learning.learned import Learned
    from dating.maker import Maker
    from dating.notes.sale import Entry
    from dating.notes.selling import Sold
    from dating.reading import Problem

_TABLES = (".csv", ".parquet")


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
    help="Format of the notes, once or more; html unless given; none for the index alone.",
)
@click.option(
    "--table",
    type=click.Path(path_type=Path),
    help="Also write the estimates of all lots as one table with a column a year "
    "(.csv or .parquet).",
)
@worded
def sale(
    lots: Path, out: Path | None, formats: tuple[str, ...], table: Path | None, **options: Any
) -> None:
    """Write the notes of all lots in the file LOTS.

    With an index and a spreadsheet. LOTS is CSV: a lot a row, a column for each thing that
    was seen. A lot that cannot be read is reported, and does not stop the others. With
    --table alone, LOTS may be any table of examinations, CSV or Parquet, of any length.

    \b
    Example:
      dating sale demo_data/marrowby_sale.csv --out sale --as html --as pdf
    """  # noqa: D301 (click wants the backspace itself)
    if out is None and table is None:
        raise click.UsageError("say where to: --out FOLDER, --table FILE, or both")
    with as_usage():
        _check_table(table, out)
    if out is None:
        _tabulate_alone(lots, table or Path(), options)
    else:
        _print_sale(
            lots, out, tuple(f for f in formats or ("html",) if f != "none"), table, options
        )


def _print_sale(
    lots: Path, out: Path, formats: tuple[str, ...], table: Path | None, options: dict[str, Any]
) -> None:
    house = house_for(options["templates"], formats, ("jinja2", "xlsxwriter"), options["learned"])
    wording = wording_of(*(options[name] for name in ("tongue", "dates", "circa", "level")))
    from dating.notes.index import index_html, index_markdown, index_of  # noqa: PLC0415
    from dating.notes.lots import read_lots  # noqa: PLC0415
    from dating.notes.publishing import ENDINGS, documents_of, write_all  # noqa: PLC0415
    from dating.notes.sale import count_words  # noqa: PLC0415
    from dating.notes.selling import sell  # noqa: PLC0415
    from dating.notes.spreadsheet import index_xlsx  # noqa: PLC0415

    maker = options["maker"]
    read = read_lots(lots, _maker(maker) if maker else None)
    learned = _learned(options, read.maker)
    folder = folder_for(out)
    entries: list[Entry] = []
    problems: list[Problem] = []
    for sold in _watched(
        sell(read, wording, learned=learned, seed=options["seed"]), len(read.lots)
    ):
        entries.append(sold.entry if formats else replace(sold.entry, note=""))
        problems += sold.problems
        if sold.noted is not None and formats:
            made = documents_of(sold.noted, wording, house, formats, sold.entry.note)
            list(write_all(folder, made.files))
            _warn_of(made.missing, sold)
    endings = [ENDINGS[form] for form in formats]
    index = index_of(entries, wording.language, endings)
    files = {
        "index.html": index_html(index, house).encode(),
        "index.md": index_markdown(index, house).encode(),
        "index.xlsx": index_xlsx(entries, wording.language),
    }
    list(write_all(folder, files))
    if table is not None:
        seen = [lot.examination for lot in read.lots if lot.examination is not None]
        _tabulate(read.maker, seen, table, learned, options)
    _close(out, entries, problems, count_words(tuple(entries), wording.language))


def _close(out: Path, entries: list[Entry], problems: list[Problem], count: str) -> None:
    """Say what was written, and what could not be."""
    for problem in problems:
        click.echo(str(problem), err=True)
    click.echo(f"{out}: {count}")
    if all(entry.failed for entry in entries):
        raise click.ClickException("no lot could be dated")


def _warn_of(missing: tuple[str, ...], sold: Sold) -> None:
    if missing:
        signs = " ".join(missing)
        click.echo(f"lot {sold.lot.number}: the PDF's fonts have no sign for {signs}", err=True)


def _watched(sold: Iterable[Sold], count: int) -> Iterable[Sold]:
    """Show on the terminal how many lots are done."""
    from rich.console import Console  # noqa: PLC0415
    from rich.progress import track  # noqa: PLC0415

    console = Console(stderr=True)
    hidden = not console.is_terminal
    return track(sold, "lots", total=count, console=console, transient=True, disable=hidden)


def _maker(path: Path) -> Maker:
    from dating.files import read_maker  # noqa: PLC0415

    return read_maker(path)


def _learned(options: dict[str, Any], maker: Maker) -> Learned | None:
    from dating.learning.files import read_learned  # noqa: PLC0415

    return read_learned(options["learned"], maker) if options["learned"] else None


def _check_table(table: Path | None, out: Path | None) -> None:
    """Refuse a name that no table can be written under, before any work."""
    if table is None:
        return
    from dating.reading import InputError, Problem  # noqa: PLC0415

    if table.suffix.lower() not in _TABLES:
        allowed = ", ".join(_TABLES)
        problem = Problem(str(table), None, "", "no such kind of table", table.suffix, allowed)
        raise InputError([problem])
    if not table.parent.is_dir():
        raise click.BadParameter("the folder does not exist", param_hint="--table")
    if table.suffix.lower() == ".parquet":
        more = ["jinja2", "xlsxwriter"] if out else []
        check_installed("a Parquet table", ["pyarrow", *more], "note,table" if out else "table")


def _tabulate_alone(lots: Path, table: Path, options: dict[str, Any]) -> None:
    """Date a table of any length, without notes."""
    if lots.suffix.lower() == ".parquet":
        check_installed("a Parquet table", ["pyarrow"], "table")
    check_reading(options["learned"])
    if options["maker"] is None:
        raise click.UsageError("a table needs --maker FILE")
    maker = _maker(options["maker"])
    count = _tabulate(maker, lots, table, _learned(options, maker), options)
    click.echo(f"{table}: {count:,} instruments")


def _tabulate(
    maker: Maker, seen: Any, table: Path, learned: Learned | None, options: dict[str, Any]
) -> int:
    from dating.batch import estimate_many, write_estimates  # noqa: PLC0415
    from dating.words.soundness import on_soundness  # noqa: PLC0415

    level, seed = options["level"], options["seed"]
    made = estimate_many(maker, seen, level=level, seed=seed, learned=learned)
    write_estimates(made, table)
    for sentence in on_soundness(learned):
        click.echo(f"{table}: {sentence}", err=True)
    return len(made)
