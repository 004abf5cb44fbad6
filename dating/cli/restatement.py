"""A maker file that states what was learned: checked before the work, and written after it."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from dating.cli.streams import text_width

if TYPE_CHECKING:
    import xarray as xr

    from dating.learning.health import Health
    from dating.learning.restatement import Basis
    from dating.learning.sampling import Plan

_MOST_DRAWS = 1_000_000
_MOST_INSTRUMENTS = 400
"""Instruments that are dated from both, evenly spaced over the corpus."""


def check_restatement(plan: Plan, maker: Path) -> None:
    """State the judgements themselves, so that what cannot be rewritten is told before the work.

    Raises InputError when the maker file shares values by anchors, or a comment would be lost.
    """
    from dating.learning.prior import prior_draws  # noqa: PLC0415
    from dating.learning.restatement import restate  # noqa: PLC0415
    from dating.reading import read_text  # noqa: PLC0415

    restate(plan.maker, read_text(maker)[0], prior_draws(plan.maker), _ground(plan))


def read_result(path: Path, plan: Plan) -> tuple[xr.DataTree, Health]:
    """Read what was learned before from the same two files.

    Raises InputError when it is no such file, or was learned from another state of maker file or
    corpus.
    """
    from dating.learning.files import draws_from, read_learned  # noqa: PLC0415
    from dating.learning.health import health_of  # noqa: PLC0415

    tree = read_learned(path)
    learned = draws_from(tree, plan.corpus, str(path))
    return tree, learned.health or health_of(tree)


def write_restatement(
    plan: Plan, tree: xr.DataTree, health: Health, maker: Path, path: Path
) -> None:
    """Write the maker file whole, and say how far its dates are from those of the draws.

    Raises InputError when it cannot be written.
    """
    from dating.agreement import agreement_of  # noqa: PLC0415
    from dating.learning.learned import learned_from  # noqa: PLC0415
    from dating.learning.restatement import restate  # noqa: PLC0415
    from dating.reading import read_text, write_whole  # noqa: PLC0415
    from dating.words.restatement import after_restating  # noqa: PLC0415

    draws = replace(learned_from(tree, _MOST_DRAWS), health=health)
    stated = restate(plan.maker, read_text(maker)[0], draws, _ground(plan))
    write_whole(path, stated.text.encode("utf-8"))
    seen = [reference.examination for reference in plan.corpus.references]
    seen = seen[:: -(-len(seen) // _MOST_INSTRUMENTS)]
    agreement = agreement_of(plan.maker, learned_from(tree), stated.maker, seen)
    click.echo(after_restating(stated, str(path), agreement, text_width()))


def _ground(plan: Plan) -> Basis:
    from dating.learning.restatement import Basis  # noqa: PLC0415

    corpus = plan.corpus
    today = dt.datetime.now(tz=dt.UTC).date()
    return Basis(corpus.file, corpus.fingerprint, len(corpus.references), today)
