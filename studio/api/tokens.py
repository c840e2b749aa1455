"""Tokens: a name and password become a Bearer token, shown once; list and revoke one's own."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.contrib.auth import authenticate
from django.db import models
from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers, status
from rest_framework.authentication import BaseAuthentication
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request
from rest_framework.response import Response

from studio.api.authentication import BearerAuthentication
from studio.api.base import ReadViewSet, address_of, caller
from studio.api.problems import CONTENT_TYPE, TooManyGuesses
from studio.api.schema import Problem
from studio.api.shapes import ModelShape, OneOf, StrictSerializer, WholeNumberField
from studio.records.models import ApiToken, TokenKind, TokenScope, User
from studio.records.querysets import membership_of
from studio.records.services.tokens import token_create, token_revoke
from studio.records.sign_in import POLICY, QUOTA, WINDOW_S, Guesses, guesses

USUAL_LIFETIME_DAYS = 90
WRONG_PAIR = "This username and password do not belong together."

LIMITS = [
    OpenApiParameter(name, kind, OpenApiParameter.HEADER, response=statuses, description=words)
    for name, kind, statuses, words in (
        ("RateLimit-Policy", str, [201, 401, 429], "wrong pairs allowed, and within how many seconds"),
        ("RateLimit", str, [201, 401, 429], "wrong pairs left, and for how many seconds"),
        ("Retry-After", int, [429], "seconds until another pair is looked at"),
    )
]
GUESSES_REFUSED = {(status, CONTENT_TYPE): Problem for status in (401, 429)}


class TokenIn(StrictSerializer):
    username = serializers.CharField(max_length=150)
    password = serializers.CharField(max_length=1000, trim_whitespace=False)
    name = serializers.CharField(max_length=120, required=False, help_text="what the token is for")
    kind = OneOf(TokenKind.choices, required=False, help_text="which door it opens; without one: api")
    scopes = serializers.ListField(
        child=OneOf(TokenScope.choices),
        required=False,
        min_length=1,
        max_length=len(TokenScope.values),
        help_text="what it may be used for; without any: read and write",
    )
    lifetime_days = WholeNumberField(
        required=False, min_value=1, max_value=365, help_text=f"without one: {USUAL_LIFETIME_DAYS}"
    )


class TokenOut(ModelShape[ApiToken]):
    scopes = serializers.ListField(child=OneOf(TokenScope.choices))

    class Meta:
        model = ApiToken
        fields = ("id", "name", "kind", "scopes", "created_at", "expires_at", "last_used_at")


class TokenMade(TokenOut):
    token = serializers.CharField(help_text="shown this once; send it as `Authorization: Bearer`")

    class Meta:
        model = ApiToken
        fields = (*TokenOut.Meta.fields, "token")


class TokenViewSet(ReadViewSet[ApiToken]):
    route, keeps_answers = "tokens", False
    guesses: Guesses | None = None
    queryset = ApiToken.objects.all()
    out = TokenOut

    def get_authenticators(self) -> list[BaseAuthentication]:
        # Asking for a token is for nobody in particular: a browser's session must not demand its CSRF token here.
        if self.request is not None and self.request.method == "POST":
            return [BearerAuthentication()]
        return super().get_authenticators()

    def get_queryset(self) -> models.QuerySet[ApiToken]:
        if not isinstance(self.request.user, User):
            return ApiToken.objects.none()
        return ApiToken.objects.filter(
            user=caller(self.request), revoked_at__isnull=True, expires_at__gt=timezone.now()
        ).order_by("-id")

    def finalize_response(self, request: Request, response: Any, *args: Any, **kwargs: Any) -> Any:
        """Says how many wrong pairs are left, as draft-ietf-httpapi-ratelimit-headers-10 has it."""
        response = super().finalize_response(request, response, *args, **kwargs)
        if self.guesses is not None:
            response["RateLimit-Policy"] = f'"{POLICY}";q={QUOTA};w={WINDOW_S}'
            response["RateLimit"] = f'"{POLICY}";r={self.guesses.left};t={self.guesses.reset_s}'
        return response

    @extend_schema(request=TokenIn, responses={201: TokenMade} | GUESSES_REFUSED, auth=[], parameters=LIMITS)
    def create(self, request: Request) -> Response:
        """A wrong pair is 401 in the same time and words as an unknown name."""
        serializer = TokenIn(data=request.data)
        serializer.is_valid(raise_exception=True)
        given: dict[str, Any] = serializer.validated_data
        user = authenticate(request, username=given["username"], password=given["password"])
        self.guesses = guesses(request, given["username"])
        if self.guesses.over:
            raise TooManyGuesses(self.guesses.reset_s)
        if not isinstance(user, User) or membership_of(user) is None:
            raise AuthenticationFailed(WRONG_PAIR)
        token, clear = token_create(
            user=user,
            name=given.get("name", ""),
            kind=given.get("kind", TokenKind.API),
            scopes=given.get("scopes"),
            lifetime=timedelta(days=given.get("lifetime_days", USUAL_LIFETIME_DAYS)),
        )
        headers = {"Location": address_of("tokens", token.pk)}
        return Response({**TokenOut(token).data, "token": clear}, status=status.HTTP_201_CREATED, headers=headers)

    def destroy(self, request: Request, pk: str) -> Response:
        """Revokes the token; needs no If-Match, since a token never changes."""
        token_revoke(token=self.get_object())
        return Response(status=status.HTTP_204_NO_CONTENT)
