"""One's own account: its role, its password, the tokens that its programs use."""

from __future__ import annotations

from typing import cast
from uuid import UUID

from django.contrib import messages
from django.contrib.auth import logout, update_session_auth_hash
from django.contrib.auth.decorators import login_required
from django.contrib.auth.forms import PasswordChangeForm
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from studio.records.models import ApiToken, User
from studio.records.services.accounts import password_set, sign_out_everywhere
from studio.records.services.tokens import token_revoke
from studio.web.access import kept_by_nobody


def living_tokens(user: User) -> QuerySet[ApiToken]:
    """Tokens that still open something."""
    return ApiToken.objects.filter(user=user, revoked_at=None, expires_at__gt=timezone.now())


@kept_by_nobody
@login_required
def account(request: HttpRequest) -> HttpResponse:
    user = cast(User, request.user)
    form = PasswordChangeForm(user, request.POST if request.method == "POST" else None)
    if form.is_valid():
        password_set(user=user, password=form.cleaned_data["new_password1"])
        update_session_auth_hash(request, user)  # the other browsers are signed out, this one stays
        messages.success(request, "The password is changed. Other browsers and all programs must sign in anew.")
        return redirect("web:account")
    facts = {"form": form, "tokens": living_tokens(user)}
    return render(request, "web/account.html", facts, status=400 if form.errors else 200)


@kept_by_nobody
@login_required
def sign_out_of_all(request: HttpRequest) -> HttpResponse:
    """End every session and token of the account, this browser's too, by POST only."""
    if request.method != "POST":
        return redirect("web:account")
    sign_out_everywhere(user=cast(User, request.user))
    logout(request)
    return redirect("web:sign-in")


@kept_by_nobody
@login_required
def revoke(request: HttpRequest, token_id: UUID) -> HttpResponse:
    """Take a token of one's own back, by POST only."""
    if request.method == "POST":
        token_revoke(token=get_object_or_404(living_tokens(cast(User, request.user)), pk=token_id))
        messages.success(request, "The token is taken back: programs that use it are refused from now on.")
    return redirect("web:account")
