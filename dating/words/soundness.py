"""Whether the draws behind a date are sound: one sentence, used wherever the date appears."""

from __future__ import annotations

from typing import Any

from dating.learning.learned import Learned


def on_soundness(learned: Learned | None) -> list[str]:
    """Say that what was learned was kept although its draws are not sound.

    Parameters
    ----------
    learned : Learned or None
        What was learned, if anything was.

    Returns
    -------
    list of str
        One sentence; none where the draws are sound, or nothing was learned.

    Examples
    --------
    >>> on_soundness(None)
    []
    """
    if learned is None or not learned.unsound:
        return []
    return [unsound_words(learned.unsound)]


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
    """Turn the diagnostics of the draws into plain data.

    Parameters
    ----------
    learned : Learned or None
        What was learned, if anything was.

    Returns
    -------
    dict or None
        Whether the draws are sound, and the sentence where they are not.
    """
    if learned is None or learned.health is None:
        return None
    said = on_soundness(learned)
    return {
        "sound": not said,
        "divergences": learned.health.divergences,
        "sentence": said[0] if said else "",
    }
