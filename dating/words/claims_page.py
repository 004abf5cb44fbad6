"""Weighed claims as one page for an editor: a table, sentence by sentence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from dating.claims.files import Manuscript
from dating.claims.weighing import ClaimResult
from dating.learning.corpus import Corpus
from dating.learning.learned import Learned
from dating.words.claim_clauses import clause
from dating.words.claims import claim_words
from dating.words.claims_text import on_basis, scales_of
from dating.words.page import PagePicture, page_of
from dating.words.phrases import OPINION
from dating.words.soundness import on_soundness


def claims_page(
    manuscript: Manuscript,
    results: Sequence[ClaimResult],
    pictures: Mapping[str, PagePicture],
    learned: Learned | None = None,
    corpus: Corpus | None = None,
    *,
    learned_file: str = "",
) -> str:
    """Write the page."""
    maker, claims = manuscript.maker, manuscript.claims
    first, seen = maker.period.first, manuscript.examinations.values()
    return page_of(
        "claims.html.j2",
        {
            "title": claims.manuscript or f"Claims about {maker.maker}",
            "about": maker,
            "unsound": [*on_soundness(learned), *on_basis(results)],
            "rows": [
                (one.claim, list(map(clause, one.claim.sayings())), claim_words(one, first))
                for one in results
            ],
            "pictures": pictures,
            "scales": scales_of(results),
            "opinion": OPINION,
            "origin": [
                ("claims file", claims.origin.file, claims.origin.fingerprint),
                ("maker file", maker.origin.file, maker.origin.fingerprint),
                *(("examination", e.origin.file, e.origin.fingerprint) for e in seen),
                *([("dated instruments", corpus.file, corpus.fingerprint)] if corpus else []),
            ],
            "learned": learned,
            "learned_file": learned_file,
        },
    )
