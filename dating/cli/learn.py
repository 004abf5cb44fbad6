"""``dating learn``: learn the ramps from securely dated instruments."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from dating.cli.draws import check_earlier, take_draws
from dating.cli.inputs import INPUT, undated_option, unlisted_option
from dating.cli.needs import check_installed
from dating.cli.outputs import OutputFile, check_maker_name, check_outputs, replacing
from dating.cli.restatement import check_restatement, read_result, write_restatement
from dating.cli.streams import filled, text_width
from dating.cli.usage import as_usage

if TYPE_CHECKING:
    from dating.learning.outcome import Outcome


@click.command()
@click.argument("maker", type=INPUT)
@click.argument("corpus", type=INPUT)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="netCDF file for what is learned. It is written only when the draws are sound; unsound "
    "draws are kept beside it, as NAME.unsound.nc.",
)
@click.option(
    "--maker-out",
    "stated",
    type=click.Path(path_type=Path),
    help="Also write a maker file (.yaml) that states what was learned, for users who have neither "
    "the corpus nor the draws.",
)
@click.option(
    "--learned",
    type=click.Path(path_type=Path),
    help="Use the draws in this file instead of sampling; for --maker-out and --report.",
)
@click.option(
    "--report",
    type=click.Path(path_type=Path),
    help="Also write what was learned as one HTML page with pictures.",
)
@click.option(
    "--draws",
    type=click.IntRange(10, 100_000),
    help="Draws in each of four chains.  [default: until the draws are sound]",
)
@click.option(
    "--accept",
    type=click.FloatRange(0.5, 0.999),
    default=0.8,
    show_default=True,
    help="Target acceptance rate of the sampler; higher is slower and safer. It is raised after a "
    "divergence unless --draws is given.",
)
@click.option(
    "--seed",
    type=click.IntRange(0, 2**31 - 1),
    show_default="1",
    help="Seed of the sampler.",
)
@click.option(
    "--continue",
    "go_on",
    is_flag=True,
    help="Continue with draws that are not yet sound, or that were stopped. Give the same maker "
    "file, corpus and --out.",
)
@click.option(
    "--insist",
    is_flag=True,
    help="Write the file even if the draws are not sound. Every date from it will carry a warning.",
)
@unlisted_option
@undated_option
@replacing
def learn(  # noqa: PLR0917 (click hands its options over by name)
    maker: Path,
    corpus: Path,
    out: Path | None,
    report: Path | None,
    draws: int | None,
    accept: float,
    seed: int | None,
    go_on: bool,
    insist: bool,
    replace: bool,
    stated: Path | None,
    learned: Path | None,
    **leniency: bool,
) -> None:
    """Update the judgements in MAKER from the instruments in CORPUS.

    MAKER is the maker file; its judgements are the priors. The command learns first uses,
    overlaps, events, shares, slips, replacements, means and spreads of measurements, and lags of
    marks. If MAKER says output: learn, it also learns how much was made when. It says how long it
    will take, then shows each changeover as judged and as learned.

    If the draws do not become sound, or if you stop the run, they are kept beside the output file,
    with the reason. No date rests on them; repeat the command with --continue to continue.

    \b
    Example:
      dating learn priors/marrowby.yaml demo_data/marrowby_corpus.csv --out marrowby.nc
    """  # noqa: D301 (click wants the backspace itself)
    _check_wanted(out, report, stated, learned)
    from dating.learning.run import LIBRARIES  # noqa: PLC0415

    check_installed("learning", [*LIBRARIES, *(["jinja2", "matplotlib"] if report else [])])
    from dating.files import read_maker  # noqa: PLC0415
    from dating.learning.corpus import read_corpus  # noqa: PLC0415
    from dating.learning.outcome import outcome_of  # noqa: PLC0415
    from dating.learning.sampling import plan_of  # noqa: PLC0415
    from dating.words.learned import after_learning  # noqa: PLC0415
    from dating.words.omissions import corpus_words, unlearned_words  # noqa: PLC0415

    check_outputs(_outputs(out, report, stated), [maker, corpus, learned], replace=replace)
    check_earlier(out, go_on=go_on, replace=replace)
    read = read_maker(maker)
    plan = plan_of(read, read_corpus(corpus, read, **leniency))
    for sentence in (*corpus_words(plan.corpus), *unlearned_words(plan.corpus)):
        click.echo(filled(sentence), err=True)
    if stated is not None:
        check_restatement(plan, maker)
    if learned is not None:
        tree, health = read_result(learned, plan)
    elif out is not None:
        tree, health = take_draws(
            plan, out, draws=draws, accept=accept, seed=seed, go_on=go_on, insist=insist
        )
    if learned is None or report is not None:
        outcome = outcome_of(plan, tree, health)
        click.echo(after_learning(outcome, text_width()))
        if report is not None:
            _write_report(outcome, report)
    if stated is not None:
        write_restatement(plan, tree, health, maker, stated)
    if not health.good:
        click.echo(f"Written although the draws are not sound: {health.advice()}.", err=True)


def _check_wanted(
    out: Path | None, report: Path | None, stated: Path | None, learned: Path | None
) -> None:
    """Refuse options that do not go together, and names that cannot be written under."""
    if out is None and learned is None:
        raise click.MissingParameter(param_hint="'--out'", param_type="option")
    if learned is not None and out is not None:
        raise click.UsageError("--learned does no sampling, so there is nothing to write to --out")
    if learned is not None and report is None and stated is None:
        raise click.UsageError("say what to write: --maker-out FILE, --report FILE, or both")
    if out is not None and not out.parent.is_dir():
        raise click.BadParameter("the folder does not exist", param_hint="--out")
    if stated is not None:
        check_maker_name(stated, "--maker-out")
    if report is not None:
        with as_usage():
            _check_report(report)


def _outputs(out: Path | None, report: Path | None, stated: Path | None) -> list[OutputFile]:
    outputs = [
        (out, "the learned file", True),
        (stated, "the maker file", True),
        (report, "the report", False),
    ]
    return [OutputFile(path, what, valued) for path, what, valued in outputs if path is not None]


def _check_report(path: Path) -> None:
    """Refuse a name that no page can be written under, and a missing library, before any work."""
    from dating.reading import InputError, Problem  # noqa: PLC0415

    if path.suffix.lower() != ".html":
        problem = Problem(str(path), None, "", "a report is an HTML page", path.suffix, ".html")
        raise InputError([problem])
    message = ""
    if not path.parent.is_dir():
        message = "the folder for the report does not exist"
    if message:
        raise InputError([Problem(str(path), None, "", message)])


def _write_report(outcome: Outcome, path: Path) -> None:
    """Draw every picture, and write the page whole."""
    from rich.console import Console  # noqa: PLC0415
    from rich.progress import track  # noqa: PLC0415

    from dating.figures.pages import pictures_of  # noqa: PLC0415
    from dating.reading import write_whole  # noqa: PLC0415
    from dating.words.report import learned_page  # noqa: PLC0415

    pictures = track(
        pictures_of(outcome),
        "drawing",
        total=len(outcome.shifts) + 2,
        console=Console(stderr=True),
        transient=True,
    )
    write_whole(path, learned_page(outcome, dict(pictures)).encode("utf-8"))
