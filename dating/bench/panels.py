"""What an estimate says, as the panels of the page show it.

The numbers and their rounding are those of the command's text.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from dating.bench.mistakes import estimate_mistakes
from dating.bench.month_shapes import Posterior, draw_posterior, draw_strip
from dating.bench.questions import FormProblem
from dating.bench.time_axis import TimeAxis
from dating.estimates import Estimate
from dating.months import month_words
from dating.summaries import MonthSet, entropy_bits, mass_by_year
from dating.words.belonging import (
    PartRow,
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
    claim_words,
    evidence_set,
    held_set,
    one_sided,
    percent,
    seen_words,
)
from dating.words.plan import again_words, caution_words, look_words, operation_words, plan_told
from dating.words.soundness import on_grounds
from dating.words.stories import clash_words, stories_text
from dating.words.text import agreement_words, clashing_parts, clashing_pieces, neutral_words


@dataclass(frozen=True)
class DatePanel:
    """When it was built.

    Parameters
    ----------
    clash : str
        That what was seen clashes; empty where it does not.
    stories : tuple of (str, str, str)
        Probability, months and words of each way in which it can hang together.
    short : str
        The date in round words, where it is one-sided.
    sets : tuple of (str, str)
        Level, and months with the probability that they hold, of each set, the widest first.
    claims : tuple of str
        The same in a sentence.
    edtf, median, mode, doubt : str
        In words.
    years : tuple of (str, str)
        Year and probability.
    months : tuple of (str, tuple of str)
        Year, and the probability of each of its twelve months; empty outside the period.
    remarks : tuple of str
        On corrected levels and latent variants.
    picture : Posterior
        By month.
    """

    clash: str
    stories: tuple[tuple[str, str, str], ...]
    short: str
    sets: tuple[tuple[str, str], ...]
    claims: tuple[str, ...]
    edtf: str
    median: str
    mode: str
    doubt: str
    years: tuple[tuple[str, str], ...]
    months: tuple[tuple[str, tuple[str, ...]], ...]
    remarks: tuple[str, ...]
    picture: Posterior

    @property
    def in_words(self) -> str:
        """What the picture shows."""
        return f"Built {'; '.join(self.claims)}; median {self.median}."


@dataclass(frozen=True)
class ObservationPanel:
    """What one observation says.

    Parameters
    ----------
    name, observation : str
        The piece of evidence, and what was seen.
    id : str
        Of its row on the page.
    question : str
        Where its question stands; for a document, the document.
    alone, without, shift, bits : str
        As in the command's text.
    strip : str
        A path: how probable each month makes it.
    """

    name: str
    observation: str
    id: str
    question: str
    alone: str
    without: str
    shift: str
    bits: str
    strip: str


@dataclass(frozen=True)
class ComponentPanel:
    """Whether one component belongs.

    Parameters
    ----------
    name, original, before, verdict, own : str
        The component, the probability that it is original, the same before anything was seen, what
        was seen on it, and its own date (90 %).
    chance : float
        That probability.
    doubtful : bool
        Whether it is below one half.
    """

    name: str
    original: str
    before: str
    verdict: str
    own: str
    chance: float
    doubtful: bool


@dataclass(frozen=True)
class LookPanel:
    """One thing to look at next.

    Parameters
    ----------
    name, bits, ask, how : str
        As in the command's text.
    question : str
        Where its question stands.
    """

    name: str
    bits: str
    ask: str
    how: str
    question: str


@dataclass(frozen=True)
class OperationPanel:
    """What has to be done first, and the looks that are then taken at one go.

    Parameters
    ----------
    words, caution : str
        As in the command's text.
    looks : tuple of LookPanel
        What to look at.
    """

    words: str
    caution: str
    looks: tuple[LookPanel, ...]


@dataclass(frozen=True)
class Panels:
    """Everything that is redrawn after an answer.

    Parameters
    ----------
    level : str
        Of the reported set.
    dated : DatePanel
        When it was built.
    observations : tuple of ObservationPanel
        What each observation says.
    axis : TimeAxis
        The months of the strips.
    neutral : tuple of str
        What was recorded and not weighed.
    together : str
        Whether the parts belong together, in a sentence.
    parts : tuple of ComponentPanel
        By component.
    whole : tuple of (str, str)
        That no component was swapped, and no part replaced, each with its probability.
    variants : str
        Probability of each variant; empty without variants.
    replaced : tuple of str
        Sentences on what was replaced later.
    clashes : tuple of str
        Sentences.
    again : str
        What to look at again, where something clashes.
    happenings : tuple of str
        Which observations stand before and which after an event.
    plan : tuple of OperationPanel
        What to look at next.
    mistakes : tuple of FormProblem
        What may be a mistake in the examination or the maker file.
    foot : tuple of str
        On the draws, and what the estimate was made from.
    """

    level: str
    dated: DatePanel
    observations: tuple[ObservationPanel, ...]
    axis: TimeAxis
    neutral: tuple[str, ...]
    together: str
    parts: tuple[ComponentPanel, ...]
    whole: tuple[tuple[str, str], ...]
    variants: str
    replaced: tuple[str, ...]
    clashes: tuple[str, ...]
    again: str
    happenings: tuple[str, ...]
    plan: tuple[OperationPanel, ...]
    mistakes: tuple[FormProblem, ...]
    foot: tuple[str, ...]


def panels_of(estimate: Estimate, places: Mapping[str, str]) -> Panels:
    """Put an estimate into panels.

    Examples
    --------
    >>> from dating import estimate, read_examination, read_maker
    >>> maker = read_maker("priors/marrowby.yaml")
    >>> result = estimate(maker, read_examination("demo_data/examinations/M-001.yaml"))
    >>> panels_of(result, {}).dated.sets[0][0]
    '90 %'
    """
    dated = dated_of(estimate)
    rows = part_rows(estimate)
    return Panels(
        level=percent(estimate.level),
        dated=dated,
        observations=_observations(estimate, dated.picture.axis, places),
        axis=dated.picture.axis,
        neutral=tuple(
            f"Recorded but not weighed: {neutral_words(neutral)}." for neutral in estimate.neutral
        ),
        together=together_words(estimate),
        parts=_parts(rows),
        whole=tuple(whole_rows(estimate)),
        variants=", ".join(f"{name} {percent(p)}" for name, p in estimate.variant_chances.items()),
        replaced=(*filter(None, [unseen_parts(rows)]), *replacements(estimate)),
        clashes=_clashes(estimate),
        again=again_words(estimate),
        happenings=tuple(happening_words(estimate)),
        plan=_plan(estimate, places),
        mistakes=estimate_mistakes(estimate, places),
        foot=_foot(estimate),
    )


def dated_of(estimate: Estimate, other: Estimate | None = None) -> DatePanel:
    """Say when an instrument was built."""
    levels = sorted({estimate.level, 0.5}, reverse=True)
    sets = [estimate.highest_density(level) for level in levels]
    before = entropy_bits(estimate.tables.output)
    remarks = on_grounds(estimate.maker, estimate.learned)
    if estimate.correction is not None:
        remarks.append(on_correction(estimate.correction))
    if estimate.learned is not None and estimate.learned.latent is not None:
        remarks.append(on_latent(estimate.learned.latent))
    return DatePanel(
        clash=clash_words(estimate),
        stories=tuple(stories_text(estimate)),
        short=one_sided(sets[0], estimate.period),
        sets=tuple((percent(months.level), held_set(months, estimate.period)) for months in sets),
        claims=tuple(claim_words(months, estimate.period) for months in sets),
        edtf=estimate.edtf(estimate.level),
        median=month_words(estimate.median),
        mode=month_words(estimate.mode),
        doubt=f"{estimate.entropy:.1f} bits ({before:.1f} before looking)",
        years=_years(estimate),
        months=_months(estimate),
        remarks=tuple(remarks),
        picture=_picture(estimate, sets[0], other),
    )


def _picture(estimate: Estimate, wide: MonthSet, other: Estimate | None) -> Posterior:
    return draw_posterior(
        estimate.probabilities,
        estimate.period,
        (wide, estimate.highest_density(0.5)),
        estimate.median,
        None if other is None else other.probabilities,
    )


def _years(estimate: Estimate) -> tuple[tuple[str, str], ...]:
    masses = mass_by_year(estimate.probabilities, estimate.period)
    first, shown = estimate.period.years()[0], np.flatnonzero(masses >= min(0.005, masses.max()))
    return tuple(
        (str(first + position), percent(float(masses[position])))
        for position in range(int(shown[0]), int(shown[-1]) + 1)
    )


def _months(estimate: Estimate) -> tuple[tuple[str, tuple[str, ...]], ...]:
    period = estimate.period
    chances = [f"{100 * p:.1f}" for p in estimate.probabilities.tolist()]
    before = [""] * (period.first % 12)
    cells = [*before, *chances, *[""] * (11 - period.last % 12)]
    rows = ((str(y), tuple(cells[12 * i : 12 * i + 12])) for i, y in enumerate(period.years()))
    shown = [year for year, _ in _years(estimate)]
    return tuple(row for row in rows if row[0] in shown)


def _observations(
    estimate: Estimate, axis: TimeAxis, places: Mapping[str, str]
) -> tuple[ObservationPanel, ...]:
    panels = []
    for finding in estimate.findings:
        piece = finding.piece
        at = (
            piece.name.replace(" ", "-") if piece.kind == "document" else places.get(piece.name, "")
        )
        likelihood = estimate.likelihood_alone(piece.name)
        panels.append(
            ObservationPanel(
                name=piece.name,
                observation=seen_words(piece, estimate),
                id=f"why-{at}",
                question=at,
                alone=evidence_set(finding.alone, estimate.period),
                without=evidence_set(finding.without, estimate.period),
                shift=f"{finding.shift:+d}" if finding.shift else "0",
                bits=bits(finding.weight),
                strip=draw_strip(likelihood, axis, estimate.period),
            )
        )
    return tuple(panels)


def _parts(rows: Sequence[PartRow]) -> tuple[ComponentPanel, ...]:
    return tuple(
        ComponentPanel(
            name=row.name,
            original=percent(row.chance),
            before=percent(row.before),
            verdict=row.verdict,
            own=row.own,
            chance=round(row.chance, 4),
            doubtful=row.chance < 0.5,
        )
        for row in rows
    )


def _clashes(estimate: Estimate) -> tuple[str, ...]:
    sentences = (*clashing_parts(estimate), *clashing_pieces(estimate))
    return sentences or (agreement_words(estimate),)


def _plan(estimate: Estimate, places: Mapping[str, str]) -> tuple[OperationPanel, ...]:
    return tuple(
        OperationPanel(
            words=operation_words(operation),
            caution=caution_words(operation, looks),
            looks=tuple(
                LookPanel(
                    name=advice.name,
                    bits=f"{advice.bits:.2f}",
                    ask=advice.ask,
                    how=look_words(advice),
                    question=places.get(advice.name, ""),
                )
                for advice in looks
            ),
        )
        for operation, looks in plan_told(estimate)
    )


def _foot(estimate: Estimate) -> tuple[str, ...]:
    tables, worst = estimate.tables, float(estimate.errors.max())
    lines = []
    if not estimate.converged:
        lines.append(on_error(estimate))
    origin = estimate.maker.origin
    known = f"Maker file: {Path(origin.file).name} ({origin.fingerprint[:12]}). "
    if estimate.learned is not None:
        known += f"Reference corpus: {estimate.learned.corpus_fingerprint[:12]}. "
    lines.append(
        f"{OPINION} {known}Seed {tables.seed}, {tables.draws} draws; standard error of at most "
        f"{worst:.1g} in the probability of a month."
    )
    return tuple(lines)
