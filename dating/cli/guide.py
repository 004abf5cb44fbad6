"""``dating guide``: how to get from nothing to a result."""

from __future__ import annotations

import click

from dating.words.guide import TOPICS, guide_text


@click.command()
@click.argument("topic", type=click.Choice(list(TOPICS)), required=False)
def guide(topic: str | None) -> None:
    """Show the guide: how to get from nothing to a result.

    \b
    Example:
      dating guide specialist
    """  # noqa: D301 (click wants the backspace itself)
    if topic is None:
        lines = [f"  dating guide {name:<11} {about}" for name, about in TOPICS.items()]
        click.echo("\n".join(["Topics of the guide:", *lines]))
    else:
        click.echo(guide_text(topic), nl=False)
