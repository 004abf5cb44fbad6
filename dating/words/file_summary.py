"""What was understood of any of the files that people write, as plain text."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable, Iterator, Sequence

from dating.cells import cells_of
from dating.claims.files import Manuscript, manuscript_of, read_claims
from dating.distributions import Metalog
from dating.examination import ABSENT, Examination
from dating.files import (
    check_against,
    find_maker,
    maker_named,
    read_examination,
    read_maker,
)
from dating.kinds import kind_of
from dating.learning.corpus import UNDATED, Corpus, Reference, read_corpus
from dating.learning.files import SET_ASIDE, attributes_of, read_draws, set_aside_words
from dating.likelihoods import code_readings
from dating.maker import Component, Course, Feature, Maker, Measurement, Regime
from dating.months import month_label, month_words
from dating.reading import InputError, KeyPath, Problem, key_text
from dating.sheets import is_sheet, read_sheet
from dating.statements import Judged, Opinion
from dating.succession.files import group_of, read_group
from dating.succession.relations import Group, relation_words
from dating.words.claim_clauses import together
from dating.words.levels import on_correction, on_latent
from dating.words.phrases import percent
from dating.words.plain import WIDTH, hanging
from dating.words.soundness import on_soundness

type File = str | os.PathLike[str]

_HOW_KNOWN = ("to the month", "to several months", "with an open end")
_NUMBER_KEYS = {"earliest", "likely", "latest"}
_NO_SOURCE_WANTED = {"weight", "coverage", "sources", "invented", "period"}


def summary_title(file: str, kind: str) -> str:
    """Name a file that has been read, and say that nothing in it is at fault."""
    return f"{kind} {file}: no mistakes found"


def understood(file: str | os.PathLike[str], width: int = WIDTH) -> str:
    """Read a file, check it, and say what was understood.

    Raises InputError when there is anything wrong with it.

    Examples
    --------
    >>> understood("demo_data/examinations/M-001.yaml").splitlines()[0]
    'Examination demo_data/examinations/M-001.yaml: no mistakes found'
    """
    kind = kind_of(file)
    if kind not in _READERS:
        message = "this kind of file cannot be used here"
        raise InputError([Problem(os.fspath(file), None, "", message, found=kind)])
    name, reader = _READERS[kind]
    lines = [*reader(file)]
    return hanging([summary_title(os.fspath(file), name), *form_lines(file), *lines], width)


def form_lines(file: File) -> list[str]:
    """Say in which form a sheet was read, where it is not CSV in UTF-8."""
    form = read_sheet(file).form if is_sheet(file) else ""
    return [f"  read as: {form}"] if form else []


def _claims_file(file: File) -> Iterator[str]:
    claims = read_claims(file)
    yield from _claims(manuscript_of(claims, read_maker(maker_named(claims.maker, claims.origin))))


def _group_file(file: File) -> Iterator[str]:
    group = read_group(file)
    maker = read_maker(maker_named(group.maker, group.origin))
    yield from _group(group, tuple(group_of(group, maker)), maker)


def _examination_file(file: File) -> Iterator[str]:
    examination = read_examination(file)
    maker = read_maker(find_maker(examination))
    check_against(examination, maker)
    yield from _examination(examination, maker)


def _claims(manuscript: Manuscript) -> Iterator[str]:
    maker, claims = manuscript.maker, manuscript.claims.claims
    yield f"{len(claims)} claims about {maker.maker}."
    for claim in claims:
        place = f" ({claim.place})" if claim.place else ""
        yield f"  {claim.claim}{place}: {together(claim.sayings())}."


def _group(group: Group, names: Sequence[str], maker: Maker) -> Iterator[str]:
    invented = " (invented)" if group.invented else ""
    called = f"{group.group}, " if group.group else ""
    yield f"  {called}checked against {maker.origin.file}{invented}"
    yield (
        f"  examined: {', '.join(names)}"
        if names
        else ("  no examinations are listed, so the names of instruments were held against none")
    )
    for relation in group.known:
        yield f"  {relation_words(relation)} ({relation.source}, trust {relation.trust:g})"


def _maker(maker: Maker) -> Iterator[str]:
    invented = " (invented)" if maker.invented else ""
    yield f"  {maker.maker}, {maker.product}{invented}"
    period = maker.period
    ends = f"{month_words(period.first)} to {month_words(period.last)}"
    yield f"  period {ends}, {len(period)} months"
    for output in maker.output:
        yield f"  made {output.during}: {_judged(output.made)}"
    for name, event in maker.events.items():
        yield f"  event {name}: {event.what}; {_judged(event.when)}"
    if maker.variants is not None:
        yield f"  variants: {_course(maker.variants)}"
    for name, component in maker.components.items():
        yield from _component(name, component)
    yield from _unsourced(maker)
    if maker.learns_output:
        yield "  output: left to be learned; until then every month counts as equally productive"
    elif not maker.output:
        yield "  no output is stated: every month of the period counts as equally productive"


def _component(name: str, component: Component) -> Iterator[str]:
    yield f"  {name}, swapped {percent(component.swapped.value)}"
    for feature, stated in component.features.items():
        yield f"    {feature}: {_feature(stated)}"
        for variant, courses in component.by_variant.items():
            if feature in courses:
                yield f"      for {variant}: {_course(courses[feature])}"
    for mark, form in component.marks.items():
        kind = "source-date code" if form.format == "source-date" else "date"
        yield f"    {mark}: {kind}, built {_judged(form.lag)} months after it"
    for measure, number in component.measurements.items():
        yield f"    {measure}: {_measurement(number)}"


def _feature(feature: Feature) -> str:
    parts = []
    if feature.history is not None or feature.shares_at is not None:
        parts.append(_course(feature))
    if feature.free_form:
        parts.append(f"shares of {', '.join(feature.states)} to be learned from a corpus")
    parts += [f"for {name}: {_course(course)}" for name, course in feature.by_variant.items()]
    text = "; ".join(parts)
    if feature.slip.value:
        text += f"; slip {percent(feature.slip.value)}"
    if feature.replaced.value:
        text += f"; replaced {percent(feature.replaced.value)}"
    return text


def _measurement(number: Measurement) -> str:
    anchors = sorted(number.mean.items())
    means = ", ".join(f"{value:g} in {_point(anchor)}" for anchor, value in anchors)
    return f"{means} {number.unit}, spread {number.spread:g}"


def _course(course: Course) -> str:
    if course.shares_at is not None:
        rows = sorted(course.shares_at.items())
        return "; ".join(f"{_point(anchor)}: {_shares(shares)}" for anchor, shares in rows)
    first, *later = course.history or ()
    return "; then ".join([_states(first), *(_changeover(regime) for regime in later)])


def _changeover(regime: Regime) -> str:
    text = _states(regime)
    if regime.first_use is not None:
        text += f" from {_judged(regime.first_use)}"
    elif regime.event is not None:
        lag = f" after a lag of {_judged(regime.lag)} months" if regime.lag is not None else ""
        text += f" with {regime.event}{lag}"
    if regime.overlap is not None:
        text += f", overlap {_judged(regime.overlap)} months"
    return text if regime.shape == "linear" else f"{text}, logistic"


def _states(regime: Regime) -> str:
    if regime.by_variant is not None:
        each = (f"{name}: {_shares(shares)}" for name, shares in regime.by_variant.items())
        return "by variant (" + "; ".join(each) + ")"
    return regime.state or _shares(regime.shares or {})


def _shares(shares: dict[str, float]) -> str:
    return ", ".join(f"{name} {percent(share)}" for name, share in shares.items())


def _judged[O: Opinion](judged: Judged[O]) -> str:
    texts = []
    for opinion in judged.opinions:
        low, likely, high = opinion.triple()
        write = _point if opinion.kind == "point" and opinion.keys[0] == "earliest" else _number
        known = low == likely == high
        text = write(low) if known else f"{write(low)} | {write(likely)} | {write(high)}"
        if _in_halves(opinion):
            text += f" (half the belief on either side of {write(likely)}, in two pieces)"
        several = len(judged.opinions) > 1 and opinion.by
        texts.append(f"{text} ({opinion.by})" if several else text)
    return " and ".join(texts)


def _in_halves(opinion: Opinion) -> bool:
    """Say whether no smooth distribution runs through an opinion, so that it is in two halves."""
    judged = opinion.distribution()
    return isinstance(judged, Metalog) and judged.halves


def _point(value: float) -> str:
    return month_label(int(value))


def _number(value: float) -> str:
    return f"{value:g}"


def _unsourced(maker: Maker) -> Iterator[str]:
    """Count the numbers with no source at or above them, by the thing they belong to."""
    bare = Counter(_thing(path) for path in _bare(maker.origin.data, (), False))
    if bare:
        counted = ", ".join(f"{name} ({count})" for name, count in bare.items())
        yield f"  numbers without a source: {counted}"


def _thing(path: KeyPath) -> str:
    """Name the feature, mark, component or event that a number belongs to."""
    if path[0] != "components":
        return key_text(path[:2])
    return str(path[3]) if len(path) > 4 else str(path[1])


def _bare(data: object, path: KeyPath, sourced: bool) -> Iterator[KeyPath]:
    if isinstance(data, dict):
        sourced = sourced or "source" in data
        for key, value in data.items():
            if key in _NO_SOURCE_WANTED:
                continue
            plain = isinstance(value, int | float) and not isinstance(value, bool)
            if (plain or key in _NUMBER_KEYS) and not sourced:
                yield (*path, key)
            yield from _bare(value, (*path, key), sourced)
    elif isinstance(data, list):
        for position, value in enumerate(data):
            yield from _bare(value, (*path, position), sourced)


def _examination(examination: Examination, maker: Maker) -> Iterator[str]:
    invented = " (invented)" if examination.invented else ""
    yield f"  {examination.instrument}, checked against {maker.origin.file}{invented}"
    for name, sight in examination.seen.items():
        if sight is not None:
            yield f"  {name}: {sight.words()}"
    for name, text in examination.marks.items():
        if text is not None:
            yield f"  {name}: {_mark(name, text, examination, maker)}"
    for name, reading in examination.measured.items():
        if reading is not None:
            unit = maker.measurements()[name][1].unit
            within = f" within {reading.within:g}" if reading.within else ""
            yield f"  {name}: {reading.value:g}{within} {unit}"
    if examination.variant is not None:
        yield f"  variant: {examination.variant.words()}"
    for name, known in examination.parts.items():
        words = "original" if known.original else "not original"
        yield f"  {name}: {words}" + ("" if known.sure == 1 else f" (sure {known.sure:g})")
    for paper in examination.documents:
        yield f"  document: {paper.what}, {paper.words()}"
    missing = [name for name in maker.features() if examination.seen.get(name) is None]
    yield f"  not examined: {', '.join(missing) or 'nothing'}"


def _mark(name: str, text: str, examination: Examination, maker: Maker) -> str:
    mark = maker.marks()[name][1]
    if mark.format == "source-date" and text != ABSENT:
        codes = code_readings(text, mark, maker.period, examination.day)
        return f"{text}, " + " or ".join(
            f"source {code.source} week {code.week} of {code.year}" for code in codes
        )
    return text


def recorded(examinations: Sequence[Examination], maker: Maker) -> Iterator[str]:
    """Say how often each thing was recorded."""
    counts = Counter(name for examination in examinations for name in cells_of(examination))
    for what, names in {
        "variant": ["variant"] if maker.variants else [],
        "features": list(maker.features()),
        "marks": list(maker.marks()),
        "measurements": list(maker.measurements()),
    }.items():
        counted = ", ".join(f"{name} {counts[name]}" for name in names if counts[name])
        if counted:
            yield f"  {what} recorded: {counted}"
    never = [name for name in maker.features() if not counts[name]]
    yield f"  never examined: {', '.join(never) or 'no feature'}"


def _corpus(corpus: Corpus) -> Iterator[str]:
    maker, references = corpus.maker, corpus.references
    invented = " (invented)" if maker.invented else ""
    yield f"  {len(references)} instruments, checked against {maker.origin.file}{invented}"
    kinds = Counter(_how_known(reference) for reference in references)
    kinds_in_order = [*_HOW_KNOWN, *([UNDATED] if corpus.undated else [])]
    yield "  dated " + "; ".join(f"{kind}: {kinds[kind]}" for kind in kinds_in_order)
    yield f"  with a trust below 1: {sum(reference.trust < 1 for reference in references)}"
    yield from recorded([reference.examination for reference in references], maker)


def _how_known(reference: Reference) -> str:
    if not reference.dated:
        return UNDATED
    if reference.open_ended:
        return _HOW_KNOWN[2]
    return _HOW_KNOWN[1] if reference.month is None else _HOW_KNOWN[0]


def _learned_file(file: File) -> Iterator[str]:
    """Say what was learned from what, and hold it against its maker file where that is here."""
    attrs = attributes_of(file)
    yield (
        f"  for {attrs['maker']}, from {attrs['instruments']} instruments of "
        f"{attrs['corpus_file']} "
        f"({str(attrs['corpus_fingerprint'])[:12]}), {attrs['draws']} draws in each chain"
    )
    named = str(attrs["maker_file"])
    beside = os.path.join(os.path.dirname(file), os.path.basename(named))
    maker_file = next((place for place in (named, beside) if os.path.isfile(place)), "")
    if not maker_file:
        yield f"  its maker file {named} is not here, so the two could not be compared"
        return
    if SET_ASIDE in attrs:
        yield "  " + set_aside_words(attrs)
        return
    learned = read_draws(file, read_maker(maker_file))
    since = ", which has changed since" if learned.edits else ""
    yield f"  matches the maker file {maker_file}{since}"
    for sentence in on_soundness(learned):
        yield f"  {sentence}"
    if learned.latent is not None:
        yield f"  {on_latent(learned.latent)}"
    if learned.correction is not None:
        yield f"  {on_correction(learned.correction)}"


_READERS: dict[str, tuple[str, Callable[[File], Iterator[str]]]] = {
    "maker": ("Maker file", lambda file: _maker(read_maker(file))),
    "examination": ("Examination", _examination_file),
    "claims": ("Claims file", _claims_file),
    "group": ("Group file", _group_file),
    "corpus": ("Reference corpus", lambda file: _corpus(read_corpus(file))),
    "learned": ("Learned file", _learned_file),
}
