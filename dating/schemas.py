"""What files and records may say as JSON Schema (draft 2020-12), and for the reference."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

from pydantic import BaseModel

from dating.claims.statements import Claims
from dating.examination import Examination
from dating.maker import Maker
from dating.records.calibration import CalibrationRecord
from dating.records.claims import ClaimsRecord
from dating.records.comparison import ComparisonRecord
from dating.records.estimate import EstimateRecord
from dating.succession.relations import Group

type Schema = Mapping[str, Any]
type SchemaKind = Literal[
    "maker",
    "examination",
    "claims",
    "group",
    "estimate-record",
    "claims-record",
    "calibration-record",
    "comparison-record",
]

FILES: dict[SchemaKind, type[BaseModel]] = {
    "maker": Maker,
    "examination": Examination,
    "claims": Claims,
    "group": Group,
}
RECORDS: dict[SchemaKind, type[BaseModel]] = {
    "estimate-record": EstimateRecord,
    "claims-record": ClaimsRecord,
    "calibration-record": CalibrationRecord,
    "comparison-record": ComparisonRecord,
}
MODELS = FILES | RECORDS
DIALECT = "https://json-schema.org/draft/2020-12/schema"


def schema_of(kind: SchemaKind) -> dict[str, Any]:
    """Describe a kind of file or of record.

    Examples
    --------
    >>> schema = schema_of("examination")
    >>> schema["properties"]["instrument"]["description"]
    'Name or number of the instrument.'
    """
    model = MODELS[kind]
    return {"$schema": DIALECT, **model.model_json_schema(by_alias=True)}
