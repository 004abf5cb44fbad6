"""An examination as the plain data of its file: the usual order, and the shortest form."""

from __future__ import annotations

import re
from typing import Any

from dating.examination import Belonging, Examination, Paper, Reading, Sight

_YEAR = re.compile(r"[1-9][0-9]{3}")


def plain_data(examination: Examination, *, short: bool = True) -> dict[str, Any]:
    """Write an examination as the plain data of its file, in the usual order.

    An answer that is a state or value alone is no mapping, unless a short form is unwanted.

    Examples
    --------
    >>> given = Examination(instrument="M-1", maker="marrowby", seen={"ring": "inlaid"})
    >>> plain_data(given)
    {'instrument': 'M-1', 'maker': 'marrowby', 'seen': {'ring': 'inlaid'}}
    """
    whole = {
        "instrument": examination.instrument,
        "maker": examination.maker,
        "invented": examination.invented,
        "examined": examination.examined.isoformat() if examination.examined else "",
        "by": examination.by,
        "owner": examination.owner,
        "note": examination.note,
        "variant": _sight_data(examination.variant, short),
        "seen": {name: _sight_data(sight, short) for name, sight in examination.seen.items()},
        "marks": dict(examination.marks),
        "measured": {name: _reading_data(r, short) for name, r in examination.measured.items()},
        "parts": {name: _part_data(known) for name, known in examination.parts.items()},
        "documents": [_paper_data(paper) for paper in examination.documents],
    }
    for group in ("seen", "marks", "measured"):
        whole[group] = {name: value for name, value in whole[group].items() if value is not None}
    required = ("instrument", "maker")
    return {key: value for key, value in whole.items() if value or key in required}


def _part_data(known: Belonging) -> dict[str, Any]:
    data: dict[str, Any] = {"original": known.original}
    data |= {"sure": _number(known.sure)} if known.sure != 1 else {}
    return data | ({"note": known.note} if known.note else {})


def _paper_data(paper: Paper) -> dict[str, Any]:
    data: dict[str, Any] = {"what": paper.what}
    for key in ("not_before", "not_after"):
        if (bound := getattr(paper, key)) is not None:
            data[key] = int(bound.text) if _YEAR.fullmatch(bound.text) else bound.text
    data |= {"trust": _number(paper.trust)} if "trust" in paper.model_fields_set else {}
    return data | {key: text for key in ("source", "note") if (text := getattr(paper, key))}


def _sight_data(sight: Sight | None, short: bool) -> Any:
    if sight is None:
        return None
    entries = {
        "state": sight.state,
        "sure": sight.sure,
        "one_of": list(sight.one_of) if sight.one_of is not None else None,
        "not": list(sight.excluded) if sight.excluded is not None else None,
        "other": sight.other,
        "known": sight.known,
        "note": sight.note or None,
    }
    data = {key: value for key, value in entries.items() if value is not None}
    return data["state"] if short and list(data) == ["state"] else data


def _reading_data(reading: Reading | None, short: bool) -> Any:
    if reading is None:
        return None
    data: dict[str, Any] = {"value": _number(reading.value)}
    data |= {"within": _number(reading.within)} if reading.within else {}
    data |= {"confirmed": True} if reading.confirmed else {}
    data |= {"note": reading.note} if reading.note else {}
    return data["value"] if short and list(data) == ["value"] else data


def _number(value: float) -> float | int:
    return int(value) if value == int(value) and abs(value) < 1e15 else value
