"""What the OpenAPI document says as a whole, once the views have said their parts: tags, refusals, words, bounds."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

PROBLEM = {"$ref": "#/components/responses/Problem"}
MET_EVERYWHERE = ("400", "401", "403", "500", "503")
"""Refusals that every operation may answer; the others stand under `default`."""
WHOLE = {"format": "int32", "minimum": -(2**31), "maximum": 2**31 - 1}
LONGEST = {"uuid": 36, "date": 10, "date-time": 40}
NOT_BLANK = r"[^\t-\r\x1c- \x85\xa0\u1680\u2000-\u200a\u2028\u2029\u202f\u205f\u3000]"
"""Something that Python's `str.strip` leaves; the shorthand for it differs between dialects of patterns."""
DIGITS = re.compile(r"\\d\{0,(\d+)\}\(\?:\\\.\\d\{0,(\d+)\}\)\?")
"""What the framework says of a decimal, which lets through a number without a digit."""
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
    if schema.get("format") == "decimal":
        schema["pattern"] = DIGITS.sub(_with_a_digit, schema["pattern"])
    if schema.get("minLength") == 1 and kind == "string" and schema.keys().isdisjoint({"format", "pattern", "enum"}):
        schema["pattern"] = NOT_BLANK
    if schema.get("format") == "binary":
        schema["minLength"] = 1  # an empty file is refused wherever one is taken
    if longest and "maxLength" not in schema:
        schema["maxLength"] = longest


def _with_a_digit(found: re.Match[str]) -> str:
    whole, parts = found.groups()
    return rf"(?:\d{{1,{whole}}}(?:\.\d{{0,{parts}}})?|\.\d{{1,{parts}}})"
