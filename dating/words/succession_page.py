"""Several instruments side by side as one page that needs nothing beside it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dating.succession.comparison import Comparison
from dating.words.page import PagePicture, page_of
from dating.words.phrases import OPINION, percent
from dating.words.soundness import on_grounds
from dating.words.succession import looks_lead, matrix, origin_words, trust_words
from dating.words.succession_rows import (
    UNSEEN,
    alike_words,
    cautions_by_look,
    clash_words,
    difference_lines,
    head_words,
    known_lines,
    look_lines,
    more_reasons,
    moved_words,
    neighbour_words,
    reason_lines,
    row_lines,
    tie_words,
)

_MOST_IN_MATRIX = 15
"""Instruments up to which the chances of pairs stand in a table, not in the picture alone."""
_MOST_LOOKS = 12


def comparison_page(comparison: Comparison, pictures: Mapping[str, PagePicture]) -> str:
    """Write the page.

    Parameters
    ----------
    comparison : Comparison
        What it is about.
    pictures : mapping of str to PagePicture
        The ``row`` and the ``pairs``.
    """
    return page_of("comparison.html.j2", {**comparison_content(comparison), "pictures": pictures})


def comparison_content(comparison: Comparison) -> dict[str, Any]:
    """Give all that a page says of a comparison, by the names that the templates have for it."""
    maker, lines = comparison.maker, difference_lines(comparison)
    looks = look_lines(comparison, _MOST_LOOKS)
    count = len(comparison.names)
    return {
        "about": maker,
        "head": head_words(comparison),
        "grounds": on_grounds(maker, comparison.learned),
        "level": percent(comparison.level),
        "names": comparison.row,
        "row": row_lines(comparison),
        "ties": tie_words(comparison),
        "trust": [*trust_words(comparison)],
        "matrix": [*matrix(comparison)] if count <= _MOST_IN_MATRIX else [],
        "neighbours": [
            (pair, neighbour_words(pair), reason_lines(comparison, pair), more_reasons(pair))
            for pair in comparison.neighbours
        ],
        "differing": [line for line in lines if line.differs],
        "alike": alike_words(comparison, lines),
        "unseen": UNSEEN,
        "known": known_lines(comparison),
        "moved": moved_words(comparison.effects),
        "clashes": [clash_words(effect) for effect in comparison.effects if effect.clashes],
        "looks": looks,
        "looks_lead": looks_lead(comparison),
        "cautions": [(", ".join(names), caution) for caution, names in cautions_by_look(looks)],
        "origin": [*origin_words(comparison)],
        "files": _files(comparison),
        "opinion": OPINION,
    }


def _files(comparison: Comparison) -> list[tuple[str, str, str]]:
    """Name every file that it rests on, with its checksum."""
    read = [("maker file", comparison.maker.origin)]
    if comparison.group is not None:
        read.append(("group file", comparison.group.origin))
    read += [(each.instrument, each.origin) for each in comparison.examinations]
    files = {(origin.file, origin.fingerprint) for _, origin in read}
    if len(files) < len(read):  # a table holds many instruments
        rest = read[: len(read) - len(comparison.examinations)]
        read = [*rest, ("table", comparison.examinations[0].origin)]
    return [(name, origin.file, origin.fingerprint) for name, origin in read]
