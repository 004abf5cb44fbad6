"""Claims in words: what the evidence says of them, and how they may be printed."""

from __future__ import annotations

from dataclasses import dataclass
from math import floor

from dating.claims.evidence import Basis
from dating.claims.examples import Witness
from dating.claims.explanations import Explanation
from dating.claims.further_evidence import FurtherEvidence
from dating.claims.statements import (
    Assertion,
    Built,
    ChangedFirst,
    Overlap,
    Share,
    Use,
)
from dating.claims.strength import DrawChance, Factor, decimals_of, factor_words, probability_words
from dating.claims.weighing import ClaimResult, Points
from dating.months import month_words
from dating.plausibility.warning import series
from dating.words.claim_clauses import count_of_months, incoming, together
from dating.words.phrases import percent

UNSETTLED = "about as likely as not"


def basis_words(basis: Basis) -> str:
    """Say what a probability rests on.

    Examples
    --------
    >>> basis_words(Basis())
    "the assessors' judgements alone"
    >>> basis_words(Basis(("M-1",), 400))
    "what was seen on M-1, 400 dated instruments and the assessors' judgements"
    """
    if not basis.has_evidence:
        return "the assessors' judgements alone"
    parts = [f"what was seen on {series(basis.seen)}"] if basis.seen else []
    if basis.dated is not None:
        one = basis.dated == 1
        count = f"{basis.dated:,} " if basis.dated else ""
        parts.append(f"{count}dated instrument{'' if one else 's'}")
    return series([*parts, "the assessors' judgements"])


def verdict(result: ClaimResult) -> str:
    """Say in one sentence how probable a claim is and what the evidence was worth."""
    words = f"{probability_words(result.posterior.value)} ({chance_words(result.posterior)})"
    if result.factor is None:
        return f"No evidence was weighed. The assessors believe it {words}."
    if not result.factor.has_value:
        before = chance_words(result.prior)
        return (
            f"{words.capitalize()}, as before the evidence ({before}); the draws do not show what "
            "the evidence is worth."
        )
    before, support = chance_words(result.prior), support_words(result.factor)
    return (
        f"{words.capitalize()}; {before} before the evidence. Bayes factor "
        f"{_factor(result.factor)}: {support}."
    )


def support_words(factor: Factor) -> str:
    """Name the support that a Bayes factor gives for certain, whatever the draws leave open."""
    if not factor.has_value:
        return ""
    if factor.graded is None:
        return "the draws give a bound only, which is not graded"
    return factor_words(factor.graded)


@dataclass(frozen=True)
class ClaimWords:
    """What weighing a claim gave, in words.

    Parameters
    ----------
    before, after, words : str
        Probabilities before and after the evidence, and the word for the latter.
    factor, support : str
        Bayes factor and its word; empty where there was no evidence.
    verdict : str
        One sentence of all that.
    printed, believed : str
        How the claim may be worded; where there was no evidence that is empty, and in its place
        stands what the assessors believe.
    basis : str
        What the probability rests on.
    ranges : tuple of str
        Between what the numbers lie that it is about.
    examples : tuple of (str, tuple of str)
        What speaks against it and for it, with a title each.
    looks : tuple of FurtherEvidence
        What would move it most.
    silent : str
        What was seen and not weighed, and why; empty where all was.
    turning : str
        Which dated instruments the verdict hangs on; empty where that is not known.
    """

    before: str
    after: str
    words: str
    factor: str
    support: str
    verdict: str
    printed: str
    believed: str
    basis: str
    ranges: tuple[str, ...]
    examples: tuple[tuple[str, tuple[str, ...]], ...]
    looks: tuple[FurtherEvidence, ...]
    silent: str
    turning: str

    @property
    def further_ranges(self) -> tuple[str, ...]:
        """Those ranges that the wording does not hold."""
        worded = f"{self.printed} {self.believed}"
        return tuple(known for known in self.ranges if known not in worded)


def claim_words(result: ClaimResult, first: int) -> ClaimWords:
    """Put what weighing a claim gave into words."""
    factor = result.factor
    titles = {
        "Evidence against it": ("against", True),
        "Evidence for it": ("for", True),
        "Seemingly against it, and probably explained otherwise": ("against", False),
        "Seemingly for it, and probably explained otherwise": ("for", False),
    }
    sides = {
        title: tuple(_witness(e) for e in result.examples if (e.side, e.is_weighty) == kind)
        for title, kind in titles.items()
    }
    return ClaimWords(
        before=chance_words(result.prior),
        after=chance_words(result.posterior),
        words=probability_words(result.posterior.value),
        factor="" if factor is None else _factor(factor),
        support="" if factor is None else support_words(factor),
        verdict=verdict(result),
        printed=rewording(result, first) if result.basis.has_evidence else "",
        believed="" if result.basis.has_evidence else belief(result, first),
        basis=basis_words(result.basis),
        ranges=tuple(ranges_of(result, first)),
        examples=tuple((title, named) for title, named in sides.items() if named),
        turning=turning_words(result),
        looks=result.looks,
        silent=unweighed(result),
    )


def _witness(example: Witness) -> str:
    named = f"{example.name} (line {example.line}): " if example.line else ""
    worth = example.is_weighty and example.bits is not None
    notes = [f"{example.bits:.1f} bits"] if worth else []
    notes += [explained(example.explanation)] if example.explanation is not None else []
    return f"{named}{example.words}{f' ({"; ".join(notes)})' if notes else ''}"


_EXPLAINED = {
    "swapped": "from another instrument",
    "later_part": "a later part",
    "slip": "misread or out of sequence",
    "wrong_date": "wrongly dated",
}


