"""``dating learn``: learn the ramps from securely dated instruments."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from dating.cli.inputs import INPUT
from dating.cli.needs import check_installed
from dating.cli.outputs import Output, check_outputs, replacing
from dating.cli.streams import text_width
from dating.cli.usage import as_usage

if TYPE_CHECKING:
    from dating.learning.outcome import Outcome


@click.command()
@click.argument("maker", type=INPUT)
@click.argument("corpus", type=INPUT)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    required=True,
    help="netCDF file for what is learned; written whole, and only when the draws are sound.",
)
@click.option(
    "--report",
    type=click.Path(path_type=Path),
    help="Also write what was learned as one HTML page with pictures.",
)
@click.option(
    "--draws",
    type=click.IntRange(10, 100_000),
    help="Draws in each of four chains; unless given, as many as make them sound.",
)
@click.option(
    "--accept",
    type=click.FloatRange(0.5, 0.999),
    default=0.9,
    show_default=True,
    help="Acceptance that the sampler aims at; higher is slower and safer. Raised after a "
    "divergence unless --draws is given.",
)
@click.option(
    "--seed",
    type=click.IntRange(0, 2**31 - 1),
    default=1,
    show_default=True,
    help="Seed of the sampler.",
)
@click.option("--insist", is_flag=True, help="Write the file even when the draws are not sound.")
@replacing
def learn(  # noqa: PLR0917 (click hands its options over by name)
    maker: Path,
    corpus: Path,
    out: Path,
    report: Path | None,
    draws: int | None,
    accept: float,
    seed: int,
    insist: bool,
    replace: bool,
) -> None:
    """Learn from a CORPUS of dated instruments what is judged in MAKER.

    First uses, overlaps, events, shares, slips and replacements are learned; MAKER is the maker
    file whose judgements are the priors. Says what it will cost before it starts, and afterwards
    what was judged and what was learned of every changeover.

    \b
    Example:
      dating learn priors/marrowby.yaml demo_data/marrowby_corpus.csv --out marrowby.nc
    """  # noqa: D301 (click wants the backspace itself)
    needed = ["numba", "nutpie", "arviz", "scipy", "h5netcdf"]
    check_installed("learning", [*needed, *(["jinja2", "matplotlib"] if report else [])])
    from dating.files import read_maker  # noqa: PLC0415
    from dating.learning.corpus import read_corpus  # noqa: PLC0415
    from dating.learning.files import write_learned  # noqa: PLC0415
    from dating.learning.health import health_of  # noqa: PLC0415
    from dating.learning.outcome import outcome_of  # noqa: PLC0415
    from dating.learning.sampling import learn as sample  # noqa: PLC0415
    from dating.learning.sampling import plan_of  # noqa: PLC0415
    from dating.words.learned import after_learning, before_learning  # noqa: PLC0415

    if not out.parent.is_dir():
        raise click.BadParameter("the folder does not exist", param_hint="--out")
    if report is not None:
        with as_usage():
            _check_report(report)
    outputs = [Output(out, "the learned file")]
    outputs += [Output(report, "the report", valued=False)] if report is not None else []
    check_outputs(outputs, [maker, corpus], replace=replace)
    read = read_maker(maker)
    plan = plan_of(read, read_corpus(corpus, read))
    click.echo(before_learning(plan, draws, text_width()))
    with _teller() as tell:
        tree = sample(plan, draws=draws, accept=accept, seed=seed, report=tell)
    health = health_of(tree)
    if not health.good and not insist:
        message = f"nothing was written: {health.advice()}; or --insist to write it all the same"
        raise click.ClickException(message)
    write_learned(tree, out, health)
    made = outcome_of(plan, tree, health)
    click.echo(after_learning(made, text_width()))
    if report is not None:
        _write_report(made, report)
    if not health.good:
        click.echo(f"Written although the draws are not sound: {health.advice()}.", err=True)


@contextmanager
def _teller() -> Iterator[Callable[[str], None]]:
    """Show on one line of the terminal what is being tried."""
    from rich.console import Console  # noqa: PLC0415

    console = Console(stderr=True)
    shown = console.is_terminal

    def tell(said: str) -> None:
        if shown:
            console.print(said.ljust(60), end="\r", highlight=False)

    yield tell
    if shown:
        console.print(" " * 60, end="\r")


def _check_report(path: Path) -> None:
    """Refuse a name that no page can be written under, and a missing library, before any work."""
    from dating.reading import InputError, Problem  # noqa: PLC0415

    if path.suffix.lower() != ".html":
        problem = Problem(str(path), None, "", "a report is a page", path.suffix, ".html")
        raise InputError([problem])
    message = ""
    if not path.parent.is_dir():
        message = "the folder for the report does not exist"
    if message:
        raise InputError([Problem(str(path), None, "", message)])


def _write_report(made: Outcome, path: Path) -> None:
    """Draw every picture, and write the page whole."""
    from rich.console import Console  # noqa: PLC0415
    from rich.progress import track  # noqa: PLC0415

    from dating.figures.pages import pictures_of  # noqa: PLC0415
    from dating.reading import write_whole  # noqa: PLC0415
    from dating.words.report import learned_page  # noqa: PLC0415

    drawn = track(
        pictures_of(made),
        "drawing",
        total=len(made.shifts) + 2,
        console=Console(stderr=True),
        transient=True,
    )
    write_whole(path, learned_page(made, dict(drawn)).encode("utf-8"))
