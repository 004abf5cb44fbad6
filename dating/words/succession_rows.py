"""Several instruments side by side in words: the lines that text, page and picture share."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from dating.examination import Examination, Sight
from dating.maker import Maker
from dating.months import month_words
from dating.plausibility.warning import series
from dating.statements import plain_name
from dating.succession.comparison import Comparison, Effect, Neighbours
from dating.succession.differences import RECORDED, Difference, Reason
from dating.succession.further_looks import FurtherLook
from dating.succession.relations import relation_words
from dating.words.phrases import bits, mark_dates, percent, set_words, sight_words
from dating.words.set_forms import FEW

type Bracket = Literal["", "first", "inner", "last"]

UNSEEN = "not looked at"
_PAPER = "document "
_SURE = " (sure "
MOST_LOOKS = 6
MOST_REASONS = 5


@dataclass(frozen=True)
class RowLine:
    """One instrument in the row.

    Parameters
    ----------
    place : int
        Its place, from one.
    name : str
        The instrument.
    built, median : str
        When it was built, at the level; the median month.
    places : str
        The places that hold it at the level.
    bracket : {"", "first", "inner", "last"}
        Where it stands among those that it cannot be told apart from.
    """

    place: int
    name: str
    built: str
    median: str
    places: str
    bracket: Bracket


def row_lines(comparison: Comparison) -> list[RowLine]:
    """Write the row, oldest first."""
    brackets = _brackets(comparison)
    return [
        RowLine(
            place,
            name,
            set_words(comparison.highest_density(name), comparison.period, FEW),
            month_words(comparison.median(name)),
            _places(*comparison.rank_ranges[name]),
            brackets.get(name, ""),
        )
        for place, name in enumerate(comparison.row, start=1)
    ]


def _places(low: int, high: int) -> str:
    return f"{low}" if low == high else f"{low} to {high}"


def _brackets(comparison: Comparison) -> dict[str, Bracket]:
    brackets: dict[str, Bracket] = {}
    for tie in comparison.ties:
        brackets |= dict.fromkeys(tie, "inner")
        brackets[tie[0]], brackets[tie[-1]] = "first", "last"
    return brackets


def head_words(comparison: Comparison) -> str:
    """Say whose instruments they are, and how many.

    Examples
    --------
    >>> from dating import compare, read_examination, read_maker
    >>> pair = [read_examination(f"demo_data/examinations/M-00{n}.yaml") for n in (1, 3)]
    >>> head_words(compare(read_maker("priors/marrowby.yaml"), pair)).rpartition(", ")[2]
    'student mandolins and tenor guitars (invented): 2 instruments side by side'
    """
    maker = comparison.maker
    made_up = maker.invented or any(each.invented for each in comparison.examinations)
    invented = " (invented)" if made_up else ""
    count = len(comparison.names)
    return f"{maker.maker}, {maker.product}{invented}: {count} instruments side by side"


def tie_words(comparison: Comparison) -> str:
    """Say which instruments of the row cannot be told apart; empty where all can."""
    if not comparison.ties:
        return ""
    return f"Cannot be told apart: {'; '.join(series(tie) for tie in comparison.ties)}."


@dataclass(frozen=True)
class ReasonLine:
    """One thing that decides between two.

    Parameters
    ----------
    bits : str
        What it adds to the odds that the first is the older.
    what : str
        What it is.
    first, second : str
        What was seen on each.
    """

    bits: str
    what: str
    first: str
    second: str


def neighbour_words(pair: Neighbours) -> str:
    """Say which of two is older, and how sure that is.

    Examples
    --------
    >>> neighbour_words(Neighbours("M-1", "M-2", 0.9, 0.02, 0.08, ()))
    'M-1 was built before M-2 with probability 90 %, in the same month 2 %, after it 8 %.'
    """
    return (
        f"{pair.first} was built before {pair.second} with probability {percent(pair.older)}, "
        f"in the same month {percent(pair.same)}, after it {percent(pair.younger)}."
    )


def reason_lines(comparison: Comparison, pair: Neighbours) -> list[ReasonLine]:
    """Write what decides between two, the weightiest first."""
    return [
        ReasonLine(
            bits(reason.bits),
            reason_name(reason),
            seen_on(comparison, pair.first, reason.name) or UNSEEN,
            seen_on(comparison, pair.second, reason.name) or UNSEEN,
        )
        for reason in pair.reasons[:MOST_REASONS]
    ]


def more_reasons(pair: Neighbours) -> str:
    """Say how many further things say less; empty where none does."""
    more = len(pair.reasons) - MOST_REASONS
    if more <= 0:
        return ""
    return "One more says less." if more == 1 else f"{more} more say less."


def reason_name(reason: Reason) -> str:
    """Name what decides."""
    return "document" if reason.name.startswith(_PAPER) else plain_name(reason.name)


def seen_on(comparison: Comparison, instrument: str, name: str) -> str:
    """Say what was seen of one thing on one instrument; empty where it was not looked at."""
    if name.startswith(_PAPER):
        return _paper_words(comparison.examinations[comparison.names.index(instrument)], name)
    row = next((each for each in comparison.differences if each.name == name), None)
    return cell_words(comparison, row, instrument) if row is not None else ""


def _paper_words(examination: Examination, name: str) -> str:
    """Say what a document is, and what it bounds."""
    if int(name.removeprefix(_PAPER)) > len(examination.documents):
        return "none"
    paper = examination.paper(name)
    return f"{paper.what}, {paper.words()}"


def cell_words(comparison: Comparison, row: Difference, instrument: str) -> str:
    """Say what was seen of a thing on one instrument, in the maker file's words."""
    place = comparison.names.index(instrument)
    cell, examination = row.cells[place], comparison.examinations[place]
    return _cell_words(comparison.maker, examination, row.name, cell) if cell else ""


