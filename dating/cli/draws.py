"""Draws for ``dating learn``: taken, gone on with, and set aside where they are not sound."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from dating.cli.needs import check_installed
from dating.cli.signals import ended_by_signals
from dating.cli.streams import filled, text_width

if TYPE_CHECKING:
    import xarray as xr

    from dating.learning.corpus import Corpus
    from dating.learning.health import Health
    from dating.learning.sampling import Plan

_AGAIN = (
    "To continue, repeat the command with --continue; to write them as they are, add --continue "
    "--insist"
)


def check_earlier(out: Path | None, *, go_on: bool, replace: bool) -> None:
    """Refuse to write over draws that learning could go on with, or to go on with none.

    Raises UsageError when there are none, or when they would be lost.
    """
    from dating.learning.continuation import unsound_path  # noqa: PLC0415

    if out is None:
        if go_on:
            raise click.UsageError("--continue needs --out, the file to write")
        return
    aside = unsound_path(out)
    if go_on and not aside.is_file():
        raise click.UsageError(f"there are no draws to continue with: there is no file {aside}")
    if aside.exists() and not (go_on or replace):
        raise click.UsageError(
            f"{aside} holds draws from an earlier run that are not yet sound; use --continue to "
            "continue with them, or --replace to start again"
        )


def take_draws(
    plan: Plan,
    out: Path,
    *,
    draws: int | None,
    accept: float,
    seed: int | None,
    go_on: bool,
    insist: bool,
    aside_words: str = _AGAIN,
    err: bool = False,
) -> tuple[xr.DataTree, Health]:
    """Sample, and write what was learned; draws that are not sound are set aside.

    ``aside_words`` say how to go on with these; with ``err`` what is said goes to standard error.
    Raises ClickException when the draws were set aside.
    """
    from dating.learning.continuation import earlier_draws, unsound_path  # noqa: PLC0415
    from dating.learning.files import SET_ASIDE, write_learned  # noqa: PLC0415
    from dating.learning.health import health_from  # noqa: PLC0415
    from dating.learning.run import learn_plan  # noqa: PLC0415
    from dating.words.learned import before_learning  # noqa: PLC0415

    aside = unsound_path(out)
    before = earlier_draws(aside, plan, seed) if go_on else None
    click.echo(before_learning(plan, draws, text_width()), err=err)
    with _teller() as tell, ended_by_signals(lambda _: KeyboardInterrupt()):
        tree = learn_plan(
            plan,
            draws=draws,
            accept=accept,
            seed=seed,
            before=before,
            insist=insist,
            report=tell,
        )
    health = health_from(tree.attrs)
    if SET_ASIDE in tree.attrs:
        write_learned(tree, aside, health, set_aside=True)
        raise click.ClickException(_refusal(plan, tree, health, aside, aside_words))
    write_learned(tree, out, health)
    aside.unlink(missing_ok=True)
    return tree, health


def found_or_learned(corpus: Corpus) -> Path:
    """Find what was learned from a corpus with its maker file, or learn it and keep it.

    Raises ClickException when it cannot be kept anywhere, or the draws are not sound yet: they are
    kept, and the next run goes on with them.
    """
    from dating.learning.continuation import unsound_path  # noqa: PLC0415
    from dating.learning.run import LIBRARIES  # noqa: PLC0415
    from dating.learning.sampling import ACCEPT, plan_of  # noqa: PLC0415
    from dating.learning.storage import learned_file_of, writable_path  # noqa: PLC0415

    if (there := learned_file_of(corpus)) is not None:
        _tell(f"What was learned from {corpus.file} is read from {there}.")
        return there
    check_installed("learning from the dated instruments", LIBRARIES)
    path = writable_path(corpus)
    if path is None:
        raise click.ClickException(
            f"what is learned from {corpus.file} can be kept neither beside it nor in the present "
            "folder; learn elsewhere with dating learn, and name its file with --learned"
        )
    _tell(f"Learning from {corpus.file} first; what is learned is kept in {path}.")
    take_draws(
        plan_of(corpus.maker, corpus),
        path,
        draws=None,
        accept=ACCEPT,
        seed=None,
        go_on=unsound_path(path).is_file(),
        insist=False,
        aside_words="Repeat the command to go on with them, or weigh with --judgements-only",
        err=True,
    )
    return path


def _tell(text: str) -> None:
    click.echo(filled(text), err=True)


def _refusal(plan: Plan, tree: xr.DataTree, health: Health, aside: Path, how: str) -> str:
    """Say why there is no file, what is stuck and why, and how to go on."""
    from dating.learning.obstacles import obstacles_of  # noqa: PLC0415
    from dating.words.obstacles import on_obstacles  # noqa: PLC0415

    stopped = "stopped" in tree.attrs
    why = "stopped before the draws were complete" if stopped else health.advice()
    stuck = () if stopped else obstacles_of(plan, tree)
    sentences = [
        f"no date can rest on this yet: {why}.",
        *on_obstacles(stuck, plan.maker.period.first),
        f"The {tree.attrs['draws']:,} draws of each chain are kept in {aside}. {how}",
    ]
    return " ".join(sentences)


@contextmanager
def _teller() -> Iterator[Callable[[str], None]]:
    """Show on one line of the terminal what is being tried."""
    from rich.console import Console  # noqa: PLC0415

    console = Console(stderr=True)
    shown = console.is_terminal

    def tell(text: str) -> None:
        if shown:
            console.print(text.ljust(60), end="\r", highlight=False)

    yield tell
    if shown:
        console.print(" " * 60, end="\r")
