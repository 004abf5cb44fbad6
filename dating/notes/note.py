"""One catalogue note as plain data: every word and number that any format of it prints."""

from __future__ import annotations

import platform
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from math import isinf

from dating.cautions import CAUTIONS
from dating.claims.strength import PROBABILITY_SCALE
from dating.disagreement import Finding
from dating.estimates import Estimate
from dating.notes.handling_cautions import Caution, cautions_for
from dating.notes.languages import Language
from dating.notes.month_sets import evidence_set_words
from dating.notes.observations import examiner_notes, name_words, piece_words
from dating.notes.sentences import (
    DateWording,
    Wording,
    circa_sentences,
    conflict_sentences,
    date_sentences,
    date_words,
    dated,
    part_sentences,
    settling_sentences,
    telling_looks,
    unseen_sentences,
    unsound_sentences,
)
from dating.notes.story_sentences import story_sentences
from dating.tabulation import TOLERATED_ERROR
from dating.words.record import own_version

_FINGERPRINT = 12


@dataclass(frozen=True)
class NoteSection:
    """A headed part of a note.

    Parameters
    ----------
    heading : str
        Its heading.
    sentences : tuple of str
        What it says.
    """

    heading: str
    sentences: tuple[str, ...]


@dataclass(frozen=True)
class Table:
    """Rows of text under headings.

    Parameters
    ----------
    heading : str
        What the table is of.
    head : tuple of str
        The titles of its columns.
    rows : tuple of tuple of str
        As many cells each as there are titles.
    """

    heading: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Note:
    """A catalogue note, ready to be set in any format.

    Parameters
    ----------
    language : str
        Code of its language (BCP 47).
    kind : str
        What it is, such as ``Catalogue note``.
    title : str
        The instrument, or the lot.
    subtitle : str
        What was made by whom.
    invented : str
        That all is invented; empty where it is not.
    statement : str
        The date in one sentence.
    short : str
        The date in a few words.
    chance : float
        Probability of what those words claim.
    edtf : str
        The months that the words claim, in EDTF.
    date : NoteSection
        The date, with what its words mean.
    sections : tuple of NoteSection
        Parts, contradictions, what was not examined, what would settle more.
    evidence : Table
        What was seen, and what it says; no rows where nothing was.
    closing : tuple of NoteSection
        Method, limits and cautions.
    opinion : str
        That a date is an opinion.
    record : Table
        What the note rests on.
    picture : str
        What its picture shows, in words.
    """

    language: str
    kind: str
    title: str
    subtitle: str
    invented: str
    statement: str
    short: str
    chance: float
    edtf: str
    date: NoteSection
    sections: tuple[NoteSection, ...]
    evidence: Table
    closing: tuple[NoteSection, ...]
    opinion: str
    record: Table
    picture: str


@dataclass(frozen=True, eq=False)
class EstimateNote:
    """An estimate with its note.

    Parameters
    ----------
    estimate : Estimate
        The estimate.
    note : Note
        What it says.
    """

    estimate: Estimate
    note: Note


def note_of(
    estimate: Estimate,
    wording: Wording,
    *,
    title: str = "",
    words: str = "",
    beside: Sequence[str] = (),
) -> Note:
    """Write the note of one instrument; ``beside`` says how it stands to others.

    Examples
    --------
    >>> from dating import estimate, read_examination, read_maker
    >>> from dating.notes.languages import language
    >>> maker = read_maker("priors/marrowby.yaml")
    >>> result = estimate(maker, read_examination("demo_data/examinations/M-001.yaml"))
    >>> note_of(result, Wording(language("en"))).title
    'M-001'
    """
    language, maker = wording.language, estimate.maker
    date, sentences = dated(estimate, wording), date_sentences(estimate, wording)
    invented = maker.invented or estimate.examination.invented
    sections, evidence = _sections(estimate, wording), _evidence(estimate, wording)
    texts = [sentences[0], *(words for section in sections for words in section.sentences)]
    explained = (
        *story_sentences(estimate, language),
        *unsound_sentences(estimate, wording),
        *circa_sentences(texts, wording),
        *sentences[1:],
        *beside,
    )
    return Note(
        language=language.code,
        kind=language.texts["headings.note"],
        title=title or estimate.examination.instrument,
        subtitle=words or f"{maker.product}, {maker.maker}",
        invented=language.texts["record.invented"] if invented else "",
        statement=sentences[0],
        short=date_words(date.phrase, language, "short"),
        chance=date.chance,
        edtf=date.edtf,
        date=NoteSection(language.texts["headings.date"], explained),
        sections=sections,
        evidence=evidence,
        closing=_closing(estimate, wording),
        opinion=language.texts["opinion"],
        record=_record(estimate, wording, date),
        picture=_picture(estimate, wording, date),
    )


