"""Whether stated probabilities may be trusted, as plain text."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial

from rich.console import Console

from dating.calibration.cross_validation import Omissions
from dating.calibration.level_correction import LevelCorrection
from dating.calibration.remedy import Remedy
from dating.calibration.uniformity import FALSE_ALARMS
from dating.calibration.verdict import Calibration
from dating.months import month_label
from dating.words.calibration_groups import beyond_chance, on_groups
from dating.words.levels import on_correction, on_latent
from dating.words.phrases import percent
from dating.words.plain import WIDTH, in_plain_text, indent, say, table, title
from dating.words.remedy import write_remedy
from dating.words.soundness import on_soundness
from dating.words.trust import share, verdict_on

_EXCLUDED = -600.0
"""Log score below which a date was held to be impossible."""


def calibration_text(
    calibration: Calibration,
    width: int = WIDTH,
    remedy: Remedy | None = None,
    commands: Sequence[str] = (),
) -> str:
    """Write as plain text whether the stated probabilities may be trusted, and why."""
    parts = [
        partial(part, calibration=calibration) for part in (_answer, _coverage, on_groups, _ranks)
    ]
    parts += [partial(part, calibration=calibration) for part in (_left_out, _worst, _foot)]
    if remedy is not None:
        parts.insert(
            1, partial(write_remedy, calibration=calibration, remedy=remedy, commands=commands)
        )
    return in_plain_text(parts, width)


def _answer(console: Console, calibration: Calibration) -> None:
    for sentence in on_soundness(calibration.learned):
        say(console, sentence, 0)
    say(console, verdict_on(calibration.groups.overall, calibration.uniformity).sentence, 0)


def _coverage(console: Console, calibration: Calibration) -> None:
    title(console, "How often sets held the date")
    rows = table(("stated", "right"), ("held", "right"), ("chance allows (95 %)", "left"), ("", ""))
    for covered in calibration.groups.overall.coverage:
        allowed = f"{100 * covered.low:.1f} to {share(covered.high)}"
        beyond = {-1: "too few", 0: "", 1: "too many"}[beyond_chance(covered)]
        rows.add_row(f"{100 * covered.level:g} %", share(covered.share), allowed, beyond)
    indent(console, rows)
    overall = calibration.groups.overall
    say(
        console,
        f"CRPS {overall.crps:.2f} months; log score {overall.log_score:.2f}; the 90 % sets are "
        f"{overall.width:.1f} months wide on average.",
    )
    if excluded := int((calibration.scores.log_score < _EXCLUDED).sum()):
        dates = "date was" if excluded == 1 else "dates were"
        say(console, f"{excluded} {dates} given no probability at all, which spoils the log score.")


def _ranks(console: Console, calibration: Calibration) -> None:
    title(console, "Sides, spread, tails and coverage")
    rows = table(("", "left"), ("found", "right"), ("expected", "right"), ("", ""), ("", ""))
    words = {
        "sides": "mean rank: if higher, dates lie later than stated",
        "spread": "how far out dates lie, as a multiple of the stated spread",
        "tails": "kurtosis of the ranks' normal scores: if higher, some dates lie very far out",
        "coverage": "mean normal score of the levels: if higher, sets hold too few",
    }
    for name, meaning in words.items():
        question = getattr(calibration.uniformity, name)
        alarm = "off" if question.alarm else ""
        rows.add_row(name, f"{question.value:.3f}", f"{question.expected:.3g}", alarm, meaning)
    indent(console, rows)
    say(
        console,
        f"The four are tested together: a calibrated maker fails in at most "
        f"{percent(FALSE_ALARMS)} of cases.",
    )


def on_ranks(calibration: Calibration) -> str:
    """Say whether dates lie evenly within their posteriors."""
    sides = calibration.uniformity.sides
    if not sides.alarm:
        return f"The mean rank is {sides.value:.3f}, as chance allows (0.5 if even)."
    side = "later" if sides.above else "earlier"
    return (
        f"Overall, the dates lie {side} than the posteriors say (mean rank {sides.value:.3f}, "
        "0.5 if even)."
    )


def _left_out(console: Console, calibration: Calibration) -> None:
    title(console, "What was left out")
    for sentence in _sentences(calibration):
        say(console, sentence)


def _sentences(calibration: Calibration) -> Iterator[str]:
    learned = calibration.learned
    if learned is None:
        yield "The dates rest on the judgements alone: nothing was learned, so nothing left out."
    else:
        if learned.has_draws:
            shaky, count = int(calibration.dated.shaky.sum()), len(calibration.dated.shaky)
            yield (
                "Smoothed weights of the draws leave each instrument out of what was learned; for "
                f"{shaky} of {count} the weights are unreliable."
            )
        if learned.latent is not None:
            yield "Free-form shares are fitted again without the instrument and its fold."
            yield on_latent(learned.latent)
        if learned.correction is not None:
            yield (
                f"{on_correction(learned.correction)} They are among those above, so "
                "the coverage looks slightly too good."
            )
        else:
            yield "The levels are not recalibrated."
    yield on_passed_over(calibration.dated.passed_over)


def on_passed_over(passed: Omissions) -> str:
    """Say how many instruments were passed over, and why.

    Examples
    --------
    >>> on_passed_over(Omissions(53, 41, 0))
    'Not used: 53 with a date that is not fully trusted, 41 with a date wider than a year.'
    """
    why = {
        "with a date that is not fully trusted": passed.doubted,
        "with a date wider than a year": passed.wide,
        "with observations that no month allows": passed.impossible,
        "without a date": passed.undated,
    }
    counts = [f"{count} {reason}" for reason, count in why.items() if count]
    return f"Not used: {', '.join(counts)}." if counts else "All were used."


def _worst(console: Console, calibration: Calibration) -> None:
    title(console, "Largest errors")
    rows = table(
        ("instrument", "left"),
        ("line", "right"),
        ("stated", "left"),
        ("median", "left"),
        ("level", "right"),
        ("strongest evidence against the stated date", "left"),
    )
    for misled in calibration.worst:
        rows.add_row(
            misled.reference.examination.instrument,
            str(misled.reference.line),
            misled.reference.stated,
            month_label(calibration.corpus.maker.period.first + misled.median),
            _level(misled.level),
            "; ".join(misled.evidence) or "nothing on its own",
        )
    indent(console, rows)
    say(
        console,
        "The instruments whose stated date received the least probability, lowest first. Level: "
        "the size, in per cent, of the smallest set of months that holds the date.",
    )


def _level(level: float) -> str:
    return ">99.9" if level > 0.999 else f"{100 * level:.1f}"


def _foot(console: Console, calibration: Calibration) -> None:
    maker, corpus = calibration.corpus.maker, calibration.corpus
    invented = " (invented)" if maker.invented else ""
    console.print()
    say(
        console,
        f"{maker.maker}, {maker.product}{invented}. Maker file: {maker.origin.file} "
        f"({maker.origin.fingerprint[:12]}). Reference corpus: {corpus.file} "
        f"({corpus.fingerprint[:12]}), {len(corpus.references)} instruments.",
    )


def on_corrected(levels: LevelCorrection, file: str, width: int = WIDTH) -> str:
    """Say what a correction changes."""
    stated = share(levels.correction.at(0.9))
    words = (
        f"Wrote {file}. There a 90 % set is restated as {stated}, the share that such sets held of "
        f"{levels.correction.instruments} instruments. The median 90 % set goes from "
        f"{levels.before:g} to {levels.after:g} months. Use it with "
        f"dating estimate --learned {file}."
    )
    return in_plain_text([partial(say, words=words)], width)
