"""Draws for ``dating learn``: taken, gone on with, and set aside where they are not sound."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from dating.cli.signals import ended_by_signals
from dating.cli.streams import text_width

if TYPE_CHECKING:
    import xarray as xr

    from dating.learning.health import Health
    from dating.learning.sampling import Plan


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
) -> tuple[xr.DataTree, Health]:
    """Sample, and write what was learned; draws that are not sound are set aside.

    Raises ClickException when the draws were set aside.
    """
    from dating.learning.continuation import earlier_draws, unsound_path  # noqa: PLC0415
    from dating.learning.files import SET_ASIDE, write_learned  # noqa: PLC0415
    from dating.learning.health import health_from  # noqa: PLC0415
    from dating.learning.run import learn_plan  # noqa: PLC0415
    from dating.words.learned import before_learning  # noqa: PLC0415

    aside = unsound_path(out)
    before = earlier_draws(aside, plan, seed) if go_on else None
    click.echo(before_learning(plan, draws, text_width()))
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
        raise click.ClickException(_refusal(plan, tree, health, aside))
    write_learned(tree, out, health)
    aside.unlink(missing_ok=True)
    return tree, health


def _refusal(plan: Plan, tree: xr.DataTree, health: Health, aside: Path) -> str:
    """Say why there is no file, what is stuck and why, and how to go on."""
    from dating.learning.obstacles import obstacles_of  # noqa: PLC0415
    from dating.words.obstacles import on_obstacles  # noqa: PLC0415

    stopped = "stopped" in tree.attrs
    why = "stopped before the draws were complete" if stopped else health.advice()
    stuck = () if stopped else obstacles_of(plan, tree)
    sentences = [
        f"no date can rest on this yet: {why}.",
        *on_obstacles(stuck, plan.maker.period.first),
        f"The {tree.attrs['draws']:,} draws of each chain are kept in {aside}. To continue, repeat "
        "the command with --continue; to write them as they are, add --continue --insist",
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
