"""A dated instrument as a Linked Art record: JSON-LD for museum systems, Linked Art API 1.0.

What a record says of the date, and what it does not:

- The ``Production`` is dated by the month in which final assembly was completed. The model does not
  know how long the work took.
- Of the ``TimeSpan``, ``begin_of_the_begin`` is the first second of the first month of the set, and
  ``end_of_the_end`` the last second of its last month. Both ends are closed, as in Linked Art's own
  example of an object (``1503-01-01T00:00:00Z`` to ``1506-12-31T23:59:59Z``). The ``Z`` is the
  form that is asked for; no time zone is known.
- ``end_of_the_begin`` and ``begin_of_the_end`` are left out, as the API allows. In CIDOC CRM they
  bound a stretch throughout which the thing is known to have gone on (P81), and the model knows of
  none, not even where the set is a single month.
- The name of the time-span is the set in EDTF. A set of several stretches keeps them all there, and
  a statement says that the bounds span months that are not in the set.
- A component that probably came from another instrument is a ``part`` with a statement. The
  published schema gives an embedded part no production, so its own time-span stands in a record of
  its own (``linked_art_parts``), which names the instrument under ``part_of``.

Identities are addresses made of the base and of names in the files, percent-encoded, so that the
same estimate gives the same record: ``object/INSTRUMENT``, ``object/INSTRUMENT/part/COMPONENT``,
``maker/MAKER`` and ``hornbostel-sachs/NUMBER``.

Linked Art, API 1.0, https://linked.art/api/1.0/endpoint/physical_object/ and
https://linked.art/api/1.0/shared/timespan/.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from dating.estimates import Estimate
from dating.months import Period, month_label
from dating.summaries import MonthSet, highest_density
from dating.words.phrases import OPINION, percent

type Record = dict[str, Any]

BASE = "https://example.org/"
"""An address kept for examples (RFC 2606); a collection gives its own."""
PROBABLY = 0.5
"""Below this probability of being original, a component probably came from elsewhere."""

_DATED = "Production, dated by the completion of final assembly"
_INVENTED = "Invented for demonstration: there is no such maker and no such instrument."


@dataclass(frozen=True)
class Statement:
    """Something said in words about the production.

    Parameters
    ----------
    text : str
        The words.
    language : str
        Code of their language (BCP 47), such as ``en``. One that cromulent's list of languages does
        not have is left out of the record.
    """

    text: str
    language: str = "en"


def linked_art(
    estimate: Estimate,
    *,
    level: float,
    statements: Sequence[Statement] = (),
    identifier: str | None = None,
    base: str = BASE,
) -> Record:
    """Write an estimate as the Linked Art record of the instrument.

    Raises ValueError when the level or the base is none; ImportError when cromulent is not
    installed.

    Examples
    --------
    >>> from dating import estimate, read_examination, read_maker
    >>> maker = read_maker("priors/marrowby.yaml")
    >>> result = estimate(maker, read_examination("demo_data/examinations/M-001.yaml"))
    >>> record = linked_art(result, level=0.9)
    >>> record["id"], record["type"]
    ('https://example.org/object/M-001', 'HumanMadeObject')
    """
    from cromulent import model, vocab  # type: ignore[import-untyped]  # noqa: PLC0415

    months = estimate.highest_density(level)
    top = _instrument(estimate, identifier, base)
    sentences = statements or (_dated(months, "this instrument"), Statement(OPINION))
    for statement in (*sentences, *_warned(estimate)):
        top.referred_to_by = _linguistic_object(statement)
    if number := estimate.maker.hornbostel_sachs:
        top.classified_as = _class(number, base)
    top.produced_by = _production(estimate, months, base)
    for name, chance in _foreign(estimate).items():
        part = model.HumanMadeObject(ident="", label=name)
        part.identified_by = vocab.PrimaryName(ident="", content=name)
        for statement in _moved(name, chance, _own_months(estimate, name, level)):
            part.referred_to_by = _linguistic_object(statement)
        top.part = part
    return _plain(top)


def linked_art_parts(
    estimate: Estimate, *, level: float, identifier: str | None = None, base: str = BASE
) -> tuple[Record, ...]:
    """Write a record of its own for each component that probably came from another instrument.

    Raises ValueError when the level or the base is none; ImportError when cromulent is not
    installed.

    Examples
    --------
    >>> from dating import estimate, read_examination, read_maker
    >>> maker = read_maker("priors/marrowby.yaml")
    >>> result = estimate(maker, read_examination("demo_data/examinations/M-001.yaml"))
    >>> original = result.originality.values()
    >>> len(linked_art_parts(result, level=0.9)) == sum(p < 0.5 for p in original)
    True
    """
    from cromulent import model, vocab  # noqa: PLC0415

    records = []
    for name, chance in _foreign(estimate).items():
        whole = _instrument(estimate, identifier, base)
        label = f"{name} of {whole._label}"
        part = model.HumanMadeObject(f"{whole.id}/part/{quote(name, safe='')}", label=label)
        part.identified_by = vocab.PrimaryName(ident="", content=label)
        part.part_of = model.HumanMadeObject(whole.id, label=whole._label)
        own = _own_months(estimate, name, level)
        sentences = (*_moved(name, chance, own), Statement(OPINION), *_warned(estimate))
        for statement in sentences:
            part.referred_to_by = _linguistic_object(statement)
        part.produced_by = _production(estimate, own, base)
        records.append(_plain(part))
    return tuple(records)


def _instrument(estimate: Estimate, identifier: str | None, base: str) -> Any:
    from cromulent import vocab  # noqa: PLC0415

    if not base.startswith(("http://", "https://")) or not base.endswith("/"):
        raise ValueError(f"a base is an http or https address that ends in a slash; found {base}")
    number = identifier or estimate.examination.instrument
    label = f"{estimate.maker.maker}, {number}"
    top = vocab.MusicalInstrument(f"{base}object/{quote(number, safe='')}", label=label)
    top.identified_by = vocab.PrimaryName(ident="", content=label)
    top.identified_by = vocab.LocalNumber(ident="", content=number)
    return top


def _class(number: str, base: str) -> Any:
    from cromulent import model  # noqa: PLC0415

    address = f"{base}hornbostel-sachs/{quote(number, safe='')}"
    kind = model.Type(address, label=f"Hornbostel-Sachs {number}")
    kind.identified_by = model.Identifier(ident="", content=number)
    return kind


def _production(estimate: Estimate, months: MonthSet, base: str) -> Any:
    from cromulent import model, vocab  # noqa: PLC0415

    first, last = months.stretches[0].first, months.stretches[-1].last
    span = model.TimeSpan(ident="", label=f"{100 * months.level:g} % set")
    span.identified_by = vocab.DisplayName(ident="", content=months.edtf)
    span.begin_of_the_begin = f"{month_label(first)}-01T00:00:00Z"
    span.end_of_the_end = f"{Period(last, last).last_day}T23:59:59Z"
    production = model.Production(ident="", label=_DATED)
    production.timespan = span
    maker = estimate.maker.maker
    address = f"{base}maker/{quote(maker, safe='')}"
    production.carried_out_by = model.Group(address, label=maker)
    if len(months.stretches) > 1:
        gaps = (
            f"The set is not one stretch: {months}. The bounds span the months between as well, "
            "which are not in the set."
        )
        production.referred_to_by = _linguistic_object(Statement(gaps))
    return production


def _linguistic_object(statement: Statement) -> Any:
    """Make a statement about the production, in its language.

    Its types are made anew each time: cromulent writes one that a record already holds without
    its own class, by which readers tell a statement from another text.
    """
    from cromulent import model, vocab  # noqa: PLC0415

    text = model.LinguisticObject(ident="", content=statement.text)
    kind = _named(vocab.instance_types["ProductionStatement"])
    kind.classified_as = _named(vocab.instances["brief text"])
    text.classified_as = kind
    code = statement.language.split("-")[0].lower()
    for known in vocab.instances.values():
        if isinstance(known, model.Language) and getattr(known, "notation", None) == code:
            text.language = _named(known)
            break
    return text


def _named(known: Any) -> Any:
    """Make a term of cromulent's vocabulary anew, with its address and label alone."""
    return known.__class__(known.id, label=known._label)


