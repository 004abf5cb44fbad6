"""An estimate as a small piece of HTML, for notebooks."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

from dating.escapes import escaped
from dating.estimates import Estimate
from dating.months import month_words
from dating.notes.languages import language
from dating.notes.sentences import Wording, circa_sentences, date_sentences
from dating.words.levels import on_error
from dating.words.phrases import OPINION, held_set, percent, together
from dating.words.soundness import on_grounds

_MOST_STRETCHES = 3


def as_display(estimate: Estimate) -> str:
    """Write the date in words with its probability, a small table, and that it is an opinion.

    Examples
    --------
    >>> from dating import estimate, read_examination, read_maker
    >>> maker = read_maker("priors/marrowby.yaml")
    >>> made = estimate(maker, read_examination("demo_data/examinations/M-001.yaml"))
    >>> as_display(made)[:13]
    '<div><p><b>M-'
    """
    rows = "".join(
        f'<tr><th scope="row" style="text-align:left">{_safe(name)}</th>'
        f'<td style="text-align:left">{_safe(words)}</td></tr>'
        for name, words in _rows(estimate).items()
    )
    head, *said = (f"<p>{words}</p>" for words in _sentences(estimate))
    return f"<div>{head}{''.join(said)}<table>{rows}</table><p><i>{_safe(OPINION)}</i></p></div>"


def _sentences(estimate: Estimate) -> Iterator[str]:
    """Give what is said above the table, as HTML: what it is of, its grounds, the date."""
    maker, examination = estimate.maker, estimate.examination
    invented = " (invented)" if maker.invented or examination.invented else ""
    name = _safe(examination.instrument)
    yield f"<b>{name}</b>, {_safe(f'{maker.product}, {maker.maker}{invented}')}"
    wording = Wording(language("en"), estimate.level)
    dated = date_sentences(estimate, wording)
    said = [*on_grounds(maker, estimate.learned), *dated, *circa_sentences(dated, wording)]
    yield from map(_safe, said)


def _rows(estimate: Estimate) -> dict[str, str]:
    sets = [estimate.highest_density(level) for level in sorted({0.5, estimate.level})[::-1]]
    rows = {
        f"{percent(each.level)} set": held_set(each, estimate.period, _MOST_STRETCHES)
        for each in sets
    }
    rows["median"] = month_words(estimate.median)
    rows["most probable month"] = month_words(estimate.mode)
    rows["parts"] = together(estimate.originality)
    if not estimate.converged:
        rows["draws"] = on_error(estimate)
    return rows


def _safe(text: str) -> str:
    """Show unseen signs as escapes, and markup as text."""
    return escape(escaped(text))
