"""What the OpenAPI document says as a whole, once the views have said their parts: tags, refusals, words, bounds."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

PROBLEM = {"$ref": "#/components/responses/Problem"}
MET_EVERYWHERE = ("400", "401", "403", "500", "503")
"""Refusals that every operation may answer; the others stand under `default`."""
WHOLE = {"format": "int32", "minimum": -(2**31), "maximum": 2**31 - 1}
LONGEST = {"uuid": 36, "date": 10, "date-time": 40}
PARAMETERS = {
    "id": "the row's id",
    "cursor": "where the page begins; from an answer's `next` or `previous`",
    "Last-Event-ID": "the id of the last event that was received",
}


def finish(result: dict[str, Any], **_: Any) -> dict[str, Any]:
    """Complete the drawn document."""
    problem = {"schema": {"$ref": "#/components/schemas/Problem"}}
    answer = {"description": "a problem", "content": {"application/problem+json": problem}}
    result["components"]["responses"] = {"Problem": answer}
    operations = [said for item in result["paths"].values() for said in item.values()]
    tags = sorted({tag for said in operations for tag in said["tags"]})
    result["tags"] = [{"name": tag, "description": f"Everything about {tag.replace('-', ' ')}."} for tag in tags]
    for said in operations:
        _complete(said)
    for schema in _schemas(result):
        _bound(schema)
    return result


def _complete(said: dict[str, Any]) -> None:
    """Words for parameters that have none, and the refusals that may always come."""
    for parameter in said.get("parameters", ()):
        name = parameter["name"]
        words = PARAMETERS.get(name, f"only rows of this {name.replace('_', ' ')}")
        parameter.setdefault("description", words)
    said.setdefault("security", [])  # said aloud: nobody need be signed in
    answers = said["responses"]
    answers |= {status: PROBLEM for status in MET_EVERYWHERE if status not in answers}
    answers["default"] = PROBLEM


def _schemas(node: Any) -> Iterator[dict[str, Any]]:
    """Every object in the document, schemas among them."""
    if isinstance(node, dict):
        yield node
        for inner in node.values():
            yield from _schemas(inner)
    elif isinstance(node, list):
        for inner in node:
            yield from _schemas(inner)


def _bound(schema: dict[str, Any]) -> None:
    """Say of whole numbers and formatted texts what their type already means."""
    kind = schema.get("type")
    if kind == "integer" or (isinstance(kind, list) and "integer" in kind):
        schema |= {key: value for key, value in WHOLE.items() if key not in schema}
    longest = LONGEST.get(str(schema.get("format")))
    if longest and "maxLength" not in schema:
        schema["maxLength"] = longest