def _sections(estimate: Estimate, wording: Wording) -> tuple[NoteSection, ...]:
    rules: dict[str, Callable[[Estimate, Wording], list[str]]] = {
        "parts": part_sentences,
        "conflict": conflict_sentences,
        "unseen": unseen_sentences,
        "settle": settling_sentences,
    }
    texts = wording.language.texts
    sections = (
        NoteSection(texts[f"headings.{name}"], tuple(rule(estimate, wording)))
        for name, rule in rules.items()
    )
    return tuple(section for section in sections if section.sentences)


def _evidence(estimate: Estimate, wording: Wording) -> Table:
    """Say of each piece what it says alone, and what leaving it out would change."""
    language = wording.language
    columns = ("part", "seen", "alone", "without", "shift")
    head = tuple(language.texts[f"table.{name}"] for name in columns)
    rows = tuple(_row(finding, estimate, wording) for finding in estimate.findings)
    return Table(language.texts["headings.evidence"], head, rows)


def _row(finding: Finding, estimate: Estimate, wording: Wording) -> tuple[str, ...]:
    language, piece = wording.language, finding.piece
    part = piece.component or language.texts["table.instrument"]

    return (
        name_words(part, language),
        f"{name_words(piece.name, language)}: {piece_words(piece, estimate, language)}",
        evidence_set_words(finding.alone, estimate.period, language),
        evidence_set_words(finding.without, estimate.period, language),
        _shift(finding.shift, language),
    )


def _shift(months: int, language: Language) -> str:
    if months == 0:
        return language.texts["shift.none"]
    way = "later" if months > 0 else "earlier"
    if abs(months) == 1:
        return language.texts[f"shift.one_{way}"]
    return language.say(f"shift.{way}", months=abs(months))


def _closing(estimate: Estimate, wording: Wording) -> tuple[NoteSection, ...]:
    language = wording.language
    texts = language.texts
    method = [language.say("method", level=language.percent(wording.level))]
    if estimate.learned is not None:
        method.append(texts["method_learned"])
    if estimate.correction is not None:
        method.append(texts["method_corrected"])
    limits = [texts["limits"]]
    worst = float(estimate.errors.max())
    if worst > TOLERATED_ERROR and not isinf(worst):
        limits.append(language.say("limits_draws", error=language.number(worst, 3)))
    cautions = [_caution(caution, language) for caution in _cautions(estimate, language)]
    contents = {"method": method, "limits": limits, "cautions": cautions}
    return tuple(
        NoteSection(texts[f"headings.{name}"], tuple(lines))
        for name, lines in contents.items()
        if lines
    )


def _cautions(estimate: Estimate, language: Language) -> Iterator[Caution]:
    """Give the cautions for what is there, and for the looks that the note speaks of."""
    cautions = cautions_for(estimate.maker, estimate.examination)
    yield from cautions
    known = {caution.key for caution in cautions}
    for look in telling_looks(estimate):
        component, how = estimate.maker.looks()[look.name]
        for hazard in estimate.maker.hazards_of(how, component):
            if hazard not in known:
                known.add(hazard)
                yield Caution(hazard, CAUTIONS[hazard], (name_words(look.name, language),))


def _caution(caution: Caution, language: Language) -> str:
    """Write a caution as a sentence, with what it rests on."""
    words = language.texts[f"cautions.{caution.key}"]
    return f"{words[0].upper()}{words[1:]} ({language.texts['join.comma'].join(caution.because)})."


def _record(estimate: Estimate, wording: Wording, date: DateWording) -> Table:
    """List what the note rests on, from which it can be made again."""
    language, maker, examination = wording.language, estimate.maker, estimate.examination
    learned = estimate.learned
    rows = {
        "instrument": examination.instrument,
        "maker": maker.maker,
        "product": maker.product,
        "class": maker.hornbostel_sachs or "",
        "examined": language.day(examination.examined) if examination.examined else "",
        "by": examination.by,
        "notes": examiner_notes(examination, language),
        "edtf": date.edtf,
        "shortest": estimate.edtf(wording.level),
        "level": language.percent(wording.level),
        "scale": PROBABILITY_SCALE,
        "maker_file": _file(maker.origin.file, maker.origin.fingerprint),
        "examination": _file(examination.origin.file, examination.origin.fingerprint),
        "corpus": f"SHA-256 {learned.corpus_fingerprint[:_FINGERPRINT]}" if learned else "",
        "seed": str(estimate.tables.seed),
        "versions": f"instrument-dating {own_version()}, Python {platform.python_version()}",
    }
    named = tuple((language.texts[f"record.{key}"], text) for key, text in rows.items() if text)
    return Table(language.texts["headings.record"], ("", ""), named)


def _file(name: str, fingerprint: str) -> str:
    """Name a file without its folders, with the start of its fingerprint."""
    bare = name.replace("\\", "/").rsplit("/", 1)[-1]
    return f"{bare}, SHA-256 {fingerprint[:_FINGERPRINT]}" if fingerprint else bare


def _picture(estimate: Estimate, wording: Wording, date: DateWording) -> str:
    language = wording.language
    return language.say(
        "picture",
        instrument=estimate.examination.instrument,
        mode=language.month(estimate.mode),
        date=date_words(date.phrase, language, "short"),
        chance=language.percent(date.chance),
    )
