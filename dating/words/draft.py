"""What was drafted from a table, and what to do next, as plain text."""

from __future__ import annotations

from shlex import quote

from dating.learning.corpus import Corpus
from dating.learning.drafting import MANY
from dating.maker import Maker
from dating.standard_input import StandardInput
from dating.words.omissions import corpus_words
from dating.words.plain import WIDTH, wrapped

_BLANKS = {"?", "-", "--", "n/a", "na", "nil", "none known", "unknown", "not known", "x", "."}
"""What people write in a cell where nothing was examined."""


def after_drafting(corpus: Corpus, width: int = WIDTH) -> str:
    """Say what was drafted, which features are cut too fine, and what to do next."""
    maker, count = corpus.maker, len(corpus.references)
    features = maker.features()
    lines = [
        f"{maker.origin.file}: drafted from {_counted(corpus)}, for {maker.period}, "
        f"with {len(features)} free-form features.",
        _on_margin(maker),
        *corpus_words(corpus),
    ]
    fine = [name for name, (_, feature) in features.items() if len(feature.states) > MANY * count]
    if fine:
        lines.append(
            f"More than one state for every four instruments: {', '.join(fine)}. Group their "
            "values into classes and draft again, or enter dates as marks and numbers as "
            "measurements."
        )
    lines += [*_on_spelling(maker), *_on_blanks(maker)]
    lines.append(
        "Until something is learned, every date from this file says that it rests on a draft. Next:"
    )
    text = "\n".join(wrapped(line, width, whole=True) for line in lines)
    table = "CORPUS.csv" if corpus.file == str(StandardInput()) else corpus.file
    more = " --leave-out-undated" if corpus.left_out else ""
    file, table = quote(maker.origin.file), quote(table)
    learn = f"dating learn {file} {table} --out LEARNED.nc{more}"
    return f"{text}\n  dating check {file}\n  {learn}"


def _counted(corpus: Corpus) -> str:
    """Count the dated instruments, and the undated ones where there are any."""
    undated = f" and {corpus.undated} undated ones" if corpus.undated else ""
    return f"{len(corpus.references) - corpus.undated} dated instruments{undated}"


def _on_margin(maker: Maker) -> str:
    """Say that the period is longer than the dates of the table."""
    first, last = maker.output[0].during, maker.output[-1].during
    return (
        f"The period begins {len(first)} months before the dates in the table and ends {len(last)} "
        "months after them, as other instruments may be earlier or later. One instrument is "
        "assumed made before those dates, and one after."
    )


def _on_spelling(maker: Maker) -> list[str]:
    """Name states that differ in capitals, blanks or hyphens only."""
    alike = []
    for name, (_, feature) in maker.features().items():
        known: dict[str, list[str]] = {}
        for state in feature.states:
            known.setdefault("".join(filter(str.isalnum, state.casefold())), []).append(state)
        alike += [f"{name} {' and '.join(same)}" for same in known.values() if len(same) > 1]
    if not alike:
        return []
    return [
        f"Spelt in more than one way, and so treated as different states: {', '.join(alike)}. Use "
        "one spelling for each and draft again."
    ]


def _on_blanks(maker: Maker) -> list[str]:
    """Name states that look like a word for a cell in which nothing was examined."""
    blank = [
        f"{name} {state}"
        for name, (_, feature) in maker.features().items()
        for state in feature.states
        if state.casefold() in _BLANKS
    ]
    if not blank:
        return []
    return [
        f"Treated as states, probably by mistake: {', '.join(blank)}. Leave a cell blank where "
        "nothing was examined, and draft again."
    ]