def _cell_words(maker: Maker, examination: Examination, name: str, cell: str) -> str:
    if name == "variant" and maker.variants is not None and examination.variant is not None:
        return sight_words(examination.variant, maker.variants.states)
    if (sight := examination.seen.get(name)) is not None:
        return sight_words(sight, maker.features()[name][1].states)
    if (mark := examination.marks.get(name)) is not None:
        return " or ".join(mark_dates(mark))
    reading = examination.measured.get(name)
    if reading is not None and cell.startswith(RECORDED):
        return f"{reading.value:g}, beyond all plausible readings"
    return cell


@dataclass(frozen=True)
class DifferenceLine:
    """One thing that was looked at.

    Parameters
    ----------
    name : str
        What it is.
    cells : tuple of str
        What was seen on each instrument, oldest first; empty where it was not looked at.
    """

    name: str
    cells: tuple[str, ...]

    @property
    def by_words(self) -> dict[str, tuple[int, ...]]:
        """Which instruments, by position in the row, show what, however sure; oldest first."""
        bare = [cell.partition(_SURE)[0] for cell in self.cells]
        return {
            each: tuple(place for place, cell in enumerate(bare) if cell == each)
            for each in dict.fromkeys(filter(None, bare))
        }

    @property
    def unseen(self) -> tuple[int, ...]:
        """On which instruments it was not looked at, by their positions in the row."""
        return tuple(place for place, cell in enumerate(self.cells) if not cell)

    @property
    def differs(self) -> bool:
        """Whether two instruments show different things."""
        return len(self.by_words) > 1


def difference_lines(comparison: Comparison) -> list[DifferenceLine]:
    """Write everything that was looked at, in the order of the maker file."""
    return [
        DifferenceLine(
            plain_name(row.name),
            tuple(cell_words(comparison, row, name) for name in comparison.row),
        )
        for row in comparison.differences
    ]


def changes_between(comparison: Comparison, first: str, second: str) -> list[str]:
    """Say which features two neighbours show differently, where both were looked at."""
    sights = [
        {"variant": each.variant, **each.seen}
        for each in (comparison.examinations[comparison.names.index(n)] for n in (first, second))
    ]
    changes = []
    for row in comparison.differences:
        before, after = (seen.get(row.name) for seen in sights)
        if before is not None and after is not None and _differ(before, after):
            words = (cell_words(comparison, row, name) for name in (first, second))
            changes.append(f"{plain_name(row.name)}: {' → '.join(words)}")
    return changes


def _differ(before: Sight, after: Sight) -> bool:
    """Say whether two sights name states, and none that both may be."""
    states = [set() if sight.is_neutral else set(sight.named()) for sight in (before, after)]
    return all(states) and not states[0] & states[1]


