"""The estimates of a whole table of examinations, as one table."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from dating.cli.needs import check_installed, check_reading
from dating.cli.outputs import OutputFile, check_outputs

if TYPE_CHECKING:
    import pandas as pd

    from dating.learning.learned import Learned
    from dating.maker import Maker

TABLES = (".csv", ".parquet")
"""Endings of the files that a table can be written to."""


def maker_of(path: Path) -> Maker:
    """Read a maker file.

    Raises InputError when it has a fault.
    """
    from dating.files import read_maker  # noqa: PLC0415

    return read_maker(path)


def learned_of(options: dict[str, Any], maker: Maker) -> Learned | None:
    """Read what was learned.

    Raises InputError when it is no such file, or the maker file has changed since.
    """
    from dating.learning.files import read_draws  # noqa: PLC0415

    return read_draws(options["learned"], maker) if options["learned"] else None


def check_table(table: Path | None, out: Path | None) -> None:
    """Refuse a name that no table can be written under, before any work.

    Raises InputError when its ending is not one of ``TABLES``; ClickException when its folder does
    not exist, or a library is missing.
    """
    if table is None:
        return
    from dating.reading import InputError, Problem  # noqa: PLC0415

    if table.suffix.lower() not in TABLES:
        allowed = ", ".join(TABLES)
        problem = Problem(str(table), None, "", "no such kind of table", table.suffix, allowed)
        raise InputError([problem])
    if not table.parent.is_dir():
        raise click.BadParameter("the folder does not exist", param_hint="--table")
    if table.suffix.lower() == ".parquet":
        more = ["jinja2", "xlsxwriter"] if out else []
        check_installed("a Parquet table", ["pyarrow", *more], "note,table" if out else "table")


def tabulate_alone(lots: Path, table: Path, options: dict[str, Any]) -> None:
    """Date a table of any length, without notes.

    Raises UsageError when no maker file is named, or something would be written over; InputError
    when a file cannot be read or written.
    """
    if lots.suffix.lower() == ".parquet":
        check_installed("a Parquet table", ["pyarrow"], "table")
    check_reading(options["learned"])
    from dating.sheets import is_sheet  # noqa: PLC0415

    if is_sheet(lots) and _holds_lots(lots):
        _tabulate_sale(lots, table, options)
        return
    if options["maker"] is None:
        raise click.UsageError("a table that is not a sale needs --maker FILE")
    read = [lots, options["maker"], options["learned"]]
    check_outputs([OutputFile(table, "the table")], read, replace=options["replace"])
    _write(maker_of(options["maker"]), lots, table, options)


def _holds_lots(path: Path) -> bool:
    from dating.sheets import column_names  # noqa: PLC0415

    return "lot" in column_names(path)


def _tabulate_sale(lots: Path, table: Path, options: dict[str, Any]) -> None:
    """Date the lots of a sale; those that cannot be read are told, and left out."""
    from dating.notes.lots import read_lots  # noqa: PLC0415
    from dating.words.omissions import unlisted_words  # noqa: PLC0415

    known = maker_of(options["maker"]) if options["maker"] else None
    sale = read_lots(lots, known, allow_unlisted=options["allow_unlisted"])
    for sentence in unlisted_words(sale.unlisted):
        click.echo(sentence, err=True)
    read = [lots, Path(sale.maker.origin.file), options["maker"], options["learned"]]
    check_outputs([OutputFile(table, "the table")], read, replace=options["replace"])
    for problem in (problem for lot in sale.lots for problem in lot.problems):
        click.echo(str(problem), err=True)
    seen = [lot.examination for lot in sale.lots if lot.examination is not None]
    if not seen:
        raise click.ClickException("no lot could be read; nothing was written")
    _write(sale.maker, seen, table, options)
    if failed := len(sale.lots) - len(seen):
        message = f"{failed} of {len(sale.lots)} lots could not be read; the others were written"
        raise click.ClickException(message)


def _write(maker: Maker, seen: Any, table: Path, options: dict[str, Any]) -> None:
    estimates = tabulate(maker, seen, learned_of(options, maker), options)
    from dating.batch import write_estimates  # noqa: PLC0415

    write_estimates(estimates, table)
    click.echo(f"{table}: {len(estimates):,} instruments")


def tabulate(
    maker: Maker, seen: Any, learned: Learned | None, options: dict[str, Any]
) -> pd.DataFrame:
    """Date a table."""
    from dating.batch import estimate_many  # noqa: PLC0415
    from dating.words.omissions import unlisted_words  # noqa: PLC0415
    from dating.words.soundness import on_grounds  # noqa: PLC0415

    chosen = {name: options[name] for name in ("level", "seed", "allow_unlisted")}
    estimates: pd.DataFrame = estimate_many(maker, seen, learned=learned, **chosen)
    for sentence in (
        *on_grounds(maker, learned),
        *unlisted_words(estimates.attrs.pop("unlisted", {})),
    ):
        click.echo(sentence, err=True)
    return estimates
