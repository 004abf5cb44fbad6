"""Learned files: what was learned in one sealed netCDF file, read only where it can be right.

The file is a tree of groups (xarray DataTree, :mod:`dating.learning.groups`), where there are
free-form features ``latent``, where levels are corrected ``levels``; and attributes that say from
which maker file and corpus it comes, with which versions and seed, and how sound the draws are.

Behind it stands a line with the checksum of its bytes, its seal. The library of HDF5 may work for
ever on a damaged file, or end the program, so bytes that do not agree with that line are never
handed to it. A seal shows damage and mistakes. It is no signature: whoever changes a file on
purpose can seal it again.
"""

from __future__ import annotations

import io
import os
import re
from collections.abc import Mapping
from dataclasses import replace
from hashlib import sha256
from typing import TYPE_CHECKING, Any

from dating.kinds import of_kind
from dating.learning.edits import NO_EDITS, Edits, edits_words
from dating.learning.health import Health, health_from, health_of
from dating.learning.inspection import faults_of
from dating.learning.learned import IN_MEMORY, MOST_DRAWS, Learned, learned_from
from dating.learning.transfer import TransferError, transfer, unlearned_free_form
from dating.maker import Maker
from dating.reading import InputError, Problem, read_bytes, write_whole

if TYPE_CHECKING:
    import xarray as xr

    from dating.learning.corpus import Corpus

FORMAT = "instrument-dating learned 6"
SET_ASIDE = "set_aside"
_SEAL = b"\ninstrument-dating bytes "
_SEALED = len(_SEAL) + 65
_FORMATS = re.compile(r"instrument-dating learned ([0-9]{1,9})")


def write_learned(
    tree: xr.DataTree,
    path: str | os.PathLike[str],
    health: Health | None = None,
    *,
    set_aside: bool = False,
) -> None:
    """Seal a result, and write it whole or not at all.

    Raises InputError when the file cannot be written.
    """
    sealed = tree.copy()
    attributes = {name: value for name, value in tree.attrs.items() if name != SET_ASIDE}
    sealed.attrs = {**attributes, **(health or health_of(tree)).attributes()}
    if set_aside:
        sealed.attrs[SET_ASIDE] = 1
    content = bytes(sealed.to_netcdf(engine="h5netcdf", encoding=_packing(tree)))
    write_whole(path, content + _seal_of(content))


def read_draws(path: str | os.PathLike[str], maker: Maker, most: int = MOST_DRAWS) -> Learned:
    """Read a result, and refuse it when it cannot be relied on.

    Raises InputError when it is no such file, comes from an earlier version, does not agree with
    its seal or with the maker file, or when the maker file has changed so that nothing can be
    carried over.
    """
    return draws_in(read_learned(path), maker, os.fspath(path), most)


def draws_in(tree: xr.DataTree, maker: Maker, file: str, most: int = MOST_DRAWS) -> Learned:
    """Take the draws out of a result that was read, and refuse what cannot be relied on.

    Raises InputError when it does not agree with the maker file, or nothing of it can be carried
    over.
    """
    if SET_ASIDE in tree.attrs:
        how = _ON_FILES if file != IN_MEMORY else _ON_TREES
        raise _refused(file, set_aside_words(tree.attrs, how))
    if str(tree.attrs.get("maker_fingerprint", "")) == maker.origin.fingerprint:
        edits = NO_EDITS
    else:
        tree, edits = _carried_over(tree, maker, file)
    without = unlearned_free_form(tree, maker) if edits else ()
    if faults := faults_of(tree, maker, file, without):
        raise InputError(faults)
    return replace(learned_from(tree, most), edits=edits)


def _carried_over(tree: xr.DataTree, maker: Maker, file: str) -> tuple[xr.DataTree, Edits]:
    """Carry a result over to a maker file that has been edited since."""
    then, now = str(tree.attrs.get("maker_fingerprint", "")), maker.origin.fingerprint
    states = f"learned with another state of the maker file (then {then[:12]}, now {now[:12]})"
    try:
        return transfer(tree, maker)
    except TransferError as error:
        why = f"{states}, from which nothing can be carried over: {error}"
    except (KeyError, ValueError, IndexError, TypeError) as error:
        why = f"{states}, and not as dating learn writes a file ({type(error).__name__})"
    raise _refused(file, f"{why}; learn anew with dating learn")


