"""The description of a release in the open Data Package form, and the JSON Schema it obeys."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from ..files import Digest
from .columns import Table
from .layouts import tables_of
from .schema import LAYOUT, TABLES

DESCRIPTOR = "datapackage.json"
SCHEMA = "schema.json"
_SIGNED = 6
"""The first layout whose releases say which studio signs them."""


def as_json(value: object) -> bytes:
    """Write JSON as it stands in a release."""
    return (json.dumps(value, indent=1, ensure_ascii=False) + "\n").encode()


def describe(
    name: str,
    version: str,
    created: str,
    code: str,
    files: Mapping[str, Digest],
    gates: Mapping[str, Any],
    studio: str,
) -> dict[str, Any]:
    """Describe a release.

    Parameters
    ----------
    code : str
        Version of tintladder.
    files : mapping of file name to Digest
        With every table.
    gates : mapping
        What was left out, what stood against it, and why it was published all the same.
    studio : str
        What the studio's releases call it, so that another key of its name is noticed.
    """
    return {
        "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
        "name": name,
        "title": "K and S of tube paints",
        "description": "How tube paints absorb (K) and scatter (S) light, with uncertainty, and "
        "the readings that this rests on",
        "version": version,
        "created": created,
        "layout": LAYOUT,
        "made_with": f"tintladder {code}",
        "studio": studio,
        "gates": dict(gates),
        "resources": [
            {
                "name": table.name,
                "path": table.file,
                "type": "table",
                "description": table.meaning,
                "format": "csv",
                "mediatype": "text/csv",
                "encoding": "utf-8",
                "bytes": files[table.file].size,
                "hash": f"sha256:{files[table.file].sha256}",
                "schema": table_schema(table),
            }
            for table in TABLES
        ],
    }


def table_schema(table: Table) -> dict[str, Any]:
    """Return a table's schema in the open Table Schema form."""
    fields = []
    for column in table.columns:
        constraints: dict[str, Any] = {"required": True} if column.required else {}
        if column.words:
            constraints["enum"] = list(column.words)
        field: dict[str, Any] = {"name": column.name, "type": column.kind}
        fields.append(
            field
            | {"description": column.meaning}
            | ({"constraints": constraints} if constraints else {})
        )
    foreign = [
        {"fields": list(own), "reference": {"resource": other, "fields": list(theirs)}}
        for own, other, theirs in table.foreign
    ]
    return {
        "fields": fields,
        "missingValues": [""],
        **({"primaryKey": list(table.key)} if table.key else {}),
        **({"foreignKeys": foreign} if foreign else {}),
    }


def json_schema(layout: int = LAYOUT, tables: Sequence[Table] | None = None) -> dict[str, Any]:
    """Return the JSON Schema of the descriptor; a row of each table stands under ``$defs``.

    Parameters
    ----------
    tables : sequence of Table, optional
        Those that a release has; default: all of the layout.
    """
    tables = tables_of(layout) if tables is None else tables
    signed: dict[str, Any] = (
        {} if layout < _SIGNED else {"studio": {"type": "string", "pattern": "^[0-9a-f]{16}$"}}
    )
    resources = [
        {
            "type": "object",
            "required": ["name", "path", "type", "format", "bytes", "hash", "schema"],
            "properties": {
                "name": {"const": table.name},
                "path": {"const": table.file},
                "type": {"const": "table"},
                "format": {"const": "csv"},
                "encoding": {"const": "utf-8"},
                "bytes": {"type": "integer", "minimum": 1},
                "hash": {"type": "string", "pattern": "^sha256:[0-9a-f]{64}$"},
                "schema": {"const": table_schema(table)},
            },
        }
        for table in tables
    ]
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "A release of paint coefficients",
        "type": "object",
        "required": ["name", "version", "created", "layout", "gates", "resources", *signed],
        "properties": {
            "name": {"type": "string", "pattern": "^[a-z0-9._-]+$"},
            "version": {"type": "string", "pattern": r"^\d+\.\d+\.\d+$"},
            "created": {"type": "string"},
            "layout": {"const": layout},
            **signed,
            "gates": {
                "type": "object",
                "required": ["excluded", "forced", "findings"],
                "properties": {
                    "excluded": {"type": "array", "items": {"type": "string"}},
                    "forced": {"type": "string"},
                    "findings": {"type": "array", "items": {"type": "object"}},
                },
            },
            "resources": {
                "type": "array",
                "prefixItems": resources,
                "minItems": len(resources),
                "maxItems": len(resources),
            },
        },
        "$defs": {table.name: _row_schema(table) for table in tables},
    }


def without_words(said: Any) -> Any:
    """Return a schema or a description without the words that say what each part means."""
    if isinstance(said, dict):
        return {
            key: without_words(part)
            for key, part in said.items()
            if key not in ("title", "description")
        }
    return [without_words(part) for part in said] if isinstance(said, list) else said


def _row_schema(table: Table) -> dict[str, Any]:
    properties = {}
    for column in table.columns:
        kinds = [column.kind] if column.required else [column.kind, "null"]
        kind: dict[str, Any] = {"type": kinds, "description": column.meaning}
        properties[column.name] = kind | ({"enum": list(column.words)} if column.words else {})
    return {
        "type": "object",
        "description": table.meaning,
        "properties": properties,
        "required": [column.name for column in table.columns if column.required],
        "additionalProperties": False,
    }
