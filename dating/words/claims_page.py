"""Weighed claims as one page for an editor: a table, sentence by sentence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from dating.claims.files import Manuscript
from dating.claims.strength import Factor, decimals_of, factor_words, probability_words
from dating.claims.weighing import ClaimResult
from dating.learning.learned import Learned
from dating.words.claims import chance_words, clause, ranges_of, rewording, unweighed
from dating.words.claims_text import SCALES
from dating.words.page import PagePicture, page_of
from dating.words.phrases import OPINION
from dating.words.soundness import on_soundness


def claims_page(
    manuscript: Manuscript,
    results: Sequence[ClaimResult],
    pictures: Mapping[str, PagePicture],
    learned: Learned | None = None,
) -> str:
    """Write the page."""
    maker, claims = manuscript.maker, manuscript.claims
    return page_of(
        "claims.html.j2",
        {
            "title": claims.manuscript or f"Claims about {maker.maker}",
            "about": maker,
            "unsound": on_soundness(learned),
            "rows": [_row(one, maker.period.first) for one in results],
            "pictures": pictures,
            "scales": SCALES,
            "opinion": OPINION,
            "origin": [
                ("claims file", claims.origin.file, claims.origin.fingerprint),
                ("maker file", maker.origin.file, maker.origin.fingerprint),
            ],
        },
    )


def _row(result: ClaimResult, first: int) -> dict[str, object]:
    factor = result.factor
    return {
        "claim": result.claim,
        "says": [clause(saying) for saying in result.claim.sayings()],
        "prior": chance_words(result.prior),
        "posterior": chance_words(result.posterior),
        "words": probability_words(result.posterior.value),
        "factor": None if factor is None else _factor(factor),
        "support": "" if factor is None or not factor.has_value else factor_words(factor.value),
        "printed": rewording(result, first),
        "against": [e for e in result.examples if e.side == "against"],
        "for_it": [e for e in result.examples if e.side == "for"],
        "known": ranges_of(result, first),
        "silent": unweighed(result),
        "looks": result.looks,
    }


def _factor(factor: Factor) -> str:
    return (
        f"{factor.bound} {decimals_of(factor.value)}".strip() if factor.has_value else factor.bound
    )
