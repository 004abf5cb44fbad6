"""``dating calibrate``: say whether the stated probabilities may be trusted."""

from __future__ import annotations

import shlex
from itertools import chain, count
from pathlib import Path
from typing import TYPE_CHECKING

import click

from dating.cli.inputs import INPUT, form_option, undated_option, unlisted_option
from dating.cli.needs import check_installed
from dating.cli.outputs import OutputFile, check_outputs, replacing
from dating.cli.streams import filled, text_width
from dating.cli.usage import as_usage
from dating.standard_input import StandardInput

if TYPE_CHECKING:
    from dating.calibration.level_correction import LevelCorrection
    from dating.calibration.remedy import Remedy
    from dating.calibration.verdict import Calibration
    from dating.learning.corpus import Corpus
    from dating.learning.learned import Learned


@click.command()
@click.argument("maker", type=INPUT)
@click.argument("corpus", type=INPUT)
@click.option(
    "--learned",
    type=click.Path(path_type=Path),
    help="File written by dating learn from this corpus.  [default: the judgements alone]",
)
@form_option("Format of the output; json gives every instrument, with units and sources.")
@click.option(
    "--picture",
    type=click.Path(path_type=Path),
    help="Also draw coverage, ranks and dates to this file (.svg, .png or .pdf).",
)
@click.option(
    "--correct",
    type=click.Path(path_type=Path),
    help="Write a copy of the learned file with recalibrated levels, for dating estimate.",
)
@unlisted_option
@undated_option
@replacing
def calibrate(  # noqa: PLR0917 (click hands its options over by name)
    maker: Path,
    corpus: Path,
    learned: Path | None,
    form: str,
    picture: Path | None,
    correct: Path | None,
    replace: bool,
    **leniency: bool,
) -> None:
    """Say whether the stated probabilities can be trusted.

    Dates each instrument of the CORPUS as if it were undated, leaving it out of what was learned,
    and compares the result with its known date. MAKER is the maker file.

    \b
    Example:
      dating calibrate priors/marrowby.yaml demo_data/marrowby_corpus.csv
    """  # noqa: D301 (click wants the backspace itself)
    _check_names(learned, picture, correct)
    outputs = [OutputFile(correct, "the corrected learned file")] if correct is not None else []
    outputs += [OutputFile(picture, "the picture", valued=False)] if picture is not None else []
    check_outputs(outputs, [maker, corpus, learned], replace=replace)
    from dating.calibration.remedy import remedy_of  # noqa: PLC0415
    from dating.calibration.verdict import calibrate as compare  # noqa: PLC0415
    from dating.files import read_maker  # noqa: PLC0415
    from dating.learning.corpus import read_corpus  # noqa: PLC0415
    from dating.words.omissions import corpus_words  # noqa: PLC0415

    read = read_maker(maker)
    known = read_corpus(corpus, read, **leniency)
    for sentence in corpus_words(known):
        click.echo(filled(sentence), err=True)
    result = None if learned is None else _learned(learned, known)
    calibration = compare(known, result)
    remedy = remedy_of(calibration)
    commands = () if correct is not None else commands_for(maker, corpus, learned)
    words = _text(calibration, remedy, commands, form)
    if picture is not None:
        from dating.figures.calibration import draw_calibration  # noqa: PLC0415
        from dating.figures.files import save_picture  # noqa: PLC0415

        save_picture(draw_calibration(calibration), picture)
    click.echo(words, nl=False)
    if learned is not None and correct is not None:
        corrected = remedy.corrected if remedy is not None else None
        change = _correct(calibration, corrected, learned, correct)
        click.echo("\n" + change, nl=False, err=form == "json")


def _check_names(learned: Path | None, picture: Path | None, correct: Path | None) -> None:
    """Refuse names that nothing can be written under, and missing libraries, before any work."""
    needed = ["arviz_stats", "h5netcdf", "scipy", *(["matplotlib"] if picture else [])]
    check_installed("calibration", needed)
    if correct is not None and learned is None:
        message = "the correction is stored with what was learned; name that file with --learned"
        raise click.BadParameter(message, param_hint="--correct")
    if correct is not None and not correct.parent.is_dir():
        raise click.BadParameter("the folder does not exist", param_hint="--correct")
    if picture is not None:
        from dating.figures.files import check_picture_name  # noqa: PLC0415

        with as_usage():
            check_picture_name(picture)


def _learned(path: Path, corpus: Corpus) -> Learned:
    """Read what was learned, and refuse it when it was learned from another corpus."""
    from dating.learning.files import draws_from, read_learned  # noqa: PLC0415
    from dating.learning.learned import DRAWS  # noqa: PLC0415

    return draws_from(read_learned(path), corpus, str(path), DRAWS)


def commands_for(maker: Path, corpus: Path, learned: Path | None) -> tuple[str, ...]:
    """Give the commands that write a corrected copy of what was learned under a new name."""
    stand_ins = {maker: "MAKER.yaml", corpus: "CORPUS.csv"}
    names = [
        name if isinstance(path, StandardInput) else str(path) for path, name in stand_ins.items()
    ]
    file = learned if learned is not None else _unused(Path(names[0]).stem)
    corrected = _unused(f"{file.stem}-corrected", file.parent)
    first = ["dating", "learn", *names, "--out", str(file)]
    then = ["dating", "calibrate", *names, "--learned", str(file), "--correct", str(corrected)]
    return tuple(shlex.join(words) for words in ([first, then] if learned is None else [then]))


def _unused(stem: str, folder: Path = Path()) -> Path:
    """Give the first name of a learned file that no file bears."""
    names = chain([f"{stem}.nc"], (f"{stem}-{number}.nc" for number in count(2)))
    return next(folder / name for name in names if not (folder / name).exists())


def _text(
    calibration: Calibration, remedy: Remedy | None, commands: tuple[str, ...], form: str
) -> str:
    if form == "text":
        from dating.words.calibration import calibration_text  # noqa: PLC0415

        return calibration_text(calibration, text_width(), remedy, commands)
    from dating.cli.records import as_json  # noqa: PLC0415
    from dating.words.calibration_record import calibration_record  # noqa: PLC0415

    return as_json(calibration_record(calibration, remedy, commands))


def _correct(
    calibration: Calibration, corrected: LevelCorrection | None, learned: Path, correct: Path
) -> str:
    """Write the corrected copy, and say what it changes."""
    from dating.calibration.level_correction import correction_of, with_correction  # noqa: PLC0415
    from dating.learning.files import write_learned  # noqa: PLC0415
    from dating.learning.health import health_from  # noqa: PLC0415
    from dating.words.calibration import on_corrected  # noqa: PLC0415

    corrected = corrected if corrected is not None else correction_of(calibration)
    tree = with_correction(learned, corrected.correction)
    write_learned(tree, correct, health_from(tree.attrs))
    return on_corrected(corrected, str(correct), text_width())
