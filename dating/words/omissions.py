"""What of a table is taken no notice of: states that are not listed, rows without a date."""

from __future__ import annotations

from collections.abc import Mapping

from dating.learning.corpus import Corpus
from dating.statements import plain_name

_SHOWN = 6


def unlisted_words(unlisted: Mapping[str, Mapping[str, int]]) -> list[str]:
    """Count the cells with states that the maker file does not list.

    Parameters
    ----------
    unlisted : mapping of str to mapping of str to int
        How often each cell stands in each column.

    Returns
    -------
    list of str
        One sentence; none where there are no such cells.

    Examples
    --------
    >>> unlisted_words({"wood": {"elm": 3, "ash": 1}})
    ['4 cells name states that the maker file does not list, and say nothing: wood elm (3), \
wood ash (1).']
    """
    cells = [(n, name, cell) for name, cells in unlisted.items() for cell, n in cells.items()]
    if not cells:
        return []
    total, most = sum(n for n, *_ in cells), sorted(cells, key=lambda each: -each[0])
    shown = ", ".join(f"{name} {cell} ({n})" for n, name, cell in most[:_SHOWN])
    more = f" and {len(most) - _SHOWN} more" if len(most) > _SHOWN else ""
    names = "cell names" if total == 1 else "cells name"
    says = "says" if total == 1 else "say"
    return [
        f"{total} {names} states that the maker file does not list, and {says} nothing: "
        f"{shown}{more}."
    ]


def corpus_words(corpus: Corpus) -> list[str]:
    """Say what of a corpus was taken for nothing."""
    sentences = unlisted_words(corpus.unlisted)
    if lines := corpus.left_out:
        shown = ", ".join(map(str, lines[:_SHOWN]))
        more = f" and {len(lines) - _SHOWN} more" if len(lines) > _SHOWN else ""
        rows = "row is" if len(lines) == 1 else "rows are"
        sentences.append(
            f"{len(lines)} {rows} left out for want of a readable date: line {shown}{more}."
        )
    return sentences


def unlearned_words(corpus: Corpus) -> list[str]:
    """Say what a maker file states and a corpus records that learning takes no notice of.

    Examples
    --------
    >>> from dating.files import read_maker
    >>> from dating.learning.corpus import read_corpus
    >>> maker = read_maker("priors/velquist.yaml")
    >>> read = read_corpus("demo_data/velquist_corpus.csv", maker)
    >>> for sentence in unlearned_words(read):
    ...     print(sentence[:66])
    Components are learned from as if each was made for its instrument
    """
    maker = corpus.maker
    aged = [plain_name(name) for name, part in maker.components.items() if part.old_stock]
    stocks = {mark.stock: None for _, mark in maker.marks().values() if mark.stock is not None}
    known = sum(bool(each.examination.parts) for each in corpus.references)
    sentences = []
    if aged or stocks:
        what = [f"old stock ({', '.join(aged)})"] if aged else []
        what += [f"the delay of a shared stock ({', '.join(stocks)})"] if stocks else []
        sentences.append(
            "Components are learned from as if each was made for its instrument, and each mark as "
            f"if its delay were its own: {' and '.join(what)} stays as it is stated."
        )
    if known:
        rows = "1 row says" if known == 1 else f"{known} rows say"
        sentences.append(f"Learning does not use what {rows} of whole components.")
    return sentences