def draws_from(tree: xr.DataTree, corpus: Corpus, file: str, most: int = MOST_DRAWS) -> Learned:
    """Take the draws out of a result, as they were learned from this very corpus.

    Raises InputError when it was learned with another state of the maker file or of the corpus, or
    cannot be relied on.
    """
    learned = draws_in(tree, corpus.maker, file, most)
    if learned.edits:
        message = (
            f"{edits_words(learned.edits)} Only draws as they were learned will do here; learn "
            "anew with dating learn"
        )
        raise _refused(file, message)
    then, now = learned.corpus_fingerprint[:12], corpus.fingerprint[:12]
    if learned.corpus_fingerprint != corpus.fingerprint:
        message = (
            f"learned from another state of the corpus than {corpus.file}; name the corpus it was "
            "learned from, or learn anew with dating learn"
        )
        raise InputError([Problem(file, None, "", message, then, now)])
    return learned


_ON_FILES = (
    "use dating learn with --continue to continue, or with --insist to write them as they are"
)
_ON_TREES = "go on with dating.learn and before, or take them all the same with insist"


def set_aside_words(attributes: Mapping[Any, Any], how: str = _ON_FILES) -> str:
    """Say what draws are that were set aside, and how to go on."""
    fault = "stopped early" if "stopped" in attributes else health_from(attributes).fault
    return (
        f"draws that are not sound yet ({fault}), kept so that you can continue, and no date "
        f"rests on them; {how}"
    )


def read_learned(path: str | os.PathLike[str]) -> xr.DataTree:
    """Read what was learned as a tree of groups; refuse what does not agree with its seal.

    The groups are those of ArviZ, whose tools take the tree as it is: ``posterior``, ``prior``,
    ``posterior_predictive`` and ``prior_predictive`` beside ``observed_data``,
    ``log_likelihood`` (by instrument), ``log_prior``, ``sample_stats``, ``constant_data``. The
    standard normal coordinates of the sampler stand apart in ``unknowns``.

    Parameters
    ----------
    path : str or path
        A netCDF file written by ``dating learn``.

    Returns
    -------
    DataTree
        All that the file holds, without the seal.

    Raises
    ------
    InputError
        When it is no such file, comes from another version, or was changed or damaged.

    Examples
    --------
    >>> import tempfile
    >>> import xarray as xr
    >>> slips = xr.Dataset({"slip": (("chain", "draw"), [[0.01, 0.03]])})
    >>> tree = xr.DataTree.from_dict({"posterior": slips})
    >>> tree.attrs["format"] = FORMAT
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write_learned(tree, f"{folder}/learned.nc")
    ...     learned = read_learned(f"{folder}/learned.nc")
    >>> float(learned["posterior"]["slip"].mean())
    0.02
    """
    with of_kind(path, "learned"):
        return _sealed_tree(os.fspath(path))


def _sealed_tree(file: str) -> xr.DataTree:
    """Read a tree, and refuse it when it does not agree with its seal."""
    import xarray as xr  # noqa: PLC0415

    content = read_bytes(file)
    content, seal = content[:-_SEALED], content[-_SEALED:]
    if not seal.startswith(_SEAL):
        fault = (
            "bears no seal, so it was cut short, or another program has written it, or it is no "
            "file that dating learn has written"
        )
        raise _refused(file, f"{fault}; learn again with dating learn")
    if seal != _seal_of(content):
        raise _refused(file, "damaged: a part of it has changed; learn again with dating learn")
    with xr.open_datatree(io.BytesIO(content), engine="h5netcdf") as tree:
        if fault := _other_version(tree.attrs):
            raise _refused(file, f"{fault}; learn again with dating learn")
        return tree.load()


def attributes_of(path: str | os.PathLike[str]) -> dict[str, Any]:
    """Read what a file of what was learned says of itself.

    Raises InputError when it is no such file, or does not agree with its seal.
    """
    return {str(name): value for name, value in read_learned(path).attrs.items()}


def _packing(tree: xr.DataTree) -> dict[str, dict[str, dict[str, Any]]]:
    """Say how the numbers of each group are compressed."""
    return {
        path: {
            str(name): {"zlib": True, "complevel": 4, "shuffle": True}
            for name, values in group.data_vars.items()
            if values.dtype.kind in "biuf" and values.ndim
        }
        for path, group in tree.to_dict().items()
    }


def _seal_of(content: bytes) -> bytes:
    """Give the line that stands behind a file: the checksum of its bytes."""
    return b"%s%s\n" % (_SEAL, sha256(content).hexdigest().encode())


def _other_version(attributes: Mapping[Any, Any]) -> str:
    """Say that a file is of another version of the project; empty where it is of this one."""
    form = str(attributes.get("format"))
    version = _FORMATS.fullmatch(form)
    if version is None:
        return "not a file that dating learn has written"
    older = int(version[1]) < int(FORMAT.rsplit(" ", 1)[1])
    which = "an earlier" if older else "another"
    return "" if form == FORMAT else f"written by {which} version of this project"


def _refused(file: str, message: str) -> InputError:
    return InputError([Problem(file, None, "", message)])
