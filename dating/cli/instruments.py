"""The instruments that are compared: from files, a folder, a table or a group file."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import click

from dating.cells import DOCUMENT_COLUMNS, Unlisted, cell_columns, examination_in
from dating.examination import Examination
from dating.files import (
    check_against,
    find_maker,
    maker_named,
    maker_of_sheet,
    read_examination,
    read_maker,
)
from dating.kinds import kind_of
from dating.maker import Maker
from dating.notes.lots import read_lots
from dating.reading import InputError, Problem
from dating.sheets import column_names, is_sheet, read_sheet
from dating.succession.files import group_of, read_group
from dating.succession.references import maker_problems
from dating.succession.relations import Group
from dating.words.omissions import unlisted_words

_NOT_SEEN = ("built", "known_by", "trust")
"""Columns of a corpus that say how an instrument is dated."""
_UNDATED = "The dates in the table are not used: its instruments are compared as if undated."


@dataclass(frozen=True)
class Instruments:
    """Instruments of one maker, and what is known between them.

    Parameters
    ----------
    maker : Maker
        The maker file.
    examinations : tuple of Examination
        What was seen on each.
    group : Group or None
        What is known between them.
    files : tuple of Path
        Every file that was read.
    remarks : tuple of str
        What the user must know of how they were read, in sentences.
    """

    maker: Maker
    examinations: tuple[Examination, ...]
    group: Group | None = None
    files: tuple[Path, ...] = ()
    remarks: tuple[str, ...] = field(default=())


def read_instruments(
    paths: Sequence[Path], maker: Path | None, known: Path | None, *, allow_unlisted: bool
) -> Instruments:
    """Read the instruments that a command names, and hold what is known against them.

    Raises InputError with one located problem for each thing wrong; UsageError where nothing is
    named that could be compared.
    """
    group = read_group(known) if known is not None else None
    if not paths:
        return _listed(group, maker)
    tables = [path for path in paths if not path.is_dir() and is_sheet(path)]
    if tables and len(paths) > 1:
        raise click.UsageError("name one table by itself, or files of single instruments")
    if tables:
        read = _from_table(tables[0], maker, {} if allow_unlisted else None)
    else:
        read = _from_files(paths, maker)
    if group is None:
        return read
    origin = Path(group.origin.file)
    return Instruments(read.maker, read.examinations, group, (*read.files, origin), read.remarks)


def _listed(group: Group | None, maker: Path | None) -> Instruments:
    """Read the instruments that a group file lists."""
    if group is None:
        raise click.UsageError(
            "name two examinations or more, a folder of them, or a table; or --known FILE, which "
            "lists them"
        )
    if not group.examinations:
        message = "no examinations are listed here, and the command names none"
        raise InputError([group.origin.problem(("examinations",), message)])
    file = maker or maker_named(group.maker, group.origin)
    read, folder = read_maker(file), Path(group.origin.file).parent
    examinations = group_of(group, read)
    files = (file, Path(group.origin.file), *(folder / name for name in group.examinations))
    return Instruments(read, tuple(examinations.values()), group, files)


def _from_files(paths: Sequence[Path], maker: Path | None) -> Instruments:
    """Read files of single instruments, and folders of such files."""
    remarks: list[str] = []
    files = [file for path in paths for file in _files_in(path, remarks)]
    problems: list[Problem] = []
    examinations = []
    for file in files:
        try:
            examinations.append(read_examination(file))
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    if problems := maker_problems(examinations):
        raise InputError(problems)
    file = maker or find_maker(examinations[0])
    read = read_maker(file)
    for examination in examinations:
        try:
            check_against(examination, read)
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    return Instruments(read, tuple(examinations), None, (file, *files), tuple(remarks))


def _files_in(path: Path, remarks: list[str]) -> Iterator[Path]:
    """Give the examinations in a folder, or a file itself."""
    if not path.is_dir():
        yield path
        return
    found = [file for file in sorted(path.iterdir()) if file.suffix in {".yaml", ".yml"}]
    others = [file for file in found if not _is_examination(file)]
    if len(others) == len(found):
        raise InputError([Problem(str(path), None, "", "there is no examination in this folder")])
    if others:
        names = ", ".join(file.name for file in others)
        remarks.append(f"Passed over in {path}, as no examination: {names}.")
    yield from (file for file in found if file not in others)


def _is_examination(file: Path) -> bool:
    """Say whether a file is an examination; a file that cannot be read may be meant as one."""
    try:
        return kind_of(file) == "examination"
    except InputError as error:
        if error.problems[0].allowed:  # it was read, and is of no kind that is known
            return False
        raise


def _from_table(path: Path, maker: Path | None, unlisted: Unlisted | None) -> Instruments:
    """Read a table of examinations, a reference corpus or a sale."""
    given = read_maker(maker) if maker is not None else None
    if "lot" in column_names(path):
        lots = read_lots(path, given, allow_unlisted=unlisted is not None)
        problems = [problem for lot in lots.lots for problem in lot.problems]
        if problems:
            raise InputError(problems)
        seen = [lot.examination for lot in lots.lots if lot.examination is not None]
        remarks = unlisted_words(lots.unlisted)
        return _of_table(lots.maker, seen, path, remarks)
    sheet = read_sheet(path)
    read = given or read_maker(maker_of_sheet(sheet))
    columns = ["instrument", *_NOT_SEEN, *cell_columns(read), *DOCUMENT_COLUMNS]
    unknown = f"{read.maker} has no feature, mark or measurement of this name"
    if problems := [*sheet.head_problems(["instrument"], columns, unknown)]:
        raise InputError(problems)
    seen = []
    for row in sheet.rows:
        origin, width = sheet.source(row.line, None, ()), len(sheet.head.cells)
        if len(row.cells) != width:
            message = f"there are {width} columns, and this row has {len(row.cells)} cells"
            problems.append(origin.problem((), message))
            continue
        cells = sheet.by_column(row, columns)
        if not cells.get("instrument"):
            message = "an instrument needs a name or number of its own"
            problems.append(origin.problem(("instrument",), message))
            continue
        examination, further = examination_in(sheet, row.line, cells, read, unlisted)
        problems += further
        if examination is not None:
            seen.append(examination)
    if problems:
        raise InputError(problems)
    dated = "built" in sheet.head.cells
    remarks = [*([_UNDATED] if dated else []), *unlisted_words(unlisted or {})]
    return _of_table(read, seen, path, remarks)


def _of_table(
    maker: Maker, seen: Sequence[Examination], path: Path, remarks: Sequence[str]
) -> Instruments:
    files = (Path(maker.origin.file), path)
    return Instruments(maker, tuple(seen), None, files, tuple(remarks))
