"""``dating keys``: the keys of a kind of file or record, for people and for editors."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import click

from dating.cli.inputs import form_option
from dating.cli.streams import text_width

if TYPE_CHECKING:
    from dating.schemas import SchemaKind

KINDS = (
    "maker",
    "examination",
    "claims",
    "group",
    "estimate-record",
    "claims-record",
    "calibration-record",
    "comparison-record",
)


@click.command()
@click.argument("kind", type=click.Choice(KINDS))
@form_option("Plain text, or a JSON Schema with which a program checks, and an editor completes.")
def keys(kind: SchemaKind, form: str) -> None:
    """List the keys that a kind of file may have, and what each means.

    A record is what --as json writes of an estimate, of weighed claims, of a calibration or of a
    comparison; it names the version of its keys.

    \b
    Example:
      dating keys examination
    """  # noqa: D301 (click wants the backspace itself)
    from dating.schemas import schema_of  # noqa: PLC0415
    from dating.words.reference import reference_text  # noqa: PLC0415

    schema = schema_of(kind)
    if form == "json":
        click.echo(json.dumps(schema, indent=2))
    else:
        click.echo(reference_text(schema, text_width()), nl=False)
