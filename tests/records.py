"""Records held to the schema that they name."""

from __future__ import annotations

from functools import cache
from typing import Any

import jsonschema

from dating.schemas import RECORDS, SchemaKind, schema_of


def kind_of_record(name: str) -> SchemaKind:
    """Tell which kind of record a name and version is of."""
    (kind,) = [
        kind
        for kind, model in RECORDS.items()
        if name in str(model.model_fields["schema_name"].annotation)
    ]
    return kind


@cache
def validator_of(kind: SchemaKind) -> jsonschema.Draft202012Validator:
    """Make the validator of a kind of record, once."""
    return jsonschema.Draft202012Validator(schema_of(kind))


def hold(record: dict[str, Any]) -> None:
    """Hold a record to its schema; it fails where a key is missing, wrong, or one too many."""
    assert next(iter(record)) == "schema"
    validator_of(kind_of_record(record["schema"])).validate(record)
