"""A sale: which lots deserve a second look, and the index of them all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dating.disagreement import SURPRISING
from dating.estimates import Estimate
from dating.notes.languages import Language
from dating.notes.sentences import (
    DOUBTFUL,
    Wording,
    date_words,
    dated,
    telling_looks,
)
from dating.plausibility.examination import examination_warnings
from dating.reading import Problem
from dating.words.soundness import is_bare_draft

WIDE = 120
"""Months claimed by the words of a date from which a lot deserves a second look."""
FEW = 4
"""Pieces of evidence below which little was examined."""
WORTH = 0.2
"""Share of the remaining doubt that one look that is not invasive is expected to settle."""
EASY = ("none", "low")


@dataclass(frozen=True)
class IndexEntry:
    """One lot in the index.

    Parameters
    ----------
    lot : str
        Its number.
    instrument : str
        Its name.
    date : str
        The date in a few words; what was wrong with it where it could not be read or dated.
    chance : float or None
        Probability of what those words claim; None where it could not be dated.
    edtf : str
        The months that those words claim.
    original : float or None
        P(every component is original).
    why : tuple of str
        Why it deserves a second look, in words; empty where it does not.
    note : str
        Name of the note's file without its ending; empty where there is none.
    failed : bool
        Whether it could not be read or dated.
    """

    lot: str
    instrument: str
    date: str
    chance: float | None
    edtf: str
    original: float | None
    why: tuple[str, ...]
    note: str
    failed: bool = False


def entry_of(estimate: Estimate, wording: Wording, lot: str, note: str) -> IndexEntry:
    """Enter a lot in the index."""
    date = dated(estimate, wording)
    return IndexEntry(
        lot=lot,
        instrument=estimate.examination.instrument,
        date=date_words(date.phrase, wording.language, "short"),
        chance=date.chance,
        edtf=date.edtf,
        original=estimate.all_original,
        why=second_look(estimate, wording),
        note=note,
    )


def failed_entry(lot: str, instrument: str, problems: Sequence[Problem]) -> IndexEntry:
    """Enter a lot that could not be read or dated."""
    words = ". ".join(map(_in_a_sentence, problems))
    return IndexEntry(lot, instrument, words, None, "", None, (), "", failed=True)


def _in_a_sentence(problem: Problem) -> str:
    """Tell a problem without its file, which is that of all lots."""
    line = "" if problem.line is None else f"line {problem.line}: "
    key = f"{problem.key}: " if problem.key else ""
    details = "; ".join(f"{name} {text}" for name, text in problem.details().items() if text)
    sentence = f"{line}{key}{problem.message}" + (f" ({details})" if details else "")
    return " ".join(sentence.split())


def second_look(estimate: Estimate, wording: Wording) -> tuple[str, ...]:
    """Say why a lot deserves a second look."""
    phrase, conflict = dated(estimate, wording).phrase, estimate.conflict
    against = max(conflict.against_rest.values(), default=0.0)
    easy = [look for look in telling_looks(estimate) if look.invasive in EASY]
    doubt = [1 - estimate.originality[name] for name in estimate.weighing.parts]
    reasons = {
        "wide": phrase.months >= WIDE or phrase.phrases[0].form == "whole",
        "two": len(phrase.phrases) > 1,
        "parts": max(doubt) >= DOUBTFUL,
        "conflict": bool(conflict.contradictions) or against >= SURPRISING,
        "little": len(estimate.pieces) < FEW,
        "look": any(look.bits >= WORTH * estimate.entropy for look in easy),
        "error": not estimate.converged,
        "draft": is_bare_draft(estimate.maker, estimate.learned),
        "edited": estimate.learned is not None and bool(estimate.learned.edits),
        "unsound": estimate.learned is not None and bool(estimate.learned.unsound),
        "record": bool(examination_warnings(estimate.examination, estimate.maker)),
    }
    texts = wording.language.texts
    return tuple(texts[f"sale.flags.{name}"] for name, holds in reasons.items() if holds)


def count_words(entries: tuple[IndexEntry, ...], language: Language) -> str:
    """Say how many lots there are, and how many of them need a person."""
    failed = sum(entry.failed for entry in entries)
    flagged = sum(bool(entry.why) for entry in entries)
    return language.say("sale.count", lots=len(entries), flagged=flagged, failed=failed)
