"""What a claim says, as clauses that can follow *that*."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

from dating.claims.statements import (
    Apart,
    Assertion,
    Built,
    ChangedFirst,
    ClaimedChangeover,
    EarliestWith,
    NumberMade,
    Older,
    Original,
    Overlap,
    Share,
    Use,
)
from dating.learning.layout import VARIANTS
from dating.months import Period, month_words
from dating.plausibility.warning import series
from dating.statements import plain_name
from dating.validation import Strict
from dating.words.phrases import percent


def clause(saying: Assertion) -> str:
    """Say what is claimed, as a clause that can follow *that*.

    Examples
    --------
    >>> clause(Assertion.model_validate({"older": {"instruments": ["M-1", "M-2"]}}))
    'M-1 was built in an earlier month than M-2'
    """
    content = saying.content
    match content:
        case Use() as use:
            which = "first" if saying.kind == "first_use" else "last"
            form = _form(use.feature, (use.state,))
            return f"the {which} use of {form}{_of(use.variant)} was {_bound(use)}"
        case Built() | Original() | Apart() | Older() | EarliestWith():
            return _clause_of_instruments(content)
        case _:
            return _clause_of_changes(content)


def _clause_of_instruments(content: Built | Original | Apart | Older | EarliestWith) -> str:
    match content:
        case Built(instrument=name, within=within):
            return f"{name} was built {_during(within)}"
        case Original(instrument=name, components="all"):
            return f"{name} still has all its original components"
        case Original(instrument=name, components=components):
            return f"{name} still has its original {series([plain_name(c) for c in components])}"
        case Apart(instruments=pair, at_most=most):
            return f"{pair[0]} and {pair[1]} were built at most {count_of_months(most)} apart"
        case Older(instruments=several):
            steps = [f"{b} in an earlier month than {c}" for b, c in pairwise(several[1:])]
            first = f"{several[0]} was built in an earlier month than {several[1]}"
            return series([first, *steps])
        case EarliestWith(instrument=name, feature=feature, state=state, among=others):
            which = series([*others, name])
            return f"{name} is the oldest of {which}, which have {_form(feature, (state,))}"


def _clause_of_changes(content: Strict) -> str:
    match content:
        case ChangedFirst(earlier=earlier, later=later, by=by):
            lead = f" by at least {count_of_months(by)}" if by else ""
            return f"{incoming(earlier)} came in before {incoming(later)}{lead}"
        case Overlap(changeover=way, shorter_than=most):
            return f"the changeover to {incoming(way)} took less than {count_of_months(most)}"
        case Share() as share:
            return _share(share)
        case NumberMade() as number:
            return _number_made(number)
        case _:
            raise TypeError(f"{type(content).__name__} has no words")


def together(sayings: Sequence[Assertion]) -> str:
    """Say what is claimed together."""
    return ", and that ".join(clause(saying) for saying in sayings)


def _bound(use: Use) -> str:
    if use.not_before is not None:
        return f"in {_ends(use.not_before)[0]} or later"
    if use.not_after is not None:
        return f"in {_ends(use.not_after)[1]} or earlier"
    return _during(use.within) if use.within is not None else ""


def _share(share: Share) -> str:
    grade = f"of the {share.variant} grade " if share.variant is not None else ""
    within = f"{grade}made {_during(share.during)} "
    forms = f"had {_forms(share.states)}"
    match share.was:
        case None:
            return f"at least {percent(share.at_least or 0)} of the instruments {within}{forms}"
        case "none" if share.tolerance:
            return f"no more than {percent(share.tolerance)} of the instruments {within}{forms}"
        case "none":
            return f"no instrument {within}{forms}"
        case _ if share.tolerance:
            but = percent(1 - share.tolerance)
            return f"at least {but} of the instruments {within}{forms}"
        case _:
            return f"every instrument {within}{forms}"


def _number_made(claim: NumberMade) -> str:
    low, high = claim.ends()
    number = f"between {low:,.0f} and {high:,.0f}"
    if claim.about is not None:
        number = f"about {claim.about:,.0f} (meaning {number})"
    during = f" {_during(claim.during)}" if claim.during is not None else ""
    verb = "survive from those made" if claim.survival is not None else "were made"
    grade = f" of the {claim.variant} grade" if claim.variant is not None else ""
    return f"{number} instruments{grade} {verb}{during} with {_forms(claim.states)}"


def incoming(way: ClaimedChangeover) -> str:
    """Name the form that a changeover leads to."""
    return f"{_form(way.feature, (way.to,))}{_of(way.variant)}"


def _forms(states: Mapping[str, Sequence[str]]) -> str:
    return " and ".join(_form(feature, names) for feature, names in states.items())


def _form(feature: str, states: Sequence[str]) -> str:
    named = " or ".join(states)
    return f"the {named} {'grade' if feature == VARIANTS else plain_name(feature)}"


def _of(variant: str | None) -> str:
    return f" on the {variant} grade" if variant is not None else ""


def count_of_months(count: float) -> str:
    """Count months in words."""
    return f"{count:g} month" if count == 1 else f"{count:g} months"


def _during(period: Period) -> str:
    """Say when something happened, in months, or in years where it is made of whole ones."""
    first, last = _ends(period)
    return f"in {first}" if first == last else f"between {first} and {last}"


def _ends(period: Period) -> tuple[str, str]:
    if period.first % 12 == 0 and period.last % 12 == 11:
        return str(period.first // 12), str(period.last // 12)
    return month_words(period.first), month_words(period.last)
