"""Who belongs to the studio and as what: for its owners. People come in by `invitations/`."""

from __future__ import annotations

from typing import Any, ClassVar

from django_filters import rest_framework as filters
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from studio.api.base import RecordViewSet
from studio.api.filters import StudioFilters
from studio.api.shapes import ModelShape, Reference, StrictModelSerializer
from studio.records.models import Membership, Rider, Role
from studio.records.services.members import membership_remove, membership_update


class MembershipIn(StrictModelSerializer[Membership]):
    rider = Reference(Rider, required=False, allow_null=True, help_text="whom a client is; null unlinks")

    class Meta:
        model = Membership
        fields = ("role", "rider")


class MembershipOut(ModelShape[Membership]):
    username = serializers.CharField(source="user.username")
    rider = serializers.SerializerMethodField(help_text="the rider whom a client is linked to")

    class Meta:
        model = Membership
        fields = ("id", "user", "username", "role", "rider", "created_at", "updated_at")
        extra_kwargs: ClassVar[dict[str, Any]] = {"user": {"validators": []}}

    def get_rider(self, membership: Membership) -> str | None:
        rider = getattr(membership.user, "rider", None)
        return str(rider.pk) if rider else None


class MembershipFilters(StudioFilters):
    role = filters.ChoiceFilter(choices=Role.choices)


class MembershipViewSet(RecordViewSet[Membership]):
    route = "memberships"
    http_method_names = ["get", "head", "patch", "delete"]
    queryset = Membership.objects.filter(user__is_active=True).select_related("studio", "user__rider")
    into, out, filterset_class = MembershipIn, MembershipOut, MembershipFilters
    record_update = staticmethod(membership_update)
    record_delete = staticmethod(membership_remove)

    def partial_update(self, request: Request, pk: str) -> Response:
        """Give another role, link a client to a rider, or both; it holds from the member's next request on."""
        return super().partial_update(request, pk)

    def destroy(self, request: Request, pk: str) -> Response:
        """Remove the member: their sessions and tokens end at once. The last owner stays."""
        return super().destroy(request, pk)
