"""How the OpenAPI document is drawn from the views: problems everywhere, closed request bodies, If-Match."""

from __future__ import annotations

from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension, OpenApiSerializerExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import Direction, OpenApiParameter
from rest_framework import serializers

from studio.api.idempotency import HEADER, MOST_CHARACTERS
from studio.api.problems import CONTENT_TYPE

KEY_SCHEMA = {"type": "string", "minLength": 1, "maxLength": MOST_CHARACTERS, "pattern": "^[!#-~][!-~]*$"}
CONDITIONAL = {"PUT", "PATCH", "DELETE"}
WORDS = {
    "list": "The {} that you may see, newest first; `next` leads to the following page.",
    "retrieve": "One of the {}, with its ETag.",
    "create": "Make one of the {}.",
    "update": "Say all of it anew: a field that is left out goes back to what it is without being said.",
    "partial_update": "Change the fields that are given.",
    "destroy": "Remove it, where nothing hangs on it.",
}


class ProblemFault(serializers.Serializer[Any]):
    """One thing wrong in what was sent."""

    file = serializers.CharField(allow_null=True)
    line = serializers.IntegerField(allow_null=True)
    key = serializers.CharField()
    given = serializers.CharField()
    allowed = serializers.CharField()


class ProblemDifference(serializers.Serializer[Any]):
    """A field that somebody changed since it was read: what you sent, and what stands there now."""

    key = serializers.CharField()
    yours = serializers.JSONField(help_text="null is a value, too")
    theirs = serializers.JSONField()


class Problem(serializers.Serializer[Any]):
    """Why the studio said no (RFC 9457)."""

    type = serializers.CharField(help_text="address of the kind's own page")
    title = serializers.CharField()
    status = serializers.IntegerField()
    detail = serializers.CharField()
    errors = ProblemFault(many=True, required=False)  # type: ignore[assignment]  # shadows what nobody reads
    differences = ProblemDifference(many=True, required=False, help_text="with 412; ETag names the version of `theirs`")


class ClosedBodies(OpenApiSerializerExtension):  # type: ignore[no-untyped-call]
    """What the serializers refuse, the document says: no other keys in a request body."""

    target_class = "rest_framework.serializers.Serializer"
    match_subclasses = True

    def map_serializer(self, auto_schema: AutoSchema, direction: Direction) -> dict[str, Any]:
        schema: dict[str, Any] = auto_schema._map_serializer(  # type: ignore[no-untyped-call]
            self.target, direction, bypass_extensions=True
        )
        if not type(self.target).__dict__.get("__doc__"):
            schema.pop("description", None)  # a base class's words are not about this body
        if direction == "request":
            schema["additionalProperties"] = False
        return schema


class BearerScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """How the OpenAPI document names it."""

    target_class = "studio.api.authentication.BearerAuthentication"
    name = "bearerAuth"

    def get_security_definition(self, auto_schema: AutoSchema) -> dict[str, str]:
        return {"type": "http", "scheme": "bearer"}


class StudioSchema(AutoSchema):
    """Adds the problem document as the default answer of every operation, and If-Match to every change."""

    def get_override_parameters(self) -> list[Any]:
        parameters: list[Any] = super().get_override_parameters()
        if self.method in CONDITIONAL and hasattr(self.view, "record_delete"):
            parameters.append(
                OpenApiParameter("If-Match", str, OpenApiParameter.HEADER, required=True, description="the ETag read")
            )
        if self.method == "POST" and getattr(self.view, "keeps_answers", False):
            words = "the same request under the same key is done once and answered the same; kept seven days"
            parameters.append(OpenApiParameter(HEADER, KEY_SCHEMA, OpenApiParameter.HEADER, description=words))
        return parameters

    def is_deprecated(self) -> bool:
        return getattr(self.view, "retirement", None) is not None or super().is_deprecated()

    def get_description(self) -> str:  # type: ignore[override]
        action = getattr(self.view, "action", None) or self.method.lower()
        own_words = (getattr(self.view, action).__doc__ or "").strip()
        return own_words or WORDS[action].format(getattr(self.view, "route", "rows"))

    def get_request_serializer(self) -> Any:
        return getattr(self.view, "into", None)

    def get_response_serializers(self) -> Any:
        if getattr(self.view, "action", "") == "list":
            return getattr(self.view, "list_out", None) or getattr(self.view, "out", None)
        return getattr(self.view, "out", None)

    def get_summary(self) -> str:
        action = getattr(self.view, "action", None) or self.method.lower()
        return f"{self.get_tags()[0].replace('-', ' ')}: {action.replace('_', ' ')}"

    def get_tags(self) -> list[str]:
        return [getattr(self.view, "route", "") or "rows"]

    def _get_response_bodies(self, direction: Direction = "response") -> dict[str, Any]:
        bodies: dict[str, Any] = super()._get_response_bodies(direction)
        problem = self.resolve_serializer(Problem, "response").ref
        return bodies | {"default": {"description": "a problem", "content": {CONTENT_TYPE: {"schema": problem}}}}
