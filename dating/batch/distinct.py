"""The distinct cells of a table, each read once."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from dating.arrays import Integers
from dating.cells import Unlisted, cell_columns, examination_in
from dating.examination import NOT_EXAMINED, Examination
from dating.maker import Maker
from dating.reading import Problem
from dating.sheet_rows import SheetRow
from dating.sheets import Sheet

if TYPE_CHECKING:
    import pandas as pd

type Located = Callable[[int], tuple[str, int | None]]


class CellReader:
    """Reads distinct cells, and notes what is wrong at the first row in which it stands.

    Parameters
    ----------
    maker : Maker
        The maker file.
    located : callable
        Gives file and line of a row.
    unlisted : dict of str to Counter, or None
        Where cells with states that are not listed are counted; None where they are problems.
    """

    def __init__(self, maker: Maker, located: Located, unlisted: Unlisted | None) -> None:
        self.maker = maker
        self.unlisted = unlisted
        self.located = located
        self.problems: list[Problem] = []
        self.sheet = Sheet("", "", {}, SheetRow(1, ()), ())

    def all_levels(
        self, columns: Mapping[str, tuple[Integers, list[str]]]
    ) -> dict[str, list[Examination | None]]:
        """Give what each distinct cell of several columns says.

        The first cells of all columns are read as one row, which is quicker, then the second, and
        so on; where anything is wrong with such a row, its cells are read one at a time.
        Shapes: codes of each column (row,).
        """
        paths = cell_columns(self.maker)
        levels: dict[str, list[Examination | None]] = {name: [] for name in columns}
        for place in range(max((len(texts) for _, texts in columns.values()), default=0)):
            cells = {n: texts[place] for n, (_, texts) in columns.items() if place < len(texts)}
            texts_by_name = {name: text for name, text in cells.items() if text}
            once: Unlisted | None = None if self.unlisted is None else {}
            row = {"instrument": "-", **texts_by_name}
            together, _ = examination_in(self.sheet, 1, row, self.maker, once)
            if together is not None:
                self._count(once, place, columns)
            for name in cells:
                if name not in texts_by_name:
                    levels[name].append(None)
                elif together is None:
                    levels[name].append(
                        self._level(columns[name][0], place, {name: texts_by_name[name]})
                    )
                else:
                    value = value_at(together, paths[name])
                    levels[name].append(single_of(together, paths[name], value))
        return levels

    def levels(self, raw: Integers, cells: Sequence[Mapping[str, str]]) -> list[Examination | None]:
        """Give what each distinct combination of cells says.

        Shapes: raw (row,).
        """
        return [self._level(raw, place, each) for place, each in enumerate(cells)]

    def note(self, row: int, problem: Problem) -> None:
        """Put a problem in its row."""
        file, line = self.located(row)
        self.problems.append(replace(problem, file=file, line=line))

    def _count(
        self, once: Unlisted | None, place: int, columns: Mapping[str, tuple[Integers, list[str]]]
    ) -> None:
        """Count the rows in which a distinct cell stands that the maker file does not list."""
        for name, cells in (once or {}).items():
            rows = int(np.count_nonzero(columns[name][0] == place))
            if self.unlisted is not None and rows:
                for cell in cells:
                    self.unlisted.setdefault(name, Counter())[cell] += rows

    def _level(self, raw: Integers, place: int, cells: Mapping[str, str]) -> Examination | None:
        if not cells:
            return None
        row_of_cells = {"instrument": "-", **cells}
        once: Unlisted | None = None if self.unlisted is None else {}
        examination, problems = examination_in(self.sheet, 1, row_of_cells, self.maker, once)
        self._count(once, place, {name: (raw, []) for name in cells})
        if problems:
            for row in np.flatnonzero(raw == place)[:1]:  # a category may stand in no row
                for problem in problems:
                    self.note(int(row), problem)
        return examination


def distinct_cells(values: pd.Series) -> tuple[Integers, list[str]]:
    """Give the place of each cell among the distinct ones, and these as text.

    Shape: places (row,).
    """
    import pandas as pd  # noqa: PLC0415

    if isinstance(values.dtype, pd.CategoricalDtype):
        raw, distinct = values.cat.codes.to_numpy(), values.cat.categories
    else:
        codes, distinct = pd.factorize(values)
        raw = codes.astype(np.min_scalar_type(-len(distinct) - 1))
    return raw, [_text(value) for value in distinct]


def _text(value: object) -> str:
    """Write a cell as text; nothing where it says "not examined"."""
    if isinstance(value, np.datetime64) or hasattr(value, "isoformat"):
        return str(value)[:10]
    text = str(value).strip()
    return "" if text == NOT_EXAMINED else text


def combined_cells(
    frame: pd.DataFrame, names: Sequence[str]
) -> tuple[Integers, list[dict[str, str]]]:
    """Count the distinct combinations of several columns, and give the cells of each.

    Shape: places (row,).
    """
    code = np.zeros(len(frame), dtype=np.int64)
    parts = [distinct_cells(frame[name]) for name in names]
    for raw, texts in parts:
        _, code = np.unique(code * (len(texts) + 1) + raw + 1, return_inverse=True)
    _, first, raw = np.unique(code, return_index=True, return_inverse=True)
    cells = []
    for row in first:
        texts_by_name = {
            n: t[r[row]] for n, (r, t) in zip(names, parts, strict=True) if r[row] >= 0
        }
        cells.append({name: text for name, text in texts_by_name.items() if text})
    return raw.astype(np.int32), cells


def value_at(examination: Examination, path: tuple[str, ...]) -> Any:
    """Give what an examination says of one thing."""
    value = getattr(examination, path[0])
    return value.get(path[1]) if len(path) > 1 else value


def single_of(examination: Examination, path: tuple[str, ...], value: Any) -> Examination:
    """Keep one thing of an examination."""
    return examination.alone(**{path[0]: {path[1]: value} if len(path) > 1 else value})
