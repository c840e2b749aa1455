"""Signing in and out."""

from __future__ import annotations

from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView, LogoutView
from django.core.exceptions import ValidationError

from studio.records.sign_in import guesses


class SignInForm(AuthenticationForm):
    """One sentence for a wrong name and for a wrong password: nobody learns which accounts exist."""

    def get_invalid_login_error(self) -> ValidationError:
        now = guesses(self.request, self.cleaned_data.get("username", ""))
        if now.over:
            return ValidationError(f"Too many wrong passwords for this name. Try again in {now.reset_s} seconds.")
        return ValidationError("That name and password do not belong together. Check both; capitals count.")


class SignIn(LoginView):
    form_class = SignInForm
    template_name = "web/sign-in.html"
    redirect_authenticated_user = True


class SignOut(LogoutView):
    """By POST only: a link on a foreign page cannot sign anybody out."""
