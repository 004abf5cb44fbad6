"""Several instruments of the folder side by side, on one axis of time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath

from starlette.responses import Response

from dating.bench.file_cache import FileCache
from dating.bench.month_shapes import axis_of, draw_strip
from dating.bench.requests import BadRequestError, PageRequest, filled
from dating.bench.row_arrangement import BY_DATE, arranged, choices
from dating.bench.time_axis import TimeAxis
from dating.examination import Examination
from dating.reading import InputError, Problem
from dating.succession.comparison import Comparison
from dating.succession.references import maker_problems
from dating.succession.run import compare
from dating.summaries import months_of_weight
from dating.words.succession_page import comparison_content
from dating.words.succession_rows import RowLine, row_lines

MOST = 40
"""Instruments that are set side by side while someone waits for the page."""
KINDS = {
    "older": "one is older than the other",
    "apart": "two were completed at most so many months apart",
    "same_batch": "they belong to one batch, completed within so many months",
    "photographed": "they are seen together in a photograph",
    "consecutive": "their work numbers follow one another",
}
"""What can be added to a group file, in words."""


@dataclass(frozen=True)
class InstrumentStrip:
    """One instrument as the page shows it.

    Parameters
    ----------
    line : RowLine
        Its place, its date in words, its median.
    file : str
        Its file.
    path : str
        Its posterior by month, as a closed path.
    seen : str
        Whose it is, or what was seen, where the page is arranged by that; empty otherwise.
    """

    line: RowLine
    file: str
    path: str
    seen: str


@dataclass(frozen=True)
class Chosen:
    """What is set side by side.

    Parameters
    ----------
    files : tuple of str
        The examinations.
    known : str
        The group file; empty where there is none.
    by : str
        How the page is arranged, as :func:`dating.bench.row_arrangement.choices` lists it.
    """

    files: tuple[str, ...]
    known: str
    by: str


def side_by_side(request: PageRequest) -> Response:
    """Show which of several instruments is older, how sure that is, and what differs."""
    return page_of_comparison(request.shelf, chosen_in(request.shelf, request.query))


def progress(request: PageRequest) -> Response:
    """Tell how far the comparison is that is under way."""
    drawn, most = request.shelf.draws
    return filled("comparison_progress.html.j2", drawn=drawn, most=most)


def page_of_comparison(
    shelf: FileCache,
    chosen: Chosen,
    fields: Mapping[str, str] | None = None,
    problems: Sequence[Problem] = (),
    message: str = "",
) -> Response:
    """Show a comparison, with what a form said of it and what is wrong with that."""
    examinations = {file: shelf.examination(file) for file in chosen.files}
    comparison = _compared(shelf, chosen, examinations)
    files = {examination.instrument: file for file, examination in examinations.items()}
    content, without_root = comparison_content(comparison), shelf.workspace.without_root
    axis, strips = _strips(comparison, files, chosen.by)
    groups = [
        file.name
        for file in shelf.workspace.files("group")
        if _maker_of(shelf, file.name) == next(iter(examinations.values())).maker
    ]
    return filled(
        "compare.html.j2",
        422 if problems else 200,
        **content | {"origin": [without_root(sentence) for sentence in content["origin"]]},
        chosen=chosen,
        strips=strips,
        axis=axis,
        groups=groups,
        kinds=KINDS,
        fields=fields or {},
        problems=[without_root(str(problem)) for problem in problems],
        message=message,
        identity=shelf.workspace.identity,
        arrangements=choices(comparison),
    )


def chosen_in(shelf: FileCache, query: Mapping[str, str]) -> Chosen:
    """Read from the address what is to be set side by side.

    Raises BadRequestError when there are too few or too many.
    """
    known = query.get("known", "")
    files = [value for key, value in query.items() if key.startswith("file-") and value]
    if known and not files:
        folder = PurePosixPath(known).parent
        files = [(folder / name).as_posix() for name in shelf.group(known).examinations]
    if (maker := query.get("maker", "")) and not files:
        files = _examined(shelf, maker)
    files = list(dict.fromkeys(files))
    if len(files) < 2:
        raise BadRequestError("tick two examinations or more to set them side by side")
    if len(files) > MOST:
        raise BadRequestError(
            f"more than {MOST} instruments are too many to wait for here; up to 500 are set side "
            "by side by dating compare"
        )
    return Chosen(tuple(files), known, query.get("by", "") or BY_DATE)


def _examined(shelf: FileCache, maker: str) -> list[str]:
    """Name the examinations of a maker, though no more than can be told to be too many."""
    stem = PurePosixPath(maker).stem
    files: list[str] = []
    for file in shelf.workspace.files("examination"):
        try:
            if shelf.examination(file.name).maker == stem:
                files.append(file.name)
        except InputError:
            continue  # its own page says what is wrong with it
        if len(files) > MOST:
            break
    return files


def _compared(
    shelf: FileCache, chosen: Chosen, examinations: Mapping[str, Examination]
) -> Comparison:
    """Compare instruments, or give what was compared before.

    Raises InputError when they are of more than one maker, or cannot be compared.
    """
    several = tuple(examinations.values())
    if problems := maker_problems(several):
        raise InputError(problems)
    maker_file = shelf.maker_named(several[0].maker)
    maker = shelf.maker(maker_file)
    group = shelf.group(chosen.known) if chosen.known else None
    read = [maker_file, *chosen.files, *([chosen.known] if chosen.known else [])]
    key = ("comparison", *(shelf.state_of(name) for name in read))

    def tell(drawn: int, most: int) -> None:
        shelf.draws = (drawn, most)

    def make() -> Comparison:
        tell(0, 0)
        return compare(maker, several, group=group, progress=tell)

    return shelf.make_once(key, make, most=4)


def _strips(
    comparison: Comparison, files: Mapping[str, str], by: str
) -> tuple[TimeAxis, list[InstrumentStrip]]:
    """Lay out every instrument on the months in which any of them can have been built."""
    posteriors = [comparison.months_of(name) for name in comparison.names]
    axis = axis_of(months_of_weight(posteriors, comparison.period))
    lines = {line.name: line for line in row_lines(comparison)}
    strips = [
        InstrumentStrip(
            lines[name],
            files[name],
            draw_strip(comparison.months_of(name), axis, comparison.period),
            seen,
        )
        for name, seen in arranged(comparison, by)
    ]
    return axis, strips


def _maker_of(shelf: FileCache, group: str) -> str:
    """Name the maker of a group file; nothing where it cannot be read."""
    try:
        return shelf.group(group).maker
    except InputError:
        return ""
