"""What was learned, as plain text."""

from __future__ import annotations

from math import floor

from dating.learning.assessors import NOT_NAMED, Assessor
from dating.learning.comparison import Shift
from dating.learning.contradictions import CorpusContradiction
from dating.learning.health import Health
from dating.learning.learned import Learned
from dating.learning.outcome import Outcome
from dating.learning.sampling import Plan
from dating.months import month_label
from dating.words.levels import on_correction, on_latent
from dating.words.plain import WIDTH, hanging
from dating.words.quantities import on_quantities
from dating.words.soundness import unsound_words

DOUBTED = 0.2
"""Shared area below which a judgement is said to be at odds with the corpus."""
_SHOWN = 3
_WIDE = 72
"""Columns from which what was judged and learned stands side by side."""
_LETTERS = {"data": "D", "judgement": "J", "both": "B", "neither": "N", "": "-"}


def before_learning(plan: Plan, draws: int | None, width: int = WIDTH) -> str:
    """Say what learning will work on, and about how long it will take."""
    rows, counted = len(plan.corpus.references), plan.counted
    free_form = ""
    if plan.free_form:
        seconds = 5 + 0.02 * rows
        free_form = (
            f"{len(plan.free_form)} free-form features: the number of latent variants and the "
            f"smoothness of the shares are chosen by dating instruments left out; about "
            f"{seconds:.0f} to {3 * seconds:.0f} seconds on two cores.\n"
        )
    if not plan.layout.is_open:
        nothing = "nothing else is uncertain, so nothing is sampled"
        text = f"{rows} instruments{_undated(plan)}; {nothing}.\n{free_form}"
        return hanging(text.splitlines(), width)
    many = f"{draws} draws" if draws else "draws, until they are sound"
    text = (
        f"{rows} instruments: {counted} with a known month are counted, {plan.tally.rows} are "
        f"summed over their possible months{_undated(plan)}.\n"
        f"{plan.uncertain} uncertain dates and lengths in {len(plan.layout.ramps)} changeovers.\n"
        f"Four chains of {many}: about {_time_words(plan.processor_seconds(draws))} on one core.\n"
        f"{free_form}"
    )
    return hanging(text.splitlines(), width)


def _undated(plan: Plan) -> str:
    """Count the undated instruments; nothing where there are none."""
    undated = plan.corpus.undated
    return f", {undated} of them undated" if undated else ""


def _time_words(seconds: float) -> str:
    """Write a length of time, rounded as it deserves."""
    if seconds < 90:
        return f"{max(5 * round(seconds / 5), 5)} seconds"
    return f"{round(seconds / 60)} minutes"


def after_learning(outcome: Outcome, width: int = WIDTH) -> str:
    """Set each changeover's judgement beside what was learned."""
    if not outcome.shifts:
        paragraphs = [*on_quantities(outcome), *on_free_form(outcome.learned)]
        paragraphs += [on_health(outcome.health)] if outcome.learned.has_draws else []
        return hanging(paragraphs, width)
    first = outcome.plan.maker.period.first
    wide = width >= _WIDE
    lines = [_row("  judged 5 | 50 | 95 %", "learned 5 | 50 | 95 %", "shared", "on")] * wide
    for shift in outcome.shifts:
        on = "/".join(
            _LETTERS[outcome.rests_on(shift.name, what)] for what in ("first use", "overlap")
        )
        judged, learned = _dates(shift.judged, first), _dates(shift.learned, first)
        area = f"{shift.shared_area:.2f}"
        lines += [shift.name, *([_row(f"  {judged}", learned, area, on)] * wide)]
        if not wide:
            lines += [f"  judged {judged}", f"  learned {learned}"]
            lines += [f"  shared {area}, on {on}"]
    lines += ["shared: area common to the judged and learned densities of the first use"]
    lines += ["on: basis of the date/width: D data, J judgement, B both, N neither, - certain", ""]
    lines += [at_odds(outcome.shifts), *on_assessors(outcome.assessors), *on_quantities(outcome)]
    lines += [on_contradictions(outcome.contradictions)]
    lines += [f"  {_contradiction(each)}" for each in outcome.contradictions[:_SHOWN]]
    lines += [on_health(outcome.health), *on_free_form(outcome.learned)]
    lines += [unsound_words(outcome.health.fault)] if outcome.health.fault else []
    return hanging(lines, width)


def on_free_form(learned: Learned) -> list[str]:
    """Say what stands behind the free-form features, and what stated levels hold."""
    if learned.latent is None:
        return []
    if learned.correction is not None:
        return [on_latent(learned.latent), on_correction(learned.correction)]
    return [
        on_latent(learned.latent),
        "Levels are not recalibrated, since other features bear on the date as well; dating "
        "calibrate --correct recalibrates them all together.",
    ]


def at_odds(shifts: tuple[Shift, ...]) -> str:
    """Name the changeovers whose judgement the corpus contradicts."""
    doubted = [shift.name for shift in shifts if shift.shared_area < DOUBTED]
    if not doubted:
        return "No judgement is at odds with the corpus."
    return f"At odds with the corpus: {'; '.join(doubted)}."


def on_assessors(assessors: tuple[Assessor, ...]) -> list[str]:
    """Say which assessor did better."""
    scored = sorted(
        (
            (a.calibration, a)
            for a in assessors
            if a.calibration is not None and a.name != NOT_NAMED
        ),
        key=lambda pair: -pair[0],
    )
    sentences = []
    if scored:
        each = [f"{a.name} {score:.2g} from {a.settled} settled" for score, a in scored]
        sentences.append(f"Calibration of the assessors, best first: {', '.join(each)}.")
    elif assessors:
        sentences.append("The corpus settles no judgement, so no assessor can be scored.")
    moved = [
        f"{a.name} {a.weight_before:.2f} to {a.weight_after:.2f}"
        for a in assessors
        if a.weight_before is not None and a.weight_after is not None
    ]
    if moved:
        sentences.append(
            f"New weights where several assessors judged the same number: {', '.join(moved)}."
        )
    return sentences


def on_contradictions(contradictions: tuple[CorpusContradiction, ...]) -> str:
    """Say how many instruments contradict a judgement."""
    instruments = len({each.instrument for each in contradictions})
    if not instruments:
        return "No dated instrument contradicts a judgement."
    verb = "instrument contradicts" if instruments == 1 else "instruments contradict"
    return f"{instruments} dated {verb} a judgement, in {len(contradictions)} recorded states."


def on_health(health: Health) -> str:
    """Put the diagnostics into words."""
    return (
        f"Largest R-hat {health.rhat:.3f}, smallest effective sample size {health.ess:.0f}, "
        f"{health.divergences} divergent transitions."
    )


def chance(value: float) -> str:
    """Write a small probability in per cent, with two figures.

    Examples
    --------
    >>> chance(0.0035), chance(0.00001), chance(0.42)
    ('0.35 %', '<0.01 %', '42 %')
    """
    if value < 0.0001:
        return "<0.01 %"
    return f"{100 * value:.2g} %" if value < 0.1 else f"{100 * value:.0f} %"


def _contradiction(case: CorpusContradiction) -> str:
    return (
        f"{case.instrument} (line {case.line}), built {case.built}: {case.feature} "
        f"{case.observation}, judged {chance(case.judged)}, learned {chance(case.learned)}"
    )


def _row(judged: str, learned: str, shared: str, on: str) -> str:
    return f"{judged:<29}  {learned:<27}  {shared:>6}  {on}"


def _dates(points: tuple[float, float, float], first: int) -> str:
    return " | ".join(month_label(floor(first + point)) for point in points)
