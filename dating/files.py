"""Maker files and examinations read from disk, validated and checked for names that agree."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from dating.examination import Examination
from dating.kinds import of_kind
from dating.maker import Maker
from dating.reading import InputError, Problem, Source, read_bytes, read_yaml
from dating.references import examination_problems, maker_problems
from dating.sheets import Sheet
from dating.statements import LONGEST_NAME
from dating.validation import validate


def read_maker(path: str | os.PathLike[str]) -> Maker:
    """Read and validate a maker file.

    Parameters
    ----------
    path : str or path
        A YAML file.

    Returns
    -------
    Maker
        The validated maker file, which knows where each of its keys stands.

    Raises
    ------
    InputError
        With one located problem for each thing wrong.

    Examples
    --------
    >>> maker = read_maker("priors/marrowby.yaml")
    >>> str(maker.period)
    '1923-03/1941-11'
    """
    with of_kind(path, "maker"):
        source = read_yaml(path)
        maker = validate(source, Maker).placed(source)
        if problems := maker_problems(maker):
            raise InputError(problems)
        return maker


def read_examination(path: str | os.PathLike[str]) -> Examination:
    """Read and validate an examination; its names are held against a maker file later.

    Parameters
    ----------
    path : str or path
        A YAML file.

    Returns
    -------
    Examination
        The validated examination, which knows where each of its keys stands.

    Raises
    ------
    InputError
        With one located problem for each thing wrong.

    Examples
    --------
    >>> read_examination("demo_data/examinations/M-001.yaml").maker
    'marrowby'
    """
    with of_kind(path, "examination"):
        source = read_yaml(path)
        examination = validate(source, Examination).placed(source)
    if not examination.instrument.strip():
        message = "an instrument needs a name or number of its own"
        raise InputError([source.problem(("instrument",), message, found=examination.instrument)])
    return examination


def check_against(examination: Examination, maker: Maker) -> None:
    """Refuse an examination that names what its maker file does not know.

    Raises InputError with one located problem for each unknown name.
    """
    if problems := examination_problems(examination, maker):
        raise InputError(problems)


def read_listed(files: Sequence[str], origin: Source, maker: Maker) -> dict[str, Examination]:
    """Read the examinations that a file lists under its key ``examinations``, by instrument.

    Raises InputError with everything wrong with them, and for an instrument that is listed twice.
    """
    examinations: dict[str, Examination] = {}
    problems: list[Problem] = []
    folder = Path(origin.file).parent
    for position, name in enumerate(files):
        place = ("examinations", position)
        try:
            read_bytes(folder / name, 1)
        except InputError as error:
            (unread,) = error.problems
            problems.append(origin.problem(place, unread.message, found=name))
            continue
        try:
            examination = read_examination(folder / name)
            check_against(examination, maker)
        except InputError as error:
            problems += error.problems
            continue
        if examination.instrument in examinations:
            message = "this instrument is listed twice"
            problems.append(origin.problem(place, message, found=examination.instrument))
        examinations[examination.instrument] = examination
    if problems:
        raise InputError(problems)
    return examinations


def find_maker(examination: Examination) -> Path:
    """Find the maker file that an examination names.

    It is ``NAME.yaml`` beside the examination, or ``priors/NAME.yaml`` in a folder above the
    examination or in the present one.

    Parameters
    ----------
    examination : Examination
        An examination read from a file.

    Returns
    -------
    Path
        The maker file.

    Raises
    ------
    InputError
        When there is none, with the nearest name that there is.
    """
    return maker_named(examination.maker, examination.origin)


def maker_named(name: str, origin: Source) -> Path:
    """Find the maker file that a file names under its key ``maker``.

    Raises InputError when there is none, with the nearest name that there is.
    """
    if Path(name).name != name or not 1 <= len(name) <= LONGEST_NAME:
        message = "a plain name is expected here; name a file elsewhere with --maker FILE"
        raise InputError([origin.problem(("maker",), message, found=name)])
    folder = Path(origin.file).resolve().parent
    file = f"{name}.yaml"
    places = [folder, *(above / "priors" for above in (folder, *folder.parents))]
    places.append(Path.cwd() / "priors")
    for place in places:
        if (place / file).is_file():
            return _from_here(place / file)
    known = {path.stem for place in places[1:] for path in place.glob("*.yaml")}
    problem = origin.problem(
        ("maker",),
        f"no maker file {file} beside this file or in a folder priors above it; "
        "name one with --maker FILE",
        found=name,
        allowed=known,
    )
    raise InputError([problem])


def maker_of_sheet(sheet: Sheet) -> Path:
    """Find the maker file that a comment ``# maker: NAME`` of a sheet names.

    Raises InputError when the sheet names none, or there is none of that name.
    """
    line, name = sheet.statements.get("maker", (1, ""))
    origin = sheet.source(line, None, [("maker",)])
    if not name:
        message = "no maker file is named; add a first line such as # maker: marrowby"
        raise InputError([origin.problem(("maker",), message)])
    return maker_named(name, origin)


def _from_here(path: Path) -> Path:
    """Name a file as seen from the present folder where it lies inside it."""
    here = Path.cwd()
    return path.relative_to(here) if path.is_relative_to(here) else path
