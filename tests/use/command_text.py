"""The help of each command as the guide has it: the commands say it, and the guide repeats it."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator

import click

from dating.bench.guide_markup import anchor_of
from dating.cli.main import main

_WIDTH = 100


def usage_of(name: str) -> str:
    """Write a command with its arguments."""
    command = main.commands[name]
    context = click.Context(command, info_name=name)
    return " ".join(["dating", name, *_metavars(command, context)])


def section_of(name: str) -> str:
    """Write what a command says of itself as Markdown: its help, an example, its options."""
    command = main.commands[name]
    about, _, example = (command.help or "").partition("\b\nExample:\n")
    paragraphs = [" ".join(part.split()) for part in about.split("\n\n") if part.strip()]
    written = [textwrap.fill(part, _WIDTH, break_on_hyphens=False) for part in paragraphs]
    options = "\n".join(_options(command))
    parts = [f"## `{usage_of(name)}`", *written, f"    {example.strip()}", options]
    return "\n\n".join(part for part in parts if part)


def row_of(name: str) -> str:
    """Write a command as a row of the table that leads to the sections."""
    first = " ".join((main.commands[name].help or "").split("\n\n", maxsplit=1)[0].split())
    return f"| [`dating {name}`](#{anchor_of(usage_of(name))}) | {first} |"


def _options(command: click.Command) -> Iterator[str]:
    context = click.Context(command, terminal_width=10_000)
    for option in command.params:
        if isinstance(option, click.Option):
            names, words = option.get_help_record(context) or ("", "")
            names = re.sub(" FLOAT( RANGE)?", " NUMBER", names.replace(" INTEGER RANGE", " N"))
            stated = re.search(r"\[default: \(?([^;\])]*)", words)
            words = words.partition("  [")[0] + (f" Default: {stated[1]}." if stated else "")
            words += " Needed." if option.required else ""
            yield textwrap.fill(
                f"- `{names}`: {words}", _WIDTH, subsequent_indent="  ", break_on_hyphens=False
            )


def _metavars(command: click.Command, context: click.Context) -> Iterator[str]:
    for argument in command.params:
        if isinstance(argument, click.Argument):
            yield argument.make_metavar(context)
