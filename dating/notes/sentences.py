"""Sentences of a note, each by a stated rule from one estimate and never stronger than it."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from math import isinf

from dating.advice import Advice
from dating.claims.strength import probability_words
from dating.disagreement import SURPRISING
from dating.edtf import write_edtf
from dating.estimates import Estimate
from dating.months import Period
from dating.notes.languages import Language
from dating.notes.observations import name_words, piece_words
from dating.notes.phrasing import CIRCA, Convention, DatePhrase, Phrase, phrase_of
from dating.stories import has_swap
from dating.summaries import MonthSet, highest_density
from dating.tabulation import LEVEL
from dating.words.soundness import is_bare_draft

DOUBTFUL = 0.33
"""Probability that a part is not original from which a note speaks of it."""
APPARENT = 0.66
"""Probability from which it appears to come from another instrument."""
WORTH_A_LOOK = 0.05
"""Share of the remaining doubt that a look is expected to settle, from which it is named."""
_MILLION = 20.0
_SURE = 1e-9


@dataclass(frozen=True, eq=False)
class Wording:
    """How notes are worded.

    Parameters
    ----------
    language : Language
        The words.
    level : float
        Probability that the words of a date hold at least.
    convention : Convention
        What "circa" means.
    """

    language: Language
    level: float = LEVEL
    convention: Convention = CIRCA[5]


@dataclass(frozen=True, eq=False)
class DateWording:
    """The date of one instrument as it is worded.

    Parameters
    ----------
    phrase : DatePhrase
        The form of words.
    chance : float
        Probability of the months that the words claim, at least the level.
    edtf : str
        Those months, as far as they lie in the maker's period, in EDTF.
    """

    phrase: DatePhrase
    chance: float
    edtf: str


def dated(estimate: Estimate, wording: Wording) -> DateWording:
    """Choose the words of a date."""
    means, level = wording.convention, wording.level
    phrase = phrase_of(estimate.probabilities, estimate.period, level, means)
    return DateWording(phrase, _chance(estimate, phrase), _edtf(phrase, estimate.period))


def certainty(chance: float, language: Language) -> str:
    """Name a probability by the published scale, in a language.

    Parameters
    ----------
    chance : float
        From 0 to 1.
    language : Language
        The words.

    Returns
    -------
    str
        The narrowest word that holds it.

    References
    ----------
    Mastrandrea, M. D. and others (2010). *Guidance Note for Lead Authors of the IPCC Fifth
    Assessment Report on Consistent Treatment of Uncertainties*, table 1.
    """
    return language.texts[f"certainty.{probability_words(chance)}"]


def unsound_sentences(estimate: Estimate, wording: Wording) -> list[str]:
    """Say that a maker file is a bare draft or was edited, or that the draws are not sound."""
    learned, language = estimate.learned, wording.language
    if is_bare_draft(estimate.maker, learned):
        return [language.texts["draft"]]
    if learned is None:
        return []
    parts = (*learned.edits.stale, *learned.edits.added, *learned.edits.around)
    edited = [language.say("edited", parts="; ".join(parts))] if parts else []
    if learned.health is None or learned.health.good:
        return edited
    health = learned.health
    return [
        *edited,
        language.say(
            "unsound",
            rhat=language.number(health.rhat, 3),
            ess=language.number(health.ess, 0),
            divergences=health.divergences,
        ),
    ]


def date_words(phrase: DatePhrase, language: Language, group: str = "date") -> str:
    """Write a date.

    Examples
    --------
    >>> from dating.notes.languages import language
    >>> stretch = DatePhrase((Phrase("months", 23174, 23179),))
    >>> date_words(stretch, language("en")), date_words(stretch, language("de"), "short")
    ('between March and August 1931', 'März bis August 1931')
    """
    return language.listed([_stretch(each, language, group) for each in phrase.phrases], "or")


def date_sentences(estimate: Estimate, wording: Wording) -> list[str]:
    """State the date, and what its words mean."""
    language, date = wording.language, dated(estimate, wording)
    chance = language.percent(date.chance)
    forms = [phrase.form for phrase in date.phrase.phrases]
    if forms == ["whole"]:
        words = date_words(date.phrase, language)
        return [language.say("statement.open", date=words, chance=chance)]
    word = certainty(wording.level, language)
    words = _with_chances(estimate, date.phrase, language)
    sentences = [language.say("statement.built", date=words, certainty=word, chance=chance)]
    if "before" in forms:
        first = language.month(estimate.period.first)
        sentences.append(language.say("statement.before", first=first))
    if "not before" in forms:
        last = language.month(estimate.period.last)
        sentences.append(language.say("statement.not before", last=last))
    return sentences


def circa_sentences(texts: Iterable[str], wording: Wording) -> list[str]:
    """Say what "circa" means, where it is said anywhere.

    Examples
    --------
    >>> from dating.notes.languages import language
    >>> circa_sentences(["built circa 1931"], Wording(language("en")))[0][:53]
    'In this note "circa" means within 5 years either side'
    """
    language, means = wording.language, wording.convention
    forms = (re.escape(language.say(f"{group}.circa", year=0)) for group in ("date", "short"))
    sign = re.compile("|".join(rf"\b{form.replace('0', '[0-9]+')}\b" for form in forms))
    if not any(sign.search(words) for words in texts):
        return []
    return [language.say("statement.circa", years=means.years, source=means.source)]


def part_sentences(estimate: Estimate, wording: Wording) -> list[str]:
    """Say whether the parts belong together, and what was replaced."""
    language = wording.language
    seen = {piece.component for piece in estimate.pieces}
    swappable = [
        name for name, part in estimate.weighing.parts.items() if part.swapped > 0 and name in seen
    ]
    chances = {name: 1 - estimate.originality[name] for name in swappable}
    doubtful = sorted((n for n in chances if chances[n] >= DOUBTFUL), key=lambda n: -chances[n])
    sentences = [_part(name, chances[name], estimate, wording) for name in doubtful]
    if not swappable:
        sentences.append(language.texts["originality.nothing"])
    elif not doubtful and has_swap(estimate.stories):
        sentences.append(language.texts["stories.parts"])
    elif not doubtful:
        sentences.append(_graded("originality.together", estimate.all_original, language))
    for finding in estimate.findings:
        if finding.replaced is not None and finding.replaced >= DOUBTFUL:
            name = name_words(finding.piece.name, language)
            sentences.append(_graded("originality.replaced", finding.replaced, language, name=name))
    return sentences + _variant(estimate, language)


def conflict_sentences(estimate: Estimate, wording: Wording) -> list[str]:
    """Say what contradicts what."""
    language, conflict = wording.language, estimate.conflict
    sentences = [
        language.say("conflict.parts", part=name, times=_times(bits, language))
        for name, bits in conflict.against_rest.items()
        if bits >= SURPRISING
    ]
    for clash in conflict.contradictions:
        places = {
            "piece": name_words(clash.piece.name, language),
            "piece_said": piece_words(clash.piece, estimate, language),
        }
        if clash.bits < 1:
            sentences.append(language.say("conflict.pieces_rest", **places))
            continue
        places["other"] = name_words(clash.other.name, language)
        places["other_said"] = piece_words(clash.other, estimate, language)
        times = _times(clash.bits, language)
        sentences.append(language.say("conflict.pieces", times=times, **places))
    if not sentences and len(estimate.pieces) > 1:
        sentences.append(language.texts["conflict.none"])
    return sentences


def unseen_sentences(estimate: Estimate, wording: Wording) -> list[str]:
    """Say what was not examined, and what was but could not be weighed."""
    language, maker = wording.language, estimate.maker
    seen = {piece.name for piece in estimate.pieces} | {item.name for item in estimate.neutral}
    names_of_part: dict[str, list[str]] = {name: [] for name in maker.components}
    for group in (maker.features(), maker.marks(), maker.measurements()):
        for name, (part, _) in group.items():
            names_of_part[part].append(name)
    untouched = [part for part, names in names_of_part.items() if names and not seen & set(names)]
    missed = [n for part, names in names_of_part.items() if part not in untouched for n in names]
    missed = [name for name in missed if name not in seen]
    if maker.variants is not None and "variant" not in seen:
        missed.append("variant")
    sentences = []
    if untouched:
        names = language.listed([name_words(part, language) for part in untouched])
        sentences.append(language.say("unseen.parts", names=names))
    if missed:
        names = language.listed([name_words(name, language) for name in missed])
        sentences.append(language.say("unseen.features", names=names))
    if not sentences:
        sentences.append(language.texts["unseen.none"])
    for item in estimate.neutral:
        name = name_words(item.name, language)
        observation = item.observation.removeprefix("other: ")
        sentences.append(language.say("unseen.not_weighed", name=name, said=observation))
    return sentences


def telling_looks(estimate: Estimate) -> list[Advice]:
    """Choose the looks that would say most."""
    enough = WORTH_A_LOOK * estimate.entropy
    return [look for look in estimate.advice[:2] if look.bits >= enough > 0]


def settling_sentences(estimate: Estimate, wording: Wording) -> list[str]:
    """Say what would settle more."""
    language = wording.language
    looks = telling_looks(estimate)
    if not looks:
        return [language.texts["settle.nothing"]]
    return [
        language.say(
            f"settle.{key}",
            look=_look(look, language),
            share=language.percent(min(look.bits / estimate.entropy, 1.0)),
            invasive=language.texts[f"invasive.{look.invasive}"],
        )
        for key, look in zip(("first", "then"), looks, strict=False)
    ]


def _chance(estimate: Estimate, phrase: DatePhrase) -> float:
    first = estimate.period.first
    return float(sum(p for m, p in enumerate(estimate.probabilities, start=first) if m in phrase))


def _edtf(phrase: DatePhrase, period: Period) -> str:
    """Write the months that words claim, cut to the period."""
    return write_edtf(
        [(max(each.first, period.first), min(each.last, period.last)) for each in phrase.phrases]
    )


def _stretch(phrase: Phrase, language: Language, group: str) -> str:
    """Write one stretch; months of one year name the year once."""
    first, last = language.month(phrase.first), language.month(phrase.last)
    if phrase.form == "months" and phrase.first // 12 == phrase.last // 12:
        first = language.months[phrase.first % 12]
    return language.say(
        f"{group}.{phrase.form}",
        **_places(phrase, first, last),
    )


def _places(phrase: Phrase, first: str, last: str) -> dict[str, object]:
    return {
        "first": first,
        "last": last,
        "first_year": phrase.first // 12,
        "last_year": phrase.last // 12,
        "year": phrase.year,
    }


def _with_chances(estimate: Estimate, phrase: DatePhrase, language: Language) -> str:
    """Write a date; of two stretches each has its probability."""
    if len(phrase.phrases) == 1:
        return date_words(phrase, language)
    first, last = phrase.phrases
    return language.say(
        "date.either",
        first=_stretch(first, language, "date"),
        last=_stretch(last, language, "date"),
        first_chance=language.percent(_chance(estimate, DatePhrase((first,)))),
        last_chance=language.percent(_chance(estimate, DatePhrase((last,)))),
    )


def _graded(key: str, chance: float, language: Language, **places: str) -> str:
    """Fill a text with a probability and its word."""
    word = certainty(chance, language)
    return language.say(key, certainty=word, chance=language.percent(chance), **places)


def _part(name: str, chance: float, estimate: Estimate, wording: Wording) -> str:
    """Say of one part that it may not be original; where its own date lies, if that is told."""
    language, part = wording.language, name_words(name, wording.language)
    if chance < APPARENT:
        return _graded("originality.open", chance, language, part=part)
    own = estimate.own_month(name)
    level = wording.level
    its_set = highest_density(own, estimate.period, level)
    key = _beside(its_set, estimate.highest_density(level))
    if key == "other":
        return _graded("originality.other", chance, language, part=part)
    phrase = phrase_of(own, estimate.period, level, wording.convention)
    words = date_words(phrase, language)
    return _graded(f"originality.{key}", chance, language, part=part, date=words)


def _beside(own: MonthSet, whole: MonthSet) -> str:
    """Say on which side of the instrument's date a part's own date lies whole, if on any."""
    if own.stretches[0].first > whole.stretches[-1].last:
        return "later"
    if own.stretches[-1].last < whole.stretches[0].first:
        return "earlier"
    return "other"


def _variant(estimate: Estimate, language: Language) -> list[str]:
    """Name the variant that is likely, where it was not seen for sure."""
    chances = estimate.variant_chances
    name = max(chances, key=lambda key: chances[key], default=None)
    if name is None or not APPARENT <= chances[name] < 1 - _SURE:
        return []
    return [_graded("variant", chances[name], language, name=name)]


def _times(bits: float, language: Language) -> str:
    """Write how many times less probable, in two figures."""
    if isinf(bits) or bits >= _MILLION:
        return language.texts["conflict.never"]
    return language.number(float(f"{2**bits:.2g}"), 0)


def _look(look: Advice, language: Language) -> str:
    """Name a look, with what has to be done first and how it is taken, where that is stated."""
    name = name_words(look.name, language)
    how = [words.rstrip(".") for words in (look.operation, look.how) if words]
    return f"{name} ({'; '.join(how)})" if how else name
