"""``dating weigh``: weigh an author's claims."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from dating.cli.draws import found_or_learned
from dating.cli.inputs import INPUT, form_option, undated_option, unlisted_option
from dating.cli.needs import check_installed
from dating.cli.outputs import OutputFile, check_outputs, check_page_name
from dating.cli.streams import filled, text_width
from dating.cli.usage import as_usage

if TYPE_CHECKING:
    from dating.claims.evidence import Evidence
    from dating.claims.files import Manuscript
    from dating.claims.weighing import ClaimResult
    from dating.learning.corpus import Corpus
    from dating.learning.learned import Learned

_ANOTHER = (
    "{learned} was learned from another table, or another state of it, than {corpus}: the "
    "probabilities rest on that one, and only the instruments named are from this one."
)


@click.command()
@click.argument("claims", type=INPUT)
@click.option(
    "--maker",
    type=INPUT,
    help="Maker file.  [default: the one the claims file names, in a folder called priors]",
)
@click.option(
    "--learned",
    type=click.Path(path_type=Path),
    help="What was learned, from a file that dating learn has written.  [default: what was "
    "learned from --corpus, which is done first where no file has it]",
)
@click.option(
    "--corpus",
    type=INPUT,
    help="Dated instruments: the evidence about production. What is learned from them is kept "
    "beside them, so that only the first run takes minutes.",
)
@click.option(
    "--judgements-only",
    "judgements_only",
    is_flag=True,
    help="Learn nothing: say what the assessors believe of production, which is no evidence.",
)
@form_option("Format of the output; json gives every number and its grounds.")
@click.option(
    "--page",
    type=click.Path(path_type=Path),
    help="Also write a page for an editor (.html): every sentence, with suggested wording.",
)
@unlisted_option
@undated_option
def weigh(  # noqa: PLR0917 (click hands its options over by name)
    claims: Path,
    maker: Path | None,
    learned: Path | None,
    corpus: Path | None,
    judgements_only: bool,
    form: str,
    page: Path | None,
    **leniency: bool,
) -> None:
    """Say how probable the claims in the file CLAIMS are.

    Also says how strong the evidence is, which dated instruments count against a claim, what
    further evidence would help, and how to word the claim. Production is evidenced by dated
    instruments alone: with neither --corpus nor --learned the command says what the assessors
    believe, and gives no wording. CLAIMS is YAML, or CSV for the simple kinds.

    \b
    Example:
      dating weigh demo_data/marrowby_claims.yaml --corpus demo_data/marrowby_corpus.csv
    """  # noqa: D301 (click wants the backspace itself)
    if judgements_only and learned is not None:
        raise click.UsageError(
            "--judgements-only learns nothing, and --learned is what was learned"
        )
    with as_usage():
        _check(page)
    from dating.claims.evidence import Evidence  # noqa: PLC0415
    from dating.claims.files import manuscript_of, read_claims  # noqa: PLC0415
    from dating.claims.weighing import MOST_DRAWS, weighed  # noqa: PLC0415
    from dating.files import maker_named, read_maker  # noqa: PLC0415
    from dating.learning.corpus import read_corpus  # noqa: PLC0415
    from dating.learning.files import read_draws  # noqa: PLC0415
    from dating.words.omissions import corpus_words  # noqa: PLC0415

    read = read_claims(claims)
    maker = maker or maker_named(read.maker, read.origin)
    if page is not None:
        seen = [claims.parent / name for name in read.examinations]
        inputs = [claims, maker, learned, corpus, *seen]
        check_outputs([OutputFile(page, "the page", valued=False)], inputs)
    judged = read_maker(maker)
    manuscript = manuscript_of(read, judged)
    known = read_corpus(corpus, judged, **leniency) if corpus is not None else None
    for sentence in corpus_words(known) if known is not None else ():
        click.echo(filled(sentence), err=True)
    if learned is None and known is not None and not judgements_only:
        learned = found_or_learned(known)
    result = read_draws(learned, judged, most=MOST_DRAWS) if learned is not None else None
    if result is not None and known is not None and not result.rests_on(known.fingerprint):
        click.echo(filled(_ANOTHER.format(learned=learned, corpus=corpus)), err=True)
    evidence = Evidence(manuscript, result)
    results = [weighed(claim, evidence, known) for claim in _watched(read.claims)]
    if page is not None:
        _write_page(manuscript, results, evidence, known, page, learned_file=learned)
    click.echo(_text(form, manuscript, results, result, known, learned_file=learned), nl=False)


def _check(page: Path | None) -> None:
    """Refuse names that nothing can be written under, and missing libraries, before any work."""
    from dating.claims.weighing import LIBRARIES  # noqa: PLC0415

    libraries = [*LIBRARIES] + (["jinja2", "matplotlib", "arviz_stats"] if page else [])
    check_installed("weighing claims", libraries)
    check_page_name(page)


def _watched[T](items: Sequence[T]) -> Iterable[T]:
    """Show on the terminal how many claims are done."""
    from rich.console import Console  # noqa: PLC0415
    from rich.progress import track  # noqa: PLC0415

    console = Console(stderr=True)
    hidden = not console.is_terminal
    return track(items, "weighing", console=console, transient=True, disable=hidden)


def _write_page(
    manuscript: Manuscript,
    results: Sequence[ClaimResult],
    evidence: Evidence,
    corpus: Corpus | None,
    page: Path,
    *,
    learned_file: Path | None,
) -> None:
    from dating.figures.claims import drawings_of  # noqa: PLC0415
    from dating.figures.pages import picture_of  # noqa: PLC0415
    from dating.reading import write_whole  # noqa: PLC0415
    from dating.words.claims_page import claims_page  # noqa: PLC0415

    claims = manuscript.claims.claims
    pictures = {name: picture_of(f) for name, f in drawings_of(claims, evidence, corpus)}
    name = str(learned_file or "")
    text = claims_page(manuscript, results, pictures, evidence.learned, corpus, learned_file=name)
    write_whole(page, text.encode("utf-8"))


def _text(
    form: str,
    manuscript: Manuscript,
    results: Sequence[ClaimResult],
    learned: Learned | None,
    corpus: Corpus | None,
    *,
    learned_file: Path | None,
) -> str:
    from dating.cli.records import as_json  # noqa: PLC0415
    from dating.words.claims_text import claims_record, claims_text  # noqa: PLC0415

    if form == "text":
        return claims_text(manuscript, results, text_width(), learned)
    return as_json(
        claims_record(manuscript, results, learned, corpus, learned_file=str(learned_file or ""))
    )
