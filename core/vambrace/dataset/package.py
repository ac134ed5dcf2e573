"""The descriptor of a dataset for other tools: Frictionless Data Package, version 2."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

import pyarrow as pa

from vambrace.dataset.schemas import DERIVED, FIELD_UNITS, TABLES
from vambrace.schema import SCHEMA_VERSION, SIGNALS

PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
_MEDIA_TYPE = "application/vnd.apache.parquet"


def descriptor(shards: Sequence[str]) -> bytes:
    """Return the descriptor as JSON; `shards` are the paths of the sample files below the dataset's folder."""
    resources = [_resource(name, f"tables/{name}.parquet") for name in DERIVED]
    if shards:
        resources.insert(0, _resource("samples", list(shards)))
    package = {
        "$schema": PROFILE,
        "name": "vambrace-dataset",
        "title": "Wearable recordings as one tidy table of samples",
        "vambrace": {"schema_version": SCHEMA_VERSION, "signals": _signals()},
        "resources": resources,
    }
    return json.dumps(package, sort_keys=True, ensure_ascii=False, indent=1).encode() + b"\n"


def _resource(name: str, path: str | list[str]) -> dict[str, Any]:
    return {
        "name": name,
        "type": "table",
        "path": path,
        "format": "parquet",
        "mediatype": _MEDIA_TYPE,
        "schema": _schema(name),
    }


def _schema(name: str) -> dict[str, Any]:
    schema = table_schema(TABLES[name])
    if name == "recordings":
        schema["primaryKey"] = ["recording"]
    if name == "samples":
        # Only here every row is certain to have a recording: what is set aside may belong to a source without any.
        reference = {"resource": "recordings", "fields": ["recording"]}
        schema["foreignKeys"] = [{"fields": ["recording"], "reference": reference}]
    return schema


def table_schema(columns: pa.Schema) -> dict[str, Any]:
    """Return columns as a Frictionless Table Schema."""
    return {"fields": [_field(field) for field in columns]}


def _field(field: pa.Field) -> dict[str, Any]:
    words: dict[str, Any] = {"name": field.name, "type": _type(field.type)}
    if field.name == "value":
        words["unitField"] = "unit"
    if unit := FIELD_UNITS.get(field.name):
        words["unit"] = unit
    return words


def _type(kind: pa.DataType) -> str:
    checks = {
        "datetime": pa.types.is_timestamp,
        "integer": pa.types.is_int64,
        "number": pa.types.is_float64,
        "boolean": pa.types.is_boolean,
        "array": pa.types.is_list,
    }
    return next((name for name, check in checks.items() if check(kind)), "string")


def _signals() -> Mapping[str, Mapping[str, Any]]:
    return {name: {"title": signal.title, "unit": signal.unit} for name, signal in SIGNALS.items()}
