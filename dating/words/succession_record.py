"""Several instruments side by side as a record of plain data."""

from __future__ import annotations

from typing import Any

import numpy as np

from dating.months import month_label
from dating.reading import Source
from dating.records.comparison import SCHEMA
from dating.succession.comparison import Comparison, Effect, Neighbours
from dating.succession.differences import Difference
from dating.succession.further_looks import FurtherLook
from dating.succession.relations import relation_words
from dating.words.phrases import OPINION
from dating.words.record import as_probability, set_record, versions
from dating.words.soundness import is_bare_draft, soundness_record
from dating.words.succession_rows import DifferenceLine, difference_lines, seen_on


def comparison_record(comparison: Comparison) -> dict[str, Any]:
    """Turn a comparison into plain data, ready for JSON.

    Examples
    --------
    >>> from dating import compare, read_examination, read_maker
    >>> maker = read_maker("priors/marrowby.yaml")
    >>> pair = [read_examination(f"demo_data/examinations/M-00{n}.yaml") for n in (3, 1)]
    >>> [each["instrument"] for each in comparison_record(compare(maker, pair))["row"]]
    ['M-003', 'M-001']
    """
    maker, period = comparison.maker, comparison.period
    return {
        "schema": SCHEMA,
        "maker": maker.maker,
        "product": maker.product,
        "invented": maker.invented or any(each.invented for each in comparison.examinations),
        "opinion": OPINION,
        "draft": is_bare_draft(maker, comparison.learned),
        "learned_draws": soundness_record(comparison.learned),
        "level": comparison.level,
        "period": [month_label(period.first), month_label(period.last)],
        "row": [_in_row(comparison, place) for place in range(len(comparison.row))],
        "trust": _trust(comparison),
        "pairs": _pairs(comparison),
        "neighbours": [_neighbours(comparison, pair) for pair in comparison.neighbours],
        "looked_at": [
            _looked(comparison, row, line)
            for row, line in zip(comparison.differences, difference_lines(comparison), strict=True)
        ],
        "known": [_statement(effect) for effect in comparison.effects],
        "look_next": [_look(comparison, look) for look in comparison.looks],
        "provenance": _provenance(comparison),
    }


def _in_row(comparison: Comparison, place: int) -> dict[str, Any]:
    name = comparison.row[place]
    ranks = comparison.rank.sel(instrument=name).values
    return {
        "instrument": name,
        "place": place + 1,
        "built": set_record(comparison.highest_density(name)),
        "median": month_label(comparison.median(name)),
        "places": list(comparison.rank_ranges[name]),
        "by_place": [as_probability(chance) for chance in ranks.tolist()],
        "by_month": [as_probability(chance) for chance in comparison.months_of(name).tolist()],
    }


def _trust(comparison: Comparison) -> dict[str, Any]:
    arrangement = comparison.arrangement
    return {
        "pairs": arrangement.pairs,
        "wrong_pairs": arrangement.wrong_pairs,
        "right": as_probability(arrangement.whole),
        "ties": [list(tie) for tie in comparison.ties],
        "doubt": comparison.doubt,
    }


def _pairs(comparison: Comparison) -> list[dict[str, Any]]:
    """List every pair, the one that stands before the other first."""
    places = np.array(comparison.arrangement.places)
    first, second = (places[side] for side in np.triu_indices(len(places), 1))
    pairs, names = comparison.pairs, comparison.names
    older, same = pairs.older[first, second], pairs.same[first, second]
    columns = (first, second, older, same, np.maximum(1 - older - same, 0.0))
    errors = pairs.error[first, second].tolist()
    return [
        {
            "first": names[a],
            "second": names[b],
            "older": as_probability(before),
            "same_month": as_probability(within),
            "younger": as_probability(after),
            "standard_error": error,
        }
        for a, b, before, within, after, error in zip(
            *(column.tolist() for column in columns), errors, strict=True
        )
    ]


def _neighbours(comparison: Comparison, pair: Neighbours) -> dict[str, Any]:
    return {
        "first": pair.first,
        "second": pair.second,
        "reasons": [
            {
                "name": reason.name,
                "bits": reason.bits,
                "first": seen_on(comparison, pair.first, reason.name) or None,
                "second": seen_on(comparison, pair.second, reason.name) or None,
            }
            for reason in pair.reasons
        ],
    }


def _looked(comparison: Comparison, row: Difference, line: DifferenceLine) -> dict[str, Any]:
    return {
        "name": row.name,
        "component": row.component,
        "differs": line.differs,
        "seen": dict(zip(comparison.row, (cell or None for cell in line.cells), strict=True)),
    }


def _statement(effect: Effect) -> dict[str, Any]:
    relation = effect.relation
    return {
        "kind": relation.kind,
        "instruments": list(relation.content.instruments),
        "says": relation_words(relation),
        "source": relation.source,
        "trust": relation.trust,
        "before": as_probability(effect.before),
        "after": as_probability(effect.after),
        "clashes": effect.clashes,
        "moved": effect.moved,
    }


def _look(comparison: Comparison, look: FurtherLook) -> dict[str, Any]:
    return {
        "instrument": look.instrument,
        "name": look.name,
        "component": look.component,
        "ask": look.ask,
        "how": look.how,
        "operation": look.operation,
        "invasive": look.invasive,
        "caution": look.caution,
        "gain": look.bits,
        "share": as_probability(look.bits / comparison.doubt) if comparison.doubt else 0.0,
    }


def _provenance(comparison: Comparison) -> dict[str, Any]:
    joint, learned, group = comparison.joint, comparison.learned, comparison.group
    return {
        "maker_file": _file(comparison.maker.origin),
        "examinations": {each.instrument: _file(each.origin) for each in comparison.examinations},
        "group_file": _file(group.origin) if group is not None else None,
        "learned_from": learned.corpus_fingerprint if learned is not None else None,
        "seed": comparison.seed,
        "draws": len(joint.weights),
        "effective_draws": joint.effective,
        "share": as_probability(joint.share),
        "versions": versions(),
    }


def _file(origin: Source) -> dict[str, str]:
    return {"file": origin.file, "sha256": origin.fingerprint}
