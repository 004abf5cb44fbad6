"""What single further observation, and what document, would move a claim most.

The gain is the mutual information of the claim and of what would be found, in bits.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from dating.advice import information_bits
from dating.arrays import Floats
from dating.claims.evidence import Evidence
from dating.claims.examples import features_of
from dating.claims.production import Production
from dating.claims.statements import (
    Apart,
    Assertion,
    Built,
    ChangedFirst,
    Claim,
    EarliestWith,
    NumberMade,
    Older,
    Overlap,
    Share,
    Use,
    instruments_of,
)
from dating.claims.truth import all_true, quantity
from dating.examination import Examination, Sight
from dating.learning.layout import VARIANTS
from dating.magnitudes import Magnitudes, floats
from dating.months import month_words
from dating.reading import InputError
from dating.statements import plain_name

_STEP = 3
"""Months between the build months that are tried for a further dated instrument."""
_LEAST = 0.01
"""Bits below which a find is not worth naming."""


@dataclass(frozen=True)
class FurtherEvidence:
    """One thing that would move a claim.

    Parameters
    ----------
    what : str
        What to find, in words.
    bits : float
        The expected gain about whether the claim is true.
    """

    what: str
    bits: float


def looks_of(claim: Claim, evidence: Evidence) -> tuple[FurtherEvidence, ...]:
    """Name the observation and the document that would move a claim most.

    Parameters
    ----------
    claim : Claim
        The claim.
    evidence : Evidence
        What it is weighed by.

    Returns
    -------
    tuple of FurtherEvidence
        The observation first; fewer than two where nothing would tell.

    References
    ----------
    Lindley, D. V. (1956). On a measure of the information provided by an experiment. *Annals
    of Mathematical Statistics* 27(4), 986-1005. doi:10.1214/aoms/1177728069
    """
    if claim.instruments():
        groups = (_on_instruments(claim, evidence), _papers_on_instruments(claim, evidence))
    else:
        production = evidence.known_few
        true = all_true(claim.sayings(), production)
        groups = (_further_instruments(claim, production, true), _papers(claim, production, true))
    best = [max(looks, key=lambda look: look.bits, default=None) for looks in groups]
    return tuple(look for look in best if look is not None and look.bits > _LEAST)


# About production ----------------------------------------------------------------------------


def _further_instruments(
    claim: Claim, production: Production, true: Floats
) -> Iterator[FurtherEvidence]:
    """Try a further dated instrument of each quarter on which one feature is examined."""
    every = np.flatnonzero(production.tables.output > 0)[::_STEP]
    for feature in dict.fromkeys(f for saying in claim.sayings() for f in features_of(saying)):
        if feature == VARIANTS:
            continue
        table, prior = production.tables.features[feature], production.tables.prior[:, :, every]
        among = prior / prior.sum(axis=1, keepdims=True)
        states = []
        for row in np.eye(len(table.states)):
            seen, _ = table.seen(row)
            seen = np.broadcast_to(seen, (*seen.shape[:2], len(production.tables.output)))
            states.append((among * seen[:, :, every]).sum(axis=1))
        gains = _gains(true, np.array(states))
        place = int(gains.argmax())
        month = month_words(production.maker.period.first + int(every[place]))
        what = f"a dated instrument from about {month}, with its {plain_name(feature)} examined"
        yield FurtherEvidence(what, float(gains[place]))


def _papers(claim: Claim, production: Production, true: Floats) -> Iterator[FurtherEvidence]:
    """Try knowing outright, from a document, the number that each part of a claim is about."""
    for saying in claim.sayings():
        values = quantity(saying, production)
        dates = values[np.isfinite(values)]
        if not len(dates):
            continue
        edges = np.unique(np.quantile(dates, np.linspace(0, 1, 33)))
        bins = np.digitize(values, edges)
        joint = np.zeros((bins.max() + 1, 2))
        np.add.at(joint, bins, np.stack([true, 1 - true], axis=1))
        yield FurtherEvidence(
            f"a document that states {_stated_by(saying)}", information_bits(joint)
        )


def _gains(true: Floats, states: Floats) -> Floats:
    """Give the information of one observation about a claim, shape (month,)."""
    yes = np.einsum("d,sdm->sm", true, states)
    no = np.einsum("d,sdm->sm", 1 - true, states)
    joint = np.stack([yes, no], axis=1)
    return np.array([information_bits(joint[:, :, m]) for m in range(joint.shape[2])])


def _stated_by(saying: Assertion) -> str:
    match saying.content:
        case Use(feature=feature, state=state):
            which = "first" if saying.kind == "first_use" else "last"
            return f"the date of {which} use of the {state} {plain_name(feature)}"
        case ChangedFirst(earlier=earlier, later=later):
            return (
                f"how long before the {plain_name(later.feature)} the "
                f"{plain_name(earlier.feature)} changed"
            )
        case Overlap(changeover=way):
            return f"how long both forms of the {plain_name(way.feature)} were in use together"
        case Share(states=states):
            return f"the share of {_combined(states)} in production"
        case NumberMade(states=states, survival=survival):
            which = "were made" if survival is None else "survive"
            return f"how many {which} with {_combined(states)}"
        case _:
            return ""


def _combined(states: dict[str, tuple[str, ...]]) -> str:
    each = (f"the {' or '.join(names)} {plain_name(feature)}" for feature, names in states.items())
    return " and ".join(each)


# About instruments ---------------------------------------------------------------------------


def _on_instruments(claim: Claim, evidence: Evidence) -> Iterator[FurtherEvidence]:
    """Try every feature that was not examined on one of the instruments."""
    features = evidence.maker.features()
    for name in claim.instruments():
        examination = evidence.examinations[name]
        for feature, (_, stated) in features.items():
            if examination.seen.get(feature) is None:
                states = tuple(stated.states)
                answers = [_with(examination, feature, state) for state in states]
                each = [_split(claim, evidence, feature, answer) for answer in answers]
                yes, every = floats(*(np.stack(sums) for sums in zip(*each, strict=True)))
                if every.sum() > 0:
                    joint = np.stack([yes, np.maximum(every - yes, 0.0)], axis=1)
                    what = f"{plain_name(feature)} of {name}"
                    yield FurtherEvidence(what, information_bits(joint))


def _papers_on_instruments(claim: Claim, evidence: Evidence) -> Iterator[FurtherEvidence]:
    """Try a document that gives the month in which one of the instruments was built."""
    dated = [
        s for s in claim.sayings() if isinstance(s.content, Built | Apart | Older | EarliestWith)
    ]
    for name in instruments_of(dated):
        yes, every = evidence.truth_by_month(claim.sayings(), name)
        joint = np.stack([yes, np.maximum(every - yes, 0.0)], axis=1)
        yield FurtherEvidence(f"a document that dates {name}", information_bits(joint))


def _with(examination: Examination, feature: str, state: str) -> Examination:
    seen = {**examination.seen, feature: Sight(state=state)}
    return examination.model_copy(update={"seen": seen})


def _split(
    claim: Claim, evidence: Evidence, feature: str, answer: Examination
) -> tuple[Floats, Floats]:
    """Give P(claim, evidence, answer) and P(evidence, answer)."""
    examinations = {**evidence.examinations, answer.instrument: answer}
    try:
        true, weight = evidence.truth(claim.sayings(), examinations)
    except InputError:  # no month allows this answer beside the others
        nothing: Any = Magnitudes(np.zeros(()))
        return nothing, nothing
    pieces = evidence.weighing_of(answer, claim.sayings()).pieces
    log_scale = next(piece.log_scale for piece in pieces if piece.name == feature)
    scale: Any = Magnitudes.exp(np.array(log_scale))
    return true.sum() * scale, weight.sum() * scale
