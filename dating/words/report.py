"""What was learned, as one HTML page that needs nothing from elsewhere."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from dating.learning.gauges import MEAN_DOUBT, SPREAD_DOUBT
from dating.learning.lags import LAG_DOUBT, RATIO_DOUBT
from dating.learning.layout import CHANCE_DOUBT, SHARE_DOUBT, SPAN_DOUBT
from dating.learning.outcome import Outcome
from dating.months import month_label
from dating.words.learned import (
    at_odds,
    on_assessors,
    on_contradictions,
    on_free_form,
    on_health,
)
from dating.words.learned_rows import (
    assessor_rows,
    chance_rows,
    changeover_rows,
    contradiction_rows,
    event_rows,
    mean_rows,
    share_rows,
    summary_rows,
)
from dating.words.page import PagePicture, page_of
from dating.words.quantities import lag_rows, on_output, output_rows, spread_rows

_OPINION = (
    "What was learned is an opinion with a probability, not a certificate: it is as good as the "
    "maker file and the dated instruments behind it, and a new find may change it."
)


def learned_page(outcome: Outcome, pictures: Mapping[str, PagePicture]) -> str:
    """Write the page."""
    return page_of("learned.html.j2", {**_content(outcome), "pictures": pictures})


def _content(outcome: Outcome) -> dict[str, Any]:
    sources = outcome.plan.maker.sources
    return {
        "about": _about(outcome),
        "unsound": outcome.health.advice(),
        "short": _short(outcome),
        "changeovers": list(changeover_rows(outcome)),
        "events": list(event_rows(outcome)),
        "stated": _stated(outcome),
        "assessors": list(assessor_rows(outcome)),
        "contradictions": list(contradiction_rows(outcome)),
        "contradictions_in_words": on_contradictions(outcome.contradictions),
        "diagnostics": [on_health(outcome.health), _HEALTHY]
        if outcome.draws.size
        else [_UNSAMPLED],
        "summary": list(summary_rows(outcome)),
        "origin": _origin(outcome),
        "source_places": {name: place for place, name in enumerate(sources, start=1)},
        "named_sources": [
            {"name": name, "words": ", ".join(t for t in (s.title, s.kind, s.where, s.note) if t)}
            for name, s in sources.items()
        ],
        "cautions": _cautions(outcome),
        "opinion": _OPINION,
    }


_UNSAMPLED = "Nothing needed sampling, so there are no draws to diagnose."
_HEALTHY = (
    "Sound draws have an R-hat of at most 1.01, an effective sample size of at least 400 in the "
    "middle and in the tails of every number, and no divergent transitions (Vehtari and others "
    "2021, Bayesian Analysis 16)."
)


def _about(outcome: Outcome) -> dict[str, Any]:
    maker, corpus = outcome.plan.maker, outcome.plan.corpus
    return {
        "maker": maker.maker,
        "product": maker.product,
        "period": str(maker.period).replace("/", " to "),
        "start": month_label(maker.period.first),
        "invented": maker.invented,
        "instruments": len(corpus.references) - corpus.undated,
        "maker_file": Path(maker.origin.file).name,
        "corpus_file": Path(corpus.file).name,
    }


def _short(outcome: Outcome) -> list[str]:
    plan = outcome.plan
    undated = plan.corpus.undated
    dated = len(plan.corpus.references) - undated
    counts = f"{dated} dated instruments, {plan.counted} of them dated to the month"
    counts += f", and {undated} undated ones" if undated else ""
    if not outcome.shifts:
        return [
            f"{counts}; the maker file has no changeovers.",
            *on_output(plan.maker, outcome.learned),
            *on_free_form(outcome.learned),
            _OPINION,
        ]
    return [
        f"{counts}, were compared with {plan.uncertain} uncertain dates and lengths in "
        f"{len(outcome.shifts)} changeovers.",
        f"The date rests on {_resting(outcome, 'first use')}; "
        f"the width rests on {_resting(outcome, 'overlap')}.",
        at_odds(outcome.shifts),
        *on_assessors(outcome.assessors),
        on_contradictions(outcome.contradictions),
        *on_output(plan.maker, outcome.learned),
        *on_free_form(outcome.learned),
        _OPINION,
    ]


def _resting(outcome: Outcome, what: str) -> str:
    """Count what the dates or the widths rest on."""
    words = {
        "data": "the data",
        "both": "data and judgement",
        "judgement": "the judgement",
        "neither": "neither much",
        "": "a certain statement",
    }
    counts = Counter(outcome.rests_on(shift.name, what) for shift in outcome.shifts)
    parts = [f"{name} in {counts[key]}" for key, name in words.items() if counts[key]]
    return ", on ".join(parts)


def _stated(outcome: Outcome) -> list[dict[str, Any]]:
    return [
        {
            "title": "Shares of the forms",
            "what": "form",
            "doubt": f"A stated share is given a standard deviation of {SHARE_DOUBT:g} of its "
            "logarithm, before all shares are made to sum to one.",
            "rows": list(share_rows(outcome)),
        },
        {
            "title": "Slips and replacements",
            "what": "chance",
            "doubt": f"A stated chance is given a standard deviation of {CHANCE_DOUBT:g} on "
            "the logit scale; the 5 % and 95 % points stand below it.",
            "rows": list(chance_rows(outcome, CHANCE_DOUBT)),
        },
        {
            "title": "Means of the measurements",
            "what": "month",
            "doubt": f"A stated mean is given a standard deviation of {MEAN_DOUBT:g} spread "
            "of production; the 5 % and 95 % points stand below it.",
            "rows": list(mean_rows(outcome, MEAN_DOUBT)),
        },
        {
            "title": "Spreads of the measurements",
            "what": "number",
            "doubt": "The logarithm of a stated spread of production is given a standard "
            f"deviation of {SPREAD_DOUBT:g}; the 5 % and 95 % points stand below it.",
            "rows": list(spread_rows(outcome, SPREAD_DOUBT)),
        },
        {
            "title": "Lags of dated marks, in months",
            "what": "point",
            "doubt": "The maker file judges how lags differ between instruments. The logarithm of "
            f"their median is given a standard deviation of {LAG_DOUBT:g}, and that of the ratio "
            f"of their spread one of {RATIO_DOUBT:g}. A lag stated as one number is not learned.",
            "rows": list(lag_rows(outcome)),
        },
        {
            "title": "Output by year",
            "what": "number",
            "doubt": "Shares of what was made. The stated column shows them for equally busy "
            "months. The corpus is treated as a fair sample of what was made.",
            "rows": list(output_rows(outcome)),
        },
    ]


def _origin(outcome: Outcome) -> list[tuple[str, str]]:
    maker, corpus, attrs = outcome.plan.maker, outcome.plan.corpus, outcome.tree.attrs
    undated = f", {corpus.undated} undated" if corpus.undated else ""
    sampled = [
        ("draws", f"{outcome.draws.sizes['chain']} chains of {attrs['draws']}, after tuning"),
        ("target acceptance", f"{attrs['accept']:g}"),
    ]
    return [
        ("maker", f"{maker.maker}{', invented' if maker.invented else ''}"),
        ("product", maker.product),
        ("maker file", f"{maker.origin.file}, SHA-256 {maker.origin.fingerprint}"),
        ("reference corpus", f"{corpus.file}, SHA-256 {corpus.fingerprint}"),
        (
            "instruments",
            f"{len(corpus.references)}, {outcome.plan.counted} of known month{undated}",
        ),
        *(sampled if outcome.draws.size else ()),
        ("seed", str(attrs["seed"])),
        ("versions", f"nutpie {attrs['nutpie']}, Python {attrs['python']}"),
    ]


def _cautions(outcome: Outcome) -> list[str]:
    layout = outcome.plan.layout
    certain, doubted = len(layout.numbers) - outcome.plan.uncertain, len(layout.doubted)
    cautions = [
        "These stay as the maker file states them: a stated output, swapped components, their "
        "donors, the shares of later replacements, slips and replacements stated as never or "
        "always, lags of dated marks stated as one number, dates stated as certain, and lags or "
        f"overlaps of none ({certain} here).",
        f"A lag or an overlap stated as one number ({doubted} here) is treated as a round number: "
        f"its logarithm has a standard deviation of {SPAN_DOUBT:g} before the corpus is seen.",
        "The dated instruments are treated as a fair sample of what was made in each month. "
        "An instrument dated by a feature or a mark teaches nothing about that feature or mark: "
        "leave its cell blank.",
        "Features are independent given the month, the events they share and the variant; a "
        "swapped component is treated feature by feature.",
        "No changeover is narrower than three quarters of a month: an overlap of d months counts "
        "as the square root of d² + 0.75². One recorded state in a thousand may be anything.",
        "The result is refused once the maker file has changed. An estimate uses 512 of its "
        "draws, or more if needed to make its standard error small enough.",
    ]
    if outcome.plan.free_form:
        names = ", ".join(outcome.plan.free_form)
        cautions.append(f"The shares left to be learned freely ({names}) are not shown here.")
    return cautions
