"""Several instruments side by side as plain text."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial

from rich.console import Console

from dating.plausibility.warning import series
from dating.succession.arrangement import TOLD_APART
from dating.succession.comparison import Comparison
from dating.words.phrases import OPINION, percent
from dating.words.plain import WIDTH, in_plain_text, indent, say, table, title
from dating.words.soundness import on_grounds
from dating.words.succession_rows import (
    UNSEEN,
    Bracket,
    DifferenceLine,
    alike_words,
    cautions_by_look,
    chance_of_draws,
    clash_words,
    difference_lines,
    head_words,
    known_lines,
    look_lines,
    more_reasons,
    moved_words,
    neighbour_words,
    reason_lines,
    row_lines,
    tie_words,
)

MOST_TOLD = 12
"""Instruments of which neighbours and differences are told one by one."""
MOST_IN_MATRIX = 8
_MOST_COLUMNS = 3
_MOST_UNSEEN = 2
_BRACKETED = 60
_BRACKETS: dict[Bracket, str] = {"": "", "first": "/", "inner": "|", "last": "\\"}


def comparison_text(comparison: Comparison, width: int = WIDTH) -> str:
    """Write a comparison as plain text.

    Examples
    --------
    >>> from dating import compare, read_examination, read_maker
    >>> maker = read_maker("priors/marrowby.yaml")
    >>> pair = [read_examination(f"demo_data/examinations/M-00{n}.yaml") for n in (1, 3)]
    >>> comparison_text(compare(maker, pair)).splitlines()[3]
    'THE ROW, OLDEST FIRST'
    """
    parts = (_head, _row, _trust, _matrix, _neighbours, _differences, _known, _looks, _foot)
    return in_plain_text([partial(part, comparison=comparison) for part in parts], width)


def _head(console: Console, comparison: Comparison) -> None:
    say(console, head_words(comparison))
    for sentence in on_grounds(comparison.maker, comparison.learned):
        say(console, sentence)


def _row(console: Console, comparison: Comparison) -> None:
    title(console, "The row, oldest first")
    level = percent(comparison.level)
    wide = console.width >= _BRACKETED  # below that the rows are told as paragraphs
    rows = table(
        *([("", "left")] if wide else []),
        ("no.", "right"),
        ("instrument", "left"),
        (f"built ({level})", "left"),
        ("median", "left"),
        (f"place ({level})", "left"),
    )
    for line in row_lines(comparison):
        bracket = (_BRACKETS[line.bracket],) if wide else ()
        rows.add_row(*bracket, str(line.place), line.name, line.built, line.median, line.places)
    indent(console, rows)
    if (ties := tie_words(comparison)) and len(comparison.names) <= MOST_TOLD:
        say(console, ties)


def _trust(console: Console, comparison: Comparison) -> None:
    title(console, "How far the row may be trusted")
    for sentence in trust_words(comparison):
        say(console, sentence)


def trust_words(comparison: Comparison) -> Iterator[str]:
    """Say how far the row may be trusted, and what its numbers rest on."""
    arrangement = comparison.arrangement
    if arrangement.pairs == 1:
        yield f"This row is right with probability {chance_of_draws(arrangement.whole)}."
    else:
        yield (
            f"Of {arrangement.pairs:,} pairs, {_count(arrangement.wrong_pairs)} expected to stand "
            "the wrong way round; the whole row is right with probability "
            f"{chance_of_draws(arrangement.whole)}."
        )
    if comparison.ties:
        yield (
            "Of two instruments that cannot be told apart, neither is the older with a "
            f"probability of {percent(TOLD_APART)} or more."
        )
    yield (
        "The probability that one is older than another has a standard error of at most "
        f"{comparison.error:.1g}."
    )
    if comparison.joint.share < 1:
        yield (
            "What the instruments say together about the changeovers was used to "
            f"{percent(comparison.joint.share)} of its weight, as more would have rested on too "
            "few draws."
        )
    if len(comparison.learned_from) == len(comparison.names):
        yield (
            "What these instruments say about the changeovers is in what was learned, and is not "
            "counted again."
        )
    else:
        yield (
            "Dates may differ a little from those of dating estimate: here all instruments say "
            "something about the changeovers that they have in common."
        )
    if comparison.learned is not None and comparison.learned.correction is not None:
        yield "The correction of levels in the learned file is applied to dates, not to the row."


def _count(pairs: float) -> str:
    """Write how many pairs are expected, with their verb."""
    if pairs < 0.05:
        return "fewer than 0.1 are"
    return f"{pairs:.1f} are" if pairs < 10 else f"{pairs:,.0f} are"


def _matrix(console: Console, comparison: Comparison) -> None:
    if not 2 < len(comparison.names) <= MOST_IN_MATRIX:
        return
    title(console, "Every pair")
    say(console, "Probability that the instrument on the left was built in an earlier month.")
    rows = table(("", "left"), *((name, "right") for name in comparison.row))
    for name, chances in matrix(comparison):
        rows.add_row(name, *chances)
    indent(console, rows)


def matrix(comparison: Comparison) -> Iterator[tuple[str, list[str]]]:
    """Give each instrument of the row with the probabilities that it is older than the others."""
    places = comparison.arrangement.places
    for name, first in zip(comparison.row, places, strict=True):
        chances = comparison.pairs.older[first, list(places)]
        cells = [percent(float(chance)) for chance in chances]
        cells[places.index(first)] = ""
        yield name, cells


def _neighbours(console: Console, comparison: Comparison) -> None:
    title(console, "Neighbours")
    if len(comparison.names) > MOST_TOLD:
        _groups(console, comparison)
        return
    for place, pair in enumerate(comparison.neighbours):
        if place:
            console.print()
        say(console, neighbour_words(pair))
        if not pair.reasons:
            say(console, "Nothing that was seen tells one from the other.", 4)
            continue
        rows = table(
            ("bits", "right"), ("seen", "left"), (pair.first, "left"), (pair.second, "left")
        )
        for line in reason_lines(comparison, pair):
            rows.add_row(line.bits, line.what, line.first, line.second)
        indent(console, rows)
        if more := more_reasons(pair):
            say(console, more)
    console.print()
    say(
        console,
        "Bits: what it adds to the odds that the first of the two is the older; below zero, it "
        "speaks for the second.",
    )


def _groups(console: Console, comparison: Comparison) -> None:
    """Tell neighbours of a long row in groups."""
    for group in groups_of(comparison):
        first = comparison.row.index(group[0]) + 1
        if len(group) == 1:
            say(console, f"{first}: {group[0]}.")
        else:
            places = f"{first} to {first + len(group) - 1}"
            say(console, f"{places}: {series(group)} cannot be told apart.")
    say(console, "What decides between neighbours is on the page (--page) and in --as json.")


def groups_of(comparison: Comparison) -> list[tuple[str, ...]]:
    """Part the row into those that cannot be told apart, and single ones."""
    tied = {name: tie for tie in comparison.ties for name in tie}
    return list(dict.fromkeys(tied.get(name, (name,)) for name in comparison.row))


def _differences(console: Console, comparison: Comparison) -> None:
    title(console, "What differs")
    lines = difference_lines(comparison)
    differing = [line for line in lines if line.differs]
    if len(comparison.names) > MOST_TOLD:
        say(
            console,
            f"Of {len(lines)} things that were looked at, these differ: "
            f"{', '.join(line.name for line in differing) or 'none'}. The table is on the page "
            "(--page) and in --as json.",
        )
        return
    if not differing:
        say(console, "Nothing that was looked at on two of them differs.")
    elif len(comparison.names) <= _MOST_COLUMNS:
        rows = table(("", "left"), *((name, "left") for name in comparison.row))
        for line in differing:
            rows.add_row(line.name, *(cell or UNSEEN for cell in line.cells))
        indent(console, rows)
    else:
        rows = table(("", "left"), ("", "left"))
        for line in differing:
            rows.add_row(line.name, _by_words(line, comparison.row))
        indent(console, rows)
    for sentence in alike_words(comparison, lines):
        say(console, sentence)


def _by_words(line: DifferenceLine, row: Sequence[str]) -> str:
    """Say what was seen on which instruments, oldest first, and on which nobody looked."""
    seen = [
        f"{words} ({series([row[place] for place in places])})"
        for words, places in line.by_words.items()
    ]
    if len(line.unseen) > _MOST_UNSEEN:
        seen.append(f"{UNSEEN} on the others")
    elif line.unseen:
        seen.append(f"{UNSEEN} on {series([row[place] for place in line.unseen])}")
    return "; ".join(seen)


def _known(console: Console, comparison: Comparison) -> None:
    if not comparison.effects:
        return
    title(console, "Known between them")
    rows = table(("known", "left"), ("before", "right"), ("after", "right"), ("source", "left"))
    for line in known_lines(comparison):
        rows.add_row(line.what, line.before, line.after, line.source)
    indent(console, rows)
    say(
        console,
        "Before: its probability by what was seen alone. After: with all that is known between "
        "them.",
    )
    say(console, moved_words(comparison.effects))
    for effect in comparison.effects:
        if effect.clashes:
            say(console, clash_words(effect))


def _looks(console: Console, comparison: Comparison) -> None:
    title(console, "What to look at next")
    looks = look_lines(comparison)
    if not looks:
        say(console, "No look that the maker file knows would tell more about the row.")
        return
    say(console, looks_lead(comparison))
    rows = table(("", "right"), ("", "left"))
    for look in looks:
        rows.add_row(look.share, f"{look.instrument}, {look.name}: {look.ask} {look.how}")
    indent(console, rows)
    for caution, names in cautions_by_look(looks):
        say(console, f"Caution ({', '.join(names)}): {caution}.")


def looks_lead(comparison: Comparison) -> str:
    """Say what the shares of looks are shares of."""
    doubt = comparison.doubt
    bits = f"{doubt:.1f}" if doubt < 100 else f"{doubt:,.0f}"
    return (
        "The share of the doubt about which of two is older "
        f"({bits} bits over all pairs) that each look by itself is expected to "
        "take away:"
    )


def _foot(console: Console, comparison: Comparison) -> None:
    console.print()
    say(console, f"{OPINION} {' '.join(origin_words(comparison))}")


def origin_words(comparison: Comparison) -> Iterator[str]:
    """Say what the row rests on: judgements or what was learned, files, seed and draws."""
    maker, learned = comparison.maker, comparison.learned
    if learned is None:
        yield "It rests on the judgements of the maker file."
    else:
        yield "It rests on what was learned from dated instruments."
    if maker.origin.fingerprint:
        yield f"Maker file: {maker.origin.file} ({maker.origin.fingerprint[:12]})."
    if learned is not None:
        yield f"Reference corpus: {learned.corpus_fingerprint[:12]}."
    if comparison.group is not None and comparison.group.origin.fingerprint:
        origin = comparison.group.origin
        yield f"Group file: {origin.file} ({origin.fingerprint[:12]})."
    draws = len(comparison.joint.weights)
    yield (
        f"Seed {comparison.seed}, {draws:,} draws, which tell as much as "
        f"{comparison.joint.effective:,.0f} of equal weight."
    )