def explained(told: Explanation) -> str:
    """Say how probable it is that a record is what it seems, and what else would explain it.

    Examples
    --------
    >>> explained(Explanation(0.02, 0.85, later_part=0.0, slip=0.1, stands=0.03))
    'as recorded 3 %, from another instrument 85 %, misread or out of sequence 10 %'
    """
    ways = sorted(((getattr(told, key), key) for key in _EXPLAINED), reverse=True)
    named = [f"{_EXPLAINED[key]} {percent(chance)}" for chance, key in ways if chance >= 0.05]
    return ", ".join([f"as recorded {percent(max(told.stands, 1e-6))}", *named])


def turning_words(result: ClaimResult) -> str:
    """Say without which dated instruments a claim would turn, or that a few do not turn it."""
    turning = result.turning
    if turning is None:
        return ""
    named = series([f"{r.examination.instrument} (line {r.line})" for r in turning.references])
    without = f"it would be {probability_words(turning.chance)} ({percent(turning.chance)})"
    if turning.turned:
        return f"It hangs on {named}: without what is recorded there, {without}."
    return f"It does not hang on a few instruments: even without {named}, {without}."


def _factor(factor: Factor) -> str:
    """Write a Bayes factor with its range, where it has one that shows."""
    if not factor.has_value:
        return "not told by the draws"
    if factor.bound:
        return f"{factor.bound} {decimals_of(factor.value)}"
    value, low, high = (decimals_of(number) for number in (factor.value, *factor.ends))
    return value if low == value == high else f"{value} ({low} to {high})"


def unweighed(result: ClaimResult) -> str:
    """Name what was seen but carries no weight yet, and why."""
    if not result.silent:
        return ""
    named = series(result.silent)
    return f"{named}. First learn the shares of free-form features, with dating learn."


def chance_words(chance: DrawChance) -> str:
    """Write a probability, as sharply as its draws allow."""
    return percent(chance.safe_value if chance.settled else chance.value)


def rewording(result: ClaimResult, first: int) -> str:
    """Word the claim as strongly as the evidence allows, and no more, with what it rests on."""
    claim, word = together(result.claim.sayings()), probability_words(result.posterior.value)
    grounds = f"({chance_words(result.posterior)}, from {basis_words(result.basis)})"
    ranges = ranges_of(result, first)
    better = f" {' '.join(ranges)}" if ranges else ""
    if word == UNSETTLED:
        return f"It is uncertain {grounds} whether {_either(claim)}.{better}"
    firmly_so = result.posterior.value > 0.5 and word != "likely"
    return f"It is {word} {grounds} that {claim}.{'' if firmly_so else better}"


def belief(result: ClaimResult, first: int) -> str:
    """Say what the assessors believe of a claim, which is nothing to print as a finding."""
    claim, word = together(result.claim.sayings()), probability_words(result.posterior.value)
    chance = chance_words(result.posterior)
    if word == UNSETTLED:
        start = f"The assessors leave it open ({chance}) whether {_either(claim)}."
    else:
        start = f"The assessors believe it {word} ({chance}) that {claim}."
    return " ".join([start, *ranges_of(result, first)])


def _either(claim: str) -> str:
    return claim.replace(", and that ", ", and ")


def ranges_of(result: ClaimResult, first: int) -> list[str]:
    """Say between what the numbers lie that a claim is about."""
    pairs = zip(result.claim.sayings(), result.points, strict=True)
    return [_range(saying, points, first) for saying, points in pairs if points is not None]


def _range(saying: Assertion, points: Points, first: int) -> str:
    """Say between what the number lies that a claim is about; 5 and 95 % points."""
    low, _, high = points
    match saying.content:
        case Built(instrument=name):
            ends = [month_words(first + int(point)) for point in (low, high)]
            when = f"in {ends[0]}" if ends[0] == ends[1] else f"between {' and '.join(ends)}"
            return f"{name} was built {when} (probability 90 %)."
        case Use():
            which = "first" if saying.kind == "first_use" else "last"
            ends = [_month(first + point) for point in (low, high)]
            when = f"in {ends[0]}" if ends[0] == ends[1] else f"between {' and '.join(ends)}"
            return f"The {which} use was {when} (probability 90 %)."
        case ChangedFirst(earlier=earlier, later=later):
            said = f"{incoming(later)} came in {_lead(round(low), round(high))} "
            said += incoming(earlier)
            return f"{said[:1].upper()}{said[1:]} (probability 90 %)."
        case Overlap():
            took = _between(f"{low:.0f}", f"{high:.0f}", "about")
            return f"The changeover took {took} months (probability 90 %)."
        case Share():
            share = _between(
                percent(low), percent(high), "" if low < 0.01 or high > 0.99 else "about"
            )
            return f"The share was {share} (probability 90 %)."
        case _:
            number = _between(f"{low:,.0f}", f"{high:,.0f}", "about")
            return f"The number was {number} (probability 90 %)."


def _between(low: str, high: str, same: str) -> str:
    """Write a range; where both ends are written alike, the one number."""
    return f"{same} {low}".strip() if low == high else f"between {low} and {high}"


def _lead(low: int, high: int) -> str:
    """Say how many months after another a changeover came in, before it where below nought.

    Examples
    --------
    >>> _lead(-5, 3), _lead(-4, 0), _lead(2, 2)
    ('between 5 months before and 3 months after', '0 to 4 months before', '2 months after')
    """
    if low < 0 < high:
        return f"between {count_of_months(-low)} before and {count_of_months(high)} after"
    near, far = sorted((abs(low), abs(high)))
    side, most = "before" if low < 0 else "after", count_of_months(far)
    return f"{most} {side}" if near == far else f"{near} to {most} {side}"


def _month(at: float) -> str:
    if abs(at) == float("inf"):
        return "never" if at > 0 else "the start"
    return month_words(floor(at))
