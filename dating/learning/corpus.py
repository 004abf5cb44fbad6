"""The reference corpus: instruments, most of them securely dated, one a row of a CSV file.

Each row says when the instrument was built, how that is known and how far it is trusted, and what
was seen on it. The stated date allows some months of the maker's period and excludes the others;
without one, every month is allowed.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, field

import numpy as np

from dating.amounts import AmountError, decimal_of
from dating.arrays import Floats
from dating.cells import Unlisted, cell_columns, examination_in
from dating.edtf import EdtfError, UncertainDate, parse_edtf
from dating.edtf_slips import vague
from dating.escapes import escaped
from dating.examination import Examination
from dating.files import maker_of_sheet, read_maker
from dating.kinds import of_kind
from dating.maker import Maker
from dating.months import Period
from dating.reading import InputError, Problem
from dating.sheet_rows import SheetRow
from dating.sheets import Sheet, read_sheet

UNDATED = "undated"
_REQUIRED = ("instrument", "built")
_OWN = (*_REQUIRED, "known_by", "trust")
_DATES = "a month 1931-04, a day, a year, 193X, [1931-04..1931-09], [1931-04..] or [..1930]"


@dataclass(frozen=True, eq=False)
class Reference:
    """One instrument, securely dated or undated.

    Parameters
    ----------
    line : int
        Line of the file on which its row starts, counted from 1.
    examination : Examination
        What was seen on it; what was not examined is left out.
    built : UncertainDate or None
        The stated date; None for an undated instrument.
    window : ndarray of float64, shape (month,)
        1 in each month of the maker's period that the stated date allows, 0 in the others; at
        least one is allowed, and there may be gaps. Cannot be written to.
    known_by : str
        How the date is known, as written.
    trust : float
        Probability that the stated date is right, from 0 to 1.
    """

    line: int
    examination: Examination
    built: UncertainDate | None
    window: Floats
    known_by: str
    trust: float

    def __repr__(self) -> str:
        """Name the instrument, its line and its stated date."""
        name = self.examination.instrument
        dated = f"built {self.stated}, trust {self.trust:g}" if self.dated else UNDATED
        return escaped(f"Reference({name}, line {self.line}, {dated})")

    @property
    def dated(self) -> bool:
        """Whether a date is stated."""
        return self.built is not None

    @property
    def stated(self) -> str:
        """The stated date as written, or the word for none."""
        return UNDATED if self.built is None else self.built.text

    @property
    def month(self) -> int | None:
        """The one month allowed, counted from 0 at the start of the period; None if several."""
        allowed = np.flatnonzero(self.window)
        return int(allowed[0]) if len(allowed) == 1 and not self.open_ended else None

    @property
    def open_ended(self) -> bool:
        """Whether the stated date has no earliest or no latest day, as where there is none."""
        return self.built is None or self.built.lower is None or self.built.upper is None

    def likelihood(self, output: Floats) -> Floats:
        """Give P(stated date | build month), up to a factor.

        Shapes: output (month,); gives (month,).
        """
        return self.trust * self.window + (1 - self.trust) * float(self.window @ output)

    def months_given(self, output: Floats) -> Floats:
        """Give P(build month | stated date).

        Shapes: output (month,); gives (month,).
        """
        stated = output * self.window
        stated = stated if stated.any() else self.window
        return self.trust * stated / stated.sum() + (1 - self.trust) * output


@dataclass(frozen=True, eq=False)
class Corpus:
    """A reference corpus that has been read and checked.

    Parameters
    ----------
    file : str
        The file, as the user named it.
    fingerprint : str
        SHA-256 of the file's bytes, in hexadecimal.
    references : tuple of Reference
        In the order of the file, at least one of them dated.
    maker : Maker
        The maker file it was read against.
    unlisted : dict of str to Counter
        How often cells with states that the maker file does not list stand in each column, where
        such cells were to be taken for ones that say nothing.
    left_out : tuple of int
        Lines of the rows without a date that can be read, where these were to be left out.
    """

    file: str
    fingerprint: str
    references: tuple[Reference, ...]
    maker: Maker
    unlisted: Unlisted = field(default_factory=dict)
    left_out: tuple[int, ...] = ()

    def __repr__(self) -> str:
        """Name the file, the number of instruments and the maker."""
        count = f"{len(self.references)} references"
        return escaped(f"Corpus({self.file}, {count}, {self.maker.maker})")

    @property
    def undated(self) -> int:
        """How many instruments have no stated date."""
        return sum(not reference.dated for reference in self.references)


def read_corpus(
    path: str | os.PathLike[str],
    maker: Maker | None = None,
    *,
    allow_unlisted: bool = False,
    leave_out_undated: bool = False,
) -> Corpus:
    """Read and check a reference corpus.

    Parameters
    ----------
    path : str or path
        A CSV file.
    maker : Maker, optional
        The maker file; without one, a comment ``# maker: NAME`` at the top of the CSV file names
        it, and it is looked for as for an examination.
    allow_unlisted : bool
        Take a state that the maker file does not list for one that says nothing, and count it.
    leave_out_undated : bool
        Leave out rows whose date is missing or cannot be read.

    Returns
    -------
    Corpus
        The instruments with the months that their stated dates allow.

    Raises
    ------
    InputError
        With one located problem for each thing wrong.

    Examples
    --------
    >>> corpus = read_corpus("demo_data/marrowby_corpus.csv")
    >>> len(corpus.references), corpus.maker.product
    (400, 'student mandolins and tenor guitars')
    """
    with of_kind(path, "corpus"):
        sheet = read_sheet(path)
        if maker is None:
            maker = read_maker(maker_of_sheet(sheet))
        return corpus_in(
            sheet, maker, allow_unlisted=allow_unlisted, leave_out_undated=leave_out_undated
        )


def corpus_in(
    sheet: Sheet, maker: Maker, *, allow_unlisted: bool = False, leave_out_undated: bool = False
) -> Corpus:
    """Read a sheet as a reference corpus.

    Raises InputError with one located problem for each thing wrong.
    """
    return _Reader(sheet, maker, {} if allow_unlisted else None, leave_out_undated).corpus()


class _Reader:
    """Reads the rows of one sheet, which share a maker file and have names of their own."""

    def __init__(
        self, sheet: Sheet, maker: Maker, unlisted: Unlisted | None, leave_out: bool
    ) -> None:
        self.sheet = sheet
        self.maker = maker
        self.unlisted = unlisted
        self.leave_out = leave_out
        self.left_out: list[int] = []
        self.columns = [*_OWN, *cell_columns(maker)]
        self.named: dict[str, int] = {}
        self.dates: dict[str, tuple[UncertainDate | None, Floats] | EdtfError] = {}
        self.problems: list[Problem] = []

    def corpus(self) -> Corpus:
        unknown = f"{self.maker.maker} has no feature, mark or measurement of this name"
        self.problems += self.sheet.head_problems(_REQUIRED, self.columns, unknown)
        if not set(_REQUIRED) <= set(self.sheet.head.cells):
            raise InputError(self.problems)
        references = [reference for row in self.sheet.rows if (reference := self._reference(row))]
        if not self.problems and not any(reference.dated for reference in references):
            message = "no row states a date, and without one nothing can be learned of when"
            self._note(self.sheet.head.line, "built", message, allowed=_DATES)
        if self.problems:
            raise InputError(self.problems)
        return Corpus(
            self.sheet.file,
            self.sheet.fingerprint,
            tuple(references),
            self.maker,
            self.unlisted or {},
            tuple(self.left_out),
        )

    def _reference(self, row: SheetRow) -> Reference | None:
        """Read one row; None where it has problems, which are noted."""
        count, columns = len(row.cells), len(self.sheet.head.cells)
        if count != columns:
            message = f"there are {columns} columns, and this row has {count} cells"
            self._note(row.line, "", message)
            return None
        cells = self.sheet.by_column(row, self.columns)
        self._check_name(row.line, cells.get("instrument", ""))
        if self.leave_out and not is_date(cells.get("built", "")):
            self.left_out.append(row.line)
            return None
        date = self._date(row.line, cells.get("built", ""))
        trust = self._trust(row.line, cells.get("trust", "1"))
        examination, problems = examination_in(
            self.sheet, row.line, cells, self.maker, self.unlisted
        )
        self.problems += problems
        if examination is None or date is None or trust is None:
            return None
        known_by = cells.get("known_by", "")
        return Reference(row.line, examination, *date, known_by=known_by, trust=trust)

    def _check_name(self, line: int, name: str) -> None:
        first = self.named.setdefault(name, line)
        if not name:
            self._note(line, "instrument", "an instrument needs a name or number of its own")
        elif first != line:
            message = f"this instrument is given twice, first in line {first}"
            self._note(line, "instrument", message, found=name)

    def _date(self, line: int, text: str) -> tuple[UncertainDate | None, Floats] | None:
        """Read a stated date, with the months that it allows; None where it cannot be read."""
        if text not in self.dates:
            try:
                self.dates[text] = _stated(text, self.maker.period)
            except EdtfError as error:
                self.dates[text] = error
        stated = self.dates[text]
        if not isinstance(stated, EdtfError):
            return stated
        self._note(line, "built", str(stated), found=text or None, allowed=_DATES)
        return None

    def _trust(self, line: int, text: str) -> float | None:
        try:
            trust = decimal_of(text)
        except AmountError:
            trust = None
        if trust is None or not 0 <= trust <= 1:
            message = "trust is the probability that the stated date is right"
            self._note(line, "trust", message, found=text, allowed="a number from 0 to 1")
            return None
        return float(trust)

    def _note(
        self, line: int, column: str, message: str, *, found: object = None, allowed: str = ""
    ) -> None:
        origin = self.sheet.source(line, None, ())
        path = (column,) if column else ()
        self.problems.append(origin.problem(path, message, found=found, allowed=allowed))


def is_date(text: str) -> bool:
    """Say whether a cell holds a date that can be read.

    Examples
    --------
    >>> is_date("1931"), is_date("c. 1931"), is_date("")
    (True, False, False)
    """
    try:
        parse_edtf(text)
    except EdtfError:
        return False
    return True


def _stated(text: str, period: Period) -> tuple[UncertainDate | None, Floats]:
    """Read a stated date, and mark the months of the period that it allows: all without one."""
    if not text:
        return None, _fixed(np.ones(len(period)))
    date = parse_edtf(text)
    if date.kind == "interval":
        bare = text.replace("/", "..").replace("....", "..")
        raise EdtfError(f"an interval lasts, and a build has one date; write [{bare}]")
    if date.kind == "all of":
        raise EdtfError(f"a build has one date; for one of several write [{text[1:-1]}]")
    if date.qualifier:
        raise EdtfError(f"{vague(date.qualifier)}; write a set, or a trust")
    if _has_unknown_end(date):
        raise EdtfError("a season has no fixed months; write [1931-03..1931-05]")
    window = _window(date, period)
    if not window.any():
        raise EdtfError(f"outside the period {period} of the maker")
    return date, window


def _has_unknown_end(date: UncertainDate) -> bool:
    """Whether an end is not known though the set does not open there: it is a season."""
    ends = [end for stretch in date.stretches for end in stretch]
    opens = date.text.startswith("[..") + date.text.endswith("..]")
    return sum(end is None for end in ends) > opens


def _window(date: UncertainDate, period: Period) -> Floats:
    window = np.zeros(len(period))
    for first, last in date.month_stretches:
        start = 0 if first is None else max(first - period.first, 0)
        stop = len(period) if last is None else last - period.first + 1
        window[start : max(stop, 0)] = 1.0
    return _fixed(window)


def _fixed(window: Floats) -> Floats:
    window.flags.writeable = False
    return window
