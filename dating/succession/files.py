"""Group files read from YAML, with the examinations they list."""

from __future__ import annotations

import os

from dating.examination import Examination
from dating.files import read_listed
from dating.kinds import of_kind
from dating.maker import Maker
from dating.reading import InputError, read_yaml
from dating.succession.references import group_problems
from dating.succession.relations import Group
from dating.validation import validate


def read_group(path: str | os.PathLike[str]) -> Group:
    """Read and validate a group file; its names are held against examinations later.

    Parameters
    ----------
    path : str or path
        A YAML file.

    Returns
    -------
    Group
        The validated group file, which knows where each of its keys stands.

    Raises
    ------
    InputError
        With one located problem for each thing wrong.

    Examples
    --------
    >>> read_group("demo_data/marrowby_group.yaml").maker
    'marrowby'
    """
    with of_kind(path, "group"):
        source = read_yaml(path)
        return validate(source, Group).placed(source)


def group_of(group: Group, maker: Maker) -> dict[str, Examination]:
    """Read the examinations that a group file lists, and hold what it says against them.

    Where it lists none, the names of its instruments are held against nothing.

    Parameters
    ----------
    group : Group
        The group file.
    maker : Maker
        Its maker file.

    Returns
    -------
    dict of str to Examination
        By instrument, as they are listed.

    Raises
    ------
    InputError
        With one located problem for each unknown name, everything wrong with an examination, and
        what cannot be so.

    Examples
    --------
    >>> from dating.files import read_maker
    >>> group = read_group("demo_data/marrowby_group.yaml")
    >>> list(group_of(group, read_maker("priors/marrowby.yaml")))
    ['M-001', 'M-002', 'M-003', 'M-004']
    """
    examinations = read_listed(group.examinations, group.origin, maker)
    named = {name for relation in group.known for name in relation.content.instruments}
    names = examinations if group.examinations else named
    if problems := group_problems(group, names, maker):
        raise InputError(problems)
    return examinations
