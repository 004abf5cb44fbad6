"""Claims that are true whatever is found, or are made twice."""

from __future__ import annotations

from collections.abc import Iterator

from dating.claims.files import Manuscript
from dating.claims.statements import Assertion, Built, NumberMade, Share, Use
from dating.months import Period
from dating.plausibility.examination import examination_warnings
from dating.plausibility.warning import period_words, repeats, warning
from dating.reading import KeyPath, Problem, Source


def claims_warnings(manuscript: Manuscript) -> tuple[Problem, ...]:
    """List what a claims file, and the examinations it lists, say that is hardly meant.

    Examples
    --------
    >>> from dating.claims.files import manuscript_of, read_claims
    >>> from dating.files import read_maker
    >>> claims = read_claims("demo_data/marrowby_claims.yaml")
    >>> claims_warnings(manuscript_of(claims, read_maker("priors/marrowby.yaml")))
    ()
    """
    return tuple(_warnings(manuscript))


def _warnings(manuscript: Manuscript) -> Iterator[Problem]:
    maker, claims = manuscript.maker, manuscript.claims
    for examination in manuscript.examinations.values():
        yield from examination_warnings(examination, maker)
    sentences = [" ".join(claim.sentence.casefold().split()) for claim in claims.claims]
    for place, first in repeats(sentences):
        message = f"this is the sentence of the claim {claims.claims[first].claim} again"
        path: KeyPath = ("claims", place, "sentence")
        yield warning(claims.origin, path, message, expected="each sentence once")
    for place, claim in enumerate(claims.claims):
        if claim.says is not None:
            here: KeyPath = ("claims", place, "says")
            yield from _saying(claims.origin, here, claim.says, maker.period)
        for part, saying in enumerate(claim.all_of or ()):
            here = ("claims", place, "all_of", part)
            yield from _saying(claims.origin, here, saying, maker.period)


def _saying(origin: Source, path: KeyPath, saying: Assertion, period: Period) -> Iterator[Problem]:
    """Check whether one saying holds whatever is found."""
    path, content = (*path, saying.kind), saying.content
    within = content.within if isinstance(content, Built | Use) else None
    if within is not None and within.first <= period.first and within.last >= period.last:
        message = "this is the maker's whole period, so the claim holds whatever is found"
        expected = f"a part of {period_words(period)}"
        yield warning(origin, (*path, "within"), message, found=str(within), expected=expected)
    if isinstance(content, Share) and content.at_least == 0:
        message = "no share is less than 0, so the claim holds whatever is found"
        place = (*path, "at_least")
        yield warning(origin, place, message, found=0, expected="a share above 0")
    if isinstance(content, Share) and content.tolerance >= 0.5:
        message = "half of the production or more is excepted"
        place = (*path, "tolerance")
        expected = "a small share, such as 0.02"
        yield warning(origin, place, message, found=content.tolerance, expected=expected)
    if (
        isinstance(content, NumberMade)
        and content.between is not None
        and content.between[0] == content.between[1]
    ):
        message = "one exact number is claimed, which hardly any count can bear out"
        place = (*path, "between")
        yield warning(origin, place, message, expected="two numbers, or about and give_or_take")
