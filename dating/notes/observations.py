"""What was seen, in the words of a language."""

from __future__ import annotations

from dating.edtf import EdtfError, UncertainDate, parse_edtf
from dating.estimates import Estimate
from dating.evidence import Piece
from dating.examination import ABSENT, Examination, Paper, Reading, Sight
from dating.notes.languages import Language
from dating.statements import plain_name
from dating.words.phrases import mark_dates


def name_words(name: str, language: Language) -> str:
    """Write the name of a feature, mark, measurement, document or the variant.

    Examples
    --------
    >>> from dating.notes.languages import language
    >>> name_words("heel-joint", language("en")), name_words("document 2", language("de"))
    ('heel joint', 'Dokument 2')
    """
    if name == "variant":
        return language.texts["variant_word"]
    if name.startswith("document "):
        return language.say("document_word", number=name.rsplit(maxsplit=1)[-1])
    return plain_name(name)


def piece_words(piece: Piece, estimate: Estimate, language: Language) -> str:
    """Write what was seen of one thing."""
    seen, maker = estimate.examination, estimate.maker
    if piece.kind == "document":
        return _paper(seen.paper(piece.name), language)
    if piece.kind == "mark":
        return mark_words(str(seen.marks[piece.name]), language)
    if piece.kind == "measurement":
        reading = seen.measured[piece.name]
        unit = maker.measurements()[piece.name][1].unit
        return _reading(reading, unit, language) if reading else piece.observation
    sight = seen.variant if piece.kind == "variant" else seen.seen[piece.name]
    if piece.kind == "variant":
        states = maker.variants.states if maker.variants else {}
    else:
        states = maker.features()[piece.name][1].states
    return sight_words(sight, states, language) if sight else piece.observation


def mark_words(text: str, language: Language) -> str:
    """Write the date read from a mark, or several of which it is one; a code as it stands.

    Examples
    --------
    >>> from dating.notes.languages import language
    >>> mark_words("[1928-05-17,1933-05]", language("en"))
    '17 May 1928 or May 1933'
    >>> mark_words("137-6502", language("en")), mark_words("1931~", language("en"))
    ('137-6502', '1931~')
    """
    if text == ABSENT:
        return language.texts["seen.absent"]
    try:
        dates = [parse_edtf(date) for date in mark_dates(text)]
    except EdtfError:
        return text
    if any(date.qualifier for date in dates):
        return text
    return language.listed([_bound(date, language) for date in dates], "or")


def sight_words(sight: Sight, states: dict[str, str], language: Language) -> str:
    """Write what was seen of a feature.

    Examples
    --------
    >>> from dating.notes.languages import language
    >>> sight_words(Sight(state="a", sure=0.8), {"a": "two dowels"}, language("en"))
    'two dowels (sure: 80 %)'
    """
    if sight.other is not None:
        return language.say("seen.unlisted", what=sight.other)
    if sight.excluded is not None:
        names = [states.get(name) or name for name in sight.excluded]
        return language.say("seen.excluded", states=language.listed(names, "or"))
    words = language.listed([states.get(name) or name for name in sight.named()], "or")
    if sight.sure is None:
        return words
    return language.say("seen.sure", state=words, chance=language.percent(sight.sure))


def _reading(reading: Reading, unit: str, language: Language) -> str:
    value = f"{reading.value:g}".replace(".", language.texts["decimal"])
    if not reading.within:
        return language.say("seen.exact", value=value, unit=unit)
    within = f"{reading.within:g}".replace(".", language.texts["decimal"])
    return language.say("seen.within", value=value, unit=unit, within=within)


def _paper(paper: Paper, language: Language) -> str:
    ends = [("not_before", paper.not_before), ("not_after", paper.not_after)]
    bounds = [language.say(f"seen.{key}", date=_bound(end, language)) for key, end in ends if end]
    text = language.texts["join.comma"].join([paper.what, *bounds])
    if not paper.is_doubted:
        return text
    return language.say("seen.trusted", what=text, chance=language.percent(paper.trust))


def _bound(date: UncertainDate, language: Language) -> str:
    """Write the date of a document as finely as it was given."""
    first, last = date.lower, date.upper
    if first is None or last is None:
        return date.text
    if first == last:
        return language.day(first)
    if (first.year, first.month) == (last.year, last.month):
        return language.month(first.year * 12 + first.month - 1)
    return str(first.year) if first.year == last.year else date.text


def examiner_notes(examination: Examination, language: Language) -> str:
    """Write down what the examiner noted, of the whole and of single things.

    Examples
    --------
    >>> from dating.files import read_examination
    >>> from dating.notes.languages import language
    >>> seen = read_examination("demo_data/examinations/M-008.yaml")
    >>> examiner_notes(seen, language("en"))
    'binding: no wear and no glue lines; looks like factory work; label: torn'
    """
    things = {**examination.seen, **examination.measured, **examination.parts}
    if examination.variant is not None:
        things = {"variant": examination.variant, **things}
    noted = [(name, item.note) for name, item in things.items() if item is not None and item.note]
    papers = [f"{paper.what}: {paper.note}" for paper in examination.documents if paper.note]
    named = [f"{name_words(name, language)}: {words}" for name, words in noted]
    return "; ".join(filter(None, [examination.note, *named, *papers]))
