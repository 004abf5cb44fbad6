"""Whether what stands behind a date is sound: sentences used wherever the date appears."""

from __future__ import annotations

from typing import Any

from dating.learning.edits import edits_words
from dating.learning.learned import Learned
from dating.maker import Maker

DRAFT = (
    "Not to be relied on: the maker file is a draft made from a table, and nothing has been "
    "learned from it yet. The date shows only how the dates in that table are spread."
)


def on_grounds(maker: Maker, learned: Learned | None) -> list[str]:
    """Say what must be known first of a date that rests on a maker file and what was learned."""
    return [*([DRAFT] if is_bare_draft(maker, learned) else []), *on_soundness(learned)]


def is_bare_draft(maker: Maker, learned: Learned | None) -> bool:
    """Say whether a maker file is a draft from which nothing was learned."""
    return maker.draft and learned is None


def on_soundness(learned: Learned | None) -> list[str]:
    """Say what must be known first of what was learned.

    Examples
    --------
    >>> on_soundness(None)
    []
    """
    if learned is None:
        return []
    unsound = [unsound_words(learned.unsound)] if learned.unsound else []
    return [*([edits_words(learned.edits)] if learned.edits else []), *unsound]


def unsound_words(fault: str) -> str:
    """Give the sentence.

    Parameters
    ----------
    fault : str
        What is wrong with the draws.

    Returns
    -------
    str
        The sentence.

    Examples
    --------
    >>> unsound_words("3 divergent transitions")
    'Not to be relied on: what was learned from dated instruments rests on draws that are not \
sound (3 divergent transitions).'
    """
    return (
        "Not to be relied on: what was learned from dated instruments rests on draws that are not "
        f"sound ({fault})."
    )


def soundness_record(learned: Learned | None) -> dict[str, Any] | None:
    """Turn the diagnostics of the draws into plain data."""
    if learned is None or learned.health is None:
        return None
    return {
        "sound": not learned.unsound,
        "divergences": learned.health.divergences,
        "sentence": unsound_words(learned.unsound) if learned.unsound else "",
        "maker_file_changed": edits_words(learned.edits) if learned.edits else "",
    }
