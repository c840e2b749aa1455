"""Coming in by a one-time link: choose a name and a password, or a new password for the account that one has."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth import login
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from studio.records.errors import RecordsError
from studio.records.services.invitations import invitation_accept, invitation_of
from studio.web.access import kept_by_nobody


class JoinForm(forms.Form):
    username = forms.CharField(
        max_length=150,
        label="Name to sign in with",
        widget=forms.TextInput(attrs={"autocomplete": "username", "autocapitalize": "none"}),
    )
    email = forms.EmailField(
        required=False,
        label="E-mail, if the studio may know it",
        widget=forms.EmailInput(attrs={"autocomplete": "email"}),
    )
    password = forms.CharField(
        max_length=1000,
        strip=False,
        help_text="10 characters or more.",
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )
    again = forms.CharField(
        max_length=1000,
        strip=False,
        label="The same again",
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def clean(self) -> dict[str, Any]:
        given: dict[str, Any] = super().clean() or {}
        if given.get("password") != given.pop("again", None) and not self.errors:
            self.add_error("again", "The two passwords differ; type the same twice.")
        return given


@kept_by_nobody
def join(request: HttpRequest, key: str) -> HttpResponse:
    invitation = invitation_of(key)
    if invitation is None:
        return render(request, "web/join.html", {"invitation": None}, status=404)
    form = JoinForm(request.POST if request.method == "POST" else None)
    if invitation.user is not None:
        del form.fields["username"], form.fields["email"]
    if form.is_valid():
        try:
            user = invitation_accept(key=key, **form.cleaned_data)
        except RecordsError as refusal:
            _tell(form, refusal)
        else:
            login(request, user)
            messages.success(request, f"Welcome. You are signed in as {user.get_username()}.")
            return redirect("web:home")
    facts = {"form": form, "invitation": invitation}
    return render(request, "web/join.html", facts, status=400 if form.errors else 200)


def _tell(form: JoinForm, refusal: RecordsError) -> None:
    """A refusal at the field that it is about."""
    for fault in refusal.faults:
        form.add_error(fault.key if fault.key in form.fields else None, fault.allowed)
    if not refusal.faults:
        form.add_error(None, refusal.message)
