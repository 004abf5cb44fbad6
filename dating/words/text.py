"""An estimate as plain text."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from math import isinf

import numpy as np
from rich.console import Console

from dating.disagreement import SURPRISING
from dating.estimates import Estimate
from dating.evidence import Neutral, Piece
from dating.months import month_words
from dating.statements import plain_name
from dating.summaries import entropy_bits, mass_by_year
from dating.words.belonging import (
    part_rows,
    replacements,
    together_words,
    unseen_parts,
    whole_rows,
)
from dating.words.happenings import happening_words
from dating.words.levels import on_correction, on_error, on_latent
from dating.words.phrases import (
    OPINION,
    bits,
    evidence_set,
    held_set,
    one_sided,
    percent,
    place_words,
    seen_words,
    warning_words,
)
from dating.words.plain import WIDTH, TextTable, in_plain_text, indent, say, table, title
from dating.words.plan import (
    again_words,
    caution_words,
    look_words,
    operation_words,
    plan_told,
    skip_words,
)
from dating.words.soundness import on_grounds
from dating.words.stories import clash_words, stories_text

_BAR = 32
_PAIR = 2
_MOST_WARNINGS = 6


def as_text(estimate: Estimate, width: int = WIDTH) -> str:
    """Write an estimate as plain text.

    Examples
    --------
    >>> from dating import estimate, read_examination, read_maker
    >>> maker = read_maker("priors/marrowby.yaml")
    >>> result = estimate(maker, read_examination("demo_data/examinations/M-001.yaml"))
    >>> max(len(line) for line in as_text(result).splitlines()) <= 80
    True
    """
    parts = (_head, _built, _parts, _evidence, _clashes, _warnings, _next, _foot)
    return in_plain_text([partial(part, estimate=estimate) for part in parts], width)


def _head(console: Console, estimate: Estimate) -> None:
    maker = estimate.maker
    invented = " (invented)" if maker.invented or estimate.examination.invented else ""
    say(
        console,
        f"{estimate.examination.instrument}: {maker.maker}, {maker.product}{invented}",
    )
    for sentence in on_grounds(maker, estimate.learned):
        say(console, sentence)


def _built(console: Console, estimate: Estimate) -> None:
    title(console, "When it was built")
    _stories(console, estimate)
    if short := one_sided(estimate.highest_density(estimate.level), estimate.period):
        say(console, f"In short: {short}.")
    rows = table(("", "right"), ("", "left"))
    for level in sorted({estimate.level, 0.5}, reverse=True):
        months = estimate.highest_density(level)
        rows.add_row(percent(level), held_set(months, estimate.period))
    rows.add_row("EDTF", estimate.edtf(estimate.level))
    rows.add_row(
        "median",
        f"{month_words(estimate.median)}; most probable month {month_words(estimate.mode)}",
    )
    before = entropy_bits(estimate.tables.output)
    rows.add_row("uncertainty", f"{estimate.entropy:.1f} bits ({before:.1f} before looking)")
    indent(console, rows)
    console.print()
    indent(console, _year_bars(estimate, min(_BAR, console.width - 16)))
    if estimate.correction is not None:
        say(console, on_correction(estimate.correction))
    if estimate.learned is not None and estimate.learned.latent is not None:
        say(console, on_latent(estimate.learned.latent))


def _stories(console: Console, estimate: Estimate) -> None:
    """Tell the stories above the date, where what was seen clashes."""
    if clash := clash_words(estimate):
        say(console, clash)
    if stories := stories_text(estimate):
        rows = table(("", "right"), ("", "left"), ("", "left"))
        for row in stories:
            rows.add_row(*row)
        indent(console, rows)
        say(console, "All of these together:")


def _year_bars(estimate: Estimate, longest: int) -> TextTable:
    masses = mass_by_year(estimate.probabilities, estimate.period)
    rows = table(("", "right"), ("", "right"), ("", "left"))
    first, shown = estimate.period.years()[0], np.flatnonzero(masses >= min(0.005, masses.max()))
    for position in range(shown[0], shown[-1] + 1):
        mass = float(masses[position])
        rows.add_row(str(first + position), percent(mass), "█" * round(mass * longest))
    return rows


def _parts(console: Console, estimate: Estimate) -> None:
    title(console, "Do the parts belong together?")
    say(console, together_words(estimate))
    rows = table(
        ("", "left"),
        ("original", "right"),
        ("before", "right"),
        ("what was seen", "left"),
        ("its own date (90 %)", "left"),
    )
    parts = part_rows(estimate)
    for row in parts:
        now, before = percent(row.chance), percent(row.before)
        rows.add_row(plain_name(row.name), now, before, row.verdict, row.own)
    for name, chance in whole_rows(estimate):
        rows.add_row(name, chance, "", "", "")
    indent(console, rows)
    if unseen := unseen_parts(parts):
        say(console, unseen)
    if estimate.variant_chances:
        words = ", ".join(f"{name} {percent(p)}" for name, p in estimate.variant_chances.items())
        say(console, f"Variant: {words}.")
    for sentence in replacements(estimate):
        say(console, sentence)


def _evidence(console: Console, estimate: Estimate) -> None:
    title(console, "What each observation says")
    if not estimate.findings:
        say(console, "Nothing examined bears on the date: it follows the maker's output alone.")
    else:
        level = percent(estimate.level)
        rows = table(
            ("seen", "left"),
            (f"alone ({level})", "left"),
            (f"without it ({level})", "left"),
            ("shift", "right"),
            ("bits", "right"),
        )
        for finding in estimate.findings:
            piece = finding.piece
            rows.add_row(
                f"{plain_name(piece.name)}: {seen_words(piece, estimate)}",
                evidence_set(finding.alone, estimate.period),
                evidence_set(finding.without, estimate.period),
                f"{finding.shift:+d}" if finding.shift else "0",
                bits(finding.weight),
            )
        indent(console, rows)
        say(
            console,
            "Shift: months by which the observation moves the median. Bits: what it adds to the "
            "odds of the reported months.",
        )
        for sentence in happening_words(estimate):
            say(console, sentence)
    for neutral in estimate.neutral:
        say(console, f"Recorded but not weighed: {neutral_words(neutral)}.")


def _clashes(console: Console, estimate: Estimate) -> None:
    title(console, "Contradictions")
    sentences = [*clashing_parts(estimate), *clashing_pieces(estimate)]
    if not sentences:
        sentences.append(agreement_words(estimate))
    for sentence in sentences:
        say(console, sentence)


def agreement_words(estimate: Estimate) -> str:
    """Say that nothing that was weighed contradicts anything else."""
    if len(estimate.pieces) < _PAIR:
        return "Too little was weighed to contradict anything."
    what = "What was weighed agrees" if estimate.neutral else "The observations agree"
    return (
        f"{what} (conflict {bits(estimate.conflict.bits)} bits; below zero, they support each "
        "other)."
    )


def _warnings(console: Console, estimate: Estimate) -> None:
    if not estimate.warnings:
        return
    title(console, "What may be a mistake")
    for problem in estimate.warnings[:_MOST_WARNINGS]:
        say(console, f"{place_words(problem)}: {warning_words(problem)}.")
    more = len(estimate.warnings) - _MOST_WARNINGS
    if more > 0:
        say(console, f"And {more} more; dating check lists them.")


def clashing_parts(estimate: Estimate) -> Iterator[str]:
    """Say which components contradict the rest."""
    for name, against in estimate.conflict.against_rest.items():
        if against >= SURPRISING:
            yield (
                f"The evidence on the {plain_name(name)} and the evidence elsewhere are "
                f"{_times(against)} less probable together than apart."
            )


def clashing_pieces(estimate: Estimate) -> Iterator[str]:
    """Say which observations contradict each other, or the rest."""
    for piece in estimate.pieces:
        if piece.is_excluded:
            yield f"No month in which the maker worked allows {_named(piece, estimate)}."
    paired = set()
    for clash in estimate.conflict.contradictions:
        paired |= {clash.piece.name, clash.other.name}
        first, other = (_named(piece, estimate) for piece in (clash.piece, clash.other))
        yield f"{first} and {other} are {_times(clash.bits)} less probable together than apart."
    for finding in estimate.findings:
        if finding.surprise >= SURPRISING and finding.piece.name not in paired:
            yield (
                f"The rest of the evidence makes {_named(finding.piece, estimate)} "
                f"{_times(finding.surprise)} less probable than it is alone."
            )


def _named(piece: Piece, estimate: Estimate) -> str:
    return f"{plain_name(piece.name)} ({seen_words(piece, estimate)})"


def neutral_words(neutral: Neutral) -> str:
    """Name what was recorded and says nothing about the date."""
    return f"{plain_name(neutral.name)}, {neutral.observation.removeprefix('other: ')}"


def _times(bits_: float) -> str:
    if isinf(bits_):
        return "infinitely"
    return f"{2**bits_:,.3g} times" if bits_ < _MILLION else "more than a million times"


_MILLION = 19.9  # bits


def _next(console: Console, estimate: Estimate) -> None:
    title(console, "What to look at next")
    if again := again_words(estimate):
        say(console, again)
        console.print()
    if skipped := skip_words(estimate):
        say(console, skipped)
    told = plan_told(estimate)
    if not told:
        say(console, "No further look would narrow the date much.")
    above: set[str] = set()
    for place, (operation, looks) in enumerate(told):
        if place or skipped:
            console.print()
        say(console, operation_words(operation))
        if cautions := caution_words(operation, looks):
            say(console, "Caution: as above." if cautions in above else cautions)
            above.add(cautions)
        rows = table(("", "right"), ("", "left"))
        for advice in looks:
            words = f"{plain_name(advice.name)}: {advice.ask} {look_words(advice)}"
            rows.add_row(f"{advice.bits:.2f} bits", words.rstrip())
        indent(console, rows)


def _foot(console: Console, estimate: Estimate) -> None:
    console.print()
    tables, worst = estimate.tables, float(estimate.errors.max())
    if not estimate.converged:
        say(console, on_error(estimate))
    file, print_ = estimate.maker.origin.file, estimate.maker.origin.fingerprint[:12]
    known = f"Maker file: {file} ({print_}). " if print_ else ""
    if estimate.learned is not None:
        known += f"Reference corpus: {estimate.learned.corpus_fingerprint[:12]}. "
    say(
        console,
        f"{OPINION} {known}Seed {tables.seed}, {tables.draws} draws; standard error of at most "
        f"{worst:.1g} in the probability of a month.",
    )
