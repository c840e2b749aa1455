"""The shape of `session-bundle/1`, checked against the packaged JSON Schema.

Only the keywords that the published schema uses are known here; a test holds the two together. A null stands for an
absent value, as spreadsheets write it. What the values mean is `document.py`.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from analysis.readers.faults import Fault, shown

BUNDLE: dict[str, Any] = json.loads(Path(__file__).with_name("session-bundle-1.schema.json").read_text("utf-8"))
TYPES: dict[str, tuple[type, ...]] = {
    "object": (dict,),
    "array": (list,),
    "string": (str,),
    "number": (int, float),
    "integer": (int, float),
    "boolean": (bool,),
    "null": (type(None),),
}
WORDS = {
    "object": "an object",
    "array": "a list",
    "string": "a text",
    "number": "a number",
    "integer": "a whole number",
}
WORDS |= {"boolean": "true or false", "null": "null"}


def shape_faults(file: str, value: object, schema: Mapping[str, Any] = BUNDLE, path: str = "") -> list[Fault]:
    """List everything in `value` that the schema does not allow, each with its path."""
    problem = _problem(value, schema)
    if problem:
        return [Fault(file, path or "document", shown(value), problem)]
    if isinstance(value, dict):
        return _object_faults(file, value, schema, path)
    if isinstance(value, list):
        short = len(value) < schema.get("minItems", 0)
        faults = [Fault(file, path, "an empty list", "at least one entry")] if short else []
        for at, entry in enumerate(value):
            faults += shape_faults(file, entry, schema.get("items", {}), f"{path}[{at}]")
        return faults
    return []


def _object_faults(file: str, value: Mapping[str, Any], schema: Mapping[str, Any], path: str) -> list[Fault]:
    faults = []
    properties, others = schema.get("properties", {}), schema.get("additionalProperties", True)
    for key in schema.get("required", ()):
        if value.get(key) is None:
            faults.append(Fault(file, joined(path, key), "nothing", "required"))
    for key, entry in value.items():
        inner = properties.get(key, others if isinstance(others, dict) else {})
        if entry is not None:
            faults += shape_faults(file, entry, inner, joined(path, key))
    return faults


def _problem(value: object, schema: Mapping[str, Any]) -> str | None:
    """Say what is allowed instead, or None where the value itself fits."""
    if "const" in schema and value != schema["const"]:
        return f"'{schema['const']}'"
    if "enum" in schema and value not in schema["enum"]:
        return " or ".join(f"'{choice}'" for choice in schema["enum"])
    wanted: Sequence[str] = [schema["type"]] if isinstance(schema.get("type"), str) else schema.get("type", ())
    if wanted and not any(_is_a(value, kind) for kind in wanted):
        return " or ".join(WORDS[kind] for kind in wanted if kind != "null")
    if isinstance(value, int | float) and not isinstance(value, bool):
        if "minimum" in schema and value < schema["minimum"]:
            return f"at least {schema['minimum']}"
        if "exclusiveMinimum" in schema and value <= schema["exclusiveMinimum"]:
            return f"more than {schema['exclusiveMinimum']}"
    return None


def _is_a(value: object, kind: str) -> bool:
    if isinstance(value, bool):
        return kind == "boolean"
    if kind == "integer" and isinstance(value, float):
        return value.is_integer()
    return isinstance(value, TYPES[kind])


def joined(path: str, key: str) -> str:
    """Extend a key path."""
    return f"{path}.{key}" if path else key
