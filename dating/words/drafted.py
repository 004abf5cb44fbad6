"""What was drafted from a table, and what to do next, as plain text."""

from __future__ import annotations

import textwrap

from dating.escapes import escaped
from dating.learning.corpus import Corpus
from dating.standard_input import StandardInput
from dating.words.plain import WIDTH

MANY = 0.25
"""States by instrument above which a feature is said to be cut too fine."""


def after_drafting(corpus: Corpus, width: int = WIDTH) -> str:
    """Say what was drafted, which features are cut too fine, and what to do next.

    Parameters
    ----------
    corpus : Corpus
        The table, read against the maker file that was drafted from it.
    width : int
        Columns.

    Returns
    -------
    str
        Lines of at most so many columns, but for the commands.
    """
    maker, count = corpus.maker, len(corpus.references)
    features = maker.features()
    lines = [
        f"{maker.origin.file}: drafted from {_counted(corpus)}, for {maker.period}, "
        f"with {len(features)} free-form features."
    ]
    fine = [name for name, (_, feature) in features.items() if len(feature.states) > MANY * count]
    if fine:
        lines.append(
            f"More than one state for every four instruments: {', '.join(fine)}. Cut their values "
            "into classes and draft again, or state dates as marks and numbers as measurements."
        )
    lines.append("Next:")
    text = "\n".join(
        textwrap.fill(escaped(line), width, break_long_words=False, break_on_hyphens=False)
        for line in lines
    )
    table = "CORPUS.csv" if corpus.file == str(StandardInput()) else corpus.file
    learn = f"dating learn {maker.origin.file} {table} --out LEARNED.nc"
    return f"{text}\n  dating check {maker.origin.file}\n  {learn}"


def _counted(corpus: Corpus) -> str:
    """Count the dated instruments, and the undated ones where there are any."""
    undated = f" and {corpus.undated} undated ones" if corpus.undated else ""
    return f"{len(corpus.references) - corpus.undated} dated instruments{undated}"