def alike_words(comparison: Comparison, lines: Sequence[DifferenceLine]) -> list[str]:
    """Say what is the same on all, on all that were looked at, and what was seen on one alone."""
    row = comparison.row
    on_all, on_some, on_one = [], [], []
    for line in lines:
        if line.differs:
            continue
        ((words, places),) = line.by_words.items()
        if not line.unseen:
            on_all.append(f"{line.name}: {words}")
        elif len(places) == 1:
            on_one.append(f"{line.name}: {words} ({row[places[0]]})")
        else:
            where = series([row[place] for place in places])
            on_some.append(f"{line.name}: {words} ({where})")
    titled = (
        ("The same on all", on_all),
        ("The same where it was looked at", on_some),
        ("Looked at on one alone", on_one),
    )
    return [f"{title}: {'; '.join(found)}." for title, found in titled if found]


@dataclass(frozen=True)
class KnownLine:
    """A statement about several instruments.

    Parameters
    ----------
    what, source : str
        What is known, and from where.
    before, after : str
        Its probability by what was seen alone, and with all that is known.
    clashes : bool
        Whether what was seen makes it improbable.
    """

    what: str
    source: str
    before: str
    after: str
    clashes: bool


def known_lines(comparison: Comparison) -> list[KnownLine]:
    """Write what is known between the instruments, and what it does."""
    return [
        KnownLine(
            relation_words(effect.relation),
            f"{effect.relation.source}; trust {effect.relation.trust:g}",
            chance_of_draws(effect.before),
            chance_of_draws(effect.after),
            effect.clashes,
        )
        for effect in comparison.effects
    ]


def clash_words(effect: Effect) -> str:
    """Say that what was seen speaks against a statement."""
    return (
        f"What was seen speaks against this: {relation_words(effect.relation)}. Look at these "
        "instruments, and at the source, again."
    )


def moved_words(effects: Sequence[Effect]) -> str:
    """Say by how many months all statements move the medians.

    Examples
    --------
    >>> moved_words([])
    ''
    """
    moved = {name: months for effect in effects for name, months in effect.moved.items()}
    if not moved:
        return ""
    told = [f"{name} {_later(months)}" for name, months in moved.items() if months]
    still = [name for name, months in moved.items() if not months]
    if not told:
        return "No median is moved by what is known between them."
    rest = f"; not {series(still)}" if still else ""
    return f"What is known between them moves the medians: {', '.join(told)}{rest}."


def _later(months: int) -> str:
    count = f"{abs(months)} month{'s' if abs(months) != 1 else ''}"
    return f"{count} {'later' if months > 0 else 'earlier'}"


def chance_of_draws(chance: float) -> str:
    """Write a probability that was counted in draws, which never is nought or one for sure.

    Examples
    --------
    >>> chance_of_draws(0.0), chance_of_draws(0.5), chance_of_draws(1.0)
    ('<1 %', '50 %', '>99 %')
    """
    return percent(min(max(chance, 1e-6), 1 - 1e-6))


@dataclass(frozen=True)
class LookLine:
    """A look that has not been taken.

    Parameters
    ----------
    share : str
        The share of the doubt that it is expected to take away.
    instrument, name : str
        Where to look, and at what.
    ask, how : str
        The question, and how to look.
    caution : str
        What to beware of; may be empty.
    """

    share: str
    instrument: str
    name: str
    ask: str
    how: str
    caution: str


def look_lines(comparison: Comparison, most: int = MOST_LOOKS) -> list[LookLine]:
    """Write the looks that would take away most of the doubt about which of two is older."""
    return [_look_line(comparison, look) for look in comparison.looks[:most]]


def _look_line(comparison: Comparison, look: FurtherLook) -> LookLine:
    how = f"{look.how[:1].upper()}{look.how[1:].rstrip('.')}." if look.how else ""
    first = f"First: {look.operation}." if look.operation else ""
    return LookLine(
        share_words(look.bits / comparison.doubt),
        look.instrument,
        plain_name(look.name),
        look.ask,
        " ".join(filter(None, (first, how, f"How invasive: {look.invasive}."))),
        look.caution,
    )


def share_words(share: float) -> str:
    """Write a share of the doubt, which may be small where there are many pairs.

    Examples
    --------
    >>> share_words(0.28), share_words(0.004), share_words(0.0001)
    ('28 %', '0.4 %', '<0.1 %')
    """
    if share >= 0.01:
        return percent(min(share, 1.0))
    return f"{share:.1%}".replace("%", " %") if share >= 0.001 else "<0.1 %"


def cautions_by_look(lines: Sequence[LookLine]) -> Iterator[tuple[str, list[str]]]:
    """Give each caution once, with the looks that it is for."""
    for caution in dict.fromkeys(line.caution for line in lines if line.caution):
        yield caution, list(dict.fromkeys(line.name for line in lines if line.caution == caution))
