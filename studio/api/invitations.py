"""One-time links for new people, made by owners; `join/` is where such a link is used, by nobody in particular."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.db import models
from django.urls import reverse
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.authentication import BaseAuthentication
from rest_framework.request import Request
from rest_framework.response import Response

from studio.api.authentication import BearerAuthentication
from studio.api.base import RemovableViewSet, StudioView, address_of, caller, studio_of
from studio.api.etags import etag_of
from studio.api.shapes import ModelShape, OneOf, Reference, StrictModelSerializer, StrictSerializer
from studio.api.users import UserOut
from studio.records.models import Invitation, Membership, Rider
from studio.records.services.invitations import INVITED, invitation_accept, invitation_create, invitation_delete


class InvitationIn(StrictModelSerializer[Invitation]):
    role = OneOf(choices=INVITED, required=False, help_text="of the new account")
    rider = Reference(Rider, required=False, allow_null=True, help_text="whom the new client will be")
    membership = Reference(Membership, required=False, help_text="who lost the password; without role and rider")

    class Meta:
        model = Invitation
        fields = ("role", "name", "rider", "membership")


class InvitationOut(ModelShape[Invitation]):
    class Meta:
        model = Invitation
        fields = ("id", "role", "name", "rider", "user", "created_at", "expires_at")


class InvitationMade(InvitationOut):
    key = serializers.CharField(help_text="the link's secret, for `join/`; shown this once")
    link = serializers.URLField(help_text="to be handed over; opens once; shown this once")

    class Meta(InvitationOut.Meta):
        fields = (*InvitationOut.Meta.fields, "key", "link")  # type: ignore[assignment]


def made(invitation: Invitation, key: str) -> dict[str, Any]:
    """What the owner is told of a new link."""
    link = settings.PUBLIC_URL.rstrip("/") + reverse("web:join", args=[key])
    return {**InvitationOut(invitation).data, "key": key, "link": link}


class InvitationViewSet(RemovableViewSet[Invitation]):
    route, keeps_answers = "invitations", False
    queryset = Invitation.objects.all()
    into, out = InvitationIn, InvitationOut
    record_delete = staticmethod(invitation_delete)

    def get_queryset(self) -> models.QuerySet[Invitation]:
        return super().get_queryset().filter(expires_at__gt=timezone.now())

    @extend_schema(request=InvitationIn, responses={201: InvitationMade})
    def create(self, request: Request) -> Response:
        """Invite a fitter, client or shop, or let a member set a new password: hand over the `link`, it opens once."""
        serializer = InvitationIn(data=request.data, context=self.get_serializer_context())
        serializer.is_valid(raise_exception=True)
        given = serializer.validated_data
        invitation, key = invitation_create(studio=studio_of(request), by=caller(request), **given)
        headers = {"Location": address_of("invitations", invitation.pk), "ETag": etag_of(invitation)}
        return Response(made(invitation, key), status=status.HTTP_201_CREATED, headers=headers)


class JoinIn(StrictSerializer):
    key = serializers.CharField(max_length=200)
    username = serializers.CharField(
        max_length=150, required=False, help_text="of the new account; not with a link for a new password"
    )
    password = serializers.CharField(max_length=1000, trim_whitespace=False)
    email = serializers.EmailField(required=False)


class JoinView(StudioView):
    route, keeps_answers = "join", False

    def get_authenticators(self) -> list[BaseAuthentication]:
        return [BearerAuthentication()]  # like asking for a token: a browser's session must not demand its CSRF token

    @extend_schema(request=JoinIn, responses={201: UserOut}, auth=[])
    def post(self, request: Request) -> Response:
        """Use an invitation up: the new account is there, and can ask for a token at `tokens/`."""
        serializer = JoinIn(data=request.data)
        serializer.is_valid(raise_exception=True)
        user = invitation_accept(**serializer.validated_data)
        headers = {"Location": address_of("users", user.pk)}
        return Response(UserOut(user).data, status=status.HTTP_201_CREATED, headers=headers)
