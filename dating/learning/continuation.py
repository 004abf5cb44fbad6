"""Draws that are not sound yet: where they are kept, and how learning goes on with them."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from dating.learning.files import read_learned
from dating.reading import InputError, Problem

if TYPE_CHECKING:
    import xarray as xr

    from dating.learning.sampling import Plan


def unsound_path(out: Path) -> Path:
    """Name the file in which draws are kept that are not sound.

    Examples
    --------
    >>> unsound_path(Path("marrowby.nc")).name
    'marrowby.unsound.nc'
    """
    return out.with_name(f"{out.stem}.unsound{out.suffix}")


def earlier_draws(path: str | os.PathLike[str], plan: Plan, seed: int | None = None) -> xr.DataTree:
    """Read draws that are not sound yet, to go on with them.

    Raises InputError when there is no such file, or the draws were taken with another maker file,
    corpus or seed.
    """
    file = os.fspath(path)
    if not os.path.isfile(file):
        message = "there are no draws to go on with; learn without --continue"
        raise InputError([Problem(file, None, "", message)])
    tree = read_learned(file)
    check_earlier_draws(tree, plan, seed, file)
    return tree


def check_earlier_draws(tree: xr.DataTree, plan: Plan, seed: int | None, file: str) -> None:
    """Refuse draws that learning cannot go on with.

    Raises InputError when they were taken with another maker file, corpus or seed.
    """
    states = {
        "maker_fingerprint": ("maker file", plan.maker.origin.fingerprint),
        "corpus_fingerprint": ("corpus", plan.corpus.fingerprint),
    }
    problems = [
        Problem(
            file,
            None,
            key,
            f"taken with another state of the {what}; begin again, with --replace in the place of "
            "--continue",
            str(tree.attrs.get(key, ""))[:12],
            now[:12],
        )
        for key, (what, now) in states.items()
        if tree.attrs.get(key) != now
    ]
    if not problems and seed not in {None, int(tree.attrs["seed"])}:
        message = "taken with another seed; give that one"
        problems.append(Problem(file, None, "seed", message, str(tree.attrs["seed"]), str(seed)))
    count = len(plan.corpus.references)
    if not problems and int(tree.attrs["instruments"]) != count:
        message = "taken from another number of the corpus's instruments; leave out the same ones"
        problems.append(
            Problem(file, None, "instruments", message, str(tree.attrs["instruments"]), str(count))
        )
    if not problems and "unknowns" not in tree:
        problems.append(Problem(file, None, "unknowns", "there are no draws to go on with"))
    if problems:
        raise InputError(problems)
