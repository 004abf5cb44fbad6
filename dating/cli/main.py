"""The command ``dating`` and how it reports what is wrong with its input."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable
from typing import Any

import click

from dating.cli.calibrate import calibrate
from dating.cli.check import check
from dating.cli.compare import compare
from dating.cli.draft import draft
from dating.cli.estimate import estimate
from dating.cli.guide import guide
from dating.cli.keys import keys
from dating.cli.learn import learn
from dating.cli.lots import lots
from dating.cli.note import note
from dating.cli.sale import sale
from dating.cli.serve import serve
from dating.cli.streams import (
    CLOSED_PIPE,
    give_up,
    message_text,
    text_width,
    unbroken,
    use_plain_signs,
)
from dating.cli.weigh import weigh

# The matrices are small: threads of the linear algebra library cost more than they give, and one
# thread adds up in the same order on every machine. This must stand before numpy is imported.
for _library in ("OPENBLAS", "MKL", "OMP"):
    os.environ.setdefault(f"{_library}_NUM_THREADS", "1")


class _Formatter(click.HelpFormatter):
    """Help whose second column keeps room on a narrow terminal."""

    def write_dl(
        self, rows: Iterable[tuple[str, str]], col_max: int = 30, col_spacing: int = 2
    ) -> None:
        super().write_dl(rows, min(col_max, self.width * 3 // 8), col_spacing)


class _Context(click.Context):
    formatter_class = _Formatter


class _Commands(click.Group):
    """Commands whose input errors are shown as messages, never as tracebacks."""

    context_class = _Context

    def add_command(self, cmd: click.Command, name: str | None = None) -> None:
        cmd.context_class = _Context
        super().add_command(cmd, name)

    def main(self, *args: Any, **extra: Any) -> Any:
        use_plain_signs()
        try:
            return super().main(*args, **extra)
        except OSError as error:  # a message that cannot go out
            give_up()
            sys.exit(CLOSED_PIPE if isinstance(error, BrokenPipeError) else 1)

    def make_context(self, *args: Any, **extra: Any) -> click.Context:
        with unbroken():
            return super().make_context(*args, terminal_width=text_width() - 2, **extra)

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        if any("\0" in argument for argument in args):
            raise click.UsageError("a name or path cannot contain the character NUL", ctx)
        return super().parse_args(ctx, args)

    def invoke(self, ctx: click.Context) -> Any:
        from dating.reading import InputError  # noqa: PLC0415

        try:
            with unbroken():
                return super().invoke(ctx)
        except InputError as error:
            raise click.ClickException(message_text(error, "Error: ")) from None

    def format_commands(self, _: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands, each with the whole first sentence of its help."""
        rows = [(name, known.get_short_help_str(1000)) for name, known in self.commands.items()]
        with formatter.section("Commands"):
            formatter.write_dl(rows)


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="instrument-dating", message="%(version)s")
def main() -> None:
    """Date production instruments without serial numbers.

    Features, marks, measurements and documents are combined into a probability for each
    month in which an instrument may have been built. A date is an opinion with a
    probability, not a certificate.

    \b
    Example:
      dating estimate demo_data/examinations/M-001.yaml
    """  # noqa: D301 (click wants the backspace itself)


main.add_command(estimate)
main.add_command(compare)
main.add_command(check)
main.add_command(keys)
main.add_command(guide)
main.add_command(learn)
main.add_command(calibrate)
main.add_command(draft)
main.add_command(weigh)
main.add_command(note)
main.add_command(sale)
main.add_command(lots)
main.add_command(serve)
