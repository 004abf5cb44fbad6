"""``dating estimate``: date one instrument."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from dating.cli.inputs import INPUT, form_option, learned_option, level_option, seed_option
from dating.cli.needs import check_installed, check_reading
from dating.cli.outputs import OutputFile, check_outputs
from dating.cli.streams import text_width
from dating.cli.usage import as_usage

if TYPE_CHECKING:
    from dating.estimates import Estimate


@click.command()
@click.argument("examination", type=INPUT)
@click.option(
    "--maker",
    type=INPUT,
    help="Maker file.  [default: the one the examination names, in a folder called priors]",
)
@level_option("Probability that the reported months must reach.")
@form_option("Format of the output; json and yaml give everything, with units and sources.", "yaml")
@click.option(
    "--picture",
    type=click.Path(path_type=Path),
    help="Also draw the estimate to this file: .svg, .png or .pdf.",
)
@learned_option
@seed_option
@click.option(
    "--not-today",
    metavar="OPERATION",
    multiple=True,
    help="Leave out looks that need this done first; may be given more than once.",
)
def estimate(  # noqa: PLR0917 (click hands its options over by name)
    examination: Path,
    maker: Path | None,
    level: float,
    form: str,
    picture: Path | None,
    learned: Path | None,
    seed: int,
    not_today: tuple[str, ...],
) -> None:
    """Date the instrument described in the file EXAMINATION.

    Says when it was built, whether its parts belong together, what each observation says,
    what contradicts what, and what to look at next.

    \b
    Example:
      dating estimate demo_data/examinations/M-001.yaml --picture M-001.svg
    """  # noqa: D301 (click wants the backspace itself)
    check_reading(learned)
    if picture is not None:
        from dating.figures.files import check_picture_name  # noqa: PLC0415

        check_installed("a picture", ["matplotlib"], "picture")
        with as_usage():
            check_picture_name(picture)
    result = _estimate(examination, maker, level, seed, learned, picture)
    with as_usage():
        result = result.skip(*not_today)
    words = _text(result, form)
    if picture is not None:
        from dating.figures.estimate import draw_estimate  # noqa: PLC0415
        from dating.figures.files import save_picture  # noqa: PLC0415

        save_picture(draw_estimate(result), picture)
    click.echo(words, nl=False)


def _estimate(  # noqa: PLR0917 (the options of the command)
    examination: Path,
    maker: Path | None,
    level: float,
    seed: int,
    learned: Path | None,
    picture: Path | None,
) -> Estimate:
    from dating.estimates import estimate as make_estimate  # noqa: PLC0415
    from dating.files import find_maker, read_examination, read_maker  # noqa: PLC0415

    seen = read_examination(examination)
    maker = maker or find_maker(seen)
    if picture is not None:
        output = OutputFile(picture, "the picture", valued=False)
        check_outputs([output], [examination, maker, learned])
    read = read_maker(maker)
    if learned is None:
        return make_estimate(read, seen, level=level, seed=seed)
    from dating.learning.files import read_draws  # noqa: PLC0415

    return make_estimate(read, seen, level=level, learned=read_draws(learned, read))


def _text(result: Estimate, form: str) -> str:
    if form == "text":
        from dating.words.text import as_text  # noqa: PLC0415

        return as_text(result, text_width())
    from dating.cli.records import as_json, as_yaml  # noqa: PLC0415
    from dating.words.record import as_record  # noqa: PLC0415

    return (as_json if form == "json" else as_yaml)(as_record(result))
