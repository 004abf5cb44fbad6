"""Learning as one call: a plan sampled, its diagnostics kept, and unsound draws marked."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from dating.learning import sampling
from dating.learning.continuation import check_earlier_draws
from dating.learning.corpus import Corpus
from dating.learning.files import SET_ASIDE
from dating.learning.health import health_from, health_of
from dating.learning.learned import IN_MEMORY
from dating.learning.sampling import ACCEPT, Plan, plan_of
from dating.libraries import check_libraries
from dating.maker import Maker
from dating.reading import InputError, Problem

if TYPE_CHECKING:
    import xarray as xr

LIBRARIES = ("numba", "nutpie", "arviz", "scipy", "h5netcdf")


def learn(
    maker: Maker,
    corpus: Corpus,
    *,
    draws: int | None = None,
    accept: float = ACCEPT,
    seed: int | None = None,
    before: xr.DataTree | None = None,
    insist: bool = False,
) -> xr.DataTree:
    """Learn from a corpus of dated instruments what is judged in a maker file.

    The draws are those of ``dating learn`` with the same options, and the tree is what
    :func:`dating.read_learned` reads from the file that it writes.

    Parameters
    ----------
    maker : Maker
        The maker file, whose judgements are the priors.
    corpus : Corpus
        Dated instruments, read against this maker file.
    draws : int, optional
        Draws in each of four chains; as many as make them sound unless given.
    accept : float
        Acceptance that the sampler aims at, from 0.5 to 0.999.
    seed : int, optional
        Seed of the sampler; 1 unless given, or that of the earlier draws.
    before : DataTree, optional
        Earlier draws of the same two files that are not sound yet, to go on with.
    insist : bool
        Take the draws even where they are not sound; every date that rests on them says so.

    Returns
    -------
    DataTree
        What was learned, in the groups of ArviZ; :func:`dating.estimate` and the others take it as
        it is. Draws that are not sound, or that were stopped, bear the attribute ``set_aside``, and
        no date rests on them.

    Raises
    ------
    InputError
        When the corpus was read against another maker file, or the earlier draws are not of the
        same files and seed.
    ValueError
        When the draws are fewer than ten, or the acceptance is out of its range.
    ModuleNotFoundError
        When a library for learning is missing.

    Examples
    --------
    >>> from dating import read_corpus, read_maker
    >>> maker = read_maker("priors/marrowby.yaml")
    >>> corpus = read_corpus("demo_data/marrowby_corpus.csv", maker)
    >>> learn(maker, corpus, draws=5)
    Traceback (most recent call last):
    ...
    ValueError: at least 10 draws in each chain are wanted; found 5
    """
    check_libraries("learning", LIBRARIES)
    if draws is not None and draws < 10:
        raise ValueError(f"at least 10 draws in each chain are wanted; found {draws}")
    if not 0.5 <= accept <= 0.999:
        raise ValueError(f"an acceptance lies from 0.5 to 0.999; found {accept:g}")
    then, now = corpus.maker.origin.fingerprint[:12], maker.origin.fingerprint[:12]
    if corpus.maker is not maker and then != now:
        message = "read against another maker file; read the corpus against the one to learn with"
        raise InputError([Problem(corpus.file, None, "", message, then, now)])
    plan = plan_of(maker, corpus)
    if before is not None:
        check_earlier_draws(before, plan, seed, IN_MEMORY)
    return learn_plan(plan, draws=draws, accept=accept, seed=seed, before=before, insist=insist)


def learn_plan(
    plan: Plan,
    *,
    draws: int | None = None,
    accept: float = ACCEPT,
    seed: int | None = None,
    before: xr.DataTree | None = None,
    insist: bool = False,
    report: Callable[[str], None] = lambda _: None,
) -> xr.DataTree:
    """Sample, keep the diagnostics with the draws, and mark draws that no date may rest on."""
    if before is not None:
        seed = int(before.attrs["seed"])
    tree = sampling.learn(
        plan,
        draws=draws,
        accept=accept,
        seed=1 if seed is None else seed,
        before=before,
        report=report,
    )
    health = health_from(tree.attrs) if "rhat" in tree.attrs else health_of(tree)
    tree.attrs.update(health.attributes())
    if "stopped" in tree.attrs or not (health.good or insist):
        tree.attrs[SET_ASIDE] = 1
    return tree
