"""A maker file whose judgements are what was learned, written into the text of the one before.

What was not learned stays as it is written: names, questions, looks, hazards, notes, output. What
a maker file cannot hold is how the learned numbers go together.
"""

from __future__ import annotations

import datetime as dt
import os
import textwrap
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from dating.escapes import escaped
from dating.learning.division import divide_courses
from dating.learning.layout import layout_of
from dating.learning.learned import Learned
from dating.learning.statement import Statements
from dating.maker import Maker
from dating.reading import InputError, KeyPath, Problem
from dating.splicing import Written, fold_lines, read_in, splice_all
from dating.yaml_text import aliases_in

_SOURCE = "corpus"
_WIDTH = 100


@dataclass(frozen=True)
class Basis:
    """What the learned numbers rest on.

    Parameters
    ----------
    corpus_file, corpus_fingerprint : str
        The corpus, as the user named it, and its SHA-256 in hexadecimal.
    instruments : int
        How many instruments it holds.
    day : date
        When the judgements are written.
    """

    corpus_file: str
    corpus_fingerprint: str
    instruments: int
    day: dt.date

    @property
    def corpus(self) -> str:
        """Name of the corpus without its folder."""
        return _base(self.corpus_file)


@dataclass(frozen=True, eq=False)
class Restatement:
    """A maker file that states what was learned.

    Parameters
    ----------
    text : str
        What the file says.
    maker : Maker
        The same, read.
    gaps : dict of str to float
        Largest difference between the learned distribution function and that of the judgement, by
        number; that of the first use where a lag is stated.
    losses : tuple of str
        Sentences about what was learned and cannot be stated so.
    """

    text: str
    maker: Maker
    gaps: dict[str, float]
    losses: tuple[str, ...]

    @property
    def widest(self) -> tuple[str, float]:
        """The number with the largest difference, and that; no name where nothing was learned."""
        return max(self.gaps.items(), key=lambda pair: pair[1], default=("", 0.0))


def restate(maker: Maker, text: str, learned: Learned, ground: Basis) -> Restatement:
    """Write what was learned into the text of the maker file that it was learned with.

    Raises InputError when the text shares values by anchors, or a judgement holds a comment that
    would be lost.
    """
    file = maker.origin.file
    _check_anchors(text, file)
    divided = divide_courses(maker, text)
    apart = read_in(divided, file)
    source = _free_name(apart)
    if apart.draft and _is_plain(learned):
        divided = splice_all(divided, {("draft",): False}, file)
    statements = Statements(apart, layout_of(apart), learned, source)
    new_text = splice_all(divided, statements.changes, file)
    new_text = splice_all(new_text, dict([_listed(apart, source, maker, ground)]), file)
    losses = tuple(_losses(maker, learned))
    widest = max(statements.gaps.items(), key=lambda pair: pair[1], default=("", 0.0))
    head = list(_head(maker, learned, ground, widest, losses))
    new_text = _headed(fold_lines(new_text, text.splitlines()), head)
    return Restatement(new_text, read_in(new_text, file), statements.gaps, losses)


def _check_anchors(text: str, file: str) -> None:
    """Refuse a text in which one value stands in several places."""
    message = "a value is shared by an anchor, so that it cannot be rewritten alone"
    allowed = "the value itself, written out"
    problems = [
        Problem(file, line, "", message, f"*{anchor}", allowed) for line, anchor in aliases_in(text)
    ]
    if problems:
        raise InputError(problems)


def _free_name(maker: Maker) -> str:
    """Find a name for the corpus that no source has yet."""
    names = [_SOURCE, *(f"{_SOURCE}-{count}" for count in range(2, len(maker.sources) + 3))]
    return next(name for name in names if name not in maker.sources)


def _listed(apart: Maker, source: str, maker: Maker, ground: Basis) -> tuple[KeyPath, Written]:
    """List the corpus among the sources."""
    entry: Written = {
        "title": f"Reference corpus {ground.corpus}",
        "kind": "learned",
        "where": f"fingerprint {ground.corpus_fingerprint[:12]}",
        "note": (
            f"{ground.instruments} dated instruments; learned on {ground.day} from the judgements "
            f"of {_base(maker.origin.file)}, fingerprint {maker.origin.fingerprint[:12]}"
        ),
    }
    return (("sources",), {source: entry}) if apart.sources else ((), {"sources": {source: entry}})


def _losses(maker: Maker, learned: Learned) -> Iterator[str]:
    """Say what was learned and cannot be stated in a maker file."""
    free_form = [name for name, (_, feature) in maker.features().items() if feature.free_form]
    if free_form and not _is_plain(learned):
        verb = "says" if len(free_form) == 1 else "say"
        yield (
            "The shares over time of free-form features, and the latent variants behind them, "
            f"cannot be stated in a maker file: {', '.join(free_form)} {verb} nothing without the "
            "learned file."
        )
    elif free_form:
        yield (
            "The shares over time of free-form features are stated by year, slips and replacements "
            "in them; how far they may be off is not."
        )
    if learned.correction is not None:
        yield "The correction of levels cannot be stated in a maker file."


def _is_plain(learned: Learned) -> bool:
    """Say whether free-form shares were learned, and no latent variants tie them together."""
    return learned.latent is not None and learned.latent.variants == 1


def _head(
    maker: Maker,
    learned: Learned,
    ground: Basis,
    widest: tuple[str, float],
    losses: Iterable[str],
) -> Iterator[str]:
    """Say at the top of the file what it is, where it comes from, and what it leaves out."""
    name, gap = widest
    if learned.unsound:
        yield f"Not to be relied on: the draws are not sound ({learned.unsound})."
    yield (
        f"Learned on {ground.day} by dating learn from {ground.corpus} ({ground.instruments} dated "
        f"instruments, fingerprint {ground.corpus_fingerprint[:12]}), from the judgements of "
        f"{_base(maker.origin.file)} (fingerprint {maker.origin.fingerprint[:12]})."
    )
    yield "Whoever has this file can date with it, and needs neither the corpus nor the draws."
    if name:
        yield (
            "Three values are the 5, 50 and 95 % points of what was learned; no judgement differs "
            f"from the learned distribution function by more than {gap:.2f} ({name}). A lag is "
            "what joins an event to the first use that was learned. Shares, slips, replacements "
            "and means are expectations."
        )
    yield (
        "How the learned numbers go together is not in this file, so a date from it may differ "
        "from one from the draws."
    )
    yield from losses
    yield "A date is an opinion with a probability, never a certificate."


def _headed(text: str, head: Iterable[str]) -> str:
    """Put sentences at the top of a file as comments."""
    mark, body = text[: text.startswith("\ufeff")], text.removeprefix("\ufeff")
    line_end = "\r\n" if "\r\n" in body else "\n"
    lines = [line for words in head for line in textwrap.wrap(words, _WIDTH - 2)]
    return mark + "".join(f"# {line}{line_end}" for line in lines) + line_end + body


def _base(file: str) -> str:
    """Name a file without its folder."""
    return escaped(os.path.basename(file))
