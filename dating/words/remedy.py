"""What would help where stated probabilities may not be trusted, in words and as a record."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from rich.console import Console

from dating.calibration.faults import faults_of
from dating.calibration.level_correction import LevelCorrection
from dating.calibration.pulls import Pull
from dating.calibration.remedy import Remedy
from dating.calibration.verdict import Calibration
from dating.months import month_label, month_words
from dating.statements import plain_name
from dating.words.levels import correction_record
from dating.words.plain import command, say, title
from dating.words.trust import share

_ALIKE = 0.005
"""Corrected levels that differ by less are the same in words."""
_STRAYS = (
    "Look first at the largest errors: a wrong date in the corpus, or slips, replacements and "
    "swaps that are stated too low, leave dates very far out."
)
_LOOK = {
    "feature": "its changeovers may be dated too {early}",
    "variant": "its changeovers may be dated too {early}",
    "mark": "its lag may be stated too {short}",
    "measurement": "its means may be off",
}


def write_remedy(
    console: Console, calibration: Calibration, remedy: Remedy, commands: Sequence[str]
) -> None:
    """Write what would help, with the commands that do it."""
    title(console, "What would help")
    if "heavy-tailed" in faults_of(calibration.uniformity):
        say(console, _STRAYS)
    if remedy.pulls is not None:
        say(console, _on_pulls(calibration, remedy.pulls))
        for pull in remedy.pulls:
            say(console, _on_pull(calibration, pull), 4)
    if remedy.corrected is not None:
        say(console, _on_correction(calibration, remedy.corrected))
        if commands:
            say(console, "To write it:")
        for words in commands:
            command(console, words)


def _on_correction(calibration: Calibration, corrected: LevelCorrection) -> str:
    coverage = corrected.correction.at(0.9)
    carried = calibration.learned.correction if calibration.learned is not None else None
    if carried is not None and abs(carried.at(0.9) - coverage) < _ALIKE:
        return (
            "The levels already have the correction that these instruments give; recalibrating "
            "again changes nothing. Learn from more instruments, or look at the groups below."
        )
    gained = f"{corrected.gain:+.3f}, standard error {corrected.error:.3f}"
    what = (
        "Recalibrating the levels: a stated 90 % "
        + ("before any correction " if carried is not None else "")
        + f"would become {share(coverage)}, and the median 90 % set would go from "
        f"{corrected.before:g} to {corrected.after:g} months."
    )
    gain = (
        f"New instruments would gain in mean log score ({gained})."
        if corrected.helps
        else f"It is not clear that new instruments would gain: mean log score {gained}."
    )
    if calibration.learned is None:
        gain += " The correction is stored in a learned file, and learning may do part of the work."
    return f"{what} {gain}"


def _on_pulls(calibration: Calibration, pulls: Sequence[Pull]) -> str:
    start = "Recalibrating levels does not move dates that lie on one side."
    if not pulls:
        return (
            f"{start} No observation pulls on its own: several changeovers may be off together, or "
            "the output that the maker file states."
        )
    side = "earlier" if calibration.uniformity.sides.above else "later"
    listed = f"The strongest pulls to the {side} side, each with the months that give half of it:"
    return f"{start} {listed}"


def _on_pull(calibration: Calibration, pull: Pull) -> str:
    first, later = calibration.corpus.maker.period.first, calibration.uniformity.sides.above
    ends = dict.fromkeys((month_words(first + pull.first), month_words(first + pull.last)))
    look = _LOOK[pull.kind].format(
        early="early" if later else "late", short="short" if later else "long"
    )
    return (
        f"{plain_name(pull.name)}, {' to '.join(ends)}: {look}; without it the mean rank would be "
        f"{pull.mean_rank:.3f}."
    )


def remedy_record(
    calibration: Calibration, remedy: Remedy | None, commands: Sequence[str]
) -> dict[str, Any] | None:
    """Turn what would help into plain data."""
    if remedy is None:
        return None
    corrected, pulls, first = remedy.corrected, remedy.pulls, calibration.corpus.maker.period.first
    return {
        "correction": corrected
        and {
            **(correction_record(corrected.correction) or {}),
            "median_width": {"before": corrected.before, "after": corrected.after},
            "log_score_gain": corrected.gain,
            "standard_error": corrected.error,
            "helps": corrected.helps,
            "commands": list(commands),
        },
        "pulls": None
        if pulls is None
        else [
            {
                "name": pull.name,
                "kind": pull.kind,
                "instruments": pull.instruments,
                "mean_rank": pull.mean_rank,
                "standard_error": pull.error,
                "from": month_label(first + pull.first),
                "to": month_label(first + pull.last),
            }
            for pull in pulls
        ],
    }