def _dated(months: MonthSet, what: str) -> Statement:
    return Statement(
        f"Final assembly of {what} was completed in {months} with a probability of "
        f"{percent(months.mass)} (the most probable months, which hold at least "
        f"{100 * months.level:g} %)."
    )


def _moved(component: str, original: float, own: MonthSet) -> tuple[Statement, Statement]:
    """Say that a component came from elsewhere, and when that instrument was built."""
    elsewhere = (
        f"That the {component} came from another instrument of the maker has a probability of "
        f"{percent(1 - original)}."
    )
    return Statement(elsewhere), _dated(own, f"the instrument that the {component} was made for")


def _warned(estimate: Estimate) -> tuple[Statement, ...]:
    invented = estimate.maker.invented or estimate.examination.invented
    return (Statement(_INVENTED),) if invented else ()


def _foreign(estimate: Estimate) -> dict[str, float]:
    chances = estimate.originality
    return {name: chance for name, chance in chances.items() if chance < PROBABLY}


def _own_months(estimate: Estimate, component: str, level: float) -> MonthSet:
    return highest_density(estimate.own_month(component), estimate.period, level)


def _plain(top: Any) -> Record:
    """Take the record out of cromulent, as plain dictionaries and lists."""
    from cromulent.model import factory  # type: ignore[import-untyped]  # noqa: PLC0415

    record: Record = json.loads(json.dumps(factory.toJSON(top)))
    return record
