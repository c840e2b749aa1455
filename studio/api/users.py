"""Accounts: an owner sees all of the studio's, everybody else their own, changes its password and signs out."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db import models
from django_filters import rest_framework as filters
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.decorators import action
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from studio.api.base import ReadViewSet, caller
from studio.api.filters import StudioFilters
from studio.api.shapes import ModelShape, OneOf, StrictSerializer
from studio.records.models import Role, User
from studio.records.querysets import membership_of
from studio.records.services.accounts import password_change, sign_out_everywhere


class PasswordIn(StrictSerializer):
    old_password = serializers.CharField(max_length=1000, trim_whitespace=False)
    new_password = serializers.CharField(max_length=1000, trim_whitespace=False)


class UserOut(ModelShape[User]):
    role = OneOf(choices=Role.choices, source="membership.role")
    rider = serializers.SerializerMethodField(help_text="the rider whom a client is linked to")

    class Meta:
        model = User
        fields = ("id", "username", "email", "role", "rider")
        extra_kwargs: ClassVar[dict[str, Any]] = {"username": {"validators": []}}

    def get_rider(self, user: User) -> str | None:
        rider = getattr(user, "rider", None)
        return str(rider.pk) if rider else None


class UserFilters(StudioFilters):
    username = filters.CharFilter()
    role = filters.ChoiceFilter(field_name="membership__role", choices=Role.choices)


class UserViewSet(ReadViewSet[User]):
    route, keeps_answers = "users", False
    queryset = User.objects.all()
    out, filterset_class = UserOut, UserFilters

    def get_queryset(self) -> models.QuerySet[User]:
        membership = membership_of(self.request.user)
        if membership is None:
            return User.objects.none()
        rows = User.objects.select_related("membership", "rider").filter(is_active=True)
        if membership.role != Role.OWNER:
            return rows.filter(pk=membership.user_id)
        return rows.filter(membership__studio_id=membership.studio_id)

    @extend_schema(request=PasswordIn, responses={204: None})
    @action(detail=True, methods=["post"])
    def password(self, request: Request, pk: str) -> Response:
        """Change one's own password. Every browser and program of the account, this one too, must sign in anew."""
        user = self._own(pk)
        serializer = PasswordIn(data=request.data)
        serializer.is_valid(raise_exception=True)
        given = serializer.validated_data
        password_change(user=user, old=given["old_password"], new=given["new_password"])
        return Response(status=status.HTTP_204_NO_CONTENT)

    @extend_schema(request=None, responses={204: None})
    @action(detail=True, methods=["post"], url_path="sign-out")
    def sign_out(self, request: Request, pk: str) -> Response:
        """End every session and every token of one's own account, the one that asks too."""
        sign_out_everywhere(user=self._own(pk))
        return Response(status=status.HTTP_204_NO_CONTENT)

    def _own(self, pk: str) -> User:
        return get_object_or_404(self.get_queryset().filter(pk=caller(self.request).pk), pk=pk)
