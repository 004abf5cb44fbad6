"""``dating draft``: a first maker file from a table of dated instruments."""

from __future__ import annotations

from pathlib import Path

import click

from dating.cli.inputs import INPUT, undated_option
from dating.cli.outputs import OutputFile, check_maker_name, check_outputs, replacing
from dating.cli.streams import text_width


@click.command()
@click.argument("corpus", type=INPUT)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    required=True,
    help="Maker file to write (.yaml).",
)
@click.option("--name", required=True, help="Name of the maker.")
@undated_option
@replacing
def draft(corpus: Path, out: Path, name: str, leave_out_undated: bool, replace: bool) -> None:
    """Draft a maker file for a CORPUS of securely dated instruments.

    Every column of observations becomes a feature, and every value in it a state. How the shares
    of the states change over time is left to be learned. Group numbers into classes first: a value
    found on only one or two instruments says nothing about dates.

    \b
    Example:
      dating draft demo_data/marrowby_corpus.csv --out first.yaml --name "First Draft"
    """  # noqa: D301 (click wants the backspace itself)
    from dating.files import read_maker  # noqa: PLC0415
    from dating.learning.corpus import read_corpus  # noqa: PLC0415
    from dating.learning.drafting import draft as make_draft  # noqa: PLC0415
    from dating.reading import write_whole  # noqa: PLC0415
    from dating.words.draft import after_drafting  # noqa: PLC0415

    check_maker_name(out, "--out")
    check_outputs([OutputFile(out, "the maker file")], [corpus], replace=replace)
    text = make_draft(corpus, name, leave_out_undated=leave_out_undated)
    write_whole(out, text.encode("utf-8"))
    read = read_corpus(corpus, read_maker(out), leave_out_undated=leave_out_undated)
    click.echo(after_drafting(read, text_width()))
