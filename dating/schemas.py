"""What files may say as JSON Schema (draft 2020-12), for editors and for the reference."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

from pydantic import BaseModel

from dating.claims.statements import Claims
from dating.examination import Examination
from dating.maker import Maker

type Schema = Mapping[str, Any]
type SchemaKind = Literal["maker", "examination", "claims"]

MODELS: dict[SchemaKind, type[BaseModel]] = {
    "maker": Maker,
    "examination": Examination,
    "claims": Claims,
}
DIALECT = "https://json-schema.org/draft/2020-12/schema"


def schema_of(kind: SchemaKind) -> dict[str, Any]:
    """Describe a kind of file.

    Examples
    --------
    >>> schema = schema_of("examination")
    >>> schema["properties"]["instrument"]["description"]
    'Name or number of the instrument.'
    """
    model = MODELS[kind]
    return {"$schema": DIALECT, **model.model_json_schema(by_alias=True)}
